"""The plan for forage likely served: where the next pools help most when flies have to find them.

Nobody can say whether flies come from mapped breeding places only or from others as well, so the plan is made for both:
simulations of several readings (`READINGS`), half the weight on those where only mapped places feed pools, half on those
where many arrivals come from anywhere. What the plan gains in a reading counts relative to what the best rule of thumb
gains there, so that no reading is drowned by another.

Greedy takes the cell with the largest worth (mean_field.worth), over blocks of 30 m first and over their cells then;
interchange moves single sites for as long as the objective, calculated anew, gets better.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from habitatmap.geo.flight import FlightKernel
from habitatmap.geo.grid import Grid
from habitatmap.network.turnover import Draws, KnownPlaces, Ranges, Rates, calibrate, draw, quality_of
from habitatmap.plan.gain_map import OpenCells
from habitatmap.plan.mean_field import PATCH_FACTOR, PATCH_M, Demand, Floats, Flight, MeanField, Simulations
from habitatmap.plan.mean_field import flow_between
from habitatmap.plan.problem import Problem

Ints = NDArray[np.int64]


class FoundFrom(StrEnum):
    """Where the flies come from that find a pool."""

    MAPPED = "mapped places"
    ANYWHERE = "anywhere"


@dataclass(frozen=True)
class Reading:
    """One way in which what is known of today may go on (expert judgement)."""

    found_from: FoundFrom
    ranges: Ranges
    hindcast: bool = True
    forage_factor: float = 1.0
    dispersal_factor: float = 1.0


READINGS = (
    Reading(FoundFrom.MAPPED, Ranges(e=(0.1, 0.5)), hindcast=False),
    Reading(FoundFrom.MAPPED, Ranges()),
    Reading(FoundFrom.ANYWHERE, Ranges(unmapped=(0.4, 0.6))),
    Reading(FoundFrom.ANYWHERE, Ranges(unmapped=(0.85, 0.95))),
)


def simulate(
    known: KnownPlaces,
    readings: Sequence[Reading],
    *,
    forage_median_m: float,
    dispersal_median_m: float,
    new: float,
    each: int = 4,
    seed: int = 7,
    patchy: bool = True,
) -> Simulations:
    """`each` simulations of every reading (twice as many where `patchy`), calibrated by what is known today.

    new: probability that a usual new pool is occupied, needed where few pools are known.
    """
    flights, parts, numbers, at = list[Flight](), list[tuple[Draws, Rates]](), list[int](), 0
    times = 2 if patchy else 1
    for number, reading in enumerate(readings):
        drawn = draw(reading.ranges, each, seed + 17 * number)
        median = dispersal_median_m * reading.dispersal_factor
        arriving = flow_between(known.xy, FlightKernel(median).scale_m) @ (known.quality * known.p)
        rates = calibrate(known, arriving, drawn, new, hindcast=reading.hindcast)
        parts.append((drawn, rates))
        numbers += [number] * (each * times)
        scales = FlightKernel(median).scale_m, FlightKernel(forage_median_m * reading.forage_factor).scale_m
        if flights and flights[-1][2:] == scales:
            flights[-1] = (flights[-1][0], at + each * times, *scales)
        else:
            flights.append((at, at + each * times, *scales))
        at += each * times
    draws = Draws(*(np.concatenate([np.tile(d[k], times) for d, _ in parts]) for k in range(len(Draws._fields))))
    half = np.concatenate([np.tile(r.half, times) for _, r in parts], axis=1)
    unmapped = np.concatenate([np.tile(r.unmapped, times) for _, r in parts])
    patches = np.zeros((at, 5))
    if patchy:
        random = np.random.default_rng(seed)
        for number in range(len(readings)):
            turn = random.uniform(0, 2 * np.pi, each)
            shift = random.uniform(0, 2, (2, each))
            one = np.column_stack(
                [np.cos(turn) / PATCH_M, np.sin(turn) / PATCH_M, *shift, np.full(each, math.log(PATCH_FACTOR))]
            )
            begin = number * each * 2
            patches[begin : begin + each], patches[begin + each : begin + 2 * each] = one, one * [1, 1, 1, 1, -1]
    return Simulations(draws, Rates(half, unmapped), np.array(numbers), tuple(flights), patches)


class Chooser:
    """Chooses sites among the open cells of a problem."""

    BLOCK_M = 30.0
    AT_ONCE = 256

    def __init__(self, model: MeanField, problem: Problem, grid: Grid, access: Floats) -> None:
        self.model, self.problem, self.grid = model, problem, grid
        self.access = access
        self.cells = OpenCells(problem)
        self.sites: list[tuple[int, int]] = []
        self.size = max(1, round(self.BLOCK_M / grid.cell_m))
        row, col = np.nonzero(self.cells.open)
        best = np.nan_to_num(access[row, col])
        block = (row // self.size) * (grid.cols // self.size + 1) + col // self.size
        order = np.lexsort((col, row, -best, block))
        first = order[np.r_[True, np.diff(block[order]) > 0]] if len(order) else order
        self.row, self.col = row[first], col[first]
        self.course = model.course()
        self.weights = np.full(len(model.simulations), 1.0 / len(model.simulations))
        self.stale: Floats | None = None

    def place(self, row: Ints, col: Ints) -> tuple[Floats, Floats]:
        """Where cells lie (m, 2), and their quality (m,)."""
        x, y = self.grid.centre(row, col)
        return np.column_stack([x, y]), quality_of(self.access[row, col], self.model.known.usual)

    def value_of(self, sites: Sequence[tuple[int, int]]) -> Floats:
        """By simulation, what the sites make of it."""
        row, col = np.array(sites, dtype=int).reshape(-1, 2).T
        return self.model.course(*self.place(row, col)).served

    def set(self, sites: Sequence[tuple[int, int]]) -> None:
        for site in self.sites:
            self.cells.change(*site, -1)
        self.sites = list(sites)
        for site in self.sites:
            self.cells.change(*site, 1)
        row, col = np.array(self.sites, dtype=int).reshape(-1, 2).T
        self.course = self.model.course(*self.place(row, col))
        self.influence = self.model.influence(self.course, self.weights)

    def worth(self, row: Ints, col: Ints) -> Floats:
        return self.model.worth(self.course, self.influence, self.weights, *self.place(row, col))

    def best(self, among: Ints | None = None) -> tuple[int, int] | None:
        """The open cell of most worth."""
        is_open = self.cells.open
        blocks = np.arange(len(self.row)) if among is None else among
        # a block stays in while any of its cells is open
        rows, cols = (-n % self.size for n in is_open.shape)
        whole = np.pad(is_open, ((0, rows), (0, cols)))
        any_open = whole.reshape(whole.shape[0] // self.size, self.size, -1, self.size).any(axis=(1, 3))
        usable = any_open[self.row[blocks] // self.size, self.col[blocks] // self.size]
        blocks = blocks[usable]
        if not len(blocks):
            return None
        if self.stale is None:
            self.stale = np.full(len(self.row), np.inf)
        values = self.stale[blocks].copy()
        fresh = np.zeros(len(blocks), bool)
        while True:
            todo = np.flatnonzero(~fresh)
            if len(todo) and np.isinf(values[todo]).any():
                top = todo
            else:
                top = todo[np.argsort(-values[todo], kind="stable")[: self.AT_ONCE]]
            if not len(top):
                break
            values[top] = self.worth(self.row[blocks[top]], self.col[blocks[top]])
            fresh[top] = True
            left = np.flatnonzero(~fresh)
            if not len(left) or values[fresh].max() >= 1.05 * values[left].max():
                break
        self.stale[blocks] = values
        near = blocks[np.argsort(-np.where(fresh, values, -np.inf), kind="stable")[:6]]
        rows, cols = [], []
        for r, c in zip(self.row[near], self.col[near], strict=True):
            i0, j0 = max(0, (r // self.size - 1) * self.size), max(0, (c // self.size - 1) * self.size)
            i, j = np.nonzero(is_open[i0 : i0 + 3 * self.size, j0 : j0 + 3 * self.size])
            rows.append(i + i0), cols.append(j + j0)
        cells = np.unique(np.column_stack([np.concatenate(rows), np.concatenate(cols)]), axis=0)
        if not len(cells):
            return None
        worth = self.worth(cells[:, 0], cells[:, 1])
        at = int(np.flatnonzero(worth >= worth.max() * (1 - 1e-12))[0])
        return (int(cells[at, 0]), int(cells[at, 1])) if worth[at] > 0 else None

    def greedy(self, pools: int) -> None:
        while len(self.sites) < pools and (site := self.best()) is not None:
            self.set([*self.sites, site])

    def interchange(self, fixed: int = 0, rounds: int = 2) -> int:
        moved = 0
        for _ in range(rounds):
            before = moved
            for site in list(self.sites[fixed:]):
                old, value = list(self.sites), float(self.weights @ self.course.served)
                self.set([s for s in old if s != site])
                other = self.best()
                if other is None or other == site:
                    self.set(old)
                    continue
                at = old.index(site)
                self.set([*old[:at], other, *old[at + 1 :]])
                if float(self.weights @ self.course.served) <= value * (1 + 1e-9):
                    self.set(old)
                else:
                    moved += 1
            if moved == before:
                break
        return moved
