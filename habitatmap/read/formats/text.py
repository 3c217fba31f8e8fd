"""Text files as tables: which encoding, which character between the cells, and quotes that were left open.

Rows are split by the standard library's csv module: every faster reader tried drops or guesses something.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import chardet

from habitatmap.errors import InputError
from habitatmap.read.formats.assemble import DEEPEST_HEADING, tables_of
from habitatmap.read.formats.cells import clean, clean_texts
from habitatmap.read.formats.lines import Record
from habitatmap.read.formats.table import Table
from habitatmap.read.headings import is_known
from habitatmap.sentences import Sentence, as_it_is, say

LARGEST_TEXT = 500_000_000
# the outline of a large wood as WKT is longer than the 131,072 letters that the csv module takes by itself
LARGEST_CELL = 10_000_000
csv.field_size_limit(LARGEST_CELL)
MOST_COLUMNS = 2_000
MOST_SHARED = 50_000
SEPARATORS = {
    "\t": Sentence("tab-separated"),
    ",": Sentence("comma-separated"),
    ";": Sentence("semicolon-separated"),
    "": Sentence("one column"),
}


def read_text(path: Path, file: str, stated: frozenset[str], encoding: str | None = None) -> list[Table]:
    """The tables of a text file. `file`: how to name it; `encoding`: as area.toml states. InputError if it is none."""
    size = path.stat().st_size
    if size > LARGEST_TEXT:
        raise InputError(
            f"{file} has {size / 1e6:,.0f} MB, more than the {LARGEST_TEXT / 1e6:,.0f} MB that are read; "
            "leave out what lies outside the area, or save it as parquet or GeoPackage"
        )
    text, how = decode(path.read_bytes(), file, encoding)
    if re.match(r"\s*<(!doctype|html|\?xml)", text, re.IGNORECASE):
        raise InputError(f"{file} holds a web page or XML, not a table; export it again as csv or xlsx")
    try:
        records, delimiter = split_records(text, stated)
    except csv.Error as error:
        raise InputError(f"{file} cannot be read as a table ({error}); export it again as csv or xlsx") from error
    widest = max((len(cells) for _, cells in records), default=0)
    if widest > MOST_COLUMNS:
        raise InputError(
            f"{file} has a row of {widest} cells, more than the {MOST_COLUMNS} a table may have; "
            "check the character between the cells and the ends of the lines"
        )
    notes = [how, SEPARATORS.get(delimiter, say("separated by {sign}", sign=delimiter))]
    if _breaks_off(text, records):
        notes.append(Sentence("the last row is short and its line has no end, so the file may have been cut"))
    tables = tables_of(file, records, stated, notes, ragged=True)
    if not tables:
        raise InputError(f"{file} holds no text; put a table with a row of headings there, or delete it")
    return [replace(table, delimiter=delimiter) for table in tables]


def _breaks_off(text: str, records: list[Record]) -> bool:
    if not records or text.endswith(("\n", "\r")):
        return False
    usual = Counter(len(cells) for _, cells in records).most_common(1)[0][0]
    return len(records[-1][1]) < usual


# --- encoding --------------------------------------------------------------------------------------------------------

_BOMS = (
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
# what spreadsheets of western Europe write, on Windows, on a Mac and in DOS; the first wins a draw
_WESTERN = ("cp1252", "mac_roman", "cp850")
# so many letters say enough to tell other encodings by their frequencies, and so many odd ones a wrong guess
FEWEST_FOR_FREQUENCIES = 4
MOST_ODD = 0.05
_LETTERS = frozenset("äöüßéèêëàâçñáíóúïîôùûåæøœìòãõÄÖÜÉÈÀÇÑÁÍÓÚÅÆØŒ")
_SIGNS = frozenset("°×–—’‘“”„«»€§±²³½…•º")


def decode(data: bytes, file: str, stated: str | None = None) -> tuple[str, Sentence]:
    """The text of a file and a word on its encoding: as stated, by its mark, else UTF-8, else the likeliest by line.

    A file pasted together from two programs has lines of both kinds, so each line that is not UTF-8 is decoded alone,
    all of them with one guess.
    """
    if stated is not None:
        return _as_stated(data, file, stated)
    broken = InputError(f"{file} is damaged or no text (its encoding breaks off); export it again as csv with UTF-8")
    data = data.removeprefix(codecs.BOM_UTF8)
    for mark, encoding in _BOMS:
        if data.startswith(mark):
            try:
                return data.decode(encoding), as_it_is(encoding)
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
            return text, as_it_is(encoding)
    at = data.find(b"\0")
    if at >= 0:
        number = data.count(b"\n", 0, at) + 1
        raise InputError(f"{file} is damaged or no text (a zero byte in line {number}); export it again as csv or xlsx")
    try:
        return data.decode("utf-8"), as_it_is("utf-8")
    except UnicodeDecodeError:
        return _by_line(data, file)


def _as_stated(data: bytes, file: str, stated: str) -> tuple[str, Sentence]:
    where = f'area.toml: [encoding] "{file}" = "{stated}"'
    try:
        return data.decode(stated), say("{encoding} (stated)", encoding=stated)
    except LookupError as error:
        raise InputError(f"{where} is no encoding; write one such as utf-8, cp1252, cp850 or mac_roman") from error
    except UnicodeError as error:
        raise InputError(f"{where} does not fit, as some of its bytes mean nothing there; try another") from error


def _by_line(data: bytes, file: str) -> tuple[str, Sentence]:
    lines: list[str | bytes] = []
    for line in re.split(rb"(?<=[\n\r])", data):
        try:
            lines.append(line.decode("utf-8"))
        except UnicodeDecodeError:
            lines.append(line)
    others = b"".join(line for line in lines if isinstance(line, bytes))
    encoding = _likeliest(others)
    text = "".join(_decoded(line, encoding) if isinstance(line, bytes) else line for line in lines)
    if sum(c < " " and c not in "\t\n\r\f\v" for c in text[:4000]) > len(text[:4000]) * 0.05:
        raise InputError(f"{file} is no text and no workbook; export it again as csv or xlsx")
    words = list(dict.fromkeys(re.findall(r"\w*[^\W\x00-\x7f]\w*", _decoded(others, encoding))))
    mixed = any(isinstance(line, str) and not line.isascii() for line in lines)
    sample = ", ".join(words[:5]) or Sentence("signs only")
    told = "{encoding} (for instance {words}; if that is wrong, state it under [encoding] in area.toml)"
    named = say("{first} and {last}", first="utf-8", last=encoding) if mixed else encoding
    return text, say(told, encoding=named, words=sample)


def _decoded(data: bytes, encoding: str) -> str:
    return data.decode(encoding, errors="replace").replace("\ufffd", "?")


def _likeliest(data: bytes) -> str:
    """The encoding of text that is not UTF-8: a western one where it gives usual letters, else by frequencies.

    Measured on names of countries and languages in the languages that write so, ten names at a time: right in 97 of
    100 samples in cp1252, 94 in mac_roman, 86 in cp850, 82 in cp1250, 97 in cp1251; by frequencies alone in 79, 76,
    74, 99, 98. With one name only: 96, 84, 44, 23, 58; area.toml can state what is wrong.
    """
    fits = {name: _oddness(data.decode(name, errors="replace")) for name in _WESTERN}
    best = min(fits, key=lambda name: fits[name])
    high = sum(byte > 127 for byte in data)
    if high < FEWEST_FOR_FREQUENCIES or fits[best] <= MOST_ODD:
        return best
    words = b"\n".join(re.findall(rb"[A-Za-z]*[\x80-\xff][A-Za-z\x80-\xff]*", data)[:5000])
    named = (str(found["encoding"]) for found in chardet.detect_all(words) if found["encoding"])
    # a control character in a name shows the wrong one of two alike, such as ISO-8859-2 for Windows-1250
    return next((name for name in named if not re.search(r"[\x80-\x9f\ufffd]", words.decode(name, "replace"))), best)


def _oddness(text: str) -> float:
    """Share of the characters beyond ASCII that a person would not have written there, 0-1."""
    text = text[:1_000_000]
    odd = number = 0
    for match in re.finditer(r"[^\x00-\x7f]", text):
        at, c = match.start(), match[0]
        before, after = text[at - 1 : at], text[at + 1 : at + 2]
        letter = c in _LETTERS and not (c.isupper() and before.islower())
        sign = c in _SIGNS and (c == "’" or not (before.isalpha() and after.isalpha()))
        odd += not (letter or sign)
        number += 1
    return odd / max(1, number)


# --- cells -----------------------------------------------------------------------------------------------------------


def split_records(text: str, stated: frozenset[str] = frozenset()) -> tuple[list[Record], str]:
    """Rows of a text table, numbered as a spreadsheet shows them, and the character between the cells ("" = none)."""
    text = _unquoted(text.replace("\r\n", "\n").replace("\r", "\n"))
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
    known: dict[object, object] = {}
    return [(number, _shared(clean_texts(cells), known)) for number, cells in records], delimiter


def _shared(cells: Sequence[object], known: dict[object, object]) -> list[object]:
    """The cells, those that stood in the text before as the very same object: most words of a long list are few."""
    if len(known) < MOST_SHARED:
        return [known.setdefault(cell, cell) for cell in cells]
    return [known.get(cell, cell) for cell in cells]


def _unquoted(text: str) -> str:
    """A text without the marks that a mail program puts before each line of an answer."""
    if not text.startswith(">"):
        return text
    lines = text.split("\n")
    quoted = all(line.startswith(">") for line in lines if line.strip())
    return "\n".join(re.sub(r"^(?:>\s?)+", "", line) for line in lines) if quoted else text


def _delimiter(text: str, stated: frozenset[str]) -> str:
    """The character that yields most known headings in one line, then the most and the most even cells."""
    sample = "\n".join(text.split("\n", 2000)[:2000])
    first = next((line for line in sample.split("\n") if line.strip()), "")
    whole = first.count('"') % 2 == 0  # else the heading goes on in the next line
    first = first.strip(' "')
    if whole and not re.search(r"[,;\t|]", first) and is_known(first, stated):
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
    return csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, skipinitialspace=True)


def _unwrap(text: str, delimiter: str) -> str:
    """Takes the quotes off lines that are wrapped in them as a whole, cells and delimiters inside."""
    if not text.lstrip().startswith('"') and '\n"' not in text:
        return text
    lines = text.split("\n")
    for i, line in enumerate(lines):
        if len(line) > 2 and line[0] == '"' and line[-1] == '"':
            cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True))
            if len(cells) == 1 and delimiter in cells[0] and "\n" not in cells[0]:
                lines[i] = cells[0]
    return "\n".join(lines)


def _close_quotes(text: str, delimiter: str) -> list[tuple[int, list[str]]]:
    """Rows of the text, each with the number that a spreadsheet shows for the line it begins in.

    A quote that was opened and never closed swallows lines: those are split again, one by one.
    """
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, skipinitialspace=True)
    if '"' not in text:
        return list(enumerate(reader, 1))
    spans: list[tuple[int, int, list[str]]] = []
    before = 0
    for cells in reader:
        spans.append((before, reader.line_num, cells))
        before = reader.line_num
    if all(last - first == 1 for first, last, _ in spans):
        return [(last, cells) for _, last, cells in spans]
    width = Counter(len(cells) for _, _, cells in spans if cells).most_common(1)[0][0]
    lines = text.split("\n")
    shown = _rows_shown(lines, delimiter)
    rows: list[tuple[int, list[str]]] = []
    for first, last, cells in spans:
        inner = [next(csv.reader([ln], delimiter=delimiter, quoting=csv.QUOTE_NONE), []) for ln in lines[first:last]]
        whole = sum(len(c) == width for c in inner)
        unclosed = shown[first] != shown[last - 1]
        if last - first > 1 and whole >= 2 and (unclosed or whole * 2 > last - first):
            rows += [(shown[first + i], [c.strip('"') for c in part]) for i, part in enumerate(inner)]
        else:
            rows.append((shown[first], cells))
    return rows


def _rows_shown(lines: Sequence[str], delimiter: str) -> list[int]:
    """The number that a spreadsheet shows for the row in which each line stands.

    It joins lines only where their quote is closed before a delimiter or the end of a line, as LibreOffice was
    seen to do (tests/read/test_row_numbers.py).
    """
    shown: list[int] = []
    number = 0
    while len(shown) < len(lines):
        number += 1
        shown += [number] * _lines_joined(lines, len(shown), delimiter)
    return shown


def _lines_joined(lines: Sequence[str], start: int, delimiter: str) -> int:
    """How many lines a spreadsheet takes for the row that begins in this line: one where a quote is never closed."""
    quoted = False
    for at in range(start, len(lines)):
        line = lines[at]
        begins, broken, closed, i = at == start, False, False, 0
        while i < len(line) if '"' in line else False:
            if quoted and line[i] == '"':
                if line[i + 1 : i + 2] == '"':
                    i += 1
                elif line[i + 1 : i + 2] in (delimiter, ""):
                    quoted, closed = False, True
                else:
                    broken = True
            elif not quoted:
                quoted = begins and line[i] == '"'
                begins = not quoted and (line[i] == delimiter or (begins and line[i] == " "))
            i += 1
        if not quoted:
            return at + 1 - start
        if broken:
            return at + 1 - start if closed else 1
    return 1
