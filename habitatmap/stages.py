"""What the stages of a run have found, kept with an area so that a later run takes them again.

A value is taken again only while all that its stage took is the same: the area's tables, cell by cell, as somebody at a
prompt may have changed them; and the settings that the stage reads. All else of an area is never changed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TypeVar, cast

import pandas as pd

T = TypeVar("T")


class Stages:
    """The last value of each stage, with the settings it was made with; empty again where a table has changed."""

    def __init__(self) -> None:
        self._made: dict[str, tuple[object, object]] = {}
        self._tables: dict[str, pd.DataFrame] = {}

    def see(self, tables: Mapping[str, pd.DataFrame]) -> None:
        """To be told at the start of a run what the area's tables hold; forgets everything where that has changed."""
        then = self._tables
        if then and all(_same(table, then[name]) for name, table in tables.items()):
            return
        self._made = {}
        self._tables = {name: table.copy() for name, table in tables.items()}

    def take(self, stage: str, settings: object, make: Callable[[], T]) -> T:
        """What `make` gives; it is called only where the stage was not done with these settings before."""
        made = self._made.get(stage)
        if made is None or made[0] != settings:
            made = self._made[stage] = (settings, make())
        return cast(T, made[1])

    def take_over(self, others: Stages) -> None:
        """Begins with what another area of the same tables has found; what is found from now on is its own."""
        self._made, self._tables = dict(others._made), dict(others._tables)


def _same(table: pd.DataFrame, then: pd.DataFrame) -> bool:
    return table is then or (type(table) is type(then) and bool(table.equals(then)))
