"""Turns scattered breeding pools for rot-hole hoverflies into a network that works.

`habitatmap.open_area(path)` reads an area folder, `habitatmap.run(area)` does the job, `result.write(folder)`
writes it.
Heavy libraries are loaded on first use, so that `habitatmap --help` answers at once.
"""

from __future__ import annotations

from collections.abc import Callable

__version__ = "0.1.0"
__all__ = ["open_area", "run"]


def __getattr__(name: str) -> Callable[..., object]:
    if name == "open_area":
        from habitatmap.area import open_area

        return open_area
    if name == "run":
        from habitatmap.job import run

        return run
    raise AttributeError(f"module 'habitatmap' has no attribute '{name}'")
