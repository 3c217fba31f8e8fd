"""plan_status.xlsx beside the inputs of an area: how far its suggested sites have come, brought up to a plan."""

from __future__ import annotations

from habitatmap.geo.crs import to_lonlat
from habitatmap.read.status_list import Suggested, write_list
from habitatmap.result import Result
from habitatmap.sentences import Sentence
from habitatmap.words.catalogue import ENGLISH, Catalogue
from habitatmap.words.where import told_place

DIGITS = 6  # a tenth of a metre


def write_plan_status(result: Result, spoken: Catalogue = ENGLISH) -> Sentence:
    """Writes the list where something is to be added or changed, in a language; a sentence on it, "" where there was
    nothing to do. On private land it has the middle of the site's square, as the register of ids does.

    InputError where it can't be written.
    """
    register = result.site_ids.set_index("id")
    known = register.loc[result.plan["id"]]
    lon, lat = to_lonlat(known["x"].to_numpy(float), known["y"].to_numpy(float), result.crs)
    sites = [
        Suggested(
            id=str(row["id"]),
            place=spoken.say(told_place(row["place"])),
            rank=int(row["rank"]),
            lon=round(float(east), DIGITS),
            lat=round(float(north), DIGITS),
            private=str(row["private"]),
        )
        for row, east, north in zip(result.plan.to_dict("records"), lon, lat, strict=True)
    ]
    return write_list(result.findings.area.folder, sites, spoken.say)
