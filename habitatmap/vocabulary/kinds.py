"""The kinds of input that an area folder may hold, each by the name that its files bear."""

from __future__ import annotations

import re
from enum import StrEnum


class Kind(StrEnum):
    """A kind of input; its files are named for it, such as `pools.csv` or `pools_north.xlsx`."""

    POOLS = "pools"
    VISITS = "visits"
    TREES = "trees"
    LAND = "land"
    CONSENT = "consent"  # consent.xlsx, a row for each piece of land, which `new` and `check` write
    KEEP_AWAY = "keep_away"
    PATHS = "paths"
    NAMES = "names"
    ADDRESSES = "addresses"
    BOUNDARY = "boundary"
    INVENTORIED = "inventoried"
    COMMITTED = "committed"
    PLAN_STATUS = "plan_status"  # plan_status.xlsx, a row for each suggested site, which `map` writes
    LAND_COVER = "land_cover"
    STEEP = "steep"  # a raster, as the next
    FLOODS = "floods"
    OVERLAYS = "overlays"  # a folder of this name, whose files may have any name

    @classmethod
    def of_stem(cls, stem: str) -> Kind | None:
        """The kind that a file is named for, by the stem of its name; None where it is named for none."""
        plain = stem.casefold()
        kind = next((kind for kind in _LONGEST_FIRST if plain == kind or plain.startswith(f"{kind}_")), None)
        if kind is None and (sent := _SENT_BY.fullmatch(plain)):
            again = _COPY.search(sent["by"]) or (sent["kind"] == cls.POOLS and sent["by"][0].isdigit())
            return None if again else cls(sent["kind"])
        # land_coverage.gpkg is no land register, whatever its first word
        return None if kind is Kind.LAND and plain.startswith(Kind.LAND_COVER) else kind


# named in the folder itself; the others lie in a folder of their own
NAMED = tuple(kind for kind in Kind if kind is not Kind.OVERLAYS)
_LONGEST_FIRST = sorted(NAMED, key=len, reverse=True)
# "visits (Carla)" and "visits 2024", as a volunteer names a file; "visits (1)", "visits - copy" and "pools 2024" may
# repeat another
_SENT_BY = re.compile(r"(?P<kind>pools|visits)[ ,-]+\(?(?P<by>(?:(?:19|20)\d\d\b|[^\W\d])[\w .'-]*)\)?")
_COPY = re.compile(r"\b(copy|kopie|copie|copia|kopia|kopio|old|alt|ancien|oud|backup|save|plan|map|template)\b")
# rasters only
RASTERS = (Kind.STEEP, Kind.FLOODS)
# rows are counted for these in every run, though there be none
COUNTED = (Kind.POOLS, Kind.VISITS, Kind.TREES, Kind.LAND, Kind.KEEP_AWAY)
# read row by row into frames; a correction file is for one of these
TABLES = (*COUNTED, Kind.COMMITTED, Kind.CONSENT, Kind.PLAN_STATUS, Kind.ADDRESSES)
# the folder that holds the groups' folders, and what each of these may hold
GROUPS = "groups"
OF_GROUPS = (*COUNTED, Kind.COMMITTED)
# one of these is enough for a map
ENOUGH = frozenset({Kind.POOLS, Kind.LAND_COVER, Kind.OVERLAYS})
# the names of an earlier version, which are refused with today's
OLD_NAMES = {"wanted": Kind.COMMITTED}
