"""Forty folders as people send them: each was written down with its true rows before the program had opened any.

At the first opening six of the forty came back whole.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date as day
from io import BytesIO
from typing import Any

import shapely
import xlsxwriter
from pyproj import Transformer

from .dress import Rows, cells, layer, ods, xls, xlsx
from .truth import Between, Case, Days

Row = dict[str, Any]
ENDLESS = float("inf")
GREEN, YELLOW, RED = "#92D050", "#FFFF00", "#FF0000"


@dataclass(frozen=True)
class Sheet:
    """A sheet with what plain rows can't hold: merged ranges with their text, colours and comments by cell."""

    rows: Rows
    merged: Mapping[str, str] = field(default_factory=dict)
    colours: Mapping[str, str] = field(default_factory=dict)
    comments: Mapping[str, str] = field(default_factory=dict)


def book(**sheets: Sheet) -> bytes:
    """A workbook of such sheets; __ in a sheet's name stands for a blank."""
    out = BytesIO()
    made = xlsxwriter.Workbook(out, {"in_memory": True, "default_date_format": "dd/mm/yyyy"})
    for name, sheet in sheets.items():
        page = made.add_worksheet(name.replace("__", " "))
        for r, row in enumerate(sheet.rows):
            for c, cell in enumerate(row):
                page.write(r, c, cell)
        for where, text in sheet.merged.items():
            page.merge_range(where, text)
        for where, colour in sheet.colours.items():
            r, c = int(where[1:]) - 1, ord(where[0]) - ord("A")
            page.write(r, c, sheet.rows[r][c], made.add_format({"bg_color": colour}))
        for where, text in sheet.comments.items():
            page.write_comment(where, text)
    made.close()
    return out.getvalue()


def listed(*names: str, lon: float = 10.01, lat: float = 53.55) -> dict[str, bytes]:
    """A plain list of pools with these names, some 900 m apart."""
    rows = "".join(f"{name},{lon + i / 100:.4f},{lat + i / 200:.4f}\n" for i, name in enumerate(names))
    return {"pools.csv": f"pool,lon,lat\n{rows}".encode()}


def visits(
    name: str, pools: Mapping[str, bytes], files: Mapping[str, bytes | str], rows: Sequence[Row], **case: Any
) -> Case:
    """A folder whose visits are what matters, beside its list of pools."""
    sent = {file: raw.encode() if isinstance(raw, str) else raw for file, raw in files.items()}
    return Case(f"sent: {name}", {**pools, **sent}, "visits", rows, **case)


def pools(name: str, files: Mapping[str, bytes | str], rows: Sequence[Row], **case: Any) -> Case:
    """A folder whose pools are what matters."""
    sent = {file: raw.encode() if isinstance(raw, str) else raw for file, raw in files.items()}
    return Case(f"sent: {name}", sent, "pools", rows, **case)


def seen(pool: str, date: str, **columns: Any) -> Row:
    return {"pool": pool, "date": date, "outcome": "larvae", **columns}


def about(pool: str, date: str, count: int) -> Row:
    """Larvae whose number was guessed: the bounds must hold it."""
    return seen(pool, date, larvae=None, larvae_low=Between(1, count), larvae_high=Between(count, ENDLESS))


def none(pool: str, date: str) -> Row:
    return {"pool": pool, "date": date, "outcome": "none seen"}


def other(pool: str, date: str, outcome: str, **columns: Any) -> Row:
    return {"pool": pool, "date": date, "outcome": outcome, **columns}


def at(pool: str, lon: float, lat: float, **columns: Any) -> Row:
    return {"pool": pool, "at": (lon, lat), **columns}


def lonlat(epsg: int, x: float, y: float) -> tuple[float, float]:
    """Where metres of a national grid lie on the globe."""
    lon, lat = Transformer.from_crs(epsg, 4326, always_xy=True).transform(x, y)
    return lon, lat


def metres(pool: str, epsg: int, x: float, y: float, **columns: Any) -> Row:
    return {"pool": pool, "at": lonlat(epsg, x, y), **columns}


ABC = listed("P1", "P2", "P3")

SHEETS_OF_GRIDS = [
    # A school's caretaker keeps a wall chart of pools by dates; the year stands in the title, the signs below.
    visits(
        "wall chart of pools by dates with signs",
        ABC,
        {
            "visits.xlsx": xlsx(
                cells("""
Wasserhöhlen Eichenschule, Frühjahr 2025 | | |
 | | |
Teich | 14.3. | 28.3. | 11.4.
P1 | x | x | o
P2 | o | | x
P3 | - | - | o
 | | |
x = Larven gesehen, o = nichts gefunden, - = trocken | | |""")
            )
        },
        [
            *[seen("P1", "2025-03-14"), seen("P1", "2025-03-28"), none("P1", "2025-04-11")],
            *[none("P2", "2025-03-14"), seen("P2", "2025-04-11")],
            *[other("P3", "2025-03-14", "dry"), other("P3", "2025-03-28", "dry"), none("P3", "2025-04-11")],
        ],
        may=[8],
    ),
    # A council's GIS office fills its own form: two rows of headings, the upper one merged over groups.
    pools(
        "two rows of headings, the upper one merged",
        {
            "pools.xlsx": book(
                Kataster=Sheet(
                    cells("""
Nr. | Standort | | | Behälter | | Bemerkung
 | Lage | Breite | Länge | Art | Liter |
H-01 | Stadtpark, alte Eiche | 53.5512 | 10.0123 | Eimer | 10 |
H-02 | Friedhof Nord | 53.5623 | 10.0234 | Wanne | 25 | Deckel lose
H-03 | Wallanlage | 53.5734 | 10.0345 | Eimer | 12 |"""),
                    merged={"B1:D1": "Standort", "E1:F1": "Behälter", "A1:A2": "Nr.", "G1:G2": "Bemerkung"},
                )
            )
        },
        [
            at("H-01", 10.0123, 53.5512, volume_l=10.0, container="Eimer"),
            at("H-02", 10.0234, 53.5623, volume_l=25.0, note="Deckel lose"),
            at("H-03", 10.0345, 53.5734, volume_l=12.0),
        ],
    ),
    # A parish clerk merges the pool's name over its visits and hangs comments on cells.
    visits(
        "names merged over their visits, with comments on cells",
        listed("Churchyard yew", "Lych gate"),
        {
            "visits.xlsx": book(
                Sheet1=Sheet(
                    [
                        ["Pool", "Date", "Seen"],
                        ["Churchyard yew", day(2025, 4, 6), "3 larvae"],
                        [None, day(2025, 4, 27), "nil"],
                        [None, day(2025, 5, 18), "not looked at - funeral on"],
                        ["Lych gate", day(2025, 4, 6), "nil"],
                        [None, day(2025, 4, 27), "1 larva"],
                    ],
                    merged={"A2:A4": "Churchyard yew", "A5:A6": "Lych gate"},
                    comments={"C2": "Rev. thinks 4", "B5": "after evensong"},
                )
            )
        },
        [
            seen("Churchyard yew", "2025-04-06", larvae=3.0),
            none("Churchyard yew", "2025-04-27"),
            other("Churchyard yew", "2025-05-18", "not reached", or_aside=4),
            none("Lych gate", "2025-04-06"),
            seen("Lych gate", "2025-04-27", larvae=1.0),
        ],
    ),
    # A ranger types one block a round: the date stands in a line above the block, not in a column.
    visits(
        "the date of each round in a line above its block",
        ABC,
        {
            "visits.csv": """Round of 12 April 2025,,
Pool,Result,Remarks
P1,larvae,2 big ones
P2,nothing,
P3,dry,topped up
,,
Round of 3 May 2025 (Ute with me),,
Pool,Result,Remarks
P1,nothing,
P2,larvae,
P3,gone,only the strap left
"""
        },
        [
            *[seen("P1", "2025-04-12"), none("P2", "2025-04-12"), other("P3", "2025-04-12", "dry")],
            *[none("P1", "2025-05-03"), seen("P2", "2025-05-03"), other("P3", "2025-05-03", "gone")],
        ],
        may=[1, 2, 7, 8],
    ),
    # A volunteer colours cells and writes only initials into them; the first line says what each colour means.
    visits(
        "colours with their meaning in the first line",
        ABC,
        {
            "visits.xlsx": book(
                Rounds=Sheet(
                    cells("""
GREEN = larvae, YELLOW = water but nothing in it, RED = dried up | | |
Pool | 5 April 2025 | 19 April 2025 | 3 May 2025
P1 | JK | JK | MT
P2 | JK | JK | MT
P3 | JK | | MT"""),
                    colours={
                        **dict.fromkeys(("B3", "C3", "D5"), GREEN),
                        **dict.fromkeys(("D3", "B4", "C4"), YELLOW),
                        **dict.fromkeys(("D4", "B5"), RED),
                    },
                )
            )
        },
        [
            *[seen("P1", "2025-04-05"), seen("P1", "2025-04-19"), none("P1", "2025-05-03")],
            *[none("P2", "2025-04-05"), none("P2", "2025-04-19"), other("P2", "2025-05-03", "dry")],
            *[other("P3", "2025-04-05", "dry"), seen("P3", "2025-05-03")],
        ],
        may=[1],
    ),
    # A conservation volunteers' form asks twice, for larvae and for water, each Y or N.
    visits(
        "two questions, each Y or N",
        listed("A1", "A2", "A3"),
        {
            "visits.csv": """Pool ID,Date,Larvae present? (Y/N),Water present? (Y/N),How many
A1,17/03/2025,Y,Y,4
A2,17/03/2025,N,Y,
A3,17/03/2025,N,N,
A1,04/04/2025,y,y,12
A2,04/04/2025,N/A,N,
A3,04/04/2025,?,Y,
"""
        },
        [
            seen("A1", "2025-03-17", larvae=4.0),
            none("A2", "2025-03-17"),
            other("A3", "2025-03-17", "dry"),
            seen("A1", "2025-04-04", larvae=12.0),
            other("A2", "2025-04-04", "dry"),
        ],
        aside={7: "?"},
    ),
    # An allotment holder answers "what did you find?" in words and numbers; an "x" could be either.
    visits(
        "what did you find, in words and numbers",
        listed("Oak 1", "Oak 2"),
        {
            "visits.csv": """pool,date,what did you find?
Oak 1,5 Apr 2025,2-3 larvae
Oak 2,5 Apr 2025,none!!
Oak 1,19 Apr 2025,10+
Oak 2,19 Apr 2025,x
Oak 1,3 May 2025,"loads, couldn't count"
Oak 2,3 May 2025,"1 larva, 2 pupae?"
Oak 1,17 May 2025,approx 5
Oak 2,17 May 2025,dried up :(
Oak 2,31 May 2025,0
Oak 1,31 May 2025,"didn't get there, gate locked"
"""
        },
        [
            seen("Oak 1", "2025-04-05", larvae_low=2.0, larvae_high=3.0),
            none("Oak 2", "2025-04-05"),
            seen("Oak 1", "2025-04-19", larvae_low=10.0, larvae_high=ENDLESS),
            seen("Oak 1", "2025-05-03", larvae=None),
            seen("Oak 2", "2025-05-03", larvae=1.0),
            about("Oak 1", "2025-05-17", 5),
            other("Oak 2", "2025-05-17", "dry"),
            none("Oak 2", "2025-05-31"),
            other("Oak 1", "2025-05-31", "not reached"),
        ],
        aside={5: "x"},
    ),
]

LANGUAGES = [
    # A German conservation group's treasurer still keeps a workbook of 1997, its dates shown as bare day numbers.
    visits(
        "a workbook of 1997 with day numbers",
        listed("1", "2", "3"),
        {
            "visits.xls": xls(
                cells("""
Gefäß Nr. | Kontrolle am | Befund | Anzahl Larven | Kontrolleur
1 | 45762 | Larven | 6 | H. Brandt
2 | 45762 | ohne Befund | | H. Brandt
3 | 45762 | ausgetrocknet | | H. Brandt
1 | 45790 | Larven | 11 | K. Voss
2 | 45790 | keine Larven | 0 | K. Voss""")
            )
        },
        [
            *[seen("1", "2025-04-15", larvae=6.0), none("2", "2025-04-15"), other("3", "2025-04-15", "dry")],
            *[seen("1", "2025-05-13", larvae=11.0), none("2", "2025-05-13")],
        ],
    ),
    # A French commune sends its list with decimal commas and dates in words.
    pools(
        "a French commune's list",
        {
            "pools.csv": """N° du bac;Lieu-dit;Latitude;Longitude;Posé le;Contenance (L);Ombre;Remarques
B1;Le Vieux Chêne;45,7612;4,8312;12 mars 2025;10;oui;
B2;Chemin des Hêtres;45,7655;4,8401;1er avril 2025;7,5;mi-ombre;chez Mme Blanc
B3;La Fontaine;45,7701;4,8466;déc. 2024;12;non;à vérifier
""".encode("cp1252")
        },
        [
            at("B1", 4.8312, 45.7612, set_out="2025-03-12", volume_l=10.0),
            at("B2", 4.8401, 45.7655, set_out="2025-04-01", volume_l=7.5, note="chez Mme Blanc"),
            at("B3", 4.8466, 45.7701, set_out=Days("2024-12-01", "2024-12-31"), volume_l=12.0),
        ],
        crs=None,
    ),
    # A Dutch estate's forester gives metres of the national grid and when a vessel went in and out.
    pools(
        "a Dutch forester's list in the national grid",
        {
            "pools.xlsx": xlsx(
                cells("""
Bakje | RD-X | RD-Y | Geplaatst op | Weggehaald op | Opmerking
Beuk 1 | 136784 | 455860 | 12-3-2025 | |
Eik | 137100 | 456200 | 12-3-2025 | 26-5-2025 | omgewaaid
Linde | 137500 | 456100 | mrt 2025 | | naast het hek""")
            )
        },
        [
            metres("Beuk 1", 28992, 136784, 455860, set_out="2025-03-12", removed=None),
            metres("Eik", 28992, 137100, 456200, set_out="2025-03-12", removed="2025-05-26"),
            metres("Linde", 28992, 137500, 456100, set_out=Days("2025-03-01", "2025-03-31")),
        ],
        crs=None,
    ),
    # A Spanish school garden writes short dates and asks with both question marks.
    visits(
        "a Spanish school garden's sheet",
        listed("Encina", "Patio", "Muro", lon=-3.70, lat=40.41),
        {
            "visits.xlsx": xlsx(
                cells("""
Huerto escolar - Control de cubos | | | |
Cubo | Fecha | ¿Hay larvas? | ¿Cuántas? | Observaciones
Encina | 3/4/25 | Sí | 4 | agua turbia
Patio | 3/4/25 | No | |
Muro | 3/4/25 | Seco | | rellenado
Encina | 24/4/25 | sí | unas 10 |
Patio | 24/4/25 | no | |
Muro | 24/4/25 | sí | 1 |""")
            )
        },
        [
            seen("Encina", "2025-04-03", larvae=4.0),
            none("Patio", "2025-04-03"),
            other("Muro", "2025-04-03", "dry"),
            about("Encina", "2025-04-24", 10),
            none("Patio", "2025-04-24"),
            seen("Muro", "2025-04-24", larvae=1.0),
        ],
        may=[1],
        crs=None,
    ),
    # A Finnish nature club's list of an early spring, with ice on two vessels.
    visits(
        "a Finnish nature club's list",
        listed("Haapa", "Koivu", "Vaahtera", lon=24.93, lat=60.20),
        {
            "visits.csv": """Vesiastia;Pvm;Havainto;Lkm;Havainnoija
Haapa;3.4.2025;jäässä;;Aino
Koivu;3.4.2025;jäässä;;Aino
Vaahtera;3.4.2025;ei toukkia;;Aino
Haapa;18.5.2025;toukkia;7;Pekka
Koivu;18.5.2025;kuivunut;;Pekka
Vaahtera;18.5.2025;kadonnut;;Pekka
"""
        },
        [
            *[other("Haapa", "2025-04-03", "frozen"), other("Koivu", "2025-04-03", "frozen")],
            *[none("Vaahtera", "2025-04-03"), seen("Haapa", "2025-05-18", larvae=7.0)],
            *[other("Koivu", "2025-05-18", "dry"), other("Vaahtera", "2025-05-18", "gone")],
        ],
        crs=None,
    ),
    # A Polish city gardener notes degrees, minutes and seconds, and months in Roman numerals.
    pools(
        "a Polish gardener's list with Roman months",
        {
            "pools.xlsx": xlsx(
                cells("""
Nazwa | Położenie | Data założenia | Uwagi
Dąb przy bramie | 52°13'47.0"N 21°00'42.0"E | 12 maja 2024 |
Staw | 52°13'50.5"N 21°01'03.0"E | 3 IV 2025 | przeciek
Żywopłot | 52°14'02.0"N 21°00'51.5"E | 15.04.2025 |""")
            )
        },
        [
            at("Dąb przy bramie", 21 + 42 / 3600, 52 + 13 / 60 + 47 / 3600, set_out="2024-05-12"),
            at("Staw", 21 + 1 / 60 + 3 / 3600, 52 + 13 / 60 + 50.5 / 3600, set_out="2025-04-03", note="przeciek"),
            at("Żywopłot", 21 + 51.5 / 3600, 52 + 14 / 60 + 2 / 3600, set_out="2025-04-15"),
        ],
        crs=None,
    ),
    # An Italian park's warden has one sheet for each month; the rows hold only the day.
    visits(
        "one sheet for each month, rows with the day alone",
        listed("Faggio", "Quercia", "Salice", lon=11.25, lat=43.78),
        {
            "visits.xlsx": xlsx(
                {
                    "Aprile 2025": cells("""
Vasca | Giorno | Larve | Note
Faggio | 12 | sì |
Quercia | 12 | no |
Salice | 13 | secca | riempita"""),
                    "Maggio 2025": cells("""
Vasca | Giorno | Larve | Note
Faggio | 3 | no |
Quercia | 3 | sì | tante
Salice | 31 | no |"""),
                }
            )
        },
        [
            *[seen("Faggio", "2025-04-12"), none("Quercia", "2025-04-12"), other("Salice", "2025-04-13", "dry")],
            *[none("Faggio", "2025-05-03"), seen("Quercia", "2025-05-03"), none("Salice", "2025-05-31")],
        ],
        crs=None,
    ),
    # A Swedish municipality's ecologist names the grid in the headings and puts north first.
    pools(
        "a Swedish ecologist's list, north first",
        {
            "pools.csv": """Burk nr;N (SWEREF 99 TM);E (SWEREF 99 TM);Utsatt;Intagen;Anmärkning
1;6580822;674032;2025-04-01;;
2;6581110;674500;2025-04-01;2025-06-02;läckte
3;6581377,5;674913,2;2025-04-08;;
"""
        },
        [
            metres("1", 3006, 674032, 6580822, set_out="2025-04-01", removed=None),
            metres("2", 3006, 674500, 6581110, removed="2025-06-02"),
            metres("3", 3006, 674913.2, 6581377.5, set_out="2025-04-08"),
        ],
        crs=None,
    ),
    # A Japanese junior high school's biology club saves its list in the code of its own machines.
    visits(
        "a Japanese biology club's list",
        listed("池1", "池2", "池3", lon=139.70, lat=35.70),
        {
            "visits.csv": """池,調査日,幼虫,数,備考
池1,2025年4月12日,あり,3,
池2,2025年4月12日,なし,,
池3,2025年4月12日,乾燥,,水を足した
池1,2025年5月10日,なし,,
池2,2025年5月10日,あり,約10,
""".encode("cp932")
        },
        [
            *[seen("池1", "2025-04-12", larvae=3.0), none("池2", "2025-04-12"), other("池3", "2025-04-12", "dry")],
            *[none("池1", "2025-05-10"), about("池2", "2025-05-10", 10)],
        ],
        crs=None,
    ),
]

PLACES = [
    # A volunteer of many years writes when each pool was put out as she remembers it, with notes under the list.
    pools(
        "put out in april 2024, with notes under the list",
        {
            "pools.csv": """pool,lat,lon,when put out
P1,53.5512,10.0123,april 2024
P2,53.5623,10.0234,spring 2023
P3,53.5734,10.0345,2022
P4,53.5745,10.0456,3.5.24
P5,53.5756,10.0567,before my time

Coordinates are from my phone - good to 5 m or so
NB P2 is in Mrs Hall's garden: ring first!
"""
        },
        [
            at("P1", 10.0123, 53.5512, set_out=Days("2024-04-01", "2024-04-30")),
            at("P2", 10.0234, 53.5623, set_out=Days("2023-03-01", "2023-06-20", or_missing=True)),
            at("P3", 10.0345, 53.5734, set_out=Days("2022-01-01", "2022-12-31", or_missing=True)),
            at("P4", 10.0456, 53.5745, set_out="2024-05-03", or_aside=5),
            at("P5", 10.0567, 53.5756, set_out=None, or_aside=6),
        ],
        may=[8, 9],
    ),
    # A neighbour shares links from the map on his phone; a shortened one tells no place without asking the network.
    pools(
        "links to a map, headings with hints in brackets",
        {
            "pools.csv": """Name [short],Link (share from your phone),Date set [dd/mm/yyyy],L [litres]
Hedge,https://www.openstreetmap.org/?mlat=53.5512&mlon=10.0123#map=18/53.5512/10.0123,14/03/2025,10
Shed,"https://maps.google.com/?q=53.5623,10.0234",14/03/2025,10
Lane,"https://www.google.com/maps/place/53.5734,10.0345/@53.5730,10.0340,17z",02/04/2025,8
Green,https://maps.app.goo.gl/Xy7AbCd9,02/04/2025,8
"""
        },
        [
            at("Hedge", 10.0123, 53.5512, set_out="2025-03-14", volume_l=10.0),
            at("Shed", 10.0234, 53.5623, set_out="2025-03-14"),
            at("Lane", 10.0345, 53.5734, set_out="2025-04-02", volume_l=8.0),
        ],
        aside={5: "link"},
    ),
    # A running club gives three words for each place; only the pool that also has degrees can be found.
    pools(
        "three words for a place",
        {
            "pools.xlsx": xlsx(
                cells("""
Pool | Where (3 words) | GPS
Stile | ///lantern.mossy.kettle |
Weir | ///ribbon.oatcake.thrush | 53.5512, 10.0123
Copse | ///pebble.yonder.flute |""")
            )
        },
        [at("Weir", 10.0123, 53.5512)],
        aside={2: "", 4: ""},
    ),
    # A town's works department knows street and number, and coordinates only where somebody stood there with a phone.
    pools(
        "streets and numbers, some with degrees in one cell",
        {
            "pools.csv": """Name;Straße, Nr.;Koordinaten
Kita Sonnenhof;Ahornweg 3;
Friedhof;Am Hang 12;53,5512° N 10,0123° O
Bauhof;Industriestr. 8 (hinten);53.5623 / 10.0234
Rathaus;Markt 1;folgt noch
"""
        },
        [at("Friedhof", 10.0123, 53.5512), at("Bauhof", 10.0234, 53.5623)],
        aside={2: "", 5: "folgt noch"},
    ),
    # A Cornish recorder's list: west as a minus or a letter, and remarks with commas that run past the headings.
    pools(
        "west of the meridian, remarks that run past the headings",
        {
            "pools.csv": """Site,Lat,Long
Carn,50.1188,-5.5376,behind wall, ask Jen,,
Madron,50.1323 N,5.5611 W,,,,
Zennor,50.1921,-5.5672,tub, 20 l
Towan,50.1510,-5.5102,left of the stile, mind the bull, shut the gate
"""
        },
        [
            at("Carn", -5.5376, 50.1188),
            at("Madron", -5.5611, 50.1323),
            at("Zennor", -5.5672, 50.1921),
            at("Towan", -5.5102, 50.1510),
        ],
        crs=None,
    ),
    # A county GIS office sends a shapefile, whose headings end after ten letters.
    pools(
        "a shapefile with headings cut at ten letters",
        layer(
            "pools.shp",
            [
                shapely.Point(566385.8, 5933934.4),
                shapely.Point(566900.0, 5934400.0),
                shapely.Point(567300.5, 5934811.0),
            ],
            "EPSG:25832",
            OBJECTID=[1, 2, 3],
            BEZEICHNUN=["Teich Süd", "Teich Nord", "Knick"],
            AUFGESTELL=["2025-03-14", "2025-03-14", "2025-04-02"],
            BEHAELTERT=["Eimer", "Wanne", "Eimer"],
            VOLUMEN_LI=[10.0, 25.0, 12.0],
            BEMERKUNGE=["", "undicht?", ""],
        ),
        [
            {"pool": "Teich Süd", "xy": (566385.8, 5933934.4), "set_out": "2025-03-14", "volume_l": 10.0},
            {"pool": "Teich Nord", "xy": (566900.0, 5934400.0), "volume_l": 25.0, "note": "undicht?"},
            {"pool": "Knick", "xy": (567300.5, 5934811.0), "set_out": "2025-04-02", "container": "Eimer"},
        ],
    ),
    # A hiker exports way points from a phone: everything quoted, a mark of its encoding first, UTC stamps.
    pools(
        "way points from a phone",
        {
            "pools.csv": (
                '"Name","Latitude","Longitude","Elevation (m)","Time","Description"\r\n'
                '"Gate oak","53.551200","10.012300","31.4","2025-03-14T09:12:44Z","bucket 10 L"\r\n'
                '"Röhrichtkante","53.562300","10.023400","28.0","2025-03-14T09:47:02Z",""\r\n'
                '"Knick 2","53.573400","10.034500","","2025-03-14T10:20:31Z","tub, lid missing"\r\n'
            ).encode("utf-8-sig")
        },
        [at("Gate oak", 10.0123, 53.5512), at("Röhrichtkante", 10.0234, 53.5623), at("Knick 2", 10.0345, 53.5734)],
    ),
    # A retired British naturalist on an old Macintosh: grid references, and days counted from 1904.
    pools(
        "British grid references and days counted from 1904",
        {
            "pools.xlsx": xlsx(
                [
                    ["Pool", "Grid ref", "Put out", "Remarks"],
                    ["Beech", "SP 5133 0648", day(2024, 4, 2), ""],
                    ["Ash stump", "SP51800692", day(2024, 4, 2), "leans"],
                    ["Yew", "SP 5210 0655", day(2025, 3, 9), ""],
                ],
                old=True,
            )
        },
        [
            metres("Beech", 27700, 451335, 206485, set_out="2024-04-02"),
            metres("Ash stump", 27700, 451805, 206925, set_out="2024-04-02", note="leans"),
            metres("Yew", 27700, 452105, 206555, set_out="2025-03-09"),
        ],
        crs=None,
        within_m=10.0,
    ),
    # A Canadian stewardship group copies what the hand-held receiver shows: zone, letter, easting, northing.
    pools(
        "a receiver's zone, letter, easting and northing",
        {
            "pools.csv": """Pool,GPS (UTM NAD83),Installed,Type
Maple 1,10U 481082 5456459,"April 12, 2025",tote
Maple 2,10 U 0481300 5456700,"April 12, 2025",pail
Alder,10U 0481500E 5456900N,"May 3, 2025",pail
"""
        },
        [
            metres("Maple 1", 26910, 481082, 5456459, set_out="2025-04-12"),
            metres("Maple 2", 26910, 481300, 5456700, set_out="2025-04-12"),
            metres("Alder", 26910, 481500, 5456900, set_out="2025-05-03"),
        ],
        crs=None,
        within_m=3.0,
    ),
]

TEXTS = [
    # A contractor has a sheet for each pool, named after it, with a small block about the vessel on top.
    visits(
        "one sheet for each pool, named after it",
        listed("North oak", "Mill race"),
        {
            "visits.xlsx": xlsx(
                {
                    "North oak": [
                        ["Pool", "North oak"],
                        ["Container", "bucket, 10 l"],
                        [],
                        ["Date", "Larvae", "Water level (cm)", "Remarks"],
                        [day(2025, 4, 8), 5, 14, ""],
                        [day(2025, 4, 29), 0, 12, ""],
                        [day(2025, 5, 20), None, 0, "bone dry"],
                    ],
                    "Mill race": [
                        ["Pool", "Mill race"],
                        ["Container", "tub, 25 l"],
                        [],
                        ["Date", "Larvae", "Water level (cm)", "Remarks"],
                        [day(2025, 4, 8), 0, 20, ""],
                        [day(2025, 4, 29), 2, 19, "emptied a little"],
                    ],
                }
            )
        },
        [
            seen("North oak", "2025-04-08", larvae=5.0),
            none("North oak", "2025-04-29"),
            other("North oak", "2025-05-20", "dry"),
            none("Mill race", "2025-04-08"),
            seen("Mill race", "2025-04-29", larvae=2.0),
        ],
        may=[1, 2],
    ),
    # Three volunteers each send a file of their own, none like the others.
    visits(
        "a file from each of three volunteers",
        ABC,
        {
            "visits_anna.csv": "pool,date,larvae?\nP1,2025-04-05,yes\nP2,2025-04-05,no\n",
            "visits_Bernd.xlsx": xlsx(
                [["Pool Nr", "Tag", "Ergebnis"], ["P3", day(2025, 4, 6), "trocken"], ["P1", day(2025, 4, 6), "Larven"]]
            ),
            "visits (Carla).csv": "Datum;Teich;Anzahl Larven\n20.04.2025;P2;3\n20.04.2025;P3;0\n",
        },
        [
            *[seen("P1", "2025-04-05"), none("P2", "2025-04-05")],
            *[other("P3", "2025-04-06", "dry"), seen("P1", "2025-04-06")],
            *[seen("P2", "2025-04-20", larvae=3.0), none("P3", "2025-04-20")],
        ],
    ),
    # An American library's web form exports a stamp for each answer and whole questions as headings.
    visits(
        "a form's answers with stamps and whole questions",
        listed("Gate", "Pond", "Wall"),
        {
            "visits.csv": """"Timestamp","Email Address","Which pool did you visit?","When was your visit?",\
"What did you see in the water?","If you saw larvae: roughly how many?","Anything else we should know?"
"5/14/2025 18:22:31","lee@example.org","Gate","5/13/2025","Rat-tailed larvae","6",""
"5/14/2025 19:03:10","ana@example.org","Pond","5/14/2025","Water but no larvae","","so many mosquitoes"
"5/20/2025 8:41:55","lee@example.org","Wall","5/19/2025","No water","",""
"5/20/2025 8:43:12","lee@example.org","Gate","5/19/2025","Rat-tailed larvae","more than 10",""
"5/21/2025 12:10:02","sam@example.org","Pond","5/21/2025","Other: lid had blown off","",""
"6/2/2025 17:30:44","sam@example.org","Wall","6/1/2025","Pool is missing","","sorry!!"
"""
        },
        [
            seen("Gate", "2025-05-13", larvae=6.0),
            none("Pond", "2025-05-14"),
            other("Wall", "2025-05-19", "dry"),
            seen("Gate", "2025-05-19", larvae_low=Between(10, 11), larvae_high=ENDLESS),
            other("Wall", "2025-06-01", "gone"),
        ],
        aside={6: "lid had blown off"},
    ),
    # A group's chat, saved from the phone and renamed to csv by its secretary.
    visits(
        "a chat saved from the phone",
        ABC,
        {
            "visits.csv": """12.04.25, 09:14 - Nachrichten und Anrufe sind Ende-zu-Ende-verschlüsselt.
12.04.25, 17:58 - Uwe: P1 Larven
12.04.25, 17:58 - Uwe: P2 nichts drin
12.04.25, 18:20 - Maren: super, danke!
13.04.25, 10:02 - Maren: P3 trocken, hab aufgefüllt
"""
        },
        [seen("P1", "2025-04-12"), none("P2", "2025-04-12"), other("P3", "2025-04-13", "dry")],
        may=[1, 4],
    ),
    # A primary school's class counts, with totals and an average after each day.
    visits(
        "a class's counts with totals and averages",
        listed("Blue", "Red", "Green"),
        {
            "visits.xlsx": xlsx(
                cells("""
Oakfield Primary, Class 4 - pool counts, summer term 2025 | | |
Pool | Date | Larvae counted | Water temp
Blue | 06/05/2025 | 3 | 14
Red | 06/05/2025 | 0 | 13.5
Green | 06/05/2025 | 7 | 14
Total | | 10 |
Average | | 3.3 | 13.8
Blue | 20/05/2025 | 5 | 15
Red | 20/05/2025 | 1 | 15
Green | 20/05/2025 | 2 | 16
Total | | 8 |
Grand total | | 18 | """)
            )
        },
        [
            *[
                seen("Blue", "2025-05-06", larvae=3.0),
                none("Red", "2025-05-06"),
                seen("Green", "2025-05-06", larvae=7.0),
            ],
            *[seen("Blue", "2025-05-20", larvae=5.0), seen("Red", "2025-05-20", larvae=1.0)],
            seen("Green", "2025-05-20", larvae=2.0),
        ],
        may=[1, 6, 7, 11, 12],
    ),
    # A volunteer types csv by hand in a text editor and closes quotes when he thinks of it.
    visits(
        "quotes opened and never closed",
        ABC,
        {
            "visits.csv": """pool,date,outcome,note
P1,2025-04-02,larvae,"three of them
P2,2025-04-02,none seen,the "big" bucket
P3,2025-04-02,dry,"lid off", refilled
P1,2025-04-16,larvae,12" of water
P2,2025-04-16,larvae,ok"
"""
        },
        [
            *[seen("P1", "2025-04-02"), none("P2", "2025-04-02"), other("P3", "2025-04-02", "dry")],
            *[seen("P1", "2025-04-16"), seen("P2", "2025-04-16")],
        ],
    ),
    # A secretary joined two lists by hand: the upper half was saved by one program, the lower half by an older one.
    pools(
        "two encodings in one file",
        {
            "pools.csv": "Becken;Breite;Länge;Notiz\nMühlenteich;53,5512;10,0123;für Kinder gesperrt\n".encode()
            + "Weißdorn;53,5623;10,0234;über die Brücke\nGänsewiese;53,5734;10,0345;\n".encode("cp1252")
        },
        [
            at("Mühlenteich", 10.0123, 53.5512, note="für Kinder gesperrt"),
            at("Weißdorn", 10.0234, 53.5623, note="über die Brücke"),
            at("Gänsewiese", 10.0345, 53.5734),
        ],
    ),
    # A parks department numbers its vessels 007 to 101; a spreadsheet ate the zeros of the visits.
    visits(
        "numbers whose zeros were lost in the visits",
        {
            "pools.xlsx": xlsx(
                [
                    ["Asset No.", "Latitude", "Longitude"],
                    ["007", 53.5512, 10.0123],
                    ["012", 53.5623, 10.0234],
                    ["101", 53.5734, 10.0345],
                ]
            )
        },
        {
            "visits.csv": """Asset No.,Inspected,Finding
7,07-Apr-2025,larvae
12,07-Apr-2025,no larvae
101,07-Apr-2025,dry
007,28-Apr-2025,no larvae
012,28-Apr-2025,larvae
"""
        },
        [
            *[seen("007", "2025-04-07"), none("012", "2025-04-07"), other("101", "2025-04-07", "dry")],
            *[none("007", "2025-04-28"), seen("012", "2025-04-28")],
        ],
    ),
    # A friends-of-the-park group renamed its pools in May; the list says what each was called before.
    visits(
        "pools renamed in the middle of the season",
        {
            "pools.csv": b"""pool,lat,lon,old name
Gate oak,53.5512,10.0123,T1
Pond oak,53.5623,10.0234,T2
T3,53.5734,10.0345,
"""
        },
        {
            "visits.csv": """pool,date,outcome
T1,2025-04-05,larvae
T2,2025-04-05,none seen
T3,2025-04-05,larvae
Gate oak,2025-05-17,none seen
Pond oak,2025-05-17,dry
T3,2025-05-17,larvae
"""
        },
        [
            *[seen("Gate oak", "2025-04-05"), none("Pond oak", "2025-04-05"), seen("T3", "2025-04-05")],
            *[none("Gate oak", "2025-05-17"), other("Pond oak", "2025-05-17", "dry"), seen("T3", "2025-05-17")],
        ],
    ),
    # A consultant's table has a column for each kind of animal; midges and mosquitoes are no hoverflies.
    visits(
        "a column for each kind of animal",
        ABC,
        {
            "visits.csv": """Pool,Survey date,Eristalis sp.,Myathropa florea,Culicidae (mosquito),Chironomidae
P1,2025-04-22,2,1,40,0
P2,2025-04-22,0,0,15,3
P3,2025-04-22,0,5,0,0
P1,2025-05-20,0,0,0,0
P2,2025-05-20,1,0,60,2
"""
        },
        # written down first as one row with the sum; rows of one pool and day that differ in taxon are one visit
        [
            seen("P1", "2025-04-22", larvae=2.0, taxon="Eristalis sp."),
            seen("P1", "2025-04-22", larvae=1.0, taxon="Myathropa florea"),
            none("P2", "2025-04-22"),
            seen("P3", "2025-04-22", larvae=5.0),
            none("P1", "2025-05-20"),
            seen("P2", "2025-05-20", larvae=1.0),
        ],
    ),
    # A forest office prints its list: the headings come again on every page, and each page is numbered.
    visits(
        "headings again on every printed page",
        ABC,
        {
            "visits.ods": ods(
                [
                    ["Kontrollgänge Stadtwald"],
                    ["Nr.", "Datum", "Befund", "Bemerkung"],
                    ["P1", day(2025, 4, 9), "Larven", None],
                    ["P2", day(2025, 4, 9), "ohne Befund", "Laub nachgefüllt"],
                    [None, None, None, "Seite 1 von 2"],
                    ["Nr.", "Datum", "Befund", "Bemerkung"],
                    ["P1", day(2025, 5, 7), "ausgetrocknet", None],
                    ["P3", day(2025, 5, 7), "Larven (ca. 20)", None],
                    [None, None, None, "Seite 2 von 2"],
                ]
            )
        },
        [
            *[seen("P1", "2025-04-09"), none("P2", "2025-04-09")],
            *[other("P1", "2025-05-07", "dry"), about("P3", "2025-05-07", 20)],
        ],
        may=[1, 5, 6, 9],
    ),
    # A volunteer answered by e-mail; the coordinator pasted the quoted answer, marks and all, into a text file.
    visits(
        "pasted out of an answered e-mail",
        ABC,
        {
            "visits.csv": "> Hi Jo, here are mine, pasted from the sheet\n>\n> Pool\tDate\tFound\n"
            "> P1\t12/4/25\tlarvae\n> P2\t12/4/25\tnothing\n> P3\t26/4/25\tlarvae (4)\n"
        },
        [seen("P1", "2025-04-12"), none("P2", "2025-04-12"), seen("P3", "2025-04-26", larvae=4.0)],
        may=[1, 2],
    ),
    # A warden keeps the visits under the pools, on the same sheet.
    visits(
        "the visits under the pools on one sheet",
        {},
        {
            "pools.xlsx": xlsx(
                [
                    ["Pool", "Lat", "Lon", "Container"],
                    ["Ash", 53.5512, 10.0123, "tub"],
                    ["Elm", 53.5623, 10.0234, "bucket"],
                    [],
                    ["Checks"],
                    ["Pool", "Date", "Found"],
                    ["Ash", day(2025, 4, 5), "larvae"],
                    ["Elm", day(2025, 4, 5), "nothing"],
                    ["Ash", day(2025, 5, 3), "dry"],
                ]
            )
        },
        [seen("Ash", "2025-04-05"), none("Elm", "2025-04-05"), other("Ash", "2025-05-03", "dry")],
    ),
    # Two people of a society search on one day, one of them sends her line twice; addresses stand as observers.
    visits(
        "a line sent twice, observers with their e-mail",
        ABC,
        {
            "visits.csv": """Pool,Date,Outcome,No.,Recorder
P1,12/04/2025,larvae,3,ute.berg@example.org
P1,12/04/2025,larvae,3,ute.berg@example.org
P1,12/04/2025,none seen,,jan@example.org
P2,13/04/2025,larvae,2,"Ute Berg <ute.berg@example.org>, Jan"
"""
        },
        [
            seen("P1", "2025-04-12", larvae=3.0),
            none("P1", "2025-04-12"),
            seen("P2", "2025-04-13", larvae=2.0),
        ],
        aside={3: ""},
    ),
    # A shift worker notes the hour too, each time a little differently.
    visits(
        "the hour beside the day",
        ABC,
        {
            "visits.csv": """Pool;Datum/Uhrzeit;Ergebnis
P1;14.4.25 17:30 Uhr;Larven
P2;14.4.25, 18.05 Uhr;keine
P3;Mo 28.4.25 7h15;trocken
P1;28.04.2025 um 19:00;keine
P2;28.4.2025 (abends);Larven
"""
        },
        [
            *[seen("P1", "2025-04-14"), none("P2", "2025-04-14"), other("P3", "2025-04-28", "dry")],
            *[none("P1", "2025-04-28"), seen("P2", "2025-04-28")],
        ],
    ),
]

CASES: list[Case] = [*SHEETS_OF_GRIDS, *LANGUAGES, *PLACES, *TEXTS]
