"""What the cells of an area offer, written as COG and thrown away: a process of its own, for its time and memory."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from habitatmap.area import open_area
from habitatmap.export.formats import write_cog
from habitatmap.geo import scratch
from habitatmap.geo.engine import Engine
from habitatmap.habitat.score import score_habitat

RASTERS = ("season", "least_forage", "access", "dead_wood", "forage_m", "dead_wood_m")


def main(folder: Path) -> None:
    scratch.few_heaps()  # as the command has it
    area = open_area(folder)
    habitat = score_habitat(area, Engine(threads=2))
    with tempfile.TemporaryDirectory() as out:
        for name in RASTERS:
            write_cog(Path(out) / f"{name}.tif", name, getattr(habitat, name), area.grid, area.crs)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
