"""What a tree is called: its genus, by the surest of three columns, and which column of a register holds what.

The genus comes from its own column, else from the botanical name, else from the common name. Where two of them name
different genera the surer one counts, and that is told.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.table import Table
from habitatmap.read.headings import Headings, Match, fold
from habitatmap.read.layers import genus_by_name, kept, load_tree_table
from habitatmap.read.ledger import some
from habitatmap.read.rows import Draft
from habitatmap.read.tree_conditions import UNDEFINED, condition_of
from habitatmap.sentences import say

# a column holds botanical names where so many of its cells look like them, and so many begin with a genus of
# layers/trees.csv (expert judgement: in warm countries most street trees are of other genera)
SHARE_OF_BINOMIALS, SHARE_OF_GENERA, FEWEST_BINOMIALS = 0.6, 0.3, 3
# cells that are looked at
MOST_CELLS = 2000
# "Quercus robur", "TILIA CORDATA", "Platanus x hispanica", "Acer sp."; not "Elm Street"
_BINOMIAL = re.compile(r"[A-Z][a-z]{2,} (x )?[a-z-]{2,}\.?(\s.*)?|[A-Z]{3,} (X )?[A-Z-]{3,}(\s.*)?")
# what parts a botanical name from a common one in the same cell
_PARTS = re.compile(r"\s*(?:::|[(\[/|])\s*|\s[-–]\s")
_LATIN = re.compile(r"[^\W\d_]{3,}")


class TreeName(NamedTuple):
    """A tree's genus, with a capital, "" where undefined; its species, a binomial where the genus is known; and the
    name that tells another genus, "" where none does."""

    genus: str
    species: str
    against: str = ""


def name_of_tree(genus_cell: object, species_cell: object, common_cell: object = None) -> TreeName:
    """The name by the cells of three columns: the genus, the botanical name or epithet, the common name.

    A species column may hold common names ("Stieleiche"), which then stay as the species.
    """
    own, species, common = (_clean(cell) for cell in (genus_cell, species_cell, common_cell))
    of_species = genus_of_name(species)
    genus = _genus_stated(own) or of_species or genus_by_name(common)
    against = ""
    if genus:
        beside = [(species, _surely(species) if own else ""), (common, genus_by_name(common))]
        against = next((name for name, other in beside if other and other != genus), "")
    text = species or (own if fold(own) != fold(genus) else "") or (common if genus and not own else "")
    words = text.split()
    is_epithet = words and fold(words[0]) != fold(genus) and not (len(words) > 1 and genus_by_name(text))
    if is_epithet and own and fold(own.split()[0]) == fold(genus):
        text = f"{genus} {text}"
    return TreeName(genus, text, against)


def _clean(cell: object) -> str:
    """A name with single spaces, "" where it says nothing, or says that there is no tree or only a stump."""
    text = " ".join(as_text(cell).replace("×", " x ").split())
    return "" if fold(text) in UNDEFINED or condition_of(text) else text


def _first_words(text: str) -> list[str]:
    """The words of a name without its cultivar, and without the mark of a hybrid genus (x Hesperotropsis)."""
    words = re.sub(r"['’‘\"].*$|\(.*$", "", text).split()
    words = words[1:] if words and words[0].casefold() == "x" else words
    return [] if words and fold(words[0]) in UNDEFINED else words


def _genus_stated(text: str) -> str:
    """The genus by its own column, "" where that says none: any word is one, as no table has all genera."""
    words = _first_words(text)
    known = genus_by_name(text) if words else ""
    return known or (words[0].capitalize() if words and _LATIN.fullmatch(words[0]) else "")


def genus_of_name(text: str) -> str:
    """The genus that a botanical or common name tells, "" where it tells none: an epithet alone (robur) does not.

    Of two names in one cell ("Lophostemon confertus :: Brisbane Box") the first counts where it is botanical.
    """
    first, *others = [part for part in _PARTS.split(text) if part] or [""]
    words = _first_words(first)
    if not words:
        return ""
    if known := genus_by_name(first):
        return known
    named = words[0].capitalize() if _LATIN.fullmatch(words[0]) and first[:1].isupper() else ""
    if named and _BINOMIAL.fullmatch(first):
        return named
    return next(filter(None, map(genus_by_name, others)), "") or named


def _surely(text: str) -> str:
    """The genus that a name beside a stated genus tells for sure: "ILEX" and "pseudoplatanus" may be epithets."""
    first = next((part for part in _PARTS.split(text) if part), "")
    words = _first_words(first)
    if len(words) == 1:
        known = genus_by_name(first)
        return known if known and fold(first) not in _genera() and not fold(first).endswith(tuple(_genera())) else ""
    return genus_by_name(first) if words and words[0][:1].isupper() else ""


@kept
def _genera() -> frozenset[str]:
    return frozenset(genus.casefold() for genus in load_tree_table().table["genus"])


def read_names(draft: Draft) -> list[TreeName]:
    """The name of each tree of a table; where two columns name different genera, how many trees and which is told."""
    columns = ("genus", "species", "common_name")
    given = list(zip(*(draft.texts(name) for name in columns), strict=True))
    named = {cells: name_of_tree(*cells) for cells in set(given)}
    names = [named[cells] for cells in given]
    odds = Counter((name.genus, name.against) for name in names if name.against)
    if odds:
        told = (
            "{n} of {of} trees with names of two genera ({pairs}); the genus is taken from {heading} where it tells one"
        )
        pairs = [
            say('{one} beside "{other}": {n}', one=one, other=other, n=n) for (one, other), n in odds.most_common()
        ]
        first = next(draft.heading(name) for name in columns if draft.has(name))
        draft.remark(say(told, n=odds.total(), of=len(names), pairs=some(pairs, most=5), heading=first))
    return names


def with_names_by_content(table: Table, heads: Headings) -> Headings:
    """The headings, with the column of botanical names found by what stands in it where no heading tells it.

    A column that was taken for the species by its heading holds the common names then. What area.toml states stays.
    """
    taken = heads.at.get("species")
    if "genus" in heads.at or heads.how.get("species") is Match.STATED or _botanical(table, taken):
        return heads
    free = [at for at, heading in enumerate(table.headings) if heading in heads.unmatched]
    found = next((at for at in free if _botanical(table, at)), None)
    if found is None:
        return heads
    at, how, text = dict(heads.at), dict(heads.how), dict(heads.text)
    if taken is not None and "common_name" not in at:
        at["common_name"], how["common_name"], text["common_name"] = taken, how["species"], text["species"]
    at["species"], how["species"], text["species"] = found, Match.CONTENT, table.headings[found]
    left = {heading: near for heading, near in heads.unmatched.items() if heading != table.headings[found]}
    return replace(heads, at=at, how=how, text=text, unmatched=left)


def _botanical(table: Table, column: int | None) -> bool:
    """Whether most cells of a column are binomials and enough begin with a known genus."""
    if column is None:
        return False
    cells: Sequence[str] = [" ".join(as_text(row[column]).replace("×", "x").split()) for row in table.rows[:MOST_CELLS]]
    cells = [cell for cell in cells if cell and fold(cell) not in UNDEFINED]
    names = [cell for cell in cells if _BINOMIAL.fullmatch(cell)]
    known = sum(name.split()[0].casefold() in _genera() for name in names)
    return (
        len(names) >= FEWEST_BINOMIALS
        and len(names) >= SHARE_OF_BINOMIALS * len(cells)
        and known >= SHARE_OF_GENERA * len(cells)
    )
