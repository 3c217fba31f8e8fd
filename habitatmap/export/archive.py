"""The searches of an area as a Darwin Core Archive: events, what each found or did not find, and who gives it away.

It is a public product: private places are those of the public map (the middle of their blur square, no name), squares
with too few private hosts give nothing, and no host, note or file is in it. Standards: Darwin Core and its text guide
(TDWG, http://rs.tdwg.org/dwc/terms/, http://rs.tdwg.org/dwc/text/), Ecological Metadata Language 2.2.0.
"""

from __future__ import annotations

import io
import math
import re
import zipfile
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element, SubElement

import pandas as pd

from habitatmap.area import Area
from habitatmap.errors import InputError
from habitatmap.export.formats import csv_text, visible
from habitatmap.export.styles import text_of
from habitatmap.geo.crs import to_lonlat
from habitatmap.privacy import is_private, public_pools, square_of
from habitatmap.read.days_out import in_by, out_from
from habitatmap.read.settings import ArchiveSettings
from habitatmap.survey.searches import first_reason, rows_of_one_search
from habitatmap.vocabulary.darwin_core import (
    EVENT,
    GROUP,
    GROUP_RANK,
    LICENCE_TERM,
    OCCURRENCE,
    TERMS,
    TEXT_GUIDE,
    Licence,
    NotGiven,
    Status,
)
from habitatmap.vocabulary.terms import Outcome, YesNo
from habitatmap.words.archive import (
    BLURRED,
    HABITAT,
    NOTHING,
    PROTOCOL,
    REASON,
    REMEDY,
    WITHHELD_PEOPLE,
    WITHHELD_PLACE,
)

NOT_GIVEN_COLUMNS = ["file", "row", "pool", "date", "taxon", "reason", "remedy"]
# searches are numbered by what they say, so that neither the order of rows nor a garden's place in its square matters
ORDER = ["place", "date", "outcome", "larvae_low", "larvae_high", "taxon", "checked", "observer"]
EML = "https://eml.ecoinformatics.org/eml-2.2.0"
# a genus, a species or a subspecies as zoologists write it (common practice, no source)
_SCIENTIFIC = re.compile(r"[A-Z][a-z]{2,}(?: [a-z][a-z-]+){0,2}")
_RANKS = ("genus", "species", "subspecies")
# endings of names above the genus (International Code of Zoological Nomenclature, 4th edition, article 29.2)
_ABOVE = {"idae": "family", "inae": "subfamily", "ini": "tribe"}


@dataclass(frozen=True)
class Archive:
    """events: the columns EVENT; occurrences: the columns OCCURRENCE; not_given: NOT_GIVEN_COLUMNS, for the team.

    reasons: how many rows of the visits are not given, by reason; blurred: how many searches are given by square.
    """

    events: pd.DataFrame
    occurrences: pd.DataFrame
    not_given: pd.DataFrame
    reasons: Mapping[NotGiven, int]
    blurred: int

    @property
    def counts(self) -> dict[str, int]:
        """What it holds."""
        group = self.occurrences[self.occurrences["scientificName"] == GROUP]
        found = len(group) - int((group["individualCount"] == 0).sum())
        return {
            "pools": int((self.events["eventType"] == "Survey").sum()),
            "searches": len(group),
            "detected": found,
            "not_detected": len(group) - found,
            "checked_taxa": len(self.occurrences) - len(group),
            "blurred": self.blurred,
        }

    @property
    def needs_a_look(self) -> bool:
        """Whether something that somebody can mend is not given."""
        return any(why.to_do for why in self.reasons)


def archive_of(area: Area, status: Status = Status.DETECTED, observers: bool = False) -> Archive:
    """The archive of an area's searches up to its day; with the names of `observers` where these have agreed."""
    private = is_private(area.pools, area.land)
    shown, called = public_pools(area.pools, area.visits, private, area.settings.public.blur_m)
    visits = area.visits.assign(**_taxa(area.visits), why=_why_not(area, called))
    given = visits[visits["why"] == ""]
    closed = given["pool"].isin(area.pools["pool"][private])
    given = given.assign(search=_numbers(given), place=given["pool"].map(called), closed=closed)
    events, event_of = _events(given, shown, area, observers)
    occurrences = _occurrences(given, event_of, status, observers)
    of_visits = visits[visits["why"] != ""].assign(taxon="")
    of_taxa = given[given["unnamed"] != ""].assign(why=lambda rows: rows["unnamed"])
    not_given = pd.concat([of_visits, of_taxa]).sort_values(["file", "row", "why"], kind="stable")
    reasons = Counter(map(NotGiven, not_given["why"]))
    table = not_given.assign(
        date=not_given["date"].dt.strftime("%Y-%m-%d"),
        reason=[REASON[why] for why in not_given["why"]],
        remedy=[REMEDY.get(why, NOTHING) for why in not_given["why"]],
    )
    blurred = int(events["dataGeneralizations"].astype(bool).sum())
    ordered = {why: reasons[why] for why in NotGiven if reasons[why]}
    return Archive(events, occurrences, table[NOT_GIVEN_COLUMNS].reset_index(drop=True), ordered, blurred)


def _why_not(area: Area, called: Mapping[str, str]) -> pd.Series:
    """The first reason for which a visit is not given, "" where it is."""
    visits, by_name = area.visits, area.pools.set_index("pool")
    day, pool = pd.to_datetime(visits["date"]), visits["pool"]
    off = pool.map(by_name["uncertainty_m"])
    early = day < pool.map(pd.Series(out_from(by_name), by_name.index))
    late = day > pool.map(pd.Series(in_by(by_name), by_name.index))
    hits = {
        NotGiven.AFTER_AS_OF: day > pd.Timestamp(area.as_of),
        NotGiven.NO_SEARCH: ~visits["outcome"].isin([outcome for outcome in Outcome if outcome.is_search]),
        NotGiven.NOT_OUT: early | late,
        NotGiven.NO_UNCERTAINTY: off.isna(),
        NotGiven.FEW_GARDENS: ~pool.isin(list(called)),
    }
    return first_reason(hits, visits.index)


def _taxa(visits: pd.DataFrame) -> dict[str, list[str]]:
    """Of each visit the rank of the species or genus that is given beside the group, and why one is not given."""
    ranks, unnamed = [], []
    for outcome, taxon, checked in zip(visits["outcome"], visits["taxon"].str.strip(), visits["checked"], strict=True):
        rank = _rank(taxon) if outcome == Outcome.LARVAE and taxon else ""
        above = rank in _ABOVE.values()
        is_checked = checked == YesNo.YES
        no_name = outcome == Outcome.LARVAE and taxon != "" and not rank and is_checked
        why = NotGiven.NOT_CHECKED if rank and not above and not is_checked else NotGiven.NO_NAME if no_name else ""
        ranks.append(rank if is_checked and taxon != GROUP else "")
        unnamed.append(why)
    return {"rank": ranks, "unnamed": unnamed}


def _rank(taxon: str) -> str:
    """The rank of a scientific name by its form, "" where it is none."""
    if not _SCIENTIFIC.fullmatch(taxon):
        return ""
    words = taxon.split()
    if len(words) == 1:
        return next((rank for ending, rank in _ABOVE.items() if taxon.endswith(ending)), _RANKS[0])
    return _RANKS[len(words) - 1]


def _numbers(visits: pd.DataFrame) -> pd.Series:
    """A number for each search: rows that a list of taxa has split are one."""
    together = rows_of_one_search(visits.drop(columns=["rank", "unnamed", "why"]))
    alone = together.isna()
    return together.where(~alone, together.max() + 1 + alone.cumsum() if together.notna().any() else alone.cumsum())


# --- the tables -------------------------------------------------------------------------------------------------------


def _events(
    given: pd.DataFrame, shown: pd.DataFrame, area: Area, observers: bool
) -> tuple[pd.DataFrame, dict[float, str]]:
    """The events in canonical order, and each search's eventID by its number.

    A search of a private pool stands by itself: nothing says which searches of a square were of one pool.
    """
    settings, places = area.settings.archive, _places(shown, area)
    searches = given.drop_duplicates("search").sort_values(ORDER)
    times: Counter[str] = Counter()
    event_of: dict[float, str] = {}
    rows: list[dict[str, object]] = []
    for search, place, day in searches[["search", "place", "date"]].itertuples(index=False):
        about = places[place]
        name = f"{about['name']}:{day:%Y-%m-%d}"
        times[name] += 1
        event_of[search] = f"{name}:{times[name]}" if times[name] > 1 or not about["locality"] else name
        parent = about["name"] if about["locality"] else ""
        rows.append(_event(event_of[search], f"{day:%Y-%m-%d}", about, parent, settings, observers))
    for place, days in searches.groupby("place")["date"]:
        about = places[str(place)]
        if about["locality"]:
            span = f"{days.min():%Y-%m-%d}/{days.max():%Y-%m-%d}"
            survey = {"eventType": "Survey", "sampleSizeValue": None, "sampleSizeUnit": "", "samplingEffort": ""}
            rows.append(_event(str(about["name"]), span, about, "", settings, observers) | survey)
    frame = pd.DataFrame(rows, columns=list(EVENT)).sort_values("eventID", kind="stable", ignore_index=True)
    return frame.astype({"sampleSizeValue": "Int64", "coordinateUncertaintyInMeters": "Int64"}), event_of


def _places(shown: pd.DataFrame, area: Area) -> dict[str, dict[str, object]]:
    """What the archive says of each place that may be shown, by its public name."""
    lon, lat = to_lonlat(shown["x"], shown["y"], area.crs)
    blur, title = area.settings.public.blur_m, visible(area.title)
    col, row = square_of(shown["x"], shown["y"], blur)
    about: dict[str, dict[str, object]] = {}
    for i, (name, private, off) in enumerate(shown[["pool", "private", "uncertainty_m"]].itertuples(index=False)):
        closed = private == YesNo.YES
        off_m = off if closed else max(off, area.settings.archive.least_uncertainty_m)
        about[name] = {
            "name": f"{title}:square {col[i]:.0f} {row[i]:.0f}" if closed else f"{title}:{visible(name)}",
            "locality": "" if closed else name,
            "decimalLatitude": round(float(lat[i]), 5),
            "decimalLongitude": round(float(lon[i]), 5),
            "coordinateUncertaintyInMeters": math.ceil(off_m) if math.isfinite(off_m) else None,
            "dataGeneralizations": BLURRED.format(side=blur) if closed else "",
        }
    return about


def _event(
    event: str, when: str, about: Mapping[str, object], parent: object, settings: ArchiveSettings, observers: bool
) -> dict[str, object]:
    private = not about["locality"]
    withheld = [WITHHELD_PLACE] * private + [WITHHELD_PEOPLE] * (private or not observers)
    return {
        "eventID": event,
        "parentEventID": parent,
        "eventType": "SiteVisit",
        "eventDate": when,
        "samplingProtocol": settings.protocol or PROTOCOL,
        "samplingEffort": "1 search of 1 pool",
        "sampleSizeValue": 1,
        "sampleSizeUnit": "pool",
        "habitat": HABITAT,
        "countryCode": settings.country,
        "geodeticDatum": "EPSG:4326",
        "informationWithheld": " | ".join(withheld),
        **{name: value for name, value in about.items() if name != "name"},
    }


def _occurrences(given: pd.DataFrame, event_of: Mapping[float, str], status: Status, observers: bool) -> pd.DataFrame:
    """For each search one row of the group, and one for each checked species or genus in it."""
    absent, present = status.words
    rows: list[dict[str, object]] = []
    for search, parts in given.groupby("search", sort=False):
        found = bool((parts["outcome"] == Outcome.LARVAE).any())
        event = event_of[float(str(search))]
        common = {
            "eventID": event,
            "basisOfRecord": "HumanObservation",
            "lifeStage": "larva",
            "kingdom": "Animalia",
            "recordedBy": _people(parts["observer"]) if observers and not parts["closed"].any() else "",
        }
        group = {
            "occurrenceID": f"{event}:{GROUP}",
            "scientificName": GROUP,
            "taxonRank": GROUP_RANK,
            "class": "Insecta",
            "order": "Diptera",
            "family": GROUP,
            "occurrenceStatus": present if found else absent,
        }
        rows.append(common | group | (_counted(parts[parts["outcome"] == Outcome.LARVAE]) if found else _NONE))
        checked = parts[parts["rank"] != ""]
        for taxon, of_taxon in checked.groupby(checked["taxon"].str.strip()):
            own = {
                "occurrenceID": f"{event}:{taxon}",
                "scientificName": taxon,
                "taxonRank": of_taxon["rank"].iloc[0],
                "occurrenceStatus": present,
                "identificationVerificationStatus": "verified",
            }
            rows.append(common | own | _counted(of_taxon))
    blank = dict.fromkeys(("identificationVerificationStatus", "class", "order", "family"), "")
    frame = pd.DataFrame(rows, columns=list(OCCURRENCE)).fillna(blank)
    return frame.sort_values(["eventID", "occurrenceID"], kind="stable", ignore_index=True).astype(
        {"individualCount": "Int64"}
    )


_NONE = {"individualCount": 0, "occurrenceRemarks": ""}


def _counted(parts: pd.DataFrame) -> dict[str, object]:
    """How many larvae the rows tell of; where they leave it open, in words; nothing where nobody counted."""
    low, high = parts["larvae_low"].sum(skipna=False), parts["larvae_high"].sum(skipna=False)
    if math.isnan(low) or math.isnan(high) or low <= 0:
        return {"individualCount": None, "occurrenceRemarks": ""}
    if low == high:
        return {"individualCount": int(low), "occurrenceRemarks": ""}
    told = f"at least {low:.0f} counted" if math.isinf(high) else f"{low:.0f} to {high:.0f} counted"
    return {"individualCount": None, "occurrenceRemarks": told}


def _people(names: pd.Series) -> str:
    """Observers, as Darwin Core lists people."""
    return " | ".join(sorted({visible(name.strip()) for name in names} - {""}))


# --- the files --------------------------------------------------------------------------------------------------------


def check_archive_settings(settings: ArchiveSettings) -> None:
    """Refuses settings that lack what every archive must say. Raises InputError with the lines to add."""
    lines = {
        "licence": 'licence = "CC BY 4.0"  # or "CC0 1.0", "CC BY-NC 4.0"',
        "publisher": 'publisher = "..."  # the group or council that gives the records',
        "contact": 'contact = "..."  # a mail address that may be public',
    }
    lacking = [line for name, line in lines.items() if not getattr(settings, name)]
    if lacking:
        raise InputError(
            "area.toml does not say what an archive must tell a records centre. Add under [archive]:\n"
            + "\n".join(lacking)
        )


def archive_bytes(archive: Archive, area: Area) -> bytes:
    """The archive as a zip; the same archive gives the same bytes."""
    licence = area.settings.archive.licence
    assert licence is not None
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as into:
        for name, content in (
            ("meta.xml", text_of(_meta(licence), '<?xml version="1.0" encoding="UTF-8"?>\n')),
            ("eml.xml", text_of(_eml(archive, area, licence), '<?xml version="1.0" encoding="UTF-8"?>\n')),
            ("event.csv", csv_text(archive.events)),
            ("occurrence.csv", csv_text(archive.occurrences)),
        ):
            into.writestr(zipfile.ZipInfo(name), content, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _meta(licence: Licence) -> Element:
    """What the columns are, as the text guide has it."""
    root = Element("archive", {"xmlns": TEXT_GUIDE, "metadata": "eml.xml"})
    tables = (("core", "Event", EVENT, "id"), ("extension", "Occurrence", OCCURRENCE, "coreid"))
    for tag, row_type, names, key in tables:
        table = SubElement(
            root,
            tag,
            {
                "encoding": "UTF-8",
                "fieldsTerminatedBy": ",",
                "linesTerminatedBy": "\\r\\n",
                "fieldsEnclosedBy": '"',
                "ignoreHeaderLines": "1",
                "rowType": TERMS + row_type,
            },
        )
        SubElement(SubElement(table, "files"), "location").text = f"{row_type.lower()}.csv"
        SubElement(table, key, {"index": "0"})
        for index, name in enumerate(names):
            SubElement(table, "field", {"index": str(index), "term": TERMS + name})
        SubElement(table, "field", {"default": licence.url, "term": LICENCE_TERM})
    return root


def _eml(archive: Archive, area: Area, licence: Licence) -> Element:
    """Who gives what, of where and when."""
    settings, title = area.settings.archive, visible(area.title)
    root = Element("eml:eml", {"xmlns:eml": EML, "packageId": title, "system": "habitatmap", "xml:lang": "en"})
    dataset = SubElement(root, "dataset")
    SubElement(dataset, "title").text = f"Searches for hoverfly larvae in pools, {title}"
    _party(dataset, "creator", settings)
    SubElement(dataset, "pubDate").text = area.as_of.isoformat()
    SubElement(dataset, "language").text = "en"
    n = archive.counts
    about = f"{n['searches']} searches for larvae of hoverflies in small pools, {n['detected']} with larvae."
    _paragraphs(dataset, "abstract", [about, *filter(None, [visible(settings.about)])])
    _paragraphs(dataset, "intellectualRights", [f"{licence}, {licence.url}"])
    _coverage(dataset, archive.events, title)
    _party(dataset, "contact", settings)
    step = SubElement(SubElement(dataset, "methods"), "methodStep")
    _paragraphs(step, "description", [visible(settings.protocol) or PROTOCOL])
    return root


def _party(into: Element, tag: str, settings: ArchiveSettings) -> None:
    party = SubElement(into, tag)
    SubElement(party, "organizationName").text = visible(settings.publisher)
    SubElement(party, "electronicMailAddress").text = visible(settings.contact)


def _paragraphs(into: Element, tag: str, texts: Sequence[str]) -> None:
    part = SubElement(into, tag)
    for text in texts:
        SubElement(part, "para").text = text


def _coverage(into: Element, events: pd.DataFrame, title: str) -> None:
    """The box, the days and the group, of what is given."""
    coverage = SubElement(into, "coverage")
    where = SubElement(coverage, "geographicCoverage")
    SubElement(where, "geographicDescription").text = title
    box = SubElement(where, "boundingCoordinates")
    lon, lat = events["decimalLongitude"], events["decimalLatitude"]
    for side, value in (("west", lon.min()), ("east", lon.max()), ("north", lat.max()), ("south", lat.min())):
        SubElement(box, f"{side}BoundingCoordinate").text = str(value)
    days = events.loc[events["eventType"] == "SiteVisit", "eventDate"]
    dates = SubElement(SubElement(coverage, "temporalCoverage"), "rangeOfDates")
    for tag, day in (("beginDate", days.min()), ("endDate", days.max())):
        SubElement(SubElement(dates, tag), "calendarDate").text = str(day)
    taxon = SubElement(SubElement(coverage, "taxonomicCoverage"), "taxonomicClassification")
    SubElement(taxon, "taxonRankName").text = GROUP_RANK
    SubElement(taxon, "taxonRankValue").text = GROUP
