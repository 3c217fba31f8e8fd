"""Forage likely served over the coming years: the mean field of the turnover of breeding places.

Each simulation v has its own rates (network.turnover). In place of many runs with occupied and empty places it follows
the probability P_i of each place from year to year,

    S_i = sum_j A_j P_j L(d_ij) + b      C_i = S_i^z / (S_i^z + y_i^z)      P_i' = C_i + P_i (1 - l_i) (1 - C_i)

and forage likely served is the mean over the years t of sum_c w_c (1 - prod_j (1 - P_jt k(d_cj))) / sum_c w_c. L and k
are shares of flights that get so far (2-D exponential). A new pool starts empty. It serves forage itself once it is
found, and it feeds others: its worth is the direct gain plus what the places around gain because it exists, which the
adjoint of the recursion gives for every cell at once (exact for a small place, first order for a whole one).

New pools near each other share what nobody knows of their ground: in each simulation their quality is better or worse
by a factor that is the same within a patch of `PATCH_M`. The patches are those of a chequered board, turned and moved
at random; each board is taken twice, with better and worse exchanged, so that hardly any place is favoured by it, but
pools in one meadow do well or badly together.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial.distance import cdist

from habitatmap.geo.compiled import njit
from habitatmap.geo.engine import default_workers
from habitatmap.geo.flight import END_IN_SCALES, share_beyond, share_beyond_compiled
from habitatmap.network.flows import DENSE_PLACES, Flow, flow_between
from habitatmap.network.turnover import Draws, KnownPlaces, Rates, found, lost

Floats = NDArray[np.float64]

PATCH_M = 150.0  # expert judgement: ground within such a patch is better or worse together
PATCH_FACTOR = 1.5  # expert judgement: by so much
RARE_IN_SCALES = 9.2334  # (1 + q) exp(-q) = 1/1000, flights too rare to matter among very many places far apart
GRID_IN_SCALES = 1 / 3  # among very many places close together flights are worked out on such a grid
FAR = 4.0  # expert judgement: far flights are so many times as long
FAR_ENDS = 2.0  # where they are counted, flights are followed so many times as far
LEAST_ARRIVALS = 1e-12
POINTS_AT_ONCE = 4096
NEXT = 16  # points whose places within flight are listed together
CROWD = 64  # places within flight of a point
RINGS = 64
NEXT_TO_NOTHING = 1e-6  # forage at a point that is left with such a probability counts as reached
HELD = 24_000_000  # numbers of the years of several sets of pools, held together
LITTLE = 2_000_000  # pairs of points and simulations, below which threads cost more than they save
# plain tuples, as compiled code that is kept from another version could not find the class of a named one
T = TypeVar("T")
Flight = tuple[int, int, float, float, float]
"""Simulations from, to (exclusive), the scales (metres) of dispersal and forage flights that they share, and the share
of flights that are far ones."""


def year_weights(years: int) -> dict[int, float]:
    """Weights of a few years, from which the mean over the years 1 to `years` follows where it is straight between."""
    nodes = sorted({max(1, round(years * part)) for part in (0.1, 0.2, 0.4, 0.7, 1.0)} | {1})
    every = np.arange(1, years + 1)
    return {node: float(np.interp(every, nodes, np.eye(len(nodes))[at]).mean()) for at, node in enumerate(nodes)}


@dataclass(frozen=True)
class Simulations:
    """What each simulation assumes; arrays (simulations,)."""

    draws: Draws
    rates: Rates
    reading: NDArray[np.int64]
    """Which reading the simulation belongs to."""
    flights: tuple[Flight, ...]
    """Runs of simulations that share their flights, in order."""
    patches: Floats
    """(simulations, 5): cosine and sine over the side of a patch, two offsets, and the log of the factor, signed."""

    def __len__(self) -> int:
        return len(self.reading)


@dataclass(frozen=True)
class Demand:
    """The forage to be served: points (d, 2) in metres, and their share of it all (d,)."""

    xy: Floats
    share: Floats


@dataclass(frozen=True)
class Course:
    """How the places fare with some sites: the known places first, then the sites. n places, u years, v simulations."""

    xy: Floats
    quality: Floats
    """(n, v)"""
    p: Floats
    """(n, years + 1, v): probability of being occupied, from today on."""
    arrivals: Floats
    """(n, years, v)"""
    served: Floats
    """(v,): share of the forage likely served, mean over the years."""


class New(NamedTuple):
    """One more pool at each of m cells: its quality (m, v), and its probability of being occupied (m, years + 1, v)."""

    quality: Floats
    p: Floats


class MeanField:
    """The places, the forage and the simulations; what any set of sites makes of them."""

    def __init__(self, known: KnownPlaces, demand: Demand, simulations: Simulations, years: int) -> None:
        self.known, self.demand, self.simulations, self.years = known, demand, simulations, years
        weights = year_weights(years)
        self.nodes, self.node_weights = np.array(list(weights)), np.array(list(weights.values()))
        self._between_known: dict[tuple[float, float], Flow] = {}

    def forget(self) -> None:
        """Lets go of the flights between the known places; they are worked out again where they are asked for."""
        self._between_known.clear()

    def course(self, xy: ArrayLike = (), quality: ArrayLike = ()) -> Course:
        """The years with new pools at the sites (m, 2), of quality (m,)."""
        new = np.asarray(xy, dtype=float).reshape(-1, 2)
        every, a = self._with(new, np.asarray(quality, dtype=float))
        p, s = np.empty((len(every), self.years + 1, a.shape[1])), np.empty((len(every), self.years, a.shape[1]))
        for year, at_end, arrives in self._years(self._flows(every), a, np.ones((1, len(new)), dtype=bool)):
            p[:, year] = at_end[:, 0]
            if year:
                s[:, year - 1] = arrives[:, 0]
        return Course(every, a, p, s, self._served(every, p[None, :, self.nodes])[0])

    def served_with(self, xy: Floats, quality: Floats, stand: NDArray[np.bool_]) -> Floats:
        """What is served (sets, v) with several sets of new pools: which of the sites (m, 2), of quality (m,), stand in
        each, (sets, m). Flights are worked out once for all sets, of which as many go together as can be held."""
        every, a = self._with(xy, quality)
        held, flows = len(every) * (len(self.nodes) + 2) * len(self.simulations), self._flows(every)
        step = max(1, HELD // max(1, held))
        served = [np.empty((0, len(self.simulations)))]
        for some in (stand[at : at + step] for at in range(0, len(stand), step)):
            p = np.empty((len(some), len(every), len(self.nodes), a.shape[1]))
            for year, at_end, _ in self._years(flows, a, some):
                p[:, :, self.nodes == year] = at_end.swapaxes(0, 1)[:, :, None]
            served.append(self._served(every, p))
        return np.concatenate(served)

    def _with(self, xy: Floats, quality: Floats) -> tuple[Floats, Floats]:
        """Known places and sites (n, 2), and their quality (n, v)."""
        known, sims = self.known, self.simulations
        patchy = np.exp(patch_factors(xy, sims.patches))
        a = np.vstack([np.repeat(known.quality[:, None], len(sims), axis=1), quality[:, None] * patchy])
        return np.vstack([known.xy, xy]), a

    def _years(self, flows: list[Flow], a: Floats, stand: NDArray[np.bool_]) -> Iterator[tuple[int, Floats, Floats]]:
        """Of places and sites with flights between them, of quality (n, v), year by year from 0 on: p (n, sets, v) at
        its end, and what arrived in it. A site that does not stand in a set (sets, m) has a p of 0 there."""
        known, sims, n0 = self.known, self.simulations, len(self.known.p)
        half = np.vstack([sims.rates.of(known.pool), np.repeat(sims.rates.half[1:], len(a) - n0, axis=0)])[:, None]
        stays = 1.0 - lost(a, sims.draws.e, sims.draws.x)[:, None]
        there = np.ones((len(a), len(stand), 1))
        there[n0:, :, 0] = stand.T
        p = np.zeros((len(a), len(stand), len(sims)))
        p[:n0] = known.p[:, None, None]
        yield 0, p, np.zeros_like(p)
        for year in range(1, self.years + 1):
            s = self._fed(flows, a[:, None] * p) + sims.rates.unmapped
            c = found(s, half, sims.draws.z)
            p = there * (c + p * stays * (1.0 - c))
            yield year, p, s

    def _served(self, xy: Floats, p: Floats) -> Floats:
        """What places (n, 2) with p (sets, n, nodes, v) serve, mean over the years: (sets, v)."""

        def served(part: slice) -> Floats:
            out, points, share = np.empty((len(p), p.shape[-1])), self.demand.xy[part], self.demand.share[part]
            for first, end, _, scale, far in self.simulations.flights:
                near = _near(points, xy, scale, far)
                some = np.ascontiguousarray(p[:, near, :, first:end])
                out[:, first:end] = _served(points, share, xy[near], some, self.node_weights, (scale, far))
            return out

        return sum(self._by_points(served), start=np.zeros((len(p), p.shape[-1])))

    def missed(self, course: Course) -> Floats:
        """The probability that no place reaches each point, at the nodes: (d, nodes, v). Large where there are many
        points: whoever can takes them part by part."""
        return np.concatenate(list(self._by_points(lambda part: self._missed(course.xy, course.p, part))))

    def _missed(self, xy: Floats, p: Floats, part: slice) -> Floats:
        """The same for some points, of places (n, 2) with p (n, years + 1, v)."""
        points = self.demand.xy[part]
        out = np.empty((len(points), len(self.nodes), p.shape[2]))
        for first, end, _, scale, far in self.simulations.flights:
            near = _near(points, xy, scale, far)
            here = _flat(p[near][:, self.nodes, first:end])
            out[:, :, first:end] = _missed(points, xy[near], here, (scale, far)).reshape(*out.shape[:2], end - first)
        return out

    def _by_points(self, work: Callable[[slice], T]) -> Iterator[T]:
        """`work` of one part of the points of forage after the other, a few at a time; no points are one part."""
        n = len(self.demand.xy)
        parts = [slice(a, min(a + POINTS_AT_ONCE, n)) for a in range(0, n, POINTS_AT_ONCE)] or [slice(0, 0)]
        if len(parts) == 1:
            yield work(parts[0])
            return
        with ThreadPoolExecutor(default_workers()) as pool:
            ahead = default_workers() + 1
            running = [pool.submit(work, part) for part in parts[:ahead]]
            for at in range(len(parts)):
                yield running.pop(0).result()
                if at + ahead < len(parts):
                    running.append(pool.submit(work, parts[at + ahead]))

    def influence(self, course: Course, weights: Floats) -> Floats:
        """What one more arrival at each place in each year would add to sum_v weights_v served_v: (n, years, v)."""
        sims, new = self.simulations, len(course.xy) - len(self.known.p)
        half = sims.rates.of(np.r_[self.known.pool, np.ones(new, dtype=bool)])
        gone = lost(course.quality, sims.draws.e, sims.draws.x)
        own = np.zeros((len(course.xy), len(self.nodes), len(sims)))

        def of_part(part: slice) -> list[tuple[NDArray[np.int64], int, int, Floats]]:
            points, found = self.demand.xy[part], []
            left = self.demand.share[part, None, None] * self._missed(course.xy, course.p, part)
            for first, end, _, scale, far in sims.flights:
                near = _near(points, course.xy, scale, far)
                here, there = _flat(course.p[near][:, self.nodes, first:end]), _flat(left[:, :, first:end])
                mine = _own(course.xy[near], here, points, there, (scale, far))
                found.append((near, first, end, mine.reshape(len(near), len(self.nodes), end - first)))
            return found

        for answers in self._by_points(of_part):
            for near, first, end, mine in answers:
                own[near, :, first:end] += mine
        z, at_node = self.simulations.draws.z, {int(year): number for number, year in enumerate(self.nodes)}
        flows, out = self._flows(course.xy), np.zeros(course.arrivals.shape)
        value = np.zeros(course.quality.shape)  # of a little more probability at the end of the year
        for year in range(self.years, 0, -1):
            if year < self.years:
                c = found(course.arrivals[:, year], half, z)
                value = value * (1.0 - gone) * (1.0 - c) + course.quality * self._fed(flows, out[:, year])
            if year in at_node:
                value = value + self.node_weights[at_node[year]] * weights * own[:, at_node[year]]
            s, p = course.arrivals[:, year - 1], course.p[:, year - 1]
            c = found(s, half, z)
            out[:, year - 1] = value * (1.0 - p * (1.0 - gone)) * z * c * (1.0 - c) / np.maximum(s, LEAST_ARRIVALS)
        return out

    def worth(self, course: Course, influence: Floats, weights: Floats, xy: Floats, quality: Floats) -> Floats:
        """What one more pool at each cell (m, 2) adds to sum_v weights_v served_v: (m,), direct plus what it feeds."""
        sent = self._sent(course)
        years = self._new(course, sent, xy, quality)
        total = np.zeros(len(xy))
        for runs, links in self._links(xy, course.xy):
            fed = _times(links, influence[:, :, runs])
            total += (years.quality[:, None, runs] * years.p[:, :-1, runs] * fed).sum(axis=(1, 2))

        def direct(part: slice) -> Floats:
            points, out = self.demand.xy[part], np.zeros(len(xy))
            left = self.demand.share[part, None, None] * self._missed(course.xy, course.p, part)
            left *= self.node_weights[:, None] * weights
            for first, end, _, scale, far in self.simulations.flights:
                near = _near(points, xy, scale, far)
                d = cdist(xy[near], points)
                links = gets_so_far(d / scale, far)
                links[d >= _end(scale, far)] = 0.0
                here = years.p[near][:, self.nodes, first:end]
                out[near] += (here * _times(links, left[:, :, first:end])).sum(axis=(1, 2))
            return out

        return sum(self._by_points(direct), start=total)

    def likely(self, course: Course, weights: Floats, xy: Floats, quality: Floats) -> Floats:
        """How likely a pool at each cell (m, 2) is occupied, mean over the years and the weighted simulations: (m,)."""
        counts, sent = weights / max(weights.sum(), LEAST_ARRIVALS), self._sent(course)

        def some(part: slice) -> Floats:
            return np.asarray(self._new(course, sent, xy[part], quality[part]).p[:, 1:].mean(axis=1) @ counts)

        return _by_parts(some, len(xy), len(course.xy) * len(self.simulations))

    def _new(self, course: Course, sent: Floats, xy: Floats, quality: Floats) -> New:
        """The years of one more pool at each cell (m, 2), which nothing else changes for."""
        sims = self.simulations
        a = quality[:, None] * np.exp(patch_factors(xy, sims.patches))
        stays = 1.0 - lost(a, sims.draws.e, sims.draws.x)
        arrivals, p = np.zeros((len(xy), self.years, len(sims))), np.zeros((len(xy), self.years + 1, len(sims)))
        for runs, links in self._links(xy, course.xy):
            arrivals[:, :, runs] = _times(links, sent[:, :, runs])
        c = found(arrivals + sims.rates.unmapped, sims.rates.half[1], sims.draws.z)
        for year in range(self.years):
            p[:, year + 1] = c[:, year] + p[:, year] * stays * (1.0 - c[:, year])
        return New(a, p)

    def _links(self, xy: Floats, others: Floats) -> Iterator[tuple[slice, Floats]]:
        """Share of flights between breeding places that get from each cell (m, 2) to each of the others (n, 2), for
        each of the flights: the simulations that share it, and (m, n)."""
        d = cdist(xy, others)
        for first, end, scale, _, far in self.simulations.flights:
            yield slice(first, end), gets_so_far(d / scale, far)

    def _sent(self, course: Course) -> Floats:
        """What each place is likely to send in each year: (n, years, v)."""
        return np.ascontiguousarray(course.quality[:, None] * course.p[:, : self.years])

    def _flows(self, xy: Floats) -> list[Flow]:
        """L between the known places and sites after them, for each of the flights; 0 on the diagonal."""
        kinds = [(scale, far) for _, _, scale, _, far in self.simulations.flights]
        made = {kind: self._flow(xy, *kind) for kind in dict.fromkeys(kinds)}
        return [made[kind] for kind in kinds]

    def _flow(self, xy: Floats, scale: float, far: float) -> Flow:
        """The same for one of the flights; what flies between the known places is worked out once."""
        n = len(self.known.xy)
        if (scale, far) not in self._between_known:
            self._between_known[scale, far] = flow_of(self.known.xy, scale, far)
        known = self._between_known[scale, far]
        if len(xy) == n:
            return known
        if len(xy) > DENSE_PLACES or not isinstance(known, np.ndarray):
            return flow_of(xy, scale, far)
        flow = np.empty((len(xy), len(xy)))
        flow[:n, :n] = known
        flow[n:] = gets_so_far(cdist(xy[n:], xy) / scale, far)
        flow[:, n:] = flow[n:].T
        np.fill_diagonal(flow, 0.0)
        return flow

    def _fed(self, flows: list[Flow], sent: Floats) -> Floats:
        """What arrives at each place (n, ..., v) of what is sent (n, ..., v); L is symmetric, so this is its own
        transpose."""
        out = np.empty_like(sent)
        for flow, (first, end, *_) in zip(flows, self.simulations.flights, strict=True):
            some = sent[..., first:end]
            out[..., first:end] = (flow @ _flat(some)).reshape(some.shape)
        return out


def gets_so_far(q: Floats, far: float) -> Floats:
    """Share of flights that get at least q scales far where the share `far` of them is `FAR` times as long."""
    return np.asarray((1.0 - far) * share_beyond(q) + far * share_beyond(q / FAR))


def flow_of(xy: Floats, scale_m: float, far: float = 0.0) -> Flow:
    """L(d) between places: `flows.flow_between` of the planner's flights."""
    farthest = scale_m * RARE_IN_SCALES * (FAR_ENDS if far > 0.0 else 1.0)
    return flow_between(xy, lambda d: gets_so_far(d / scale_m, far), scale_m * GRID_IN_SCALES, farthest)


def _flat(values: Floats) -> Floats:
    """Values (n, t, v) as (n, t v)."""
    return np.ascontiguousarray(values).reshape(len(values), math.prod(values.shape[1:]))


def _times(links: Floats, values: Floats) -> Floats:
    """Sums over places or points: links (m, n) by values (n, t, v)."""
    return np.asarray((links @ _flat(values)).reshape(len(links), *values.shape[1:]))


def _by_parts(work: Callable[[slice], Floats], n: int, each: int) -> Floats:
    """The rows 0..n of an array, made in as many parts as there are processors; in one where there is little to do for
    each."""
    if n * each < LITTLE:
        return work(slice(0, n))
    edges = np.linspace(0, n, 4 * default_workers() + 1).astype(int).tolist()
    parts = [slice(a, b) for a, b in pairwise(edges) if b > a] or [slice(0, 0)]
    with ThreadPoolExecutor(default_workers()) as pool:
        return np.concatenate(list(pool.map(work, parts)))


def _end(scale: float, far: float) -> float:
    """Metres up to which flights to forage are followed."""
    return END_IN_SCALES * scale * (FAR_ENDS if far > 0.0 else 1.0)


def _near(points: Floats, others: Floats, scale: float, far: float) -> NDArray[np.int64]:
    """Which of the others (n, 2) lie within flight of the box about the points."""
    if not len(points):
        return np.empty(0, np.int64)
    beyond = np.maximum(points.min(axis=0) - others, others - points.max(axis=0)).max(axis=1, initial=0.0)
    return np.flatnonzero(beyond < _end(scale, far))


@njit(nogil=True)
def _gets(q: float, far: float) -> float:
    """`gets_so_far` for one distance."""
    if far > 0.0:
        return (1.0 - far) * share_beyond_compiled(q) + far * share_beyond_compiled(q / FAR)
    return share_beyond_compiled(q)


@njit(nogil=True)
def _squared(a: Floats, b: Floats) -> float:
    """The squared distance of two points; math.hypot would take most of the time of what is done with them."""
    return float((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2)


@njit(nogil=True)
def _patch_factor(x: float, y: float, patch: Floats) -> float:
    """Log of the factor on the quality of a new pool at a point in one simulation."""
    u = math.floor(patch[0] * x + patch[1] * y + patch[2])
    w = math.floor(patch[0] * y - patch[1] * x + patch[3])
    return float(patch[4]) if (u + w) % 2 == 0 else -float(patch[4])


@njit(nogil=True)
def patch_factors(xy: Floats, patches: Floats) -> Floats:
    """Log of the factor on the quality of new pools at points (m, 2): (m, v)."""
    out = np.empty((xy.shape[0], patches.shape[0]))
    for i in range(xy.shape[0]):
        for v in range(patches.shape[0]):
            out[i, v] = _patch_factor(xy[i, 0], xy[i, 1], patches[v])
    return out


@njit(nogil=True)
def _within(point: Floats, xy: Floats, flight: tuple[float, float], k: Floats, at: NDArray[np.int64]) -> int:
    """Writes which places (n, 2) lie within flight of a point, and their k; how many these are. A crowd is put in order
    by rings of one area, so that hardly any of it have to be taken off."""
    many, (scale, far) = 0, flight
    reach = END_IN_SCALES * scale * (FAR_ENDS if far > 0.0 else 1.0)
    for i in range(xy.shape[0]):
        squared = _squared(point, xy[i])
        if squared < reach * reach:
            at[many] = i
            many += 1
    if many > CROWD:
        ring = np.empty(many, np.int64)
        ends = np.zeros(RINGS + 1, np.int64)
        for e in range(many):
            ring[e] = int(_squared(point, xy[at[e]]) * RINGS / (reach * reach))
            ends[ring[e] + 1] += 1
        ends, unordered = np.cumsum(ends), at[:many].copy()
        for e in range(many):
            at[ends[ring[e]]] = unordered[e]
            ends[ring[e]] += 1
    for e in range(many):
        k[e] = _gets(math.sqrt(_squared(point, xy[at[e]])) / scale, far)
    return many


@njit(nogil=True, fastmath={"contract"})
def _take_off(left: Floats, p: Floats, k: Floats, at: NDArray[np.int64], many: int) -> None:
    """Multiplies `left` (q,) by 1 - k p for the first places of a list `at`, with p (n, q): four in a pass, as reading
    and writing `left` would take most of the time. Ends where less than NEXT_TO_NOTHING is left."""
    fours = many - many % 4
    for e in range(0, fours, 4):
        if e > 0 and e % CROWD == 0 and left.max() < NEXT_TO_NOTHING:
            return
        p0, p1, p2, p3 = p[at[e]], p[at[e + 1]], p[at[e + 2]], p[at[e + 3]]
        k0, k1, k2, k3 = k[e], k[e + 1], k[e + 2], k[e + 3]
        for q in range(left.shape[0]):
            left[q] *= ((1.0 - k0 * p0[q]) * (1.0 - k1 * p1[q])) * ((1.0 - k2 * p2[q]) * (1.0 - k3 * p3[q]))
    for e in range(fours, many):
        p0, k0 = p[at[e]], k[e]
        for q in range(left.shape[0]):
            left[q] *= 1.0 - k0 * p0[q]


@njit(nogil=True)
def _missed(demand: Floats, xy: Floats, p: Floats, flight: tuple[float, float]) -> Floats:
    """prod_j (1 - p_j k): (d, q) for points (d, 2) and places (n, 2) with p (n, q)."""
    out, n = np.ones((demand.shape[0], p.shape[1])), xy.shape[0]
    k, at = np.empty(n), np.empty(n, np.int64)
    for c in range(demand.shape[0]):
        _take_off(out[c], p, k, at, _within(demand[c], xy, flight, k, at))
    return out


@njit(nogil=True)
def _served(
    demand: Floats, share: Floats, xy: Floats, p: Floats, weights: Floats, flight: tuple[float, float]
) -> Floats:
    """sum_c share_c sum_t weights_t (1 - prod_j (1 - p_jt k)): (sets, v) for points (d, 2) and places (n, 2) with p
    (sets, n, t, v). A few points at a time, so that the p of a set are still at hand for the next of them."""
    sets, n, nodes, sims = p.shape
    flat, out, left = p.reshape(sets, n, nodes * sims), np.zeros((sets, sims)), np.empty(nodes * sims)
    k, at, many = np.empty((NEXT, n)), np.empty((NEXT, n), np.int64), np.empty(NEXT, np.int64)
    for first in range(0, demand.shape[0], NEXT):
        end = min(first + NEXT, demand.shape[0])
        for c in range(first, end):
            many[c - first] = _within(demand[c], xy, flight, k[c - first], at[c - first])
        for s in range(sets):
            for c in range(first, end):
                if many[c - first]:
                    left[:] = 1.0
                    _take_off(left, flat[s], k[c - first], at[c - first], many[c - first])
                    for t in range(nodes):
                        counts = share[c] * weights[t]
                        for v in range(sims):
                            out[s, v] += counts * (1.0 - left[t * sims + v])
    return out


@njit(nogil=True)
def _own(xy: Floats, p: Floats, demand: Floats, left: Floats, flight: tuple[float, float]) -> Floats:
    """sum_c left_c k / (1 - p k): what a place (n, 2) of p (n, q) serves for a little more probability, (n, q)."""
    out, (scale, far) = np.zeros(p.shape), flight
    reach = END_IN_SCALES * scale * (FAR_ENDS if far > 0.0 else 1.0)
    for i in range(xy.shape[0]):
        mine, here = out[i], p[i]
        for c in range(demand.shape[0]):
            squared = _squared(demand[c], xy[i])
            if squared < reach * reach:
                k, there = _gets(math.sqrt(squared) / scale, far), left[c]
                for q in range(here.shape[0]):
                    mine[q] += k * there[q] / max(1.0 - k * here[q], 1e-9)
    return out
