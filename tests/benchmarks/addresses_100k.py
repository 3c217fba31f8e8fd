"""A thousand addresses looked up among 100,000 houses of 3,000 streets, against a plain dictionary of whole texts.

Run with: python -m tests.benchmarks.addresses_100k
"""

from __future__ import annotations

import time

import geopandas as gpd
import numpy as np
import shapely

from habitatmap.read.addresses import Addresses, Found

STREETS, HOUSES, ASKED = 3000, 34, 1000
CRS = "EPSG:25832"


def town() -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Streets of 400 m with a house every 12 m, anywhere in 20 km by 20 km."""
    x, y = np.random.default_rng(1).uniform(0, 20_000, (2, STREETS))
    names = [f"{chr(65 + i % 26)}{chr(97 + i // 26 % 26)}{chr(97 + i // 676)}berg {i % 7} Road" for i in range(STREETS)]
    number = np.tile(np.arange(1, HOUSES + 1), STREETS)
    texts = {
        "street": np.repeat(names, HOUSES),
        "house_number": number.astype(str),
        "postcode": "12345",
        "city": "Town",
    }
    at = shapely.points(np.repeat(x, HOUSES) + 12.0 * number, np.repeat(y, HOUSES))
    lines = shapely.linestrings(np.stack([np.stack([x, y], 1), np.stack([x + 400, y], 1)], 1))
    houses = gpd.GeoDataFrame(texts | {"uncertainty_m": 8.0}, geometry=at, crs=CRS)
    return houses, gpd.GeoDataFrame({"name": names}, geometry=lines, crs=CRS)


def main() -> None:
    houses, paths = town()
    asked = [f"{paths['name'][i]} {i % HOUSES + 1}, 12345 Town" for i in range(ASKED)]
    start = time.process_time()
    book = Addresses.of(houses, paths)
    book.find("Nowhere 1")
    indexed = time.process_time()
    found = [book.find(text) for text in asked]
    looked_up = time.process_time()
    plain = dict(zip(houses["street"] + " " + houses["house_number"] + ", 12345 Town", houses.geometry, strict=True))
    known = time.process_time()
    same = [plain[text] for text in asked]
    end = time.process_time()
    assert all(
        isinstance(one, Found) and (one.x, one.y) == (other.x, other.y) for one, other in zip(found, same, strict=True)
    )
    print(
        f"{len(houses):,} houses indexed in {indexed - start:.2f} s, {ASKED:,} looked up in {looked_up - indexed:.2f} s"
    )
    print(f"a dictionary of whole texts: {known - looked_up:.2f} s and {end - known:.5f} s")


if __name__ == "__main__":
    main()
