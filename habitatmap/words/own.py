"""An area's own words: the workbook `words.LANGUAGE.xlsx` in its folder changes or adds what pages and papers say.

A row with English changes that one text; a row without it changes a word wherever it stands as a word of its own. What
is not filled in stays as it is, and a language that does not come with the program stays English there.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import python_calamine

from habitatmap.errors import HabitatmapError, InputError
from habitatmap.vocabulary.catalogues import LANGUAGES, translations

SUFFIXES = (".xlsx", ".ods", ".xls")
HEADS = ("english", "now", "say")
HELP = (
    "Write into the column say what pages and papers shall say instead of now; {n} and the like stand for figures and "
    "names, and must stay. To change a word everywhere, leave english blank, and write the word of today under now."
)
_NAMES = re.compile(r"(\{\w+\})")


@dataclass(frozen=True)
class OwnWords:
    """What a workbook says: `texts` by their English, `swaps` of single words; `file`: its name, "" = there is none."""

    file: str = ""
    texts: Mapping[str, str] = field(default_factory=dict)
    swaps: Mapping[str, str] = field(default_factory=dict)

    def applied(self, english: str, text: str) -> str:
        """What is said for an English text that is otherwise said as `text`."""
        return self.texts.get(english) or "".join(
            part if _NAMES.fullmatch(part) else self._swapped(part) for part in _NAMES.split(text)
        )

    def _swapped(self, text: str) -> str:
        for old, new in self.swaps.items():
            text = re.sub(rf"(?<!\w){re.escape(old)}(?!\w)", lambda _: new, text)  # noqa: B023
        return text


def all_texts() -> list[str]:
    """Every text of pages and papers that has words in a catalogue, in English."""
    return list(dict.fromkeys(english for _, english in translations("de")))


def find_own(folder: Path, language: str) -> Path | None:
    """The workbook of a language, in whichever format it was saved."""
    found = (folder / f"words.{language}{suffix}" for suffix in SUFFIXES)
    return next((path for path in found if path.is_file()), None)


def read_own(folder: Path, language: str) -> OwnWords:
    """What the workbook of a language says; nothing where there is none. InputError with a sentence for each fault."""
    path = find_own(folder, language)
    if path is None:
        return OwnWords()
    known, texts, swaps, faults = set(all_texts()), {}, {}, []
    for row, (english, now, new) in _rows(path):
        where = f"{path.name} row {row}"
        if not new:
            continue
        if not english and not now:
            faults.append(f'{where}: say is "{new}", but neither english nor now says what it stands for')
        elif not english:
            swaps[now] = new
        elif english not in known:
            faults.append(f'{where}: english is "{english}", which no page or paper says; leave that column as it was')
        elif fault := _wrong_names(english, new):
            faults.append(f"{where}: {fault}")
        else:
            texts[english] = new
    if faults:
        raise InputError("\n".join(faults))
    return OwnWords(path.name, texts, swaps)


def _wrong_names(english: str, new: str) -> str:
    """What is wrong with the figures and names in braces of a text; "" for nothing."""
    wanted = set(_NAMES.findall(english))
    if lacking := sorted(wanted - set(_NAMES.findall(new))):
        return f"say lacks {' and '.join(lacking)}; write it where the figure or name shall stand"
    if re.search(r"[{}]", _NAMES.sub("", new)) or set(_NAMES.findall(new)) - wanted:
        return f"say has braces that english has not; only {' and '.join(sorted(wanted)) or 'none'} may stand there"
    return ""


def _rows(path: Path) -> Iterator[tuple[int, tuple[str, str, str]]]:
    """The rows below the headings, with their numbers."""
    try:
        sheet = python_calamine.CalamineWorkbook.from_path(str(path)).get_sheet_by_index(0)
        rows = [[str(cell).strip() for cell in row] for row in sheet.to_python(skip_empty_area=False)]
    except (python_calamine.CalamineError, OSError, ValueError) as fault:
        raise InputError(
            f"{path.name} cannot be opened; close it, open it in a spreadsheet program, and save it again as xlsx"
        ) from fault
    for at, row in enumerate(rows):
        heads = [cell.casefold() for cell in row]
        if "say" in heads:
            places = [heads.index(head) if head in heads else -1 for head in HEADS]
            cells = (tuple(r[i] if 0 <= i < len(r) else "" for i in places) for r in rows[at + 1 :])
            yield from ((at + 2 + i, (c[0], c[1], c[2])) for i, c in enumerate(cells))
            return
    raise InputError(f"{path.name} has no column say; expected the headings {', '.join(HEADS)}")


def write_own(folder: Path, language: str) -> tuple[Path, OwnWords]:
    """Writes the workbook of a language with every text; gives its path, and what somebody wrote into an earlier one,
    which is kept. Raises HabitatmapError where the system refuses."""
    from xlsxwriter import Workbook

    own, path = read_own(folder, language), folder / f"words.{language}.xlsx"
    now = {english: text for (_, english), text in translations(language).items()} if language in LANGUAGES else {}
    rows = [("", old, new) for old, new in own.swaps.items()]
    rows += [(english, now.get(english, english), own.texts.get(english, "")) for english in all_texts()]
    unfinished = folder / f".{path.name}.unfinished"
    with Workbook(unfinished, {"strings_to_formulas": False, "strings_to_urls": False}) as book:
        sheet, wrapped = book.add_worksheet("words"), book.add_format({"text_wrap": True, "valign": "top"})
        sheet.set_column(0, len(HEADS) - 1, 60, wrapped)
        bold = book.add_format({"bold": True, "text_wrap": True, "valign": "top"})
        sheet.write_string(0, 0, HELP, bold)
        for at, row in enumerate([HEADS, *rows], 1):
            for column, cell in enumerate(row):
                sheet.write_string(at, column, cell, bold if at == 1 else wrapped)
        sheet.freeze_panes(2, 0)
    try:
        unfinished.replace(path)
    except OSError as fault:
        unfinished.unlink(missing_ok=True)
        raise HabitatmapError(
            f"{path.name} can't be replaced ({fault.strerror}); close it in other programs, or see that you may write "
            "there, then run again"
        ) from fault
    return path, own
