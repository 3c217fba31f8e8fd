"""Why here, and what could be wrong: the words beside a suggestion. Every figure in them is a column of plan.csv."""

from __future__ import annotations

import math
from collections.abc import Mapping
from numbers import Real

from habitatmap.plan.candidates import Reason
from habitatmap.vocabulary.terms import Consent, SiteState, YesNo
from habitatmap.words.gaps import lost
from habitatmap.words.months import MONTHS
from habitatmap.words.numbers import known
from habitatmap.words.sentences import Sentence, Value, following, hectares, significant

# below this share of simulations a site is said to be a near thing; above the next, to be sure (expert judgement)
UNSURE, SURE = 0.5, 0.8
# above this share of the gain on land whose forage is assumed, it is said (expert judgement)
MUCH_ASSUMED = 0.3
# a probability known no closer than this is said to be hardly known (expert judgement)
WIDE = 0.4
# a class that gives more than this share of what a site adds is most of it
MOSTLY = 0.5


Row = Mapping[str, object]


def _figure(row: Row, name: str) -> float:
    """A figure of the row; NaN where it is not known or not there."""
    value = row.get(name)
    return float(value) if isinstance(value, Real) else math.nan


def reason(row: Row) -> Sentence:
    """Why here, from a row of plan.csv, in one sentence: what a pool serves, what speaks against it, how sure it is."""
    is_committed = row.get("committed") == YesNo.YES
    stands = "A pool on this agreed site serves" if _is_agreed(row) else "A pool on this committed site serves"
    pool = Sentence(stands if is_committed else "A pool here serves")
    parts = {"pool": pool, "what": _what(row), "share": _share(row), "against": _against(row)}
    steady = _figure(row, "robustness")
    if is_committed or not known(steady):
        return Sentence("{pool} {what}, {share}; against it: {against}.", parts)
    how = ROBUST if steady >= SURE else FAIR if steady >= UNSURE else DOUBTFUL
    sure = Sentence(how, {"share": significant(steady)})
    return Sentence("{pool} {what}, {share}; against it: {against}; {sure}.", parts | {"sure": sure})


ROBUST = "it is a robust choice and stays in the plan in {share} of the simulations"
FAIR = "it is a fair choice and stays in the plan in {share} of the simulations"
DOUBTFUL = "another site may be better, as this one stays in the plan in {share} of the simulations"


def _is_agreed(row: Row) -> bool:
    """Whether somebody has agreed to a pool on this very site (plan_status.xlsx)."""
    return row.get("state") == SiteState.AGREED


def _what(row: Row) -> Sentence:
    """The flowers that a pool serves, on which ground, and in which month most of them are open."""
    new, month = _figure(row, "new_ha"), _figure(row, "new_month")
    if new > 0:
        flowers = Sentence("{ha} in flower that adults would probably not reach without it", {"ha": hectares(new)})
    else:
        flowers = Sentence("flowers that adults may reach already, and makes that surer")
    if not known(month) or not row.get("new_class"):
        return flowers
    mostly = _figure(row, "new_class_share") > MOSTLY  # false where it is not known
    where = "mostly {ground}, most in {month}" if mostly else "{ground} first of all, most in {month}"
    ground: dict[str, Value] = {
        "ground": Sentence(str(row["new_class"]).lower()),
        "month": Sentence(MONTHS[int(month) - 1]),
    }
    return Sentence("{flowers} ({where})", {"flowers": flowers, "where": Sentence(where, ground)})


def _share(row: Row) -> Sentence:
    """How much of the area's forage that is, and what it does for the network where the plan is made for that."""
    values: dict[str, Value] = {"gain": significant(_figure(row, "gain"))}
    said = "{gain} of the area's forage"
    low, high = _figure(row, "gain_low"), _figure(row, "gain_high")
    if known(low) and known(high):
        said += " (likely {low} to {high})"
        values |= {"low": significant(low), "high": significant(high)}
    gain = Sentence(said, values)
    if not known(_figure(row, "ec_gain")):
        return gain
    raises = "{gain}, and raises the equivalent connectivity of the network by {ec}"
    return Sentence(raises, {"gain": gain, "ec": significant(_figure(row, "ec_gain"))})


def _against(row: Row) -> Sentence:
    """What weighs most against a site."""
    if isinstance(ruled_out := row.get("not_allowed"), Reason):
        return Sentence("the plan would not have put a pool here ({reason})", {"reason": lost(ruled_out)})
    if row.get("consent") == Consent.PROVISIONAL and not _is_agreed(row):
        return Sentence("it is not known whose land this is")
    if row.get("also_ask"):
        return Sentence("others must agree besides the owner")
    if row.get("consent") == Consent.ASK and not _is_agreed(row):
        return Sentence("the owner may say no")
    if (assumed := _figure(row, "assumed_share")) > MUCH_ASSUMED:
        return Sentence("{share} of that is assumed, as nobody has surveyed it", {"share": significant(assumed)})
    low, high = _figure(row, "occupancy_low"), _figure(row, "occupancy_high")
    if high - low > WIDE:  # false where one is not known
        hardly = "the probability of larvae is hardly known, {low} to {high}"
        return Sentence(hardly, {"low": significant(low), "high": significant(high)})
    if row.get("sampled") == YesNo.NO:
        return Sentence("no pool in such surroundings has been searched")
    return Sentence("nothing that is known")


def doubt(row: Row) -> Sentence:
    """What could be wrong with a suggestion, from its row of plan.csv, the weightiest first; never empty."""
    said = []
    if isinstance(ruled_out := row.get("not_allowed"), Reason):
        against = "The plan would not have put a pool here: the site is ruled out because: {reason}."
        said.append(Sentence(against, {"reason": lost(ruled_out)}))
    if _is_agreed(row):
        said.append(Sentence("Somebody has agreed to this site: have it in writing."))
    elif row.get("consent") == Consent.ASK:
        said.append(Sentence("The owner may say no."))
    elif row.get("consent") == Consent.PROVISIONAL:
        said.append(Sentence("Who owns this land, and whether a pool may stand here, is not known."))
    if row.get("also_ask"):
        whom = following(*map(Sentence, str(row["also_ask"]).split("; ")), by=", ")
        how = "Make sure that they have agreed: {whom}." if row.get("consent") == Consent.YES else "Ask first: {whom}."
        said.append(Sentence(how, {"whom": whom}))
    steady = _figure(row, "robustness")
    if row.get("committed") != YesNo.YES and steady < SURE:
        how = "Another site may be better" if steady < UNSURE else "It is a fair choice, not a sure one"
        stays = f"{how}: it stays in the plan in {{share}} of the simulations."
        said.append(Sentence(stays, {"share": significant(steady)}))
    if (share := _figure(row, "assumed_share")) > MUCH_ASSUMED:
        assumed = "{share} of what it adds is assumed: forage in gardens or mown grass that nobody has surveyed."
        said.append(Sentence(assumed, {"share": significant(share)}))
    if row.get("sampled") == YesNo.NO:
        untested = "No pool in such surroundings has been searched, so whether larvae settle here is untested."
        said.append(Sentence(untested))
    low, high = _figure(row, "occupancy_low"), _figure(row, "occupancy_high")
    if high - low > WIDE:  # false where one is not known
        wide = "The probability of larvae is hardly known: between {low} and {high}."
        said.append(Sentence(wide, {"low": significant(low), "high": significant(high)}))
    said.append(Sentence("Forage and flight are calculated from maps: visit the site before you install a pool."))
    return following(*said)
