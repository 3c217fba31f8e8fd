"""Turns scattered breeding pools for rot-hole hoverflies into a network that works.

`habitatmap.open_area(path)` reads an area folder, `habitatmap.run(area)` does the job, `result.write(folder)`
writes it; `area.plan(pools=5)` and `result.map()` are for a notebook (guide/notebook.md).
Heavy libraries are loaded on first use, so that `habitatmap --help` answers at once.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from habitatmap.errors import HabitatmapError, InputError
    from habitatmap.job import run
    from habitatmap.notebook import Area, open_area
    from habitatmap.result import Result

__version__ = "0.1.0"
__all__ = ["Area", "HabitatmapError", "InputError", "Result", "open_area", "run"]

_HOME = {"HabitatmapError": "errors", "InputError": "errors", "Result": "result", "run": "job"}


def __getattr__(name: str) -> object:
    if name not in __all__:
        raise AttributeError(f"module 'habitatmap' has no attribute '{name}'")
    return getattr(import_module(f"habitatmap.{_HOME.get(name, 'notebook')}"), name)


def __dir__() -> list[str]:
    return [*__all__, "__version__"]
