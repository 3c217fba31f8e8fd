"""Tables of trees -> one checked frame: where, which genus, how thick in centimetres, alive or dead wood."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

import numpy as np
import pandas as pd
from pyproj import CRS
from scipy.spatial import cKDTree

from habitatmap.errors.why import Why
from habitatmap.read.coordinates import comma_of, read_number
from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.headings import fold, unit_of
from habitatmap.read.layers import genus_by_name
from habitatmap.read.ledger import Ledger, some
from habitatmap.read.points import place_by_point
from habitatmap.read.rows import Columns, Draft, close, gather, open_drafts, set_repeats_aside, shaped
from habitatmap.read.values import yes_no
from habitatmap.vocabulary.columns import dtypes
from habitatmap.vocabulary.kinds import Kind
from habitatmap.vocabulary.terms import Condition

TREES = dtypes(Kind.TREES)
# two sources place one tree this far apart: a city's register and OpenStreetMap differed by up to 3.1 m where they met
SAME_TREE_M = 4.0
# thicker than any tree that stands in a town (expert judgement): a slip of unit or key
THICKEST_CM = 1500.0
# a column whose middle tree is thicker holds something else than diameters (expert judgement; veterans' lists included)
MIDDLE_AT_MOST_CM = 180.0
# ... and one whose middle tree is thicker than this may (expert judgement: in towns it is mostly 20 to 50 cm)
MIDDLE_DOUBTED_CM = 80.0
# a girth is pi times the diameter; measured apart and by several people it is within these (expert judgement)
GIRTH_TO_DIAMETER = (2.5, 4.0)

# English; German; French; Dutch; Spanish; Finnish
_CONDITIONS = {
    Condition.LIVING: """living, alive, live, good, fair, poor, healthy, excellent, very good, moderate, critical,
        damaged, declining, young, mature,
        veteran, over mature, semi mature, ancient; lebend, lebendig, vital, gut, gesund, mittel, schlecht, geschadigt;
        vivant, bon, moyen, mauvais, sain; levend, goed, matig, slecht, redelijk; vivo, viva, bueno, buena,
        regular, malo, sano;
        elava, hyva, tyydyttava, huono, terve, elossa""",
    Condition.DEAD: """dead, dead tree, standing dead, snag, dead standing; tot, abgestorben, totholz, stehendes
        totholz,
        abgangig tot;
        mort, arbre mort, morte, chandelle; dood, dode boom, afgestorven; muerto, muerta, arbol muerto, seco;
        kuollut, pystykuollut, kelo""",
    Condition.STUMP: """stump, tree stump, stub; stumpf, baumstumpf, stubben; souche; stronk, boomstronk, stobbe; tocon;
        kanto""",
    Condition.LOG: """log, fallen, fallen log, fallen dead, lying dead, lying dead wood, windthrow, fallen tree;
        liegend, liegendes totholz, stamm liegend, umgesturzt;
        tronc au sol, couche, bois mort au sol; liggend, omgevallen, liggend dood hout; caido, tronco caido, arbol
        caido;
        maapuu, kaatunut, makaava""",
    Condition.NO_TREE: """vacant, vacant site, vacant planting site, planting site, empty, empty pit, empty tree pit,
        removed, felled,
        cut down, gone, no tree, missing, retired; leer, leerer standort, gefallt, entfernt, baum fehlt, fehlt,
        nachpflanzung geplant;
        vide, emplacement vide, abattu, supprime, enleve; leeg, lege plantplaats, gekapt, geveld, verwijderd, gerooid;
        vacio, alcorque vacio, talado, eliminado, marra; tyhja, poistettu, kaadettu, puuttuu""",
}
CONDITION_WORDS = {fold(w): name for name, text in _CONDITIONS.items() for w in text.replace(";", ",").split(",")}
_UNDEFINED = frozenset(
    fold(w)
    for w in """määrittelemättä, unknown, undefined, not known, not determined, unidentified, other, various,
    none, na, n/a, ?, -,
    unbekannt, unbestimmt, nicht bestimmt, sonstige, inconnu, indéterminé, non défini, autre, onbekend, onbepaald,
    overig,
    desconocido, sin determinar, otro, tuntematon, muu, sp, spp, spec, species, indet,
    tree, baum, arbre, boom, árbol, puu""".split(",")
) | {""}
_TO_CM = {"mm": 0.1, "cm": 1.0, "m": 100.0, "in": 2.54, "ft": 30.48}
_UNIT = r"(mm|cm|m|in|inch|inches|ft|feet|\"|'')?"


def read_trees(tables: Sequence[Table], crs: CRS, stated: Stated, ledger: Ledger) -> pd.DataFrame:
    """Trees as `TREES` has them, x and y in metres of `crs`, ordered by x and y.

    A girth becomes a diameter by division by pi. A class such as "30 - 50 cm" is its middle, an open one such as
    "70 cm -" its lower bound, "- 10 cm" the middle between 0 and 10. A thickness that cannot be read is not known,
    and said; the tree stays. A tree of two files, within `SAME_TREE_M` and of no other genus, counts once: the row
    that says more stays.
    """
    drafts = open_drafts(Kind.TREES, tables, stated, ledger)
    frame = set_repeats_aside(gather(drafts, [_columns(draft, crs, stated) for draft in drafts]), drafts)
    frame = _each_tree_once(frame, drafts, ledger)
    close(drafts)
    return shaped(frame, TREES, ("x", "y", "genus", "species", "file", "row"))


def _columns(draft: Draft, crs: CRS, stated: Stated) -> Columns:
    given = list(zip(draft.cells("genus"), draft.cells("species"), strict=True))
    named = {pair: name_of_tree(*pair) for pair in set(given)}
    names = [named[pair] for pair in given]
    conditions = _conditions(draft)
    for at, condition in enumerate(conditions):
        if condition == Condition.NO_TREE:
            draft.refuse(at, "condition", draft.cells("condition")[at] or draft.cells("species")[at], Why.VACANT)
    for at, felled in enumerate(draft.cells("felled")):
        # a felled tree may have left a stump or a log, if the row says so
        if felled is not None and yes_no(felled) != "no" and conditions[at] not in (Condition.STUMP, Condition.LOG):
            draft.refuse(at, "felled", felled, Why.VACANT)
    places = place_by_point(draft, crs, stated)
    return {
        "x": places.x,
        "y": places.y,
        "genus": [genus for genus, _ in names],
        "species": [species for _, species in names],
        "diameter_cm": _diameters(draft),
        "condition": conditions,
    }


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
    odds: list[str] = []
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
        told_by = Why.SAME_TREE.of(row=frame["row"].iloc[keep], file=files[keep], metres=f"{apart[k]:.1f}")
        row = frame.iloc[lose]
        drafts[row["_draft"]].refuse(int(row["_at"]), "", row["species"] or row["genus"], told_by)
        gone.add(lose)
        if differ := _at_odds(frame.iloc[keep], row):
            odds.append(f"{files[keep]} row {frame['row'].iloc[keep]} and {row['file']} row {row['row']}: {differ}")
    if odds:
        ledger.remark(
            f"{len(odds)} trees that two lists have are described differently; the fuller row is used ({some(odds)})"
        )
    return frame.drop(frame.index[sorted(gone)])


def _at_odds(kept: pd.Series, lost: pd.Series) -> str:
    """In what two rows of one tree contradict each other: thickness by more than half, species, alive or not."""
    said = []
    thin, thick = sorted((kept["diameter_cm"], lost["diameter_cm"]))
    if thick > 1.5 * thin:  # never true where one is not known
        said.append(f"diameter {kept['diameter_cm']:.0f} cm against {lost['diameter_cm']:.0f} cm")
    for name in ("species", "condition"):
        words = [fold(row[name]) for row in (kept, lost)]
        # "Quercus" against "Quercus robur" is no contradiction
        if all(words) and not (words[0].startswith(words[1]) or words[1].startswith(words[0])):
            said.append(f"{kept[name]} against {lost[name]}")
    return ", ".join(said)


def name_of_tree(genus_cell: object, species_cell: object) -> tuple[str, str]:
    """(genus, species): the genus with a capital, "" where undefined; the species a binomial where the genus is known.

    The genus comes from its own column, else from the first word of a binomial such as Tilia x vulgaris, else from a
    common name that layers/ has ("Stieleiche"), which then stays as the species.
    """
    genus_text, species_text = (" ".join(as_text(c).replace("×", " x ").split()) for c in (genus_cell, species_cell))
    if fold(genus_text) in _UNDEFINED or fold(genus_text) in CONDITION_WORDS:
        genus_text = ""
    if fold(species_text) in _UNDEFINED or fold(species_text) in CONDITION_WORDS:
        species_text = ""
    words = re.sub(r"['’‘\"].*$|\(.*$", "", genus_text or species_text).split()
    if words and words[0].casefold() == "x":
        words = words[1:]  # a hybrid genus: x Hesperotropsis
    if words and fold(words[0]) in _UNDEFINED:
        return "", species_text
    genus = words[0].capitalize() if words and re.fullmatch(r"[^\W\d_]{3,}", words[0]) else ""
    if not genus_text and len(words) < 2 and species_text and not species_text[:1].isupper():
        genus = ""  # an epithet alone (robur) names no genus
    known = genus_by_name(genus_text) or genus_by_name(species_text)
    if known and known != genus:
        return known, species_text or genus_text
    if not species_text:
        species_text = genus_text if len(words) > 1 else ""
    if genus and species_text and fold(species_text.split()[0]) != fold(genus):
        species_text = f"{genus} {species_text}"
    return genus, species_text


def _conditions(draft: Draft) -> list[str]:
    """A `Condition`, or "" where none is known, for each row, from its condition, else from its name."""
    answer, unknown = [], []
    for said, *names in zip(*(draft.cells(c) for c in ("condition", "genus", "species")), strict=True):
        found = CONDITION_WORDS.get(fold(as_text(said)), "")
        if said is not None and not found and fold(as_text(said)) not in _UNDEFINED:
            unknown.append(as_text(said))
        # some registers write the condition where the species should stand
        by_name = [CONDITION_WORDS.get(fold(as_text(n)), "") for n in names if n is not None]
        answer.append(next((word for word in by_name if word and word is not Condition.LIVING), found))
    if unknown:
        words = ", ".join(dict.fromkeys(unknown[:100]).keys())[:120]
        draft.remark(
            f"{len(unknown)} conditions are not words we know ({words}); these trees count as of unknown condition"
        )
    return answer


def _diameters(draft: Draft) -> list[float]:
    _tell_odd_girths(draft)
    thick = np.full(len(draft.table), np.nan)
    for name, factor in (("girth_cm", 1 / math.pi), ("diameter_cm", 1.0)):
        if not draft.has(name):
            continue
        cells = draft.cells(name)
        read = np.array(read_thickness(cells, draft.heading(name), factor)) * factor
        wrong = (read <= 0) | (read > THICKEST_CM)
        lost = [
            as_text(c) for c, r, w in zip(cells, read, wrong, strict=True) if c is not None and (w or math.isnan(r))
        ]
        lost = [c for c in lost if fold(c) not in _UNDEFINED and c not in ("0", "-1")]
        if lost:
            draft.remark(
                f"{len(lost)} cells of {draft.heading(name)} give no thickness in a known "
                f"unit (for instance {lost[0]}); these trees count as of unknown thickness"
            )
        read[wrong] = np.nan
        middle = np.median(read[~np.isnan(read)]) if not np.isnan(read).all() else 0.0
        if middle > MIDDLE_AT_MOST_CM:
            draft.remark(
                f"by {draft.heading(name)} the middle tree is {middle:.0f} cm thick, so it "
                "may hold girths, or another unit; these trees count as of unknown thickness. Say it in the heading, "
                "such as girth (cm)"
            )
            read[:] = np.nan
        elif name == "diameter_cm" and middle > MIDDLE_DOUBTED_CM:
            draft.remark(
                f"by {draft.heading(name)} the middle tree is {middle:.0f} cm thick, more "
                "than in most towns; they are used as they are. If they are girths, say so in the heading: girth (cm)"
            )
        thick = np.where(np.isnan(read), thick, read)
    return [float(t) for t in thick]


def _tell_odd_girths(draft: Draft) -> None:
    """A remark where a table's girths are not about pi times its diameters: one of the headings is wrong."""
    if not (draft.has("girth_cm") and draft.has("diameter_cm")):
        return
    girth, thick = (
        np.array(read_thickness(draft.cells(name), draft.heading(name), factor))
        for name, factor in (("girth_cm", 1 / math.pi), ("diameter_cm", 1.0))
    )
    both = (girth > 0) & (thick > 0)
    ratio = float(np.median(girth[both] / thick[both])) if both.any() else math.pi
    if not GIRTH_TO_DIAMETER[0] <= ratio <= GIRTH_TO_DIAMETER[1]:
        draft.remark(
            f"{draft.heading('girth_cm')} is {ratio:.1f} times "
            f"{draft.heading('diameter_cm')} in the middle, and a girth is 3.1 times a diameter; check what "
            "the two columns hold. The diameters are used"
        )


def read_thickness(cells: Sequence[object], heading: str, factor: float = 1.0) -> list[float]:
    """Centimetres, NaN where unknown. The unit stands in the cell, else in the heading, else the column shows it.

    factor: from what was measured to the diameter (1 / pi for a girth). Without any unit: centimetres where the
    middle diameter is 3 to 250, metres where all are below 6 and the middle one below 3 with decimals; otherwise the
    unit is not known (expert judgement).
    """
    comma = comma_of(cells)
    read = [_thickness(cell, "decimal" if comma == "ask" else comma) for cell in cells]
    unit = unit_of(heading)
    if unit not in _TO_CM:
        unit = _likely_unit(np.array([v * factor for v, u in read if not u and not math.isnan(v) and v > 0]))
    return [value * _TO_CM.get(own or unit, math.nan) for value, own in read]


def _likely_unit(values: np.ndarray) -> str:
    if not len(values):
        return "cm"
    middle = float(np.median(values))
    if values.max() < 6 and middle < 3 and bool((values % 1 > 0).any()):
        return "m"
    return "cm" if 3 <= middle <= 250 else ""


# "ca. 60", "Ø 45", "45 cm (BHD)": words around a thickness that do not change it
_AROUND = re.compile(
    r"^\s*(?:ca\.?|circa|approx\.?|about|etwa|environ|env\.|ongeveer|noin|unos|[~≈ø⌀]|dbh|bhd)\s*[:=]?(?=[\s\d])|\s*\([^)]*\)\s*$"
)


def _thickness(cell: object, comma: str) -> tuple[float, str]:
    """(value, unit written in the cell or "") of a number or a class."""
    number = read_number(cell, comma)
    if number is not None:
        return number.value, ""
    text = _AROUND.sub("", as_text(cell).casefold()).strip()
    n = r"(\d+(?:[.,]\d+)?)"
    span = re.fullmatch(rf"{n}?\s*{_UNIT}\s*(?:-|–|—|to|bis|à|tot|a)\s*{n}?\s*{_UNIT}", text)
    above = re.fullmatch(
        rf"(?:>=?|≥|over|above|über|plus de|yli|más de)\s*{n}\s*{_UNIT}"
        rf"|{n}\s*{_UNIT}\s*(?:\+|and over|and more|und mehr)",
        text,
    )
    below = re.fullmatch(rf"(?:<=?|≤|under|below|unter|moins de|alle|menos de)\s*{n}\s*{_UNIT}", text)
    plain = re.fullmatch(rf"{n}\s*{_UNIT}", text)

    def value(part: str) -> float:
        return float(part.replace(",", "."))

    if plain:
        return value(plain[1]), _unit(plain[2])
    if below:
        return value(below[1]) / 2, _unit(below[2])
    if above:
        return value(above[1] or above[3]), _unit(above[2] or above[4])
    if span and (span[1] or span[3]):
        low, high = (None if p is None else value(p) for p in (span[1], span[3]))
        unit = _unit(span[4] or span[2])
        if high is None:
            return float(low or 0), unit
        return ((low or 0.0) + high) / 2, unit
    return math.nan, ""


def _unit(word: str | None) -> str:
    return {"inch": "in", "inches": "in", '"': "in", "''": "in", "feet": "ft"}.get(word or "", word or "")
