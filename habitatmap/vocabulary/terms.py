"""Words with a fixed set of values, each stated once. A value is exactly what stands in files."""

from __future__ import annotations

from enum import StrEnum


class Outcome(StrEnum):
    """What a visit to a pool came to."""

    LARVAE = "larvae"
    NONE_SEEN = "none seen"
    DRY = "dry"
    FROZEN = "frozen"
    GONE = "gone"
    NOT_REACHED = "not reached"

    @property
    def is_search(self) -> bool:
        """Whether larvae were searched for, so that the visit tells something of them."""
        return self in (Outcome.LARVAE, Outcome.NONE_SEEN)


class YesNo(StrEnum):
    """An answer of a form; a blank cell is neither."""

    YES = "yes"
    NO = "no"


class Consent(StrEnum):
    """What the owner of the land has said to a pool."""

    YES = "yes"
    ASK = "ask"
    NO = "no"
    PROVISIONAL = "provisional"  # no land record tells whose land it is; never in a file of land

    @property
    def strictness(self) -> int:
        """Where several parcels overlap, the strictest counts: 0 = no, 1 = ask, 2 = yes."""
        return {Consent.NO: 0, Consent.ASK: 1, Consent.PROVISIONAL: 1, Consent.YES: 2}[self]


class SiteState(StrEnum):
    """How far a suggested site has come, as plan_status.xlsx has it."""

    TO_ASK = "to ask"
    ASKED = "asked"
    AGREED = "agreed"
    REFUSED = "refused"
    SET_OUT = "set out"
    GIVEN_UP = "given up"

    @property
    def is_open(self) -> bool:
        """Whether a pool may still be set out there."""
        return self in (SiteState.TO_ASK, SiteState.ASKED, SiteState.AGREED)


class Siting(StrEnum):
    """What a use of land means for a pool: none can stand there, somebody else must agree too, or neither."""

    EXCLUDED = "excluded"
    ASK = "ask"
    ALLOWED = "allowed"


class Hazard(StrEnum):
    """Ground where no pool can stand whatever its use, by a raster of the area; named as its file is."""

    STEEP = "steep"
    FLOODS = "floods"


class NoVisit(StrEnum):
    """Why a standing pool is due no visit, label or sheet."""

    WITHDRAWN = "consent withdrawn"  # its own consent is no
    EXPIRED = "consent expired"
    LAND = "no consent of the land"  # the land it stands on says no, and the pool has no yes of its own


class SlopeUnit(StrEnum):
    """What a raster of slopes counts in."""

    DEGREES = "degrees"
    PERCENT = "percent"


class Mosquitoes(StrEnum):
    """What is known of disease-carrying mosquitoes in an area."""

    NOT_ASSESSED = "not assessed"
    NONE_REPORTED = "none reported"
    REPORTED = "reported"


class Condition(StrEnum):
    """The condition of a tree record; blank where it is not known."""

    LIVING = "living"
    DEAD = "dead"
    STUMP = "stump"
    LOG = "log"
    NO_TREE = "no tree"  # a vacant site, or a tree that was removed: set aside when read

    @property
    def is_dead_wood(self) -> bool:
        """Whether the record is dead wood, standing or lying."""
        return self in (Condition.DEAD, Condition.STUMP, Condition.LOG)


class Objective(StrEnum):
    """What a plan is to maximise."""

    SERVED = "served"
    REACH = "reach"
    CONNECTIVITY = "connectivity"


class FoundFrom(StrEnum):
    """Where the flies come from that find a pool, as a plan for forage likely served takes it."""

    BOTH = "both"
    MAPPED = "mapped places"
    ANYWHERE = "anywhere"


class Basis(StrEnum):
    """What a value rests on."""

    PUBLISHED = "published"
    COMMON_PRACTICE = "common practice"
    EXPERT_JUDGEMENT = "expert judgement"


class ShareBy(StrEnum):
    """How a round is shared out among people."""

    LAST_VISITOR = "last visitor"
    SHORTEST_WALK = "shortest walk"
