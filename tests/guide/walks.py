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


def lacking(told: Block, said: str) -> list[str]:
    """Lines of a text block that are not, whole and in their order, lines of what was said."""
    lines, at, missing = [line.rstrip() for line in said.splitlines()], 0, []
    for line in told.lines:
        if line == LEFT_OUT:
            continue
        if line in lines[at:]:
            at += lines[at:].index(line) + 1
        else:
            missing.append(line)
    return missing
