"""Contacts taken out of files: the cells of columns that say who owns, hosts or how to reach somebody.

A contact, a host, a mail or a telephone becomes blank; an owner becomes "owner 3", the same in every file, so that what
is counted by owner stays as it was. Nothing else of a file changes. Where that can't be done safely, the file says so
and goes apart as a whole.
"""

from __future__ import annotations

import html
import io
import json
import re
import sqlite3
import struct
import zipfile
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import PurePosixPath

from habitatmap.read.headings import ALIASES, CONTACTS, REACH, fold, is_known
from habitatmap.read.readings import HEADS

COLUMNS = OWNER, CONTACT, HOST = CONTACTS
SQLITE = b"SQLite format 3\0"
SHORTEST_NAME = 4  # letters of a contact that is looked for in results
FEWEST_HEADINGS = 2  # filled cells of a row that can be one of headings


class CannotPartError(Exception):
    """A file that holds contacts, or may, and can't be rewritten without them."""


@dataclass
class Contacts:
    """What is a contact: `headings` (folded) with the column that each means; the pseudonyms of owners so far; how many
    cells of each column were taken out of each file; and the `values` of owners and contacts."""

    headings: Mapping[str, str]
    owners: dict[str, str] = field(default_factory=dict)
    taken: dict[str, Counter[str]] = field(default_factory=dict)
    values: set[str] = field(default_factory=set)

    def column(self, heading: object) -> str:
        """Which of COLUMNS a heading means, "" where none."""
        return self.headings.get(fold(str(heading)), "") if heading is not None else ""

    def heads(self, cells: Sequence[str], first: bool) -> dict[int, str]:
        """Which cells of a row are headings of contacts: position -> column; none where the row is none of headings,
        as it has one that is known alone, and is not the `first` row of several cells."""
        filled = [cell for cell in cells if cell]
        found = {at: column for at, cell in enumerate(cells) if cell and (column := self.column(cell))}
        known = sum(bool(self.column(cell)) or is_known(cell) for cell in filled)
        return found if len(filled) >= FEWEST_HEADINGS and (first or known >= FEWEST_HEADINGS) else {}

    def instead(self, column: str, value: str, file: str) -> str:
        """What stands in place of a value."""
        self.taken.setdefault(file, Counter())[column] += 1
        if column != HOST and len(value.strip()) >= SHORTEST_NAME:
            self.values.add(value.strip())
        if column != OWNER:
            return ""
        return self.owners.setdefault(" ".join(value.split()).casefold(), f"owner {len(self.owners) + 1}")


def headings_of_contacts(stated: Mapping[str, Mapping[str, str]], taught: Mapping[str, str]) -> dict[str, str]:
    """Folded heading -> column, of all headings that mean one: those known, those that area.toml states by kind
    (column -> heading), and those that readings.xlsx says (heading -> column)."""
    known = {
        alias: column for column in reversed(COLUMNS) for names in ALIASES.values() for alias in names.get(column, ())
    }
    reach = dict.fromkeys(REACH, CONTACT)
    own = {fold(heading): column for said in stated.values() for column, heading in said.items() if column in COLUMNS}
    told = {fold(heading): column for heading, column in taught.items() if column in COLUMNS}
    return reach | known | own | told


def without_contacts(name: str, data: bytes, contacts: Contacts) -> bytes:
    """A file without its contacts; the very same bytes where it has none.

    Raises CannotPartError where it has, or may have, and can't be rewritten."""
    suffix = PurePosixPath(name).suffix.casefold()
    if suffix in (".csv", ".tsv", ".txt"):
        return _of_text(name, data, contacts)
    if suffix in (".xlsx", ".xlsm") and data.startswith(b"PK"):
        return _of_workbook(name, data, contacts)
    if data.startswith(SQLITE):
        return _of_database(name, data, contacts)
    if suffix == ".dbf":
        return _of_dbf(name, data, contacts)
    if suffix in (".geojson", ".json"):
        return _of_geojson(name, data, contacts)
    if suffix in (".xls", ".ods", ".parquet", ".zip", ".xlsx", ".xlsm"):
        raise CannotPartError
    return data


def names_one(data: bytes, contacts: Contacts) -> bool:
    """Whether a file that was made from others still names an owner or a contact."""
    if not contacts.values:
        return False
    text = _all_text(data)
    spelt = {one for value in contacts.values for one in (value, json.dumps(value)[1:-1], html.escape(value))}
    return re.search(r"(?<!\w)(?:" + "|".join(map(re.escape, sorted(spelt))) + r")(?!\w)", text) is not None


def _all_text(data: bytes) -> str:
    """What a file says, its parts unpacked where it is packed."""
    if not data.startswith(b"PK\x03\x04"):
        return data.decode("utf-8", "replace")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            return "\n".join(packed.read(part).decode("utf-8", "replace") for part in packed.namelist())
    except (zipfile.BadZipFile, RuntimeError, OSError):  # nobody reads anything from it
        return data.decode("utf-8", "replace")


# --- text ------------------------------------------------------------------------------------------------------------


def _of_text(name: str, data: bytes, contacts: Contacts) -> bytes:
    encoding = _encoding(data)
    text = data.decode(encoding)
    spans: list[tuple[int, int, str]] = []
    for sign in _signs_between(text, contacts):
        columns: dict[int, str] = {}
        first = True
        for row in _rows(text, sign):
            cells = [_plain(text[start:end]) for start, end in row]
            found = contacts.heads(cells, first=first)
            first &= sum(map(bool, cells)) < FEWEST_HEADINGS
            if found:
                columns = found
                continue
            for at, column in columns.items():
                if at < len(row) and cells[at]:
                    spans.append((*row[at], contacts.instead(column, cells[at], name)))
    for start, end, new in reversed(spans):
        text = text[:start] + new + text[end:]
    return text.encode(encoding) if spans else data


def _encoding(data: bytes) -> str:
    """One in which every byte comes back as it was."""
    for mark, encoding in ((b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be")):
        if data.startswith(mark):
            return encoding
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return "latin-1"
    return "utf-8"


def _signs_between(text: str, contacts: Contacts) -> Iterator[str]:
    """The sign between cells, by the row that has a heading of a contact and most cells; none where none has."""
    best, most = "", 1
    for sign in ",;\t|":
        for number, row in enumerate(_rows(text, sign)):
            if number > 200:
                break
            if len(row) > most and any(contacts.column(_plain(text[a:b])) for a, b in row):
                best, most = sign, len(row)
    if best:
        yield best


def _rows(text: str, sign: str) -> Iterator[list[tuple[int, int]]]:
    """The cells of each row as spans of the text."""
    cell = re.compile(rf'"(?:[^"]|"")*"[^{re.escape(sign)}\r\n]*|[^{re.escape(sign)}\r\n]*')
    row: list[tuple[int, int]] = []
    at = 1 if text.startswith("\ufeff") else 0
    while True:
        found = cell.match(text, at)
        end = found.end() if found else at
        row.append((at, end))
        at = end
        if at < len(text) and text[at] == sign:
            at += 1
            continue
        yield row
        row = []
        if at >= len(text):
            return
        at += 2 if text.startswith("\r\n", at) else 1


def _plain(cell: str) -> str:
    said = cell.strip()
    return said[1:-1].replace('""', '"').strip() if len(said) > 1 and said[0] == said[-1] == '"' else said


# --- workbooks -------------------------------------------------------------------------------------------------------

_CELL = re.compile(r"<c\b([^>]*?)(?:/>|>(.*?)</c>)", re.DOTALL)
_STRING = re.compile(r"<si\b[^>]*?(?:/>|>.*?</si>)", re.DOTALL)
_TEXT = re.compile(r"<t\b[^>]*?(?:/>|>(.*?)</t>)", re.DOTALL)
_PHONETIC = re.compile(r"<rPh\b.*?</rPh>", re.DOTALL)
_AUTHOR = re.compile(r"(<(dc:creator|cp:lastModifiedBy|Manager|Company)>)[^<]*(</\2>)")
SHARED = "xl/sharedStrings.xml"


def _of_workbook(name: str, data: bytes, contacts: Contacts) -> bytes:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as book:
            infos = book.infolist()
            parts = {info.filename: book.read(info) for info in infos}
    except (zipfile.BadZipFile, RuntimeError, OSError) as fault:
        raise CannotPartError from fault
    shared = [_said(one) for one in _STRING.findall(parts.get(SHARED, b"").decode("utf-8", "replace"))]
    sheets = {part: _decoded(content) for part, content in parts.items() if part.startswith("xl/worksheets/sheet")}
    before = Counter(index for sheet in sheets.values() for index in _indices(sheet))
    made = {part: _of_sheet(name, sheet, shared, contacts) for part, sheet in sheets.items()}
    if made == sheets:
        return data
    if any("omment" in part or part.startswith("xl/persons") for part in parts):
        raise CannotPartError  # a remark at a cell may say what the cell said
    left = {index for sheet in made.values() for index in _indices(sheet)}
    gone = set(before) - left
    parts |= {part: sheet.encode("utf-8") for part, sheet in made.items()}
    if gone:
        numbers = iter(range(len(shared)))
        texts = _decoded(parts[SHARED])
        blanked = _STRING.sub(lambda one: "<si><t/></si>" if next(numbers) in gone else one[0], texts)
        parts[SHARED] = blanked.encode("utf-8")
    for part in ("docProps/core.xml", "docProps/app.xml"):
        if part in parts:
            parts[part] = _AUTHOR.sub(r"\1\3", _decoded(parts[part])).encode("utf-8")
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as book:
        for info in infos:
            copy = zipfile.ZipInfo(info.filename, info.date_time)
            copy.compress_type, copy.external_attr = zipfile.ZIP_DEFLATED, info.external_attr
            book.writestr(copy, parts[info.filename])
    return out.getvalue()


def _decoded(content: bytes) -> str:
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as fault:
        raise CannotPartError from fault


def _said(markup: str) -> str:
    return html.unescape("".join(_TEXT.findall(_PHONETIC.sub("", markup))))


def _indices(sheet: str) -> Iterator[int]:
    """The shared texts that the cells of a sheet show."""
    for attributes, inner in _CELL.findall(sheet):
        if re.search(r'\bt="s"', attributes) and (value := re.search(r"<v>(\d+)</v>", inner)):
            yield int(value[1])


def _of_sheet(name: str, sheet: str, shared: list[str], contacts: Contacts) -> str:
    """A sheet without its contacts. Raises CannotPartError where its cells don't say where they stand."""
    if "<c " not in sheet and "<c>" not in sheet:
        if re.search(r"<\w+:c\b", sheet):
            raise CannotPartError
        return sheet
    cells: dict[int, list[tuple[str, str, re.Match[str]]]] = {}
    for found in _CELL.finditer(sheet):
        place = re.search(r'\br="([A-Z]+)(\d+)"', found[1])
        if place is None:
            raise CannotPartError
        cells.setdefault(int(place[2]), []).append((place[1], _value(found, shared), found))
    columns: dict[str, str] = {}
    first = True
    samples = ""  # the column of readings.xlsx that shows what stands below a heading
    changes: list[tuple[int, int, str]] = []
    for row in sorted(cells):
        texts = [said for _, said, _ in cells[row]]
        heads = {} if samples else contacts.heads(texts, first=first)
        if first and HEADS["cells"] in texts:
            samples = cells[row][texts.index(HEADS["cells"])][0]
        elif samples:
            column = next(filter(None, map(contacts.column, texts)), "")
            columns = {samples: column} if column else {}
        first &= sum(map(bool, texts)) < FEWEST_HEADINGS
        if heads:
            columns = {cells[row][at][0]: column for at, column in heads.items()}
            continue
        for at, said, found in cells[row]:
            if at in columns and said:
                if "<f" in (found[2] or ""):
                    raise CannotPartError  # other cells may be calculated from it
                attributes = re.sub(r'\s+t="[^"]*"', "", found[1])
                new = contacts.instead(columns[at], said, name)
                inner = f' t="inlineStr"><is><t>{new}</t></is></c>' if new else "/>"
                changes.append((found.start(), found.end(), f"<c{attributes}{inner}"))
    for start, end, text in sorted(changes, reverse=True):
        sheet = sheet[:start] + text + sheet[end:]
    return sheet


def _value(cell: re.Match[str], shared: list[str]) -> str:
    inner = cell[2] or ""
    value = re.search(r"<v\b[^>]*>(.*?)</v>", inner, re.DOTALL)
    if re.search(r'\bt="s"', cell[1]):
        index = int(value[1]) if value and value[1].isdecimal() else -1
        return shared[index].strip() if 0 <= index < len(shared) else ""
    return (_said(inner) if "<is" in inner else html.unescape(value[1]) if value else "").strip()


# --- databases, tables of shapefiles, GeoJSON ------------------------------------------------------------------------


def _of_database(name: str, data: bytes, contacts: Contacts) -> bytes:
    with closing(sqlite3.connect(":memory:")) as base:
        try:
            base.deserialize(data)
            base.execute("PRAGMA secure_delete = ON")
            tables = [str(row[0]) for row in base.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
            # triggers of a GeoPackage ask these of shapes, and no shape is changed here
            for function in ("ST_IsEmpty", "ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY"):
                base.create_function(function, 1, lambda _: None)
            done = [_of_table(name, base, table, contacts) for table in tables if not table.startswith("sqlite_")]
            if not any(done):
                return data
            base.commit()
            base.execute("VACUUM")
            return bytes(base.serialize())
        except sqlite3.DatabaseError as fault:
            raise CannotPartError from fault


def _of_table(name: str, base: sqlite3.Connection, table: str, contacts: Contacts) -> bool:
    quoted = '"' + table.replace('"', '""') + '"'
    heads = [str(row[1]) for row in base.execute(f"PRAGMA table_info({quoted})")]
    found = False
    for heading in heads:
        column = contacts.column(heading)
        if not column or table.startswith("gpkg_"):
            continue
        at = '"' + heading.replace('"', '""') + '"'
        for rowid, value in base.execute(f"SELECT rowid, {at} FROM {quoted} WHERE {at} IS NOT NULL").fetchall():
            if str(value).strip():
                new = contacts.instead(column, str(value), name) or None
                base.execute(f"UPDATE {quoted} SET {at} = ? WHERE rowid = ?", (new, rowid))
                found = True
    return found


def _of_dbf(name: str, data: bytes, contacts: Contacts) -> bytes:
    if len(data) < 33:
        raise CannotPartError
    rows, head, size = struct.unpack("<IHH", data[4:12])
    out, at, start = bytearray(data), 32, 1
    while at + 32 <= len(data) and data[at] != 0x0D:
        heading = data[at : at + 11].split(b"\0")[0].decode("latin-1")
        width, column = data[at + 16], contacts.column(heading)
        for row in range(rows if column else 0):
            first = head + row * size + start
            said = bytes(out[first : first + width]).decode("latin-1").strip(" \0")
            if said:
                new = contacts.instead(column, said, name).encode("ascii")
                if len(new) > width:
                    raise CannotPartError
                out[first : first + width] = new.ljust(width)
        start, at = start + width, at + 32
    return bytes(out)


def _of_geojson(name: str, data: bytes, contacts: Contacts) -> bytes:
    try:
        tree = json.loads(data.decode("utf-8-sig"))
        rows = [feature["properties"] for feature in tree["features"]]
    except (ValueError, KeyError, TypeError) as fault:
        if name.casefold().endswith(".geojson"):
            raise CannotPartError from fault
        return data
    found = False
    for row in rows:
        for heading, value in (row or {}).items():
            column = contacts.column(heading)
            if column and value is not None and str(value).strip():
                row[heading] = contacts.instead(column, str(value), name) or None
                found = True
    return json.dumps(tree, ensure_ascii=False).encode("utf-8") if found else data
