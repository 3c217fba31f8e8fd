"""The guide's pages that walk through a program, block by block."""

from __future__ import annotations

import re
from pathlib import Path
from typing import NamedTuple

GUIDE = Path(__file__).parents[2] / "habitatmap" / "guide"
WALKS = ("council.md", "neighbourhood.md", "recorder.md")
BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
LEFT_OUT = "..."


class Block(NamedTuple):
    """A block of a page: sh (commands), text (what they say, or what stands in a table), toml (a part of area.toml)."""

    kind: str
    lines: tuple[str, ...]


def blocks(page: str) -> list[Block]:
    text = (GUIDE / page).read_text(encoding="utf-8")
    return [Block(kind, tuple(body.splitlines())) for kind, body in BLOCK.findall(text)]


DECIMAL = re.compile(r"\d+\.\d+")


def alike(told: str, said: str) -> bool:
    """Whether two lines are the same but for two units of the last digit of what has a decimal point.

    The limit is sought by an ascent that ends a little otherwise with another version of NumPy or on another processor.
    """
    one, other = DECIMAL.findall(told), DECIMAL.findall(said)
    return DECIMAL.sub("#", told) == DECIMAL.sub("#", said) and all(
        len(a.split(".")[1]) == len(b.split(".")[1]) and abs(float(a) - float(b)) < 2.5 * 10 ** -len(a.split(".")[1])
        for a, b in zip(one, other, strict=True)
    )


def lacking(told: Block, said: str) -> list[str]:
    """Lines of a text block that are not, whole and in their order, lines of what was said."""
    lines, at, missing = [line.rstrip() for line in said.splitlines()], 0, []
    for line in told.lines:
        found = next((n for n in range(at, len(lines)) if alike(line, lines[n])), None)
        if found is not None:
            at = found + 1
        elif line != LEFT_OUT:
            missing.append(line)
    return missing
