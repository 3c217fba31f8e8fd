"""One small town with a bit of everything, and the command line called as a user calls it."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely.geometry import LineString, Point, box

from tests.areas import CRS, LEFT, TOP, centre, class_table, write_area

SIDE = 40
FORAGE = {1: 0.2, 2: 0.6, 3: 0.9, 4: 0.1, 5: None}
DEAD_WOOD = {1: 0.0, 2: 0.3, 3: 0.8, 4: None, 5: 0.0}
ASSUMED = {2: "garden", 3: "mowing"}
POOLS = {"A1": (5, 5), "B": (5, 7), "C": (35, 35), "D": (20, 12), "E": (0, 2), "F": (39, 39)}
BOUNDARY = box(LEFT + 20, TOP - 382, LEFT + 382, TOP - 18)
SETTINGS = """
[plan]
pools = 3
spacing_m = 50
[keep_away]
school = 30
[flight]
merge_m = 0
[occupancy]
existing = 0.6
new = 0.6
trees = 0.25
[gap]
reached_below = 0.8
forage_from = 0.25
least_ha = 0.03
[archive]
licence = "CC0 1.0"
publisher = "Friends of the town"
contact = "records@example.org"
"""


def classes() -> np.ndarray:
    """Land cover: any class anywhere, flowers in the north, a corner without data, one class of unknown worth."""
    found = np.random.default_rng(7).integers(1, 5, (SIDE, SIDE)).astype(np.uint8)
    found[:10], found[30:, 30:], found[0, :6], found[20, 20] = 2, 4, 0, 5
    return found


def land() -> gpd.GeoDataFrame:
    """Every kind of consent, an expired one, an overlap, a garden and a home."""
    rows = [
        ("Yes park", "park", "yes", "", "", box(LEFT, TOP - 400, LEFT + 200, TOP)),
        ("Ask park", "park", "", "", "", box(LEFT + 200, TOP - 400, LEFT + 300, TOP)),
        ("No corner", "park", "no", "", "", box(LEFT + 150, TOP - 100, LEFT + 250, TOP)),
        ("Expired", "park", "yes", "2025-01-01", "", box(LEFT + 300, TOP - 400, LEFT + 350, TOP - 100)),
        ("Garden", "garden", "yes", "2026-01-01", "", box(LEFT + 350, TOP - 200, LEFT + 400, TOP)),
        ("Homes", "park", "yes", "", "yes", box(LEFT, TOP - 400, LEFT + 50, TOP - 350)),
    ]
    columns = ["name", "kind", "consent", "until", "private", "geometry"]
    return gpd.GeoDataFrame(pd.DataFrame(rows, columns=columns), geometry="geometry", crs=CRS)


def keep_away() -> gpd.GeoDataFrame:
    """Two schools, one with a distance of its own, and a stream with its own."""
    shapes = [
        box(LEFT + 100, TOP - 150, LEFT + 120, TOP - 130),
        Point(LEFT + 60, TOP - 300),
        LineString([(LEFT + 220, TOP - 400), (LEFT + 220, TOP - 300)]),
    ]
    table = {"kind": ["school", "school", "water"], "distance_m": [np.nan, 45.0, 12.5]}
    return gpd.GeoDataFrame(table, geometry=shapes, crs=CRS)


def make_town(folder: Path, toml: str = SETTINGS) -> Path:
    """The town as an area folder, as of 2025-07-01."""
    head, *lines = class_table(FORAGE, DEAD_WOOD).strip().split("\n")
    table = [f"{head},assumed", *(f"{line},{ASSUMED.get(int(line[0]), '')}" for line in lines)]
    visits = [("A1", "2025-05-01", "larvae"), ("A1", "2025-05-01", "none seen")]
    visits += [("C", "2025-05-01", "none seen"), ("D", "2025-06-01", "gone")]
    trees = "x,y,genus,diameter_cm,condition\n"
    for (row, col), tree in {
        (12, 12): "Fagus,120,living",
        (25, 5): "Quercus,30,dead",
        (28, 28): "Aesculus,140,living",
        (33, 10): "Tilia,20,living",
    }.items():
        trees += "{},{},{}\n".format(*centre(row, col), tree)
    area = write_area(
        folder,
        classes(),
        "\n".join(table) + "\n",
        pools=[(name, *centre(*cell)) for name, cell in POOLS.items()],
        visits=visits,
        trees=trees,
        boundary=BOUNDARY,
        toml=toml,
    )
    land().to_file(area / "land.gpkg")
    keep_away().to_file(area / "keep_away.gpkg")
    return area
