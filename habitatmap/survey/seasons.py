"""Several seasons: how often empty pools are colonised and occupied ones lost from one season to the next.

Model: MacKenzie, Nichols, Hines, Knutson & Franklin 2003, Ecology 84:2200-2207, with one probability of colonisation,
one of loss and one of detection. Between seasons an empty pool becomes occupied with the probability `colonised`, an
occupied one empty with the probability `lost`; within a season nothing changes.

A change is only told from the same pools, searched in the same way, over at least three seasons: of two seasons
nobody can say whether the second was a good one or the start of something.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import brentq, minimize
from scipy.special import expit, logit
from scipy.stats import chi2

from habitatmap.survey.constant import Array
from habitatmap.survey.probabilities import ENOUGH_DETECTIONS, ENOUGH_TWICE, estimate
from habitatmap.survey.searches import Searches, count_searches

FEWEST_SEASONS = 3
SEARCHES_APART = 1.0  # searches per pool and season, on average; expert judgement: within it the protocol is the same
DAYS_APART = 30  # between the middles of two seasons' searches; expert judgement
BOUNDS = (-12.0, 12.0)  # log odds: beyond these a probability is 0 or 1 for any survey
PARTS = ("first", "colonised", "lost", "detection")
NO_CHANGE = "no change can be shown"


@dataclass(frozen=True)
class Seasons:
    """each: frame with season and what `probabilities.estimate` gives for it; same: pools searched in every season.

    change: frame part (first, colonised, lost, detection, last less first), estimate, low, high (95 %, profile
    likelihood); empty where no change can be told; `why` says what is missing; shown: the words.
    """

    each: pd.DataFrame
    same: int
    change: pd.DataFrame
    why: str
    shown: str


def seasons(visits: pd.DataFrame, pools: pd.DataFrame, as_of: Any, group: Any = None) -> Seasons:
    """Every season up to `as_of` by itself, and the change between them where it can be told (frames of the area)."""
    kept = visits[pd.to_datetime(visits["date"]) <= pd.Timestamp(as_of)]
    told: dict[int, Searches] = {}
    for year in sorted(pd.to_datetime(kept["date"]).dt.year.dropna().astype(int).unique()):
        seen = count_searches(kept, pools, pd.Timestamp(year, 12, 31))
        if seen.season == year:
            told[year] = seen
    each = pd.DataFrame([{"season": year, **estimate(seen, group)} for year, seen in told.items()])
    empty = pd.DataFrame(columns=["part", "estimate", "low", "high"])
    if not told:
        return Seasons(each, 0, empty, "no search", f"{NO_CHANGE}: no search counts")
    same = np.all([seen.searches > 0 for seen in told.values()], axis=0)
    why = _lacking(list(told.values()), same)
    if why:
        return Seasons(each, int(same.sum()), empty, why, f"{NO_CHANGE}: {why}")
    n = np.stack([seen.searches[same] for seen in told.values()], axis=1)
    d = np.stack([seen.detections[same] for seen in told.values()], axis=1)
    change = fit_seasons(n, d)
    low, high = change.loc[change["part"] == "last less first", ["low", "high"]].to_numpy(dtype=np.float64)[0]
    said = f"{NO_CHANGE}: the interval of the last season less the first holds 0"
    if low > 0 or high < 0:
        said = f"occupancy {'rose' if low > 0 else 'fell'} from {min(told)} to {max(told)}"
    return Seasons(each, int(same.sum()), change, "", said)


def _lacking(seen: list[Searches], same: NDArray[np.bool_]) -> str:
    """What keeps a change from being told, in words; empty where nothing does."""
    said = []
    if len(seen) < FEWEST_SEASONS:
        said.append(f"{len(seen)} season{'s' * (len(seen) > 1)} with searches ({FEWEST_SEASONS} needed)")
    stay = int(same.sum())
    if stay < ENOUGH_TWICE:
        said.append(f"{stay} pool{'s' * (stay != 1)} searched in every season ({ENOUGH_TWICE} needed)")
    elif len(seen) > 1:
        per_pool = [s.searches[same].mean() for s in seen]
        if max(per_pool) - min(per_pool) > SEARCHES_APART:
            said.append(f"the same pools had {min(per_pool):.1f} to {max(per_pool):.1f} searches a season")
        middle = [pd.Series(s.dates[same].ravel()).dropna().dt.day_of_year.median() for s in seen]
        if max(middle) - min(middle) > DAYS_APART:
            said.append(f"the seasons' searches lie up to {max(middle) - min(middle):.0f} days apart in the year")
        detected = sum(int(s.detections[same].sum()) for s in seen)
        if detected < ENOUGH_DETECTIONS * len(seen):
            said.append(f"{detected} searches with larvae ({ENOUGH_DETECTIONS} a season needed)")
    return ", ".join(said)


def log_likelihood(
    n: NDArray[Any], d: NDArray[Any], first: float, colonised: float, lost: float, p: float, sites: Any = 1
) -> float:
    """The log likelihood of searches n and detections d (rows x seasons), the courses of states summed by the forward
    rule.

    `sites`: how many sites each row stands for.
    """
    if_occupied = p**d * (1 - p) ** (n - d)
    if_empty = (d == 0).astype(np.float64)
    occupied, empty = first * if_occupied[:, 0], (1 - first) * if_empty[:, 0]
    for t in range(1, n.shape[1]):
        stays, taken = occupied * (1 - lost) + empty * colonised, occupied * lost + empty * (1 - colonised)
        occupied, empty = stays * if_occupied[:, t], taken * if_empty[:, t]
    with np.errstate(divide="ignore"):
        return float((sites * np.log(occupied + empty)).sum())


def last_occupied(first: Any, colonised: Any, lost: Any, seasons: int) -> Any:
    """The share occupied in the last of so many seasons."""
    share = first
    for _ in range(seasons - 1):
        share = share * (1 - lost) + (1 - share) * colonised
    return share


def fit_seasons(n: NDArray[Any], d: NDArray[Any], level: float = 0.95) -> pd.DataFrame:
    """Maximum likelihood for searches n and detections d (sites x seasons), intervals by profile likelihood.

    Frame: part, estimate, low, high; the last row is the occupancy of the last season less that of the first.
    """
    kinds, sites = np.unique(np.concatenate([n, d], axis=1), axis=0, return_counts=True)
    searched, found = kinds[:, : n.shape[1]], kinds[:, n.shape[1] :]

    def loss(v: Array) -> float:
        first, colonised, lost, p = expit(v).tolist()
        value = -log_likelihood(searched, found, first, colonised, lost, p, sites)
        return value if np.isfinite(value) else 1e9

    naive = np.clip((d[:, 0] > 0).mean(), 0.1, 0.9)
    hit = np.clip(d.sum() / max(int(n[d > 0].sum()), 1), 0.1, 0.9)
    starts = [logit([share, turn, turn, hit * 0.9]) for share in (naive, (1 + naive) / 2) for turn in (0.1, 0.4)]
    box = [BOUNDS] * 4
    best = min((minimize(loss, s, method="L-BFGS-B", bounds=box) for s in starts), key=lambda r: r.fun)
    least = best.fun + chi2.ppf(level, 1) / 2
    top = expit(best.x)
    rows = []
    for i, part in enumerate(PARTS):
        rows.append((part, float(top[i]), *_profile(loss, best.x, i, least)))
    rows.append(("last less first", *_difference(loss, best.x, n.shape[1], least)))
    return pd.DataFrame(rows, columns=["part", "estimate", "low", "high"])


def _profile(loss: Any, peak: Array, i: int, least: float) -> tuple[float, float]:
    """Where one probability can go before the best of the others falls below the limit; 0 or 1 without a bound."""
    others = [k for k in range(len(peak)) if k != i]

    def excess(odds: float) -> float:
        def with_fixed(v: Array) -> float:
            whole = np.empty(len(peak))
            whole[i], whole[others] = odds, v
            return float(loss(whole))

        fit = minimize(with_fixed, peak[others], method="L-BFGS-B", bounds=[BOUNDS] * len(others))
        return float(fit.fun) - least

    at = float(np.clip(peak[i], *BOUNDS))
    low = float(expit(brentq(excess, BOUNDS[0], at, xtol=1e-4))) if excess(BOUNDS[0]) > 0 else 0.0
    high = float(expit(brentq(excess, at, BOUNDS[1], xtol=1e-4))) if excess(BOUNDS[1]) > 0 else 1.0
    return low, high


def _difference(loss: Any, peak: Array, count: int, least: float) -> tuple[float, float, float]:
    """The last season's occupancy less the first's, and how far it can go within the limit (a penalty holds it)."""

    def difference(v: Array) -> float:
        first, colonised, lost, _ = expit(v)
        return float(last_occupied(first, colonised, lost, count) - first)

    here = difference(peak)

    def excess(wanted: float) -> float:
        fits = []
        for turn in (0.0, 0.5, -0.5):
            start = peak + np.array([-turn, turn, -turn, 0.0])
            fit = minimize(
                loss,
                np.clip(start, -8, 8),
                method="SLSQP",
                bounds=[BOUNDS] * 4,
                constraints={"type": "eq", "fun": lambda v: difference(v) - wanted},
            )
            if abs(difference(fit.x) - wanted) < 1e-6:
                fits.append(float(fit.fun))
        return (min(fits) if fits else 1e9) - least

    ends = []
    for limit in (-0.999, 0.999):
        ends.append(brentq(excess, here, limit, xtol=1e-4) if excess(limit) > 0 else np.sign(limit))
    return here, float(ends[0]), float(ends[1])
