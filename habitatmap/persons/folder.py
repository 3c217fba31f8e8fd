"""All files of an area folder, whatever they hold: where they name somebody, and what they are without the name."""

from __future__ import annotations

import io
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from habitatmap.errors import InputError
from habitatmap.export.manifest import FREEZE, HIDDEN, earlier_result
from habitatmap.export.season import SEASONS
from habitatmap.persons.databases import SQLITE, CannotChangeError, edit_dbf, edit_sqlite
from habitatmap.persons.packed import PACKED, CannotReadError, edit_packed
from habitatmap.persons.pictures import PICTURES, edit_picture
from habitatmap.persons.spelling import Person, Span, What
from habitatmap.persons.texts import Edit, Where, always, edit_text, is_text, texts_in, with_spans
from habitatmap.read.random_assignment import FOLDER as ASSIGNED
from habitatmap.sentences import Sentence, say

LONGEST_SHOWN = 300
# bytes of a file of no known kind that are looked through
MOST_SEARCHED = 300_000_000
NAME_OF_FILE = "the name of the file"
# the command whose results a folder of an area may hold, and which is no result but a record
OF_RECORDS = (ASSIGNED,)


@dataclass
class Hits:
    """Where an area names people: of each find its file, where in it, what and how it is written, and the text about
    it. `near`: spellings that may be meant, with how often and where first; `unread`: files that can't be searched."""

    found: list[Hit] = field(default_factory=list)
    near: Counter[str] = field(default_factory=Counter)
    near_at: dict[str, tuple[str, Sentence]] = field(default_factory=dict)
    unread: dict[str, Sentence] = field(default_factory=dict)

    @property
    def files(self) -> dict[str, int]:
        """How often each file names them."""
        return dict(Counter(hit.file for hit in self.found))


@dataclass(frozen=True)
class Hit:
    """One place that names somebody."""

    file: str
    where: Sentence
    what: What
    spelling: str
    about: str
    result: bool
    person: int = 0


def files_of(area: Path) -> Iterator[Path]:
    """Every file below a folder, in order; links are not followed, locks and unfinished sets of ours are none."""
    for path in sorted(area.rglob("*")):
        parts = path.relative_to(area).parts
        if not path.is_symlink() and path.is_file() and not any(part.startswith(HIDDEN) for part in parts):
            yield path


def results_in(area: Path) -> list[Path]:
    """The folders in an area that hold results of commands, kept seasons and what is assigned at random apart."""
    found = []
    for path in sorted(p for p in area.iterdir() if p.is_dir() and not p.is_symlink()):
        made = earlier_result(path) if path.name not in (SEASONS, *OF_RECORDS) else None
        if made is not None and made.command not in (FREEZE, *OF_RECORDS):
            found.append(path)
    return found


def edit_file(name: str, data: bytes, edit: Edit) -> bytes:
    """A file with the spans of all its texts changed, by its kind; the same bytes where there is nothing to change.

    Raises CannotReadError where it can't be searched, CannotChangeError where it holds something to change and can't be
    rewritten safely.
    """
    suffix = PurePosixPath(name).suffix.casefold()
    if not data:
        return data
    if suffix in PACKED or data.startswith(b"PK\x03\x04"):
        return edit_packed(name, data, edit, edit_file)
    if data.startswith(SQLITE):
        return edit_sqlite(data, edit)
    if suffix == ".dbf":
        return edit_dbf(data, edit)
    if suffix in PICTURES:
        return edit_picture(data, edit)
    if suffix == ".parquet":
        return _edit_parquet(data, edit)
    if suffix == ".pdf" or data.startswith(b"%PDF"):
        return _unchanged(data, _text_of_pdf(data), edit, "print it anew without the name, or delete it")
    if is_text(data):
        return edit_text(data, edit)
    if len(data) > MOST_SEARCHED:
        raise CannotReadError(Sentence("it is too large to look through"))
    texts = (text for text, _, _ in texts_in(data))
    return _unchanged(data, texts, edit, "open it, take the name out, and save it as xlsx, ods, csv or gpkg")


def _unchanged(data: bytes, texts: Iterator[str], edit: Edit, remedy: str) -> bytes:
    """The bytes of a file that can be searched and not rewritten."""
    for text in texts:
        if edit(text, always("somewhere in it")):
            raise CannotChangeError(Sentence(remedy))
    return data


def _text_of_pdf(data: bytes) -> Iterator[str]:
    """The pages of a PDF. Raises CannotReadError where no library for that is installed, or it is damaged."""
    try:
        from pypdf import PdfReader
        from pypdf.errors import PyPdfError
    except ImportError as fault:
        raise CannotReadError(Sentence("no library for PDF is installed (pip install pypdf)")) from fault
    try:
        reader = PdfReader(io.BytesIO(data))
        about = " ".join(str(one) for one in (reader.metadata or {}).values())
        texts = [about, *(page.extract_text() for page in reader.pages)]
    except (PyPdfError, ValueError, KeyError, TypeError, OSError) as fault:
        raise CannotReadError(say("the PDF can't be read ({fault})", fault=str(fault))) from fault
    yield from texts


def _edit_parquet(data: bytes, edit: Edit) -> bytes:
    """A parquet file with the spans of its texts changed; its own notes on shapes and systems stay."""
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as fault:
        raise CannotReadError(Sentence("no library for parquet is installed (pip install pyarrow)")) from fault
    try:
        table = pq.read_table(io.BytesIO(data))
    except (pa.ArrowException, OSError) as fault:
        raise CannotReadError(say("it can't be read as parquet ({fault})", fault=str(fault))) from fault
    changed = False
    for at, column in enumerate(table.schema):
        if not (pa.types.is_string(column.type) or pa.types.is_large_string(column.type)):
            continue
        cells = table.column(at).to_pylist()
        for row, cell in enumerate(cells):
            spot = always("row {row}, {column}", row=str(row + 1), column=column.name)
            if cell and (spans := edit(cell, spot)):
                cells[row], changed = with_spans(cell, spans), True
        table = table.set_column(at, column, pa.array(cells, type=column.type))
    if not changed:
        return data
    out = io.BytesIO()
    pq.write_table(table, out)
    return out.getvalue()


# --- searching -------------------------------------------------------------------------------------------------------


def search(area: Path, people: Sequence[Person], near: bool = True) -> Hits:
    """Where the files of a folder name people: in every text that they hold, in their names, and in what they say of
    themselves. Raises InputError where a file can't be opened."""
    hits, results = Hits(), results_in(area)
    for path in files_of(area):
        name = path.relative_to(area).as_posix()
        made = any(folder in path.parents for folder in results)
        look = _looker(hits, people, name, made, near and not made)
        look(name, always(NAME_OF_FILE))
        try:
            edit_file(name, _bytes_of(path), look)
        except CannotReadError as fault:
            hits.unread[name] = fault.why
        except CannotChangeError:  # an edit that changes nothing asks for no change
            continue
    for spelling in list(hits.near):
        if any(person.finds(spelling) for person in people):
            del hits.near[spelling]
    return hits


def _bytes_of(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as fault:
        raise InputError(f"{path.name} cannot be opened ({fault.strerror}); close it in other programs") from fault


def _looker(hits: Hits, people: Sequence[Person], file: str, result: bool, near: bool) -> Edit:
    """An edit that changes nothing and keeps what it sees."""

    def look(text: str, where: Where) -> list[Span]:
        for number, person in enumerate(people):
            for found in person.finds(text):
                about = _about(text, found.start, found.end)
                hits.found.append(Hit(file, where(found.start), found.what, found.spelling, about, result, number))
            if near:
                for spelling in person.near(text):
                    hits.near[spelling] += 1
                    if spelling not in hits.near_at:
                        at = text.find(spelling.split()[0])
                        hits.near_at[spelling] = file, where(max(at, 0))
        return []

    return look


def _about(text: str, start: int, end: int) -> str:
    """The line of a find, cut to what a person reads."""
    begin, stop = text.rfind("\n", 0, start) + 1, text.find("\n", end)
    begin, stop = max(begin, start - LONGEST_SHOWN), min(stop if stop >= 0 else len(text), end + LONGEST_SHOWN)
    # of bytes that are no text only the letters are shown
    line = "".join(sign if sign.isprintable() else " " for sign in text[begin:stop])
    return " ".join(line.encode("utf-8", "ignore").decode("utf-8").split())


# --- without the names -----------------------------------------------------------------------------------------------


@dataclass
class Renaming:
    """What stands for each spelling of a person: "observer 7", and "observer 7b" for one that is written otherwise, as
    what counted as two observers must go on to count as two."""

    called: str
    known: dict[str, str] = field(default_factory=dict)

    def of(self, what: What, spelling: str) -> str:
        """What stands for a find: nothing for a mail address or a telephone number."""
        if what is not What.NAME:
            return ""
        if spelling not in self.known:
            number = len(self.known)
            self.known[spelling] = self.called + ("" if not number else _letters(number))
        return self.known[spelling]


def _letters(number: int) -> str:
    """b, c, ..., z, aa, ab, ..."""
    text, number = "", number + 1
    while number:
        number, rest = divmod(number - 1, 26)
        text = chr(ord("a") + rest) + text
    return text


def renamings(hits: Hits, people: Sequence[Person], first: int) -> list[Renaming]:
    """A pseudonym for each person, the first of a number nobody has; the spelling that is used most stands first."""
    counted: dict[int, Counter[str]] = defaultdict(Counter)
    for hit in hits.found:
        if hit.what is What.NAME and not hit.result:
            counted[hit.person][hit.spelling] += 1
    found = []
    for number in range(len(people)):
        one = Renaming(f"observer {first + number}")
        for spelling, _ in sorted(counted[number].items(), key=lambda item: (-item[1], item[0])):
            one.of(What.NAME, spelling)
        found.append(one)
    return found


def without(people: Sequence[Person], called: Sequence[Renaming]) -> Edit:
    """An edit that takes people out of a text."""

    def edit(text: str, where: Where) -> list[Span]:
        spans: list[Span] = []
        for person, renaming in zip(people, called, strict=True):
            for found in person.finds(text):
                if not any(found.start < one.end and one.start < found.end for one in spans):
                    spans.append(Span(found.start, found.end, renaming.of(found.what, found.spelling)))
        return spans

    return edit
