"""Where a site lies, in words one can say on the telephone: the ground, the side of it, and the nearest named thing."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from habitatmap.sentences import Quantity, Sentence, Value, as_it_is, capitalised

# nearer than this a site is said to lie beside a thing, as nobody paces out less (expert judgement)
BESIDE_M = 10.0


class Direction(StrEnum):
    """The eight winds."""

    NORTH = "north"
    NORTH_EAST = "north-east"
    EAST = "east"
    SOUTH_EAST = "south-east"
    SOUTH = "south"
    SOUTH_WEST = "south-west"
    WEST = "west"
    NORTH_WEST = "north-west"

    @classmethod
    def of(cls, east: float, north: float) -> Direction:
        """The wind towards which a vector points, as far as it can be told by eight."""
        eighths = round(math.atan2(east, north) / (math.pi / 4))
        return list(cls)[eighths % 8]


class Part(StrEnum):
    """Which part of a piece of ground: its middle, a side, or an end where it is long and narrow."""

    MIDDLE = "middle"
    SIDE = "side"
    END = "end"


@dataclass(frozen=True)
class Where:
    """Where a site lies. Empty texts and NaN are not known or not to be told.

    inside: the named ground that holds it, and `whole` whether that is a district and not the ground itself.
    pointed: whether the wind is told inside named ground too, as another site would be told in the same words.
    private: on private land, where only a street or a square may be told.
    near, near_m, towards: the nearest other named thing, how far off it is, and towards which wind the site lies of it.
    """

    kind: str = ""
    inside: str = ""
    whole: bool = False
    part: Part | None = None
    wind: Direction | None = None
    near: str = ""
    near_m: float = math.nan
    towards: Direction | None = None
    lat: float = math.nan
    lon: float = math.nan
    private: bool = False
    pointed: bool = False

    def __str__(self) -> str:
        return ", ".join(part.format_map(self.values) for part in self.parts)

    @property
    def parts(self) -> list[str]:
        """What is told one after the other: words in English with {names} for what stands in `values`."""
        if self.private:
            return ["private land near {near}" if self.near else "{kind} in {inside}"]
        ground = "{inside}" if self.inside and not self.whole else "{kind} in {inside}" if self.inside else "{kind}"
        told = [ground] if self.inside or self.near else ["{kind} at {at}"]
        if self.part is Part.MIDDLE:
            told.append("in the middle")
        elif self.part is not None:
            told.append(f"{self.wind} {self.part}")
        if self.near and self.near_m < BESIDE_M:
            told.append("beside {near}")
        elif self.near:
            enough = self.inside and not self.whole and not self.pointed
            direction = "from" if enough else f"{self.towards} of"
            told.append(f"{{far}} {direction} {{near}}")
        return told

    @property
    def values(self) -> dict[str, Value]:
        """What stands in the parts."""
        kind = self.kind or "ground"
        latitude = f"{abs(self.lat):.4f} {'N' if self.lat >= 0 else 'S'}"
        longitude = f"{abs(self.lon):.4f} {'E' if self.lon >= 0 else 'W'}"
        return {
            "inside": self.inside,
            "kind": said_kind(kind if self.private else capitalised(kind)),
            "near": self.near,
            "far": _far(self.near_m),
            "at": f"{latitude}, {longitude}",
        }


def told_apart(places: Sequence[Where]) -> list[Where]:
    """The same places; those that would be told in the same words also tell their wind of the nearest name."""
    same = Counter(map(str, places))
    return [replace(place, pointed=same[str(place)] > 1) for place in places]


def said_kind(kind: str) -> Sentence:
    """What a kind of land is called, which a page says in its language where it is one of ours."""
    return as_it_is(kind) if "{" in kind else Sentence(kind)


def _far(metres: float) -> Value:
    """To ten metres, from a kilometre on to a hundred."""
    if not math.isfinite(metres):
        return ""
    return Quantity(round(metres, -1), 0, "m") if metres < 995 else Quantity(metres / 1000, 1, "km")
