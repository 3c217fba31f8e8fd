"""Times the plan on an invented town; run by hand: python tests/benchmarks/plan_town.py [CELLS A SIDE] [POOLS].

Compares with greedy that transforms the whole map again for each pick, and prints how far the plan is from its bound.
"""

from __future__ import annotations

import resource
import sys
import time

import numpy as np
import pandas as pd
import scipy.signal
from scipy.ndimage import gaussian_filter

from habitatmap.geo.flight import FlightKernel
from habitatmap.plan.bound import certify
from habitatmap.plan.problem import Problem, Rules
from habitatmap.plan.reach import not_reached
from habitatmap.plan.robustness import Uncertainty, assess_robustness
from habitatmap.plan.search import make_plan
from habitatmap.plan.zones import find_zones

CELL_M, MEDIAN_M, SPACING_M = 10.0, 250.0, 100.0


def town(side: int, seed: int = 1, varied: bool = True) -> tuple[np.ndarray, pd.DataFrame, np.ndarray]:
    """Forage, places and candidates' chances of an invented town of side x side cells; one place per 8,000 cells."""
    rng = np.random.default_rng(seed)

    def smooth(scale: float) -> np.ndarray:
        rough = gaussian_filter(rng.standard_normal((side, side)), scale, mode="wrap")
        fine = gaussian_filter(rng.standard_normal((side, side)), scale / 6, mode="wrap")
        mixed = rough / rough.std() + 0.35 * fine / fine.std()
        return np.asarray(mixed)

    levels = np.digitize(smooth(30), [-0.9, -0.3, 0.2, 0.8]) / 4 * np.digitize(smooth(12), [-0.5, 0.5]) / 2
    demand = np.where(smooth(40) > 1.9, np.nan, np.round(levels * 20) / 20)
    chance = 0.75 / (1 + np.exp(-1.2 * smooth(15))) if varied else np.full((side, side), 0.5)
    candidates = np.where((smooth(8) > -0.2) & ~np.isnan(demand), chance, np.nan)
    n = max(3, side * side // 8000)
    places = pd.DataFrame(
        {"row": rng.integers(0, side, n), "col": rng.integers(0, side, n), "p": rng.uniform(0.05, 0.8, n)}
    )
    return demand, places, candidates


def plain_greedy(demand: np.ndarray, places: pd.DataFrame, p: np.ndarray, pools: int) -> tuple[float, float]:
    """Gain and seconds of greedy with one whole-map transform (float64) for each pick."""
    start = time.perf_counter()
    k = FlightKernel(MEDIAN_M).stamp(CELL_M, "reach")
    r = len(k) // 2
    missed = np.pad(np.nan_to_num(demand) * not_reached(demand.shape, places, cell_m=CELL_M, median_m=MEDIAN_M), r)
    rows, cols = np.ogrid[: p.shape[0], : p.shape[1]]
    free, gained = ~np.isnan(p), 0.0
    for _ in range(pools):
        gain = np.where(free, p * scipy.signal.fftconvolve(missed, k, mode="valid"), -1.0)
        i, j = np.unravel_index(gain.argmax(), gain.shape)
        gained += float(gain[i, j])
        missed[i : i + 2 * r + 1, j : j + 2 * r + 1] *= 1.0 - p[i, j] * k
        free &= (rows - i) ** 2 + (cols - j) ** 2 >= (SPACING_M / CELL_M) ** 2
    return gained / float(np.nansum(demand)), time.perf_counter() - start


def main(side: int = 2000, pools: int = 25) -> None:
    """Prints one line per step."""
    demand, places, candidates = town(side)
    rules: Rules = {"cell_m": CELL_M, "median_m": MEDIAN_M, "spacing_m": SPACING_M}
    print(
        f"{side * side:,} cells, {int((~np.isnan(candidates)).sum()):,} candidates, {len(places)} places, {pools} pools"
    )
    small = Problem.of(demand[:300, :300], places.head(10), candidates[:300, :300], **rules)
    first = make_plan(small, 2)  # compile
    assess_robustness(small, first, find_zones(small, first.frame), Uncertainty(), count=2)
    certify(small, 2)
    problem = Problem.of(demand, places, candidates, **rules)

    start = time.perf_counter()

    def lap() -> str:
        nonlocal start
        took, start = time.perf_counter() - start, time.perf_counter()
        return f"{took:.2f} s"

    selection = make_plan(problem, pools, exchange=False)
    print(f"greedy {lap()}, gain {selection.with_plan - selection.now:.6f} from {selection.now:.4f}")
    selection = make_plan(problem, pools)
    gain = selection.best_with_plan - selection.now
    print(f"greedy and interchange {lap()}, interchange adds {selection.exchange_gain / gain:.3%}")
    bound = certify(problem, pools)
    print(f"bound {lap()}, share of bound {bound.share(selection.best_with_plan):.4f}")
    around = find_zones(problem, selection.frame)
    print(f"zones {lap()}")
    rng = np.random.default_rng(1)
    simulations = np.clip(places["p"].to_numpy() * np.exp(rng.normal(0, 0.3, (200, len(places)))), 0, 1)
    found = assess_robustness(problem, selection, around, Uncertainty(simulations))
    print(f"robustness, 200 draws {lap()}, sites kept {found.share.mean():.2f}")
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
    gained, seconds = plain_greedy(demand, places, candidates, pools)
    print(f"a whole-map transform for each pick: {seconds:.1f} s, gain {gained:.6f}")


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:]))
