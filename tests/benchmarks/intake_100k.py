"""Times the reading of many visits; run by hand: python tests/benchmarks/intake_100k.py [ROWS].

An invented area with 2,000 pools and ROWS visits (100,000) as people keep them, in csv and in xlsx, is opened and its
account made, as `habitatmap check` does, each in a process of its own. Beside it pandas reads the same two files as
they are, checking nothing. The aim is 10 s and 1 GB.
"""

from __future__ import annotations

import csv
import datetime
import random
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

POOLS = 2_000
HEADS = {
    "pools": ["Pool", "Lat", "Lon", "Set out"],
    "visits": ["Pool", "Date", "Outcome", "Larvae", "Observer", "Note"],
}
OUTCOMES = ["larvae"] * 4 + ["none seen"] * 4 + ["dry", "trocken", "gone", "not reached", ""]
COUNTS = [3, 7, "10+", "2-3", "lots", "", "?"]


def rows(visits: int) -> dict[str, list[list[Any]]]:
    """Pools and visits; of the visits about one in twenty names no known pool, has no outcome or an odd date."""
    rng = random.Random(1)
    first = datetime.date(2023, 4, 1)
    pools = [
        [f"Pool {i}", round(60.1 + rng.random() / 10, 5), round(24.8 + rng.random() / 5, 5), datetime.date(2023, 3, 15)]
        for i in range(POOLS)
    ]
    looks: list[list[Any]] = []
    for number in range(visits):
        outcome = rng.choice(OUTCOMES)
        pool = f"pool {rng.randrange(POOLS)}" if rng.random() < 0.98 else f"Teich {rng.randrange(500)}"
        day = first + datetime.timedelta(days=rng.randrange(700)) if rng.random() < 0.99 else "last week"
        count = rng.choice(COUNTS) if outcome == "larvae" else ""
        looks.append([pool, day, outcome, count, rng.choice(["Anna", "Björn", "Chloé"]), f"no {number}"])
    return {"pools": pools, "visits": looks}


def write(folder: Path, suffix: str, visits: int) -> None:
    """The area's folder with its two files."""
    import openpyxl

    folder.mkdir()
    for kind, body in rows(visits).items():
        if suffix == ".csv":
            with (folder / f"{kind}.csv").open("w", newline="", encoding="utf-8") as file:
                sheet = csv.writer(file, delimiter=";")
                sheet.writerow(HEADS[kind])
                written = [[f"{c:%d.%m.%Y}" if isinstance(c, datetime.date) else c for c in row] for row in body]
                sheet.writerows(written)
        else:
            book = openpyxl.Workbook(write_only=True)
            page = book.create_sheet(kind)
            for row in (HEADS[kind], *body):
                page.append([None if c == "" else c for c in row])
            book.save(folder / f"{kind}.xlsx")


def ours(folder: Path) -> str:
    """Opens the area and makes its account."""
    from habitatmap import open_area
    from habitatmap.reports.check import check, check_page, check_text

    area = open_area(folder)
    found = check(area)
    check_text(found)
    check_page(found)
    counts = area.ledger.counts()["visits"]
    return f"{counts['accepted']} accepted, {counts['set_aside']} set aside"


def plain(folder: Path) -> str:
    """What pandas takes for the same files, with no checks."""
    import pandas as pd

    for path in sorted(folder.iterdir()):
        frame = pd.read_csv(path, sep=";") if path.suffix == ".csv" else pd.read_excel(path, engine="calamine")
    return f"{len(frame)} rows"


def measured(way: str, folder: Path) -> float:
    """Seconds of one way in a process of its own, the imports left out; prints them with the largest memory."""
    told = subprocess.run([sys.executable, __file__, way, folder], check=True, capture_output=True, text=True).stdout
    seconds, cpu, megabytes, words = told.strip().split("|")
    print(f"{folder.name:5} {way:6} {seconds:>6} s ({cpu} s of work) {megabytes:>5} MB  {words}")
    return float(cpu)


def main() -> None:
    visits = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    with tempfile.TemporaryDirectory() as folder:
        for suffix in (".csv", ".xlsx"):
            area = Path(folder) / suffix[1:]
            write(area, suffix, visits)
            print(f"ratio to pandas: {measured('ours', area) / measured('plain', area):.1f}")


if __name__ == "__main__":
    ways = {"ours": ours, "plain": plain}
    if len(sys.argv) == 3:
        import pandas as pd  # noqa: F401

        import habitatmap.reports.check

        assert habitatmap.reports.check
        began, worked = time.perf_counter(), time.process_time()
        words = ways[sys.argv[1]](Path(sys.argv[2]))
        seconds, cpu = time.perf_counter() - began, time.process_time() - worked
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
        print(f"{seconds:.1f}|{cpu:.2f}|{memory:.0f}|{words}")
    else:
        main()
