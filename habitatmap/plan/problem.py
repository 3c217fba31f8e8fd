"""What a plan is made for, as one value: the forage, the breeding places, where a pool may stand, and the rules."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple, Required, TypedDict, Unpack

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from habitatmap.errors import InputError
from habitatmap.geo import scratch
from habitatmap.geo.compiled import njit
from habitatmap.geo.engine import THREADS, Engine, chosen
from habitatmap.plan.correlate import correlate, forget_spectra
from habitatmap.plan.reach import Floats, forage_of, not_reached, reach_kernel

Set = tuple[tuple[int, int, float], ...]  # row, col and p of sites

MOST_KNOWN = 16  # changes of gains about a site that are kept, a few MB each

# rounding is let pass, so that ten sites of 0.1 can be paid with 1
MONEY_TOLERANCE, LEAST_MONEY = 1e-9, 1e-12


def affordable(cost: Floats, budget: float) -> NDArray[np.bool_]:
    """Whether the budget pays each cost, up to rounding."""
    return cost <= budget * (1.0 + MONEY_TOLERANCE) + LEAST_MONEY


affordable_compiled = njit(nogil=True)(affordable)


class Quota(NamedTuple):
    """No unit gets more sites than its share: `unit` (rows, cols) whole numbers, -1 = none; `most` sites by unit."""

    unit: NDArray[np.int64]
    most: NDArray[np.int64]


class Rules(TypedDict, total=False):
    """The rules of a plan, as `choose` and `upper_bound` take them by name; fields of `Problem`."""

    cell_m: Required[float]
    median_m: Required[float]
    spacing_m: float
    taken: pd.DataFrame | None
    kept: pd.DataFrame | None
    quotas: Sequence[Quota]
    cost: ArrayLike | None
    budget: float | None
    not_reached: Floats | None
    engine: Engine


class Changes:
    """What gains changed by when a site was set beside others, as plans with other consents set the same ones again;
    the first MOST_KNOWN of them, in a file."""

    def __init__(self) -> None:
        self._place: dict[Set, int] = {}
        self._kept: Floats | None = None

    def get(self, sites: Set) -> Floats | None:
        """The change (rows, cols) when the first of them was set beside the others; None where it is not known."""
        at = self._place.get(sites)
        return None if at is None or self._kept is None else self._kept[at]

    def keep(self, sites: Set, change: Floats) -> None:
        """Remembers one, as long as there is room; all are of one shape."""
        if self._kept is None:
            self._kept = scratch.empty((MOST_KNOWN, *change.shape), np.float64)
        if len(self._place) < MOST_KNOWN:
            at = self._place[sites] = len(self._place)
            self._kept[at] = change


@dataclass(frozen=True, eq=False)
class Today:
    """What is there before any pool is added. Shared by all problems that differ in nothing but their rules."""

    demand: NDArray[np.floating]
    """Forage w of each cell (rows, cols), 0 where there is none or nothing is known."""
    places: pd.DataFrame
    """row, col, p of the breeding places; they may lie outside the frame."""
    cell_m: float
    median_m: float
    not_reached: Floats | None = None
    """The probability (rows, cols) that no place reaches a cell, where it is known already."""
    engine: Engine = THREADS

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.demand.shape[0], self.demand.shape[1]

    @cached_property
    def total(self) -> float:
        """The area's forage, in cells: sum w."""
        return forage_of(self.demand)

    @cached_property
    def kernel(self) -> Floats:
        """The reach weight by cell offset."""
        return reach_kernel(self.median_m, self.cell_m, self.shape)

    @cached_property
    def missed(self) -> Floats:
        """The forage that the places miss: w R (rows, cols)."""
        R = self.not_reached
        if R is None:
            R = not_reached(self.shape, self.places, cell_m=self.cell_m, median_m=self.median_m)
        return scratch.cellwise(np.multiply, self.demand, R, dtype=np.float64)

    @cached_property
    def now(self) -> float:
        """Forage in reach without a plan (share 0-1); NaN where there is no forage."""
        return 1.0 - forage_of(self.missed) / self.total if self.total > 0 else math.nan

    @cached_property
    def within_flight(self) -> Floats:
        """The forage missed within flight of each cell: what a pool there that is certain to be occupied would add."""
        return correlate(self.missed, self.kernel, self.engine)

    @cached_property
    def changes(self) -> Changes:
        """What gains changed by when sites were set."""
        return Changes()

    def forget(self) -> None:
        """Lets go of the rasters that only plans are made with; they are worked out again where one is."""
        for name in ("missed", "within_flight", "changes"):
            self.__dict__.pop(name, None)
        forget_spectra()


@dataclass(frozen=True, eq=False)
class Problem:
    """A plan to be made; `Problem.of` checks what is handed over. All arrays are (rows, cols)."""

    today: Today
    candidates: Floats
    """The probability p that a pool at the cell gets occupied, NaN where none may stand."""
    spacing_m: float = 0.0
    """Sites keep at least this distance (between cell centres) from each other and from `taken`."""
    taken: pd.DataFrame | None = None
    """row, col of cells that no site may come near."""
    kept: pd.DataFrame | None = None
    """row, col, p of sites that are decided already: they come first, wherever they lie, and stay."""
    quotas: tuple[Quota, ...] = ()
    cost: Floats | None = None
    """What a site at the cell costs, above 0, in the unit of `budget`."""
    budget: float = math.inf
    """What the sites may cost together, `kept` included."""

    @classmethod
    def of(cls, demand: ArrayLike, places: pd.DataFrame, candidates: ArrayLike, **rules: Unpack[Rules]) -> Problem:
        """A problem of checked arrays; `demand` may hold NaN for no data. Raises InputError where they do not fit."""
        w, p = np.asarray(demand), np.asarray(candidates, dtype=np.float64)
        if w.ndim != 2 or w.shape != p.shape or w.size == 0:
            raise InputError(
                f"demand has the shape {w.shape} and candidates {p.shape}: two equal (rows, cols) are needed"
            )
        w = scratch.cellwise(np.nan_to_num, w, dtype=np.float32 if w.dtype == np.float32 else np.float64)
        if (least := scratch.ends(w)[0]) < 0:
            raise InputError(f"demand holds {least}: forage of 0 or more was expected, mend the forage")
        low, high = scratch.ends(p)
        if low < 0 or high > 1:
            raise InputError(f"candidates hold {low} to {high}: probabilities from 0 to 1 were expected")
        cost, budget, kept = rules.get("cost"), rules.get("budget"), rules.get("kept")
        price = None if cost is None else np.broadcast_to(np.asarray(cost, dtype=np.float64), w.shape)
        if price is not None and not (cheapest := scratch.ends(price)[0]) > 0:
            raise InputError(f"cost holds {cheapest}: a cost above 0 was expected at every cell")
        if budget is not None and price is None:
            raise InputError(f"a budget of {budget} was given without a cost: give the cost of a site as well")
        if kept is not None:
            kept = kept[["row", "col", "p"]].drop_duplicates(["row", "col"]).reset_index(drop=True)
            row, col = kept["row"].to_numpy(np.int64), kept["col"].to_numpy(np.int64)
            if ((row < 0) | (row >= w.shape[0]) | (col < 0) | (col >= w.shape[1])).any():
                raise InputError("a kept site lies outside the frame: leave it out or take a larger frame")
            kept = kept if len(kept) else None
        quotas = tuple(rules.get("quotas", ()))
        for unit, _ in quotas:
            if np.shape(unit) != w.shape:
                raise InputError(f"a quota has the shape {np.shape(unit)} and demand {w.shape}: the same was expected")
        return cls(
            Today(
                w, places, rules["cell_m"], rules["median_m"], rules.get("not_reached"), rules.get("engine") or chosen()
            ),
            p,
            spacing_m=rules.get("spacing_m", 0.0),
            taken=rules.get("taken"),
            kept=kept,
            quotas=quotas,
            cost=price,
            budget=math.inf if budget is None else float(budget),
        )

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.today.shape

    @cached_property
    def probability(self) -> Floats:
        """`candidates`, and at the kept sites their own p."""
        if self.kept is None:
            return self.candidates
        probability = scratch.copied(self.candidates)
        probability[self.kept["row"], self.kept["col"]] = self.kept["p"]
        return probability

    @cached_property
    def kept_cells(self) -> list[tuple[int, int]]:
        """(row, col) of the kept sites, in the order row, column."""
        if self.kept is None:
            return []
        return sorted(zip(self.kept["row"].tolist(), self.kept["col"].tolist(), strict=True))

    def cost_at(self, row: ArrayLike, col: ArrayLike) -> Floats:
        """What sites at the cells cost; 0 where no costs are given."""
        row, col = np.asarray(row, dtype=np.int64), np.asarray(col, dtype=np.int64)
        return np.zeros(row.shape) if self.cost is None else self.cost[row, col]

    def settled(self) -> Problem:
        """The same with the kept sites as breeding places, so that only the free ones are left to choose."""
        if not self.kept_cells or self.kept is None:
            return self
        kept = self.kept[["row", "col", "p"]]
        row, col = kept["row"].to_numpy(np.int64), kept["col"].to_numpy(np.int64)
        quotas = []
        for unit, most in self.quotas:
            used = unit[row, col]
            quotas.append(Quota(unit, most - np.bincount(used[used >= 0], minlength=len(most))))
        return replace(
            self,
            today=replace(
                self.today,
                places=pd.concat([self.today.places[["row", "col", "p"]], kept], ignore_index=True),
                not_reached=None,
            ),
            taken=pd.concat([part[["row", "col"]] for part in (self.taken, kept) if part is not None]),
            kept=None,
            quotas=tuple(quotas),
            budget=self.budget - float(self.cost_at(row, col).sum()),
        )
