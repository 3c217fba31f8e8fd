"""How an area's files were understood, for the person who has to mend them: one account, as text, page and table."""

from __future__ import annotations

import base64
import hashlib
import html
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from habitatmap.area import Area
from habitatmap.intake.ledger import COLUMNS
from habitatmap.show.exports import csv_text, visible
from habitatmap.show.page.figure import shown
from habitatmap.show.write import write_folder

# what set_aside.csv and the page call its columns
HEADS = {"row": "Row", "column": "Column", "value": "Value", "reason": "Why", "remedy": "What to do"}
STYLE = """
:root{color-scheme:light dark}
body{font:1rem/1.5 system-ui,sans-serif;max-width:75rem;margin:1rem auto;padding:0 1rem;color:#1a1a1a;background:#fff}
table{border-collapse:collapse;margin:.5rem 0 1rem}
th,td{text-align:left;vertical-align:top;padding:.25rem .6rem;border:1px solid #767676;overflow-wrap:anywhere}
caption{text-align:left;font-weight:600}
.wide{overflow-x:auto}
@media (prefers-color-scheme:dark){body{color:#eee;background:#16181a}}
@media print{.wide{overflow:visible}body{color:#000;background:#fff}}
"""


def account(area: Area) -> dict[str, Any]:
    """What was read and how: title, crs, notes, one entry per file with its tables, remarks, and the rows set aside."""
    tables: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for reading in area.ledger.readings:
        entry = {
            "table": reading.table,
            "read_as": list(reading.notes),
            "crs": reading.crs,
            "columns": [
                {"name": name, "heading": heading, "match": how} for name, (heading, how) in reading.columns.items()
            ],
            "unmatched": [{"heading": heading, "nearest": name} for heading, name in reading.unmatched.items()],
            "samples": [
                {"column": column, "written": written, "understood": meaning}
                for column, written, meaning in reading.samples
            ],
        }
        tables.setdefault((reading.kind, reading.file), []).append(entry)
    counts = area.ledger.by_file()
    files = []
    for kind, file in sorted(counts.keys() | tables.keys()):
        read, accepted, aside = counts.get((kind, file), (None, None, None))
        files.append(
            {"kind": kind, "file": file, "read": read, "accepted": accepted, "set_aside": aside}
            | {"tables": tables.get((kind, file), [])}
        )
    return {
        "title": area.title,
        "crs": area.crs.name,
        "notes": area.notes,
        "remarks": area.ledger.remarks,
        "files": files,
        "set_aside": area.ledger.frame().to_dict("records"),
    }


def write_check(found: Mapping[str, Any], folder: str | Path) -> None:
    """Writes check.html and set_aside.csv into `folder`, which is replaced in one step."""
    aside = pd.DataFrame(found["set_aside"], columns=list(COLUMNS))

    def fill(fresh: Path) -> None:
        (fresh / "check.html").write_text(check_page(found), encoding="utf-8", newline="\n")
        (fresh / "set_aside.csv").write_bytes(csv_text(aside).encode("utf-8"))

    write_folder(Path(folder).resolve(), fill)


# --- on the terminal -------------------------------------------------------------------------------------------------


def check_text(found: Mapping[str, Any]) -> str:
    """The account for a terminal: a line per file, what its columns are, and each reason once with its rows."""
    rows = [("file", "kind", "read", "accepted", "set aside")]
    rows += [
        (f["file"], f["kind"], *("-" if f[n] is None else str(f[n]) for n in ("read", "accepted", "set_aside")))
        for f in found["files"]
    ]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    for file in found["files"]:
        for table in file["tables"]:
            lines += ["", *_table_lines(table)]
    if found["set_aside"]:
        lines += ["", "Set aside:"]
        groups = Counter((r["file"], r["reason"], r["remedy"]) for r in found["set_aside"])
        for (file, reason, remedy), number in groups.items():
            first = next(r["row"] for r in found["set_aside"] if (r["file"], r["reason"]) == (file, reason))
            rows_of = f"row {first}" if number == 1 else f"{number} rows, the first is row {first}"
            lines.append(f"  {file}, {rows_of}: {reason}; {remedy}")
    return visible("\n".join(shown(line) for line in lines)) + "\n"


def _table_lines(table: Mapping[str, Any]) -> Iterable[str]:
    yield f"{table['table']}{' (' + ', '.join(table['read_as']) + ')' if table['read_as'] else ''}"
    if table["crs"]:
        yield f"  reference system: {table['crs']}"
    for column in table["columns"]:
        near = "" if column["match"] == "exact" else f" ({column['match']})"
        yield f"  {column['name']} <- {column['heading']}{near}"
    for left in table["unmatched"]:
        yield f"  not used: {left['heading']}" + (f" (nearest: {left['nearest']})" if left["nearest"] else "")
    for sample in table["samples"]:
        yield f"  {sample['column']}: {sample['written']} -> {sample['understood']}"


# --- as a page -------------------------------------------------------------------------------------------------------


def check_page(found: Mapping[str, Any]) -> str:
    """The account as one HTML file that loads nothing and runs nothing; text of records is escaped."""
    body = [f"<h1>{_text(found['title'])}: how the files were understood</h1>"]
    number = len(found["set_aside"])
    body.append(f"<p>{number or 'No'} row{'' if number == 1 else 's'} set aside.</p>")
    body += [f"<p>{_text(note)}</p>" for note in found["notes"]]
    for file in found["files"]:
        body.append(f"<h2>{_text(file['file'])} ({_text(file['kind'])})</h2>")
        if file["read"] is not None:
            body.append(f"<p>{file['read']} rows read, {file['accepted']} accepted, {file['set_aside']} set aside.</p>")
        for table in file["tables"]:
            body += _table_html(table)
    aside: dict[str, list[Mapping[str, Any]]] = {}
    for row in found["set_aside"]:
        aside.setdefault(row["file"], []).append(row)
    body += ["<h2>Rows set aside</h2>"] if aside else []
    for name, rows in aside.items():
        body.append(_grid(name, list(HEADS.values()), [[row[key] for key in HEADS] for row in rows]))
    if found["remarks"]:
        body += ["<h2>Remarks</h2>", "<ul>", *(f"<li>{_text(r)}</li>" for r in found["remarks"]), "</ul>"]
    digest = base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode("ascii")
    policy = f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    head = [
        "<!DOCTYPE html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        '<meta name="referrer" content="no-referrer">',
        f"<title>{_text(found['title'])}: check</title>",
        f"<style>{STYLE}</style>",
        "</head>",
    ]
    return "\n".join([*head, "<body>", "<main>", *body, "</main>", "</body>", "</html>", ""])


def _table_html(table: Mapping[str, Any]) -> list[str]:
    read_as = ", ".join([*table["read_as"], *([table["crs"]] if table["crs"] else [])])
    parts = [f"<p>Read as {_text(read_as)}.</p>"] if read_as else []
    columns = [[c["name"], c["heading"], c["match"]] for c in table["columns"]]
    parts.append(_grid(f"Columns of {table['table']}", ["Ours", "In the file", "Match"], columns))
    if table["unmatched"]:
        left = [[u["heading"], u["nearest"] or "none"] for u in table["unmatched"]]
        parts.append(_grid(f"Not used in {table['table']}", ["In the file", "Nearest of ours"], left))
    if table["samples"]:
        samples = [[s["column"], s["written"], s["understood"]] for s in table["samples"]]
        parts.append(_grid(f"Samples of {table['table']}", ["Column", "As written", "Understood as"], samples))
    return parts


def _grid(caption: str, heads: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A table that scrolls by key where it is wider than the page."""
    head = "".join(f'<th scope="col">{_text(h)}</th>' for h in heads)
    body = "\n".join("<tr>" + "".join(f'<td dir="auto">{_text(c)}</td>' for c in row) + "</tr>" for row in rows)
    label = _text(caption)
    return (
        f'<div class="wide" role="region" aria-label="{label}" tabindex="0"><table><caption>{label}</caption>'
        f"<thead><tr>{head}</tr></thead>\n<tbody>\n{body}\n</tbody></table></div>"
    )


def _text(value: object) -> str:
    return html.escape(shown(value))
