"""Who said yes on which ground, and what to stay away from, as offices send it, each with its true rows.

All of it is invented.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from typing import Any

import shapely
from shapely.geometry.base import BaseGeometry

from .corpus import POOLS, SPOTS
from .dress import layer, lines, ods, xls, xlsx, zipped
from .truth import Case

Row = dict[str, Any]
UTM = "EPSG:25832"
POOL_FILE = {"pools.csv": POOLS.encode()}
X, Y = 567_000.0, 5_934_000.0


def square(i: int, side: float = 100.0) -> BaseGeometry:
    """The square of row i: squares lie 200 m apart."""
    return shapely.box(X + 200 * i, Y, X + 200 * i + side, Y + side)


def ground(name: str, consent: str, area_m2: float = 10_000.0, **columns: Any) -> Row:
    """A true piece of land."""
    return {"name": name, "consent": consent, "area_m2": area_m2, **columns}


def laid(
    name: str,
    files: Mapping[str, bytes],
    rows: Sequence[Row],
    aside: Mapping[Any, str] | None = None,
    kind: str = "land",
    **case: Any,
) -> Case:
    return Case(f"{kind}: {name}", {**POOL_FILE, **files}, kind, rows, aside or {}, **case)


def shapes(
    name: str,
    made: Sequence[BaseGeometry | None],
    rows: Sequence[Row],
    aside: Mapping[Any, str] | None = None,
    **case: Any,
) -> Case:
    """Parks named A, B, C, ... of these shapes, all with consent, as a GeoPackage."""
    names = [chr(65 + i) for i in range(len(made))]
    return laid(
        name,
        layer("land.gpkg", made, UTM, name=names, kind=["park"] * len(made), consent=["yes"] * len(made)),
        rows,
        aside,
        **case,
    )


def said(language: str, heading: str, until: str = "until", **words: str) -> Case:
    """Consent in words: yes, ask, no."""
    pairs = [(word, consent) for consent, all_words in words.items() for word in all_words.split("|")]
    made = [square(i) for i in range(len(pairs))]
    columns = {
        "name": [f"G{i}" for i in range(len(pairs))],
        "kind": ["park"] * len(pairs),
        heading: [w for w, _ in pairs],
    }
    return laid(
        f"consent in {language}",
        layer("land.gpkg", made, UTM, **columns),
        [ground(f"G{i}", c) for i, (_, c) in enumerate(pairs)],
    )


A, B = square(0), square(1)
BOTH = [ground("Mill green", "yes", kind="park"), ground("Back yard", "no", kind="garden")]
COLUMNS = {"name": ["Mill green", "Back yard"], "kind": ["park", "garden"], "consent": ["yes", "no"]}
BOW = shapely.Polygon([(X, Y), (X + 100, Y + 100), (X + 100, Y), (X, Y + 100)])
HOLED = shapely.Polygon(A.exterior.coords, [shapely.box(X + 25, Y + 25, X + 75, Y + 75).exterior.coords])
OPEN = f"POLYGON (({X} {Y}, {X + 100} {Y}, {X + 100} {Y + 100}, {X} {Y + 100}))"
FLAT = shapely.Polygon([(X, Y), (X + 100, Y), (X + 50, Y), (X, Y)])
SHEET = [["name", "kind", "consent", "wkt"], ["Mill green", "park", "yes", A.wkt], ["Back yard", "garden", "no", B.wkt]]
DEGREES = [shapely.box(10.0, 53.5, 10.001, 53.501), shapely.box(10.01, 53.5, 10.011, 53.501)]


def until(name: str, day: Any, consent: str, **row: Any) -> Case:
    """A park whose consent holds until that day; the map is for 2025-06-30."""
    made = layer("land.gpkg", [A], UTM, name=["A"], kind=["park"], consent=["yes"], until=[day])
    return laid(f"until {name}", made, [ground("A", consent, **row)])


LAND = [
    laid("gpkg", layer("land.gpkg", [A, B], UTM, **COLUMNS), BOTH),
    laid(
        "geojson in degrees",
        layer("land.geojson", DEGREES, "EPSG:4326", **COLUMNS),
        [ground(n, c, 7388.0) for n, c in (("Mill green", "yes"), ("Back yard", "no"))],
    ),
    laid("shapefile", layer("land.shp", [A, B], UTM, **COLUMNS), BOTH),
    laid("geoparquet", layer("land.parquet", [A, B], UTM, **COLUMNS), BOTH),
    laid("csv with WKT", {"land.csv": lines(SHEET, ";").encode()}, BOTH),
    laid("xlsx with WKT", {"land.xlsx": xlsx(SHEET)}, BOTH),
    laid("ods with WKT", {"land.ods": ods(SHEET)}, BOTH),
    laid("xls with WKT", {"land.xls": xls(SHEET)}, BOTH),
    laid(
        "csv with WKB in hex",
        {"land.csv": lines([["name", "consent", "geometry"], ["A", "yes", shapely.to_wkb(A, hex=True)]]).encode()},
        [ground("A", "yes")],
    ),
    laid(
        "csv with EWKT",
        {
            "land.csv": f"name;consent;geom\nA;yes;SRID=25832;{A.wkt}\n".replace("SRID=25832;", '"SRID=25832;')
            .replace("))\n", '))"\n')
            .encode()
        },
        [ground("A", "yes")],
    ),
    laid(
        "zip with a shapefile",
        {"land.zip": zipped(**{k.replace(".", "_"): v for k, v in layer("land.shp", [A, B], UTM, **COLUMNS).items()})},
        BOTH,
    ),
    laid(
        "two offices",
        {
            **layer("land_a.gpkg", [A], UTM, name=["A"], consent=["yes"]),
            **layer("land_b.geojson", [B], UTM, name=["B"], consent=["no"]),
        },
        [ground("A", "yes"), ground("B", "no")],
    ),
    laid("no system", layer("land.gpkg", [A], None, name=["A"], consent=["yes"]), [], refused="source_crs"),
    laid(
        "a system stated in area.toml",
        layer("land.gpkg", [A], None, name=["A"], consent=["yes"]),
        [ground("A", "yes")],
        toml=f'[source_crs]\n"land.gpkg" = "{UTM}"\n',
    ),
    laid("no column of consent", layer("land.gpkg", [A], UTM, name=["A"], kind=["park"]), [ground("A", "ask")]),
    laid(
        "German headings",
        layer(
            "land.gpkg",
            [A, B],
            UTM,
            Bezeichnung=["Mühlwiese", "Hof"],
            Nutzung=["Park", "Garten"],
            Zustimmung=["ja", "nein"],
        ),
        [ground("Mühlwiese", "yes"), ground("Hof", "no")],
    ),
    laid(
        "French headings",
        layer("land.gpkg", [A, B], UTM, nom=["Pré", "Cour"], type=["parc", "jardin"], accord=["oui", "non"]),
        [ground("Pré", "yes"), ground("Cour", "no")],
    ),
    said(
        "English",
        "consent",
        yes="yes|Yes|y|granted|agreed",
        ask="ask|pending|?|tbc|yes?|yes/no|n/a|not yet",
        no="no|N|refused",
    ),
    said("German", "Einwilligung", yes="ja|erteilt", ask="offen|angefragt|fragen", no="nein|abgelehnt"),
    said("French", "consentement", yes="oui|accordé", ask="à demander|en attente", no="non|refusé"),
    said("Dutch", "toestemming", yes="ja|verleend", ask="vragen|aangevraagd", no="nee|geweigerd"),
    said("Spanish", "consentimiento", yes="sí|si", ask="pendiente|preguntar", no="no|denegado"),
    said("Finnish", "suostumus", yes="kyllä|myönnetty", ask="kysytään|avoin", no="ei|kielletty"),
    laid(
        "consent as true and false",
        layer("land.gpkg", [A, B], UTM, name=["A", "B"], consent=[True, False]),
        [ground("A", "yes"), ground("B", "no")],
    ),
    laid(
        "consent as one and nought",
        layer("land.gpkg", [A, B], UTM, name=["A", "B"], consent=[1, 0]),
        [ground("A", "yes"), ground("B", "no")],
    ),
    laid(
        "no names",
        layer("land.gpkg", [A], UTM, name=[None], consent=["yes"]),
        [{"consent": "yes", "area_m2": 10_000.0}],
    ),
    laid("geojson that states metres", layer("land.geojson", [A, B], UTM, **COLUMNS), BOTH),
    laid(
        "consent blank",
        layer("land.gpkg", [A, B], UTM, name=["A", "B"], consent=["", None]),
        [ground("A", "ask"), ground("B", "ask")],
    ),
    laid(
        "consent in a word nobody knows",
        layer("land.gpkg", [A, B], UTM, name=["A", "B"], consent=["purple", "yes"]),
        [ground("A", "ask", or_aside=1), ground("B", "yes")],
    ),
    until("a day long gone", datetime.date(2024, 12, 31), "ask"),
    until("the day itself", datetime.date(2025, 6, 30), "yes"),
    until("next year", "31.12.2026", "yes"),
    until("a day before, in German", "29.06.2025", "ask"),
    until("nobody can say when", "end of the year", "ask", or_aside=1),
    laid(
        "refusal does not expire",
        layer("land.gpkg", [A], UTM, name=["A"], consent=["no"], until=["2024-12-31"]),
        [ground("A", "no")],
    ),
    laid(
        "private by kind",
        layer(
            "land.gpkg",
            [square(i) for i in range(5)],
            UTM,
            name=list("ABCDE"),
            kind=["garden", "Garten", "park", "allotments", "park"],
            private=["", "", "", "", "yes"],
        ),
        [ground(n, "ask", private=p) for n, p in zip("ABCDE", ["yes", "yes", "no", "yes", "yes"], strict=True)],
    ),
    laid(
        "yes and no on one piece of ground",
        layer("land.gpkg", [A, square(0, 50)], UTM, name=["A", "B"], consent=["yes", "no"]),
        [ground("A", "yes"), ground("B", "no", 2500.0)],
        says="overlap",
    ),
    laid(
        "the same row twice",
        layer("land.gpkg", [A, A], UTM, name=["A", "A"], consent=["yes", "yes"]),
        [ground("A", "yes")],
        {2: "1"},
    ),
    shapes("a bow tie", [BOW, B], [ground("A", "yes", 5000.0), ground("B", "yes")], says="repair"),
    shapes("a hole", [HOLED], [ground("A", "yes", 7500.0)]),
    shapes("several parts", [shapely.union_all([A, B])], [ground("A", "yes", 20000.0)]),
    shapes("heights", [shapely.force_3d(A, 12.0)], [ground("A", "yes")]),
    shapes(
        "a line where an area is meant",
        [shapely.LineString([(X, Y), (X + 100, Y)]), B],
        [ground("B", "yes")],
        {1: "line"},
    ),
    shapes("a point where an area is meant", [shapely.Point(X, Y), B], [ground("B", "yes")], {1: "point"}),
    shapes("no area at all", [FLAT, B], [ground("B", "yes")], {1: ""}),
    shapes("no shape", [None, B], [ground("B", "yes")], {1: ""}),
    laid(
        "a ring that was left open",
        {"land.csv": f"name;consent;wkt\nA;yes;{OPEN}\nB;yes;{B.wkt}\n".encode()},
        [ground("A", "yes", or_aside=2), ground("B", "yes")],
    ),
    laid(
        "a sheet of names without shapes",
        {"land.csv": f"name;consent;wkt\nA;yes;\nB;yes;{B.wkt}\n".encode()},
        [ground("B", "yes")],
        {2: ""},
    ),
]

# --- keep away -------------------------------------------------------------------------------------------------------

PLAY, ROAD = shapely.Point(X, Y), shapely.LineString([(X, Y), (X + 500, Y)])


def away(name: str, *things: tuple[str, float], **columns: Sequence[Any]) -> Case:
    """Things called so, and the metres to stay away from them."""
    made = layer(
        "keep_away.gpkg",
        [shapely.Point(X + 100 * i, Y) for i in range(len(things))],
        UTM,
        kind=[k for k, _ in things],
        **columns,
    )
    return laid(name, made, [{"distance_m": metres} for _, metres in things], kind="keep_away")


AWAY = [
    laid(
        "points, lines and areas",
        layer("keep_away.gpkg", [PLAY, ROAD, B], UTM, kind=["playground", "road", "building"]),
        [
            {"kind": "playground", "distance_m": 50.0},
            {"kind": "road", "distance_m": 5.0},
            {"kind": "building", "distance_m": 5.0},
        ],
        kind="keep_away",
    ),
    laid(
        "geojson",
        layer("keep_away.geojson", [shapely.Point(SPOTS["P1"])], "EPSG:4326", kind=["school"]),
        [{"distance_m": 50.0}],
        kind="keep_away",
    ),
    laid("shapefile", layer("keep_away.shp", [ROAD], UTM, kind=["railway"]), [{"distance_m": 10.0}], kind="keep_away"),
    laid(
        "geoparquet", layer("keep_away.parquet", [ROAD], UTM, kind=["water"]), [{"distance_m": 5.0}], kind="keep_away"
    ),
    laid(
        "csv of points",
        {"keep_away.csv": b"kind;lat;lon\nSpielplatz;53,5512;10,0123\n"},
        [{"distance_m": 50.0}],
        kind="keep_away",
    ),
    laid(
        "xlsx of points with distances",
        {
            "keep_away.xlsx": xlsx(
                [
                    ["kind", "lat", "lon", "distance_m"],
                    ["playground", 53.5512, 10.0123, 80],
                    ["playground", 53.5623, 10.0234, None],
                ]
            )
        },
        [{"distance_m": 80.0}, {"distance_m": 50.0}],
        kind="keep_away",
    ),
    laid(
        "ods with lines in WKT",
        {"keep_away.ods": ods([["kind", "wkt"], ["road", ROAD.wkt]])},
        [{"distance_m": 5.0}],
        kind="keep_away",
    ),
    away("kinds in English", ("playground", 50.0), ("School", 50.0), ("river", 5.0), ("footpath", 2.0)),
    away("kinds in German", ("Spielplatz", 50.0), ("Kita", 50.0), ("Straße", 5.0), ("Gewässer", 5.0), ("Bahn", 10.0)),
    away("kinds in French", ("aire de jeux", 50.0), ("école", 50.0), ("rivière", 5.0), ("bâtiment", 5.0)),
    away(
        "kinds in other languages",
        ("speeltuin", 50.0),
        ("leikkipaikka", 50.0),
        ("escuela", 50.0),
        ("koulu", 50.0),
        ("spoorweg", 10.0),
    ),
    away(
        "own distances", ("playground", 120.0), ("playground", 50.0), ("statue", 12.5), distance_m=[120.0, None, 12.5]
    ),
    away("distances with a unit", ("playground", 80.0), ("playground", 25.0), distance=["80 m", "25"]),
    away("a kind nobody knows", ("statue", 5.0), ("", 5.0)),
    away("a distance below nothing", ("playground", 50.0), ("road", 5.0), distance_m=[-20.0, None]),
    laid(
        "metres by kind in area.toml",
        layer("keep_away.gpkg", [PLAY, ROAD], UTM, kind=["playground", "road"]),
        [{"distance_m": 75.0}, {"distance_m": 5.0}],
        kind="keep_away",
        toml="[keep_away]\nplayground = 75\n",
    ),
    laid(
        "no shape",
        layer("keep_away.gpkg", [PLAY, None], UTM, kind=["playground", "road"]),
        [{"distance_m": 50.0}],
        {2: ""},
        kind="keep_away",
    ),
    laid(
        "no system",
        layer("keep_away.gpkg", [PLAY], None, kind=["playground"]),
        [],
        kind="keep_away",
        refused="source_crs",
    ),
]

CASES: list[Case] = [*LAND, *AWAY]
