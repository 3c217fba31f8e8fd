"""The demo town for the tests: its folder, its records alone, its script, and what a run finds in it (made once)."""

from __future__ import annotations

import fcntl
import importlib.util
import os
import pickle
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
    """Made once in a run of the tests, whatever number of processes it has: the first makes it, the others wait."""
    shared = os.environ.get("HABITATMAP_TESTS_SHARE")  # set by conftest.py
    if not shared:
        return habitatmap.run(demo_area())
    kept = Path(shared) / "demo_result.pickle"
    with kept.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not kept.exists():
            kept.write_bytes(pickle.dumps(habitatmap.run(demo_area()), protocol=5))
        found = pickle.loads(kept.read_bytes())
    assert isinstance(found, Result)
    return found


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
