"""The same records in any format that the folder takes are the same records."""

from __future__ import annotations

import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from habitatmap.area import Area, open_area
from tests.areas import CRS, centre, class_table, write_area
from tests.contract.town import keep_away, land

POOLS = pd.DataFrame(
    {
        "pool": ["P01", "P02", "P3 é", "007", "Park"],
        "x": [centre(3, c)[0] for c in range(5)],
        "y": [centre(c, 3)[1] for c in range(5)],
        "set_out": ["2024-04-01", "2024-04-02", "2024-05-03", "", ""],
        "removed": ["", "", "2025-05-01", "", ""],
        "private": ["yes", "no", "", "", "no"],
        "container": ["bucket", "barrel", "", "", "bucket"],
        "place": ["Mill lane", "", "", "", ""],
        "volume_l": ["10", "", "20", "12.5", ""],
        "note": ["a, b", '"q"', "ü\nx", "", ""],
    }
)
VISITS = pd.DataFrame(
    {
        "pool": ["P01", "P01", "P02", "007", "Park"],
        "date": ["2024-06-01", "2024-07-01", "2024-07-02", "2025-06-03", "2025-06-04"],
        "outcome": ["larvae", "none seen", "dry", "larvae", "larvae"],
        "larvae": ["3", "", "", "2", "4"],
        "observer": ["Ann", "", "Ben", "", ""],
    }
)
TREES = pd.DataFrame(
    {
        "x": [centre(2, 6)[0], centre(6, 2)[0]],
        "y": [centre(2, 6)[1], centre(6, 2)[1]],
        "genus": ["Fagus", "Tilia"],
        "dbh_cm": ["120", "60"],
        "condition": ["living", ""],
    }
)


def shapes(frame: pd.DataFrame) -> gpd.GeoDataFrame | None:
    if isinstance(frame, gpd.GeoDataFrame):
        return frame
    if "x" not in frame:
        return None
    points = gpd.points_from_xy(frame["x"], frame["y"])
    return gpd.GeoDataFrame(frame.drop(columns=["x", "y"]), geometry=points, crs=CRS)


def table(frame: pd.DataFrame) -> pd.DataFrame:
    """Shapes as a column of text, as a spreadsheet has them."""
    if isinstance(frame, gpd.GeoDataFrame):
        return pd.DataFrame(frame.drop(columns="geometry")).assign(wkt=frame.geometry.to_wkt())
    return frame


def put(folder: Path, name: str, frame: pd.DataFrame, kind: str) -> None:
    shape = shapes(frame)
    if kind == "csv":
        table(frame).to_csv(folder / f"{name}.csv", index=False)
    elif kind == "xlsx":
        table(frame).to_excel(folder / f"{name}.xlsx", index=False, engine="xlsxwriter")
    elif kind == "ods":
        table(frame).to_excel(folder / f"{name}.ods", index=False, engine="odf")
    elif kind == "parquet":
        frame.to_parquet(folder / f"{name}.parquet", index=False)
    elif shape is None:
        frame.to_csv(folder / f"{name}.csv", index=False)
    elif kind == "gpkg":
        shape.to_file(folder / f"{name}.gpkg")
    elif kind == "geojson":
        shape.to_crs(4326).to_file(folder / f"{name}.geojson", driver="GeoJSON", COORDINATE_PRECISION=12)
    else:
        within = folder / "parts"
        within.mkdir()
        shape.to_file(within / f"{name}.shp", encoding="utf-8")
        if kind == "zip":
            with zipfile.ZipFile(folder / f"{name}.zip", "w") as archive:
                for part in within.iterdir():
                    archive.write(part, part.name)
        for part in within.iterdir():
            part.rename(folder / part.name) if kind == "shp" else part.unlink()
        within.rmdir()


def area_of(folder: Path, kind: str) -> Area:
    area = write_area(folder, np.full((8, 8), 2, np.uint8), class_table({2: 0.5}))
    away = keep_away().rename(columns={"distance_m": "distance"})  # ten letters are the most that a .shp keeps
    away.geometry = away.buffer(5)  # a .shp holds one kind of shape
    for name, frame in {"pools": POOLS, "visits": VISITS, "trees": TREES, "land": land(), "keep_away": away}.items():
        put(area, name, frame, kind)
    return open_area(area)


@pytest.fixture(scope="module")
def as_csv(tmp_path_factory: pytest.TempPathFactory) -> Area:
    return area_of(tmp_path_factory.mktemp("csv") / "area", "csv")


def test_nothing_is_lost_of_the_csv(as_csv: Area) -> None:
    counts = {kind: (n["read"], n["accepted"]) for kind, n in as_csv.ledger.counts().items()}
    assert counts == {"pools": (5, 5), "visits": (5, 5), "trees": (2, 2), "land": (6, 6), "keep_away": (3, 3)}
    assert as_csv.land["consent"].tolist() == ["yes", "ask", "no", "ask", "yes", "yes"]


@pytest.mark.parametrize("kind", ["xlsx", "ods", "parquet", "gpkg", "geojson", "shp", "zip"])
def test_any_other_format_says_the_same(kind: str, as_csv: Area, tmp_path: Path) -> None:
    area = area_of(tmp_path / "area", kind)
    assert area.ledger.counts() == as_csv.ledger.counts()
    for name in ("pools", "visits", "trees", "land", "keep_away"):
        # a format may write coordinates with other digits, and its file has another name
        left, right = (
            getattr(a, name).drop(columns=["file", "row", "uncertainty_m"], errors="ignore") for a in (as_csv, area)
        )
        if isinstance(left, gpd.GeoDataFrame):
            assert left.symmetric_difference(right).area.max() < 0.01
            left, right = left.drop(columns="geometry"), right.drop(columns="geometry")
        pd.testing.assert_frame_equal(left, right, check_exact=False, atol=1e-4)


def test_a_table_of_results_can_be_read_again(as_csv: Area, tmp_path: Path) -> None:
    """pools.csv of out/ has a column `place`, which is no misspelt `placed`."""
    (tmp_path / "pools.csv").write_text("pool,x,y,place\nA,500035,5399965,Mill lane\nB,500035,5399865,\n")
    (tmp_path / "area.toml").write_text(f'crs = "{CRS}"\nas_of = 2025-07-01\n')
    assert open_area(tmp_path).ledger.counts()["pools"] == {"read": 2, "accepted": 2, "set_aside": 0}
