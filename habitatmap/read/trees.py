"""Tables of trees -> one checked frame: where, which genus, how thick in centimetres, alive or dead wood."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
from pyproj import CRS
from scipy.spatial import cKDTree

from habitatmap.errors.why import Why
from habitatmap.geo.crs import to_lonlat
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.headings import fold
from habitatmap.read.ledger import Known, Ledger, in_row, some
from habitatmap.read.points import Places, place_by_point
from habitatmap.read.rows import Columns, Draft, close, gather, open_drafts, set_repeats_aside, shaped
from habitatmap.read.thickness import read_diameters
from habitatmap.read.tree_conditions import WHERE_IT_STANDS, condition_of, read_conditions
from habitatmap.read.tree_names import read_names, with_names_by_content
from habitatmap.read.values import yes_no
from habitatmap.sentences import Quantity, Sentence, apart, count, say
from habitatmap.vocabulary.columns import dtypes
from habitatmap.vocabulary.kinds import Kind
from habitatmap.vocabulary.terms import Condition

TREES = dtypes(Kind.TREES)
# two sources place one tree this far apart: a city's register and OpenStreetMap differed by up to 3.1 m where they met
SAME_TREE_M = 4.0


def read_trees(tables: Sequence[Table], crs: CRS, stated: Stated, ledger: Ledger) -> pd.DataFrame:
    """Trees as `TREES` has them, x and y in metres of `crs`, ordered by x and y.

    A girth becomes a diameter by division by pi. A class such as "30 - 50 cm" is its middle, an open one such as
    "70 cm -" its lower bound, "- 10 cm" the middle between 0 and 10. A thickness that cannot be read is not known,
    and said; the tree stays. A tree of two files, within `SAME_TREE_M` and of no other genus, counts once: the row
    that says more stays.
    """
    drafts = open_drafts(Kind.TREES, tables, stated, ledger, with_names_by_content)
    frame = set_repeats_aside(gather(drafts, [_columns(draft, crs, stated) for draft in drafts]), drafts)
    frame = _each_tree_once(frame, drafts, ledger)
    close(drafts)
    return shaped(frame, TREES, ("x", "y", "genus", "species", "file", "row"))


def _units_said(draft: Draft) -> dict[str, str]:
    """The units that readings.xlsx says, by what is measured."""
    return {name.removesuffix("_cm"): unit for name, unit in draft.table.taught.units.items() if name.endswith("_cm")}


def _columns(draft: Draft, crs: CRS, stated: Stated) -> Columns:
    names, conditions = read_names(draft), read_conditions(draft)
    for at, condition in enumerate(conditions):
        if condition == Condition.NO_TREE:
            said = (draft.cells(name)[at] for name in WHERE_IT_STANDS)
            draft.refuse(at, "condition", next(filter(condition_of, said)), Why.VACANT)
    for at, felled in enumerate(draft.cells("felled")):
        # a felled tree may have left a stump or a log, if the row says so
        if felled is not None and yes_no(felled) != "no" and conditions[at] not in (Condition.STUMP, Condition.LOG):
            draft.refuse(at, "felled", felled, Why.VACANT)
    places = place_by_point(draft, crs, stated)
    diameters = read_diameters(draft, {**stated.tree_units, **_units_said(draft)}, _middle(places, crs))
    genera = [name.genus for name in names]
    draft.known |= {
        Known.GENUS: [genus != "" for genus in genera],
        Known.THICKNESS: [not math.isnan(diameter) for diameter in diameters],
        Known.CONDITION: [condition != "" for condition in conditions],
    }
    _tell_positions_only(draft)
    return {
        "x": places.x,
        "y": places.y,
        "genus": genera,
        "species": [name.species for name in names],
        "diameter_cm": diameters,
        "condition": conditions,
    }


def _middle(places: Places, crs: CRS) -> tuple[float, float]:
    """Longitude and latitude of the middle of the trees, NaN where none has a place."""
    xy = np.column_stack([places.x, places.y]).astype(float)
    xy = xy[np.isfinite(xy).all(axis=1)]
    if not len(xy):
        return math.nan, math.nan
    lon, lat = to_lonlat([np.median(xy[:, 0])], [np.median(xy[:, 1])], crs)
    return float(lon[0]), float(lat[0])


def _tell_positions_only(draft: Draft) -> None:
    """Tells where nothing but the positions of a table's trees is known; a doubt where other columns may say more."""
    if not draft.kept or any(told[at] for told in draft.known.values() for at in draft.kept):
        return
    only = say(
        "only the position of {trees} is known, and no genus, thickness or condition: they count for no flowers and no "
        "rot-holes",
        trees=count(len(draft.kept), "tree"),
    )
    if columns := ", ".join(draft.not_read):
        told = (
            "{only}. Columns that were not read: {columns}. If one of them tells more, say so under [columns.trees] in "
            'area.toml, such as species = "..."'
        )
        draft.remark(say(told, only=only, columns=columns))
    else:
        draft.tell(only)


def _each_tree_once(frame: pd.DataFrame, drafts: Sequence[Draft], ledger: Ledger) -> pd.DataFrame:
    """Sets the poorer row of each pair aside that two files have of one tree; nearest pairs first, each tree once.

    What the two rows say differently is told.
    """
    if frame["file"].nunique() < 2:
        return frame
    xy = frame[["x", "y"]].to_numpy(dtype=float)
    near = cKDTree(xy).query_pairs(SAME_TREE_M, output_type="ndarray")
    apart = np.hypot(*(xy[near[:, 0]] - xy[near[:, 1]]).T)
    files, genera = frame["file"].to_numpy(), frame["genus"].to_numpy()
    said = frame[["genus", "species", "condition"]] != ""
    told = said.sum(axis=1).to_numpy() + frame["diameter_cm"].notna().to_numpy()
    gone: set[int] = set()
    met: set[int] = set()
    odds: list[Sentence] = []
    for k in np.lexsort((near[:, 1], near[:, 0], apart)):
        one, other = (int(i) for i in near[k])
        if (
            files[one] == files[other]
            or met & {one, other}
            or (genera[one] != genera[other] and genera[one] and genera[other])
        ):
            continue
        met |= {one, other}
        keep, lose = (one, other) if told[one] >= told[other] else (other, one)
        told_by = Why.SAME_TREE.of(row=frame["row"].iloc[keep], file=files[keep], metres=Quantity(float(apart[k]), 1))
        row = frame.iloc[lose]
        drafts[row["_draft"]].refuse(int(row["_at"]), "", row["species"] or row["genus"], told_by)
        gone.add(lose)
        if differ := _at_odds(frame.iloc[keep], row):
            one_row, other_row = in_row(files[keep], frame["row"].iloc[keep]), in_row(row["file"], row["row"])
            odds.append(say("{one} and {other}: {differ}", one=one_row, other=other_row, differ=differ))
    if odds:
        differently = "two lists describe {trees} differently; the fuller row is used ({rows})"
        ledger.remark(say(differently, trees=count(len(odds), "tree"), rows=some(odds)))
    return frame.drop(frame.index[sorted(gone)])


def _at_odds(kept: pd.Series, lost: pd.Series) -> Sentence:
    """In what two rows of one tree contradict each other: thickness by more than half, species, alive or not."""
    said = []
    thin, thick = sorted((kept["diameter_cm"], lost["diameter_cm"]))
    if thick > 1.5 * thin:  # never true where one is not known
        one, other = (Quantity(row["diameter_cm"], unit="cm") for row in (kept, lost))
        said.append(say("diameter {one} against {other}", one=one, other=other))
    for name in ("species", "condition"):
        words = [fold(row[name]) for row in (kept, lost)]
        # "Quercus" against "Quercus robur" is no contradiction
        if all(words) and not (words[0].startswith(words[1]) or words[1].startswith(words[0])):
            both = [Sentence(row[name]) if name == "condition" else row[name] for row in (kept, lost)]
            said.append(say("{one} against {other}", one=both[0], other=both[1]))
    return apart(said)
