"""Lists of visits as volunteers, classes, wardens and field apps send them, each with its true rows; all invented."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from typing import Any

import shapely

from .corpus import POOLS, SPOTS
from .dress import cells, layer, lines, ods, parquet, xls, xlsx, zipped
from .truth import Between, Case

Row = dict[str, Any]
POOL_FILE = {"pools.csv": POOLS.encode()}


def look(pool: str, date: str, outcome: str, **columns: Any) -> Row:
    """A true visit."""
    return {"pool": pool, "date": date, "outcome": outcome, **columns}


def sent(
    name: str,
    content: str | bytes,
    rows: Sequence[Row],
    aside: Mapping[Any, str] | None = None,
    *,
    file: str = "visits.csv",
    pools: str = POOLS,
    **case: Any,
) -> Case:
    """A case of one visits file beside a plain list of pools."""
    raw = content.encode() if isinstance(content, str) else content
    return Case(f"visits: {name}", {"pools.csv": pools.encode(), file: raw}, "visits", rows, aside or {}, **case)


def dated(name: str, *pairs: tuple[str, str | None]) -> Case:
    """Visits whose date is written so (left) and means this (right); None is to be set aside, named by its writing."""
    text = "pool;date;outcome\n" + "".join(f"P1;{written};larvae\n" for written, _ in pairs)
    rows = [look("P1", day, "larvae") for _, day in pairs if day]
    return sent(f"dates {name}", text, rows, {i: w for i, (w, day) in enumerate(pairs, start=2) if not day})


def outcomes(language: str, **said: str) -> Case:
    """One visit a word; the words of an outcome are parted by |. none_seen stands for "none seen"."""
    pairs = [(word, outcome.replace("_", " ")) for outcome, words in said.items() for word in words.split("|")]
    days = [f"2025-05-{i:02d}" for i in range(1, len(pairs) + 1)]
    text = "pool;date;outcome\n" + "".join(f"P1;{d};{w}\n" for d, (w, _) in zip(days, pairs, strict=True))
    return sent(f"outcomes in {language}", text, [look("P1", d, o) for d, (_, o) in zip(days, pairs, strict=True)])


def counted(name: str, outcome: str, count: str, *truth: Row, aside: str | None = None) -> Case:
    """One visit with this outcome and this count."""
    text = f"pool;date;outcome;larvae\nP1;2025-05-20;{outcome};{count}\n"
    return sent(f"count {name}", text, truth, {2: aside} if aside is not None else {})


def seen(**columns: Any) -> Row:
    return look("P1", "2025-05-20", "larvae", **columns)


# --- outcomes as marks and counts ------------------------------------------------------------------------------------

WRITTEN_IN_OUTCOME = [
    sent(
        "yes and no under a heading that asks for larvae",
        "Pool [name on the lid];Date;Larvae? (Y/N)\nP1;2025-05-01;Y\nP1;2025-05-02;N\nP2;2025-05-02;Y\n",
        [
            look("P1", "2025-05-01", "larvae"),
            look("P1", "2025-05-02", "none seen"),
            look("P2", "2025-05-02", "larvae"),
        ],
    ),
    sent(
        "yes and no under outcome alone",
        "pool;date;outcome\nP1;2025-05-01;Y\nP1;2025-05-02;N\n",
        [],
        {2: "readings.xlsx", 3: "readings.xlsx"},
    ),
    sent(
        "counts under outcome",
        "pool;date;outcome (see key)\nP1;2025-05-01;2-3 larvae\nP1;2025-05-02;10+\nP1;2025-05-03;1\nP1;2025-05-04;0\n"
        "P1;2025-05-05;dry\n",
        [
            look("P1", "2025-05-01", "larvae", larvae=None, larvae_low=2.0, larvae_high=3.0),
            look("P1", "2025-05-02", "larvae", larvae=None, larvae_low=10.0),
            look("P1", "2025-05-03", "larvae", larvae=1.0),
            look("P1", "2025-05-04", "none seen", larvae=0.0),
            look("P1", "2025-05-05", "dry"),
        ],
    ),
    sent(
        "empty pools where dry has a word",
        "pool;date;outcome\nP1;2025-05-01;empty\nP1;2025-05-02;dry\n",
        [look("P1", "2025-05-01", "none seen"), look("P1", "2025-05-02", "dry")],
        says="check them",
    ),
    sent("empty pools", "pool;date;outcome\nP1;2025-05-01;empty\n", [], {2: "no water or no larvae"}),
]

# --- wide tables -----------------------------------------------------------------------------------------------------

GRID = [look("P1", "2025-05-03", "larvae"), look("P1", "2025-05-10", "dry"), look("P2", "2025-05-10", "none seen")]
WIDE = [
    sent(
        "pools by days",
        "pool,3 May 2025,10 May 2025,note\nP1,larvae,dry,\nP2,,none seen,by the gate\n,,,\n",
        GRID,
    ),
    sent(
        "pools by days, a cell that nobody can read",
        "pool;3 May 2025;10 May 2025\nP1;larvae;dry\nP2;so-so;none seen\n",
        GRID,
        {3: "3 May 2025"},
    ),
    sent(
        "days under their months, the year in the title",
        xlsx(
            cells("""
Besuche 2025 | | |
 | Mai | | Juni
Becken | 3 | 10 | 7
P1 | larvae | dry |
P2 | | none seen | gone""")
        ),
        [*GRID, look("P2", "2025-06-07", "gone")],
        file="visits.xlsx",
        says="2025",
    ),
    sent(
        "days by pools",
        "date;P1;P2;observer\n2025-05-03;larvae;;Ann\n2025-05-10;dry;none seen;Ben\n",
        [
            look("P1", "2025-05-03", "larvae", observer="Ann"),
            look("P1", "2025-05-10", "dry", observer="Ben"),
            look("P2", "2025-05-10", "none seen", observer="Ben"),
        ],
    ),
    sent(
        "counts of pools by days",
        "pool;2025-05-03;2025-05-10\nP1;4;0\nP2;;2-3\n",
        [
            look("P1", "2025-05-03", "larvae", larvae=4.0),
            look("P1", "2025-05-10", "none seen"),
            look("P2", "2025-05-10", "larvae", larvae_low=2.0, larvae_high=3.0),
        ],
    ),
    sent(
        "a pool's visits beside each other under two lines of headings",
        xlsx(
            cells("""
pool | Visit 1 | | Visit 2 |
 | date | outcome | date | outcome
P1 | 2025-05-03 | larvae | 2025-05-10 | dry
P2 | | | 2025-05-10 | none seen""")
        ),
        GRID,
        file="visits.xlsx",
    ),
    sent(
        "a pool's visits beside each other, counted in the headings",
        "pool,date 1,outcome 1,date 2,outcome 2\nP1,2025-05-03,larvae,2025-05-10,dry\nP2,,,2025-05-10,none seen\n",
        GRID,
    ),
    sent(
        "outcome and count under each day",
        xlsx(
            cells("""
 | 2025-05-03 | | 2025-05-10 |
pool | outcome | larvae | outcome | larvae
P1 | larvae | 4 | dry |
P2 | | | none seen | 0""")
        ),
        [look("P1", "2025-05-03", "larvae", larvae=4.0), *GRID[1:]],
        file="visits.xlsx",
    ),
    sent(
        "kinds of hoverfly in columns",
        "pool,date,Myathropa florea,Eristalis sp.,Culex pipiens,water depth\n"
        "P1,2025-05-03,2,1,40,12\nP1,2025-05-10,0,0,3,10\nP2,2025-05-10,,,7,11\n",
        [
            look("P1", "2025-05-03", "larvae", taxon="Myathropa florea", larvae=2.0),
            look("P1", "2025-05-03", "larvae", taxon="Eristalis sp.", larvae=1.0),
            look("P1", "2025-05-10", "none seen", taxon=""),
        ],
        {4: "no outcome"},
    ),
    Case(
        "visits: the days behind the places in one list",
        {
            "pools.csv": b"pool,street,host,lon,lat,3 May 2025,10 May 2025\n"
            b"P1,Mill Lane,Ann,10.0123,53.5512,larvae,dry\nP2,High Street,,10.0234,53.5623,,none seen\n"
        },
        "visits",
        GRID,
    ),
    sent(
        "lines that name the part of the park",
        "pool;date;outcome;note\nNorth park;;;\nP1;2025-05-03;larvae;\nP1;2025-05-10;dry;\nSouth park;;;\n"
        "P2;2025-05-10;none seen;\n",
        GRID,
        says="no record",
    ),
    sent("a list with two columns of days is no grid", "pool,date,next visit\nP1,2025-05-03,2025-06-03\n", [], {2: ""}),
]

# --- years that stand elsewhere --------------------------------------------------------------------------------------

SHORT = "pool;date;outcome\nP1;3 May;larvae\nP1;10.5.;dry\nP2;10.05.;none seen\n"
YEARS = [
    sent("the year in the name of the file", SHORT, GRID, file="visits_2025.csv", says="visits_2025.csv"),
    sent("the year in a line above", f"Rounds of 2025\n\n{SHORT}", GRID, says="Rounds of 2025"),
    sent(
        "the year in the name of the sheet",
        xlsx({"Bezoeken 2025": [line.split(";") for line in SHORT.strip().split("\n")]}),
        GRID,
        file="visits.xlsx",
        says="2025",
    ),
    sent(
        "a column of years",
        "pool;Jahr;Datum;outcome\nP1;2025;3. Mai;larvae\nP1;2024;10.5.;dry\n",
        [look("P1", "2025-05-03", "larvae"), look("P1", "2024-05-10", "dry")],
        says="Jahr",
    ),
    sent("two years above", f"Rounds of 2024 and 2025\n\n{SHORT}", [], {4: "", 5: "", 6: ""}),
    sent("a month is no day of a visit", "pool;date;outcome\nP1;May 2025;larvae\n", [], {2: "lacks"}),
    sent(
        "Japanese dates and wide digits",
        "pool;date;outcome;larvae\nP1;2025年5月3日;larvae;４\nP1;２０２５年５月１０日;dry;\n",
        [look("P1", "2025-05-03", "larvae", larvae=4.0), look("P1", "2025-05-10", "dry")],
    ),
]

# --- dates -----------------------------------------------------------------------------------------------------------

DATES = [
    dated(
        "in English",
        ("20 May 2025", "2025-05-20"),
        ("May 3, 2025", "2025-05-03"),
        ("3rd Sept 2024", "2024-09-03"),
        ("20-May-25", "2025-05-20"),
        ("Tuesday 20 May 2025", "2025-05-20"),
    ),
    dated(
        "in German",
        ("20. Mai 2025", "2025-05-20"),
        ("3. März 2025", "2025-03-03"),
        ("12. Okt. 2024", "2024-10-12"),
        ("Di, 20.05.2025", "2025-05-20"),
        ("5. Jänner 2025", "2025-01-05"),
        ("7. Dez 24", "2024-12-07"),
    ),
    dated(
        "in French",
        ("20 mai 2025", "2025-05-20"),
        ("1er août 2024", "2024-08-01"),
        ("3 févr. 2025", "2025-02-03"),
        ("12 déc. 2024", "2024-12-12"),
        ("mardi 20 mai 2025", "2025-05-20"),
        ("4 juil. 2024", "2024-07-04"),
        ("4 juin 2024", "2024-06-04"),
    ),
    dated(
        "in Dutch",
        ("20 mei 2025", "2025-05-20"),
        ("3 maart 2025", "2025-03-03"),
        ("12 okt. 2024", "2024-10-12"),
        ("di 20 mei 2025", "2025-05-20"),
        ("9 augustus 2024", "2024-08-09"),
        ("4 mrt 2025", "2025-03-04"),
    ),
    dated(
        "in Spanish",
        ("20 de mayo de 2025", "2025-05-20"),
        ("3 de marzo de 2025", "2025-03-03"),
        ("12 dic. 2024", "2024-12-12"),
        ("1 de enero de 2025", "2025-01-01"),
        ("8 sept. 2024", "2024-09-08"),
    ),
    dated(
        "in Finnish",
        ("20. toukokuuta 2025", "2025-05-20"),
        ("3. maaliskuuta 2025", "2025-03-03"),
        ("12. lokakuuta 2024", "2024-10-12"),
        ("ti 20.5.2025", "2025-05-20"),
        ("1. kesäkuuta 2025", "2025-06-01"),
        ("19. marras 2024", "2024-11-19"),
    ),
    dated(
        "in figures of all kinds",
        ("2025-05-20", "2025-05-20"),
        ("20.05.2025", "2025-05-20"),
        ("2025/05/20", "2025-05-20"),
        ("20250520", "2025-05-20"),
        ("20.5.25", "2025-05-20"),
        ("20-05-2025", "2025-05-20"),
        ("20 05 2025", "2025-05-20"),
    ),
    dated(
        "with a time",
        ("2025-05-20T14:30:00", "2025-05-20"),
        ("2025-05-20 14:30", "2025-05-20"),
        ("20.05.2025 14:30", "2025-05-20"),
        ("2025-05-20T23:30:00+02:00", "2025-05-20"),
        ("20/05/2025 2:30 PM", "2025-05-20"),
    ),
    sent(
        "dates with Roman months",
        "pool;date;outcome\nP1;20.V.2025;dry\nP1;3.XI.2024;dry\n",
        [look("P1", "2025-05-20", "dry", or_aside=2), look("P1", "2024-11-03", "dry", or_aside=3)],
    ),
    dated(
        "day first, proven further down",
        ("05/06/2025", "2025-06-05"),
        ("06/06/2025", "2025-06-06"),
        ("20/05/2025", "2025-05-20"),
    ),
    dated("month first, proven further down", ("05/06/2025", "2025-05-06"), ("05/20/2025", "2025-05-20")),
    dated("undecided but for one", ("05/06/2025", None), ("05/05/2025", "2025-05-05"), ("2025-05-20", "2025-05-20")),
    dated("proven both ways", ("05/06/2025", None), ("20/05/2025", "2025-05-20"), ("05/20/2025", "2025-05-20")),
    dated(
        "that do not exist",
        ("31/04/2025", None),
        ("29/02/2025", None),
        ("2025-13-05", None),
        ("00.05.2025", None),
        ("20.05.2025", "2025-05-20"),
    ),
    dated(
        "without a year",
        ("20 May", None),
        ("20.5.", None),
        ("mid May", None),
        ("May 2025", None),
        ("20.05.2025", "2025-05-20"),
    ),
    dated("of serial numbers", ("45797", "2025-05-20"), ("45797.604", "2025-05-20"), ("45798", "2025-05-21")),
    dated(
        "of nonsense", ("yesterday", None), ("20.05.20025", None), ("1925-05-20x", None), ("2025-05-20", "2025-05-20")
    ),
    dated("after the day of the map", ("2025-08-01", "2025-08-01")),
    sent(
        "before it was set out",
        "pool,date,outcome\nP1,2024-05-20,larvae\nP1,2025-05-20,larvae\n",
        [look("P1", "2024-05-20", "larvae"), look("P1", "2025-05-20", "larvae")],
        says="before the pool was set out",
        pools="pool,lon,lat,set_out\nP1,10.0123,53.5512,2025-04-01\n",
    ),
    sent(
        "after it was removed",
        "pool,date,outcome\nP1,2024-12-20,gone\nP1,2024-05-20,larvae\n",
        [look("P1", "2024-05-20", "larvae"), look("P1", "2024-12-20", "gone")],
        pools="pool,lon,lat,set_out,removed\nP1,10.0123,53.5512,2024-04-01,2024-11-01\nP2,10.0234,53.5623,,\n",
    ),
]

# --- outcomes and counts ---------------------------------------------------------------------------------------------

OUTCOMES = [
    outcomes(
        "English",
        larvae="larvae|Larvae present|maggots|rat-tailed maggots",
        none_seen="none seen|no larvae|nothing|None|not seen",
        dry="dry|dried out",
        frozen="frozen|iced over",
        gone="gone|missing|lost|stolen",
        not_reached="not reached|no access|inaccessible",
    ),
    outcomes(
        "German",
        larvae="Larven|Larven gefunden|Larven vorhanden",
        none_seen="keine|keine Larven|nichts gefunden|keine gesehen",
        dry="trocken|ausgetrocknet",
        frozen="gefroren|zugefroren",
        gone="weg|verschwunden|fehlt",
        not_reached="nicht erreicht|nicht erreichbar|kein Zugang",
    ),
    outcomes(
        "French",
        larvae="larves|larves présentes",
        none_seen="aucune|aucune larve|rien|pas de larves",
        dry="sec|à sec|asséché",
        frozen="gelé|gelée",
        gone="disparu|disparue|volé",
        not_reached="pas atteint|non atteint|inaccessible",
    ),
    outcomes(
        "Dutch",
        larvae="larven|larven gezien",
        none_seen="geen|geen larven|niets gezien",
        dry="droog|uitgedroogd",
        frozen="bevroren",
        gone="weg|verdwenen",
        not_reached="niet bereikt|onbereikbaar|niet bereikbaar",
    ),
    outcomes(
        "Spanish",
        larvae="larvas|con larvas",
        none_seen="ninguna|sin larvas|nada",
        dry="seco|seca",
        frozen="congelado|helado",
        gone="desaparecido|desaparecida",
        not_reached="no alcanzado|inaccesible|sin acceso",
    ),
    outcomes(
        "Finnish",
        larvae="toukkia|toukkia löytyi",
        none_seen="ei toukkia|ei löytynyt|ei havaittu",
        dry="kuiva|kuivunut",
        frozen="jäässä|jäätynyt",
        gone="kadonnut|poissa",
        not_reached="ei päästy|ei tavoitettu|ei saavutettu",
    ),
    sent(
        "a word nobody knows",
        "pool,date,outcome\nP1,2025-05-20,wobbly\nP1,2025-05-21,dry\n",
        [look("P1", "2025-05-21", "dry")],
        {2: "wobbly"},
    ),
    sent(
        "an outcome with a question",
        "pool,date,outcome\nP1,2025-05-20,larvae?\nP1,2025-05-21,stolen?\nP1,2025-05-22,dry\n",
        [look("P1", "2025-05-22", "dry")],
        {2: "larvae?", 3: "stolen?"},
    ),
    sent(
        "nothing said",
        "pool,date,outcome,larvae\nP1,2025-05-20,,\nP1,2025-05-21,-,\nP1,2025-05-22,?,\nP1,2025-05-23,dry,\n",
        [look("P1", "2025-05-23", "dry")],
        {2: "", 3: "", 4: ""},
    ),
    sent(
        "dry, and none seen",
        'pool,date,outcome\nP1,2025-05-20,"dry, none seen"\nP1,2025-05-21,dry\n',
        [look("P1", "2025-05-20", "dry", or_aside=2), look("P1", "2025-05-21", "dry")],
    ),
    sent(
        "yes and no for larvae",
        "pool,date,larvae\nP1,2025-05-20,yes\nP2,2025-05-20,no\nP3,2025-05-20,\n",
        [look("P1", "2025-05-20", "larvae", larvae=None), look("P2", "2025-05-20", "none seen")],
        {4: ""},
    ),
    sent(
        "counts only",
        "pool,date,larvae\nP1,2025-05-20,7\nP2,2025-05-20,0\nP3,2025-05-20,\n",
        [look("P1", "2025-05-20", "larvae", larvae=7.0), look("P2", "2025-05-20", "none seen")],
        {4: ""},
    ),
    counted("at least ten", "larvae", "10+", seen(larvae_low=10.0)),
    counted("more than five", "larvae", ">5", seen(larvae_low=6.0)),
    counted("two or three", "larvae", "2-3", seen(larvae_low=2.0, larvae_high=3.0)),
    counted("two to three", "larvae", "2 to 3", seen(larvae_low=2.0, larvae_high=3.0)),
    counted("an en dash", "larvae", "10–20", seen(larvae_low=10.0, larvae_high=20.0)),
    counted("lots", "larvae", "lots", seen(larvae=None)),
    counted("lots, no outcome", "", "lots", seen(larvae=None)),
    counted("viele", "Larven", "viele", seen(larvae=None)),
    counted("a question mark", "larvae", "?", seen(larvae=None)),
    counted("a question mark, no outcome", "", "?", aside="?"),
    counted("none, no outcome", "", "none", look("P1", "2025-05-20", "none seen")),
    counted("one, perhaps", "larvae", "1?", seen()),
    counted("one, perhaps, no outcome", "", "1?", seen(or_aside=2)),
    counted("about fifteen", "larvae", "ca. 15", seen(larvae_low=Between(1, 15))),
    counted("twelve with a word", "larvae", "12 larvae", seen(larvae=12.0)),
    counted("a decimal", "larvae", "2,5", seen(larvae=None, or_aside=2)),
    counted("below nothing", "larvae", "-3", seen(larvae=None, or_aside=2)),
    counted("none seen but seven", "none seen", "7", aside="7"),
    counted("larvae but zero", "larvae", "0", aside="0"),
    counted("dry and zero", "dry", "0", look("P1", "2025-05-20", "dry")),
    counted("dry but four", "dry", "4", aside="4"),
    counted("not reached, blank", "not reached", "", look("P1", "2025-05-20", "not reached", larvae=None)),
    sent(
        "a range that a spreadsheet made a date",
        xlsx(
            [
                ["pool", "date", "outcome", "larvae"],
                ["P1", datetime.date(2025, 5, 20), "larvae", datetime.date(2025, 3, 2)],
                ["P2", datetime.date(2025, 5, 20), "larvae", 3],
            ]
        ),
        [
            look("P1", "2025-05-20", "larvae", larvae=None, larvae_high=None, or_aside=2),
            look("P2", "2025-05-20", "larvae", larvae=3.0),
        ],
        file="visits.xlsx",
    ),
]

# --- who and which ---------------------------------------------------------------------------------------------------

NUMBERED = "pool,lon,lat\npool 12,10.0123,53.5512\npool 2,10.0234,53.5623\n007,10.0345,53.5734\n"
DAY = "2025-05-20"
IDENTITY = [
    sent(
        "numbers in names match exactly",
        f"pool,date,outcome\npool 12,{DAY},dry\npool 13,{DAY},dry\npool 1,{DAY},dry\n",
        [look("pool 12", DAY, "dry")],
        {3: "pool 13", 4: "pool 1"},
        pools=NUMBERED,
    ),
    sent(
        "capitals and spaces in names",
        f"pool,date,outcome\nPOOL 12,{DAY},dry\n  pool 2 ,{DAY},dry\n",
        [look("pool 12", DAY, "dry"), look("pool 2", DAY, "dry")],
        pools=NUMBERED,
    ),
    sent(
        "a slip in a name",
        f"pool,date,outcome\npol 12,{DAY},dry\npool 2,{DAY},dry\n",
        [look("pool 2", DAY, "dry")],
        {2: "pool 12"},
        pools=NUMBERED,
    ),
    sent(
        "numbers where names are text",
        xlsx([["pool", "date", "outcome"], [12, DAY, "dry"], [13, DAY, "dry"]]),
        [look("12", DAY, "dry")],
        {3: "13"},
        file="visits.xlsx",
        pools="pool,lon,lat\n12,10.0123,53.5512\n",
    ),
    sent(
        "names that others take for numbers",
        f"pool,date,outcome\n1.10,{DAY},dry\n1.1,{DAY},larvae\n",
        [look("1.10", DAY, "dry"), look("1.1", DAY, "larvae")],
        pools="pool,lon,lat\n1.10,10.0123,53.5512\n1.1,10.0234,53.5623\n",
    ),
    sent(
        "dashes in names as word processors make them",
        f"pool,date,outcome\nA–1,{DAY},dry\nAnn‘s,{DAY},dry\n",
        [look("A-1", DAY, "dry"), look("Ann's", DAY, "dry")],
        pools="pool,lon,lat\nA-1,10.0123,53.5512\nAnn's,10.0234,53.5623\n",
    ),
    sent(
        "an unknown pool",
        f"pool,date,outcome\nOld mill,{DAY},larvae\nP1,{DAY},dry\n",
        [look("P1", DAY, "dry")],
        {2: "Old mill"},
    ),
    sent("no pool", f"pool,date,outcome\n,{DAY},larvae\nP1,{DAY},dry\n", [look("P1", DAY, "dry")], {2: "pool"}),
    sent(
        "the same row twice",
        f"pool,date,outcome,larvae\nP1,{DAY},larvae,7\nP1,{DAY},larvae,7\n",
        [seen(larvae=7.0)],
        {3: "2"},
    ),
    sent(
        "nearly the same visit",
        f"pool,date,outcome,larvae,observer\nP1,{DAY},larvae,7,Ann\nP1,{DAY},larvae,7,Bert\nP1,{DAY},larvae,8,Ann\n",
        [seen(larvae=7.0, observer="Ann"), seen(larvae=7.0, observer="Bert"), seen(larvae=8.0)],
    ),
    sent(
        "two looks on one day",
        f"pool,date,outcome\nP1,{DAY},larvae\nP1,{DAY},none seen\n",
        [seen(), look("P1", DAY, "none seen")],
    ),
    sent(
        "to a pool that stands in two places",
        f"pool,date,outcome\nP1,{DAY},larvae\nP2,{DAY},dry\n",
        [look("P2", DAY, "dry")],
        {("pools", 2): "P1", ("pools", 4): "P1", 2: "P1"},
        pools="pool,lon,lat\nP1,10.0123,53.5512\nP2,10.0234,53.5623\nP1,10.0345,53.5734\n",
    ),
    Case(
        "visits: two files, one row in both",
        {
            **POOL_FILE,
            "visits_ann.csv": f"pool,date,outcome\nP1,{DAY},larvae\n".encode(),
            "visits_bert.csv": f"pool,date,outcome\nP1,{DAY},larvae\nP2,{DAY},dry\n".encode(),
        },
        "visits",
        [seen(), look("P2", DAY, "dry")],
        {("visits_bert", 2): "repeat"},
    ),
    Case(
        "visits: two files of two languages",
        {
            **POOL_FILE,
            "visits_de.csv": b"Becken;Datum;Ergebnis\nP1;20.05.2025;Larven\n",
            "visits_fr.csv": "mare;date;résultat\nP2;21 mai 2025;à sec\n".encode("cp1252"),
        },
        "visits",
        [seen(), look("P2", "2025-05-21", "dry")],
    ),
]

# --- headings and dress ----------------------------------------------------------------------------------------------

FULL = [
    look("P1", DAY, "larvae", larvae=7.0, observer="Ann", note="by the oak"),
    look("P2", DAY, "none seen", observer="Bert"),
]


def headed(language: str, heads: str, yes: str = "larvae", no: str = "none seen") -> Case:
    """Columns in the order date, pool, outcome, count, observer, note."""
    body = f"20.05.2025;P1;{yes};7;Ann;by the oak\n20.05.2025;P2;{no};;Bert;\n"
    return sent(f"headings in {language}", f"{heads}\n{body}", FULL)


TABLE = cells(f"""
pool | date  | outcome   | larvae | observer | note
P1   | {DAY} | larvae    | 7      | Ann      | by the oak
P2   | {DAY} | none seen |        | Bert     |
""")
WHEN = datetime.date(2025, 5, 20)
REAL_DATES = [[WHEN if cell == DAY else cell for cell in row] for row in TABLE]
GATHERED = [
    ["pool", "date", "outcome"],
    ["P1", WHEN, "larvae"],
    [None, datetime.date(2025, 5, 27), "dry"],
    ["P2", WHEN, "dry"],
]
SPOT_SHAPES = [shapely.Point(SPOTS["P1"]), shapely.Point(SPOTS["P2"])]

DRESS = [
    headed("English", "Visit date;Pool name;Result;No. of larvae;Recorder;Comments"),
    headed("German", "Datum;Becken;Ergebnis;Anzahl Larven;Beobachter;Bemerkungen", "Larven", "keine"),
    headed("French", "Date;Mare;Résultat;Nombre de larves;Observateur;Remarques", "larves", "aucune"),
    headed("Dutch", "Datum;Poel;Resultaat;Aantal larven;Waarnemer;Opmerkingen", "larven", "geen"),
    headed("Spanish", "Fecha;Charca;Resultado;Número de larvas;Observador;Notas", "larvas", "ninguna"),
    headed("Finnish", "Päivämäärä;Lammikko;Tulos;Toukkien määrä;Havainnoija;Huomautus", "toukkia", "ei toukkia"),
    sent("xlsx with dates", xlsx(REAL_DATES), FULL, file="visits.xlsx"),
    sent("xlsx of 1904", xlsx(REAL_DATES, old=True), FULL, file="visits.xlsx"),
    sent(
        "xlsx of dates and words",
        xlsx([*REAL_DATES[:2], ["P2", "20.05.2025", "none seen", None, "Bert", None]]),
        FULL,
        file="visits.xlsx",
    ),
    sent(
        "xlsx of bare serial numbers",
        xlsx(
            [TABLE[0], ["P1", 45797, "larvae", 7, "Ann", "by the oak"], ["P2", 45797, "none seen", None, "Bert", None]]
        ),
        FULL,
        file="visits.xlsx",
    ),
    sent(
        "a pool's name merged over its visits",
        xlsx(GATHERED, merged="A2:A3"),
        [seen(), look("P1", "2025-05-27", "dry"), look("P2", DAY, "dry")],
        file="visits.xlsx",
    ),
    sent(
        "a sheet a month",
        xlsx({"April": [TABLE[0], ["P3", "2025-04-20", "dry"]], "May": TABLE}),
        [*FULL, look("P3", "2025-04-20", "dry")],
        file="visits.xlsx",
    ),
    sent("ods with dates", ods(REAL_DATES), FULL, file="visits.ods"),
    sent(
        "xls of serial numbers",
        xls([TABLE[0], ["P1", 45797, "larvae", 7, "Ann", "by the oak"], ["P2", 45797, "none seen", None, "Bert"]]),
        FULL,
        file="visits.xls",
    ),
    sent("parquet", parquet([[str(c or "") for c in row] for row in TABLE]), FULL, file="visits.parquet"),
    sent("zip", zipped(visits_csv=lines(TABLE).encode()), FULL, file="visits.zip"),
    Case(
        "visits: gpkg of a field app",
        POOL_FILE
        | layer(
            "visits.gpkg",
            SPOT_SHAPES,
            "EPSG:4326",
            pool=["P1", "P2"],
            date=[DAY] * 2,
            outcome=["larvae", "none seen"],
            larvae=[7.0, None],
            observer=["Ann", "Bert"],
            note=["by the oak", ""],
        ),
        "visits",
        FULL,
    ),
    sent(
        "repeated headings and a total",
        lines([*TABLE[:2], TABLE[0], TABLE[2], ["Total", None, 2]]),
        FULL,
        {3: "heading", 5: "total"},
    ),
    sent("a class's notes above", "Class 4b\nVisit in May\n\n" + lines(TABLE, ";"), FULL),
    sent(
        "formula without a value",
        xlsx([["pool", "date", "outcome"], ["P1", "=TODAY()", "larvae"], ["P2", WHEN, "dry"]]),
        [look("P2", DAY, "dry")],
        {2: ""},
        file="visits.xlsx",
    ),
    sent(
        "error for an outcome",
        xlsx([["pool", "date", "outcome"], ["P1", WHEN, "#N/A"], ["P2", WHEN, "dry"]]),
        [look("P2", DAY, "dry")],
        {2: ""},
        file="visits.xlsx",
    ),
    sent(
        "checked, in French",
        f"mare;date;résultat;vérifié\nP1;{DAY};larves;oui\nP2;{DAY};aucune;non\n",
        [seen(checked="yes"), look("P2", DAY, "none seen", checked="no")],
    ),
]

CASES: list[Case] = [*WIDE, *YEARS, *DATES, *WRITTEN_IN_OUTCOME, *OUTCOMES, *IDENTITY, *DRESS]
