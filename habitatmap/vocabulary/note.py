"""Something to be told, as a code and its values; the sentence is made in `words`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


@dataclass(frozen=True)
class Note:
    """What is to be told, and the numbers and names that belong to it."""

    code: StrEnum
    values: Mapping[str, object]


def note(code: StrEnum, **values: object) -> Note:
    """A note with its values by name."""
    return Note(code, values)
