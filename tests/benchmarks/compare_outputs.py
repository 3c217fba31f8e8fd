"""Compares two folders that `map` wrote, key by key and cell by cell: did a change of the code change a figure?

usage: python tests/benchmarks/compare_outputs.py BEFORE AFTER     exit 0 where every figure is the same

Figures are compared to the last digit that a table holds, rasters cell by cell. Text may be worded anew: it is counted
and shown, and decides nothing. Columns and keys that only one side has are listed.
"""

from __future__ import annotations

import csv
import json
import math
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import rasterio

# what may differ between two runs of the same code
RUN_ONLY = ("seconds", "versions")
# sums of floats that are taken in another order may differ in the last digits
TOLERANCE = 1e-9


def flat(value: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """(path, leaf) of everything in a JSON value."""
    if isinstance(value, dict):
        for key, part in value.items():
            yield from flat(part, f"{path}.{key}" if path else key)
    elif isinstance(value, list):
        for at, part in enumerate(value):
            yield from flat(part, f"{path}[{at}]")
    else:
        yield path, value


def number(text: Any) -> float | None:
    """A cell as a number, None where it is text; blank is NaN."""
    if isinstance(text, bool):
        return None
    if isinstance(text, int | float):
        return float(text)
    if text is None or text == "":
        return math.nan
    try:
        return float(text)
    except ValueError:
        return None


def same(one: Any, other: Any) -> bool | None:
    """Whether two cells hold the same figure; None where they hold text that differs."""
    if one == other:
        return True
    a, b = number(one), number(other)
    if a is None and b is None:
        return None
    if a is None or b is None:
        return False
    return (math.isnan(a) and math.isnan(b)) or abs(a - b) <= TOLERANCE * max(1.0, abs(a), abs(b))


def cells(folder: Path) -> dict[str, Any]:
    """Every figure and text of a folder: where it stands -> what it is."""
    found: dict[str, Any] = {}
    for path in sorted(folder.glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            for at, row in enumerate(csv.DictReader(file), 2):
                found |= {f"{path.name} row {at} {column}": cell for column, cell in row.items()}
    for path in sorted([*folder.glob("*.geojson"), folder / "summary.json"]):
        content = json.loads(path.read_text(encoding="utf-8"))
        found |= {f"{path.name} {key}": v for key, v in flat(content) if key.split(".")[0] not in RUN_ONLY}
    return found


def raster_faults(before: Path, after: Path) -> Iterator[str]:
    """Rasters of which a cell differs."""
    for path in sorted((before / "rasters").glob("*.tif")):
        other = after / "rasters" / path.name
        if not other.exists():
            yield f"rasters/{path.name} is missing"
            continue
        with rasterio.open(path) as one, rasterio.open(other) as two:
            if not np.allclose(one.read(1), two.read(1), rtol=1e-6, atol=1e-6, equal_nan=True):
                yield f"rasters/{path.name} differs"


def main(before: Path, after: Path) -> int:
    """Prints what differs; 1 where a figure does."""
    old, new = cells(before), cells(after)
    faults = [f"{key}: {old[key]!r} -> {new[key]!r}" for key in old if key in new and same(old[key], new[key]) is False]
    faults += raster_faults(before, after)
    worded = [key for key in old if key in new and same(old[key], new[key]) is None]

    def column(key: str) -> str:
        return " ".join(part for part in key.split(" ") if not part.isdigit() and part != "row")

    lost = sorted({column(key) for key in old.keys() - new.keys()})
    added = sorted({column(key) for key in new.keys() - old.keys()})
    print(
        f"{len(old.keys() & new.keys())} cells on both sides, {len(faults)} figures differ, {len(worded)} texts differ"
    )
    for title, found in (("figures", faults), ("texts", worded), ("only before", lost), ("only after", added)):
        for line in found[:25]:
            print(f"  {title}: {line}"[:300])
        if len(found) > 25:
            print(f"  {title}: and {len(found) - 25} more")
    return bool(faults)


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    sys.exit(main(Path(sys.argv[1]), Path(sys.argv[2])))
