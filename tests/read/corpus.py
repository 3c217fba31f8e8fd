"""Small files as volunteers and offices send them, each with its true rows; written without having seen the reader.

All pools lie at three invented spots near 10 E, 53.5 N, so that a case need only say which names it must give back.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from io import BytesIO
from typing import Any

import openpyxl
from pyproj import Transformer

AREA_TOML = 'title = "Corpus"\ncrs = "EPSG:25832"\nas_of = 2025-06-30\n'
SPOTS = {"P1": (10.0123, 53.5512), "P2": (10.0234, 53.5623), "P3": (10.0345, 53.5734)}
METRES = Transformer.from_crs(4326, 25832, always_xy=True)
POOLS = "pool,lon,lat\nP1,10.0123,53.5512\nP2,10.0234,53.5623\nP3,10.0345,53.5734\n"


@dataclass(frozen=True)
class Case:
    """One folder: its files; of one kind, the names accepted, the rows set aside, and columns with values."""

    name: str
    files: dict[str, bytes]
    accepted: list[str]
    aside: list[int] = field(default_factory=list)
    kind: str = "pools"
    values: dict[str, list[Any]] = field(default_factory=dict)


def pools(
    name: str, content: str | bytes, accepted: str = "P1 P2 P3", aside: tuple[int, ...] = (), **values: Any
) -> Case:
    raw = content.encode() if isinstance(content, str) else content
    return Case(name, {"pools.csv": raw}, accepted.split(), list(aside), "pools", values)


def visits(name: str, content: str, accepted: str, aside: tuple[int, ...] = (), **values: Any) -> Case:
    files = {"pools.csv": POOLS.encode(), "visits.csv": content.encode()}
    return Case(name, files, accepted.split(), list(aside), "visits", values)


def book(rows: list[list[Any]], *, hidden: bool = False) -> bytes:
    """A workbook of one sheet, and of a second, hidden one when asked."""
    made = openpyxl.Workbook()
    sheet = made.active
    for row in rows:
        sheet.append(row)
    if hidden:
        other = made.create_sheet("old")
        other.append(["pool", "lon", "lat"])
        other.append(["P9", 10.0, 53.5])
        other.sheet_state = "hidden"
    out = BytesIO()
    made.save(out)
    return out.getvalue()


def one_cell(name: str, heading: str, writings: list[str], accepted: str = "P1 P2 P3") -> Case:
    """Pools whose place stands in a single column, in any writing."""
    lines = [f"pool;{heading}"] + [f"P{i};{text}" for i, text in enumerate(writings, start=1)]
    return pools(name, "\n".join(lines) + "\n", accepted)


def headed(name: str, pool: str, lon: str, lat: str) -> Case:
    return pools(f"headings {name}", POOLS.replace("pool,lon,lat", f"{pool},{lon},{lat}"))


def outcome(name: str, said: str, means: str) -> Case:
    return visits(f"outcome {name}", f"pool,date,outcome\nP1,2025-05-20,{said}\n", "P1", outcome=[means])


def dated(name: str, said: str, means: str) -> Case:
    return visits(f"date {name}", f"pool;date;outcome\nP1;{said};larvae\n", "P1", date=[means])


def undated(name: str, said: str) -> Case:
    return visits(f"date {name}", f"pool;date;outcome\nP1;{said};larvae\n", "", (2,))


HEAD, *BODY = POOLS.splitlines()
SEMI = POOLS.replace(",", ";")
DEGREES = list(SPOTS.values())
ROWS: list[list[Any]] = [["pool", "lon", "lat"], *[[name, *spot] for name, spot in SPOTS.items()]]
EN = [METRES.transform(*spot) for spot in DEGREES]

CASES: list[Case] = [
    pools("plain", POOLS),
    pools("bom", POOLS.encode("utf-8-sig")),
    pools("utf-16", POOLS.encode("utf-16")),
    pools("cp1252", POOLS.replace("P1", "Höhle").encode("cp1252"), "Höhle P2 P3"),
    pools("semicolon", SEMI),
    pools("tab", POOLS.replace(",", "\t")),
    pools("pipe", POOLS.replace(",", "|")),
    pools("decimal comma", SEMI.replace(".", ",")),
    pools("cr only", POOLS.replace("\n", "\r")),
    pools("crlf", POOLS.replace("\n", "\r\n")),
    pools("wrapped whole", "\n".join(f'"{line}"' for line in POOLS.splitlines()) + "\n"),
    pools("embedded newline", f'{HEAD},note\n{BODY[0]},"two\nlines"\n{BODY[1]},\n{BODY[2]},\n'),
    pools("open quote", f'{HEAD},note\n{BODY[0]},"left open\n{BODY[1]},\n{BODY[2]},\n'),
    pools("preamble", f"Pools of our group\nspring 2025\n\n{POOLS}"),
    pools("repeated heading", f"{HEAD}\n{BODY[0]}\n{HEAD}\n{BODY[1]}\n{BODY[2]}\n", aside=(3,)),
    pools("total row", f"{POOLS}Total,,3\n", aside=(5,)),
    pools("comment", f"# from the office\n{POOLS}"),
    pools("blank line", f"{HEAD}\n{BODY[0]}\n\n{BODY[1]}\n{BODY[2]}\n"),
    pools("blank heading", f"{HEAD},\n{BODY[0]},a\n{BODY[1]},b\n{BODY[2]},c\n"),
    pools("no name", f"{POOLS},10.04,53.58\n", aside=(5,)),
    pools("no place", f"{POOLS}P4,,\n", aside=(5,)),
    pools("identical twice", f"{POOLS}{BODY[0]}\n", aside=(5,)),
    pools("two places", f"{POOLS}P1,10.05,53.59\n", "P2 P3", (2, 5)),
    pools("leading zeros", POOLS.replace("P1", "007"), "007 P2 P3"),
    pools("impossible place", f"{POOLS}P4,210.5,99.1\n", aside=(5,)),
    headed("German", "Becken", "Länge", "Breite"),
    headed("French", "mare", "longitude", "latitude"),
    headed("Dutch", "poel", "lengtegraad", "breedtegraad"),
    headed("Spanish", "charca", "longitud", "latitud"),
    headed("Finnish", "lammikko", "pituusaste", "leveysaste"),
    one_cell("both, comma", "coordinates", [f"{y}, {x}" for x, y in DEGREES]),
    one_cell("hemispheres", "coordinates", [f"{y} N {x} E" for x, y in DEGREES]),
    one_cell("WKT", "geometry", [f"POINT ({x} {y})" for x, y in DEGREES]),
    one_cell("EWKT", "geometry", [f'"SRID=4326;POINT({x} {y})"' for x, y in DEGREES]),
    pools("metres", "pool,x,y\n" + "".join(f"P{i},{x:.2f},{y:.2f}\n" for i, (x, y) in enumerate(EN, 1))),
    pools("swapped columns", "pool,lat,lon\n" + "".join(f"P{i},{y},{x}\n" for i, (x, y) in enumerate(DEGREES, 1))),
    Case("workbook", {"pools.xlsx": book(ROWS)}, ["P1", "P2", "P3"]),
    Case("workbook title", {"pools.xlsx": book([["Our pools"], [], *ROWS])}, ["P1", "P2", "P3"]),
    Case("workbook hidden", {"pools.xlsx": book(ROWS, hidden=True)}, ["P1", "P2", "P3"]),
    Case("workbook error cell", {"pools.xlsx": book([*ROWS, ["P4", "#N/A", 53.5]])}, ["P1", "P2", "P3"], [5]),
    dated("iso", "2025-05-20", "2025-05-20"),
    dated("german", "20.05.2025", "2025-05-20"),
    dated("slashes, day proven", "20/05/2025", "2025-05-20"),
    dated("month first, proven", "05/20/2025", "2025-05-20"),
    dated("month name", "20 May 2025", "2025-05-20"),
    dated("French month", "20 mai 2025", "2025-05-20"),
    dated("serial", "45797", "2025-05-20"),
    undated("ambiguous", "05/06/2025"),
    undated("no year", "20 May"),
    undated("impossible", "31.02.2025"),
    undated("blank", ""),
    outcome("English", "none seen", "none seen"),
    outcome("dry", "dry", "dry"),
    outcome("German", "trocken", "dry"),
    outcome("French", "larves", "larvae"),
    outcome("Dutch", "droog", "dry"),
    outcome("Spanish", "seco", "dry"),
    outcome("Finnish", "kuiva", "dry"),
    visits("blank outcome", "pool,date,outcome\nP1,2025-05-20,\n", "", (2,)),
    visits("unknown pool", "pool,date,outcome\nP8,2025-05-20,dry\n", "", (2,)),
    visits("same visit twice", "pool,date,outcome\nP1,2025-05-20,dry\nP1,2025-05-20,dry\n", "P1", (3,)),
    visits("two looks a day", "pool,date,outcome\nP1,2025-05-20,dry\nP1,2025-05-20,larvae\n", "P1 P1"),
    visits("count", "pool,date,outcome,larvae\nP1,2025-05-20,larvae,7\n", "P1", larvae=[7.0]),
]
