"""One cell, whatever file it came from: padding and guards taken off, and what a spreadsheet failed to compute told."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from types import NoneType
from typing import TypeVar

from habitatmap.errors.why import Why

# what a formula begins with, at the start of a cell and behind a sign at which another program may part the cell: the
# rest of a line or what stands behind ; is a cell of its own there. A number alone is none
_STARTS = "[=+\\-@＝＋－＠]"
_AT_START = rf"(?=['\s]*{_STARTS}|'*[\t\r\n|])"
_BEHIND = rf"(?='*(?![+-]\d[\d.]*\s*(?:[,;\t\r\n]|\Z)){_STARTS})"
_RUNS = re.compile(rf"\A{_AT_START}|(?<=[,;\t\r\n]){_BEHIND}")
_GUARDS = re.compile(rf"\A'{_AT_START}|(?<=[,;\t\r\n])'{_BEHIND}")


def guard(text: str) -> str:
    """Text that no spreadsheet will run, wherever it parts its cells: an apostrophe before what could be a formula."""
    return _RUNS.sub("'", text)


def unguard(text: str) -> str:
    """Takes away the apostrophes that `guard` put there; unguard(guard(text)) == text for every text."""
    return _GUARDS.sub("", text)


@dataclass(frozen=True)
class Failed:
    """A cell whose formula gave an error or was never computed: what it holds is not known, and not blank either."""

    written: str
    why: Why

    def __str__(self) -> str:
        return self.written


NOT_COMPUTED = Failed("formula", Why.NOT_COMPUTED)

# what spreadsheets write where a formula failed
ERRORS = frozenset(
    "#N/A #NV #REF! #BEZUG! #VALUE! #WERT! #VALEUR! #¡VALOR! #WAARDE! #ARVO! #DIV/0! #NAME? #NOM? #NULL! #NUM! #ZAHL! "
    "#NOMBRE! #SPILL! #CALC! #####".split()
)
_CODED_ERROR = re.compile(r"Err:\d{3}")  # where a program has no word for it
# a number behind the apostrophe by which spreadsheets are told to leave it alone
_WRITTEN_AS_TEXT = re.compile(r"^'(\d[\d.,\s]*)$")
_INVISIBLE = dict.fromkeys(map(ord, "\u200b\u200c\u200e\u200f\ufeff\u2060"), None)


def clean(cell: object) -> object:
    """A cell without padding and invisible marks, its apostrophe guard undone; None where it is blank."""
    if isinstance(cell, str):
        if cell.isascii() and cell[:1].isalnum() and "'" not in cell:  # most cells by far
            text = cell.strip()
            return Failed(text, Why.FORMULA_ERROR) if _CODED_ERROR.fullmatch(text) else text
        text = unguard(unicodedata.normalize("NFC", cell).translate(_INVISIBLE).strip())
        text = _WRITTEN_AS_TEXT.sub(r"\1", text.strip())
        return Failed(text, Why.FORMULA_ERROR) if text in ERRORS else text or None
    if isinstance(cell, float) and cell != cell:
        return None
    return cell


def clean_texts(cells: Sequence[str]) -> list[object]:
    """`clean` for each of a row's texts; most rows hold nothing that it has to look at letter by letter."""
    row = "\n".join(cells)
    if row.isascii() and "'" not in row and "#" not in row and "Err:" not in row:
        return [cell.strip() or None for cell in cells]
    return [clean(cell) for cell in cells]


Meaning = TypeVar("Meaning")


def each_once(read: Callable[[object], Meaning], cells: Sequence[object]) -> list[Meaning]:
    """What `read` makes of each cell of a column, worked out once for each that differs."""
    if {*map(type, cells)} <= {str, NoneType}:
        found = {cell: read(cell) for cell in {*cells}}
        return [found[cell] for cell in cells]
    # True is no 1, though both are one key
    by_type = {key: read(key[1]) for key in {(type(cell), cell) for cell in cells}}
    return [by_type[type(cell), cell] for cell in cells]


# how UTF-8 looks to a reader of Windows-1252: "Ã¼" for "ü", "â€™" for "’"
_TWICE = re.compile("[\u00c2-\u00f4][\u0080-\u00bf\u0152-\u017e\u0192\u02c6\u02dc\u2013-\u203a\u20ac\u2122]")


def encoded_once(text: str) -> str | None:
    """A text that was encoded twice as it was meant, "Mühle" for "MÃ¼hle"; None where it was not encoded twice."""
    if text.isascii() or not _TWICE.search(text):
        return None
    try:
        # the five bytes that Windows-1252 leaves free pass through most programs as they are
        return b"".join(bytes([ord(c)]) if "\x80" <= c <= "\x9f" else c.encode("cp1252") for c in text).decode("utf-8")
    except UnicodeError:
        return None


def as_text(cell: object) -> str:
    """A cell as a person would type it: blank for None, no `.0` on whole numbers, dates in ISO order."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        if cell != cell:  # NaN
            return ""
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if hasattr(cell, "isoformat"):
        text = str(cell.isoformat())
        return text.removesuffix("T00:00:00")
    return str(cell)


def as_texts(cells: Sequence[object]) -> list[str]:
    """`as_text` for each cell."""
    return [cell if type(cell) is str else as_text(cell) for cell in cells]


_WIDE = str.maketrans("０１２３４５６７８９．，、－／：；（）　", "0123456789.,,-/:;() ")


def narrow(text: str) -> str:
    """A text whose digits and marks are as wide as Latin letters, for the reading of numbers: `２０２４` is `2024`."""
    return text if text.isascii() else text.translate(_WIDE)
