"""Names of containers or fillings that may mean the same thing: proposed as one, never merged.

Two names are similar where only these differ: capitals, accents, punctuation, the order of words, a size with its unit
("10 l"), a colour in brackets or behind a comma, a plural, and one slip of the pen in a word. Numbers that are no sizes
must be the same ("pot 1" is not "pot 2"), and two words that are known to mean different things never go together:
Eiche is no slip for Esche. Which words are known, and how long a word with a slip must be, is expert judgement.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from rapidfuzz.distance import OSA

from habitatmap.read.headings import fold, unit_of
from habitatmap.read.layers import load_common_names

LONGEST = 100  # letters of a name that are looked at
SHORTEST_SLIP = 5  # letters of the longer word, for one slip to be taken for one
SHORTEST_TREE = 4  # letters of a tree's name at the start of a compound

_COLOURS = frozenset(
    fold(
        """black white grey gray green blue red brown yellow orange beige pink purple dark light clear transparent
        schwarz weiß grau grün blau rot braun gelb dunkel hell durchsichtig zwart wit grijs groen blauw rood bruin geel
        oranje donker licht doorzichtig noir noire blanc blanche gris grise vert verte bleu bleue rouge brun brune
        marron jaune foncé foncée clair claire negro negra blanco blanca verde azul rojo roja marrón amarillo amarilla
        oscuro claro transparente musta valkoinen harmaa vihreä sininen punainen ruskea keltainen tumma vaalea
        läpinäkyvä"""
    ).split()
)
_SHADES = re.compile("(dark|light|dunkel|hell|donker|licht|tumman|vaalean)")
# words between which one letter makes another thing; trees come from the table of their common names
_THINGS = frozenset("glass grass steel stone straw metal tonne wanne savi saavi kiste kasten kisten".split())
_JOINERS = frozenset("and und en et y ja".split())
_UNITS = {"litran": "l", "litrainen": "l", "lt": "l", "kg": "kg", "g": "g"}  # besides those of headings
_SIZE = re.compile(
    r"(?:\b(?:ca|approx|about|circa|noin)\b\.?|[~øØ⌀])?\s*"
    r"(?<![\d.,])(\d{1,6}(?:[.,]\d{1,6})?(?:\s?[-–x×]\s?\d{1,6}(?:[.,]\d{1,6})?){0,2})\s?-?([^\W\d_]{1,10})\b\.?",
    re.IGNORECASE,
)
_PLURALS = ("s", "es", "e", "en", "n", "er", "eren", "x")


@dataclass(frozen=True)
class SimilarNames:
    """Names that may mean one thing. names: each as written, with its number of pools, the commonest first.

    `proposed` is the commonest; where sizes or colours differ the commonest without either, which is true of all.
    """

    proposed: str
    names: dict[str, int]

    @property
    def pools(self) -> int:
        """The pools of all its names."""
        return sum(self.names.values())


class _Parts(NamedTuple):
    """What a name says: its words (folded), and apart from them its sizes and colours."""

    words: tuple[str, ...]
    sizes: frozenset[str]
    colours: frozenset[str]

    @property
    def joined(self) -> str:
        return "".join(self.words)

    @property
    def shape(self) -> tuple[object, ...]:
        """What similar names share whatever their plurals and slips: numbers, and the first letters of the words."""
        return tuple(re.findall(r"\d+", self.joined)), tuple(word[0] for word in sorted(self.words))


def similar_names(names: Iterable[str]) -> list[SimilarNames]:
    """Groups of similar names in a column of them, one for each pool; blanks are left out. The largest group is first.

    Each name goes to the commonest that it is similar to, and to none where it is similar to two that differ.
    """
    counts = Counter(short for name in names if (short := " ".join(name.split())))
    parts = {name: _parts(name) for name in counts}
    groups: list[list[str]] = []
    same: dict[object, list[str]] = {}  # by their words, joined or in any order
    heads: dict[tuple[object, ...], list[list[str]]] = {}
    for name in sorted(counts, key=lambda name: (-counts[name], name)):
        of = parts[name]
        if not of.words:
            continue
        keys = of.joined, tuple(sorted(of.words))
        group = next((same[key] for key in keys if key in same), None)
        if group is None:
            near = [group for group in heads.get(of.shape, []) if _alike(of, parts[group[0]])]
            group = near[0] if len(near) == 1 else []
        if not group:
            groups.append(group)
            heads.setdefault(of.shape, []).append(group)
        group.append(name)
        for key in keys:
            same.setdefault(key, group)
    found = [
        SimilarNames(_proposed(group, parts), {name: counts[name] for name in group}) for group in groups if group[1:]
    ]
    return sorted(found, key=lambda one: (-one.pools, one.proposed))


def _proposed(group: list[str], parts: dict[str, _Parts]) -> str:
    """The commonest name; where sizes or colours differ, one without them."""
    sizes = {parts[name].sizes for name in group} - {frozenset()}
    colours = {parts[name].colours for name in group} - {frozenset()}
    if len(sizes) < 2 and len(colours) < 2:
        return group[0]
    plain = (name for name in group if not parts[name].sizes and not parts[name].colours)
    return next(plain, None) or " ".join(" ".join(_without_colours(_without_sizes(group[0])[0])[0]).split())


def _parts(name: str) -> _Parts:
    rest, sizes = _without_sizes(name[:LONGEST])
    kept, colours = _without_colours(rest)
    words = tuple(word for word in fold(" ".join(kept)).split() if word not in _JOINERS)
    return _Parts(words, sizes, colours)


def _without_sizes(name: str) -> tuple[str, frozenset[str]]:
    """A name without its sizes, and each size as its number and unit."""
    sizes = set()

    def taken(match: re.Match[str]) -> str:
        unit = _UNITS.get(fold(match[2])) or unit_of(f"size ({match[2]})")
        if not unit:
            return match[0]
        numbers = [float(number) for number in re.findall(r"[\d.]+", match[1].replace(",", "."))]
        sizes.add(f"{numbers} {unit}")
        return " "

    return _SIZE.sub(taken, name), frozenset(sizes)


def _without_colours(name: str) -> tuple[list[str], frozenset[str]]:
    """The parts of a name between brackets and commas without those that are colours, and the colours."""
    kept, colours = [], set()
    for part in re.split(r"[()\[\]{}<>,;]", name):
        words = [word for word in fold(part).split() if word not in _JOINERS]
        if words and all(word in _COLOURS or _SHADES.sub("", word) in _COLOURS for word in words):
            colours.update(words)
        elif words:
            kept.append(part.strip(" -"))
    return kept, frozenset(colours)


def _alike(one: _Parts, other: _Parts) -> bool:
    """Whether two names of one shape differ in plurals and one slip at most."""
    pairs = [(a, b) for a, b in zip(sorted(one.words), sorted(other.words), strict=True) if a != b]
    slips = [pair for pair in pairs if not _plural(*pair)]
    return not any(_known_apart(*pair) for pair in pairs) and len(slips) <= 1 and all(_slip(*pair) for pair in slips)


def _plural(a: str, b: str) -> bool:
    """Whether one word is the other with an ending of plurals: buckets, bakken, leaves, Fässer, ämpärit."""
    one, many = sorted((a, b), key=len)
    if len(one) < 3 or re.search(r"\d", many):
        return False
    endings = {one + ending for ending in _PLURALS} | {one + one[-1] + "en"}
    endings |= {one + "t"} if one[-1] in "aeiouy" else set()
    endings |= {one[:-1] + "ves"} if one[-1] == "f" else set()
    endings |= {one[:-1] + "ies"} if one[-1] == "y" else set()
    return many in endings


def _slip(a: str, b: str) -> bool:
    """Whether two words are one letter apart (two of them swapped, too) between the same first and last letters."""
    if max(len(a), len(b)) < SHORTEST_SLIP or re.search(r"\d", a + b) or a[-1] != b[-1]:
        return False
    return OSA.distance(a, b, score_cutoff=1) == 1


def _known_apart(a: str, b: str) -> bool:
    """Whether both words are known, and mean different things."""
    one, other = _meaning(a), _meaning(b)
    return bool(one and other) and one != other


@lru_cache(maxsize=10_000)
def _meaning(word: str) -> str:
    """What a word is known to mean: itself, or the genus of the tree that it begins with; "" where it is not known."""
    if word in _THINGS:
        return word
    names = load_common_names()
    starts = (word[:k] for k in range(len(word), SHORTEST_TREE - 1, -1))
    return next((names[start] for start in starts if start in names), "")
