"""What changed between two seasons, in words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from habitatmap.changes.causes import Cause
from habitatmap.changes.pools import Change, Why
from habitatmap.changes.since import Since
from habitatmap.changes.sites import State
from habitatmap.words.numbers import Figure, count, known, listed, percent
from habitatmap.words.sentences import Quantity, Sentence, as_it_is, following, say

CAUSES: Mapping[Cause, Sentence] = {
    Cause.POOLS: Sentence("pools (which stand, and where)"),
    Cause.VISITS: Sentence("visits, and the day up to which they count"),
    Cause.CONSENT: Sentence("land, consents, and the states of suggested sites"),
    Cause.LAND_COVER: Sentence("land cover, what is painted on top, and the boundary"),
    Cause.TREES: Sentence("trees"),
    Cause.OTHER: Sentence("exclusion zones, paths and committed sites"),
    Cause.LAYERS: Sentence("layers: what classes, trees and distances are worth"),
    Cause.SETTINGS: Sentence("settings in area.toml"),
    Cause.METHOD: Sentence("method: another version of habitatmap or of its libraries"),
}
CHANGES: Mapping[Change, Sentence] = {
    Change.GAINED: Sentence("gained"),
    Change.LOST: Sentence("lost"),
    Change.MOVED: Sentence("moved"),
    Change.RENAMED: Sentence("another name"),
    Change.CAME_AND_WENT: Sentence("installed and lost in between"),
}
WHY: Mapping[Why, Sentence] = {
    Why.SET_OUT: Sentence("installed"),
    Why.STANDS_AGAIN: Sentence("stands again"),
    Why.NO_DAY: Sentence("new in the list, with no day of installing"),
    Why.REMOVED: Sentence("taken in"),
    Why.GONE: Sentence("a visit found it gone"),
    Why.NOT_LISTED: Sentence("no longer in the list"),
    Why.SAID: Sentence("as the lists or readings.xlsx say"),
    Why.SAME_PLACE: Sentence("it stands where a pool of another name stood"),
    Why.MEASURED: Sentence("farther than its places are uncertain"),
}
STATES: Mapping[State, Sentence] = {
    State.SET_OUT: Sentence("installed"),
    State.GIVEN_UP: Sentence("given up"),
    State.REFUSED: Sentence("refused"),
    State.AGREED: Sentence("the owner agreed"),
    State.ASKED: Sentence("the owner was asked"),
    State.OPEN: Sentence("still open"),
    State.LEFT: Sentence("no longer suggested"),
}
OF_POOLS: Mapping[Change, tuple[str, str]] = {
    Change.GAINED: ("{n} was gained", "{n} were gained"),
    Change.LOST: ("{n} was lost", "{n} were lost"),
    Change.MOVED: ("{n} moved", "{n} moved"),
    Change.RENAMED: ("{n} has another name", "{n} have another name"),
    Change.CAME_AND_WENT: ("{n} was installed and lost in between", "{n} were installed and lost in between"),
}
OF_SITES: Mapping[State, tuple[str, str]] = {
    State.SET_OUT: ("{n} has its pool", "{n} have their pool"),
    State.AGREED: ("{n} is agreed", "{n} are agreed"),
    State.ASKED: ("{n} is asked for", "{n} are asked for"),
    State.OPEN: ("{n} is still open", "{n} are still open"),
    State.REFUSED: ("{n} was refused", "{n} were refused"),
    State.GIVEN_UP: ("{n} was given up", "{n} were given up"),
    State.LEFT: ("{n} is no longer suggested", "{n} are no longer suggested"),
}


def points(change: Figure, digits: int = 1) -> Sentence:
    """A change of a share in percentage points with its sign: "+8.6"; "0" where it is nothing."""
    if change is None or not math.isfinite(change):
        return Sentence("not known")
    value = round(100 * change, digits)
    return say("{points}", points=Quantity(value, digits, signed=True) if value else Quantity(0.0))


def pools_changed(counts: Mapping[Change, int]) -> Sentence:
    """How many pools were gained, lost and so on: "Pools: 2 were gained and 1 was lost." """
    told = [say(OF_POOLS[change][n != 1], n=n) for change, n in counts.items() if n]
    if not told:
        return Sentence("No pool was gained, lost, moved or renamed.")
    return say("Pools: {told}.", told=listed(told))


def sites_became(counts: Mapping[State, int]) -> Sentence:
    """What became of the kept plan; "" where there was none."""
    told = [say(OF_SITES[state][n != 1], n=n) for state, n in counts.items() if n and state in OF_SITES]
    if not told:
        return Sentence("")
    of = count(sum(counts.values()), "suggested site")
    return say("Of {sites} {told}.", sites=of, told=listed(told))


def by_cause(parts: Sequence[tuple[Cause, float, float]]) -> Sentence:
    """What each cause adds, in both orders, the greatest first: "pools +3.5 to +4.2, visits +4.4 to +5.1"."""
    told = []
    for cause, *ends in sorted(parts, key=lambda part: -max(abs(part[1]), abs(part[2]))):
        if not all(map(known, ends)):
            continue
        low, high = points(min(ends)), points(max(ends))
        if str(low) == str(high) == "0":
            continue
        span = low if str(low) == str(high) else say("{low} to {high}", low=low, high=high)
        told.append(say("{cause} {points}", cause=Sentence(cause.value), points=span))
    return listed(told)


def since_told(since: Since) -> Sentence:
    """What changed since the last kept season, in a sentence or two."""
    head = say("Since the season {name} ({day}):", name=as_it_is(since.name), day=since.as_of)
    became = sites_became(since.sites)
    if known(since.before) and known(since.now):
        same = round(since.before, 3) == round(since.now, 3)
        went = "Forage in reach stayed at {after}." if same else "Forage in reach went from {before} to {after}."
        reach = say(went, before=percent(since.before, 1), after=percent(since.now, 1))
    else:
        reach = Sentence("")
    return following(head, pools_changed(since.pools), became, reach)
