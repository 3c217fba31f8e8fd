"""Addresses as people write them, looked up in three streets that can be checked by hand."""

from __future__ import annotations

import datetime
from pathlib import Path

import geopandas as gpd
import pyproj
import pytest
import shapely

from habitatmap.area import Area, open_area
from habitatmap.errors.why import Told, Why
from habitatmap.read.addresses import Addresses, By, Found, street_key
from habitatmap.read.formats.table import Stated
from tests.areas import area_folder, write_layer
from tests.read.tables import pools, table

CRS = "EPSG:25832"


def book(houses: dict[str, tuple[float, float]], **lines: list[tuple[float, float]]) -> Addresses:
    """Houses as "street|number|postcode|city|off": (x, y), streets as name: corners (blanks written as _)."""
    rows = [text.split("|") + [""] * 5 for text in houses]
    texts = {name: [row[i] for row in rows] for i, name in enumerate(("street", "house_number", "postcode", "city"))}
    off = [float(row[4] or "nan") for row in rows]
    at = [shapely.Point(xy) for xy in houses.values()]
    frame = gpd.GeoDataFrame(texts | {"uncertainty_m": off}, geometry=at, crs=CRS)
    shapes = [shapely.LineString(corners) for corners in lines.values()]
    paths = gpd.GeoDataFrame({"name": [name.replace("_", " ") for name in lines]}, geometry=shapes, crs=CRS)
    return Addresses.of(frame, paths)


E0, N0 = 500_000.0, 6_000_000.0


@pytest.fixture(scope="module")
def town() -> Addresses:
    """Park Road runs 400 m east with even houses at x = 20, 40, 120 (2, 4, 12) and the row 21-25 at x = 210; the
    Parkstraße in Neustadt; a Mill Lane in each of two villages 5 km apart."""
    houses = {
        "Park Road|2|1000|Aldham": (20, 10),
        "Park Road|4|1000|Aldham": (40, 10),
        "Park Road|12a|1000|Aldham|14": (120, 10),
        "Park Road|21-25|1000|Aldham": (210, -10),
        "Parkstraße|7/2|12345|Neustadt am See": (0, 300),
        "Straße des 17. Juni|135|12345|Neustadt am See": (0, 600),
        "Mill Lane|1|1000|Aldham": (0, 900),
        "Mill Lane|1|2000|Bray": (5000, 900),
        "Rue de la Paix|5bis|1000|Aldham": (0, 1200),
    }
    lines = {"Park_Road": [(0, 0), (400, 0)], "Long_Way": [(0, 2000), (100, 2000), (100, 2300)]}
    return book(
        {k: (E0 + x, N0 + y) for k, (x, y) in houses.items()},
        **{k: [(E0 + x, N0 + y) for x, y in corners] for k, corners in lines.items()},
    )


def place(found: Found | Told) -> tuple[float, float, float, By]:
    assert isinstance(found, Found), found
    return round(found.x - E0, 1), round(found.y - N0, 1), round(found.uncertainty_m, 1), found.by


@pytest.mark.parametrize(
    "written",
    [
        "Park Road 4", "4 Park Road", "4, Park Road", "Park Rd. 4", "PARK ROAD, 4", "park road nr. 4",
        "Park Road No 4, Aldham", "Park Road 4, 1000 Aldham", "Park Road 4 1000 Aldham",
        "Flat 3, 4 Park Road, Aldham", "The Old School, Park Road 4 (garden)", "Park-Road 4", "Párk Röad 4",
        "Park Road 4, Aldham, Somewhere", "4 Parkroad", "Park Road 4\nAldham", "Park Road #4",
        "Park Road 4, 2nd floor", "Park Road 4/3", "Park Road 4-6",
    ],
)  # fmt: skip
def test_one_house_in_many_writings(town: Addresses, written: str) -> None:
    assert place(town.find(written)) == (40, 10, 10, By.HOUSE)


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("Park Road 12 A", (120, 10, 14, By.HOUSE)),  # as far off as the map says
        ("Park Road 12A 5", (120, 10, 14, By.HOUSE)),  # flat 5 of 12 A
        ("Park Road 12", (120, 10, 30, By.HOUSE)),  # 12 a is known, and may be next door
        ("Park Road 23", (210, -10, 10, By.HOUSE)),  # one of 21-25
        ("Park Road 6", (60, 10, 80, By.BETWEEN)),  # a quarter of the way from 4 to 12, 80 m apart
        ("Park Road 99", (200, 0, 200, By.STREET)),  # no such number: somewhere on the street
        ("Park Road", (200, 0, 200, By.STREET)),
        ("Park Road, Aldham", (200, 0, 200, By.STREET)),
        ("Park Road Aldham", (200, 0, 200, By.STREET)),
        ("Park Road, 1000 Aldham", (200, 0, 200, By.STREET)),  # the postcode is no house number
        ("Parkstr. 7/2", (0, 300, 10, By.HOUSE)),
        ("Parkstrasse 7/2, 12345 Neustadt", (0, 300, 10, By.HOUSE)),
        ("Park-Straße 7", (0, 300, 10, By.HOUSE)),
        ("Str. des 17. Juni 135", (0, 600, 10, By.HOUSE)),
        ("5 bis, rue de la Paix", (0, 1200, 10, By.HOUSE)),
        ("Mill Lane 1, Bray", (5000, 900, 10, By.HOUSE)),
        ("1 Mill Ln, 2000", (5000, 900, 10, By.HOUSE)),
        ("Long Way 3", (100, 2100, 200, By.STREET)),  # 200 m of 400 along; its farther end 200 m off
    ],
)
def test_houses_neighbours_and_streets(town: Addresses, written: str, expected: tuple[float, float, float, By]) -> None:
    assert place(town.find(written)) == expected


@pytest.mark.parametrize(
    ("written", "why", "said"),
    [
        ("Mill Lane 1", Why.ADDRESS_TWICE, "Aldham"),  # two villages have one
        ("Mill Lane 1", Why.ADDRESS_TWICE, "Bray"),
        ("Park Rode 4", Why.ADDRESS_MISSPELT, "did you mean Park Road"),
        ("Old Park Road 4", Why.ADDRESS_MISSPELT, "Park Road"),  # another street, for all anybody knows
        ("Park Road 4, Elsewhere", Why.ADDRESS_ELSEWHERE, "Aldham"),
        ("Park Road 4, 9999", Why.ADDRESS_ELSEWHERE, "9999"),
        ("behind the church", Why.ADDRESS_UNKNOWN, ""),
    ],
)
def test_what_has_no_one_place_is_told(town: Addresses, written: str, why: Why, said: str) -> None:
    told = town.find(written)
    assert isinstance(told, Told)
    assert told.code is why
    assert said in told.reason


def test_a_number_that_stands_at_two_ends_of_a_street_is_no_place() -> None:
    far = book({"Ring|1": (E0, N0), "Ring|1|": (E0 + 400, N0)})
    told = far.find("Ring 1")
    assert isinstance(told, Told)
    assert told.code is Why.ADDRESS_TWICE
    near = book({"Ring|1": (E0, N0), "Ring|1|": (E0 + 40, N0)})  # two entrances: as far off as the other
    assert place(near.find("Ring 1")) == (0, 0, 40, By.HOUSE)


def test_a_town_in_a_column_of_its_own_decides(town: Addresses) -> None:
    assert place(town.find("Mill Lane 1", city="Bray")) == (5000, 900, 10, By.HOUSE)
    assert place(town.find("Mill Lane 1", postcode="1000")) == (0, 900, 10, By.HOUSE)
    assert place(book({"Katu|1|00100": (E0, N0)}).find("Katu 1", postcode="100")) == (0, 0, 10, By.HOUSE)
    told = town.find("Park Road 4", city="bray")
    assert isinstance(told, Told)
    assert told.code is Why.ADDRESS_ELSEWHERE


def test_a_street_whose_town_the_map_does_not_name() -> None:
    """Hill Road in Aldham has no 9; that of a place without a name has one: it may be the one that is meant."""
    hills = book({"Hill Road|1||Aldham": (E0, N0), "Hill Road|9": (E0 + 5000, N0), "Mint Lane|3": (E0, N0 + 9000)})
    assert place(hills.find("Hill Road 1, Aldham")) == (0, 0, 10, By.HOUSE)
    told = hills.find("Hill Road 9, Aldham")
    assert isinstance(told, Told)
    assert told.code is Why.ADDRESS_TWICE
    found = hills.find("Mint Lane 3, Bray")
    assert isinstance(found, Found)
    assert found.name == "Mint Lane 3, in a town that the map does not name"


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Karl-Marx-Str.", "Karl Marx Straße"),
        ("St John's St", "Saint Johns Street"),
        ("ul. Długa", "Dluga"),
        ("c/ Mayor", "Calle Mayor"),
        ("Marktpl", "Marktplatz"),
        ("av. Foch", "Avenue Foch"),
        ("Kerkstr.", "Kerkstraat"),
    ],
)
def test_names_of_one_street(one: str, other: str) -> None:
    from habitatmap.read.addresses import _WORD

    assert street_key(_WORD.findall(one)) == street_key(_WORD.findall(other))


@pytest.mark.parametrize(("one", "other"), [("Park Road", "Park Lane"), ("High Street", "High Street North")])
def test_names_of_two_streets(one: str, other: str) -> None:
    assert street_key(one.split()) != street_key(other.split())


def test_umlauts_written_in_two_letters() -> None:
    one = book({"Mühlenweg|3": (E0, N0)})
    assert place(one.find("Muehlenweg 3")) == (0, 0, 10, By.HOUSE)


# --- in an area ------------------------------------------------------------------------------------------------------


def opened(folder: Path, **files: str) -> Area:
    """An area of Park Road (400 m, its line in paths.gpkg) and the house numbers of a council's list."""
    area_folder(folder, f'crs = "{CRS}"\nas_of = 2025-07-01\n', **files)
    write_layer(folder / "paths.gpkg", [shapely.LineString([(E0, N0), (E0 + 400, N0)])], CRS, name=["Park Road"])
    return open_area(folder)


NUMBERS = f"""Strasse,Nr,x,y,Ort
Park Road,2,{E0 + 20},{N0 + 10},Aldham
Park Road,12a,{E0 + 120},{N0 + 10},Aldham
Park Road,?,,,
"""
POOLS = f"""pool,x,y,Adresse,private
A,,,"12a Park Road, Aldham",
B,,,Park Road,no
C,,,Park Rode 2,
D,{E0 + 30},{N0},Park Road 2,
E,{E0 + 900},{N0},Park Road 2,
F,,,?,
G,{E0},,Park Road 2,
H,,,Park Road 99,
"""


def test_pools_without_coordinates_are_placed_by_their_address(tmp_path: Path) -> None:
    area = opened(
        tmp_path,
        addresses=NUMBERS,
        pools=POOLS,
        committed="name,Hausnummer,Strasse\nnew,2,Park Rd\n,Rose Cottage,Park Rd\n",
    )
    pools = area.pools.set_index("pool")
    assert (pools.loc[["A", "B", "D", "E", "H"], "x"] - E0).tolist() == [
        120,
        200,
        30,
        900,
        200,
    ]  # coordinates always count
    assert pools.loc[["A", "B"], "uncertainty_m"].tolist() == [10, 200]
    # an address is somebody's, unless it is said to be no secret
    assert pools["private"].to_dict() == {"A": "yes", "B": "no", "D": "", "E": "", "H": "yes"}
    assert area.committed[["x", "private"]].to_numpy().tolist() == [[E0 + 200, "yes"], [E0 + 20, "yes"]]
    aside = {entry.row: entry.why.code for entry in area.ledger.entries("pools")}
    assert aside == {4: Why.ADDRESS_MISSPELT, 7: Why.NO_PLACE, 8: Why.HALF_IN_METRES}
    assert [entry.row for entry in area.ledger.entries("addresses")] == [4]
    doubts = [doubt for doubt in area.ledger.doubts if "address" in doubt]
    assert doubts == [
        "pools.csv: 3 pools placed by address (house: 1, street: 2); check on the map: row 2: Park Road 12a, "
        "within 10 m; row 3: Park Road, within 200 m; row 9: Park Road, where the map has no 99, within 200 m",
        "pools.csv: coordinates and address lie far apart in 1 row, and the coordinates count; correct the wrong one: "
        "row 6: Park Road 2 is 880 m away",
        "committed.csv: 2 sites placed by address (house: 1, street: 1); check on the map: row 2: Park Road 2, "
        "within 10 m; row 3: Park Road, within 200 m",
    ]
    samples = {(written, meant.partition(":")[0]) for reading in area.ledger.readings
               for heading, written, meant in reading.samples if heading == "address"}  # fmt: skip
    assert ("12a Park Road, Aldham", "Park Road 12a") in samples


def test_an_address_under_location_is_one_where_street_and_number_are_known(tmp_path: Path) -> None:
    pools = "pool,location,address\nA,Park Road 2,\nB,Park Road,\nC,by the school,\nD,by the school,Park Road 2\n"
    area = opened(tmp_path, addresses=NUMBERS, pools=f"{pools}E,53.5 10.x,Park Road 2\n")
    assert area.pools["pool"].tolist() == ["A", "D"]  # coordinates that cannot be read are a fault all the same
    assert {entry.why.code for entry in area.ledger.entries("pools")} == {Why.POSITION_UNREAD}


def test_coordinates_among_addresses(tmp_path: Path) -> None:
    """One column for "where", as people fill it: an address here, degrees or a grid reference there."""
    east, north = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True).transform(E0 + 60, N0)
    pools = f'pool,address\nA,Park Road 2\nB,"{north:.6f}, {east:.6f}"\nC,12a Park Road\nD,1000\n'
    area = opened(tmp_path, addresses=NUMBERS, pools=pools)
    placed = area.pools.set_index("pool")
    assert (placed["x"] - E0).round().to_dict() == {"A": 20, "B": 60, "C": 120}
    assert placed.loc["A", "uncertainty_m"] >= 10
    assert placed.loc["B", "uncertainty_m"] < 1
    assert [entry.row for entry in area.ledger.entries("pools")] == [5]  # a postcode alone is neither


def test_house_numbers_that_a_spreadsheet_took_for_dates() -> None:
    """2-4 typed into a German sheet is the 2nd of April, into an American one the 4th of February."""
    day = datetime.date
    rows = [
        ("A", "Park Road", day(2025, 4, 2)),
        ("B", "Park Road", day(2025, 2, 4)),
        ("C", "Park Road", day(1950, 3, 1)),
    ]
    houses = {"Park Road|2-4": (E0 + 20, N0), "Park Road|1-3": (E0, N0)}
    stated = Stated(crs=CRS, addresses=book(houses, Park_Road=[(E0, N0), (E0 + 400, N0)]))
    frame, ledger = pools(table("pool,street,house number", *rows), stated=stated, crs=pyproj.CRS(CRS))
    assert (frame["x"] - E0).tolist() == [20, 20, 200]
    assert "row 4: Park Road, where the map has no 1950" in ledger.doubts[0]


def test_a_map_from_addresses_alone(tmp_path: Path) -> None:
    """No coordinates but those of the house numbers: the system is chosen from them."""
    area_folder(tmp_path, pools="pool,address\nA,Mint Lane 3\n")
    write_layer(tmp_path / "addresses.gpkg", [shapely.box(10, 50, 10.0002, 50.0002)], "EPSG:4326",
                street=["Mint Lane"], house_number=["3"])  # fmt: skip
    area = open_area(tmp_path)
    assert area.crs.to_epsg() == 32632
    # half the diagonal of 14.3 m by 22.2 m
    assert area.pools["uncertainty_m"].tolist() == [pytest.approx(13.2, abs=0.1)]


def test_addresses_in_an_area_without_streets_are_told(tmp_path: Path) -> None:
    area_folder(tmp_path, pools="pool,lat,lon,address\nA,53.5,10.0,\nB,,,12 Park Road\n")
    area = open_area(tmp_path)
    assert [entry.why.code for entry in area.ledger.entries("pools")] == [Why.ADDRESS_NO_MAP]
