"""The demo town for the tests: its folder, its records alone, its script, and what a run finds in it (made once)."""

from __future__ import annotations

import importlib.util
import shutil
import sys
from functools import cache
from pathlib import Path
from types import ModuleType

import habitatmap
from habitatmap.area import Area
from habitatmap.result import Result

DEMO = Path(__file__).parents[1] / "demo_area"


@cache
def demo_area() -> Area:
    return habitatmap.open_area(DEMO)


@cache
def demo_result() -> Result:
    return habitatmap.run(demo_area())


def copy_records(folder: Path, *names: str) -> Path:
    """The demo town's pools, visits and the files named, without its land cover."""
    folder.mkdir(exist_ok=True)
    for name in ("area.toml", "pools.csv", "visits.csv", *names):
        shutil.copy(DEMO / name, folder / name)
    text = (folder / "area.toml").read_text(encoding="utf-8")
    (folder / "area.toml").write_text(text.replace('[land_cover]\nclasses = "classes.csv"', ""), encoding="utf-8")
    return folder


@cache
def demo_script() -> ModuleType:
    """The script that invents the town."""
    spec = importlib.util.spec_from_file_location("make_demo", DEMO / "make_demo.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    sys.modules["make_demo"] = module  # dataclasses look their module up there
    spec.loader.exec_module(module)
    return module
