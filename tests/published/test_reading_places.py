"""Places as others publish them: references, plus codes, GeoJSON, Darwin Core; the source stands beside each."""

from __future__ import annotations

import datetime
import json
import math
from pathlib import Path

import pytest
from pyproj import CRS

from habitatmap.geo.crs import to_lonlat
from habitatmap.read.coordinates import Box, Point
from habitatmap.read.coordinates.positions import read_position
from habitatmap.read.coordinates.squares import read_irish_grid, read_plus_code
from habitatmap.read.files import read_tables
from habitatmap.read.formats.table import Stated
from habitatmap.read.land import read_land
from habitatmap.read.ledger import Ledger
from habitatmap.read.pools import read_pools
from habitatmap.read.visits import read_visits

UTM32 = CRS.from_epsg(32632)


@pytest.mark.parametrize(
    ("code", "lat", "lon"),
    [
        # examples of the Open Location Code's own test data (Apache 2.0), recalled: centre of the cell
        ("7FG49Q00+", 20.375, 2.775),
        ("7FG49QCJ+2V", 20.3700625, 2.7821875),
        ("8FVC2222+22", 47.0000625, 8.0000625),
        ("4VCPPQGP+Q9", -41.2730625, 174.7859375),
        ("62G20000+", 0.5, -179.5),
    ],
)
def test_plus_codes(code: str, lat: float, lon: float) -> None:
    square = read_plus_code(code)
    assert square is not None
    assert (square.y, square.x) == (pytest.approx(lat, abs=1e-7), pytest.approx(lon, abs=1e-7))


def test_a_military_reference() -> None:
    """31U DQ 48251 11932 names the Eiffel Tower, 48.85837 N 2.29448 E (a widely printed example, recalled)."""
    point = read_position("31U DQ 48251 11932", None)
    assert isinstance(point, Point)
    (lon,), (lat,) = to_lonlat([point.x], [point.y], point.crs)
    assert (lat, lon) == (pytest.approx(48.85820, abs=2e-5), pytest.approx(2.29450, abs=2e-5))


def test_utm_on_wgs84() -> None:
    """40 30 N 73 30 W on WGS 84 is 627103.0873, 4484335.4017 in zone 18 (recomputed from the series of Snyder 1987)."""
    point = read_position("18T 627103 4484335", None)
    assert isinstance(point, Point)
    (lon,), (lat,) = to_lonlat([point.x], [point.y], point.crs)
    assert (lon, lat) == (pytest.approx(-73.5, abs=1e-5), pytest.approx(40.5, abs=1e-5))


def test_the_false_origin_of_the_irish_grid() -> None:
    """53 30 N 8 W has the grid's coordinates 200000, 250000 (EPSG register, parameters of the Irish National Grid)."""
    square = read_irish_grid("N 00000 50000")
    assert square == (200000.5, 250000.5, 1.0)


def test_distances_on_the_ellipsoid() -> None:
    """Flinders Peak to Buninyong is 54972.271 m on GRS 80 (Vincenty 1975, as the GDA technical manual prints it)."""
    flinders = (144 + 25 / 60 + 29.5244 / 3600, -(37 + 57 / 60 + 3.7203 / 3600))
    buninyong = (143 + 55 / 60 + 35.3839 / 3600, -(37 + 39 / 60 + 10.1561 / 3600))
    box = Box(*buninyong, *buninyong, "a point")
    assert float(box.off_km(*flinders)[0]) * 1000 == pytest.approx(54972.271, abs=0.001)
    # JFK to LHR on WGS 84 (points of a published example of geodesics, Karney 2013; value recalled)
    assert float(Box(-0.5, 51.6, -0.5, 51.6, "").off_km(-73.8, 40.6)[0]) * 1000 == pytest.approx(5551759.400, abs=0.001)


def layer(folder: Path, name: str, *geometries: object, **extra: object) -> Path:
    features = [
        {"type": "Feature", "properties": {"name": f"N{i}", "pool": f"P{i}"}, "geometry": geometry}
        for i, geometry in enumerate(geometries, 1)
    ]
    path = folder / name
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features, **extra}), encoding="utf-8")
    return path


def test_geojson_rings_wind_either_way_heights_are_dropped_and_null_is_no_shape(tmp_path: Path) -> None:
    """RFC 7946: longitude, latitude, height; 3.1.6: parsers should not reject wrong winding; 3.2: null geometry."""
    ring = [[9.0, 49.64], [9.001, 49.64], [9.001, 49.641], [9.0, 49.641], [9.0, 49.64]]
    with_height = [[*xy, 120.5] for xy in ring]
    path = layer(
        tmp_path,
        "land.geojson",
        {"type": "Polygon", "coordinates": [ring]},
        {"type": "Polygon", "coordinates": [ring[::-1]]},
        {"type": "Polygon", "coordinates": [with_height]},
        None,
    )
    ledger = Ledger()
    land = read_land(read_tables(path), UTM32, Stated(), ledger, datetime.date(2025, 1, 1))
    assert land["name"].tolist() == ["N1", "N2", "N3"]
    assert land.area.round(3).nunique() == 1
    assert not land.geometry.has_z.any()
    assert ledger.counts()["land"] == {"read": 4, "accepted": 3, "set_aside": 1}


def test_geojson_points_are_longitude_first(tmp_path: Path) -> None:
    path = layer(tmp_path, "pools.geojson", {"type": "Point", "coordinates": [9.0, 49.64]})
    pools = read_pools(read_tables(path), UTM32, Stated(), Ledger())
    assert pools["x"].tolist() == [pytest.approx(500_000, abs=0.01)]  # 9 E is the middle of the zone


def test_darwin_core_terms_are_read(tmp_path: Path) -> None:
    """Terms of Darwin Core (TDWG, term_versions.csv).

    occurrenceStatus was present / absent until 2026 and is detected / notDetected since: both are read. A
    coordinateUncertaintyInMeters of 0 is invalid, so it says nothing; 30 is that of a plain satellite receiver.
    """
    (tmp_path / "pools.csv").write_text(
        "locationID,decimalLatitude,decimalLongitude,geodeticDatum,coordinateUncertaintyInMeters\n"
        "P1,49.6412,9.0012,EPSG:4326,0\nP2,49.6422,9.0022,WGS84,30\nP3,49.6432,9.0032,not recorded,\n"
    )
    (tmp_path / "visits.csv").write_text(
        "locationID,eventDate,occurrenceStatus,individualCount,recordedBy,scientificName\n"
        "P1,2025-05-01,detected,3,A,Eristalini\nP1,2025-05-11,notDetected,0,A,Eristalini\n"
        "P2,2025-05-02,present,,B,Eristalini\nP2,2025-05-12,absent,,B,Eristalini\n"
        "P3,2025-05-03,notDetected,2,C,Eristalini\nP3,2025-05-13,detected,0,C,Eristalini\n"
    )
    stated = Stated(columns={"pools": {"pool": "locationID"}, "visits": {"pool": "locationID"}})
    ledger = Ledger()
    pools = read_pools(read_tables(tmp_path / "pools.csv", ["locationID"]), UTM32, stated, ledger)
    assert pools["uncertainty_m"].tolist() == pytest.approx([6.61, 30, 6.61], abs=0.1)
    visits = read_visits(read_tables(tmp_path / "visits.csv", ["locationID"]), pools, stated, ledger)
    assert visits["outcome"].tolist() == ["larvae", "none seen", "larvae", "none seen"]
    # detected with a count of 0, and not detected with one above it, are errors (GBIF's rules for absences)
    assert ledger.counts()["visits"] == {"read": 6, "accepted": 4, "set_aside": 2}
    assert not math.isnan(visits["larvae"].iloc[0])
