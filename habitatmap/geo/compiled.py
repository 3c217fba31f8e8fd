"""Loops that are compiled on their first call; what was compiled is kept for later runs where that is possible."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar, cast

import numba

F = TypeVar("F", bound=Callable[..., object])


def njit(nogil: bool = False, fastmath: bool | set[str] = False) -> Callable[[F], F]:
    """`numba.njit` with its cache: beside the module, or in the user's own folder where the program's can't be written.

    Where neither can, as in a locked container, numba refuses to cache; the loop is compiled anew in each run there.
    """

    def compiled(function: F) -> F:
        try:
            return cast(F, numba.njit(cache=True, nogil=nogil, fastmath=fastmath)(function))
        except RuntimeError:
            return cast(F, numba.njit(nogil=nogil, fastmath=fastmath)(function))

    return compiled
