"""A number and what is counted, in one word or two."""

from __future__ import annotations


def count(n: int, thing: str, things: str = "") -> str:
    """ "1 pool", "1,200 pools"; `things` where an s at the end is not the plural."""
    return f"{n:,} {thing if n == 1 else things or f'{thing}s'}"


def each(n: int, thing: str, one: str, many: str) -> str:
    """What things do: each(1, "visit", "is", "are") gives "1 visit is", of three "3 visits are"."""
    return f"{count(n, thing)} {one if n == 1 else many}"
