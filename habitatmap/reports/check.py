"""How an area's files were understood, for the person who has to correct them: as text, page and table."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from habitatmap.area import Account, Area
from habitatmap.errors.why import NOTHING_TO_DO, Why
from habitatmap.export.folder import write_files
from habitatmap.page.sections import Fold, Section, Table, aligned, letters, report_page, terminal
from habitatmap.read.corrections import CorrectionFile
from habitatmap.read.formats.cells import as_text
from habitatmap.read.headings import Match
from habitatmap.read.inputs import Input
from habitatmap.read.ledger import COLUMNS, Known, Ledger, Reading, SetAside, Unused, first_rows
from habitatmap.read.values import name_key
from habitatmap.vocabulary.kinds import Kind
from habitatmap.words.catalogue import ENGLISH, Catalogue
from habitatmap.words.explained import explanations
from habitatmap.words.inputs import left_columns, units, what_matters, where, worth_lines
from habitatmap.words.land_cover import cover_doubts
from habitatmap.words.names import KIND_NAMES
from habitatmap.words.numbers import count, number, sentence
from habitatmap.words.sentences import Sentence, apart, as_it_is, following, say

# rows of one reason that the page lists; set_aside.csv has them all
MOST_ROWS = 200
LONGEST_ROW = 200
# rows of one reason that the terminal names
ROWS_NAMED = 8


NONE, NOTHING, WHOLE_ROW, BLANK = map(Sentence, ("(none)", "nothing", "the whole row", "(blank)"))
WHAT_IS_KNOWN = {
    Known.PLACE: "Place",
    Known.GENUS: "Genus",
    Known.THICKNESS: "Thickness",
    Known.CONDITION: "Condition",
    Known.NAME: "Name",
}


@dataclass(frozen=True)
class FileRead:
    """A file of one kind, with its rows counted (None where it has none) and its tables."""

    kind: str
    file: str
    read: int | None
    accepted: int | None
    set_aside: int | None
    to_do: int
    tables: Sequence[Reading]


@dataclass(frozen=True)
class RowAside:
    """A row set aside; `name` is the code of its first reason, `cells` what the whole row says, `visits` how many
    visits are set aside because it is."""

    file: str
    sheet: str
    row: int
    column: str
    value: str
    reason: str
    remedy: str
    kind: str
    name: str
    cells: str
    visits: int

    @property
    def to_do(self) -> bool:
        """Whether somebody has to do something about it."""
        return self.name not in {code.name for code in NOTHING_TO_DO}


@dataclass(frozen=True)
class NotUsed:
    """A file or a sheet that nothing was used of, and why; its headings and first rows, where it has any."""

    file: str
    sheet: str
    name: str
    reason: str
    remedy: str
    to_do: bool
    headings: Sequence[str]
    rows: Sequence[Sequence[str]]


@dataclass(frozen=True)
class Check:
    """What was read and how. `walls`: sentences on what stops a map; `doubts`: on rows that are used, or on what was
    not read, that somebody should look at; `fixes`: the files to correct that were written."""

    title: str
    crs: str
    walls: Sequence[str]
    notes: Sequence[Sentence]
    remarks: Sequence[Sentence]
    doubts: Sequence[Sentence]
    inputs: Sequence[Input]
    files: Sequence[FileRead]
    not_used: Sequence[NotUsed]
    set_aside: Sequence[RowAside]
    fixes: Sequence[CorrectionFile]

    @property
    def waiting(self) -> list[RowAside]:
        """The rows set aside that somebody has to do something about."""
        return [row for row in self.set_aside if row.to_do]

    @property
    def resting(self) -> list[RowAside]:
        """The rows set aside that may stay as they are."""
        return [row for row in self.set_aside if not row.to_do]

    @property
    def needs_a_look(self) -> bool:
        """Whether a row waits for somebody, or something about the rows in use should be looked at."""
        return bool(self.walls or self.doubts or self.waiting or any(one.to_do for one in self.not_used))

    def for_json(self) -> dict[str, Any]:
        """The same for a machine."""
        files = [vars(file) | {"tables": list(map(_plain, file.tables))} for file in self.files]
        aside, fixes, unused = map(vars, self.set_aside), map(vars, self.fixes), map(vars, self.not_used)
        inputs = [vars(one) | {"units": [unit._asdict() for unit in one.units]} for one in self.inputs]
        lists = {"set_aside": list(aside), "fixes": list(fixes), "not_used": list(unused)}
        return vars(self) | {"inputs": inputs, "files": files} | lists


def check(found: Area | Account, fixes: Sequence[CorrectionFile] = ()) -> Check:
    """How the files of an area were understood; `fixes`: the files to correct that were written."""
    ledger, doubts = found.ledger, list(found.ledger.doubts)
    walls: Sequence[str] = ()
    crs = ""
    notes: Sequence[Sentence] = ()
    inputs: Sequence[Input] = ()
    if isinstance(found, Account):
        walls, doubts = list(dict.fromkeys(map(str, found.faults))), [*found.notes, *doubts]
    else:
        crs, notes, inputs = found.crs.name, found.notes, found.inputs
        doubts = [*notes[1:], *doubts]  # the first note says which reference system is used
        if found.land_cover is not None:
            doubts += cover_doubts(found.land_cover.doubts)
    tables: dict[tuple[str, str], list[Reading]] = {}
    for reading in ledger.readings:
        tables.setdefault((reading.kind, reading.file), []).append(reading)
        doubts += [say("{file}: {told}", file=reading.table, told=note) for note in reading.left_out]
    aside = _rows_aside(ledger)
    counts = ledger.by_file()
    files = []
    for kind, file in sorted(counts.keys() | tables.keys()):
        read, accepted, left = counts.get((kind, file), (None, None, None))
        to_do = sum(row.file == file and row.to_do for row in aside)
        files.append(FileRead(kind, file, read, accepted, left, to_do, tables.get((kind, file), [])))
    unused = [_not_used(one) for one in ledger.unused]
    return Check(
        found.title, crs, walls, notes, ledger.remarks, list(dict.fromkeys(doubts)), inputs, files, unused, aside, fixes
    )


def _not_used(one: Unused) -> NotUsed:
    headings, rows = (one.table.headings, first_rows(one.table)) if one.table is not None else ((), ())
    return NotUsed(one.file, one.sheet, one.name, one.why.reason, one.why.remedy, one.to_do, headings, rows)


def _rows_aside(ledger: Ledger) -> list[RowAside]:
    """The rows set aside, causes before effects: pools first, and last the visits that wait for a pool's own row."""
    waiting = Counter(name_key(e.about) for e in ledger.entries(Kind.VISITS) if e.why.code is Why.POOL_ASIDE)
    entries = sorted(ledger.in_order(), key=lambda e: (e.why.code is Why.POOL_ASIDE, e.kind != Kind.POOLS))
    return [_row_aside(e, waiting[name_key(e.about)] if e.kind == Kind.POOLS and e.about else 0) for e in entries]


def _plain(reading: Reading) -> dict[str, Any]:
    """How a table was understood, for a machine."""
    return {
        "table": reading.table,
        "read_as": list(reading.notes),
        "crs": reading.crs,
        "columns": [
            {"name": name, "heading": heading, "match": how, "samples": list(reading.cells.get(name, ()))}
            for name, (heading, how) in reading.columns.items()
        ],
        "unmatched": [{"heading": heading, "nearest": name} for heading, name in reading.unmatched.items()],
        "samples": [dict(zip(("column", "written", "understood"), s, strict=True)) for s in reading.samples],
    }


def _row_aside(entry: SetAside, visits: int) -> RowAside:
    """A row set aside with what the whole row says, for somebody who looks for it."""
    row = entry.table.rows[entry.at] if entry.table else ()
    text = "; ".join(filter(None, map(as_text, row)))
    text = text if len(text) <= LONGEST_ROW else f"{text[: LONGEST_ROW - 1]}…"
    return RowAside(*entry.cells, entry.kind, entry.why.code.name, text, visits)


def write_check(
    found: Check, folder: str | Path, copies: Mapping[str, bytes] | None = None, spoken: Catalogue = ENGLISH
) -> None:
    """Writes check.html and set_aside.csv into `folder`, both or none."""
    unused = [(one.file, one.sheet, None, "", "", one.reason, one.remedy) for one in found.not_used]
    aside = [[getattr(row, column) for column in COLUMNS] for row in found.set_aside]
    table = pd.DataFrame([*unused, *aside], columns=list(COLUMNS)).astype({"row": "Int64"})
    corrected = {f"corrected/{name}": content for name, content in (copies or {}).items()}
    write_files(folder, corrected | {"check.html": check_page(found, spoken), "set_aside.csv": table}, "check")


def _groups(rows: Iterable[RowAside]) -> list[list[RowAside]]:
    """Rows that share file, reason and remedy, in the order of the first of each."""
    groups: dict[tuple[str, str, str], list[RowAside]] = {}
    for row in rows:
        groups.setdefault((row.file, row.name, row.remedy), []).append(row)
    return list(groups.values())


def _rows_of(group: Sequence[RowAside]) -> Sentence:
    numbers, more = apart([str(row.row) for row in group[:ROWS_NAMED]]), len(group) - ROWS_NAMED
    told = "row {numbers}" if len(group) == 1 else "rows {numbers}" if more <= 0 else "rows {numbers} and {n} more"
    return say(told, numbers=numbers, n=more)


def _reason(group: Sequence[RowAside]) -> str:
    """The reason of a group: in full for one row, in general words for several that differ."""
    explained = explanations().get(group[0].name)
    differ = len({row.reason for row in group}) > 1
    if not differ or explained is None:
        return group[0].reason
    return _in_general(Why[group[0].name].reason)


def _in_general(text: str) -> Sentence:
    """A reason or remedy with … for what a row fills in, once where several follow each other."""
    return Sentence(text, {name: "" if more else "…" for name, more in re.findall(r"\{(\w+)\}(?=(\{?))", text)})


def _effect(group: Sequence[RowAside]) -> Sentence:
    """How many visits wait for these rows, "" where none does."""
    visits = count(sum(row.visits for row in group), "visit")
    if not sum(row.visits for row in group):
        return Sentence("")
    if len(group) == 1:
        return say("This row sets {visits} aside: correct it, and the visits count.", visits=visits)
    rows = "These {n} rows set {visits} aside: correct them, and the visits count."
    return say(rows, n=len(group), visits=visits)


# --- on the terminal -------------------------------------------------------------------------------------------------


def check_text(found: Check, spoken: Catalogue = ENGLISH) -> str:
    """The account for a terminal: a line per file, what its columns are, and each reason once with its rows."""
    rows = [[spoken.say(head) for head in ("file", "kind", "read", "accepted", "set aside", "to do")]]
    for f in found.files:
        counts = (f.read, f.accepted, f.set_aside, f.to_do)
        rows.append(
            [
                f.file,
                spoken.say(KIND_NAMES[Kind(f.kind)]) if spoken.sentences else f.kind,
                *("-" if n is None else str(n) for n in counts),
            ]
        )
    walls = ["No map can be made yet:", *map(_indented, found.walls), ""] if found.walls else []
    worth = ["", "What your files hold:", *map(_indented, worth_lines(found.inputs))] if found.inputs else []
    lines: list[str] = [*walls, *(map(as_it_is, aligned(rows)) if len(rows) > 1 else []), *worth]
    for file in found.files:
        for table in file.tables:
            lines += ["", *_table_lines(table)]
    line = "{where}, {rows}: {why}; {remedy}"
    for heading, aside in (("Set aside, nothing to do:", found.resting), ("To correct:", found.waiting)):
        groups = _groups(aside)
        lines += ["", heading] if groups else []
        lines += [
            _indented(
                following(
                    say(line, where=_where(g[0]), rows=_rows_of(g), why=_reason(g), remedy=g[0].remedy),
                    _effect(g),
                    by=". ",
                )
            )
            for g in groups
        ]
    to_do, rest = ([one for one in found.not_used if one.to_do is wanted] for wanted in (True, False))
    for heading, files in (("Not used:", to_do), ("Not used, nothing to do:", rest)):
        lines += ["", heading] if files else []
        for (reason, remedy), alike in _alike(files).items():
            told = "{files}: {why}; {remedy}" if alike[0].to_do else "{files}: {why}"
            names = apart([one.name for one in alike])
            lines.append(_indented(say(told, files=names, why=reason, remedy=remedy)))
    if found.doubts:
        lines += ["", "Please look:", *map(_indented, found.doubts)]
    if not found.needs_a_look:
        lines += ["", "Nothing needs a look."]
    return terminal(map(spoken.say, lines))


def _alike(files: Sequence[NotUsed]) -> dict[tuple[str, str], list[NotUsed]]:
    """Files and sheets by why they were not used and what to do."""
    alike: dict[tuple[str, str], list[NotUsed]] = {}
    for one in files:
        alike.setdefault((one.reason, one.remedy), []).append(one)
    return alike


def _indented(text: str) -> Sentence:
    return say("  {text}", text=text if isinstance(text, Sentence) else Sentence(text))


def _where(row: RowAside) -> Sentence:
    told = "{file}, sheet {sheet}" if row.sheet else "{file}"
    return say(told, file=row.file, sheet=row.sheet)


def _table_lines(table: Reading) -> Iterator[Sentence]:
    yield say("{table} ({notes})" if table.notes else "{table}", table=table.table, notes=apart(table.notes))
    if table.crs:
        yield _indented(say("reference system: {crs}", crs=table.crs))
    for name, (heading, how) in table.columns.items():
        cells = table.cells.get(name, ())
        told = say("{name} <- {heading}{how}", name=name, heading=heading, how=_match(how))
        yield _indented(say("{told}: {cells}", told=told, cells=" | ".join(cells)) if cells else told)
    for heading, near in table.unmatched.items():
        unused = "not used: {heading} (nearest: {near})" if near else "not used: {heading}"
        yield _indented(say(unused, heading=heading, near=near))
    for heading, written, meaning in table.samples:
        yield _indented(say("{column}: {cell} -> {meaning}", column=heading, cell=written, meaning=meaning))


def _match(how: Match) -> Sentence:
    """How a heading was matched, where it is not ours to the letter."""
    return Sentence("") if how is Match.EXACT else say(" ({how})", how=Sentence(str(how)))


# --- as a page -------------------------------------------------------------------------------------------------------


def check_page(found: Check, spoken: Catalogue = ENGLISH) -> str:
    """The account as one HTML file that loads nothing and runs nothing; text of records is escaped."""
    sections = [*_walls(found), _summary(found), *_not_used_files(found), *_worth(found), *_to_correct(found)]
    if found.doubts:
        lead = "These rows are used, or could not be read at all. Something about them may not be as it was meant."
        sections.append(Section("look", "Please look", lead, found.doubts))
    sections += [*_nothing_to_do(found), *_how_read(found), *_meanings(found)]
    return report_page(found.title, "How your files were read", "", sections, spoken)


def _walls(found: Check) -> Iterator[Section]:
    if found.walls:
        lead = "Until this is put right, no map can be made of this folder. Everything else was read as far as it goes."
        yield Section("walls", "What stops the map", lead, [sentence(wall) for wall in found.walls])


def _not_used_files(found: Check) -> Iterator[Section]:
    """Files and sheets that nothing was used of: those that somebody has to look at with what they hold."""
    to_do, rest = ([one for one in found.not_used if one.to_do is wanted] for wanted in (True, False))
    if to_do:
        parts = []
        for at, ((reason, remedy), files) in enumerate(_alike(to_do).items()):
            tables = [
                _first_rows(say("What {name} holds", name=one.name), one.headings, {}, one.rows)
                for one in files
                if one.headings
            ]
            names = apart([one.name for one in files])
            parts.append(Section(f"unused-{letters(at)}", sentence(reason), names, [sentence(remedy)], tables=tables))
        lead = "Nothing was used of these files and sheets. They may hold records."
        yield Section("not-used", "Not used", lead, parts=parts)
    if rest:
        others = [(one.file, one.sheet, sentence(one.reason)) for one in rest]
        table = Table("Files and sheets that need nobody", ("File", "Sheet", "Why"), others)
        yield Section("left", "Not used, nothing to do", "These hold no records.", tables=[table])


def _first_rows(title: str, headings: Sequence[str], meant: Mapping[str, str], rows: Sequence[Sequence[str]]) -> Table:
    """A table's headings, what each was taken for, and what its first rows say there."""
    read_as = ["Taken for"] if meant else []
    names = ["First row", "Second row", "Third row"][: len(rows)]
    lines = [
        (heading or NONE, *([meant.get(heading, NOTHING)] if meant else []), *(row[at] for row in rows))
        for at, heading in enumerate(headings)
    ]
    return Table(title, ("Your heading", *read_as, *names), lines)


def _summary(found: Check) -> Section:
    waiting, files = found.waiting, found.files
    lead = "Every row that holds a record is used. There is nothing to correct."
    read, of = count(sum(f.read or 0 for f in files), "row"), count(len(files), "file")
    used = sum(f.accepted or 0 for f in files)
    words = [say("{rows} were read from {files}; {n} are used.", rows=read, files=of, n=used)]
    if not waiting and any(one.to_do for one in found.not_used):
        lead = "Every record that was read is used. Of some files or sheets nothing was: see below."
    if found.walls:
        lead = "These files were read."
        words = [say("{rows} were read from {files}.", rows=read, files=of)]
    if waiting:
        many, in_files = count(len(waiting), "row"), count(len({row.file for row in waiting}), "file")
        lead = say("{rows} in {files} cannot be used until you have a look.", rows=many, files=in_files)
        words += [
            Sentence(
                "Nothing is lost: a row that can't be used waits until you have corrected it. Go to the row in your "
                "own file, correct it and save."
            ),
            _fixes_line([fix.file for fix in found.fixes if fix.waiting or fix.changed]),
        ]
    heads = ("File", "Need you", "Set aside", "Used", "Rows", "What it holds")
    rows = [
        (f.file, *map(number, (f.to_do, f.set_aside, f.accepted, f.read)), Sentence(KIND_NAMES[Kind(f.kind)]))
        for f in files
    ]
    return Section(
        "summary", "What needs you", lead, words, tables=[Table("Files of this folder", heads, rows, fold=Fold.NEVER)]
    )


def _worth(found: Check) -> Iterator[Section]:
    """What each file holds: of how many of its rows what is known, how its units were read, what was left unread."""
    if not found.inputs:
        return
    shown = [what for what in Known if any(what in one.known for one in found.inputs)]
    rows = [
        (
            one.file,
            number(one.rows),
            *(number(one.known[what]) if what in one.known else "" for what in shown),
            where(one),
        )
        for one in found.inputs
    ]
    heads = ("File", "Rows", *(WHAT_IS_KNOWN[what] for what in shown), "Where they lie")
    more = [(one.file, following(*units(one), by=". "), left_columns(one)) for one in found.inputs]
    tables = [Table("Of how many rows what is known", heads, rows, fold=Fold.NEVER)]
    if any(any(cells[1:]) for cells in more):
        tables.append(Table("Units, and columns that were not read", ("File", "Units", "Not read"), more))
    lead = "A row counts for as much as is known of it. What is not known counts for nothing."
    yield Section("worth", "What your files hold", lead, what_matters(found.inputs), tables=tables)


def _fixes_line(names: Sequence[str]) -> Sentence:
    how = "only the rows that need you, in your file's own columns. Correct them there, save, and leave the file there."
    if names:
        return say(
            f"Or use the files to correct that lie beside your own, {{names}}: they hold {how}", names=apart(names)
        )
    return Sentence(f"Or ask for files to correct (habitatmap check with --fix), which hold {how}")


def _to_correct(found: Check) -> Iterator[Section]:
    """A section for each file that has rows to correct: a part for each reason."""
    by_file: dict[str, list[list[RowAside]]] = {}
    for group in _groups(found.waiting):
        by_file.setdefault(group[0].file, []).append(group)
    for at, (file, groups) in enumerate(by_file.items()):
        parts = [_reason_part(f"{letters(at)}-{letters(i)}", group) for i, group in enumerate(groups)]
        lead = say("{rows} to correct.", rows=count(sum(map(len, groups)), "row"))
        yield Section(f"file-{letters(at)}", say("Correct {file}", file=file), lead, parts=parts)


def _reason_part(key: str, group: Sequence[RowAside]) -> Section:
    """One reason: what to do, and the rows; what each says in its own words where they differ."""
    columns = {"Row": [row.row for row in group]}
    texts = {
        "Sheet": [row.sheet for row in group] if any(row.sheet for row in group) else [],
        "Column": [row.column or WHOLE_ROW for row in group],
        "What stands there": [row.value or BLANK for row in group],
        "Why": [row.reason for row in group] if len({row.reason for row in group}) > 1 else [],
        "The whole row": [row.cells for row in group],
    }
    shown = columns | {head: cells for head, cells in texts.items() if cells}
    more = say("The first {n} of {of} rows; set_aside.csv has them all.", n=MOST_ROWS, of=len(group))
    rows = list(zip(*shown.values(), strict=True))[:MOST_ROWS]
    note = more if len(group) > MOST_ROWS else ""
    caption = say("{rows} of {file}", rows=count(len(group), "row"), file=group[0].file)
    table = Table(caption, list(shown), rows, note, Fold.NEVER)
    name = group[0].name
    links = [(_key_of(name), "What this means, with an example")] if name in explanations() else []
    todo = say("What to do: {remedy}.", remedy=group[0].remedy)
    effects = list(filter(None, [_effect(group)]))
    return Section(f"part-{key}", sentence(_reason(group)), todo, effects, tables=[table], links=links)


def _nothing_to_do(found: Check) -> Iterator[Section]:
    groups = _groups(found.resting)
    if groups:
        rows = [(g[0].file, number(len(g)), _rows_of(g), sentence(_reason(g))) for g in groups]
        table = Table("Rows set aside that need nobody", ("File", "How many", "Which", "Why"), rows)
        lead = "These rows hold no record, or their record is used from another row. They may stay as they are."
        yield Section("rest", "Set aside, nothing to do", lead, tables=[table])


def _how_read(found: Check) -> Iterator[Section]:
    """How each table was understood: encoding, headings, first cells, places, dates."""
    tables = [table for file in found.files for table in file.tables]
    parts = [_table_part(f"read-{letters(at)}", table) for at, table in enumerate(tables)]
    if not tables:
        return
    lead = "See whether your columns were taken for what they are. If not, say so in readings.xlsx, sheet headings."
    words = [say("The area's reference system: {crs}.", crs=found.crs)] if found.crs else []
    yield Section("read", "How each file was read", lead, words, parts=parts)


def _table_part(key: str, table: Reading) -> Section:
    read_as, name = apart([part for part in (*table.notes, table.crs) if part]), table.table
    meant: dict[str, str] = {
        heading: say("{name}{how}", name=our_name, how=_match(how))
        for our_name, (heading, how) in table.columns.items()
    }
    meant |= {h: say("nothing (nearest: {near})", near=near) for h, near in table.unmatched.items() if near}
    tables = [
        _first_rows(say("Columns of {name}", name=name), table.headings, meant, table.first_rows),
        Table(
            say("What cells of {name} were understood as", name=name),
            ("Column", "Written", "Understood"),
            table.samples,
        ),
    ]
    return Section(key, as_it_is(name), say("Read as {how}.", how=read_as) if read_as else "", tables=tables)


def _meanings(found: Check) -> Iterator[Section]:
    """The guide's entries for the reasons that were given."""
    given = {row.name for row in found.set_aside}
    parts = [
        Section(
            _key_of(name),
            sentence(_in_general(Why[name].reason)),
            told.meaning,
            [
                say("For example: {example}", example=Sentence(told.example)),
                following(say("What to do: {remedy}.", remedy=_in_general(Why[name].remedy)), Sentence(told.more)),
            ],
        )
        for name, told in explanations().items()
        if name in given
    ]
    if parts:
        yield Section("meanings", "What the reasons mean", "", parts=parts)


def _key_of(name: str) -> str:
    """The place of an explanation on the page: letters only."""
    digits = str.maketrans({str(n): f"n{letter}" for n, letter in enumerate("abcdefghij")} | {"_": "-"})
    return "why-" + name.lower().translate(digits)
