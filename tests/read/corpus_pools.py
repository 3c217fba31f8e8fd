"""Lists of pools as gardeners, schools, foresters, wardens and GIS offices send them, each with its true rows.

Places, names and people are invented. Most lists lie at three spots near 10 E, 53.5 N; where a writing belongs to a
country, the list lies there.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from typing import Any

import shapely

from .corpus import EN, SPOTS
from .dress import cells, layer, lines, ods, parquet, xls, xlsx, zipped
from .truth import Between, Case, NoneOf

ONE, TWO, THREE = SPOTS.values()
ROWS = cells("""
pool | lon     | lat
P1   | 10.0123 | 53.5512
P2   | 10.0234 | 53.5623
P3   | 10.0345 | 53.5734
""")
PLAIN = lines(ROWS)
Row = dict[str, Any]


def pool(name: str, at: tuple[float, float], **columns: Any) -> Row:
    """A true pool, by degrees."""
    return {"pool": name, "at": at, **columns}


def metres(name: str, x: float, y: float, **columns: Any) -> Row:
    """A true pool, by metres of the area's system."""
    return {"pool": name, "xy": (x, y), **columns}


def named(*names: str, **columns: Sequence[Any]) -> list[Row]:
    """Pools of these names at the three spots, with these columns' values in turn."""
    spots = zip(names, [ONE, TWO, THREE][: len(names)], strict=True)
    return [pool(n, at, **{c: v[i] for c, v in columns.items()}) for i, (n, at) in enumerate(spots)]


ALL = named("P1", "P2", "P3")


def sent(
    name: str,
    content: str | bytes,
    rows: Sequence[Row] = ALL,
    aside: Mapping[Any, str] | None = None,
    *,
    file: str = "pools.csv",
    **case: Any,
) -> Case:
    """A case of one pools file; text is UTF-8."""
    raw = content.encode() if isinstance(content, str) else content
    return Case(f"pools: {name}", {file: raw}, "pools", rows, aside or {}, **case)


def refused(name: str, content: str | bytes, word: str, *, file: str = "pools.csv", **case: Any) -> Case:
    return sent(name, content, [], file=file, refused=word, **case)


def written(name: str, heading: str, writings: Sequence[str], rows: Sequence[Row] = ALL, **case: Any) -> Case:
    """Pools whose place stands in one column, tab-delimited so that a writing may hold any mark."""
    text = f"pool\t{heading}\n" + "".join(f"P{i}\t{w}\n" for i, w in enumerate(writings, start=1))
    return sent(name, text, rows, **case)


# --- text in any encoding --------------------------------------------------------------------------------------------

GERMAN = "Becken;Länge;Breite;Notiz\n{};10,0123;53,5512;{}\n{};10,0234;53,5623;{}\n{};10,0345;53,5734;{}\n"
MILL = GERMAN.format("Mühlbach", "Jürgen Böhm", "Schönhof", "Käthe Groß", "Weißdornhöhe", "Übungsplatz e. V.")
MILL_ROWS = named("Mühlbach", "Schönhof", "Weißdornhöhe", note=["Jürgen Böhm", "Käthe Groß", "Übungsplatz e. V."])
POLISH = GERMAN.format("Łąka", "Świętosława", "Żabie oczko", "Błażej", "Ślęża", "Grażyna")
POLISH_ROWS = named("Łąka", "Żabie oczko", "Ślęża", note=["Świętosława", "Błażej", "Grażyna"])
HEART = (
    "mare;longitude;latitude;remarque\nCœur de forêt;10,0123;53,5512;Sœur Élise\nŒillets;10,0234;53,5623;Mme Lebœuf\n"
)
HEART_ROWS = named("Cœur de forêt", "Œillets", note=["Sœur Élise", "Mme Lebœuf"])
MIXED = "pool;lon;lat\nMühle;10.0123;53.5512\n".encode() + "Höhle;10.0234;53.5623\n".encode("cp1252")

ENCODINGS = [
    sent("mac_roman", MILL.encode("mac_roman"), MILL_ROWS),
    sent("cp1252 of many letters", MILL.encode("cp1252"), MILL_ROWS),
    sent("cp1250", POLISH.encode("cp1250"), POLISH_ROWS),
    sent("latin-9", HEART.encode("iso-8859-15"), HEART_ROWS),
    sent("cp850 of an old DOS program", MILL.encode("cp850"), MILL_ROWS),
    sent("utf-16 little endian", b"\xff\xfe" + MILL.encode("utf-16-le"), MILL_ROWS),
    sent("utf-16 big endian", b"\xfe\xff" + MILL.encode("utf-16-be"), MILL_ROWS),
    sent("utf-16 without a mark", MILL.encode("utf-16-le"), MILL_ROWS),
    sent("utf-16 big endian without a mark", MILL.encode("utf-16-be"), MILL_ROWS),
    sent("two encodings in one file", MIXED, named("Mühle", "Höhle")),
    sent("encoded twice", PLAIN.replace("P1", "MÃ¼hle"), named("Mühle", "P2", "P3")),
    sent("hard and zero-width spaces", PLAIN.replace("P1,", "P1\xa0,\u200b").replace("53.5623", "53.5623\xa0")),
    sent("decomposed accents", PLAIN.replace("P1", "Mu\u0308hle"), named("Mühle", "P2", "P3")),
]

# --- text tables -----------------------------------------------------------------------------------------------------

TABLES = [
    sent("sep= line", "sep=;\n" + lines(ROWS, ";")),
    sent("decimal commas in quotes", 'pool,lon,lat\nP1,"10,0123","53,5512"\nP2,"10,0234","53,5623"\n', ALL[:2]),
    sent("wrapped twice", '"pool,lon,lat"\n"P1,""10,0123"",""53,5512"""\n"P2,""10,0234"",""53,5623"""\n', ALL[:2]),
    sent(
        "decimal commas lost in commas",
        "pool,lon,lat\nP1,10,0123,53,5512\nP2,10,0234,53,5623\nP3,10.0345,53.5734\n",
        ALL[2:],
        {2: "", 3: ""},
    ),
    sent("empty rows and columns of a spreadsheet", lines([*(r + [None] * 3 for r in ROWS), *[[None] * 6] * 4], ";")),
    sent("last cell trimmed", "pool,lon,lat,note\nP1,10.0123,53.5512\nP2,10.0234,53.5623,oak\n", ALL[:2]),
    sent("duplicate headings", "pool,lon,lat,note,note\nP1,10.0123,53.5512,a,b\nP2,10.0234,53.5623,c,\n", ALL[:2]),
    sent("blank headings", "pool,,lon,lat,\nP1,x,10.0123,53.5512,\nP2,y,10.0234,53.5623,z\n", ALL[:2]),
    sent(
        "heading repeated in capitals",
        PLAIN + "POOL,LON,LAT\nP4,10.04,53.58\n",
        [*ALL, pool("P4", (10.04, 53.58))],
        {5: "heading"},
    ),
    sent("German total", MILL + "Summe;;;3\n", MILL_ROWS, {5: "total"}),
    sent(
        "Finnish total",
        PLAIN.replace("pool,lon,lat", "allas,pituusaste,leveysaste") + "Yhteensä,,3\n",
        ALL,
        {5: "total"},
    ),
    sent("remarks between rows", PLAIN.replace("P2", "# checked up to here\nP2")),
    sent("letterhead above", "Town of Testing;;\nGarden office;;\nas of: 1.4.2025;;\n;;\n" + lines(ROWS, ";")),
    sent(
        "quote inside a word",
        'pool,lon,lat,note\nP1,10.0123,53.5512,a 10" pot\nP2,10.0234,53.5623,by the oak\n',
        ALL[:2],
    ),
    sent(
        "carriage returns only, quoted",
        '"pool";"lon";"lat"\r"P1";"10,0123";"53,5512"\r"P2";"10,0234";"53,5623"\r',
        ALL[:2],
    ),
    sent("name over two lines", 'pool,lon,lat\n"P1\nback yard",10.0123,53.5512\n', named("P1 back yard")),
    sent("headings over two lines", '"pool\nname","longitude\n(°E)","latitude\n(°N)"\nP1,10.0123,53.5512\n', ALL[:1]),
    sent("headings numbered as in a form", "1. Pool;2. Longitude;3) Latitude\nP1;10,0123;53,5512\n", ALL[:1]),
    sent("a row of units below the headings", "pool;lon;lat\n;°;°\nP1;10,0123;53,5512\n", ALL[:1], may=(2,)),
    sent("headings in two rows", "pool;Koordinaten;\n;lon;lat\nP1;10,0123;53,5512\n", ALL[:1]),
    sent(
        "two exports pasted together, each with its mark",
        PLAIN.encode("utf-8-sig") + lines([ROWS[0], ["P4", 10.04, 53.58]]).encode("utf-8-sig"),
        [*ALL, pool("P4", (10.04, 53.58))],
        {5: "heading"},
    ),
    sent("tabs called xls", lines(ROWS, "\t"), file="pools.xls"),
    sent("tabs in utf-16 called xls", lines(ROWS, "\t").encode("utf-16"), file="pools.xls"),
    sent("a workbook called csv", xlsx(ROWS)),
    sent("tsv", lines(ROWS, "\t"), file="pools.tsv"),
    sent("a space after each comma", "pool, lon, lat\nP1, 10.0123, 53.5512\nP2, 10.0234, 53.5623\n", ALL[:2]),
    sent("a space before each quote", '"pool", "lon", "lat"\n"P1", "10.0123", "53.5512"\n', ALL[:1]),
    sent(
        "a name that others take for missing",
        PLAIN.replace("P1", "NA").replace("P2", "None"),
        named("NA", "None", "P3"),
    ),
    sent(
        "names that others take for numbers",
        PLAIN.replace("P1", "1.10").replace("P2", "1.1").replace("P3", "1e3"),
        named("1.10", "1.1", "1e3"),
    ),
    sent("file name in capitals", PLAIN, file="Pools.CSV"),
    Case(
        "pools: a lock file and a hidden file beside",
        {
            "pools.csv": PLAIN.encode(),
            ".~lock.pools.csv#": b",ann,pc,1.4.2025;",
            "~$pools.xlsx": b"\x03Ann" + bytes(160),
            "._pools.csv": bytes(82),
        },
        "pools",
        ALL,
    ),
    sent("numbers behind an apostrophe", "pool;lon;lat\nP1;'10,0123;'53,5512\n", ALL[:1]),
    refused("waypoints of a receiver", b'<?xml version="1.0"?><gpx version="1.1"/>', "save it as", file="pools.gpx"),
    Case(
        "pools: a letter beside the list",
        {"pools.csv": PLAIN.encode(), "pools_more.docx": b"PK\x03\x04"},
        "pools",
        ALL,
        says="pools_more.docx",
    ),
    refused("a web page called csv", "<!DOCTYPE html><html><body><p>Please log in</p></body></html>\n", ""),
    refused(
        "a picture called csv", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\1\0\0\0\1\x08\2\0\0\0" + bytes(range(200)), ""
    ),
    refused("half a workbook", xlsx(ROWS)[:2500], "", file="pools.xlsx"),
    refused("a web page called xls", "<html><table><tr><td>pool</td></tr></table></html>", "", file="pools.xls"),
]

# --- sheets ----------------------------------------------------------------------------------------------------------

SPRING = datetime.date(2024, 4, 2)
DATED = [["pool", "lon", "lat", "set out"], *[[n, *at, SPRING] for n, at in SPOTS.items()]]
DATED_ROWS = named("P1", "P2", "P3", set_out=["2024-04-02"] * 3)
HOSTED = cells("""
host  | pool | lon     | lat
Parks | P1   | 10.0123 | 53.5512
      | P2   | 10.0234 | 53.5623
      | P3   | 10.0345 | 53.5734
""")
OTHER_WAY = cells("""
pool | lat     | lon
P3   | 53.5734 | 10.0345
""")
NUMBERS = cells("""
pool | lon     | lat
12   | 10.0123 | 53.5512
13   | 10.0234 | 53.5623
""")
CONTACTS = cells("""
Contact | Telephone
Ann     | 040 5550 1
Bert    | 040 5550 2
""")

SHEETS = [
    sent("dates of 1900", xlsx(DATED), DATED_ROWS, file="pools.xlsx"),
    sent("dates of 1904", xlsx(DATED, old=True), DATED_ROWS, file="pools.xlsx"),
    sent(
        "merged host",
        xlsx([HOSTED[0], *HOSTED[1:]], merged="A2:A4"),
        named("P1", "P2", "P3", host=["Parks"] * 3),
        file="pools.xlsx",
    ),
    sent("merged title", xlsx([["Our pools", None, None], *ROWS]), file="pools.xlsx"),
    sent("hidden sheet", xlsx({"now": ROWS, "old": OTHER_WAY}, hidden=["old"]), file="pools.xlsx", says="hidden"),
    sent("a sheet a year", xlsx({"2024": ROWS[:3], "2025": OTHER_WAY}), file="pools.xlsx"),
    sent(
        "a sheet of words beside",
        xlsx({"pools": ROWS, "Read me": [["Please fill in the first sheet"]]}),
        file="pools.xlsx",
        may=(1,),
    ),
    sent("two tables on a sheet", xlsx([*ROWS[:3], [], *OTHER_WAY]), file="pools.xlsx", may=(5,)),
    sent("contacts below the list", xlsx([*ROWS, [], *CONTACTS]), file="pools.xlsx", may=(6, 7, 8)),
    sent(
        "error in a cell",
        xlsx([*ROWS, ["P4", "#N/A", 53.58], ["P5", 10.05, "#REF!"]]),
        ALL,
        {5: "", 6: ""},
        file="pools.xlsx",
    ),
    sent(
        "a coordinate that became a date",
        xlsx([*ROWS, ["P4", datetime.date(2025, 1, 10), 53.58]]),
        ALL,
        {5: ""},
        file="pools.xlsx",
    ),
    sent("formula without a value", xlsx([*ROWS, ["P4", "=B2+0.01", "=C2"]]), ALL, {5: ""}, file="pools.xlsx"),
    sent("numbers as names", xlsx(NUMBERS), named("12", "13"), file="pools.xlsx"),
    sent("table away from the corner", xlsx([[], [], *[[None, None, *row] for row in ROWS]]), file="pools.xlsx"),
    sent(
        "numbers as text with commas",
        xlsx([[str(c).replace(".", ",") for c in row] for row in ROWS]),
        file="pools.xlsx",
    ),
    sent("ods", ods(DATED), DATED_ROWS, file="pools.ods"),
    sent("ods with a title", ods([["Our pools"], [None], *ROWS]), file="pools.ods"),
    sent("xls", xls(ROWS), file="pools.xls"),
    sent("xls with umlauts", xls([["Becken", "Länge", "Breite"], ["Mühle", *ONE]]), named("Mühle"), file="pools.xls"),
    sent("parquet", parquet(ROWS), file="pools.parquet"),
    sent("zip with a csv", zipped(pools_csv=PLAIN.encode()), file="pools.zip"),
    sent("zip with a folder and a workbook", zipped(**{"send me__pools_xlsx": xlsx(ROWS)}), file="pools.zip"),
]

POINTS = [shapely.Point(at) for at in SPOTS.values()]
IN_METRES = [shapely.Point(at) for at in EN]
LAYERS = [
    Case("pools: geojson", layer("pools.geojson", POINTS, "EPSG:4326", pool=list(SPOTS)), "pools", ALL),
    Case("pools: gpkg in metres", layer("pools.gpkg", IN_METRES, "EPSG:25832", Becken=list(SPOTS)), "pools", ALL),
    sent(
        "geojson with a mark in front",
        b"\xef\xbb\xbf" + layer("pools.geojson", POINTS, "EPSG:4326", pool=list(SPOTS))["pools.geojson"],
        file="pools.geojson",
    ),
    Case(
        "pools: gpkg in another system",
        layer("pools.gpkg", [shapely.Point(3567163.67, 5936002.18)], "EPSG:31467", pool=["P1"]),
        "pools",
        ALL[:1],
        within_m=5,
    ),
    Case("pools: shapefile", layer("pools.shp", IN_METRES, "EPSG:25832", pool=list(SPOTS)), "pools", ALL),
    Case("pools: geoparquet", layer("pools.parquet", POINTS, "EPSG:4326", pool=list(SPOTS)), "pools", ALL),
    Case(
        "pools: shapefile in a zip",
        {
            "pools.zip": zipped(
                **{
                    k.replace(".", "_"): v
                    for k, v in layer("pools.shp", IN_METRES, "EPSG:25832", pool=list(SPOTS)).items()
                }
            )
        },
        "pools",
        ALL,
    ),
    Case(
        "pools: gpkg without a system",
        layer("pools.gpkg", IN_METRES, None, pool=list(SPOTS)),
        "pools",
        refused="source_crs",
    ),
    Case(
        "pools: geojson with a point missing",
        layer("pools.geojson", [*POINTS[:2], None], "EPSG:4326", pool=list(SPOTS)),
        "pools",
        ALL[:2],
        {3: ""},
    ),
]

# --- headings in six languages, with units and strangers beside ------------------------------------------------------


def headed(name: str, heads: str, **columns: Sequence[Any]) -> Case:
    """P1 with what such a heading's columns hold: name, lon, lat, volume in litres, day set out, private."""
    return sent(
        f"headings {name}",
        f"{heads}\nP1;10,0123;53,5512;8,5;2025-03-20;{columns.pop('yes', ['yes'])[0]}\n",
        [pool("P1", ONE, volume_l=8.5, set_out="2025-03-20", private="yes")],
    )


HEADINGS = [
    headed("in English with units", "Pool ID;Longitude (°E);Latitude (°N);Volume (l);Date set out;Private?"),
    headed(
        "in German with units",
        "Becken-Nr.;Längengrad [°];Breitengrad [°];Volumen (l);Ausgebracht am;Privat",
        yes=["ja"],
    ),
    headed(
        "in French with units", "N° de mare;Longitude (°);Latitude (°);Volume (litres);Date de pose;Privé", yes=["oui"]
    ),
    headed(
        "in Dutch with units", "Poelnummer;Lengtegraad;Breedtegraad;Inhoud (l);Geplaatst op;Particulier", yes=["ja"]
    ),
    headed(
        "in Spanish with units", "Charca;Longitud (°);Latitud (°);Volumen (l);Fecha de colocación;Privado", yes=["sí"]
    ),
    headed("in Finnish with units", "Lammikko;Pituusaste;Leveysaste;Tilavuus (l);Asennettu;Yksityinen", yes=["kyllä"]),
    sent("altitude is no latitude", "mare;altitude;longitude;latitude\nP1;12;10,0123;53,5512\n", ALL[:1]),
    sent("Höhe is no place", "Becken;Höhe;Länge;Breite\nP1;12;10,0123;53,5512\n", ALL[:1]),
    sent(
        "headings stated in area.toml",
        "wo;quer;hoch\nP1;10.0123;53.5512\n",
        ALL[:1],
        toml='[columns.pools]\npool = "wo"\nlon = "quer"\nlat = "hoch"\n',
    ),
    sent("capitals and spaces", "  POOL ; LONGITUDE ;  latitude\nP1;10.0123;53.5512\n", ALL[:1]),
    sent("slip of the pen", "pool;longitde;lattitude\nP1;10.0123;53.5512\n", ALL[:1]),
]

# --- places in any writing -------------------------------------------------------------------------------------------

BRITAIN = {"crs": "EPSG:27700", "within_m": 0.5}
IRELAND = {"crs": "EPSG:2157", "within_m": 5.0}
RENNES, VIGO, UTRECHT = (-1.68, 48.11), (-8.72, 42.23), (5.1214, 52.0907)
HELSINKI, DUBLIN, LONDON = (24.9412, 60.1712), (-6.26, 53.35), (-0.12, 51.5)
WKB = ["01010000004A7B832F4C06244011C7BAB88DC64A40", "0101000000EB73B515FB0B244039454772F9C74A40"]
EWKB = ["0101000020E61000004A7B832F4C06244011C7BAB88DC64A40", "0101000020E6100000EB73B515FB0B244039454772F9C74A40"]

WRITINGS = [
    written(
        "degrees, minutes, seconds",
        "coordinates",
        ["53°33'04.32\"N 10°00'44.28\"E", "53°33'44.28\"N 10°01'24.24\"E", "53°34'24.24\"N 10°02'04.20\"E"],
    ),
    written(
        "seconds with primes and spaces",
        "coordinates",
        [
            "53° 33′ 04.32″ N, 10° 00′ 44.28″ E",
            "53° 33′ 44.28″ N, 10° 01′ 24.24″ E",
            "53° 34′ 24.24″ N, 10° 02′ 04.20″ E",
        ],
    ),
    written(
        "seconds with curled quotes and commas",
        "Koordinaten",
        ["53°33’04,32”N 10°00’44,28”O", "53°33’44,28”N 10°01’24,24”O", "53°34’24,24”N 10°02’04,20”O"],
    ),
    written(
        "seconds as two accents",
        "Koordinaten",
        ["53°33´04,32´´N 10°00´44,28´´E", "53°33´44,28´´N 10°01´24,24´´E"],
        ALL[:2],
    ),
    written(
        "bare numbers and letters", "position", ["53 33 04.32 N 10 00 44.28 E", "53 33 44.28 N 10 01 24.24 E"], ALL[:2]
    ),
    written(
        "one letter between two numbers", "position", ["10.0123 E 53.5512", "53°33'44.28\" N 10°01'24.24\""], ALL[:2]
    ),
    written("letters in front of decimals", "position", ["E 10.0123 N 53.5512", "Nord 53.5623 Ost 10.0234"], ALL[:2]),
    written(
        "letters in front, seconds",
        "position",
        ["N 53°33'04.32\" E 10°00'44.28\"", "N53°33'44.28\" E10°01'24.24\""],
        ALL[:2],
    ),
    written(
        "letters in front, decimal minutes",
        "position",
        ["N 53° 33.072' E 010° 00.738'", "N 53° 33.738' E 010° 01.404'"],
        ALL[:2],
    ),
    written(
        "decimal minutes with commas",
        "Position",
        ["N 53° 33,072' O 010° 00,738'", "N 53° 33,738' O 010° 01,404'"],
        ALL[:2],
    ),
    written("glued decimal minutes", "position", ["N53°33.072' E010°00.738'", "N53°33.738' E010°01.404'"], ALL[:2]),
    written("colons", "position", ["53:33:04.32 N, 10:00:44.28 E", "53:33:44.28 N, 10:01:24.24 E"], ALL[:2]),
    written("d, m and s", "position", ["53d33m04.32s N 10d00m44.28s E", "53d33m44.28s N 10d01m24.24s E"], ALL[:2]),
    written(
        "the ordinal sign for degrees",
        "position",
        ["53º33'04.32\"N 10º00'44.28\"E", "53º33'44.28\"N 10º01'24.24\"E"],
        ALL[:2],
    ),
    written("decimal degrees with letters", "position", ["53.5512°N, 10.0123°E", "53.5623°N, 10.0234°E"], ALL[:2]),
    written("words before numbers", "position", ["lat: 53.5512, lon: 10.0123", "lat: 53.5623, lon: 10.0234"], ALL[:2]),
    written("German words", "Koordinaten", ["53,5512 Nord, 10,0123 Ost", "53,5623 Nord, 10,0234 Ost"], ALL[:2]),
    written("decimal commas parted by a comma", "Koordinaten", ["53,5512, 10,0123", "53,5623, 10,0234"], ALL[:2]),
    written("decimal commas parted by a semicolon", "Koordinaten", ["53,5512; 10,0123", "53,5623; 10,0234"], ALL[:2]),
    written("decimal commas parted by a space", "Koordinaten", ["53,5512 10,0123", "53,5623 10,0234"], ALL[:2]),
    written("decimal commas parted by a stroke", "Koordinaten", ["53,5512 / 10,0123", "53,5623 / 10,0234"], ALL[:2]),
    written(
        "brackets around", "position", ["(53.5512, 10.0123)", "[53.5623, 10.0234]"], [ALL[0], {**ALL[1], "or_aside": 3}]
    ),
    written("longitude first in one cell", "lon/lat", ["10.0123, 53.5512", "10.0234, 53.5623"], ALL[:2]),
    written(
        "each row its own way",
        "position",
        ["53.5512, 10.0123", "53°33'44.28\"N 10°01'24.24\"E", "N 53° 34.404' E 010° 02.070'"],
    ),
    written("MGRS", "MGRS", ["32UNE6706634066", "32U NE 67784 35311"], ALL[:2], within_m=1.5),
    written(
        "MGRS of 100 m",
        "grid",
        ["32U NE 670 340", "32UNE677353"],
        [
            metres("P1", 567050, 5934050, uncertainty_m=Between(70, 100)),
            metres("P2", 567750, 5935350, uncertainty_m=Between(70, 100)),
        ],
    ),
    written("plus codes", "plus code", ["9F5GH226+FW", "9F5GH26F+W9"], ALL[:2], within_m=9),
    written("a plus code of eleven", "plus code", ["9F5GH226+FWM"], ALL[:1], within_m=3),
    written(
        "plus codes cut short",
        "plus code",
        ["H226+FW Testing", "H26F+W9", "53.5734, 10.0345"],
        ALL[2:],
        aside={2: "plus code", 3: "plus code"},
    ),
    written(
        "a published plus code",
        "location",
        ["8FVC9G8F+6X"],
        [pool("P1", (8.524997, 47.365590))],
        crs="EPSG:2056",
        within_m=9,
    ),
    written("WKT", "geometry", ["POINT (10.0123 53.5512)", "point(10.0234 53.5623)", "POINT Z (10.0345 53.5734 12)"]),
    written(
        "EWKT in metres",
        "geom",
        ["SRID=25832;POINT(567066.451 5934066.429)", "SRID=4326;POINT(10.0234 53.5623)"],
        ALL[:2],
    ),
    written("WKB in hex", "geom", WKB, ALL[:2]),
    written("EWKB in hex", "geom", EWKB, ALL[:2]),
    written(
        "GeoJSON in a cell",
        "geom",
        ['{"type": "Point", "coordinates": [10.0123, 53.5512]}', '{"type":"Point","coordinates":[10.0234,53.5623]}'],
        ALL[:2],
    ),
    written("an empty shape", "geom", ["POINT (10.0123 53.5512)", "POINT EMPTY"], ALL[:1], aside={3: ""}),
    written(
        "an address for a place",
        "position",
        ["53.5512, 10.0123", "Mill Lane 4, behind the shed"],
        ALL[:1],
        aside={3: "Mill Lane"},
    ),
    written("null island", "position", ["53.5512, 10.0123", "0, 0"], ALL[:1], aside={3: "0"}),
    written(
        "sixty-one minutes",
        "position",
        ["53°33'04.32\"N 10°00'44.28\"E", "53°61'44.28\"N 10°01'24.24\"E"],
        ALL[:1],
        aside={3: "61"},
    ),
    sent(
        "letters in columns, O is East",
        "Becken;Breite;Länge\nP1;53,5512 N;10,0123 O\nP2;53,5623 N;10,0234 O\n",
        ALL[:2],
    ),
    sent(
        "letters in columns, O is West",
        "mare;latitude;longitude\nP1;48,11 N;1,68 O\n",
        [pool("P1", RENNES)],
        crs="EPSG:2154",
    ),
    sent(
        "Spanish O is West",
        "charca;latitud;longitud\nP1;42° 13' 48\" N;8° 43' 12\" O\n",
        [pool("P1", VIGO)],
        crs="EPSG:25829",
    ),
    sent(
        "Dutch NB and OL",
        "poel;breedtegraad;lengtegraad\nP1;52,0907 NB;5,1214 OL\n",
        [pool("P1", UTRECHT)],
        crs="EPSG:28992",
    ),
    sent(
        "Finnish P and I",
        "lammikko;leveysaste;pituusaste\nP1;60,1712 P;24,9412 I\n",
        [pool("P1", HELSINKI)],
        crs="EPSG:3067",
    ),
    sent("W", "pool,lat,lon\nP1,53.35 N,6.26 W\n", [pool("P1", DUBLIN)], crs="EPSG:2157"),
    sent(
        "O that may be East or West",
        "pool,lat,lon\nP1,51.5 N,0.12 O\nP2,51.5,-0.12\n",
        [pool("P2", LONDON)],
        {2: "0.12"},
        crs="EPSG:27700",
    ),
    sent(
        "seconds in two columns",
        "Becken;Breite;Länge\nP1;53° 33' 04,32\";10° 00' 44,28\"\nP2;53° 33' 44,28\";10° 01' 24,24\"\n",
        ALL[:2],
    ),
    sent("a lost point", PLAIN.replace("10.0234", "100234")),
    sent("two lost points", PLAIN.replace("10.0234,53.5623", "100234,535623")),
    sent(
        "a lost point that may be in two places",
        "mare,lat,lon\nP1,48.11,1.01\nP2,48.11,10.01\nP3,48.11,1002\n",
        [pool("P1", (1.01, 48.11)), pool("P2", (10.01, 48.11))],
        {4: "1.002"},
        crs="EPSG:2154",
    ),
    sent(
        "a lost sign",
        "pool,lat,lon\nP1,53.35,-6.26\nP2,53.35,-6.27\nP3,53.36,6.28\n",
        [pool("P1", DUBLIN), pool("P2", (-6.27, 53.35)), pool("P3", (-6.28, 53.36))],
        crs="EPSG:2157",
    ),
    sent(
        "no sign anywhere",
        "pool,lat,lon\nP1,53.35,6.26\nP2,53.36,6.28\n",
        [pool("P1", DUBLIN), pool("P2", (-6.28, 53.36))],
        crs="EPSG:2157",
    ),
    sent("one row swapped", "pool,lon,lat\nP1,10.0123,53.5512\nP2,53.5623,10.0234\nP3,10.0345,53.5734\n"),
    sent("headings swapped", PLAIN.replace("lon,lat", "lat,lon")),
    sent(
        "place twice, and they differ",
        "pool,lon,lat,coordinates\nP1,10.0123,53.5512,53.5512 N 10.0123 E\nP2,10.0234,53.5623,53.6623 N 10.0234 E\n",
        ALL[:1],
        {3: "two places"},
    ),
]

GRIDS = [
    written(
        "a British reference of 100 m",
        "Grid reference",
        ["SU 387 148", "SU387149"],
        [metres("P1", 438750, 114850, uncertainty_m=Between(70, 100)), metres("P2", 438750, 114950)],
        **BRITAIN,
    ),
    written(
        "British references of 10 m, 1 m and 1 km",
        "OS grid ref",
        ["TG 5140 1317", "TG 51409 13177", "su 38 14"],
        [
            metres("P1", 651405, 313175, uncertainty_m=Between(7, 10)),
            metres("P2", 651409.5, 313177.5, uncertainty_m=Between(0.5, 1)),
            metres("P3", 438500, 114500, uncertainty_m=Between(700, 1000)),
        ],
        **BRITAIN,
    ),
    written(
        "a British reference with an odd number of digits",
        "gridref",
        ["SU 387 148", "SU 387 14"],
        [metres("P1", 438750, 114850)],
        aside={3: "SU 387 14"},
        **BRITAIN,
    ),
    sent(
        "British eastings and northings",
        "pool,Easting,Northing\nP1,438700,114800\n",
        [metres("P1", 438700, 114800)],
        **BRITAIN,
    ),
    written(
        "an Irish reference",
        "Irish grid ref",
        ["O 15904 34671", "O159346"],
        [
            metres("P1", 715829.9, 734697.2, uncertainty_m=Between(0.5, 10)),
            metres("P2", 715875.9, 734676.3, uncertainty_m=Between(70, 100)),
        ],
        **IRELAND,
    ),
    sent("Swiss metres", "Becken;x;y\nP1;2682060,0;1246650,7\n", [pool("P1", (8.524997, 47.36559))], crs="EPSG:2056"),
    sent(
        "Swiss metres with apostrophes",
        "Becken;E;N\nP1;2'682'060.0;1'246'650.7\n",
        [pool("P1", (8.524997, 47.36559))],
        crs="EPSG:2056",
    ),
    sent(
        "old Swiss metres, stated",
        "Becken;x;y\nP1;682060,0;246650,7\n",
        [pool("P1", (8.524997, 47.36559))],
        crs="EPSG:2056",
        toml='[source_crs]\n"pools.csv" = "EPSG:21781"\n',
        within_m=2,
    ),
    sent(
        "Dutch metres",
        "poel;X-coördinaat;Y-coördinaat\nP1;136783,7;455860,1\n",
        [pool("P1", UTRECHT)],
        crs="EPSG:28992",
    ),
    sent("French metres with spaces", "mare;X;Y\nP1;351 895,9;6 789 166,4\n", [pool("P1", RENNES)], crs="EPSG:2154"),
    sent("Finnish metres", "lammikko;E;N\nP1;385771,2;6672258,3\n", [pool("P1", HELSINKI)], crs="EPSG:3067"),
    sent("Spanish metres", "charca;UTM X;UTM Y\nP1;523105,25;4675351,32\n", [pool("P1", VIGO)], crs="EPSG:25829"),
    sent(
        "German metres with points between thousands", "Becken;Ostwert;Nordwert\nP1;567.066,45;5.934.066,43\n", ALL[:1]
    ),
    sent(
        "German surveyors' x is north",
        "Becken;Rechtswert;Hochwert\nP1;3567163,67;5936002,18\n",
        ALL[:1],
        toml='[source_crs]\n"pools.csv" = "EPSG:31467"\n',
        within_m=5,
    ),
    sent("the number of the zone in front", "Becken;Ostwert;Nordwert\nP1;32567066,45;5934066,43\n", ALL[:1]),
    refused("metres that read two ways, in every row", 'pool,x,y\nP1,"567,066","5,934,066"\n', "row 2"),
    sent("metres swapped", "pool,x,y\nP1,5934066.43,567066.45\nP2,5935311.78,567784.08\n", ALL[:2]),
    refused(
        "metres of no stated system", "pool,x,y\nP1,567066.45,5934066.43\nP2,567784.08,5935311.78\n", "crs", crs=None
    ),
    sent(
        "metres of a neighbour's system",
        "pool,x,y\nP1,3567163.67,5936002.18\nP2,567784.08,5935311.78\n",
        named("P1", "P2")[1:],
        {2: "3567163"},
    ),
    sent("degrees choose the system", PLAIN, crs=None, says="EPSG:"),
]

# --- accuracy, dates, yes and no, names ------------------------------------------------------------------------------

SURE, VAGUE = Between(0.0001, 50), NoneOf((-1, 0, -1.0, 0.0))
EXTRAS = [
    sent(
        "accuracy in metres",
        "pool,lon,lat,accuracy\nP1,10.0123,53.5512,5\nP2,10.0234,53.5623,787 m\nP3,10.0345,53.5734,±8 m\n",
        named("P1", "P2", "P3", uncertainty_m=[Between(5, 8.3), 787.0, 8.0]),
    ),
    sent(
        "accuracy that says nothing",
        "pool,lon,lat,accuracy_m\nP1,10.0123,53.5512,-1\nP2,10.0234,53.5623,0\nP3,10.0345,53.5734,\n",
        named("P1", "P2", "P3", uncertainty_m=[VAGUE] * 3),
    ),
    sent(
        "accuracy in German",
        "Becken;Länge;Breite;Genauigkeit (m)\nP1;10,0123;53,5512;4,5\n",
        named("P1", uncertainty_m=[Between(4.5, 8.3)]),
    ),
    sent(
        "set out, removed",
        "pool,lon,lat,set_out,removed\nP1,10.0123,53.5512,2024-04-02,2025-01-15\nP2,10.0234,53.5623,,\n",
        named("P1", "P2", set_out=["2024-04-02", None], removed=["2025-01-15", None]),
    ),
    sent(
        "removed before it was set out",
        "pool,lon,lat,set_out,removed\nP1,10.0123,53.5512,2025-04-02,2024-04-02\nP2,10.0234,53.5623,,\n",
        ALL[1:2],
        {2: "2024"},
    ),
    sent(
        "removed some time",
        "pool,lon,lat,removed\nP1,10.0123,53.5512,last autumn\nP2,10.0234,53.5623,\n",
        ALL[1:2],
        {2: "last autumn"},
    ),
    sent(
        "set out on a day that can be read both ways",
        "pool,lon,lat,set_out\nP1,10.0123,53.5512,05/06/2025\nP2,10.0234,53.5623,\n",
        ALL[1:2],
        {2: "05/06/2025"},
    ),
    sent(
        "private in French",
        "mare;longitude;latitude;privé\nP1;10,0123;53,5512;oui\nP2;10,0234;53,5623;non\nP3;10,0345;53,5734;\n",
        named("P1", "P2", "P3", private=["yes", "no", None]),
    ),
    sent(
        "private, with a question",
        "pool,lon,lat,private\nP1,10.0123,53.5512,no?\nP2,10.0234,53.5623,no\n",
        named("P1", "P2", private=[None, "no"]),
    ),
    sent(
        "volume with a unit",
        'pool,lon,lat,volume\nP1,10.0123,53.5512,8 l\nP2,10.0234,53.5623,"8,5 Liter"\n',
        named("P1", "P2", volume_l=[8.0, 8.5]),
    ),
    sent(
        "two numbers in names",
        PLAIN.replace("P1", "pool 12").replace("P2", "pool 13"),
        named("pool 12", "pool 13", "P3"),
    ),
    sent("a name that looks like a formula", PLAIN.replace("P1", "'=1+1"), named("=1+1", "P2", "P3")),
    sent("one pool in two places", PLAIN + "P2,10.09,53.59\n", [ALL[0], ALL[2]], {3: "P2", 5: "P2"}),
    sent(
        "a pool that moved",
        "pool,lon,lat,set_out,removed\nP1,10.0123,53.5512,2024-03-01,2024-10-01\nP1,10.0345,53.5734,2024-10-02,\nP2,10.0234,53.5623,,\n",
        ALL[1:2],
        {2: "P1", 3: "P1"},
    ),
    sent("a pool without a name", PLAIN + ",10.05,53.58\n", ALL, {5: "name"}),
]

NORTH, SOUTH = (
    "pool,lon,lat\nP1,10.0123,53.5512\nN2,10.0234,53.5623\n",
    "pool,lon,lat\nP1,10.0345,53.5734\nS2,10.04,53.58\n",
)
SEVERAL = [
    Case(
        "pools: a list without names",
        {"pools_a.csv": b"lon,lat\n10.0345,53.5734\n", "pools_b.csv": lines(ROWS[:3]).encode()},
        "pools",
        ALL[:2],
        {("pools_a", 2): "name"},
    ),
    Case(
        "pools: two files",
        {"pools_north.xlsx": xlsx(ROWS[:3]), "pools_south.csv": lines([ROWS[0], ROWS[3]]).encode()},
        "pools",
        ALL,
    ),
    Case(
        "pools: two groups use P1",
        {"pools_north.csv": NORTH.encode(), "pools_south.csv": SOUTH.encode()},
        "pools",
        [pool("N2", TWO), pool("S2", (10.04, 53.58))],
        {("pools_north", 2): "P1", ("pools_south", 2): "P1"},
    ),
    Case(
        "pools: the same row in two files",
        {"pools_a.csv": PLAIN.encode(), "pools_b.csv": lines(ROWS[:2]).encode()},
        "pools",
        ALL,
        {("pools_b", 2): "repeat"},
    ),
]

LINKS = [f"https://maps.example.org/?q={lat},{lon}" for lon, lat in SPOTS.values()]
PAIRS = [f"{lat}, {lon}" for lon, lat in SPOTS.values()]
BY_CONTENT = [
    sent("links under Kaart", lines([["Site ID", "Kaart"], *zip(["P1", "P2", "P3"], LINKS, strict=True)], "\t")),
    sent(
        "a heading with words in brackets",
        lines([["Station", "Coordinates (lat, lon)"], *zip(["P1", "P2", "P3"], PAIRS, strict=True)], "\t"),
    ),
    sent(
        "pairs under a heading that nobody knows",
        lines([["池", "場所のピン"], *zip(["P1", "P2", "P3"], PAIRS, strict=True)], "\t").replace("池", "pool"),
    ),
    sent(
        "full-width digits",
        lines([["pool", "position"], ["P1", "５３．５５１２，１０．０１２３"], ["P2", "53.5623、10.0234"]], "\t"),
        ALL[:2],
    ),
]
CASES: list[Case] = [
    *BY_CONTENT,
    *ENCODINGS,
    *TABLES,
    *SHEETS,
    *LAYERS,
    *HEADINGS,
    *WRITINGS,
    *GRIDS,
    *EXTRAS,
    *SEVERAL,
]
