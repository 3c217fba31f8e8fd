"""A number and what is counted, in one word or two."""

from __future__ import annotations


def count(n: int, thing: str, things: str = "") -> str:
    """ "1 pool", "1,200 pools"; `things` where an s at the end is not the plural."""
    return f"{n:,} {thing if n == 1 else things or f'{thing}s'}"
