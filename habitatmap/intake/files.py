"""Finds the inputs of an area and reads any of their formats into `Table`s, cell by cell and losing no row.

Text files are read with the standard library's csv module: every faster reader tried drops or guesses something.
"""

from __future__ import annotations

import codecs
import csv
import datetime
import io
import re
import unicodedata
import zipfile
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

import geopandas
import pandas as pd
import pyogrio
import python_calamine
from pyproj import CRS

from habitatmap.errors import InputError, why
from habitatmap.errors.why import Why
from habitatmap.intake.headings import fold, is_known
from habitatmap.intake.ledger import as_text
from habitatmap.intake.tables import Table

TEXT_SUFFIXES = (".csv", ".tsv", ".txt")
SHEET_SUFFIXES = (".xlsx", ".xlsm", ".xls", ".ods")
VECTOR_SUFFIXES = (".gpkg", ".geojson", ".shp")
SUFFIXES = (*TEXT_SUFFIXES, *SHEET_SUFFIXES, *VECTOR_SUFFIXES, ".parquet")

# a workbook is a zip: what it may unpack to before it counts as a trap
LARGEST_UNPACKED = 2_000_000_000
MOST_COLUMNS = 2_000
# titles and notes above the headings: so many filled rows are looked through
DEEPEST_HEADING = 40

_TOTALS = re.compile(
    r"(grand |sub ?)?(totals?|sum|summe|gesamt|gesamtsumme|insgesamt|zwischensumme|somme|total general|total général|"
    r"totaal|som|suma|yhteensä|summa|mean|average|mittelwert|durchschnitt|moyenne|gemiddelde|media|promedio|keskiarvo)"
    r"\s*[:=]?\s*[\d.,\s]*$",
    re.IGNORECASE,
)


# ---------------------------------------------------------------------------------------------------------------------
# Finding
# ---------------------------------------------------------------------------------------------------------------------


def find_inputs(folder: Path, kind: str) -> list[Path]:
    """The area's files of one kind in the order of their names: `pools.*`, `pools_*.*`, in any format we read."""
    found = []
    for path in folder.iterdir():
        stem = path.stem.casefold()
        # land_cover.gpkg is no land register, whatever its first word
        if kind == "land" and stem.startswith("land_cover"):
            continue
        if (stem == kind or stem.startswith(f"{kind}_")) and path.suffix.casefold() in SUFFIXES and path.is_file():
            found.append(path)
    return sorted(found, key=lambda p: p.name)


def read_tables(path: Path, known: Iterable[str] = ()) -> list[Table]:
    """Every table of a file: one for a text file, one for each visible sheet or layer that is not empty.

    known: headings that area.toml states for this kind, which help to find the row of headings. InputError, with one
    sentence, where the file cannot be read.
    """
    stated = frozenset(fold(heading) for heading in known)
    suffix = path.suffix.casefold()
    try:
        with path.open("rb") as file:
            start = file.read(8)
    except OSError as error:
        raise InputError(f"{path.name} cannot be opened ({error.strerror}); check the file and its rights") from error
    if not start:
        raise InputError(f"{path.name} is empty (0 bytes); put a table with a row of headings there, or delete it")
    if suffix in VECTOR_SUFFIXES:
        return _read_vector(path)
    if suffix == ".parquet":
        return [_read_parquet(path)]
    # a workbook that was renamed to .csv is still a workbook
    if suffix in SHEET_SUFFIXES or start.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        return _read_workbook(path, stated)
    return [_read_text(path, stated)]


# ---------------------------------------------------------------------------------------------------------------------
# Cells and rows, the same for every format
# ---------------------------------------------------------------------------------------------------------------------

_FORMULA = re.compile(r"'*\s*[=+\-@＝＋－＠]|'*[\t\r\n|]")


def guard(text: str) -> str:
    """Text that no spreadsheet will run: a leading apostrophe where it could be taken for a formula."""
    return f"'{text}" if _FORMULA.match(text) else text


def unguard(text: str) -> str:
    """Takes away the apostrophe that `guard` put there; unguard(guard(text)) == text for every text."""
    return text[1:] if text.startswith("'") and _FORMULA.match(text[1:]) else text


# what spreadsheets write where a formula failed
_ERRORS = frozenset("#N/A #NV #REF! #BEZUG! #VALUE! #WERT! #DIV/0! #NAME? #NULL! #NUM! #ZAHL! #####".split())
_INVISIBLE = dict.fromkeys(map(ord, "\u200b\u200c\u200e\u200f\ufeff\u2060"), None)


def clean(cell: Any) -> Any:
    """A cell without padding and invisible marks, its apostrophe guard undone; None where it is blank."""
    if isinstance(cell, str):
        if cell.isascii() and cell[:1].isalnum():  # most cells by far
            return cell.strip()
        text = unguard(unicodedata.normalize("NFC", cell).translate(_INVISIBLE).strip())
        text = text.strip()
        return None if not text or text in _ERRORS else text
    if isinstance(cell, float) and cell != cell:
        return None
    return cell


Record = tuple[int, list[Any]]


def _assemble(
    file: str, records: Sequence[Record], stated: frozenset[str], notes: Sequence[str], *, sheet: str = "", ragged: bool
) -> Table | None:
    """Headings and rows of what was read; None where all is blank. ragged: a longer row may be a shifted one."""
    filled = [(number, cells) for number, cells in records if any(c is not None for c in cells)]
    if not filled:
        return None
    top = _heading_record(filled, stated)
    if top is None:
        raise InputError(
            f"{file}{f', sheet {sheet}' if sheet else ''} has no row of headings; write one above the data, such as "
            "pool, lat, lon"
        )
    headings = [as_text(c).strip() for c in filled[top][1]]
    while headings and not headings[-1] and not ragged:
        headings.pop()
    width = len(headings)
    folded = [fold(h) for h in headings]
    rows: list[tuple[Any, ...]] = []
    numbers: list[int] = []
    odd: dict[int, Why] = {}
    beside: list[int] = []
    for number, cells in filled[top + 1 :]:
        if _is_comment(cells):
            continue
        inside, beyond = cells[:width], any(c is not None for c in cells[width:])
        fault = _oddness(inside, folded)
        if beyond and ragged and not fault:
            fault = why.LONG_ROW
        if beyond and not ragged:
            beside.append(number)
            if all(c is None for c in inside):
                continue
        if fault:
            odd[len(rows)] = fault
        rows.append(tuple(inside) + (None,) * (width - len(inside)))
        numbers.append(number)
    if beside:
        notes = [*notes, f"cells beside the table were not read (row {beside[0]} and {len(beside) - 1} more)"]
    return Table(file, tuple(headings), rows, numbers, odd, sheet=sheet, notes=tuple(notes))


def _heading_record(filled: Sequence[Record], stated: frozenset[str]) -> int | None:
    """Position of the row of headings: the one with most known headings, else the first full row of plain words."""
    first = filled[:DEEPEST_HEADING]
    known = [sum(is_known(c, stated) for c in cells) for _, cells in first]
    best = max(range(len(first)), key=lambda i: (known[i], -i))
    if known[best] >= 2:
        return best
    sizes = [sum(c is not None for c in cells) for _, cells in filled[:1000]]
    usual = Counter(sizes).most_common(1)[0][0]
    for i, (_, cells) in enumerate(first):
        given = [c for c in cells if c is not None]
        if len(given) * 2 >= usual and all(isinstance(c, str) and not re.match(r"[+-]?[\d.,]+$", c) for c in given):
            return i
    return None


def _is_comment(cells: Sequence[Any]) -> bool:
    """A line that starts with #: alone in its row, or as `# ` before words only; `#12, 60.1, 24.9` is a pool."""
    first, *others = (c for c in cells if c is not None)
    if not isinstance(first, str) or not first.startswith("#"):
        return False
    return not others or (not first[1:2].isalnum() and not any(re.search(r"\d", as_text(c)) for c in others))


def _oddness(cells: Sequence[Any], folded_headings: Sequence[str]) -> Why | None:
    given = [(h, c) for h, c in zip(folded_headings, cells, strict=False) if c is not None]
    if all(isinstance(c, str) and fold(c) == h for h, c in given) and len(given) >= min(2, len(folded_headings)):
        return why.HEADING_AGAIN
    first = next((c for c in cells if c is not None), None)
    return why.TOTAL_ROW if isinstance(first, str) and _TOTALS.fullmatch(first) else None


# ---------------------------------------------------------------------------------------------------------------------
# Text files
# ---------------------------------------------------------------------------------------------------------------------


def _read_text(path: Path, stated: frozenset[str]) -> Table:
    text, encoding = decode(path.read_bytes(), path.name)
    if re.match(r"\s*<(!doctype|html|\?xml)", text, re.IGNORECASE):
        raise InputError(f"{path.name} holds a web page or XML, not a table; export it again as csv or xlsx")
    try:
        records, delimiter = split_records(text, stated)
    except csv.Error as error:
        raise InputError(f"{path.name} cannot be read as a table ({error}); export it again as csv or xlsx") from error
    widest = max((len(cells) for _, cells in records), default=0)
    if widest > MOST_COLUMNS:
        raise InputError(
            f"{path.name} has a row of {widest} cells, more than the {MOST_COLUMNS} a table may have; "
            "check the character between the cells and the ends of the lines"
        )
    name = {"\t": "tabs", "": "one column"}.get(delimiter, f"cells between {delimiter}")
    table = _assemble(path.name, records, stated, (encoding, name), ragged=True)
    if table is None:
        raise InputError(f"{path.name} holds no text; put a table with a row of headings there, or delete it")
    return table


_BOMS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


def decode(data: bytes, file: str) -> tuple[str, str]:
    """The text of a file and a word on its encoding: by its mark, else UTF-8, else by line UTF-8 or Windows-1252."""
    broken = InputError(f"{file} is damaged or no text (its encoding breaks off); export it again as csv with UTF-8")
    for mark, encoding in _BOMS:
        if data.startswith(mark):
            try:
                return data.decode(encoding), encoding.removesuffix("-sig")
            except UnicodeDecodeError as error:
                raise broken from error
    zeros = data[:400].count(0)
    if zeros > len(data[:400]) * 0.3:
        encoding = "utf-16-le" if data[1:2] == b"\0" else "utf-16-be"
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError as error:
            raise broken from error
        if "\0" not in text:
            return text, encoding
    at = data.find(b"\0")
    if at >= 0:
        number = data.count(b"\n", 0, at) + 1
        raise InputError(f"{file} is damaged or no text (a zero byte in line {number}); export it again as csv or xlsx")
    try:
        return data.decode("utf-8"), "utf-8"
    except UnicodeDecodeError:
        pass
    # a file pasted together from two programs has lines of both kinds
    lines, words = [], []
    for line in re.split(rb"(?<=[\n\r])", data):
        try:
            lines.append(line.decode("utf-8"))
        except UnicodeDecodeError:
            lines.append(line.decode("cp1252", errors="replace").replace("\ufffd", "?"))
            words += re.findall(r"\w*[^\W\x00-\x7f]\w*", lines[-1])[:3]
    text = "".join(lines)
    if sum(c < " " and c not in "\t\n\r\f\v" for c in text[:4000]) > len(text[:4000]) * 0.05:
        raise InputError(f"{file} is no text and no workbook; export it again as csv or xlsx")
    return text, f"windows-1252 (for instance {', '.join(dict.fromkeys(words[:5])) or 'signs only'})"


def split_records(text: str, stated: frozenset[str] = frozenset()) -> tuple[list[Record], str]:
    """Rows of a text table, numbered as a spreadsheet shows them, and the character between the cells ("" = none)."""
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    told = re.match(r"sep=(.)\n", text, re.IGNORECASE)
    if told:
        text = text[told.end() :]  # a spreadsheet does not show this line
        delimiter = told[1]
    else:
        delimiter = _delimiter(text, stated)
    if not delimiter:
        cells = [[clean(line.strip().strip('"'))] for line in text.split("\n")]
        return list(enumerate(cells, 1)), ""
    records = _close_quotes(_unwrap(text, delimiter), delimiter)
    return [(i, [clean(c) for c in cells]) for i, cells in enumerate(records, 1)], delimiter


def _delimiter(text: str, stated: frozenset[str]) -> str:
    """The character that yields most known headings in one line, then the most and the most even cells."""
    sample = "\n".join(text.split("\n", 2000)[:2000])
    first = next((line for line in sample.split("\n") if line.strip()), "").strip(' "')
    if not re.search(r"[,;\t|]", first) and is_known(first, stated):
        return ""  # one column, whose cells may well have commas: "60.17, 24.94" under position

    def merit(delimiter: str) -> tuple[int, float]:
        records = [r for r in _parse(_unwrap(sample, delimiter), delimiter) if any(c.strip() for c in r)]
        widths = Counter(len(r) for r in records)
        width, times = max(widths.items(), key=lambda item: (item[1] * (item[0] - 1), item[0]), default=(0, 0))
        known = max((sum(is_known(c.strip(), stated) for c in r) for r in records[:DEEPEST_HEADING]), default=0)
        return (known if known > 1 else 0), times * (width - 1) / max(1, len(records))

    merits = {d: merit(d) for d in ",;\t|"}
    best = max(merits, key=lambda d: merits[d])
    return best if merits[best] > (0, 0.0) else ""


def _parse(text: str, delimiter: str) -> Iterator[list[str]]:
    return csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)


def _unwrap(text: str, delimiter: str) -> str:
    """Takes the quotes off lines that are wrapped in them as a whole, cells and delimiters inside."""
    if not text.lstrip().startswith('"') and '\n"' not in text:
        return text
    lines = text.split("\n")
    for i, line in enumerate(lines):
        if len(line) > 2 and line[0] == '"' and line[-1] == '"':
            cells = next(csv.reader([line], delimiter=delimiter))
            if len(cells) == 1 and delimiter in cells[0] and "\n" not in cells[0]:
                lines[i] = cells[0]
    return "\n".join(lines)


def _close_quotes(text: str, delimiter: str) -> list[list[str]]:
    """Rows of the text. A quote that was opened and never closed swallows lines: those are split again, one by one."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    spans: list[tuple[int, int, list[str]]] = []
    before = 0
    for cells in reader:
        spans.append((before, reader.line_num, cells))
        before = reader.line_num
    if all(last - first == 1 for first, last, _ in spans):
        return [cells for _, _, cells in spans]
    width = Counter(len(cells) for _, _, cells in spans if cells).most_common(1)[0][0]
    lines = text.split("\n")
    rows = []
    for first, last, cells in spans:
        inner = [next(csv.reader([ln], delimiter=delimiter, quoting=csv.QUOTE_NONE), []) for ln in lines[first:last]]
        whole = sum(len(c) == width for c in inner)
        if last - first > 1 and whole >= 2 and whole * 2 > last - first:
            rows += [[c.strip('"') for c in part] for part in inner]
        else:
            rows.append(cells)
    return rows


# ---------------------------------------------------------------------------------------------------------------------
# Workbooks, layers
# ---------------------------------------------------------------------------------------------------------------------


def _read_workbook(path: Path, stated: frozenset[str]) -> list[Table]:
    damaged = f"{path.name} cannot be opened as a workbook; open it in a spreadsheet program and save it again as xlsx"
    if zipfile.is_zipfile(path):
        with zipfile.ZipFile(path) as parts:
            unpacked = sum(part.file_size for part in parts.infolist())
        if unpacked > LARGEST_UNPACKED:
            raise InputError(
                f"{path.name} would unpack to {unpacked / 1e9:.1f} GB; split the workbook, or export it as csv"
            )
    try:
        book = python_calamine.CalamineWorkbook.from_path(str(path))
    except python_calamine.PasswordError as error:
        raise InputError(f"{path.name} is protected by a password; save it without one") from error
    except (python_calamine.CalamineError, OSError, ValueError) as error:
        if path.read_bytes()[:200].lstrip().lower().startswith((b"<html", b"<!doctype", b"<?xml", b"<table")):
            raise InputError(f"{path.name} is a web page with the name of a workbook; save it as xlsx") from error
        raise InputError(damaged) from error
    tables: list[Table] = []
    hidden: list[str] = []
    no_table: list[InputError] = []
    with book:
        for about in book.sheets_metadata:
            if about.visible != python_calamine.SheetVisibleEnum.Visible:
                hidden.append(about.name)
                continue
            if about.typ != python_calamine.SheetTypeEnum.WorkSheet:
                continue
            try:
                sheet = book.get_sheet_by_name(about.name)
                cells = [[clean(c) for c in row] for row in sheet.to_python(skip_empty_area=False)]
            except (python_calamine.CalamineError, ValueError) as error:
                raise InputError(damaged) from error
            notes = [f"sheet {about.name}", *_fill_merged(sheet, cells)]
            try:
                table = _assemble(path.name, list(enumerate(cells, 1)), stated, notes, sheet=about.name, ragged=False)
            except InputError as error:
                no_table.append(error)
                continue
            if table is not None:
                tables.append(table)
    if not tables and no_table:
        raise no_table[0]
    if not tables:
        raise InputError(f"{path.name} has no filled sheet{_hidden(hidden)}; put a table with a row of headings there")
    for fault in no_table:
        tables[0] = _with_note(tables[0], f"not read: {fault}")
    if hidden:
        tables[0] = _with_note(tables[0], f"not read: hidden sheets {', '.join(hidden)}")
    # the name of the only sheet tells nobody anything
    return [_without_sheet(tables[0])] if len(tables) == 1 else tables


def _hidden(names: Sequence[str]) -> str:
    return f" (hidden: {', '.join(names)})" if names else ""


def _with_note(table: Table, note: str) -> Table:
    return Table(**{**vars(table), "notes": (*table.notes, note)})


def _without_sheet(table: Table) -> Table:
    return Table(**{**vars(table), "sheet": ""})


def _fill_merged(sheet: Any, cells: list[list[Any]]) -> list[str]:
    """Writes the value of cells merged downwards into each of their rows, as a person reads them."""
    filled = 0
    for (top, left), (bottom, _right) in sheet.merged_cell_ranges or []:
        if top == bottom or left >= len(cells[top]) or cells[top][left] is None:
            continue
        for row in range(top + 1, min(bottom + 1, len(cells))):
            cells[row][left] = cells[top][left]
            filled += 1
    return [f"{filled} merged cells were read as their first one"] if filled else []


def _read_vector(path: Path) -> list[Table]:
    damaged = f"{path.name} cannot be opened as a map layer; open it in a GIS program and save it again"
    try:
        layers = [str(name) for name, _kind in pyogrio.list_layers(path)]
        frames = [(name, pyogrio.read_dataframe(path, layer=name)) for name in layers]
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, ValueError, OSError, RuntimeError) as error:
        raise InputError(damaged) from error
    if not frames:
        raise InputError(f"{path.name} holds no layer; save the data again as GeoPackage or GeoJSON")
    return [_from_frame(path.name, frame, sheet=name if len(frames) > 1 else "") for name, frame in frames]


def _read_parquet(path: Path) -> Table:
    try:
        try:
            frame: pd.DataFrame = geopandas.read_parquet(path)
        except ValueError:  # a parquet file without geometry
            frame = pd.read_parquet(path)
    except (OSError, ValueError, TypeError) as error:
        raise InputError(f"{path.name} cannot be opened as parquet; export it again, or save it as csv") from error
    return _from_frame(path.name, frame.reset_index(drop=True))


def _from_frame(file: str, frame: pd.DataFrame, sheet: str = "") -> Table:
    """A table of a file that has typed columns; its rows are numbered from 1, as attribute tables are."""
    geometry = crs = None
    if isinstance(frame, geopandas.GeoDataFrame):
        geometry, crs = list(frame.geometry), frame.crs
        frame = pd.DataFrame(frame.drop(columns=frame.geometry.name))
        if crs is not None and not (crs.is_geographic or crs.is_projected):
            crs = None  # "undefined cartesian" of a GeoPackage states nothing
    columns = [[_plain(v) for v in frame[name]] for name in frame.columns]
    rows = [tuple(r) for r in zip(*columns, strict=True)] if columns else [()] * len(frame)
    headings = tuple(str(name) for name in frame.columns)
    return Table(file, headings, rows, range(1, len(frame) + 1), {}, geometry, CRS(crs) if crs else None, sheet)


def _plain(value: Any) -> Any:
    """A value of a typed column as a plain Python one, None where it is missing."""
    if not pd.api.types.is_scalar(value):
        return str(value)
    if pd.isna(value):
        return None
    if isinstance(value, pd.Timestamp):
        value = value.to_pydatetime()
    elif hasattr(value, "item"):
        value = value.item()
    if isinstance(value, datetime.datetime) and value.time() == datetime.time(0) and value.tzinfo is None:
        return value.date()
    return clean(value)
