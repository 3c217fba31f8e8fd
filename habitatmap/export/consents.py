"""consent.xlsx beside the inputs of an area: the list of consents, brought up to the land that the area has."""

from __future__ import annotations

from habitatmap.area import Area
from habitatmap.read.consent_list import parcels_of, write_list
from habitatmap.read.pools import standing
from habitatmap.sentences import Sentence
from habitatmap.words.catalogue import ENGLISH, Catalogue


def write_consents(area: Area, spoken: Catalogue = ENGLISH) -> Sentence:
    """Writes the list where something is to be added or changed, in a language; a sentence on it, "" where there was
    nothing to do.

    InputError where it can't be written.
    """
    sites = area.earlier_sites
    shown = sites[(sites["suggested"] == "yes") & (sites["private"] != "yes")]
    pools = area.pools[standing(area.pools, area.visits, area.as_of)]
    return write_list(
        area.folder, parcels_of(area.land, area.land_called.tolist(), area.paths, pools, shown), spoken.say
    )
