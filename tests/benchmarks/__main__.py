"""What a map of a park, a town, a region costs: python -m tests.benchmarks [park town region ...] [--keep FOLDER].

`--stages`: also, of each area, what its cells offer on a Dask cluster of two processes against two threads, the rasters
from land cover to written files (a process of its own, with its peak), and a plan of a thousand pools once the rasters
are there. `vectors` is a village with 10,000 pools, 100,000 visits, 100,000 trees and 20,000 plots.

Each is run as a user runs it, in a process of its own, on the threads of HABITATMAP_THREADS. Told are processor time,
nanoseconds a cell, the peak of memory and what was written; beside the town the plain way (plain_town), and beside all
what this machine does at best: a copy of memory, a transform, a compressed write. Fails where a map takes more memory
than MOST_MEMORY.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import numpy as np
import scipy.fft
from distributed import Client, LocalCluster

import habitatmap
from habitatmap.area import open_area
from habitatmap.geo.engine import Engine
from habitatmap.habitat.score import score_habitat
from habitatmap.job import (
    choose_sites,
    likely_places,
    reach_now,
    survey_pools,
    where_pools_may_stand,
    years_ahead,
)
from habitatmap.plan.gaps import find_gaps
from habitatmap.plan.problem import Problem
from habitatmap.plan.reach import not_reached
from habitatmap.plan.search import make_plan
from tests.benchmarks.areas import invent
from tests.benchmarks.plain_town import PLAIN_SITES
from tests.benchmarks.rasters import RASTERS

SIDES = {"park": 500, "village": 1000, "town": 2000, "city": 6000, "region": 10_000, "country": 20_000, "vectors": 1000}
MANY = {"vectors": {"pools": 10_000, "visits": 100_000, "trees": 100_000, "land": 20_000}}  # where not `invent`'s own
MOST_MEMORY = {  # bytes
    "vectors": 1.5e9,
    "village": 0.6e9,
    "town": 0.9e9,
    "city": 1.5e9,
    "region": 1.5e9,
    "country": 1.5e9,
}


class Cost(NamedTuple):
    """What a process took."""

    cpu_s: float
    wall_s: float
    peak: int


# a process begins with the peak of the one that starts it, so a small one stands between
MEASURED = """
import json, os, subprocess, sys
process = subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
_, status, used = os.wait4(process.pid, 0)
print(json.dumps([status, used.ru_utime + used.ru_stime, used.ru_maxrss * 1024]))
"""


def cost_of(command: list[str]) -> Cost:
    """Runs a command to its end. RuntimeError where it fails."""
    start = time.perf_counter()
    told = subprocess.run([sys.executable, "-S", "-c", MEASURED, *command], check=True, capture_output=True, text=True)
    status, cpu_s, peak = json.loads(told.stdout)
    if status:
        raise RuntimeError(f"{' '.join(command)} ended with {os.waitstatus_to_exitcode(status)}")
    return Cost(cpu_s, time.perf_counter() - start, peak)


def seconds_of(work: Callable[[], object]) -> float:
    """Processor seconds of a call."""
    start = time.process_time()
    work()
    return time.process_time() - start


def limits() -> str:
    """What this machine does at best."""
    block = np.random.default_rng(1).random((2048, 2048)).astype(np.float32)
    copies = seconds_of(lambda: [block.copy() for _ in range(40)]) / 40
    transform = seconds_of(lambda: [scipy.fft.rfft2(block) for _ in range(5)]) / 5
    packed = seconds_of(lambda: zlib.compress(block.tobytes(), 1))
    told = {"copy": copies, "transform of 2048 x 2048, single": transform, "deflate": packed}
    return ", ".join(f"{name} {seconds / block.size * 1e9:.2f} ns a cell" for name, seconds in told.items())


class Took:
    """Says what the work inside took."""

    def __init__(self, what: str) -> None:
        self.what = what

    def __enter__(self) -> Took:
        self.start = [now() for now in CLOCKS]
        return self

    @contextmanager
    def apart(self) -> Iterator[None]:
        """What is not counted."""
        before = [now() for now in CLOCKS]
        yield
        self.start = [start + now() - then for start, now, then in zip(self.start, CLOCKS, before, strict=True)]

    def __exit__(self, *fault: object) -> None:
        cpu_s, self.wall_s = (now() - then for now, then in zip(CLOCKS, self.start, strict=True))
        print(f"    {self.what}: {cpu_s:.1f} s of work, {self.wall_s:.1f} s", flush=True)


CLOCKS = (time.process_time, time.perf_counter)


def stages(folder: Path) -> None:
    """Some stages by themselves, on two threads."""
    area, threads = open_area(folder), Engine(threads=2)
    score_habitat(open_area(folder), threads)  # compiled now, if it was not
    with (on_threads := Took("what cells offer, two threads")):
        score_habitat(area, threads)
    with (
        LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster,  # type: ignore[no-untyped-call]
        Client(cluster, set_as_default=False) as client,  # type: ignore[no-untyped-call]
    ):
        score_habitat(open_area(folder), Engine(client=client))  # imported and compiled there
        with (on_cluster := Took("what cells offer, a Dask cluster of two processes")):
            score_habitat(area, Engine(client=client))
    print(f"    the cluster is {on_threads.wall_s / on_cluster.wall_s:.2f} times as fast")
    took = cost_of([sys.executable, "-W", "ignore", "-m", "tests.benchmarks.rasters", str(folder)])
    speed = len(RASTERS) * area.grid.rows * area.grid.cols / took.wall_s / 1e6
    print(
        f"    six rasters, the folder read to COG: {took.cpu_s:.1f} s of work, {took.wall_s:.1f} s, "
        f"{speed:.1f} M cells of rasters/s, peak {took.peak / 1e6:,.0f} MB",
        flush=True,
    )
    as_plainly(folder)  # compiled now, if it was not
    problem = as_plainly(folder)
    with Took("1,000 pools, greedy"):
        make_plan(problem, 1000, exchange=False)


def as_plainly(folder: Path) -> Problem:
    """The work that the plain way does too, by itself: neither limits, simulations nor interchange."""
    area = habitatmap.open_area(folder).with_settings(plan__pools=PLAIN_SITES)
    with Took("what cells offer, reach, land, 25 sites and gaps, as the plain way has them") as took:
        habitat = score_habitat(area)
        with took.apart():
            survey = survey_pools(area, habitat)
            places = likely_places(area, survey)
            ahead = years_ahead(area, habitat, survey, places)
            reach = reach_now(area, habitat, survey, places)
            _ = survey.p_anywhere
        not_reached(area.grid, places.frame, median_m=area.settings.flight.forage_median_m)
        allowed = where_pools_may_stand(area, habitat, survey)
        problem = choose_sites(area, habitat, survey, places, allowed, ahead, reach, exchange=False).problem
        find_gaps(area.grid, habitat.weight, reach.surface(habitat.season), allowed, places.frame, area.settings)
    return problem


def main() -> int:
    """1 where a map took too much memory."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("areas", nargs="*", default=["park", "village", "town"], metavar="AREA", help=", ".join(SIDES))
    parser.add_argument("--keep", type=Path, help="where the areas are made, and stay")
    parser.add_argument("--stages", action="store_true", help="some stages of each area by themselves too")
    asked = parser.parse_args()
    print(f"At best: {limits()}\n")
    print("| area | cells | processor s | wall s | ns a cell | peak MB | written MB |\n|---|---|---|---|---|---|---|")
    too_much = False
    with tempfile.TemporaryDirectory() as made:
        for name in asked.areas:
            side, folder = SIDES[name], (asked.keep or Path(made)) / name
            if not folder.exists():
                invent(folder, side, **MANY.get(name, {}))
            took = cost_of([sys.executable, "-W", "ignore", "-m", "habitatmap", "map", str(folder)])
            written = sum(file.stat().st_size for file in (folder / "out").rglob("*") if file.is_file())
            print(
                f"| {name} | {side**2:,} | {took.cpu_s:.1f} | {took.wall_s:.1f} | {took.cpu_s / side**2 * 1e9:,.0f} "
                f"| {took.peak / 1e6:,.0f} | {written / 1e6:,.0f} |",
                flush=True,
            )
            seconds = json.loads((folder / "out" / "summary.json").read_text(encoding="utf-8"))["seconds"]
            print("    " + ", ".join(f"{stage} {value:.1f}" for stage, value in seconds.items()), flush=True)
            if took.peak > MOST_MEMORY.get(name, np.inf):
                too_much = True
                print(f"    above the {MOST_MEMORY[name] / 1e6:,.0f} MB that this area may take")
            if asked.stages:
                stages(folder)
            if name == "town":
                script = "import pathlib, sys; from tests.benchmarks.plain_town import plain_town; "
                script += "plain_town(pathlib.Path(sys.argv[1]))"
                plainly = cost_of([sys.executable, "-W", "ignore", "-c", script, str(folder)])
                print(f"    the plain way: {plainly.cpu_s:.1f} s, {plainly.peak / 1e6:,.0f} MB", flush=True)
    return 1 if too_much else 0


if __name__ == "__main__":
    sys.exit(main())
