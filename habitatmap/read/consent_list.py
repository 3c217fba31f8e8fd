"""Writing consent.xlsx: a row for each piece of land, to fill in without a GIS.

What somebody wrote there is kept, rows are only added. Rows that matter most come first: the land of suggested sites,
then that of pools; within each part the order of the list stays.
"""

from __future__ import annotations

import datetime
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import python_calamine
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from habitatmap.errors import InputError
from habitatmap.geo.gazetteer import Gazetteer
from habitatmap.privacy import STREET_M
from habitatmap.read.consent_words import word_of
from habitatmap.read.consents import FIELDS, agreed_in, entries_in, memory_of, remembered
from habitatmap.read.files import find_inputs, read_tables
from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.land import read_land
from habitatmap.read.land_ids import land_ids
from habitatmap.read.ledger import Ledger
from habitatmap.read.names import read_names
from habitatmap.read.paths import read_paths
from habitatmap.read.rows import open_drafts
from habitatmap.read.templates import BAD_DATE, CREATED, not_read
from habitatmap.read.values import name_of
from habitatmap.sentences import Quantity, Sentence, count
from habitatmap.vocabulary.catalogues import LANGUAGES, word_in
from habitatmap.vocabulary.columns import Column, filled_in
from habitatmap.vocabulary.kinds import Kind

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

Say = Callable[[str], str]  # what a text of ours is in the language of the list

FILE = "consent.xlsx"
# what a row says, understood, beside its cells; and where rows of land that is gone come
TEXTS, LAST = "=texts", 3
# a workbook's cell holds no more
LONGEST_CELL = 32_000
SHEET, HELP_SHEET = "Consent", "Help"
COLUMNS = filled_in(Kind.CONSENT, f"id name street area_ha kind {' '.join(FIELDS)} as_in_land")
NAMES = [column.name for column in COLUMNS]
MADE = ("id", "name", "street", "area_ha", "kind")  # what the list says of the land; the rest is what was agreed
HELP = (
    "A row for each piece of land. Fill in consent, until, owner, contact, condition and note; nothing else is read.",
    "consent is yes, ask or no. A blank is not a yes: somebody must ask.",
    "until is the last day of a consent, such as 2027-03-31; after it somebody must ask again.",
    "What you write counts before what the file of land says. What you leave as it is follows that file.",
    "Your entries are kept. habitatmap check adds rows for new land, and puts the land of suggested sites first.",
    "You may sort the rows, hide some, and add columns on the right. Leave the ids as they are.",
    "Save as xlsx or ods in the folder of the area, then run: habitatmap map",
    "This file names people: it is for the team only.",
)


@dataclass(frozen=True)
class Parcel:
    """A piece of land as the list has it. `made`: the id it would have without one of its own; `said`: what land.* says
    of the consent, by field; `rank`: how much it matters: 0 for land of a suggested site, 1 for land with a pool, 2 for
    all other."""

    id: str
    made: str
    name: str
    street: str
    area_ha: float
    kind: str
    said: Mapping[str, str]
    rank: int


def parcels_of(
    land: gpd.GeoDataFrame, called: Sequence[str], paths: gpd.GeoDataFrame, pools: pd.DataFrame, sites: pd.DataFrame
) -> list[Parcel]:
    """The pieces of land (the frame of `read_land`) as the list has them, the largest first.

    called: what to call each; paths: those with a name are the streets; pools, sites: x, y in metres of the system of
    `land`, sites only where their exact place may be known.
    """
    said = [remembered(text) for text in land["said"]]
    area = (land.geometry.area / 10_000).round(3)
    shapes, nothing = land.geometry.tolist(), [""] * len(land)
    made = land_ids(nothing, shapes, nothing, land.crs, ()).ids
    ids, kinds = land["id"].astype(str).tolist(), land["kind"].astype(str).tolist()
    streets, ranks = _streets(land, paths), _ranks(land, pools, sites).tolist()
    parcels = [
        Parcel(ids[i], made[i], called[i], streets[i], float(area.iloc[i]), kinds[i], said[i], ranks[i])
        for i in range(len(land))
    ]
    return sorted(parcels, key=lambda one: (-one.area_ha, one.id))


def _streets(land: gpd.GeoDataFrame, paths: gpd.GeoDataFrame) -> list[str]:
    """The nearest named path of each piece of land, "" where none is near; of several as near the first by its name."""
    streets = [""] * len(land)
    named = paths[paths["name"].astype(str) != ""].sort_values("name", kind="stable")
    if len(named) and len(land):
        shapes = np.asarray(land.geometry.to_numpy(), dtype=object)
        tree = shapely.STRtree(named.geometry.to_numpy())
        at, found = tree.query_nearest(shapes, max_distance=STREET_M)
        names = named["name"].astype(str).tolist()
        for i, j in sorted(zip(at.tolist(), found.tolist(), strict=True), reverse=True):
            streets[i] = names[j]
    return streets


def _ranks(land: gpd.GeoDataFrame, pools: pd.DataFrame, sites: pd.DataFrame) -> NDArray[np.int64]:
    """How much each piece of land matters, as `Parcel` has it."""
    ranks = np.full(len(land), 2, dtype=np.int64)
    tree = shapely.STRtree(land.geometry.to_numpy())
    for rank, points in ((1, pools), (0, sites)):
        places = shapely.points(points[["x", "y"]].to_numpy(dtype=float))
        ranks[np.unique(tree.query(places, predicate="intersects")[1])] = rank
    return ranks


def start_list(folder: Path, crs: CRS, say: Say = str) -> None:
    """Writes the list for the land of a folder that holds nothing but inputs yet; `crs`: any in metres; `say`: see
    `write_list`."""
    tables = {
        kind: [table for path in find_inputs(folder, kind) for table in read_tables(path)]
        for kind in (Kind.LAND, Kind.PATHS, Kind.NAMES)
    }
    day, nowhere = datetime.date.today(), pd.DataFrame({"x": [], "y": []})
    land = read_land(tables[Kind.LAND], crs, Stated(), Ledger(), day)
    paths, names = (
        read(tables[kind], crs, Stated(), Ledger())
        for read, kind in ((read_paths, Kind.PATHS), (read_names, Kind.NAMES))
    )
    if len(land):
        called = Gazetteer.of(land[land["private"] != "yes"], names, paths).call(land)
        write_list(folder, parcels_of(land, called, paths, nowhere, nowhere), say)


def write_list(folder: Path, parcels: Sequence[Parcel], say: Say = str) -> Sentence:
    """Writes consent.xlsx into the folder of an area where something is to be added or changed; a sentence on it, ""
    where there was nothing to do. `say`: the words of its language; the headings are the same in each.

    Nothing is written while the file is open in a spreadsheet program, nor where the list is kept in another format,
    or holds sheets of somebody's own; the sentence says so. InputError where it can't be read or written.
    """
    path = folder / FILE
    others = [p for p in find_inputs(folder, Kind.CONSENT) if p != path]
    if others and not path.exists():
        ids = {row["id"] for p in others for row in _rows(read_tables(p))[0]}
        lacking = sum(one.id not in ids for one in parcels)
        told = "{file} lacks land ({rows}); save it as consent.xlsx to have it added, and delete the other"
        return Sentence(told if lacking else "", {"file": others[0].name, "rows": count(lacking, "row")})
    tables = read_tables(path) if path.exists() else []
    old, heads = _rows(tables)
    new = _renewed(old, parcels, say)
    if new == [{name: row.get(name) for name in (*NAMES, *heads)} for row in old]:
        return Sentence("")
    if any((folder / lock).exists() for lock in (f".~lock.{FILE}#", f"~${FILE}")):
        return Sentence(IS_OPEN)
    if any(table.failed for table in tables):
        return Sentence(HAS_FORMULAS)
    if own := _own_sheets(path, say):
        return Sentence(HAS_OWN_SHEETS, {"sheets": ", ".join(own)})
    _write(path, new, heads, say)
    added = len(new) - len(old)
    told = "consent.xlsx: {rows}, {n} of them new" if added else "consent.xlsx: {rows}, brought up to date"
    return Sentence(told, {"rows": count(len(new), "row"), "n": Quantity(added, grouped=True)})


IS_OPEN = "consent.xlsx is open in a spreadsheet program, so nothing was written there; close it and run check again"
HAS_FORMULAS = (
    "consent.xlsx holds formulas without a result, so it was left as it is; write what they mean, and check again"
)
HAS_OWN_SHEETS = (
    "consent.xlsx has sheets of your own ({sheets}), which would be lost, so it was left as it is; move them into "
    "another file and run check again"
)


def _own_sheets(path: Path, say: Say) -> list[str]:
    """The sheets of a workbook that are none of ours, in whichever language it was written."""
    if not path.exists():
        return []
    ours = {word_in(language, name) for language in LANGUAGES for name in (SHEET, HELP_SHEET)}
    ours |= {say(SHEET), say(HELP_SHEET)}
    with python_calamine.CalamineWorkbook.from_path(str(path)) as book:
        return [name for name in book.sheet_names if name not in ours]


# --- the rows --------------------------------------------------------------------------------------------------------


def _rows(tables: Sequence[Table]) -> tuple[list[dict[str, object]], list[str]]:
    """The rows of the list, cells by our names and by the headings of columns of somebody's own; and these headings."""
    rows: list[dict[str, object]] = []
    heads: list[str] = []
    for draft in open_drafts(Kind.CONSENT, tables, Stated(), Ledger()):
        at = draft.headings.at
        own = [(i, h) for i, h in enumerate(draft.table.headings) if i not in at.values() and h]
        heads += [h for _, h in own if h not in heads]
        for cells, agreed in zip(draft.table.rows, agreed_in(draft), strict=True):
            row: dict[str, object] = {name: cells[i] for name, i in at.items()}
            row |= {h: cells[i] for i, h in own} | {"id": name_of(row.get("id"))}
            rows.append(row | {TEXTS: agreed.texts})
    return rows, heads


def _renewed(old: Sequence[Mapping[str, object]], parcels: Sequence[Parcel], say: Say) -> list[dict[str, object]]:
    """The rows of the list with all land in it; those of land that is gone come last."""
    by_id = {one.id: one for one in parcels}
    id_now = {one.made: one.id for one in parcels}
    ranked: list[tuple[int, dict[str, object]]] = []
    for row in old:
        full = dict.fromkeys(NAMES) | {name: cell for name, cell in row.items() if name != TEXTS}
        listed = str(row["id"])
        parcel = by_id.pop(listed, None) or by_id.pop(id_now.get(listed, ""), None)
        ranked.append((parcel.rank, full | _fresh(row, parcel, say)) if parcel else (LAST, full))
    heads = dict.fromkeys(name for _, row in ranked for name in row)
    new = [(one.rank, dict.fromkeys(heads) | _fresh({TEXTS: {}}, one, say)) for one in by_id.values()]
    return [row for _, row in sorted([*ranked, *new], key=lambda one: one[0])]


def _fresh(row: Mapping[str, object], parcel: Parcel, say: Say) -> dict[str, object]:
    """What a row says of its land today: what somebody wrote in it is kept, all else is as land.* has it."""
    texts, memory = row[TEXTS], remembered(as_text(row.get("as_in_land")))
    assert isinstance(texts, dict)
    entries = entries_in(dict.fromkeys(FIELDS, "") | texts, memory)
    made = (parcel.id, say(parcel.name) or None, parcel.street or None, parcel.area_ha, parcel.kind or None)
    cells: dict[str, object] = dict(zip(MADE, made, strict=True))
    for name in FIELDS:
        cells[name] = row.get(name) if name in entries else _cell(name, parcel.said.get(name, ""), say)
    # what land.* said before somebody wrote something else stays known until the two agree
    kept = {name: memory.get(name, "") for name in entries if memory}
    cells["as_in_land"] = memory_of({name: kept.get(name, parcel.said.get(name, "")) for name in FIELDS}) or None
    return cells


def _cell(name: str, text: str, say: Say) -> object:
    if name == "consent" and text:
        return answer(text, say)
    if name == "until":
        try:
            return datetime.date.fromisoformat(text)
        except ValueError:
            pass
    return text or None


def answer(word: str, say: Say) -> str:
    """yes, ask or no in the language of the list, where that is read back as the same."""
    told = say(word)
    return told if word_of(told) == word else word


# --- the workbook ----------------------------------------------------------------------------------------------------


def _write(path: Path, rows: Sequence[Mapping[str, object]], heads: Sequence[str], say: Say) -> None:
    """The workbook in one step; the same rows give the same bytes."""
    from xlsxwriter import Workbook
    from xlsxwriter.exceptions import XlsxFileError

    unfinished = path.with_name(f".{path.name}.new")
    try:
        with Workbook(unfinished) as book:
            book.set_properties({"created": CREATED})
            font = {"font_name": "Calibri", "font_size": 11, "valign": "top"}
            bold, plain = book.add_format(font | {"bold": True}), book.add_format(font | {"text_wrap": True})
            head = book.add_format(font | {"bold": True, "font_color": "#ffffff", "bg_color": "#0b5c6b", "border": 1})
            grey = book.add_format(font | {"font_color": "#5a6566", "bg_color": "#eef2f1"})
            day = book.add_format(font | {"num_format": "yyyy-mm-dd"})
            sheet = book.add_worksheet(say(SHEET))
            sheet.freeze_panes(1, 2)
            sheet.set_landscape()
            sheet.repeat_rows(0)
            sheet.fit_to_pages(1, 0)
            known = {column.name: column for column in COLUMNS}
            for at, name in enumerate([*NAMES, *heads]):
                column, style = known.get(name), grey if name in MADE else day if name == "until" else plain
                width = column.entry.width if column else 20
                sheet.set_column(at, at, width, style, {"hidden": name == "as_in_land"})
                sheet.write_string(0, at, name, head)
                if column and name in FIELDS and rows:
                    sheet.data_validation(1, at, len(rows), at, _validation(column, say))
                for number, row in enumerate(rows, 1):
                    _write_cell(sheet, number, at, row.get(name), style, day)
            sheet.autofilter(0, 0, len(rows), len(NAMES) + len(heads) - 1)
            lines = book.add_worksheet(say(HELP_SHEET))
            lines.set_column(0, 0, 110, plain)
            lines.write_string(0, 0, not_read(say), bold)
            for number, text in enumerate(HELP, 2):
                lines.write_string(number, 0, say(text), plain)
        os.replace(unfinished, path)
    except (OSError, XlsxFileError) as fault:
        raise InputError(
            f"{path.name} could not be written ({fault}); close it where it is open, and try again"
        ) from fault
    finally:
        unfinished.unlink(missing_ok=True)


def _write_cell(sheet: Worksheet, row: int, at: int, cell: object, style: Format, day: Format) -> None:
    """A cell as what it is: text stays text, whatever a spreadsheet program might make of it."""
    if isinstance(cell, datetime.date):
        sheet.write_datetime(row, at, cell, day)
    elif isinstance(cell, (bool, int, float)):
        sheet.write(row, at, cell, style)
    elif cell is not None:
        sheet.write_string(row, at, as_text(cell)[:LONGEST_CELL], style)


def _validation(column: Column, say: Say) -> dict[str, object]:
    """What a cell is held to; a warning may be waved through, as words of other languages are understood too."""
    told = say(column.help)[:255]
    rule: dict[str, object] = {"input_title": column.name, "input_message": told, "error_type": "warning"}
    if column.values:
        return rule | {"validate": "list", "source": [answer(v, say) for v in column.values], "error_message": told}
    if column.name == "until":
        between = {"criteria": "between", "minimum": datetime.date(2000, 1, 1), "maximum": datetime.date(2099, 12, 31)}
        return rule | {"validate": "date", "error_message": say(BAD_DATE)} | between
    return rule | {"validate": "any"}
