"""How an area's files were understood, for the person who has to mend them: one account, as text, page and table."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pandas as pd

from habitatmap.area import Area
from habitatmap.errors import why
from habitatmap.export.folder import write_folder
from habitatmap.export.formats import csv_text, visible
from habitatmap.page.document import shown
from habitatmap.page.sections import Section, Table, report_page
from habitatmap.read.corrections import Written
from habitatmap.read.formats.cells import as_text
from habitatmap.read.ledger import COLUMNS, SetAside
from habitatmap.words.explained import explanations

# what the kinds are called for somebody who has not read the README
KINDS = {
    "pools": "pools",
    "visits": "visits",
    "trees": "trees",
    "land": "land and consents",
    "keep_away": "what pools keep away from",
    "paths": "paths and streets",
    "boundary": "outline of the area",
    "inventoried": "where the list of trees is complete",
    "land_cover": "land cover",
    "overlays": "painted over the land cover",
}
# rows of one reason that the page lists; set_aside.csv has them all
MOST_ROWS = 200
LONGEST_ROW = 200
# rows of one reason that the terminal names
ROWS_NAMED = 8

Account = Mapping[str, Any]


def account(area: Area, fixes: Sequence[Written] = ()) -> dict[str, Any]:
    """What was read and how: title, crs, notes, one entry per file with its tables, the rows set aside, the doubts.

    `doubts` are sentences on rows that are used, or on what was not read, that somebody should look at. `fixes` are
    the correction files that were written.
    """
    tables: dict[tuple[str, str], list[dict[str, Any]]] = {}
    doubts = [*area.notes[1:], *area.ledger.doubts]  # the first note says which reference system is used
    for reading in area.ledger.readings:
        entry = {
            "table": reading.table,
            "read_as": list(reading.notes),
            "crs": reading.crs,
            "columns": [
                {"name": name, "heading": heading, "match": how, "samples": list(reading.cells.get(name, ()))}
                for name, (heading, how) in reading.columns.items()
            ],
            "unmatched": [{"heading": heading, "nearest": name} for heading, name in reading.unmatched.items()],
            "samples": [
                {"column": column, "written": written, "understood": meaning}
                for column, written, meaning in reading.samples
            ],
        }
        tables.setdefault((reading.kind, reading.file), []).append(entry)
        doubts += [f"{reading.table}: {note}" for note in reading.notes if "not read" in note]
    if area.land_cover is not None:
        doubts += [
            f"{area.land_cover.name} has no class {value} ({share:.1%} of the cells): what it is worth is not known"
            for value, share in area.land_cover.unmatched
        ]
    aside = [
        dict(zip(COLUMNS, entry[1:7], strict=True))
        | {"sheet": entry.table.sheet if entry.table else "", "name": why.name_of(entry.reason)}
        | {"cells": _cells(entry)}
        for entry in area.ledger.in_order()
    ]
    counts = area.ledger.by_file()
    files = []
    for kind, file in sorted(counts.keys() | tables.keys()):
        read, accepted, set_aside = counts.get((kind, file), (None, None, None))
        files.append(
            {"kind": kind, "file": file, "read": read, "accepted": accepted, "set_aside": set_aside}
            | {"to_do": sum(r["file"] == file and r["name"] not in why.NOTHING_TO_DO for r in aside)}
            | {"tables": tables.get((kind, file), [])}
        )
    return {
        "title": area.title,
        "crs": area.crs.name,
        "notes": area.notes,
        "remarks": area.ledger.remarks,
        "doubts": list(dict.fromkeys(doubts)),
        "files": files,
        "set_aside": aside,
        "fixes": [asdict(file) for file in fixes],
    }


def _cells(entry: SetAside) -> str:
    """What the whole row says, for somebody who looks for it."""
    row = entry.table.rows[entry.at] if entry.table else ()
    text = "; ".join(filter(None, map(as_text, row)))
    return text if len(text) <= LONGEST_ROW else f"{text[: LONGEST_ROW - 1]}…"


def needs_a_look(found: Account) -> bool:
    """Whether a row waits for somebody, or something about the rows in use should be looked at."""
    return bool(found["doubts"]) or any(row["name"] not in why.NOTHING_TO_DO for row in found["set_aside"])


def write_check(found: Account, folder: str | Path) -> None:
    """Writes check.html and set_aside.csv into `folder`, which is replaced in one step."""
    aside = pd.DataFrame([[row[c] for c in COLUMNS] for row in found["set_aside"]], columns=list(COLUMNS))

    def fill(fresh: Path) -> None:
        (fresh / "check.html").write_text(check_page(found), encoding="utf-8", newline="\n")
        (fresh / "set_aside.csv").write_bytes(csv_text(aside).encode("utf-8"))

    write_folder(Path(folder).resolve(), fill)


def _groups(rows: Iterable[Mapping[str, Any]]) -> list[list[Mapping[str, Any]]]:
    """Rows that share file, reason and remedy, in the order of the first of each."""
    groups: dict[tuple[str, str, str], list[Mapping[str, Any]]] = {}
    for row in rows:
        groups.setdefault((row["file"], row["name"] or row["reason"], row["remedy"]), []).append(row)
    return list(groups.values())


def _waiting(found: Account, waits: bool = True) -> list[Mapping[str, Any]]:
    """The rows set aside that somebody has to do something about; without `waits` the others."""
    return [row for row in found["set_aside"] if (row["name"] not in why.NOTHING_TO_DO) == waits]


def _rows_of(group: Sequence[Mapping[str, Any]]) -> str:
    numbers = ", ".join(str(row["row"]) for row in group[:ROWS_NAMED])
    more = f" and {len(group) - ROWS_NAMED} more" if len(group) > ROWS_NAMED else ""
    return f"row{'s' if len(group) > 1 else ''} {numbers}{more}"


def _told(group: Sequence[Mapping[str, Any]]) -> str:
    """The reason of a group: in full for one row, in general words for several that differ."""
    reasons = {row["reason"] for row in group}
    known = explanations().get(group[0]["name"])
    return str(group[0]["reason"]) if len(reasons) == 1 or known is None else known.reason


# --- on the terminal -------------------------------------------------------------------------------------------------


def check_text(found: Account) -> str:
    """The account for a terminal: a line per file, what its columns are, and each reason once with its rows."""
    rows = [("file", "kind", "read", "accepted", "set aside", "to do")]
    rows += [
        (
            f["file"],
            f["kind"],
            *("-" if f[n] is None else str(f[n]) for n in ("read", "accepted", "set_aside", "to_do")),
        )
        for f in found["files"]
    ]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    for file in found["files"]:
        for table in file["tables"]:
            lines += ["", *_table_lines(table)]
    for waits, heading in ((False, "Set aside, nothing to do:"), (True, "To correct:")):
        groups = _groups(_waiting(found, waits))
        lines += ["", heading] if groups else []
        lines += [f"  {g[0]['file']}, {_rows_of(g)}: {_told(g)}; {g[0]['remedy']}" for g in groups]
    if found["doubts"]:
        lines += ["", "Please look:", *(f"  {doubt}" for doubt in found["doubts"])]
    if not needs_a_look(found):
        lines += ["", "Nothing needs a look."]
    return visible("\n".join(shown(line) for line in lines)) + "\n"


def _table_lines(table: Mapping[str, Any]) -> Iterator[str]:
    yield f"{table['table']}{' (' + ', '.join(table['read_as']) + ')' if table['read_as'] else ''}"
    if table["crs"]:
        yield f"  reference system: {table['crs']}"
    for column in table["columns"]:
        near = "" if column["match"] == "exact" else f" ({column['match']})"
        cells = f": {' | '.join(column['samples'])}" if column["samples"] else ""
        yield f"  {column['name']} <- {column['heading']}{near}{cells}"
    for left in table["unmatched"]:
        yield f"  not used: {left['heading']}" + (f" (nearest: {left['nearest']})" if left["nearest"] else "")
    for sample in table["samples"]:
        yield f"  {sample['column']}: {sample['written']} -> {sample['understood']}"


# --- as a page -------------------------------------------------------------------------------------------------------


def check_page(found: Account) -> str:
    """The account as one HTML file that loads nothing and runs nothing; text of records is escaped."""
    sections = [_summary(found), *_to_correct(found)]
    if found["doubts"]:
        lead = "These rows are used, or could not be read at all. Something about them may not be as it was meant."
        sections.append(Section("look", "Please look", lead, found["doubts"]))
    sections += [*_nothing_to_do(found), _how_read(found), *_meanings(found)]
    return report_page(found["title"], "How your files were read", "", sections)


def _summary(found: Account) -> Section:
    waiting, files = _waiting(found), found["files"]
    read = sum(f["read"] or 0 for f in files)
    used = sum(f["accepted"] or 0 for f in files)
    of_files = len({row["file"] for row in waiting})
    if waiting:
        lead = f"{_number(len(waiting), 'row')} in {_number(of_files, 'file')} cannot be used until you have a look."
    else:
        lead = "Every row that holds a record is used. There is nothing to correct."
    words = [f"{_number(read, 'row')} were read from {_number(len(files), 'file')}; {used:,} are used."]
    if waiting:
        words += [
            "Nothing is lost: a row that can't be used waits until you have corrected it. Go to the row in your own "
            "file, correct it and save.",
            _fixes_line([fix["file"] for fix in found["fixes"] if fix["waiting"] or fix["changed"]]),
        ]
    heads = ("File", "Need you", "Set aside", "Used", "Rows", "What it holds")
    counts = [["" if f[n] is None else f"{f[n]:,}" for n in ("to_do", "set_aside", "accepted", "read")] for f in files]
    rows = [(f["file"], *count, KINDS.get(f["kind"], f["kind"])) for f, count in zip(files, counts, strict=True)]
    return Section("summary", "What needs you", lead, words, tables=[Table("Files of this folder", heads, rows)])


def _fixes_line(names: Sequence[str]) -> str:
    how = "only the rows that need you, in your file's own columns. Correct them there, save, and leave the file there"
    if names:
        return f"Or use the correction files that lie beside your own, {', '.join(names)}: they hold {how}."
    return f"Or ask for correction files (habitatmap check with --fix), which hold {how}."


def _to_correct(found: Account) -> Iterator[Section]:
    """A section for each file that has rows to correct: a part for each reason."""
    by_file: dict[str, list[list[Mapping[str, Any]]]] = {}
    for group in _groups(_waiting(found)):
        by_file.setdefault(group[0]["file"], []).append(group)
    for at, (file, groups) in enumerate(by_file.items()):
        parts = [_reason_part(f"{_letters(at)}-{_letters(i)}", group) for i, group in enumerate(groups)]
        number = sum(map(len, groups))
        lead = f"{_number(number, 'row')} to correct."
        yield Section(f"file-{_letters(at)}", f"Correct {file}", lead, parts=parts)


def _reason_part(key: str, group: Sequence[Mapping[str, Any]]) -> Section:
    """One reason: what to do, and the rows; what each says in its own words where they differ."""
    told = _told(group)
    several = len({row["reason"] for row in group}) > 1
    sheets = any(row["sheet"] for row in group)
    heads = ["Row", *(["Sheet"] if sheets else []), "Column", "What stands there"]
    heads += [*(["Why"] if several else []), "The whole row"]
    rows = [
        [
            row["row"],
            *([row["sheet"]] if sheets else []),
            row["column"] or "the whole row",
            row["value"] or "(blank)",
            *([row["reason"]] if several else []),
            row["cells"],
        ]
        for row in group[:MOST_ROWS]
    ]
    more = (
        f"The first {MOST_ROWS} of {len(group):,} rows; set_aside.csv has them all." if len(group) > MOST_ROWS else ""
    )
    table = Table(f"{_number(len(group), 'row')} of {group[0]['file']}", heads, rows, more)
    name = group[0]["name"]
    links = [(_key_of(name), "What this means, with an example")] if name in explanations() else []
    return Section(f"part-{key}", _sentence(told), f"What to do: {group[0]['remedy']}.", tables=[table], links=links)


def _nothing_to_do(found: Account) -> Iterator[Section]:
    groups = _groups(_waiting(found, waits=False))
    if groups:
        rows = [(g[0]["file"], f"{len(g):,}", _rows_of(g), _sentence(_told(g))) for g in groups]
        table = Table("Rows set aside that need nobody", ("File", "How many", "Which", "Why"), rows)
        lead = "These rows hold no record, or their record is used from another row. They may stay as they are."
        yield Section("rest", "Set aside, nothing to do", lead, tables=[table])


def _how_read(found: Account) -> Section:
    """How each table was understood: encoding, headings, first cells, places, dates."""
    tables = [table for file in found["files"] for table in file["tables"]]
    parts = [_table_part(f"read-{_letters(at)}", table) for at, table in enumerate(tables)]
    lead = "See whether your columns were taken for what they are. If not, rename the heading."
    return Section(
        "read", "How each file was read", lead, [f"The area's reference system: {found['crs']}."], parts=parts
    )


def _table_part(key: str, table: Mapping[str, Any]) -> Section:
    read_as = ", ".join([*table["read_as"], *([table["crs"]] if table["crs"] else [])])
    name = table["table"]
    tables = []
    if table["columns"]:
        rows = [
            (c["heading"], c["name"] + ("" if c["match"] == "exact" else f" ({c['match']})"), " | ".join(c["samples"]))
            for c in table["columns"]
        ]
        tables.append(Table(f"Columns of {name}", ("Your heading", "Read as", "First cells"), rows))
    if table["samples"]:
        rows = [(s["column"], s["written"], s["understood"]) for s in table["samples"]]
        tables.append(Table(f"What cells of {name} were understood as", ("Column", "Written", "Understood"), rows))
    if table["unmatched"]:
        left = [(u["heading"], u["nearest"] or "none") for u in table["unmatched"]]
        tables.append(Table(f"Headings of {name} that nothing reads", ("Your heading", "Nearest of ours"), left))
    return Section(key, name, f"Read as {read_as}." if read_as else "", tables=tables)


def _meanings(found: Account) -> Iterator[Section]:
    """The guide's entries for the reasons that were given."""
    given = {row["name"] for row in found["set_aside"]}
    parts = [
        Section(
            _key_of(name),
            _sentence(told.reason),
            told.meaning.replace("`", ""),
            [f"For example: {told.example.replace('`', '')}", f"What to do: {told.remedy.replace('`', '')}"],
        )
        for name, told in explanations().items()
        if name in given
    ]
    if parts:
        yield Section("meanings", "What the reasons mean", "", parts=parts)


def _key_of(name: str) -> str:
    """The place of an explanation on the page: letters only."""
    letters = name.lower().replace("_", "-")
    return "why-" + "".join(f"n{'abcdefghij'[int(c)]}" if c.isdigit() else c for c in letters)


def _letters(number: int) -> str:
    """A number as letters, which keys of sections are made of: a, b, ..., z, ba, bb, ..."""
    return (_letters(number // 26) if number >= 26 else "") + chr(ord("a") + number % 26)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _number(count: int, thing: str) -> str:
    return f"{count:,} {thing}{'' if count == 1 else 's'}"
