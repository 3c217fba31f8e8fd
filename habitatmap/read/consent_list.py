"""Writing consent.xlsx: a row for each piece of land, to fill in without a GIS.

What somebody wrote there is kept, rows are only added. Rows that matter most come first: the land of suggested sites,
then that of pools; within each part the order of the list stays.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from habitatmap.geo.gazetteer import Gazetteer
from habitatmap.privacy import STREET_M
from habitatmap.read.consent_words import word_of
from habitatmap.read.consents import FIELDS, agreed_in, entries_in, memory_of, remembered
from habitatmap.read.files import find_inputs, read_tables
from habitatmap.read.filled_in import FilledIn, Say, cells_of
from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.land import read_land
from habitatmap.read.land_ids import land_ids
from habitatmap.read.ledger import Ledger
from habitatmap.read.names import read_names
from habitatmap.read.paths import read_paths
from habitatmap.read.rows import open_drafts
from habitatmap.read.values import name_of
from habitatmap.sentences import Sentence, count
from habitatmap.vocabulary.columns import filled_in
from habitatmap.vocabulary.kinds import Kind

# what a row says, understood, beside its cells; and where rows of land that is gone come
TEXTS, LAST = "=texts", 3
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


def answer(word: str, say: Say) -> str:
    """yes, ask or no in the language of the list, where that is read back as the same."""
    told = say(word)
    return told if word_of(told) == word else word


LIST = FilledIn(
    kind=Kind.CONSENT,
    sheet="Consent",
    columns=filled_in(Kind.CONSENT, f"id name street area_ha kind {' '.join(FIELDS)} as_in_land"),
    made=MADE,
    days=("until",),
    hidden=("as_in_land",),
    help=HELP,
    command="check",
    answers=answer,
)
FILE = LIST.file


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
    made = land_ids(nothing, shapes, lambda _: "", land.crs, ()).ids
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
    if (others := LIST.others(folder)) and not (folder / FILE).exists():
        ids = {row["id"] for p in others for row in _rows(read_tables(p))[0]}
        lacking = sum(one.id not in ids for one in parcels)
        told = "{file} lacks land ({rows}); save it as consent.xlsx to have it added, and delete the other"
        return Sentence(told if lacking else "", {"file": others[0].name, "rows": count(lacking, "row")})
    tables = LIST.tables(folder)
    old, heads = _rows(tables)
    return LIST.write(folder, tables, (old, _renewed(old, parcels, say)), heads, say)


# --- the rows --------------------------------------------------------------------------------------------------------


def _rows(tables: Sequence[Table]) -> tuple[list[dict[str, object]], list[str]]:
    """The rows of the list, cells by our names and by the headings of columns of somebody's own; and these headings."""
    drafts = open_drafts(Kind.CONSENT, tables, Stated(), Ledger())
    rows, heads = cells_of(drafts)
    said = [agreed.texts for draft in drafts for agreed in agreed_in(draft)]
    return [row | {"id": name_of(row.get("id")), TEXTS: texts} for row, texts in zip(rows, said, strict=True)], heads


def _renewed(old: Sequence[Mapping[str, object]], parcels: Sequence[Parcel], say: Say) -> list[dict[str, object]]:
    """The rows of the list with all land in it; those of land that is gone come last."""
    by_id = {one.id: one for one in parcels}
    id_now = {one.made: one.id for one in parcels}
    ranked: list[tuple[int, dict[str, object]]] = []
    for row in old:
        full = dict.fromkeys(LIST.names) | {name: cell for name, cell in row.items() if name != TEXTS}
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
