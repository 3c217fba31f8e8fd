"""Land, keep-away, paths and outlines: a doubt is never a yes, and every row is accounted for."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest
from pyproj import CRS
from shapely import set_srid, to_wkb
from shapely.geometry import LineString, Point, Polygon, box

from habitatmap.errors import CrsError, InputError
from habitatmap.errors.why import Why
from habitatmap.read.consent_words import consent_of, word_of
from habitatmap.read.coordinates import Box
from habitatmap.read.exclusion_zones import read_keep_away
from habitatmap.read.files import read_tables
from habitatmap.read.formats.table import Stated
from habitatmap.read.land import is_home_ground, read_land
from habitatmap.read.layers import keep_away_defaults
from habitatmap.read.ledger import Ledger
from habitatmap.read.outline import read_outline
from habitatmap.read.paths import read_paths
from tests.areas import LEFT, TOP, write_layer

CRS_M = CRS.from_epsg(32632)
DAY = datetime.date(2025, 6, 1)
GROUND = box(LEFT, TOP, LEFT + 100, TOP + 100)
# a ring that crosses itself, as a hasty hand draws it: two triangles of 2500 m2 each
BOW_TIE = Polygon([(LEFT, TOP), (LEFT + 100, TOP + 100), (LEFT + 100, TOP), (LEFT, TOP + 100)])


@pytest.mark.parametrize(
    ("given", "word"),
    [
        *((w, "yes") for w in ("yes", "Y", "Ja", "oui", "sí", "kyllä", "tak", 1, True, "yes, signed 2024", "erteilt")),
        *((w, "no") for w in ("no", "Nein", "non", "ei", "nej", 0, False, "refused", "No thanks")),
        *((w, "ask") for w in ("ask", "pending", "?", "yes? ask again", "offen", "à demander", "kysyttävä")),
        *((w, "") for w in (None, "", " ", "-")),
        *((w, "unread") for w in ("perhaps", "blue", 7, "✗", "no objections", "no reply yet", "No problem!")),
        *((w, "yes") for w in ("Yes, by phone", "ja, Frau Kaiser", "OK from 2024-05-01", "oui, signé")),
        # a yes with a condition, or one that is over, is no yes as it stands
        *((w, "unread") for w in ("Yes, if the school agrees", "yes provided there is a fence", "yes - revoked")),
        *((w, "unread") for w in ("ja, aber erst ab Mai", "oui sauf en mai", "ja, mits hek", "yes but owner died")),
        *((w, "unread") for w in ("agreed in principle", "yes, expired", "Ja, unter Vorbehalt", "oui, si clôturé")),
    ],
)
def test_words_of_consent(given: object, word: str) -> None:
    assert word_of(given) == word


@pytest.mark.parametrize(
    ("until", "consent"),
    [
        (None, "yes"),
        (datetime.date(2025, 6, 1), "yes"),  # the last day still counts
        (datetime.date(2025, 5, 31), "ask"),
        (Why.DATE_UNDECIDED, "ask"),
    ],
)
def test_a_yes_that_ran_out_must_be_asked_for_again(until: datetime.date | None, consent: str) -> None:
    assert consent_of("yes", until, DAY)[0] == consent
    assert consent_of("no", until, DAY)[0] == "no"


@pytest.mark.parametrize("kind", ["garden", "Gardens", "allotments", "Kleingarten", "jardin potager", "homes", "piha"])
def test_home_ground_is_private_by_kind(kind: str) -> None:
    assert is_home_ground(kind)


@pytest.mark.parametrize("kind", ["park", "botanical garden", "jardin public", "kindergarten", "cemetery", ""])
def test_other_ground_is_not(kind: str) -> None:
    assert not is_home_ground(kind)


def test_land_with_every_kind_of_row(tmp_path: Path) -> None:
    path = write_layer(
        tmp_path / "land.gpkg",
        [GROUND, GROUND, GROUND, BOW_TIE, Point(LEFT, TOP), None, LineString([(LEFT, TOP), (LEFT + 5, TOP)])],
        Name=["Park", "Old yes", "Garden", "Bow", "Point", "Nothing", "Line"],
        Kind=["park", "park", "garden", "allotments", "park", "park", "park"],
        Consent=["ja", "yes", None, "perhaps", "yes", "yes", "no"],
        until=["", "2024-12-31", "", "", "", "", ""],
        private=["", "", "", "no", "", "", ""],
    )
    ledger = Ledger()
    land = read_land(read_tables(path), CRS_M, Stated(), ledger, DAY)
    assert land["name"].tolist() == ["Park", "Old yes", "Garden", "Bow"]
    assert land["consent"].tolist() == ["yes", "ask", "ask", "ask"]
    assert land["consent_note"].tolist() == [
        "",
        "consent expired 2024-12-31",
        "consent not stated",
        'consent "perhaps" is neither yes, ask nor no',
    ]
    assert land["private"].tolist() == ["no", "no", "yes", "no"]
    assert land["row"].tolist() == [1, 2, 3, 4]
    assert land.area.tolist() == pytest.approx([1e4, 1e4, 1e4, 5e3])
    assert ledger.counts()["land"] == {"read": 7, "accepted": 4, "set_aside": 3}
    ledger.check()
    aside = ledger.frame()
    assert aside["reason"].tolist() == [
        "a point where a polygon is expected",
        "the row has no shape",
        "a line where a polygon is expected",
    ]
    assert (aside["remedy"] != "").all()
    assert any("1 outline repaired" in r and "row 4" in r for r in ledger.remarks)
    assert any("expired 2024-12-31" in r for r in ledger.remarks)


def test_land_from_a_sheet_with_shapes_as_text(tmp_path: Path) -> None:
    path = tmp_path / "land.csv"
    inside = "POLYGON ((8.99 49.64, 9.01 49.64, 9.01 49.66, 8.99 49.66, 8.99 49.64))"
    path.write_text(f'Name,Erlaubnis,WKT\nA,ja,"{inside}"\nB,ja,"SRID=32632;{GROUND.wkt}"\nC,nein,"POLYGON ((1 2"\n')
    ledger = Ledger()
    land = read_land(read_tables(path), CRS_M, Stated(), ledger, DAY)
    assert land["name"].tolist() == ["A", "B"]
    assert land.geometry.iloc[0].contains(Point(500_000, 5_500_000))  # 9 E is the zone's middle meridian
    assert land.geometry.iloc[1].area == pytest.approx(1e4)
    assert ledger.counts()["land"] == {"read": 3, "accepted": 2, "set_aside": 1}


def test_geojson_is_in_degrees_and_any_other_layer_states_its_system(tmp_path: Path) -> None:
    degrees = box(8.99, 49.64, 9.01, 49.66)
    (tmp_path / "land.geojson").write_text(
        '{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"name":"A"},"geometry":'
        '{"type":"Polygon","coordinates":[[[8.99,49.64],[9.01,49.64],[9.01,49.66],[8.99,49.66],[8.99,49.64]]]}}]}'
    )
    land = read_land(read_tables(tmp_path / "land.geojson"), CRS_M, Stated(), Ledger(), DAY)
    assert land.geometry.iloc[0].contains(Point(500_000, 5_500_000))
    bare = write_layer(tmp_path / "land.shp", [degrees], crs=None, name=["A"])
    with pytest.raises(CrsError, match=r'land.shp does not say its reference system.*"land.shp" = "EPSG'):
        read_land(read_tables(bare), CRS_M, Stated(), Ledger(), DAY)
    stated = Stated(source_crs={"land.shp": "EPSG:4326"})
    assert read_land(read_tables(bare), CRS_M, stated, Ledger(), DAY).geometry.iloc[0].equals(land.geometry.iloc[0])


def test_no_file_gives_empty_frames_with_all_columns() -> None:
    ledger = Ledger()
    land = read_land([], CRS_M, Stated(), ledger, DAY)
    assert land.columns.tolist() == [
        "id",
        "name",
        "kind",
        "consent",
        "until",
        "consent_note",
        "private",
        "owner",
        "contact",
        "condition",
        "note",
        "said",
        "geometry",
        "file",
        "row",
    ]
    assert (len(land), land.crs) == (0, CRS_M)
    assert read_keep_away([], CRS_M, Stated(), ledger, {}).columns.tolist() == [
        "kind",
        "distance_m",
        "geometry",
        "file",
        "row",
    ]
    assert read_paths([], CRS_M, Stated(), ledger).columns.tolist() == ["kind", "name", "geometry"]
    assert read_outline([], "boundary", CRS_M, Stated(), ledger) is None


def test_distances_come_from_the_row_then_area_toml_then_the_table(tmp_path: Path) -> None:
    defaults = keep_away_defaults()
    path = write_layer(
        tmp_path / "keep_away.gpkg",
        [GROUND, Point(LEFT, TOP), LineString([(LEFT, TOP), (LEFT + 9, TOP)]), GROUND, GROUND, GROUND],
        kind=["playground", "Spielplatz", "road", "dragon", "playground", None],
        distance_m=["12", "", "", "", "far", ""],
    )
    ledger = Ledger()
    kept = read_keep_away(read_tables(path), CRS_M, Stated(), ledger, {"road": 33})
    assert kept["kind"].tolist() == ["playground", "playground", "road", "dragon", "playground", "other"]
    assert kept["distance_m"].tolist() == [
        12,
        defaults["playground"],
        33,
        defaults["other"],
        defaults["playground"],
        defaults["other"],
    ]
    assert ledger.counts()["keep_away"] == {"read": 6, "accepted": 6, "set_aside": 0}
    assert any('"dragon" is no known kind' in r for r in ledger.remarks)
    assert any('"far" is no number' in r for r in ledger.remarks)


def test_keep_away_from_a_sheet_of_points(tmp_path: Path) -> None:
    (tmp_path / "keep_away.csv").write_text("kind,lat,lon,distance_m\nschool,49.65,9,80\nschool,,,\n")
    ledger = Ledger()
    kept = read_keep_away(read_tables(tmp_path / "keep_away.csv"), CRS_M, Stated(), ledger, {})
    assert kept["distance_m"].tolist() == [80]
    assert kept.geometry.iloc[0].x == pytest.approx(500_000, abs=0.01)
    assert ledger.counts()["keep_away"] == {"read": 2, "accepted": 1, "set_aside": 1}


def test_paths_and_outlines(tmp_path: Path) -> None:
    ledger = Ledger()
    line = LineString([(LEFT, TOP), (LEFT + 5, TOP)])
    paths = write_layer(tmp_path / "paths.gpkg", [line, Point(LEFT, TOP)], kind=["path", "path"], name=["A", "B"])
    assert read_paths(read_tables(paths), CRS_M, Stated(), ledger)["name"].tolist() == ["A"]
    ring = write_layer(tmp_path / "boundary.gpkg", [BOW_TIE])
    outline = read_outline(read_tables(ring), "boundary", CRS_M, Stated(), ledger)
    assert outline.is_valid
    assert outline.area == pytest.approx(5000)
    with pytest.raises(InputError, match=r"paths.gpkg holds no polygon"):
        read_outline(read_tables(paths), "boundary", CRS_M, Stated(), ledger)
    ledger.check()


def test_overlaps_of_different_consent_are_told(tmp_path: Path) -> None:
    """50 m of the park and the yard lie on each other: 0.5 ha. Neighbours that share a sliver are not worth a word."""
    yard, sliver = box(LEFT + 50, TOP, LEFT + 150, TOP + 100), box(LEFT + 149.95, TOP, LEFT + 250, TOP + 100)
    path = write_layer(
        tmp_path / "land.gpkg", [GROUND, yard, sliver], name=["Park", "Yard", "Green"], consent=["yes", "no", "yes"]
    )
    ledger = Ledger()
    land = read_land(read_tables(path), CRS_M, Stated(), ledger, DAY)
    assert len(land) == 3
    (told,) = [r for r in ledger.remarks if "overlaps" in r]
    assert "overlaps in 1 place" in told
    assert "Park (land.gpkg row 1): yes and Yard (land.gpkg row 2): no, 0.5 ha" in told


def test_land_without_a_stated_consent_is_counted(tmp_path: Path) -> None:
    path = write_layer(tmp_path / "land.gpkg", [GROUND, GROUND.buffer(5)], name=["A", "B"], consent=[None, "yes"])
    ledger = Ledger()
    read_land(read_tables(path), CRS_M, Stated(), ledger, DAY)
    assert "land.gpkg: 1 of 2 pieces of land state no consent, so somebody must ask" in ledger.remarks


def test_shapes_as_text_of_every_kind_and_an_open_ring(tmp_path: Path) -> None:
    hexadecimal = to_wkb(set_srid(GROUND, 32632), hex=True, include_srid=True)
    geojson = '{"type":"Polygon","coordinates":[[[8.99,49.64],[9.01,49.64],[9.01,49.66],[8.99,49.66],[8.99,49.64]]]}'
    opened = f"SRID=32632;POLYGON(({LEFT} {TOP}, {LEFT + 100} {TOP}, {LEFT + 100} {TOP + 100}))"
    line = f"SRID=32632;LINESTRING({LEFT} {TOP}, {LEFT + 100} {TOP})"
    lines = [f'{name};yes;"{text.replace(chr(34), chr(34) * 2)}"' for name, text in
             (("H", hexadecimal), ("G", geojson), ("O", opened), ("L", line), ("B", "POLYGON((1 2"))]  # fmt: skip
    (tmp_path / "land.csv").write_text("\n".join(["name;consent;geometry", *lines]) + "\n")
    ledger = Ledger()
    land = read_land(read_tables(tmp_path / "land.csv"), CRS_M, Stated(), ledger, DAY)
    assert land["name"].tolist() == ["H", "G", "O"]
    assert land.area.round().tolist()[::2] == [10000, 5000]
    assert any("closed by a straight line (row 4)" in r for r in ledger.remarks)
    assert ledger.frame()["reason"].tolist() == ["a line where a polygon is expected", "the shape is not well-formed"]


def test_distances_with_their_unit(tmp_path: Path) -> None:
    (tmp_path / "keep_away.csv").write_text(
        "kind,lat,lon,distance (ft)\nschool,49.65,9,100\nschool,49.651,9,40 m\n"
        "school,49.652,9,0.1 km\nschool,49.653,9,0\n"
    )
    kept = read_keep_away(read_tables(tmp_path / "keep_away.csv"), CRS_M, Stated(), Ledger(), {})
    assert kept["distance_m"].tolist() == pytest.approx([30.48, 40, 100, 0])


def test_shapes_with_latitude_first_are_turned_over_where_the_area_says_so(tmp_path: Path) -> None:
    """9 E, 49.65 N lies in the area; 49.65 E, 9 N lies in Somalia."""
    right, over = box(8.99, 49.64, 9.01, 49.66), box(49.64, 8.99, 49.66, 9.01)
    path = write_layer(tmp_path / "land.gpkg", [right, over], crs="EPSG:4326", name=["A", "B"])
    stated = Stated(box=Box(8.9, 49.6, 9.1, 49.7, "the boundary"))
    ledger = Ledger()
    land = read_land(read_tables(path), CRS_M, stated, ledger, DAY)
    assert land.geometry.iloc[0].symmetric_difference(land.geometry.iloc[1]).area == pytest.approx(0, abs=1.0)
    assert any("1 shape turned over" in r and "(row 2)" in r for r in ledger.remarks)
    # without an area nobody knows
    apart = read_land(read_tables(path), CRS_M, Stated(), Ledger(), DAY)
    assert apart.geometry.iloc[0].distance(apart.geometry.iloc[1]) > 1e6


def test_slips_of_points_in_layers_are_told(tmp_path: Path) -> None:
    (tmp_path / "keep_away.csv").write_text("kind,lat,lon\nschool,49.65,9\nschool,9.001,49.651\n")
    ledger = Ledger()
    stated = Stated(box=Box(8.9, 49.6, 9.1, 49.7, "the boundary"))
    kept = read_keep_away(read_tables(tmp_path / "keep_away.csv"), CRS_M, stated, ledger, {})
    assert kept.geometry.iloc[0].distance(kept.geometry.iloc[1]) < 200
    assert any("row 3: with latitude and longitude swapped" in r for r in ledger.remarks)


@pytest.mark.parametrize(
    "heading", ["NIMI_FI", "Stadtteil", "nom_quartier", "WIJKNAAM", "name:en", "barrio", "District name"]
)
def test_districts_come_in_with_their_names(tmp_path: Path, heading: str) -> None:
    columns = {"id": [4, 5], heading: ["North", "South"]}
    path = write_layer(tmp_path / "land.gpkg", [GROUND, box(LEFT + 100, TOP, LEFT + 200, TOP + 100)], **columns)
    land = read_land(read_tables(path), CRS_M, Stated(), Ledger(), DAY)
    assert sorted(land["name"]) == ["North", "South"]
