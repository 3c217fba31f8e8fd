"""Writes small tables as people send them: text in any encoding, workbooks old and new, map layers, archives."""

from __future__ import annotations

import struct
import tempfile
import warnings
import zipfile
from collections.abc import Sequence
from io import BytesIO
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import xlsxwriter
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableCell, TableRow
from odf.text import P

Rows = Sequence[Sequence[Any]]


def cells(block: str) -> list[list[Any]]:
    """Lines of cells parted by |, as rows: numbers become numbers, an empty cell None."""
    return [[_value(cell.strip()) for cell in line.split("|")] for line in block.strip("\n").split("\n")]


def _value(cell: str) -> Any:
    if not cell:
        return None
    try:
        return float(cell) if "." in cell or "e" in cell else int(cell)
    except ValueError:
        return cell


def lines(rows: Rows, delimiter: str = ",", newline: str = "\n") -> str:
    """Rows as text, without a quote anywhere."""
    return "".join(delimiter.join("" if c is None else str(c) for c in row) + newline for row in rows)


def xlsx(sheets: Rows | dict[str, Rows], *, hidden: Sequence[str] = (), merged: str = "", old: bool = False) -> bytes:
    """A workbook. A date is written as one; "=..." as a formula without a stored value, "#..." as an error's value.

    `merged` is a range of the first sheet ("A2:A4"), `old` counts days from 1904 as early Macintoshes did.
    """
    out = BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True, "date_1904": old})
    day = book.add_format({"num_format": "yyyy-mm-dd"})
    for name, rows in (sheets if isinstance(sheets, dict) else {"Sheet1": sheets}).items():
        sheet = book.add_worksheet(name)
        for r, row in enumerate(rows):
            for c, cell in enumerate(row):
                if hasattr(cell, "year"):
                    sheet.write_datetime(r, c, cell, day)
                elif isinstance(cell, str) and cell.startswith("="):
                    sheet.write_formula(r, c, cell, None, "")
                elif isinstance(cell, str) and cell.startswith("#") and cell.isupper():
                    sheet.write_formula(r, c, "=NA()", None, cell)
                elif cell is not None:
                    sheet.write(r, c, cell)
        if name in hidden:
            sheet.hide()
    if merged:
        first = book.worksheets()[0]
        corner = sheets[1][0] if not isinstance(sheets, dict) else ""
        first.merge_range(merged, corner)
    book.close()
    return out.getvalue()


def ods(rows: Rows) -> bytes:
    """A spreadsheet as free office suites write it."""
    book = OpenDocumentSpreadsheet()
    sheet = Table(name="Sheet1")
    for row in rows:
        line = TableRow()
        for cell in row:
            if cell is None:
                one = TableCell()
            elif hasattr(cell, "year"):
                one = TableCell(valuetype="date", datevalue=cell.isoformat())
                one.addElement(P(text=cell.strftime("%d.%m.%y")))
            elif isinstance(cell, (int, float)):
                one = TableCell(valuetype="float", value=repr(cell))
                one.addElement(P(text=str(cell)))
            else:
                one = TableCell(valuetype="string")
                one.addElement(P(text=str(cell)))
            line.addElement(one)
        sheet.addElement(line)
    book.spreadsheet.addElement(sheet)
    out = BytesIO()
    book.write(out)
    return out.getvalue()


def xls(rows: Rows) -> bytes:
    """A workbook of 1997: one BIFF8 stream in a compound file of 512 byte sectors ([MS-XLS], [MS-CFB])."""

    def record(kind: int, body: bytes) -> bytes:
        return struct.pack("<HH", kind, len(body)) + body

    def start(what: int) -> bytes:
        return record(0x809, struct.pack("<HHHHII", 0x600, what, 0, 1997, 0, 6))

    found = b"".join(
        record(0x203, struct.pack("<HHHd", r, c, 0, cell))
        if isinstance(cell, (int, float))
        else record(0x204, struct.pack("<HHHHB", r, c, 0, len(str(cell)), 1) + str(cell).encode("utf-16-le"))
        for r, row in enumerate(rows)
        for c, cell in enumerate(row)
        if cell is not None
    )
    head, page, end = start(5), record(0x42, struct.pack("<H", 1200)), record(0x0A, b"")
    name = struct.pack("<BB", 1, 0) + b"A"
    at = len(head) + len(page) + 4 + 6 + len(name) + len(end)
    stream = head + page + record(0x85, struct.pack("<IBB", at, 0, 0) + name) + end
    stream += start(0x10) + found + end
    # a stream of less than 4096 bytes would have to live in a second, smaller file system
    stream = stream.ljust(max(4096, -(-len(stream) // 512) * 512), b"\0")
    sectors = len(stream) // 512
    fat = [0xFFFFFFFD, 0xFFFFFFFE, *range(3, sectors + 2), 0xFFFFFFFE]
    fat += [0xFFFFFFFF] * (128 - len(fat))

    def entry(title: str, kind: int, child: int, first: int, size: int) -> bytes:
        wide = title.encode("utf-16-le")
        named = wide.ljust(64, b"\0") + struct.pack("<HBBIII", len(wide) + 2, kind, 1, 0xFFFFFFFF, 0xFFFFFFFF, child)
        return named + b"\0" * 36 + struct.pack("<IQ", first, size)

    empty = b"\0" * 66 + struct.pack("<BBIII", 0, 1, *[0xFFFFFFFF] * 3) + b"\0" * 48
    folder = entry("Root Entry", 5, 1, 0xFFFFFFFE, 0) + entry("Workbook", 2, 0xFFFFFFFF, 2, len(stream)) + empty * 2
    header = bytes.fromhex("d0cf11e0a1b11ae1") + b"\0" * 16 + struct.pack("<HHHHH", 0x3E, 3, 0xFFFE, 9, 6) + b"\0" * 6
    header += struct.pack("<IIIIIIIII", 0, 1, 1, 0, 4096, 0xFFFFFFFE, 0, 0xFFFFFFFE, 0)
    header += struct.pack("<109I", 0, *[0xFFFFFFFF] * 108)
    return header + struct.pack("<128I", *fat) + folder + stream


def layer(name: str, shapes: Sequence[Any], crs: str | None, /, **columns: Sequence[Any]) -> dict[str, bytes]:
    """A map layer under this file name; a shapefile comes as the several files it is."""
    frame = gpd.GeoDataFrame(columns, geometry=list(shapes), crs=crs)
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        # some layers are to have no system
        warnings.filterwarnings("ignore", message="'crs' was not provided")
        path = Path(folder) / name
        if path.suffix == ".parquet":
            frame.to_parquet(path)
        else:
            frame.to_file(path)
        return {p.name: p.read_bytes() for p in sorted(Path(folder).iterdir())}


def parquet(rows: Rows) -> bytes:
    """A parquet table without geometry; the first row are the headings."""
    out = BytesIO()
    pd.DataFrame(list(rows[1:]), columns=list(rows[0])).to_parquet(out, index=False)
    return out.getvalue()


def zipped(**files: bytes) -> bytes:
    """An archive: a__b_csv stands for a/b.csv, since a name of an argument can't hold a dot."""
    out = BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            stem, _, suffix = name.replace("__", "/").rpartition("_")
            archive.writestr(f"{stem}.{suffix}", content)
    return out.getvalue()
