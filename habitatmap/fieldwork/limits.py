"""Pools shared out among people who can't do everything: times, numbers, keys, and where they must not be sent.

The rounds begin as if there were no limits of time; what doesn't fit comes in where it costs the least, in the order of
urgency. Then parts of the rounds are taken apart and put together again while that shortens them (large neighbourhood
search: Shaw 1998, CP98, LNCS 1520:417-431). What finds no room stays undone, and no less urgent pool keeps a place that
a more urgent one could take. Draws have a fixed seed: the same records give the same rounds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from habitatmap.fieldwork.routes import shortest_routes, walk_m
from habitatmap.geo.compiled import njit

Floats = NDArray[np.float64]
Places = NDArray[np.int64]
Flags = NDArray[np.bool_]

OUTING_MIN = (
    30.0  # what one more outing costs beside its way, so that nobody is sent out twice for little (expert judgement)
)
KEPT_MIN = 10_000.0  # what it is worth that a pool stays with its last visitor: more than any way
TAKEN = 12  # pools that are taken out and put in again at a time
TURNS = 40  # turns of that for each pool
MOST_TURNS = 12_000
SEED = 20260102


@dataclass(frozen=True)
class Trips:
    """What people can do. person: of each trip; most_minutes: of each trip; by: of each person, which table of minutes;
    week_minutes, most_pools: of each person in the week; allowed: (points, people)."""

    person: Places
    most_minutes: Floats
    by: Places
    week_minutes: Floats
    most_pools: Places
    allowed: Flags


class Shared(NamedTuple):
    """For each trip its points in order, and those that no trip has room for, most urgent first."""

    trips: list[list[int]]
    undone: list[int]


class Chains(NamedTuple):
    """The trips as the compiled loops see them, see `_State`."""

    after: Places
    before: Places
    trip: Places
    head: Places
    used: Floats
    week: Floats
    pools: Places


class Limits(NamedTuple):
    """What the trips must keep, see `Trips` and `share_within`; kept: minutes that a last visitor is worth."""

    minutes: Floats
    stop: Floats
    person: Places
    most_minutes: Floats
    by: Places
    week_minutes: Floats
    most_pools: Places
    allowed: Flags
    last: Places
    kept: float


def share_within(minutes: Floats, stop_minutes: Floats, can: Trips, last: Places, keep: bool) -> Shared:
    """Who goes to which points within what they can do. Points stand in the order of their urgency, most urgent first.

    minutes: (ways of getting about, points, points), symmetric; stop_minutes: at each point, by way of getting about;
    last: the person who was at each point last, -1 for none; keep: pools stay with their last visitor where that can
    be, else the ways are as short as can be found. Loads are as even as the limits allow: nobody gets more pools than
    needed for as many pools to be visited.
    """
    n = minutes.shape[1]
    kept = KEPT_MIN if keep else 0.0
    urgent = np.arange(n, dtype=np.int64)

    def filled(level: int) -> _State:
        state = _State(n, len(can.person), len(can.by))
        limits = _limits(minutes, stop_minutes, can, level, last, kept)
        _fill(state.chains, limits, urgent)
        _urgent_first(state.chains, limits)
        return state

    def improved(level: int) -> _State:
        state = _State(n, len(can.person), len(can.by))
        limits = _limits(minutes, stop_minutes, can, level, last, kept)
        visited = np.flatnonzero(filled(level).trip >= 0)
        state.begin(_beginning(minutes, can, visited, last, level, keep), minutes, stop_minutes, can, level)
        _fill(state.chains, limits, urgent[state.trip < 0])
        _improve(state.chains, limits, min(TURNS * n, MOST_TURNS), SEED)
        state.put_in_order(minutes, can)
        _urgent_first(state.chains, limits)
        return state

    fewest = filled(n).undone
    low, high = max(-(-(n - fewest) // max(len(can.by), 1)), 1), n
    while low < high:  # the least that somebody may have so that as many are visited
        middle = (low + high) // 2
        if filled(middle).undone <= fewest:
            high = middle
        else:
            low = middle + 1
    found = improved(low)
    if found.undone:  # shorter ways may have made room, for some more than for others
        found = min(found, improved(n), key=lambda state: state.undone)
    return Shared(found.trips(), found.left().tolist())


def _limits(minutes: Floats, stop_minutes: Floats, can: Trips, level: int, last: Places, kept: float) -> Limits:
    """What the compiled loops take, where nobody has more pools than `level`."""
    most = np.minimum(can.most_pools, level)
    return Limits(
        minutes, stop_minutes, can.person, can.most_minutes, can.by, can.week_minutes, most, can.allowed, last, kept
    )


def _beginning(minutes: Floats, can: Trips, visited: Places, last: Places, level: int, keep: bool) -> list[list[int]]:
    """For each person points in walking order, to begin with; limits of time are not looked at yet."""
    people = len(can.by)
    way = minutes[0]
    if not keep:
        walks = [visited[walk].tolist() for walk in shortest_routes(way[np.ix_(visited, visited)], people)]
        barred = np.array([[(~can.allowed[walk, k]).sum() for k in range(people)] for walk in walks])
        # whoever can do much takes a long walk
        short = np.array([[max(len(walk) - can.most_pools[k], 0) for k in range(people)] for walk in walks])
        _, of = linear_sum_assignment(barred + short)
        begun: list[list[int]] = [[] for _ in range(people)]
        for walk, person in zip(walks, of, strict=True):
            begun[person] = walk
        return begun
    slots = np.repeat(np.arange(people), np.minimum(can.most_pools, level))
    far = float(way.max(initial=0.0)) + 1.0
    known = [visited[last[visited] == k] for k in range(people)]
    away = np.array([way[np.ix_(visited, own)].min(axis=1, initial=far) for own in known]).T.reshape(-1, people)
    knows = last[visited, None] == np.arange(people)
    cost = away + np.where(knows, 0.0, 1e4 * far) + np.where(can.allowed[visited], 0.0, 1e9 * far)
    row, slot = linear_sum_assignment(cost[:, slots])
    begun = []
    for k in range(people):
        own = visited[row[slots[slot] == k]]
        order = shortest_routes(way[np.ix_(own, own)], 1, len(own) / max(len(visited), 1))[0] if len(own) else []
        begun.append(own[order].tolist())
    return begun


class _State:
    """The trips as chains: from each point to the next and back, and the ends of each trip; -1 = none."""

    def __init__(self, points: int, trips: int, people: int) -> None:
        self.after = np.full(points, -1, dtype=np.int64)
        self.before = np.full(points, -1, dtype=np.int64)
        self.trip = np.full(points, -1, dtype=np.int64)
        self.head = np.full(trips, -1, dtype=np.int64)
        self.used = np.zeros(trips)  # minutes
        self.week = np.zeros(people)
        self.pools = np.zeros(people, dtype=np.int64)

    @property
    def chains(self) -> Chains:
        return Chains(self.after, self.before, self.trip, self.head, self.used, self.week, self.pools)

    @property
    def undone(self) -> int:
        return int((self.trip < 0).sum())

    def left(self) -> Places:
        return np.flatnonzero(self.trip < 0)

    def trips(self) -> list[list[int]]:
        found = []
        for head in self.head.tolist():
            walk, at = [], head
            while at >= 0:
                walk.append(at)
                at = int(self.after[at])
            found.append(walk)
        return found

    def begin(
        self, walks: Sequence[Sequence[int]], minutes: Floats, stop_minutes: Floats, can: Trips, level: int
    ) -> None:
        """Lets each person begin with a walk, one outing after the other, as far as the limits allow."""
        for person, walk in enumerate(walks):
            way, stop = minutes[can.by[person]], float(stop_minutes[can.by[person]])
            trips = iter(np.flatnonzero(can.person == person).tolist())
            trip, at = next(trips, -1), -1
            for point in walk:
                if not can.allowed[point, person] or self.pools[person] >= min(can.most_pools[person], level):
                    continue
                longer = stop + (float(way[at, point]) if at >= 0 else 0.0)
                while trip >= 0 and self.used[trip] + longer > can.most_minutes[trip]:
                    trip, at, longer = next(trips, -1), -1, stop
                if trip < 0 or self.week[person] + longer > can.week_minutes[person]:
                    break
                _put(self.chains, point, trip, at, longer, person)
                at = point

    def put_in_order(self, minutes: Floats, can: Trips) -> None:
        """Each trip in the shortest order that is found for it."""
        for trip, walk in enumerate(self.trips()):
            way = minutes[can.by[can.person[trip]]]
            if len(walk) < 3:
                continue
            own = np.array(walk)
            order = shortest_routes(way[np.ix_(own, own)], 1, len(walk) / len(self.trip))[0]
            saved = walk_m(way, walk) - walk_m(way, own[order].tolist())
            if saved > 1e-9:
                walk = own[order].tolist()
                self.used[trip] -= saved
                self.week[can.person[trip]] -= saved
                self.head[trip] = walk[0]
                for a, b in zip([-1, *walk], [*walk, -1], strict=True):
                    if a >= 0:
                        self.after[a] = b
                    if b >= 0:
                        self.before[b] = a


@njit(nogil=True)
def _detour(way: Floats, at: int, u: int, ahead: int) -> float:
    """Minutes that u adds between two points; -1 is the end of an outing."""
    add = 0.0
    if at >= 0:
        add += way[at, u]
    if ahead >= 0:
        add += way[u, ahead]
    if at >= 0 and ahead >= 0:
        add -= way[at, ahead]
    return add


@njit(nogil=True)
def _put(s: Chains, u: int, t: int, behind: int, longer: float, who: int) -> None:
    """Puts point u into trip t behind a point (-1 = first)."""
    if behind < 0:
        s.after[u], s.before[u] = s.head[t], -1
        s.head[t] = u
    else:
        s.after[u], s.before[u] = s.after[behind], behind
        s.after[behind] = u
    if s.after[u] >= 0:
        s.before[s.after[u]] = u
    s.trip[u] = t
    s.used[t] += longer
    s.week[who] += longer
    s.pools[who] += 1


@njit(nogil=True)
def _take(s: Chains, u: int, way: Floats, stop: float, who: int) -> None:
    """Takes point u out of its trip."""
    t, a, b = s.trip[u], s.before[u], s.after[u]
    shorter = stop + _detour(way, a, u, b)
    if a >= 0:
        s.after[a] = b
    else:
        s.head[t] = b
    if b >= 0:
        s.before[b] = a
    s.trip[u] = s.after[u] = s.before[u] = -1
    s.used[t] -= shorter
    s.week[who] -= shorter
    s.pools[who] -= 1


@njit(nogil=True)
def _best_place(s: Chains, c: Limits, u: int) -> tuple[int, int, float]:
    """The trip and the point behind which u costs the least (-1 = first), and the minutes; trip -1 = no room."""
    found, behind, longer, least = -1, -1, 0.0, np.inf
    for t in range(len(s.head)):
        who = c.person[t]
        if not c.allowed[u, who] or s.pools[who] >= c.most_pools[who]:
            continue
        way, cost = c.minutes[c.by[who]], c.stop[c.by[who]]
        room = min(c.most_minutes[t] - s.used[t], c.week_minutes[who] - s.week[who]) + 1e-9 - cost
        if room < 0:
            continue
        extra = -c.kept if c.last[u] == who else 0.0
        if s.head[t] < 0:
            if OUTING_MIN + extra < least:
                found, behind, longer, least = t, -1, cost, OUTING_MIN + extra
            continue
        at, ahead = -1, s.head[t]
        while True:
            add = _detour(way, at, u, ahead)
            if add <= room and add + extra < least - 1e-12:
                found, behind, longer, least = t, at, add + cost, add + extra
            if ahead < 0:
                break
            at, ahead = ahead, s.after[ahead]
    return found, behind, longer


@njit(nogil=True)
def _fill(s: Chains, c: Limits, order: Places) -> None:
    """Puts the points of `order` in, one after the other, where each costs the least."""
    for u in order:
        t, behind, longer = _best_place(s, c, u)
        if t >= 0:
            _put(s, u, t, behind, longer, c.person[t])


@njit(nogil=True)
def _cost(s: Chains, c: Limits) -> float:
    """What the rounds cost: minutes on the way, outings, and pools that left their last visitor."""
    total = 0.0
    for t in range(len(s.head)):
        total += s.used[t] + (OUTING_MIN if s.head[t] >= 0 else 0.0)
    for u in range(len(s.trip)):
        if s.trip[u] >= 0:
            who = c.person[s.trip[u]]
            total -= c.stop[c.by[who]] + (c.kept if c.last[u] == who else 0.0)
    return total


@njit(nogil=True)
def _improve(s: Chains, c: Limits, turns: int, seed: int) -> None:
    """Takes points near each other out and puts them in again, and keeps what became shorter and lost no point."""
    np.random.seed(seed)
    n = len(s.trip)
    near = np.empty((n, min(n, 4 * TAKEN)), np.int64)
    for u in range(n):
        near[u] = np.argsort(c.minutes[0, u])[: near.shape[1]]
    cost = _cost(s, c)
    out = np.empty(TAKEN, np.int64)
    for _ in range(turns):
        u = np.random.randint(n)
        was = Chains(
            s.after.copy(), s.before.copy(), s.trip.copy(), s.head.copy(), s.used.copy(), s.week.copy(), s.pools.copy()
        )
        count = 0
        most = 2 + np.random.randint(TAKEN - 1)
        for k in range(near.shape[1]):
            v = near[u, k]
            if count < most and s.trip[v] >= 0 and (v == u or np.random.random() < 0.6):
                who = c.person[s.trip[v]]
                _take(s, v, c.minutes[c.by[who]], c.stop[c.by[who]], who)
                out[count] = v
                count += 1
        for k in range(count - 1, 0, -1):
            j = np.random.randint(k + 1)
            out[k], out[j] = out[j], out[k]
        _fill(s, c, out[:count])
        lost = False
        for k in range(count):
            lost = lost or s.trip[out[k]] < 0
        new = np.inf if lost else _cost(s, c)
        if new < cost - 1e-9:
            cost = new
        else:
            s.after[:], s.before[:], s.trip[:], s.head[:] = was.after, was.before, was.trip, was.head
            s.used[:], s.week[:], s.pools[:] = was.used, was.week, was.pools


@njit(nogil=True)
def _urgent_first(s: Chains, c: Limits) -> None:
    """Gives what is undone a place that is free, else that of the least urgent point whose place it can take."""
    n = len(s.trip)
    changed = True
    while changed:
        changed = False
        for u in range(n):
            if s.trip[u] >= 0:
                continue
            t, behind, longer = _best_place(s, c, u)
            if t >= 0:
                _put(s, u, t, behind, longer, c.person[t])
                changed = True
                continue
            for v in range(n - 1, u, -1):  # the least urgent first
                t = s.trip[v]
                if t < 0 or not c.allowed[u, c.person[t]]:
                    continue
                who = c.person[t]
                way, cost = c.minutes[c.by[who]], c.stop[c.by[who]]
                at = s.before[v]
                _take(s, v, way, cost, who)
                ahead = s.head[t] if at < 0 else s.after[at]
                add = cost + _detour(way, at, u, ahead)
                if add <= min(c.most_minutes[t] - s.used[t], c.week_minutes[who] - s.week[who]) + 1e-9:
                    _put(s, u, t, at, add, who)
                    changed = True
                    break
                _put(s, v, t, at, cost + _detour(way, at, v, ahead), who)


def urgency(reasons: Sequence[int], days: Sequence[float]) -> NDArray[np.int64]:
    """The order of points by urgency: the reason first, then how long nobody was there (NaN = never, the longest)."""
    since = np.where(np.isnan(np.asarray(days, float)), np.inf, np.asarray(days, float))
    return np.lexsort((np.arange(len(since)), -since, np.asarray(reasons)))
