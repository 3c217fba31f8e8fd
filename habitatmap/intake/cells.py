"""One cell, whatever file it came from: padding and guards taken off, and what a spreadsheet failed to compute told."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from typing import Any

from habitatmap.errors import why
from habitatmap.errors.why import Why

_FORMULA = re.compile(r"'*\s*[=+\-@＝＋－＠]|'*[\t\r\n|]")


def guard(text: str) -> str:
    """Text that no spreadsheet will run: a leading apostrophe where it could be taken for a formula."""
    return f"'{text}" if _FORMULA.match(text) else text


def unguard(text: str) -> str:
    """Takes away the apostrophe that `guard` put there; unguard(guard(text)) == text for every text."""
    return text[1:] if text.startswith("'") and _FORMULA.match(text[1:]) else text


@dataclass(frozen=True)
class Failed:
    """A cell whose formula gave an error or was never computed: what it holds is not known, and not blank either."""

    written: str
    why: Why

    def __str__(self) -> str:
        return self.written


NOT_COMPUTED = Failed("formula", why.NOT_COMPUTED)

# what spreadsheets write where a formula failed
ERRORS = frozenset(
    "#N/A #NV #REF! #BEZUG! #VALUE! #WERT! #VALEUR! #¡VALOR! #WAARDE! #ARVO! #DIV/0! #NAME? #NOM? #NULL! #NUM! #ZAHL! "
    "#NOMBRE! #SPILL! #CALC! #####".split()
)
_INVISIBLE = dict.fromkeys(map(ord, "\u200b\u200c\u200e\u200f\ufeff\u2060"), None)


def clean(cell: Any) -> Any:
    """A cell without padding and invisible marks, its apostrophe guard undone; None where it is blank."""
    if isinstance(cell, str):
        if cell.isascii() and cell[:1].isalnum():  # most cells by far
            return cell.strip()
        text = unguard(unicodedata.normalize("NFC", cell).translate(_INVISIBLE).strip())
        text = text.strip()
        return Failed(text, why.FORMULA_ERROR) if text in ERRORS else text or None
    if isinstance(cell, float) and cell != cell:
        return None
    return cell
