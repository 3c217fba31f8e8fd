"""An area in which one person stands in every place that anybody thought of; and a search of its own."""

from __future__ import annotations

import io
import re
import sqlite3
import tarfile
import zipfile
from collections.abc import Iterator
from pathlib import Path

import geopandas as gpd
import numpy as np
from openpyxl import Workbook
from openpyxl.cell.rich_text import CellRichText, TextBlock
from openpyxl.cell.text import InlineFont
from openpyxl.comments import Comment
from PIL import Image, PngImagePlugin
from pypdf import PdfReader
from shapely import Point, box

from tests.areas import CRS, LEFT, TOP, centre, class_table, csv_text, write_area

NAME, MAIL, PHONE = "Zoë Quillfeather", "zoe.q@mail.example", "+49 171 2345678"
# what must be found nowhere: parts of the name without accents, and digits of the number without blanks
TRACES = (b"quillfeather", b"zoe.q@mail", b"1712345678")


def write_hostile(folder: Path) -> Path:
    """The area: ten pools, visits by four people in three files, and the person in all kinds of files besides."""
    pools = [
        (f"P{i}", *centre(4 + 5 * (i // 5), 4 + 5 * (i % 5)), "2024-03-01", "no", NAME if i == 3 else "Ben Ott")
        for i in range(10)
    ]
    days = ["2024-05-03", "2024-06-07", "2024-07-11", "2024-08-15"]
    people = [NAME, "Ben Ott", "zoe quillfeather", "Cai Dunn"]
    classes = np.full((40, 60), 1, np.uint8)
    write_area(
        folder,
        classes,
        class_table({1: 0.6}),
        pools=csv_text("pool,x,y,set_out,private,host", pools),
        visits=csv_text(
            "pool,date,outcome,observer,note,photo",
            [_visit(i, j, days[j], people) for i in range(10) for j in range(4)],
        ),
        toml=f'[plan]\npools = 2\nobjective = "reach"\n[rounds]\npeople = ["{NAME}", "Ben Ott"]\n',
    )
    own = f"pool;date;outcome;observer\nP1;2024-09-01;larvae;{NAME}\nP2;2024-09-01;none seen;ZOË QUILLFEATHER\n"
    (folder / f"visits ({NAME}).csv").write_bytes(own.encode("cp1252"))
    (folder / "notes.txt").write_text(f"call {NAME} on 0171 / 234 56 78, or {MAIL.upper()}\n", encoding="utf-16")
    (folder / "old.txt").write_bytes(f"thanks to {NAME}\n".encode("cp850"))
    (folder / "escaped.json").write_text('{"by": "Zo\\u00eb Quillfeather"}', encoding="ascii")
    (folder / "letter.html").write_text("<p>Zo&euml;&nbsp;Quillfeather</p>", encoding="ascii")
    _workbook(folder / "visits_more.xlsx")
    with zipfile.ZipFile(folder / "attic.zip", "w") as archive:
        archive.writestr(f"{NAME}/readme.txt", f"{NAME}\n{MAIL}")
        inner = io.BytesIO()
        with zipfile.ZipFile(inner, "w") as deeper:
            deeper.writestr("list.csv", f"who\n{NAME}\n", zipfile.ZIP_DEFLATED)
        archive.writestr("deeper.zip", inner.getvalue())
    land = gpd.GeoDataFrame(
        {"name": ["Common"], "consent": ["yes"], "owner": [NAME], "contact": [f"{MAIL}, {PHONE}"]},
        geometry=[box(LEFT, TOP - 400, LEFT + 600, TOP)],
        crs=CRS,
    )
    land.to_file(folder / "land.gpkg")
    gpd.GeoDataFrame(
        {"genus": ["Fagus"], "remark": [f"shown by {NAME}"]}, geometry=[Point(LEFT + 50, TOP - 50)], crs=CRS
    ).to_file(folder / "trees.shp")
    photos = folder / "photos"
    photos.mkdir()
    tags = Image.Exif()
    tags[0x013B], tags[0x9C9D] = NAME.encode("utf-8"), NAME.encode("utf-16-le")
    Image.new("RGB", (40, 30), "#446688").save(photos / "zoe_quillfeather_1.jpg", exif=tags)
    about = PngImagePlugin.PngInfo()
    about.add_itxt("Author", NAME, zip=True)
    about.add_text("Title", f"by {NAME}")
    Image.new("RGB", (40, 30), "#446688").save(photos / "pool.png", pnginfo=about)
    return folder


def _visit(pool: int, turn: int, day: str, people: list[str]) -> tuple[str, ...]:
    first = pool == turn == 0
    note, photo = f"met Quillfeather, Zoë ({PHONE})", "zoe_quillfeather_1.jpg"
    outcome = "larvae" if (pool + turn) % 3 else "none seen"
    return f"P{pool}", day, outcome, people[(pool * 4 + turn) % 4], note * first, photo * first


def _workbook(path: Path) -> None:
    book = Workbook()
    sheet = book.active
    sheet.title = "visits"
    sheet.append(["pool", "date", "outcome", "observer", "note"])
    sheet.append(
        [
            "P4",
            "2024-09-02",
            "larvae",
            NAME,
            CellRichText("with ", TextBlock(InlineFont(b=True), "Zoë "), "Quillfeather"),
        ]
    )
    sheet.append(["P5", "2024-09-02", "none seen", "Ben Ott", 491712345678])
    sheet["A2"].comment = Comment(f"{NAME} said so", NAME)
    sheet["D4"] = f'=IF(1=1,"{NAME}","")'
    hidden = book.create_sheet("attic")
    hidden.sheet_state = "hidden"
    hidden["A1"] = f"{NAME}, {MAIL}"
    book.properties.creator = book.properties.lastModifiedBy = NAME
    sheet.oddHeader.center.text = NAME
    book.save(path)


# --- a search of our own ---------------------------------------------------------------------------------------------


def traces(folder: Path) -> list[str]:
    """Where bytes of the person are left: in names and contents of all files, unpacked as far as they go."""
    found = []
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if _has(name.encode()):
            found.append(f"{name} (name)")
        if path.is_file():
            found += [f"{name}{inner}" for inner in _in(path.read_bytes())]
    return found


def _in(data: bytes) -> Iterator[str]:
    if _has(data):
        yield ""
    if zipfile.is_zipfile(io.BytesIO(data)):
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            for info in archive.infolist():
                yield from ("!name" for _ in [0] if _has(info.filename.encode()))
                yield from (f"!{info.filename}{inner}" for inner in _in(archive.read(info)))
    if data.startswith(b"%PDF"):
        text = "".join(page.extract_text() for page in PdfReader(io.BytesIO(data)).pages)
        yield from ("!text" for _ in [0] if _has(text.encode()))
    if data.startswith(b"\x89PNG"):
        yield from ("!text" for _ in [0] if _has(repr(Image.open(io.BytesIO(data)).info).encode()))
    if data[:15] == b"SQLite format 3":
        base = sqlite3.connect(":memory:")
        base.deserialize(data)
        yield from ("!dump" for _ in [0] if _has("\n".join(_dump(base)).encode("utf-8", "replace")))
    if tarfile.is_tarfile(io.BytesIO(data)):
        raise AssertionError("a kind of file that this search does not open")


def _dump(base: sqlite3.Connection) -> Iterator[str]:
    for (table,) in base.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall():
        if "rtree" not in table:
            yield from (repr(row) for row in base.execute(f'SELECT * FROM "{table}"'))


def _has(data: bytes) -> bool:
    """Whether a trace is there in any encoding, letters of the name by letters or by their escapes."""
    for plain in (data, data.replace(b"\0", b"")):
        low = re.sub(rb"<[^<>]*>", b"", plain.lower())
        digits = re.sub(rb"[ ()/.-]", b"", low)
        if any(trace in low for trace in TRACES[:2]) or TRACES[2] in digits:
            return True
    return False
