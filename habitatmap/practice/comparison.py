"""What seemed to work: containers, fillings, shade and volume against larvae found and counted.

Pools were not put out at random, so a difference may come from the place and not from the bucket; only pools that were
assigned at random in blocks can say more. Three measures, because none is enough:
- the share of pools with larvae: Newcombe's hybrid score interval for a difference of two proportions (Newcombe 1998,
  Statistics in Medicine 17:873-890, method 10). A pool searched more often has more chances to show larvae.
- the odds that a search finds larvae: a logistic model with one row per search, so unequal searches do no harm; the
  searches of one pool are not independent, hence an error robust to that (generalised estimating equations,
  bias-reduced sandwich: Mancl & DeRouen 2001, Biometrics 57:126-134). It mixes "is occupied" with "is seen"; the
  occupancy models part them.
- larvae counted per search: a negative binomial model of each pool's total with its counted searches as exposure.
Every level is compared with the commonest level of its factor. Beside each 95 % interval stands a wider one that holds
for all comparisons together (Bonferroni); only where that one excludes "no difference" is a difference called so.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import stdtrit

from habitatmap.practice.codes import Measure, NoRatio, Remark, Verdict
from habitatmap.survey.searches import Searches
from habitatmap.vocabulary.note import Note, note

Array = NDArray[np.float64]
Ends = tuple[float, float]
Interval = Callable[..., Ends]  # takes `confidence`, gives low and high

FACTORS = ("container", "filling", "shade")
VOLUME, ASSIGNED = "volume_l", "assigned"
FEWEST = 5  # pools searched, for a level to be compared at all (expert judgement)
FEWEST_COUNTED = 10  # pools with a count above 0, for a model of counts (expert judgement)
UNEQUAL = 1.25  # searches per pool in one level over the other, from which on it is said (expert judgement)
CONFIDENCE = 0.95

COLUMNS = {
    "factor": "str",
    "level": "str",
    "other": "str",
    "measure": "object",
    "estimate": "float64",
    "low": "float64",
    "high": "float64",
    "low_all": "float64",
    "high_all": "float64",
    "verdict": "object",
}


@dataclass(frozen=True)
class Comparison:
    """What seemed to work.

    levels: factor, level, pools (searched), searches, searches_per_pool, pools_with, share, share_low, share_high
    (Wilson), looks_with, counted (pools whose larvae were all counted), larvae_per_search. differences: COLUMNS;
    `estimate` is a difference of shares, or a ratio for odds and counts (for volume: per doubling); low, high 95 %
    each, low_all, high_all for all together; NaN where it can't be known; verdict: a Verdict, or a Note why there is
    none. species: factor, level,
    taxon, pools (where the species was checked). comparisons: how many intervals; notes: sentences to stand beside the
    table.
    """

    levels: pd.DataFrame
    differences: pd.DataFrame
    species: pd.DataFrame
    comparisons: int
    remarks: list[Note]


@dataclass(frozen=True)
class _Row:
    """One comparison before the number of all of them is known."""

    factor: str
    level: str
    other: str
    measure: Measure
    estimate: float = np.nan
    interval: Interval | None = None
    why: Note | None = None


def compare(
    pools: pd.DataFrame, visits: pd.DataFrame, seen: Searches, blocks: pd.DataFrame | None = None
) -> Comparison:
    """Compares the pools of one season's searches (see `searches`) by what they are made of.

    `pools` and `visits` as the area has them, `seen` made from them. `blocks`: pool, block, treatment of pools that
    were assigned at random; compared within their blocks.
    """
    each = _by_pool(pools, visits, seen)
    searched = each[each["searches"] > 0]
    rows: list[_Row] = []
    levels: list[tuple[object, ...]] = []
    species: list[tuple[str, str, str, int]] = []
    notes: list[Note] = []
    for factor in FACTORS:
        given = searched[searched[factor] != ""]
        if len(searched) > len(given):
            notes.append(note(Remark.NOT_GIVEN, factor=factor, n=len(searched) - len(given), of=len(searched)))
        groups = {str(level): group for level, group in given.groupby(factor)}
        levels += [_level(factor, level, group) for level, group in groups.items()]
        species += _species(factor, given, visits, seen)
        rows += _differences(factor, groups, notes)
    rows += _by_volume(searched, notes)
    if blocks is not None:
        rows += _within_blocks(blocks, each, seen, notes)
    number = sum(row.interval is not None for row in rows)
    if number:
        notes.append(note(Remark.MANY, n=number, by_chance=number * (1 - CONFIDENCE)))
    return Comparison(
        levels=pd.DataFrame(levels, columns=_LEVEL_COLUMNS),
        differences=pd.DataFrame([_finished(row, number) for row in rows], columns=list(COLUMNS), dtype=object).astype(
            COLUMNS
        ),
        species=pd.DataFrame(species, columns=["factor", "level", "taxon", "pools"]),
        comparisons=number,
        remarks=notes,
    )


def difference(found: int, of: int, other_found: int, other_of: int, confidence: float = CONFIDENCE) -> Ends:
    """Newcombe's interval (method 10) for found/of - other_found/other_of."""
    from statsmodels.stats.proportion import confint_proportions_2indep

    low, high = confint_proportions_2indep(
        found, of, other_found, other_of, method="newcomb", compare="diff", alpha=1 - confidence
    )
    return float(low), float(high)


def paired_difference(both: int, first: int, second: int, neither: int, confidence: float = CONFIDENCE) -> Ends:
    """Newcombe's interval for (first - second) / pairs, from pairs of which both, one or neither had larvae.

    Newcombe 1998, Statistics in Medicine 17:2635-2650, method 10: Wilson's limits of both shares, joined with their
    correlation, which is corrected for continuity where it is positive.
    """
    n = both + first + second + neither
    (p1, l1, u1), (p2, l2, u2) = (wilson(both + k, n, confidence) for k in (first, second))
    rows = (both + first) * (second + neither) * (both + second) * (first + neither)
    cross = float(both * neither - first * second)
    if cross > 0:
        cross = max(cross - n / 2, 0.0)
    phi = cross / np.sqrt(rows) if rows else 0.0
    down = np.sqrt((p1 - l1) ** 2 - 2 * phi * (p1 - l1) * (u2 - p2) + (u2 - p2) ** 2)
    up = np.sqrt((u1 - p1) ** 2 - 2 * phi * (u1 - p1) * (p2 - l2) + (p2 - l2) ** 2)
    return float(p1 - p2 - down), float(p1 - p2 + up)


def wilson(found: int, of: int, confidence: float = CONFIDENCE) -> tuple[float, float, float]:
    """A share with Wilson's score interval."""
    from statsmodels.stats.proportion import proportion_confint

    low, high = proportion_confint(found, of, alpha=1 - confidence, method="wilson")
    return found / of, float(low), float(high)


# --- one row for each pool -------------------------------------------------------------------------------------------

_LEVEL_COLUMNS = [
    *("factor", "level", "pools", "searches", "searches_per_pool", "pools_with", "share", "share_low", "share_high"),
    *("searches_with", "counted", "larvae_per_search"),
]


def _by_pool(pools: pd.DataFrame, visits: pd.DataFrame, seen: Searches) -> pd.DataFrame:
    """pool, the factors in small letters, volume_l, searches, detections, larvae: all counted, NaN where one is not."""
    each = pools.set_index("pool").loc[seen.pools, [*FACTORS, "volume_l"]].reset_index()
    for factor in FACTORS:
        each[factor] = each[factor].str.split().str.join(" ").str.casefold()
    here = seen.rows >= 0
    count = np.where(here, visits["larvae"].to_numpy(float)[seen.rows], 0.0) if len(visits) else np.zeros(here.shape)
    count[here & (seen.histories == 0)] = 0.0  # none seen is a count; larvae without a number are none
    return each.assign(searches=seen.searches, detections=seen.detections, larvae=count.sum(axis=1))


def _level(factor: str, level: str, group: pd.DataFrame) -> tuple[object, ...]:
    """A row of `Comparison.levels`."""
    searches, having = int(group["searches"].sum()), int((group["detections"] > 0).sum())
    counted = group[group["larvae"].notna()]
    per_search = counted["larvae"].sum() / counted["searches"].sum() if len(counted) else np.nan
    share = wilson(having, len(group))
    return (
        *(factor, level, len(group), searches, searches / len(group), having, *share),
        *(int(group["detections"].sum()), len(counted), per_search),
    )


def _species(factor: str, given: pd.DataFrame, visits: pd.DataFrame, seen: Searches) -> list[tuple[str, str, str, int]]:
    """In how many pools of each level each checked species was found."""
    rows = seen.rows[seen.checked]
    detected = visits.iloc[rows][["pool", "taxon"]] if len(rows) else pd.DataFrame({"pool": [], "taxon": []}, dtype=str)
    detected = detected[detected["taxon"] != ""].drop_duplicates().merge(given[["pool", factor]], on="pool")
    counts = detected.groupby([factor, "taxon"]).size().reset_index(name="pools")
    return [(factor, *row) for row in counts.itertuples(index=False, name=None)]


# --- differences -----------------------------------------------------------------------------------------------------


def _differences(factor: str, groups: dict[str, pd.DataFrame], notes: list[Note]) -> list[_Row]:
    enough = {level: group for level, group in groups.items() if len(group) >= FEWEST}
    few = [level for level in groups if level not in enough]
    if few:
        notes.append(note(Remark.TOO_FEW, factor=factor, levels=few, needed=FEWEST))
    if len(enough) < 2:
        return []
    usual = min(enough, key=lambda level: (-len(enough[level]), level))
    base = enough[usual]
    others = [level for level in enough if level != usual]
    rows = []
    for level in others:
        group = enough[level]
        a, b = (int((g["detections"] > 0).sum()) for g in (group, base))
        n, m = len(group), len(base)
        rows.append(_Row(factor, level, usual, Measure.SHARE, a / n - b / m, partial(difference, a, n, b, m)))
        ratio = (group["searches"].mean()) / (base["searches"].mean())
        if max(ratio, 1 / ratio) >= UNEQUAL:
            means = {"searches": group["searches"].mean(), "other_searches": base["searches"].mean()}
            notes.append(note(Remark.UNEQUAL, factor=factor, level=level, other=usual, **means))
    both = pd.concat([g.assign(level=level) for level, g in enough.items()])
    rows += _odds(factor, both, others, usual)
    return rows + _counts(factor, both, others, usual, notes)


def _odds(factor: str, both: pd.DataFrame, others: list[str], usual: str) -> list[_Row]:
    """Odds ratios per search; a level in which every search, or none, found larvae has none."""
    tally = both.groupby("level")[["detections", "searches"]].sum()
    missing = dict.fromkeys(tally.index[tally["detections"] == 0], NoRatio.NONE)
    missing |= dict.fromkeys(tally.index[tally["detections"] == tally["searches"]], NoRatio.ALL)
    return _ratios((factor, usual, Measure.ODDS), both, others, missing, _logistic)


def _counts(factor: str, both: pd.DataFrame, others: list[str], usual: str, notes: list[Note]) -> list[_Row]:
    """Ratios of larvae per search; a level without a counted larva has none."""
    counted = both[both["larvae"].notna()]
    if len(both) > len(counted):
        notes.append(note(Remark.UNCOUNTED, factor=factor, n=len(both) - len(counted)))
    if (counted["larvae"] > 0).sum() < FEWEST_COUNTED:
        notes.append(note(Remark.FEW_COUNTED, factor=factor, needed=FEWEST_COUNTED))
        return []
    totals = counted.groupby("level")["larvae"].sum()
    missing = {level: NoRatio.NO_COUNT for level in [*others, usual] if not totals.get(level, 0) > 0}
    return _ratios((factor, usual, Measure.COUNT), counted, others, missing, _negative_binomial)


def _ratios(
    of: tuple[str, str, Measure],
    frame: pd.DataFrame,
    others: list[str],
    missing: dict[str, NoRatio],
    fit: Callable[[pd.DataFrame, list[str]], _Fitted | None],
) -> list[_Row]:
    """One row for each other level against the usual one, by one model of all levels that have a ratio."""
    factor, usual, measure = of
    fitted = [level for level in others if level not in missing and usual not in missing]
    model = fit(frame[frame["level"].isin([*fitted, usual])], fitted) if fitted else None
    rows = []
    for level in others:
        lacking = level if level in missing else usual
        if lacking in missing:
            rows.append(_Row(factor, level, usual, measure, why=note(missing[lacking], level=lacking)))
        else:
            rows.append(_ratio(_Row(factor, level, usual, measure), model, fitted.index(level) + 1))
    return rows


def _by_volume(searched: pd.DataFrame, notes: list[Note]) -> list[_Row]:
    """Per doubling of the volume: odds per search, and larvae counted per search."""
    given = searched[searched["volume_l"] > 0]
    if len(searched) > len(given):
        notes.append(note(Remark.NOT_GIVEN, factor=VOLUME, n=len(searched) - len(given), of=len(searched)))
    size = np.log2(given["volume_l"].to_numpy())
    if len(np.unique(size)) < 2 or len(given) < 2 * FEWEST:
        return []
    found, searches = given["detections"].to_numpy(), given["searches"].to_numpy()
    having, blank = size[found > 0], size[found < searches]
    odds, larvae = (_Row(VOLUME, "twice as large", "as it is", m) for m in (Measure.ODDS, Measure.COUNT))
    if not len(having) or not len(blank) or having.min() >= blank.max() or having.max() <= blank.min():
        return [replace(odds, why=note(NoRatio.SEPARATED))]
    rows = [_ratio(odds, _logistic(given, size), 1)]
    counted = given["larvae"].notna().to_numpy()
    if (given["larvae"] > 0).sum() >= FEWEST_COUNTED:
        rows.append(_ratio(larvae, _negative_binomial(given[counted], size[counted]), 1))
    return rows


def _within_blocks(blocks: pd.DataFrame, each: pd.DataFrame, seen: Searches, notes: list[Note]) -> list[_Row]:
    """Treatments within their blocks: of two pools the first m searches each, m the fewer, so that neither leads."""
    place = {pool: i for i, pool in enumerate(seen.pools)}
    known = blocks[blocks["pool"].isin(place)].sort_values(["block", "treatment", "pool"])
    treatments = known["treatment"].value_counts()
    if len(treatments) < 2:
        notes.append(note(Remark.ONE_TREATMENT))
        return []
    usual = min(treatments.index, key=lambda name: (-treatments[name], name))
    rows = []
    for other in sorted(set(treatments.index) - {usual}):
        tally = np.zeros((2, 2), dtype=int)
        for _, block in known.groupby("block"):
            one, two = (block.loc[block["treatment"] == name, "pool"] for name in (other, usual))
            for a, b in zip(one, two, strict=False):
                i, j = place[a], place[b]
                searches = min(seen.searches[i], seen.searches[j])
                if searches:
                    hit = [int(np.nanmax(seen.histories[k, :searches])) for k in (i, j)]
                    tally[hit[0], hit[1]] += 1
        both, first, second, neither = (int(tally[k]) for k in ((1, 1), (1, 0), (0, 1), (0, 0)))
        pairs = both + first + second + neither
        if pairs < FEWEST:
            notes.append(note(Remark.FEW_PAIRS, treatment=other, other=usual, n=pairs))
            continue
        interval = partial(paired_difference, both, first, second, neither)
        rows.append(_Row(ASSIGNED, other, usual, Measure.PAIRED, (first - second) / pairs, interval))
    return rows


# --- models ----------------------------------------------------------------------------------------------------------


class _Fitted(NamedTuple):
    """Coefficients of a model (the intercept first), their errors and the degrees of freedom."""

    params: Array
    errors: Array
    free: int


By = list[str] | Array  # levels, or a number for each pool


def _design(frame: pd.DataFrame, by: By) -> Array:
    """A column of ones, then one for each level in `by`, or the numbers of `by` as they are."""
    if isinstance(by, list):
        parts = [(frame["level"] == level).to_numpy(float) for level in by]
    else:
        parts = [np.asarray(by, float)]
    return np.column_stack([np.ones(len(frame)), *parts])


def _logistic(frame: pd.DataFrame, by: By) -> _Fitted | None:
    """Coefficients, errors and degrees of freedom of a logistic model of searches; None where it can't be fitted."""
    import statsmodels.api as sm

    searches, found = frame["searches"].to_numpy(), frame["detections"].to_numpy()
    pool = np.repeat(np.arange(len(frame)), searches)
    first = np.concatenate([np.arange(n) for n in searches])
    hit = (first < found[pool]).astype(float)
    design = _design(frame, by)
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        try:
            fit = sm.GEE(hit, design[pool], groups=pool, family=sm.families.Binomial()).fit(cov_type="bias_reduced")
        except (np.linalg.LinAlgError, ValueError):
            return None
    return _Fitted(np.asarray(fit.params), np.asarray(fit.bse), len(frame) - int(design.shape[1]))


def _negative_binomial(frame: pd.DataFrame, by: By) -> _Fitted | None:
    """The same of a negative binomial model of each pool's total; where that fails, a Poisson one with its spread."""
    import statsmodels.api as sm

    design, total = _design(frame, by), frame["larvae"].to_numpy()
    offset = np.log(frame["searches"].to_numpy(float))
    free = len(frame) - int(design.shape[1])
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        try:
            fit = sm.NegativeBinomial(total, design, offset=offset).fit(method="bfgs", maxiter=500, disp=0)
            params, errors = np.asarray(fit.params)[:-1], np.asarray(fit.bse)[:-1]
            if fit.mle_retvals["converged"] and np.isfinite(errors).all():
                return _Fitted(params, errors, free)
        except (np.linalg.LinAlgError, ValueError):
            pass
        try:
            plain = sm.GLM(total, design, family=sm.families.Poisson(), offset=offset).fit(scale="X2")
        except (np.linalg.LinAlgError, ValueError):
            return None
    return _Fitted(np.asarray(plain.params), np.asarray(plain.bse), free)


def _ratio(row: _Row, model: _Fitted | None, at: int) -> _Row:
    """The row with exp(coefficient) and its interval exp(coefficient +- t se), t of Student's distribution."""
    if model is None or not (np.isfinite(model.errors[at]) and 0 < model.errors[at] < 10 and model.free > 0):
        return replace(row, why=note(NoRatio.NOT_FITTED))
    value, error, free = float(model.params[at]), float(model.errors[at]), model.free

    def interval(confidence: float) -> Ends:
        spread = stdtrit(free, 0.5 + confidence / 2) * error
        return float(np.exp(value - spread)), float(np.exp(value + spread))

    return replace(row, estimate=float(np.exp(value)), interval=interval)


# --- what the intervals say ------------------------------------------------------------------------------------------


def _finished(row: _Row, number: int) -> tuple[object, ...]:
    """The row with both intervals and what they say; `number` comparisons are made in all."""
    start = (row.factor, row.level, row.other, row.measure, row.estimate)
    if row.interval is None:
        return (*start, np.nan, np.nan, np.nan, np.nan, row.why)
    alone, together = row.interval(confidence=CONFIDENCE), row.interval(confidence=1 - (1 - CONFIDENCE) / number)
    return (*start, *alone, *together, verdict(row.estimate, alone, together, float(row.measure.is_ratio)))


def verdict(estimate: float, alone: Ends, together: Ends, none: float) -> Verdict:
    """What the interval of a comparison says, alone and for all comparisons together; `none`: no difference."""
    more = estimate > none
    if alone[0] <= none <= alone[1]:
        return Verdict.ALIKE
    if together[0] <= none <= together[1]:
        return Verdict.MORE_ALONE if more else Verdict.LESS_ALONE
    return Verdict.MORE if more else Verdict.LESS
