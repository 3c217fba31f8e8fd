"""Tree inventories as foresters, town gardeners and GIS offices send them, each with its true rows; all invented."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from math import pi
from typing import Any

import shapely

from .corpus import POOLS, SPOTS
from .dress import cells, layer, lines, ods, parquet, xls, xlsx, zipped
from .truth import Between, Case, NoneOf

Row = dict[str, Any]
POOL_FILE = {"pools.csv": POOLS.encode()}
X, Y = 567_000.0, 5_934_000.0
TWO, THREE, FOUR = (f"{X + 10 * i:.0f};{Y:.0f}" for i in (2, 3, 4))


def tree(i: int, genus: str | None = "Quercus", diameter_cm: Any = None, condition: Any = None, **columns: Any) -> Row:
    """A true tree: the one of row i, i metres times ten east of the corner, since a tree has no name."""
    one = {"xy": (X + 10 * i, Y), "genus": genus, "diameter_cm": diameter_cm, **columns}
    return one if condition is None else {**one, "condition": condition}


def sent(
    name: str,
    content: str | bytes,
    rows: Sequence[Row],
    aside: Mapping[Any, str] | None = None,
    *,
    file: str = "trees.csv",
    **case: Any,
) -> Case:
    """A case of one trees file beside a plain list of pools."""
    raw = content.encode() if isinstance(content, str) else content
    return Case(f"trees: {name}", {**POOL_FILE, file: raw}, "trees", rows, aside or {}, **case)


def measured(name: str, heading: str, *pairs: tuple[str, Any], aside: Mapping[int, str] | None = None) -> Case:
    """Oaks with a column of this heading: what stands in it, and the diameter in cm that it means (None: not known)."""
    text = f"x;y;species;{heading}\n"
    text += "".join(f"{X + 10 * i:.0f};{Y:.0f};Quercus robur;{said}\n" for i, (said, _) in enumerate(pairs, start=2))
    rows = [tree(i, diameter_cm=true) for i, (_, true) in enumerate(pairs, start=2) if i not in (aside or {})]
    return sent(f"size {name}", text, rows, aside)


def called(language: str, heading: str, **genera: str) -> Case:
    """Trees by what people call them: genus = names parted by |; unknown = names that say no genus."""
    pairs = [(word, genus) for genus, words in genera.items() for word in words.split("|")]
    text = f"x;y;{heading}\n" + "".join(f"{X + 10 * i:.0f};{Y:.0f};{w}\n" for i, (w, _) in enumerate(pairs, start=2))
    rows = [tree(i, None if g == "unknown" else g) for i, (_, g) in enumerate(pairs, start=2)]
    return sent(f"names in {language}", text, rows)


def state(language: str, heading: str, **words: str) -> Case:
    """Oaks by their condition: living, dead, stump, log; aside = those that are no tree any more, or not yet."""
    pairs = [(word, means) for means, said in words.items() for word in said.split("|")]
    text = f"x;y;species;{heading}\n"
    text += "".join(f"{X + 10 * i:.0f};{Y:.0f};Quercus robur;{w}\n" for i, (w, _) in enumerate(pairs, start=2))
    rows = [tree(i, condition=means) for i, (_, means) in enumerate(pairs, start=2) if means != "aside"]
    return sent(
        f"condition in {language}", text, rows, {i: w for i, (w, m) in enumerate(pairs, start=2) if m == "aside"}
    )


def girth(cm: float) -> float:
    """The diameter in cm of such a girth in cm."""
    return cm / pi


# --- how thick -------------------------------------------------------------------------------------------------------

SIZES = [
    measured("dbh in cm", "dbh_cm", ("70", 70.0), ("45,5", 45.5), ("", None)),
    measured("BHD", "BHD (cm)", ("70", 70.0), ("31", 31.0)),
    measured("Stammdurchmesser", "Stammdurchmesser [cm]", ("70", 70.0), ("31", 31.0)),
    measured("French diameter", "Diamètre (cm)", ("70", 70.0), ("31", 31.0)),
    measured("Finnish diameter", "Läpimitta (cm)", ("70", 70.0), ("31", 31.0)),
    measured("inches", "DBH (in)", ("20", 50.8), ("10.5", 26.67)),
    measured("millimetres", "diameter_mm", ("700", 70.0), ("310", 31.0)),
    measured("metres", "diameter (m)", ("0,70", 70.0), ("0,31", 31.0)),
    measured("English girth", "Girth (cm)", ("220", girth(220)), ("98", girth(98))),
    measured("German girth", "Stammumfang in cm", ("220", girth(220)), ("98", girth(98))),
    measured("French girth", "Circonférence (cm)", ("220", girth(220)), ("98", girth(98))),
    measured("Dutch girth", "Omtrek (cm)", ("220", girth(220)), ("98", girth(98))),
    measured("Spanish girth", "Perímetro (cm)", ("220", girth(220)), ("98", girth(98))),
    measured("Finnish girth", "Ympärysmitta (cm)", ("220", girth(220)), ("98", girth(98))),
    measured("girth in metres", "Girth (m)", ("2.2", girth(220)), ("0.98", girth(98))),
    measured("girth in feet", "girth (ft)", ("7", girth(213.36)), ("3.5", girth(106.68))),
    measured(
        "girth, no unit, plainly metres",
        "Umfang",
        ("2,2", girth(220)),
        ("0,98", girth(98)),
        ("1,5", girth(150)),
        ("3,1", girth(310)),
    ),
    measured(
        "a column called diameter that holds girths",
        "diameter",
        *[(str(g), NoneOf((float(g),))) for g in (220, 198, 305, 260, 188, 240, 410, 275)],
    ),
    measured(
        "classes",
        "diameter class",
        ("70 cm -", Between(70, 100)),
        ("30 - 50 cm", Between(30, 50)),
        ("- 10 cm", Between(0.1, 10)),
        ("50-60", Between(50, 60)),
    ),
    measured(
        "classes with signs",
        "BHD-Klasse (cm)",
        (">80", Between(80, 120)),
        ("<20", Between(0.1, 20)),
        ("20–40", Between(20, 40)),
        ("80+", Between(80, 120)),
    ),
    measured("classes in words", "size", ("young", None), ("veteran", None), ("mature", None)),
    measured(
        "units in cells",
        "diameter",
        ("45 cm", 45.0),
        ("0.7 m", 70.0),
        ("31cm", 31.0),
        ("Ø 45", 45.0),
        ("ca. 60 cm", 60.0),
        ("45 cm (BHD)", 45.0),
        ("2 x 30 cm", None),
    ),
    measured("nothing, nought and a question", "dbh_cm", ("0", None), ("?", None), ("-", None), ("31", 31.0)),
    sent(
        "size too large or below nothing",
        f"x;y;species;dbh_cm\n{TWO};Quercus robur;-31\n{THREE};Quercus robur;4500\n{FOUR};Quercus robur;45\n",
        [tree(2, or_aside=2), tree(3, or_aside=3), tree(4, diameter_cm=45.0)],
    ),
    sent(
        "girth and diameter beside",
        f"x;y;species;Umfang (cm);Durchmesser (cm)\n{TWO};Quercus robur;220;70\n{THREE};Quercus robur;98;\n",
        [tree(2, diameter_cm=Between(70, 70.1)), tree(3, diameter_cm=girth(98))],
    ),
    sent(
        "height is no thickness",
        f"x;y;species;Height (m);Crown (m);Age;dbh (cm)\n{TWO};Quercus robur;18;9;120;70\n",
        [tree(2, diameter_cm=70.0)],
    ),
    sent(
        "height only",
        f"x;y;Baumart;Höhe (m);Kronendurchmesser (m)\n{TWO};Quercus robur;18;9\n",
        [tree(2)],
    ),
]

# --- what kind -------------------------------------------------------------------------------------------------------

NAMES = [
    called(
        "Latin",
        "species",
        Quercus="Quercus robur|QUERCUS PETRAEA|Quercus robur L.|quercus sp.|Quercus",
        Tilia="Tilia x europaea|Tilia × vulgaris 'Pallida'|Tilia  cordata Mill.",
        Acer="Acer pseudoplatanus|Acer platanoides 'Crimson King'",
        unknown="T. cordata|unknown|?",
    ),
    called(
        "English",
        "Species",
        Quercus="oak|English oak|Sessile Oak",
        Fagus="beech",
        Aesculus="horse chestnut|Horse-chestnut",
        Castanea="sweet chestnut",
        Acer="sycamore|field maple",
        Crataegus="hawthorn",
        Robinia="false acacia",
        Sorbus="rowan|mountain ash",
        unknown="tree|conifer",
    ),
    called(
        "German",
        "Baumart",
        Quercus="Eiche|Stieleiche|Stiel-Eiche|Traubeneiche",
        Fagus="Rotbuche|Buche",
        Carpinus="Hainbuche|Hain-Buche",
        Aesculus="Rosskastanie",
        Sorbus="Eberesche",
        Fraxinus="Esche",
        Tilia="Winterlinde",
        Prunus="Vogelkirsche",
        unknown="Baum|unbekannt",
    ),
    called(
        "French",
        "Essence",
        Quercus="chêne|Chêne",
        Fagus="hêtre",
        Fraxinus="frêne",
        Aesculus="marronnier",
        Castanea="châtaignier",
        Tilia="tilleul",
        Acer="érable",
        unknown="arbre",
    ),
    called(
        "Dutch",
        "Boomsoort",
        Quercus="eik",
        Fraxinus="es",
        Fagus="beuk",
        Aesculus="paardenkastanje",
        Tilia="linde|Linde",
        Acer="esdoorn",
        Ulmus="iep",
        unknown="boom",
    ),
    called(
        "Finnish",
        "Puulaji",
        Quercus="tammi",
        Tilia="lehmus|puistolehmus",
        Acer="vaahtera",
        Betula="koivu|rauduskoivu",
        Fraxinus="saarni",
        Salix="raita",
        Populus="haapa",
        unknown="puu",
    ),
    sent(
        "genus and species in two columns",
        f"x;y;Gattung;Art\n{TWO};Quercus;robur\n{THREE};Tilia;cordata\n",
        [tree(2), tree(3, "Tilia")],
    ),
    sent(
        "a Latin and a common name beside",
        f"x;y;common name;scientific name\n{TWO};Mountain ash;Sorbus aucuparia\n{THREE};Oak;Quercus robur\n",
        [tree(2, "Sorbus"), tree(3)],
    ),
]

# --- whether it stands -----------------------------------------------------------------------------------------------

STATES = [
    state(
        "English",
        "condition",
        living="living|good|fair",
        dead="dead|standing dead",
        stump="stump",
        log="log|fallen log",
        aside="felled|removed|vacant site",
    ),
    state(
        "German",
        "Zustand",
        living="lebend|vital",
        dead="tot|abgestorben",
        stump="Stumpf|Baumstumpf",
        aside="gefällt|leer",
    ),
    state("French", "État", living="vivant", dead="mort", stump="souche", aside="abattu"),
    state("Dutch", "Conditie", living="levend|goed", dead="dood", stump="stobbe|stronk", aside="geveld|gekapt"),
    state("Spanish", "Estado", living="vivo", dead="muerto", stump="tocón", aside="talado"),
    state("Finnish", "Kunto", living="elävä", dead="kuollut", stump="kanto", aside="kaadettu|poistettu"),
    sent(
        "a vacant site for a species",
        f"x;y;species\n{TWO};vacant site\n{THREE};Quercus robur\n",
        [tree(3)],
        {2: "vacant"},
    ),
    sent(
        "a stump for a species",
        f"x;y;species\n{TWO};Stump\n{THREE};Quercus robur\n",
        [tree(2, None, condition="stump"), tree(3)],
    ),
]

# --- dress and places ------------------------------------------------------------------------------------------------

OAK, LIME = tree(2, "Quercus", 70.0, "living"), tree(3, "Tilia", 31.0, "dead")
TABLE = cells(f"""
tree | species       | diameter_cm | condition | x        | y
1    | Quercus robur | 70          | living    | {X + 20} | {Y}
2    | Tilia cordata | 31          | dead      | {X + 30} | {Y}
""")
GERMAN = lines([["Baum-Nr", "Baumart", "BHD (cm)", "Zustand", "Rechtswert", "Hochwert"], *TABLE[1:]], ";").replace(
    ".", ","
)
SHAPES = [shapely.Point(X + 20, Y), shapely.Point(X + 30, Y)]
COLUMNS = {"species": ["Quercus robur", "Tilia cordata"], "dbh": [70, 31], "condition": ["living", "dead"]}
CITY = f"x,y,species,dbh_cm\n{X + 20},{Y},Quercus robur,70\n{X + 30},{Y},Tilia cordata,31\n".encode()
OSM_SHAPES = [shapely.Point(X + 21.5, Y + 1), shapely.Point(X + 80, Y)]
WHEN = datetime.date(2023, 2, 1)


def laid(
    name: str, files: Mapping[str, bytes], rows: Sequence[Row], aside: Mapping[Any, str] | None = None, **case: Any
) -> Case:
    return Case(f"trees: {name}", {**POOL_FILE, **files}, "trees", rows, aside or {}, **case)


DRESS = [
    sent("csv", lines(TABLE), [OAK, LIME]),
    sent("csv of a German office", GERMAN.encode("cp1252"), [OAK, LIME]),
    sent("xlsx with a title", xlsx([["Tree register"], [], *TABLE]), [OAK, LIME], file="trees.xlsx"),
    sent("ods", ods(TABLE), [OAK, LIME], file="trees.ods"),
    sent("xls", xls(TABLE), [OAK, LIME], file="trees.xls"),
    sent("parquet", parquet(TABLE), [OAK, LIME], file="trees.parquet"),
    laid("gpkg", layer("trees.gpkg", SHAPES, "EPSG:25832", **COLUMNS), [OAK, LIME]),
    laid(
        "geojson",
        layer("trees.geojson", [shapely.Point(SPOTS["P1"])], "EPSG:4326", species=["Tilia cordata"], dbh=[31]),
        [{"at": SPOTS["P1"], "genus": "Tilia", "diameter_cm": 31.0}],
    ),
    laid("shapefile", layer("trees.shp", SHAPES, "EPSG:25832", **COLUMNS), [OAK, LIME]),
    laid(
        "shapefile of a German office",
        layer("trees.shp", SHAPES[:1], "EPSG:25832", Baumart=["Stieleiche"], Zustand=["abgestorben"]),
        [tree(2, condition="dead")],
    ),
    laid("geoparquet", layer("trees.parquet", SHAPES, "EPSG:25832", **COLUMNS), [OAK, LIME]),
    laid(
        "zip with a shapefile",
        {
            "trees.zip": zipped(
                **{k.replace(".", "_"): v for k, v in layer("trees.shp", SHAPES, "EPSG:25832", **COLUMNS).items()}
            )
        },
        [OAK, LIME],
    ),
    laid(
        "multipoints of one point",
        layer("trees.gpkg", [shapely.MultiPoint([s]) for s in SHAPES], "EPSG:25832", **COLUMNS),
        [OAK, LIME],
    ),
    laid(
        "trees that differ in nothing but place",
        layer("trees.gpkg", SHAPES, "EPSG:25832", species=["Quercus robur"] * 2),
        [tree(2), tree(3)],
    ),
    sent(
        "two trunks on one spot",
        f"x;y;species;dbh_cm\n{TWO};Quercus robur;70\n{TWO};Tilia cordata;31\n",
        [tree(2, diameter_cm=70.0), tree(2, "Tilia", 31.0)],
    ),
    laid(
        "a shape missing",
        layer(
            "trees.geojson", [shapely.Point(SPOTS["P1"]), None], "EPSG:4326", species=["Tilia cordata", "Quercus robur"]
        ),
        [{"at": SPOTS["P1"], "genus": "Tilia"}],
        {2: ""},
    ),
    laid(
        "two districts",
        {"trees_east.csv": lines(TABLE[:2]).encode(), "trees_west.xlsx": xlsx([TABLE[0], TABLE[2]])},
        [OAK, LIME],
    ),
    laid(
        "a tree of the town's list that the map knows too",
        {"trees_a_city.csv": CITY, **layer("trees_b_osm.gpkg", OSM_SHAPES, "EPSG:25832", genus=["Quercus", "Quercus"])},
        [tree(2, diameter_cm=70.0), tree(3, "Tilia", 31.0), tree(8)],
        {("trees_b_osm", 1): ""},
    ),
    sent("no system stated", lines(TABLE), [], crs=None, refused="crs"),
    sent(
        "degrees",
        "lat,lon,species\n53.5512,10.0123,Quercus robur\n53.5623,10.0234,Tilia cordata\n",
        [{"at": SPOTS["P1"], "genus": "Quercus"}, {"at": SPOTS["P2"], "genus": "Tilia"}],
    ),
    sent(
        "a place missing and one that is no place",
        lines([*TABLE, [3, "Acer", 20, "living", None, None], [4, "Acer", 20, "living", "by the gate", None]]),
        [OAK, LIME],
        {4: "", 5: ""},
    ),
    sent("a total", lines([*TABLE, ["Total", 2]]), [OAK, LIME], {4: "total"}),
    sent("the same row twice", lines([*TABLE, TABLE[1]]), [OAK, LIME], {4: "2"}),
    sent(
        "a column for the day of felling",
        xlsx([[*TABLE[0], "Fälldatum"], [*TABLE[1], WHEN], [*TABLE[2], None]]),
        [LIME],
        {2: ""},
        file="trees.xlsx",
    ),
]

# --- registers as cities publish them --------------------------------------------------------------------------------

TEN_LETTERS = {
    "SCIENTIFIC": ["Quercus robur", "Tilia cordata"],
    "COMMON_NAM": ["English oak", "Lime"],
    "TRUNK_DIAM": [70, 31],
}
SIXES = ("0-6", "7-12", "13-18", "19-24", "25-30", "31+")


def sixes(heading: str) -> str:
    """Oaks in classes of six."""
    rows = (f"{X + 10 * i:.0f};{Y:.0f};Quercus;{said}\n" for i, said in enumerate(SIXES, 2))
    return f"x;y;genus;{heading}\n" + "".join(rows)


REGISTERS = [
    sent(
        "a genus of its own against a common name",
        f"x;y;Genus;Species\n{TWO};Grevillea;Silk Oak\n{THREE};Lophostemon;Brush Box\n{FOUR};Tilia;Silver Lime\n",
        [tree(2, "Grevillea"), tree(3, "Lophostemon"), tree(4, "Tilia")],
    ),
    sent(
        "a genus of its own against another common name is told",
        f"x;y;Genus;Common Name\n{TWO};Acer;Red Oak\n{THREE};Tilia;Lime\n",
        [tree(2, "Acer"), tree(3, "Tilia")],
        says="Red Oak",
    ),
    sent(
        "a botanical name against another genus is told",
        f"x;y;Genus;Botanical Name\n{TWO};Acer;Quercus rubra\n{THREE};;Tilia cordata\n",
        [tree(2, "Acer"), tree(3, "Tilia")],
        says="Quercus rubra",
    ),
    sent(
        "the genus from the common name where nothing else tells it",
        f"x;y;Botanical Name;Common Name\n{TWO};;Small-leaved Lime\n{THREE};unknown;Red Oak\n{FOUR};Lophostemon "
        "confertus;Brush Box\n",
        [tree(2, "Tilia"), tree(3), tree(4, "Lophostemon")],
    ),
    laid(
        "a shapefile's ten letters",
        layer("trees.shp", SHAPES, "EPSG:25832", **TEN_LETTERS),
        [tree(2, diameter_cm=70.0), tree(3, "Tilia", 31.0)],
    ),
    laid(
        "a French shapefile's ten letters",
        layer("trees.shp", SHAPES, "EPSG:25832", Nom_scient=["Quercus robur", "Tilia cordata"], Circonfere=[220, 98]),
        [tree(2, diameter_cm=girth(220)), tree(3, "Tilia", girth(98))],
    ),
    sent(
        "botanical names under a heading that nobody knows",
        f"x;y;SPP_BOT;SPP_COM;STREET\n{TWO};Quercus robur;Oak;Elm Street\n{THREE};Tilia cordata;Lime;Elm Street\n"
        f"{FOUR};Acer campestre;Maple;Oak Road\n",
        [tree(2), tree(3, "Tilia"), tree(4, "Acer")],
        says="by content",
    ),
    sent(
        "botanical names beside a column of common names",
        f"x;y;Species;SPP_BOT\n{TWO};Silk Oak;Grevillea robusta\n{THREE};Lime;Tilia cordata\n{FOUR};Oak;Quercus "
        "robur\n",
        [tree(2, "Grevillea"), tree(3, "Tilia"), tree(4)],
    ),
    sent(
        "two names in one cell",
        f"x;y;qSpecies\n{TWO};Lophostemon confertus :: Brisbane Box\n{THREE};Quercus robur :: English Oak\n{FOUR};"
        "Tree(s) ::\n",
        [tree(2, "Lophostemon"), tree(3), tree(4, "")],
        toml='[columns.trees]\nspecies = "qSpecies"\n',
    ),
    sent("classes of six without a unit", sixes("DBH"), [tree(i) for i in range(2, 8)], says="diameter = "),
    sent(
        "classes of six stated to be inches",
        sixes("DBH"),
        [tree(i, diameter_cm=2.54 * v) for i, v in enumerate((3, 9.5, 15.5, 21.5, 27.5, 31), 2)],
        toml='[units.trees]\ndiameter = "inch"\n',
    ),
    sent(
        "classes of six under a heading of inches",
        sixes("DBH (in)"),
        [tree(i, diameter_cm=2.54 * v) for i, v in enumerate((3, 9.5, 15.5, 21.5, 27.5, 31), 2)],
    ),
    measured("classes of thin trees", "DBH class (cm)", ("1-5", 3.0), ("5-11", 8.0), ("2 cm", 2.0)),
    measured("classes of ten", "DBH class", ("0-10", 5.0), ("11-20", 15.5), ("21-30", 25.5), ("31-40", 35.5)),
    measured("classes of thirty", "DBH class", ("0-30", 15.0), ("30-60", 45.0), ("60-90", 75.0)),
    measured("classes of five", "BHD-Klasse", ("20-25", 22.5), ("25-30", 27.5), ("30-35", 32.5), ("55-60", 57.5)),
    sent(
        "diameters without a unit beside heights in feet",
        f"x;y;species;DBH;HEIGHT_FT\n{TWO};Quercus robur;14;45\n{THREE};Quercus robur;22;60\n",
        [tree(2), tree(3)],
        says="diameter = ",
    ),
    sent(
        "girths stated to be inches",
        f"x;y;species;Girth\n{TWO};Quercus robur;80\n{THREE};Quercus robur;40\n",
        [tree(2, diameter_cm=girth(203.2)), tree(3, diameter_cm=girth(101.6))],
        toml='[units.trees]\ngirth = "inch"\n',
    ),
    sent(
        "one tree of another town",
        "lon;lat;species\n10.0123;53.5512;Quercus robur\n10.0234;53.5623;Tilia cordata\n2.35;48.85;Acer campestre\n",
        [{"at": SPOTS["P1"], "genus": "Quercus"}, {"at": SPOTS["P2"], "genus": "Tilia"}],
        {4: "km from the area"},
    ),
    sent(
        "a register of another town",
        "lon;lat;species\n2.35;48.85;Quercus robur\n2.36;48.86;Tilia cordata\n2.37;48.87;Acer campestre\n",
        [],
        {2: "km", 3: "km", 4: "km"},
        says="none is left",
    ),
    sent(
        "nothing but positions",
        f"x;y;OBJECTID;ASSET\n{TWO};1;A1\n{THREE};2;A2\n",
        [tree(2, ""), tree(3, "")],
        says="only the position of 2 trees is known",
    ),
    sent(
        "sites that hold no tree",
        "x;y;species;status\n"
        + "".join(
            f"{X + 10 * i:.0f};{Y:.0f};{name};{word}\n"
            for i, (name, word) in enumerate(
                [
                    ("Quercus robur", "Good"),
                    ("Unsuitable site", ""),
                    ("Not city planted", ""),
                    ("Quercus robur", "Stump removed"),
                    ("Planting site", ""),
                    ("Vacant site small", ""),
                    ("Vacant, large", ""),
                    ("", "Proposed planting site"),
                    ("Quercus robur", "Stump"),
                ],
                2,
            )
        ),
        [tree(2, condition="living"), tree(10, condition="stump")],
        dict.fromkeys(range(3, 10), "no tree"),
    ),
    sent(
        "no tree, in German, French, Dutch and Spanish",
        "x;y;Baumart;Zustand\n"
        + "".join(
            f"{X + 10 * i:.0f};{Y:.0f};Stieleiche;{word}\n"
            for i, word in enumerate(
                [
                    "Stubben entfernt",
                    "Leerstandort",
                    "souche arrachée",
                    "à planter",
                    "stobbe verwijderd",
                    "alcorque vacío",
                ],
                2,
            )
        ),
        [],
        dict.fromkeys(range(2, 8), "no tree"),
    ),
    sent(
        "New York",
        f"x;y;tree_dbh;spc_latin;spc_common;status;health\n{TWO};21;Quercus palustris;pin oak;Alive;Good\n"
        f"{THREE};3;;;Stump;\n{FOUR};14;Styphnolobium japonicum;Sophora;Alive;Fair\n",
        [tree(2, diameter_cm=53.34), tree(3, "", 7.62, "stump"), tree(4, "Styphnolobium", 35.56)],
        toml='[units.trees]\ndiameter = "inch"\n',
    ),
    sent(
        "Paris",
        f"x;y;LIBELLE FRANCAIS;GENRE;ESPECE;CIRCONFERENCE (cm);HAUTEUR (m)\n{TWO};Chêne;Quercus;robur;220;18\n{THREE};"
        "Arbre aux quarante écus;Ginkgo;biloba;98;9\n",
        [tree(2, diameter_cm=girth(220)), tree(3, "Ginkgo", girth(98))],
    ),
    sent(
        "Berlin",
        f"x;y;ART_DTSCH;ART_BOT;GATTUNG;STAMMUMFG (cm);KRONEDURCH\n{TWO};STIEL-EICHE;Quercus robur;QUERCUS;220;9\n"
        f"{THREE};WINTER-LINDE;Tilia cordata;TILIA;98;5\n",
        [tree(2, diameter_cm=girth(220)), tree(3, "Tilia", girth(98))],
    ),
    sent(
        "Heilbronn",
        f"x;y;TYP;DEU_TEXT;WIS_TEXT;ST_UMFANG;KRONE_DM\n{TWO};Laubbaum;Stiel-Eiche;Quercus robur;2,2;9\n"
        f"{THREE};Laubbaum;Winter-Linde;Tilia cordata;0,98;5\n{FOUR};Laubbaum;Feld-Ahorn;Acer campestre;1,1;5\n",
        [tree(2, diameter_cm=girth(220)), tree(3, "Tilia", girth(98)), tree(4, "Acer", girth(110))],
    ),
    sent(
        "Leeuwarden",
        f"x;y;Boomsoort wetenschappelijk;Nederlandse naam;Stamdiameter (cm);Conditie\n"
        f"{TWO};Quercus robur;zomereik;70;goed\n{THREE};Tilia cordata;winterlinde;31;dood\n",
        [tree(2, diameter_cm=70.0, condition="living"), tree(3, "Tilia", 31.0, "dead")],
    ),
    sent(
        "Madrid",
        f"x;y;NOMBRE_CIENTIFICO;NOMBRE_COMUN;PERIMETRO (cm);ESTADO\n{TWO};Quercus robur;Roble;220;Vivo\n"
        f"{THREE};Tilia cordata;Tilo;98;Alcorque vacío\n",
        [tree(2, diameter_cm=girth(220), condition="living")],
        {3: "no tree"},
    ),
    sent(
        "Amsterdam",
        f"x;y;soortnaam;soortnaamKort;soortnaamTop;stamdiameterklasse;typeObject\n"
        f"{TWO};Salix alba 'Chermesina';Salix;Wilg (Salix);0,5 tot 1 m.;Gekandelaberde boom\n"
        f"{THREE};Tilia cordata;Tilia;Linde (Tilia);0,2 tot 0,3 m.;Boom niet vrij uitgroeiend\n"
        f"{FOUR};Onbekend;Onbekend;Onbekend;Onbekend;Stobbe\n",
        [tree(2, "Salix", 75.0), tree(3, "Tilia", 25.0), tree(4, "", None, "stump")],
    ),
    sent(
        "Vancouver",
        f"x;y;GENUS_NAME;SPECIES_NAME;COMMON_NAME;DIAMETER;HEIGHT_RANGE\n{TWO};QUERCUS;ROBUR;ENGLISH OAK;28;3\n"
        f"{THREE};TILIA;CORDATA;LITTLELEAF LINDEN;12;2\n",
        [tree(2, diameter_cm=71.12), tree(3, "Tilia", 30.48)],
        toml='[units.trees]\ndiameter = "inch"\n',
    ),
    sent(
        "the kind of site in a column of its own",
        f"x;y;SPECIES;DIAMETER (in);SITETYPE;CONDITION\n{TWO};Pin Oak;20;Tree;Good\n{THREE};Linden;10;Stump;\n"
        f"{FOUR};Pin Oak;4;Planting Site;\n{X + 50:.0f};{Y:.0f};;;Retired;Fair\n",
        [tree(2, diameter_cm=50.8, condition="living"), tree(3, "Tilia", 25.4, "stump")],
        {4: "no tree", 5: "no tree"},
    ),
    sent(
        "numbers of classes are no thickness",
        f"x;y;Genus;DBH class\n{TWO};Quercus;3\n{THREE};Quercus;4\n{FOUR};Tilia;5\n",
        [tree(2), tree(3), tree(4, "Tilia")],
        says="numbers of classes",
    ),
]

CASES: list[Case] = [*SIZES, *NAMES, *STATES, *DRESS, *REGISTERS]
