"""Where a house or a street lies: addresses looked up in the area's own streets and house numbers, never outside.

Nothing is guessed. A street is known by its own name in any usual writing (case, accents, "Str." and "Straße", "St" and
"Street"), or not at all; several of one name far apart are told and not chosen from. Every place says how far off it
may be. Basis of all limits below: expert judgement.
"""

from __future__ import annotations

import re
import unicodedata
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property, lru_cache
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from rapidfuzz import fuzz, process
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from habitatmap.errors.why import Told, Why
from habitatmap.geo.crs import WGS84, to_lonlat
from habitatmap.sentences import Sentence, apart, say

# a house is a place to so many metres at best, as a pool stands beside it, and one with another letter is next door
HOUSE_M, NEXT_DOOR_M = 10.0, 30.0
# pieces of streets of one name that lie nearer than this are one street
ONE_STREET_M = 1000.0
# one number of one street cannot be two houses farther apart; nor do numbers so far apart tell where one between lies
ONE_HOUSE_M, BETWEEN_M = 300.0, 300.0
# a street whose houses name no town lies in that of the nearest house that does, not farther than this
TOWN_M = 500.0
# names less alike (0-100) are not worth asking "did you mean"; so many are named
LIKE, NAMED = 70.0, 3
# a range of house numbers is no longer than this, such as 12-14
LONGEST_RANGE = 40


class By(StrEnum):
    """What the place of an address is."""

    HOUSE = "house"
    BETWEEN = "between two houses"
    STREET = "street"


class Found(NamedTuple):
    """A place in metres, how far off it may be, what it is, and what the address was understood as."""

    x: float
    y: float
    uncertainty_m: float
    by: By
    name: str


# --- words of streets -------------------------------------------------------------------------------------------------

_WORD = re.compile(r"[^\W_]+(?:['’`´][^\W_]+)*")
_LETTERS = str.maketrans({"ł": "l", "ø": "o", "đ": "d", "æ": "ae", "œ": "oe", **dict.fromkeys("'’`´")})
# words of one meaning, wherever they stand in a name, at its end, or at its beginning
_ANYWHERE = """road rd; avenue av ave aven avenida avda; lane ln; square sq; boulevard bd blvd boul bvd; route rte;
pl place plaza plac platz plein piazza pza plza pzza; chemin ch; impasse imp; allee all; faubourg fg fbg; sainte ste;
carretera ctra; mount mt; saint st sankt"""
_LAST = """street st; drive dr; court ct; close cl; grove gr; crescent cres; terrace tce terr; gardens gdns gdn"""
_FIRST = """calle c; rue r; via v; aleja al aleje"""
_DROPPED = frozenset({"ul", "ulica"})
_ENDING = re.compile(r"(?:strasse|strase|straat|str)$")
_SQUARE = re.compile(r"(?<=.)platz$")


def _meanings(text: str) -> dict[str, str]:
    return {word: words.split()[0] for words in text.split(";") for word in words.split()}


_BY_PLACE = _meanings(_ANYWHERE), _meanings(_FIRST), _meanings(_LAST)


@lru_cache(maxsize=100_000)
def plain(word: str) -> str:
    """A word without case and accents."""
    text = unicodedata.normalize("NFKD", word.casefold().translate(_LETTERS))
    return "".join(c for c in text if not unicodedata.combining(c))


def street_key(words: Sequence[str]) -> str:
    """What a street is known by, however its name is written: of `Karl-Marx-Str.` and `Karl Marx Straße` the same."""
    anywhere, first, last = _BY_PLACE
    found = []
    for at, word in enumerate(map(plain, words)):
        if at == 0 and len(words) > 1:
            if word in _DROPPED:
                continue
            word = first.get(word, word)
        if at == len(words) - 1 and at:
            word = last.get(word, word)
        word = anywhere.get(word, word)
        found.append(_SQUARE.sub("pl", _ENDING.sub("str", word)))
    return "".join(found)


def _loose(key: str) -> str:
    """A key in which ä, ae and a are the same, and so on: a second choice."""
    return re.sub(r"([aou])e", r"\1", key)


# --- house numbers ----------------------------------------------------------------------------------------------------

_NUMBER = re.compile(
    r"(?:(?:nr|no|num|numero|number|n)\.?\s*|[nN]?[º°#]\s*)?(?P<low>\d{1,5})(?!\d)"
    r"(?:\s*(?P<word>bis|ter|quater)\b|\s?/?\s?(?P<letter>[a-z])(?![^\W_]))?"
    r"(?:\s*(?P<to>[-–/])\s*(?P<high>\d{1,5})\s?(?:[a-z](?![^\W_]))?(?!\d))?['’]?",
    re.IGNORECASE,
)


class Number(NamedTuple):
    """A house number: 12 a is 12, "a"; 12-14 goes from 12 to 14. `text`: as written, without blanks and case."""

    low: int
    letter: str
    high: int
    text: str

    @property
    def range(self) -> range:
        """From 12 to 16 all on this side of the street; empty for a single house."""
        length = self.high - self.low
        step = 1 if length % 2 else 2
        return range(self.low, self.high + 1, step) if 0 < length <= LONGEST_RANGE else range(0)


def read_number(text: str) -> tuple[Number, str] | None:
    """The house number at the beginning of a text, and what stands behind it; None where there is none."""
    match = _NUMBER.match(text)
    if match is None:
        return None
    low = int(match["low"])
    high = int(match["high"]) if match["high"] and match["to"] != "/" else low
    letter = plain(match["word"] or match["letter"] or "")
    written = re.sub(r"\s", "", text[match.start("low") : match.end()]).replace("–", "-").casefold()
    return Number(low, letter, high, written), text[match.end() :]


@lru_cache(maxsize=20_000)  # streets repeat their numbers
def _numbers_of(text: str) -> list[Number]:
    """The numbers that a house has: "1;3;5", "76, 76a", "2, 2nd floor" (of which the last is none)."""
    read = [read_number(part.strip()) for part in re.split(r"[;,]", text)]
    return [one[0] for at, one in enumerate(read) if one is not None and (at == 0 or not one[1].strip())]


def _houses(numbers: Mapping[int, list[Number]], asked: Number) -> Iterator[tuple[list[int], float]]:
    """The houses that may have a number, the surest reading first, each with how far off it may be at least."""

    def those(fits: Callable[[Number], bool]) -> list[int]:
        return [row for row, ones in numbers.items() if any(fits(one) for one in ones)]

    yield those(lambda one: one.text == asked.text), HOUSE_M
    yield those(lambda one: (one.low, one.letter) == (asked.low, asked.letter)), HOUSE_M
    yield those(lambda one: asked.low in one.range), HOUSE_M
    yield those(lambda one: one.low == asked.low), NEXT_DOOR_M


def _pieces(shapes: NDArray[np.object_]) -> NDArray[np.int64]:
    """For each shape the number of the piece it belongs to: what lies within `ONE_STREET_M` of each other is one."""
    west, south, east, north = shapely.total_bounds(shapes)
    if np.hypot(east - west, north - south) <= ONE_STREET_M:
        return np.zeros(len(shapes), dtype=np.int64)
    one, other = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=ONE_STREET_M)
    near = coo_array((np.ones(len(one), dtype=bool), (one, other)), shape=(len(shapes), len(shapes)))
    return np.asarray(connected_components(near, directed=False)[1], dtype=np.int64)


def street_and_number(text: str) -> tuple[str, str]:
    """A cell such as "Park Road 12 a" or "12 Park Road" in two; the number is "" where none is seen."""
    part = text.split(",")[0].strip()
    if behind := re.search(rf"\s({_NUMBER.pattern})$", part, re.IGNORECASE):
        return part[: behind.start()].strip(), behind[1]
    before = read_number(part)
    return (before[1].strip(), before[0].text) if before else (part, "")


# --- towns and postcodes ----------------------------------------------------------------------------------------------

_POSTCODE = re.compile(
    r"\b(?:[A-Z]{1,2}\d[A-Z\d]? ?\d[A-Z]{2}|\d{4} ?[A-Z]{2}\b|\d{2}-\d{3}|\d{3} \d{2}|(?:[A-Z]{1,2}-)?\d{4,5})\b"
)


def _code(text: str) -> str:
    """A postcode as it is compared: FI-00100, 00100 and the 100 that spreadsheets leave of it are the same."""
    return re.sub(r"^[A-Z]{1,2}-(?=\d{4,5}$)|[\s-]", "", text.upper().strip()).lstrip("0")


@lru_cache(maxsize=20_000)
def _town(text: str) -> str:
    words = " ".join(map(plain, _WORD.findall(text)))
    return words if any(c.isalpha() for c in words) else ""


def _towns_of(names: NDArray[np.object_]) -> dict[str, str]:
    """Towns as they are compared, each with its name as written; what holds no letter names none."""
    return {town: str(name) for name in sorted(set(names)) if (town := _town(name))}


def _same_town(one: str, other: str) -> bool:
    """Frankfurt and Frankfurt am Main are the same town."""
    return f"{one} ".startswith(f"{other} ") or f"{other} ".startswith(f"{one} ")


def _parts(address: str) -> list[str]:
    """The parts of an address, between commas and the like."""
    parts = (part.strip() for part in re.split(r"[,;()\n\r]+|\s[-–—|]\s", address))
    return [part for part in parts if _WORD.search(part)]


class Locality(NamedTuple):
    """What an address says of the town: postcodes and names, as they are compared, and as written."""

    codes: frozenset[str]
    towns: frozenset[str]
    written: str

    @classmethod
    def of(cls, parts: Sequence[str], postcode: str, town: str) -> Locality:
        """parts: what stands behind street and number. A name there begins with a capital and holds no digit."""
        codes = [postcode] if postcode else []
        names = [town] if town else []
        for part in parts:
            codes += _POSTCODE.findall(part)
            left = _POSTCODE.sub(" ", part).strip(" .:-/")
            if len(left) > 2 and left[0].isupper() and not any(c.isdigit() for c in left):
                names.append(left)
        return cls(frozenset(map(_code, codes)) - {""}, frozenset(map(_town, names)), " ".join([*codes, *names]))


# --- the look-up ------------------------------------------------------------------------------------------------------

# what is known of a house besides its place
TEXTS = ("street", "house_number", "postcode", "city")
Known = Callable[[str], str]  # from the key of a street as it was written to one that the area has, "" for none


@dataclass
class _Street:
    """One street, or one of several of its name: its houses and the lines of its paths, by their numbers in the frames.

    `codes`, `towns`: what its houses say.
    """

    name: str
    houses: NDArray[np.int64]
    lines: NDArray[np.int64]
    codes: frozenset[str]
    towns: Mapping[str, str]  # as compared -> as written
    numbers: dict[int, list[Number]] = field(default_factory=dict)  # of each house

    def has(self, number: Number) -> bool:
        """Whether a house of the street has this number, whatever its letter."""
        return any(number.low == one.low or number.low in one.range for ones in self.numbers.values() for one in ones)


class Reading(NamedTuple):
    """One way to read an address: the key of its street, the number, and what stands behind."""

    key: str
    number: Number | None
    behind: tuple[str, ...]


@dataclass(eq=False)
class Addresses:
    """Houses and streets of an area, indexed by the names of streets. Made once with `of`; `find` looks one up."""

    crs: CRS
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    off_m: NDArray[np.float64]  # NaN: the map does not say
    texts: Mapping[str, NDArray[np.object_]]  # street, house_number, postcode, city of each house
    lines: NDArray[np.object_]
    names: NDArray[np.object_]  # of lines
    _streets: dict[str, list[_Street]] = field(default_factory=dict)

    @classmethod
    def of(cls, houses: gpd.GeoDataFrame, paths: gpd.GeoDataFrame) -> Addresses:
        """houses: points with street, house_number, postcode, city, uncertainty_m; paths: lines with name. Metres."""
        texts = {name: houses[name].astype(str).to_numpy(dtype=object) for name in TEXTS}
        shapes = np.asarray(houses.geometry.to_numpy(), dtype=object)
        named = paths[paths["name"].astype(str) != ""]
        lines = np.asarray(named.geometry.to_numpy(), dtype=object)
        off = houses["uncertainty_m"].to_numpy(dtype=float)
        names = named["name"].to_numpy(dtype=object)
        return cls(CRS(houses.crs), shapely.get_x(shapes), shapely.get_y(shapes), off, texts, lines, names)

    @classmethod
    def none(cls) -> Addresses:
        """Of an area that has neither houses nor streets."""
        nothing, none = np.empty(0), np.empty(0, dtype=object)
        return cls(WGS84, nothing, nothing, nothing, dict.fromkeys(TEXTS, none), none, none)

    def __bool__(self) -> bool:
        return bool(len(self.x) or len(self.lines))

    @cached_property
    def _rows(self) -> dict[str, tuple[list[int], list[int]]]:
        """By the key of a street the numbers of its houses and of its lines."""
        rows: dict[str, tuple[list[int], list[int]]] = defaultdict(lambda: ([], []))
        for which, names in enumerate((self.texts["street"], self.names)):
            keys: dict[str, str] = {}
            for row, name in enumerate(names):
                if name not in keys:
                    keys[name] = street_key(_WORD.findall(name))
                if keys[name]:
                    rows[keys[name]][which].append(row)
        return dict(rows)

    @cached_property
    def _loosely(self) -> dict[str, set[str]]:
        found: dict[str, set[str]] = defaultdict(set)
        for key in self._rows:
            found[_loose(key)].add(key)
        return found

    @cached_property
    def _codes(self) -> frozenset[str]:
        return frozenset(_code(code) for code in set(self.texts["postcode"]) if code)

    @cached_property
    def _towns(self) -> dict[str, str]:
        return _towns_of(self.texts["city"])

    @cached_property
    def _in_towns(self) -> tuple[shapely.STRtree, NDArray[np.int64]]:
        """The houses that name their town."""
        rows = np.flatnonzero(self.texts["city"] != "")
        return shapely.STRtree(shapely.points(self.x[rows], self.y[rows])), rows

    # --- reading

    def find(self, address: str, postcode: str = "", city: str = "") -> Found | Told:
        """The place of an address as a person writes it: street and number in either order, town and postcode behind.

        Where there is no one place, why.
        """
        parts = _parts(address)
        readings = list(self._readings(parts, self._known)) or list(self._readings(parts, self._known_loosely))
        if not readings:
            near = self._near(parts)
            return Why.ADDRESS_MISSPELT.of(names=", ".join(near)) if near else Why.ADDRESS_UNKNOWN.of()
        # a street with a number is meant before a name without
        read = next((one for one in readings if one.number is not None), readings[0])
        where, named = Locality.of(read.behind, postcode, city), self._streets_of(read.key)
        streets = self._in_locality(named, where)
        if not isinstance(streets, list):
            return streets
        if len(streets) == 1 and read.number is not None:
            number = read.number
            # where the map does not say a town, a house of this number may be the one
            if not streets[0].has(number):
                streets += [s for s in named if not s.towns and s is not streets[0] and s.has(number)]
        if len(streets) > 1:
            return Why.ADDRESS_TWICE.of(places=apart([self._tell(street) for street in streets[: NAMED + 1]], "; "))
        street = streets[0]
        place = self._house(street, read.number, where) if read.number is not None else self._middle(street)
        if isinstance(place, Found) and where.towns and not street.towns:
            return place._replace(name=say("{address}, in a town that the map does not name", address=place.name))
        return place

    def has_number(self, address: str) -> bool:
        """Whether a text reads as a street of the area with a house number."""
        return any(one.number is not None for one in self._readings(_parts(address), self._known))

    def _readings(self, parts: Sequence[str], known: Known) -> Iterator[Reading]:
        for at, part in enumerate(parts):
            leading = read_number(part)
            for text, number in ((part, None), (leading[1], leading[0]) if leading else ("", None)):
                street = self._street_at_start(text.lstrip(" .-/"), known)
                if street is None:
                    continue
                key, rest = street
                behind = [rest, *parts[at + 1 :]]
                if number is None:
                    number, behind = self._number_beside(parts, at, rest)
                yield Reading(key, number, tuple(behind))
                break

    def _street_at_start(self, text: str, known: Known) -> tuple[str, str] | None:
        """The key of the longest street name that a text begins with, and the rest: a number, a postcode, a town."""
        words = list(_WORD.finditer(text))
        for end in range(len(words), 0, -1):
            key = known(street_key([word[0] for word in words[:end]]))
            rest = text[words[end - 1].end() :].lstrip(" .-/:")
            ends = not rest or read_number(rest) or _POSTCODE.match(rest) or _town(rest) in self._towns
            if key and (ends or not _WORD.search(rest)):
                return key, rest
        return None

    def _number_beside(self, parts: Sequence[str], at: int, rest: str) -> tuple[Number | None, list[str]]:
        """The number behind a street, or in the part of its own behind or before it; and what is left behind."""
        later = list(parts[at + 1 :])
        own = read_number(rest)
        if own is not None and not self._is_postcode(rest):
            return own[0], [own[1], *later]
        for beside in (at + 1, at - 1):
            one = read_number(parts[beside]) if 0 <= beside < len(parts) else None
            if one is not None and not one[1].strip(" .") and not self._is_postcode(parts[beside]):
                return one[0], [rest, *later[1 if beside > at else 0 :]]
        return None, [rest, *later]

    def _is_postcode(self, text: str) -> bool:
        match = _POSTCODE.match(text)
        return match is not None and (_code(match[0]) in self._codes or sum(c.isdigit() for c in match[0]) > 4)

    def _known(self, key: str) -> str:
        return key if key in self._rows else ""

    def _known_loosely(self, key: str) -> str:
        found = self._loosely.get(_loose(key), set())
        return next(iter(found)) if len(found) == 1 else ""

    def _near(self, parts: Sequence[str]) -> list[str]:
        """The names of streets most like what was written, if any is."""
        asked = [street_key([w for w in _WORD.findall(part) if not w[0].isdigit()]) for part in parts]
        scored = [
            (score, key)
            for one in asked
            if one
            for key, score, _ in process.extract(
                one, self._rows.keys(), scorer=fuzz.ratio, limit=NAMED, score_cutoff=LIKE
            )
        ]
        best = list(dict.fromkeys(key for _, key in sorted(scored, key=lambda pair: (-pair[0], pair[1]))))[:NAMED]
        return list(map(self._name, best))

    # --- streets

    def _name(self, key: str) -> str:
        houses, lines = self._rows[key]
        return str(min({*self.names[lines]} or {*self.texts["street"][houses]}))

    def _streets_of(self, key: str) -> list[_Street]:
        """The streets of one name: pieces that lie near each other are one."""
        if key not in self._streets:
            houses, lines = (np.array(rows, dtype=np.int64) for rows in self._rows[key])
            shapes = np.concatenate([shapely.points(self.x[houses], self.y[houses]), self.lines[lines]])
            piece = _pieces(shapes)
            found = []
            for at in (piece == which for which in range(piece.max() + 1)):
                found.append(self._street(key, houses[at[: len(houses)]], lines[at[len(houses) :]]))
            self._streets[key] = sorted(found, key=self._tell) if len(found) > 1 else found
        return self._streets[key]

    def _street(self, key: str, houses: NDArray[np.int64], lines: NDArray[np.int64]) -> _Street:
        codes = frozenset(_code(code) for code in set(self.texts["postcode"][houses]) if code)
        towns = _towns_of(self.texts["city"][houses])
        street = _Street(self._name(key), houses, lines, codes, towns)
        tree, rows = self._in_towns
        if not towns and len(rows):
            near = tree.query_nearest(self._shape(street), max_distance=TOWN_M)
            towns = _towns_of(self.texts["city"][rows[near]])
        numbers = {int(row): _numbers_of(str(self.texts["house_number"][row])) for row in houses}
        return _Street(street.name, houses, lines, codes, towns, numbers)

    def _shape(self, street: _Street) -> shapely.Geometry:
        """The lines of a street; where there are none, its houses."""
        points = shapely.points(self.x[street.houses], self.y[street.houses])
        return shapely.union_all(self.lines[street.lines]) if len(street.lines) else shapely.multipoints(points)

    def _in_locality(self, streets: list[_Street], where: Locality) -> list[_Street] | Told:
        """The streets that lie where the address says, else those of which the map does not know better."""
        agreed = [s for s in streets if any(_same_town(said, own) for said in where.towns for own in s.towns)]
        coded = [s for s in agreed or streets if where.codes & s.codes]
        if agreed or coded:
            return coded or agreed
        strange = bool(where.codes and self._codes) and not where.codes & self._codes
        silent = [s for s in streets if not (where.towns and s.towns)]
        if strange or not silent:
            towns = sorted({town for s in streets for town in s.towns.values()} or set(self.texts["postcode"]) - {""})
            return Why.ADDRESS_ELSEWHERE.of(street=streets[0].name, towns=", ".join(towns[:NAMED]), said=where.written)
        return silent

    def _tell(self, street: _Street) -> Sentence:
        """One of several streets of a name, by its town and where it lies."""
        x, y = shapely.get_coordinates(shapely.point_on_surface(self._shape(street)))[0]
        told = "{address} in {town}, around {place}" if street.towns else "{address}, around {place}"
        town, place = ", ".join(street.towns.values()), self._lat_lon(float(x), float(y))
        return say(told, address=street.name, town=town, place=place)

    def _lat_lon(self, x: float, y: float) -> str:
        (lon,), (lat,) = to_lonlat([x], [y], self.crs)
        return f"{lat:.5f} {lon:.5f}"

    # --- places

    def _house(self, street: _Street, number: Number, where: Locality) -> Found | Told:
        """The place of a house by its number, else between its neighbours, else of the street."""
        coded = {row: nos for row, nos in street.numbers.items() if _code(self.texts["postcode"][row]) in where.codes}
        for numbers in (coded, street.numbers):
            for rows, least_m in _houses(numbers, number):
                if rows:
                    return self._one_place(street, number.text, rows, least_m)
        middle = self._middle(street)
        name = say("{street}, where the map has no {number}", street=street.name, number=number.text)
        return self._between(street, number) or middle._replace(name=name)

    def _one_place(self, street: _Street, number: str, rows: Sequence[int], least_m: float) -> Found | Told:
        """The middlemost of the points of one house, as far off as the others lie."""
        x, y = self.x[rows], self.y[rows]
        away = np.hypot(x[:, None] - x, y[:, None] - y)
        at = int(np.lexsort((y, x, away.sum(axis=1)))[0])
        off = max(least_m, float(np.nan_to_num(self.off_m[rows[at]])), float(away[at].max()))
        if away[at].max() > ONE_HOUSE_M:
            spots = sorted(self._lat_lon(x[i], y[i]) for i in range(len(rows)))
            address = f"{street.name} {number}"
            places = [say("{address}, around {place}", address=address, place=spot) for spot in spots[: NAMED + 1]]
            return Why.ADDRESS_TWICE.of(places=apart(places, "; "))
        return Found(float(x[at]), float(y[at]), off, By.HOUSE, f"{street.name} {number}")

    def _between(self, street: _Street, number: Number) -> Found | None:
        """Between the nearest numbers on the same side of the street, as far off as they lie apart."""
        by_number: dict[int, list[int]] = defaultdict(list)
        for row, numbers in street.numbers.items():
            for one in numbers:
                if one.low % 2 == number.low % 2:
                    by_number[one.low].append(row)
        below = max((n for n in by_number if n < number.low), default=None)
        above = min((n for n in by_number if n > number.low), default=None)
        if below is None or above is None:
            return None
        ends = [self._one_place(street, str(n), by_number[n], HOUSE_M) for n in (below, above)]
        a, b = ends
        if not (isinstance(a, Found) and isinstance(b, Found)):
            return None
        apart = float(np.hypot(b.x - a.x, b.y - a.y))
        if apart > BETWEEN_M:
            return None
        share = (number.low - below) / (above - below)
        told = "{address}, between {below} and {above}"
        name = say(told, address=f"{street.name} {number.text}", below=str(below), above=str(above))
        off = max(apart, HOUSE_M)
        return Found(a.x + share * (b.x - a.x), a.y + share * (b.y - a.y), off, By.BETWEEN, name)

    def _middle(self, street: _Street) -> Found:
        """The middle of a street by length, as far off as its farthest end."""
        shape = self._shape(street)
        merged = shapely.line_merge(shape) if len(street.lines) else shape
        if merged.geom_type == "LineString":
            middle = shapely.line_interpolate_point(merged, 0.5, normalized=True)
        else:
            middle = shapely.get_point(shapely.shortest_line(shape, shapely.centroid(shape)), 0)
        x, y = shapely.get_coordinates(middle)[0]
        ends = np.vstack(
            [shapely.get_coordinates(shape), np.column_stack([self.x[street.houses], self.y[street.houses]])]
        )
        off = float(np.hypot(ends[:, 0] - x, ends[:, 1] - y).max())
        return Found(float(x), float(y), max(off, HOUSE_M), By.STREET, street.name)
