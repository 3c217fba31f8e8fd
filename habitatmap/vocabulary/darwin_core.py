"""Darwin Core as an archive of searches uses it: its terms, in the order of the columns, and why a row is not given."""

from __future__ import annotations

from enum import StrEnum

TERMS = "http://rs.tdwg.org/dwc/terms/"
TEXT_GUIDE = "http://rs.tdwg.org/dwc/text/"
LICENCE_TERM = "http://purl.org/dc/terms/license"

EVENT = (
    *("eventID", "parentEventID", "eventType", "eventDate", "samplingProtocol", "samplingEffort", "sampleSizeValue"),
    *("sampleSizeUnit", "habitat", "countryCode", "locality", "decimalLatitude", "decimalLongitude", "geodeticDatum"),
    *("coordinateUncertaintyInMeters", "dataGeneralizations", "informationWithheld"),
)
"""The core: a row for each search, and one for each pool that they were of."""

OCCURRENCE = (
    *("eventID", "occurrenceID", "basisOfRecord", "occurrenceStatus", "individualCount", "lifeStage"),
    *("scientificName", "taxonRank", "kingdom", "class", "order", "family"),
    *("identificationVerificationStatus", "recordedBy", "occurrenceRemarks"),
)
"""The extension: what each search found or did not find."""

GROUP, GROUP_RANK = "Syrphidae", "family"
"""What every search looks for: water-living larvae of hoverflies, which nobody needs to tell apart."""


class Status(StrEnum):
    """Which pair of words tells a detection from a non-detection (dwc:occurrenceStatus)."""

    DETECTED = "detected"  # detected, notDetected: recommended since 2026-05-26
    PRESENT = "present"  # present, absent: recommended before

    @property
    def words(self) -> tuple[str, str]:
        """For a non-detection and for a detection."""
        return ("notDetected", "detected") if self is Status.DETECTED else ("absent", "present")


class NotGiven(StrEnum):
    """Why a visit, or what it says of a taxon, is not in the archive."""

    NO_SEARCH = "no_search"  # dry, frozen, gone, not reached: nothing was sampled
    AFTER_AS_OF = "after_as_of"
    NOT_OUT = "not_out"  # dated before the pool was installed or after it was removed
    NO_UNCERTAINTY = "no_uncertainty"  # nobody knows how far off the place may be
    FEW_GARDENS = "few_gardens"  # its blur square holds too few private hosts
    NOT_CHECKED = "not_checked"  # a species or genus that nobody has checked: given as the group
    NO_NAME = "no_name"  # checked, but its name is no scientific one: given as the group

    @property
    def to_do(self) -> bool:
        """Whether somebody can mend it."""
        return self in (self.NOT_OUT, self.NO_UNCERTAINTY, self.NOT_CHECKED, self.NO_NAME)


class Licence(StrEnum):
    """The licences that open-data portals for records take."""

    CC0 = "CC0 1.0"
    BY = "CC BY 4.0"
    BY_NC = "CC BY-NC 4.0"

    @property
    def url(self) -> str:
        """Its text."""
        path = {"CC0": "publicdomain/zero/1.0", "BY": "licenses/by/4.0", "BY_NC": "licenses/by-nc/4.0"}[self.name]
        return f"https://creativecommons.org/{path}/legalcode"
