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
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import t as student

from habitatmap.survey.searches import Searches

Interval = Callable[..., tuple[float, float]]  # takes `confidence`, gives low and high

FACTORS = {"container": "Container", "filling": "Filling", "shade": "Shade"}
NAMES = FACTORS | {"volume_l": "Volume", "assigned": "Random assignment"}
FEWEST = 5  # pools searched, for a level to be compared at all (expert judgement)
FEWEST_COUNTED = 10  # pools with a count above 0, for a model of counts (expert judgement)
UNEQUAL = 1.25  # searches per pool in one level over the other, from which on it is said (expert judgement)
CONFIDENCE = 0.95

SHARE = "share of pools with larvae"
ODDS = "odds that a search finds larvae"
COUNT = "larvae counted per search"
PAIRED = "share of pools with larvae, within blocks"

ALIKE = "cannot be told apart"
ALONE = "cannot be told apart once all comparisons are allowed for; taken alone it is {}"
COLUMNS = {
    "factor": "str",
    "level": "str",
    "other": "str",
    "measure": "str",
    "estimate": "float64",
    "low": "float64",
    "high": "float64",
    "low_all": "float64",
    "high_all": "float64",
    "words": "str",
}


@dataclass(frozen=True)
class Comparison:
    """What seemed to work.

    levels: factor, level, pools (searched), searches, searches_per_pool, pools_with, share, share_low, share_high
    (Wilson), looks_with, counted (pools whose larvae were all counted), larvae_per_search. differences: COLUMNS;
    `estimate` is a difference of shares, or a ratio for odds and counts (for volume: per doubling); low, high 95 %
    each, low_all, high_all for all together; NaN where it can't be known, and `words` says why. species: factor, level,
    taxon, pools (where the species was checked). comparisons: how many intervals; notes: sentences to stand beside the
    table.
    """

    levels: pd.DataFrame
    differences: pd.DataFrame
    species: pd.DataFrame
    comparisons: int
    notes: list[str]


@dataclass(frozen=True)
class _Row:
    """One comparison before the number of all of them is known."""

    factor: str
    level: str
    other: str
    measure: str
    estimate: float = np.nan
    interval: Interval | None = None
    words: str = ""


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
    levels, notes, species = [], [], []
    for factor in FACTORS:
        given = searched[searched[factor] != ""]
        if len(searched) > len(given):
            notes.append(
                f"{FACTORS[factor]}: not given for {len(searched) - len(given)} of {len(searched)} pools searched."
            )
        groups = {str(level): group for level, group in given.groupby(factor)}
        levels += [_level(factor, level, group) for level, group in groups.items()]
        species += _species(factor, given, visits, seen)
        rows += _differences(factor, groups, notes)
    rows += _by_volume(searched, notes)
    if blocks is not None:
        rows += _within_blocks(blocks, each, seen, notes)
    number = sum(row.interval is not None for row in rows)
    if number:
        notes.append(
            f"{number} comparisons are shown. If nothing made any difference, about {number * (1 - CONFIDENCE):.1f} of "
            "their 95 % intervals would still exclude it by chance; the wider intervals allow for that (Bonferroni)."
        )
    return Comparison(
        levels=pd.DataFrame(levels, columns=_LEVEL_COLUMNS),
        differences=pd.DataFrame([_finished(row, number) for row in rows], columns=list(COLUMNS)).astype(COLUMNS),
        species=pd.DataFrame(species, columns=["factor", "level", "taxon", "pools"]),
        comparisons=number,
        notes=notes,
    )


def difference(
    found: int, of: int, other_found: int, other_of: int, confidence: float = CONFIDENCE
) -> tuple[float, float]:
    """Newcombe's interval (method 10) for found/of - other_found/other_of."""
    from statsmodels.stats.proportion import confint_proportions_2indep

    low, high = confint_proportions_2indep(
        found, of, other_found, other_of, method="newcomb", compare="diff", alpha=1 - confidence
    )
    return float(low), float(high)


def paired_difference(
    both: int, first: int, second: int, neither: int, confidence: float = CONFIDENCE
) -> tuple[float, float]:
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
    """pool, the factors in small letters, volume_l, searches, found, larvae: the total counted, NaN where one is not."""
    each = pools.set_index("pool").loc[seen.pools, [*FACTORS, "volume_l"]].reset_index()
    for factor in FACTORS:
        each[factor] = each[factor].str.split().str.join(" ").str.casefold()
    here = seen.rows >= 0
    count = np.where(here, visits["larvae"].to_numpy(float)[seen.rows], 0.0) if len(visits) else np.zeros(here.shape)
    count[here & (seen.histories == 0)] = 0.0  # none seen is a count; larvae without a number are none
    return each.assign(searches=seen.searches, detections=seen.detections, larvae=count.sum(axis=1))


def _level(factor: str, level: str, group: pd.DataFrame) -> tuple[Any, ...]:
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


def _differences(factor: str, groups: dict[str, pd.DataFrame], notes: list[str]) -> list[_Row]:
    enough = {level: group for level, group in groups.items() if len(group) >= FEWEST}
    few = [level for level in groups if level not in enough]
    if few:
        notes.append(f"{FACTORS[factor]}: {', '.join(few)}: fewer than {FEWEST} pools searched, too few to compare.")
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
        rows.append(_Row(factor, level, usual, SHARE, a / n - b / m, partial(difference, a, n, b, m)))
        ratio = (group["searches"].mean()) / (base["searches"].mean())
        if max(ratio, 1 / ratio) >= UNEQUAL:
            notes.append(
                f"{FACTORS[factor]}: {level} was searched {group['searches'].mean():.1f} times a pool, {usual} "
                f"{base['searches'].mean():.1f} times; the more searches, the more pools show larvae, so trust the "
                "odds per search before the share of pools."
            )
    both = pd.concat([g.assign(level=level) for level, g in enough.items()])
    rows += _odds(factor, both, others, usual)
    return rows + _counts(factor, both, others, usual, notes)


def _odds(factor: str, both: pd.DataFrame, others: list[str], usual: str) -> list[_Row]:
    """Odds ratios per search; a level in which every search, or none, found larvae has none."""
    tally = both.groupby("level")[["detections", "searches"]].sum()
    apart = dict.fromkeys(tally.index[tally["detections"] == 0], "no search")
    apart |= dict.fromkeys(tally.index[tally["detections"] == tally["searches"]], "every search")
    fitted = [level for level in others if level not in apart and usual not in apart]
    model = _logistic(both[both["level"].isin([*fitted, usual])], fitted) if fitted else None
    rows = []
    for level in others:
        split = level if level in apart else usual
        if split in apart:
            why = f"{apart[split]} at {split} found larvae, so there is no odds ratio; see the share of pools"
            rows.append(_Row(factor, level, usual, ODDS, words=why))
        else:
            rows.append(_ratio(factor, level, usual, ODDS, model, fitted.index(level) + 1))
    return rows


def _counts(factor: str, both: pd.DataFrame, others: list[str], usual: str, notes: list[str]) -> list[_Row]:
    counted = both[both["larvae"].notna()]
    if len(both) > len(counted):
        notes.append(
            f"{FACTORS[factor]}: {len(both) - len(counted)} pools have finds without a number; no counts from them."
        )
    if (counted["larvae"] > 0).sum() < FEWEST_COUNTED:
        notes.append(
            f"{FACTORS[factor]}: fewer than {FEWEST_COUNTED} pools with counted larvae, too few to compare counts."
        )
        return []
    totals = counted.groupby("level")["larvae"].sum()
    empty = [level for level in [*others, usual] if not totals.get(level, 0) > 0]
    fitted = [level for level in others if level not in empty and usual not in empty]
    model = _negative_binomial(counted[counted["level"].isin([*fitted, usual])], fitted) if fitted else None
    rows = []
    for level in others:
        without = level if level in empty else usual
        if without in empty:
            why = f"no larvae were counted at {without}, so there is no ratio; see the share of pools"
            rows.append(_Row(factor, level, usual, COUNT, words=why))
        else:
            rows.append(_ratio(factor, level, usual, COUNT, model, fitted.index(level) + 1))
    return rows


def _by_volume(searched: pd.DataFrame, notes: list[str]) -> list[_Row]:
    """Per doubling of the volume: odds per search, and larvae counted per search."""
    given = searched[searched["volume_l"] > 0]
    if len(searched) > len(given):
        notes.append(f"Volume: not given for {len(searched) - len(given)} of {len(searched)} pools searched.")
    size = np.log2(given["volume_l"].to_numpy())
    if len(np.unique(size)) < 2 or len(given) < 2 * FEWEST:
        return []
    found, searches = given["detections"].to_numpy(), given["searches"].to_numpy()
    having, blank = size[found > 0], size[found < searches]
    words = ("volume_l", "twice as large", "as it is")
    if not len(having) or not len(blank) or having.min() >= blank.max() or having.max() <= blank.min():
        return [_Row(*words, ODDS, words="the volume parts finds from blanks altogether, so there is no odds ratio")]
    rows = [_ratio(*words, ODDS, _logistic(given, size), 1)]
    counted = given["larvae"].notna().to_numpy()
    if (given["larvae"] > 0).sum() >= FEWEST_COUNTED:
        rows.append(_ratio(*words, COUNT, _negative_binomial(given[counted], size[counted]), 1))
    return rows


def _within_blocks(blocks: pd.DataFrame, each: pd.DataFrame, seen: Searches, notes: list[str]) -> list[_Row]:
    """Treatments within their blocks: of two pools, the first m searches of each, m the fewer, so that neither leads."""
    place = {pool: i for i, pool in enumerate(seen.pools)}
    known = blocks[blocks["pool"].isin(place)].sort_values(["block", "treatment", "pool"])
    treatments = known["treatment"].value_counts()
    if len(treatments) < 2:
        notes.append("A random assignment is there, but no two treatments of it have pools that were searched.")
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
            notes.append(f"Random assignment: {other} and {usual} have {pairs} pairs searched, too few to compare.")
            continue
        interval = partial(paired_difference, both, first, second, neither)
        rows.append(_Row("assigned", other, usual, PAIRED, (first - second) / pairs, interval))
    return rows


# --- models ----------------------------------------------------------------------------------------------------------


def _design(frame: pd.DataFrame, by: Any) -> NDArray[np.float64]:
    """A column of ones, then one for each level in `by`, or the numbers of `by` as they are."""
    if isinstance(by, list):
        parts = [(frame["level"] == level).to_numpy(float) for level in by]
    else:
        parts = [np.asarray(by, float)]
    return np.column_stack([np.ones(len(frame)), *parts])


def _logistic(frame: pd.DataFrame, by: Any) -> tuple[NDArray[Any], NDArray[Any], int] | None:
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
    return np.asarray(fit.params), np.asarray(fit.bse), len(frame) - design.shape[1]


def _negative_binomial(frame: pd.DataFrame, by: Any) -> tuple[NDArray[Any], NDArray[Any], int] | None:
    """The same of a negative binomial model of each pool's total; where that fails, a Poisson one with its spread."""
    import statsmodels.api as sm

    design, total = _design(frame, by), frame["larvae"].to_numpy()
    offset = np.log(frame["searches"].to_numpy(float))
    free = len(frame) - design.shape[1]
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        try:
            fit = sm.NegativeBinomial(total, design, offset=offset).fit(method="bfgs", maxiter=500, disp=0)
            params, errors = np.asarray(fit.params)[:-1], np.asarray(fit.bse)[:-1]
            if fit.mle_retvals["converged"] and np.isfinite(errors).all():
                return params, errors, free
        except (np.linalg.LinAlgError, ValueError):
            pass
        try:
            plain = sm.GLM(total, design, family=sm.families.Poisson(), offset=offset).fit(scale="X2")
        except (np.linalg.LinAlgError, ValueError):
            return None
    return np.asarray(plain.params), np.asarray(plain.bse), free


def _ratio(factor: str, level: str, other: str, measure: str, model: Any, at: int) -> _Row:
    """exp of a coefficient with its interval from Student's t."""
    if model is None or not (np.isfinite(model[1][at]) and 0 < model[1][at] < 10 and model[2] > 0):
        return _Row(factor, level, other, measure, words="the model could not be fitted to so few searches")
    value, error, free = float(model[0][at]), float(model[1][at]), int(model[2])

    def interval(confidence: float) -> tuple[float, float]:
        spread = student.ppf(0.5 + confidence / 2, free) * error
        return float(np.exp(value - spread)), float(np.exp(value + spread))

    return _Row(factor, level, other, measure, float(np.exp(value)), interval)


# --- words -----------------------------------------------------------------------------------------------------------


def _finished(row: _Row, number: int) -> tuple[Any, ...]:
    """The row with both intervals and what they say; `number` comparisons are made in all."""
    start = (row.factor, row.level, row.other, row.measure, row.estimate)
    if row.interval is None:
        return (*start, np.nan, np.nan, np.nan, np.nan, row.words)
    alone, together = row.interval(confidence=CONFIDENCE), row.interval(confidence=1 - (1 - CONFIDENCE) / number)
    none = 1.0 if row.measure in (ODDS, COUNT) else 0.0
    return (*start, *alone, *together, verdict(row.estimate, alone, together, none))


def verdict(estimate: float, alone: tuple[float, float], together: tuple[float, float], none: float) -> str:
    """What an interval says: "cannot be told apart" unless the one for all comparisons excludes no difference."""
    direction = "more" if estimate > none else "less"
    if alone[0] <= none <= alone[1]:
        return ALIKE
    if together[0] <= none <= together[1]:
        return ALONE.format(direction)
    return direction


def reading(found: Comparison) -> list[str]:
    """The comparison in plain sentences, with what it can't say."""
    told = found.differences[found.differences["low"].notna()]
    if told.empty:
        return ["Too few pools were searched to compare what they are made of.", *found.notes]
    sure = told[told["words"].isin(["more", "less"])]
    alike = len(told) - len(sure)
    verdict_on_all = f"All {alike} comparisons cannot be told apart"
    if len(sure):
        verdict_on_all = f"{len(sure)} of {len(told)} comparisons show a difference, {alike} cannot be told apart"
    said = [
        f"{verdict_on_all}. Pools were not put out at random: where a kind of container stood mostly in good places, "
        "the place may have done it.",
        *(
            f"{NAMES[str(row.factor)]}: {row.level}, against {row.other}: {row.words} "
            f"({row.measure}; 95 % interval {row.low:.2f} to {row.high:.2f})."
            for row in sure.itertuples()
        ),
        "A random assignment before setting out (survey --assign) would tell what chance decided from the place.",
    ]
    return [*said, *found.notes]
