"""GIS files: attributes in databases and in the tables of shapefiles."""

from __future__ import annotations

import sqlite3
import struct

from habitatmap.persons.packed import CannotReadError
from habitatmap.persons.texts import Edit, always, with_spans
from habitatmap.sentences import Sentence, say

SQLITE = b"SQLite format 3\0"


class CannotChangeError(Exception):
    """A file that names the person and can't be rewritten safely, and what to do by hand."""

    def __init__(self, remedy: Sentence) -> None:
        super().__init__(remedy)
        self.remedy = remedy


def edit_sqlite(data: bytes, edit: Edit) -> bytes:
    """A GeoPackage or other database with the spans of all its texts changed. What was there before is not left in
    free pages. Raises CannotReadError, or CannotChangeError where a name of a table or column names the person."""
    base = sqlite3.connect(":memory:")
    try:
        try:
            base.deserialize(data)
            tables = [
                (str(name), str(sql))
                for name, sql in base.execute("SELECT name, sql FROM sqlite_master WHERE type = 'table'")
            ]
            base.execute("PRAGMA secure_delete = ON")
        except sqlite3.DatabaseError as fault:
            raise CannotReadError(say("it can't be opened as a database ({fault})", fault=str(fault))) from fault
        # triggers of a GeoPackage ask these of shapes, and no shape is changed here
        for name, values in (("ST_IsEmpty", 1), ("ST_MinX", 1), ("ST_MaxX", 1), ("ST_MinY", 1), ("ST_MaxY", 1)):
            base.create_function(name, values, lambda _: None)
        changed = False
        for name, sql in tables:
            if edit(sql, always("the heading of {table}", table=name)):
                raise CannotChangeError(Sentence("a table or column of it bears the name: rename it in a GIS program"))
            if name.startswith(("sqlite_", "rtree_")) or "VIRTUAL TABLE" in sql.upper():
                continue
            changed |= _edit_table(base, name, edit)
        if not changed:
            return data
        base.commit()
        base.execute("VACUUM")
        return bytes(base.serialize())
    finally:
        base.close()


def _edit_table(base: sqlite3.Connection, table: str, edit: Edit) -> bool:
    quoted = _quoted(table)
    columns = [str(row[1]) for row in base.execute(f"PRAGMA table_info({quoted})")]
    changes = []
    try:
        rows = base.execute(f"SELECT rowid, {', '.join(map(_quoted, columns))} FROM {quoted}").fetchall()
    except sqlite3.OperationalError:  # a table without row numbers, none of those of a GeoPackage
        return False
    for rowid, *cells in rows:
        for column, cell in zip(columns, cells, strict=True):
            if isinstance(cell, str):
                spot = always("{table}, row {row}, {column}", table=table, row=str(rowid), column=column)
                if spans := edit(cell, spot):
                    changes.append((column, with_spans(cell, spans), rowid))
    for column, text, rowid in changes:
        base.execute(f"UPDATE {quoted} SET {_quoted(column)} = ? WHERE rowid = ?", (text, rowid))
    return bool(changes)


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def edit_dbf(data: bytes, edit: Edit) -> bytes:
    """The table of a shapefile with the spans of its texts changed.

    Raises CannotReadError, or CannotChangeError where what is new is longer than the column.
    """
    if len(data) < 33:
        raise CannotReadError(Sentence("it is no table of a shapefile"))
    rows, head, size = struct.unpack("<IHH", data[4:12])
    fields, at, start = [], 32, 1
    while at + 32 <= len(data) and data[at] != 0x0D:
        name, kind, width = data[at : at + 11].split(b"\0")[0].decode("latin-1"), data[at + 11 : at + 12], data[at + 16]
        fields.append((name, kind, start, width))
        start, at = start + width, at + 32
    out = bytearray(data)
    for row in range(rows):
        for name, kind, first, width in fields:
            begin = head + row * size + first
            cell = bytes(out[begin : begin + width])
            if kind != b"C" or not cell.strip():
                continue
            for encoding in ("utf-8", "cp1252", "cp850"):
                try:
                    text = cell.decode(encoding).rstrip(" \0")
                except UnicodeDecodeError:
                    continue
                spot = always("row {row}, {column}", row=str(row + 1), column=name)
                if spans := edit(text, spot):
                    new = with_spans(text, spans).encode(encoding)
                    if len(new) > width:
                        raise CannotChangeError(
                            say("its column {name} is too narrow for what would stand there: widen it", name=name)
                        )
                    out[begin : begin + width] = new.ljust(width)
                break
    return bytes(out)
