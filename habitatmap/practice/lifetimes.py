"""How long pools last, what ends them, and what goes wrong on the way, each with its interval.

Lifetimes: Kaplan & Meier 1958, Journal of the American Statistical Association 53:457-481, by statsmodels. A pool that
still stands has lasted at least until `as_of`; one that was taken in, as planned or for a reason that nobody stated,
until that day: it was followed so far and is no loss. Reasons not stated may hide losses, which such a curve takes for
chance; hence `at_worst`. A pool found gone counts as lost on the day it was found so, which is somewhat late. Rates:
exact Poisson intervals (Garwood 1936, Biometrika 28:437-442).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from habitatmap.practice.codes import Cause, End
from habitatmap.read.days_out import in_from, out_by
from habitatmap.read.headings import fold
from habitatmap.read.pools import standing
from habitatmap.survey.chi_squared import chi2_quantile
from habitatmap.survey.searches import Day

DAYS_A_MONTH = 30.4375
UNSEEN_DAYS = 90  # expert judgement: a standing pool that nobody saw for so long may be gone
AT_DAYS = (91, 183, 365, 730)

# Whole words, in any case and without accents, looked for in a visit's action and note, and in a pool's note.
# Expert judgement; a text that fits several counts under the first. English; German; French; Dutch; Spanish; Finnish
_CAUSES = {
    Cause.PLANNED: """end of season, planned, taken in, for winter, study ended; saisonende, geplant, eingeholt,
        uber winter; fin de saison, prevu; einde seizoen, gepland; fin de temporada, previsto; kauden loppu,
        suunniteltu""",
    Cause.STOLEN: """stolen, theft, vandalism, vandalised, vandals, kicked over, smashed;
        gestohlen, diebstahl, vandalismus, mutwillig; derobe, vandalisme; gestolen, vernield; robado, vandalismo;
        varastettu, ilkivalta""",
    Cause.WEATHER: """branch, storm, wind, gale, fell, flood, flooded, frost, cracked; ast, sturm,
        hochwasser, frost, geplatzt; branche, tempete, inondation, gel; tak, storm, overstroming; rama, tormenta,
        inundacion; oksa, myrsky, tulva""",
    Cause.WORKS: """road works, building works, construction, mowing, mower, mown, felled,
        clearance; bauarbeiten, gemaht, mahd, gefallt;
        travaux, fauche; werkzaamheden, gemaaid; obras, siega; tyomaa, niitetty""",
    Cause.ANIMALS: """fox, dog, badger, boar, deer, cattle, sheep; fuchs, hund, dachs, wildschwein; renard, chien,
        sanglier; vos, hond; zorro, perro, jabali; kettu, koira""",
    Cause.HOST: """host, owner, moved house, consent, permission, asked to remove; eigentumer, umgezogen,
        zustimmung; proprietaire, demenage, accord; eigenaar, verhuisd, toestemming; propietario, mudanza, permiso;
        omistaja, muutti, lupa""",
}
_COMPLAINTS = """complaint, complaints, complained, complains, objection, objected;
    beschwerde, beschwerden, beschwert; plainte, plaintes, reclamation; klacht, klachten, geklaagd;
    queja, quejas, se quejo; valitus, valitti"""
_NEGATIONS = "no, without, keine, ohne, sans, aucune, geen, zonder, sin, ninguna, ei"


def _words(text: str) -> tuple[str, ...]:
    return tuple(fold(word) for word in text.replace(";", ",").split(","))


CAUSES: Mapping[Cause, tuple[str, ...]] = {cause: _words(text) for cause, text in _CAUSES.items()}
COMPLAINTS = _words(_COMPLAINTS)
NEGATIONS = _words(_NEGATIONS)


def matched(text: str, words: tuple[str, ...]) -> str:
    """The first of the words that stands in the text as a whole word, "" where none does or a negation precedes it."""
    folded = f" {fold(text)} "
    for word in words:
        at = folded.find(f" {word} ")
        if at >= 0 and folded[:at].split()[-1:] not in [[n] for n in NEGATIONS]:
            return word
    return ""


def cause_of(text: str) -> Cause:
    """The cause that a note states, by CAUSES; Cause.NOT_STATED where it says nothing of the kind."""
    return next((cause for cause, words in CAUSES.items() if matched(text, words)), Cause.NOT_STATED)


def lifetimes(pools: pd.DataFrame, visits: pd.DataFrame, as_of: Day) -> pd.DataFrame:
    """One row for each pool whose set-out is known and past: pool, set_out, days, end, lost, cause, stated, last_seen.

    `days` it stood, up to its end or to `as_of`; `end`: how it ended, an End; `lost`: whether that is a loss; `cause`
    "" where it stands, else by CAUSES from `stated`, the texts that say it. A visit "gone" before set-out, or after
    which the pool was found again, is no loss, and none either after the day on which the pool was taken in. The order
    is the pools' own.
    """
    day = pd.Timestamp(as_of).normalize()
    # of a month or a season its last day counts, so that no pool lasts longer than it surely did
    pools = pools.assign(set_out=out_by(pools), removed=in_from(pools))
    known = pools[pools["set_out"].notna() & (pools["set_out"] <= day)]
    stands = standing(known, visits, day.date())
    past = visits[visits["date"] <= day]
    start = known.set_index("pool")["set_out"]
    reached = past[(past["outcome"] != "not reached") & (past["date"] >= start.reindex(past["pool"]).to_numpy())]
    present = reached[reached["outcome"] != "gone"].groupby("pool")["date"].max()
    rows = []
    for pool, up in zip(known.to_dict("records"), stands, strict=True):
        gone = reached[(reached["pool"] == pool["pool"]) & (reached["outcome"] == "gone")]
        gone = gone.sort_values(["date", "note", "action"])
        seen = present.get(pool["pool"], pd.NaT)
        gone = gone[~(gone["date"] < seen)]
        ends = [d for d in (pool["removed"], gone["date"].min()) if pd.notna(d) and d <= day]
        texts = [] if up else [pool["note"], *gone["note"], *gone["action"]]
        stated = "; ".join(dict.fromkeys(t for t in texts if t))
        cause = "" if up else cause_of(stated)
        how = _end(cause, found_gone=bool((~(gone["date"] > pool["removed"])).any()))
        last = day if up else min(ends)
        rows.append(
            {
                "pool": pool["pool"],
                "set_out": pool["set_out"],
                "days": float((last - pool["set_out"]).days),
                "end": how,
                "lost": how is End.LOST,
                "cause": cause,
                "stated": stated,
                "last_seen": seen,
            }
        )
    columns = ["pool", "set_out", "days", "end", "lost", "cause", "stated", "last_seen"]
    return pd.DataFrame(rows, columns=columns).astype({"days": float, "lost": bool})


def _end(cause: Cause | str, found_gone: bool) -> End:
    """How a pool ended, of its cause ("" where it stands) and whether a visit found it gone before it was taken in."""
    if cause == "":
        return End.STANDS
    if cause == Cause.NOT_STATED:
        return End.LOST if found_gone else End.NOT_KNOWN
    return End.PLANNED if cause == Cause.PLANNED else End.LOST


@dataclass(frozen=True)
class Survival:
    """A Kaplan-Meier curve. times: days with a loss; at_risk: pools that had lasted so long; lost: on that day.

    share: still standing just after; low, high: 95 %, log-log (Kalbfleisch & Prentice), NaN where it can't be known.
    median: days until half are lost, NaN where more than half last; median_low, median_high likewise.
    """

    pools: int
    losses: int
    times: NDArray[np.float64]
    at_risk: NDArray[np.int64]
    lost: NDArray[np.int64]
    share: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    median: float
    median_low: float
    median_high: float
    longest: float

    def at(self, days: float) -> tuple[float, float, float]:
        """Share standing after so many days and its interval; NaN beyond the longest time that any pool was followed.

        Before the first loss the share is 1 and the interval not known by this method.
        """
        if days > self.longest or not self.pools:
            return np.nan, np.nan, np.nan
        i = int(np.searchsorted(self.times, days, side="right")) - 1
        if i < 0:
            return 1.0, np.nan, np.nan
        return float(self.share[i]), float(self.low[i]), float(self.high[i])


def survival(days: ArrayLike, lost: ArrayLike, confidence: float = 0.95) -> Survival:
    """The Kaplan-Meier curve of pools that stood `days` and were `lost` then, or were still there (False).

    S(t) = prod over days t_i <= t with losses of (1 - losses_i / at_risk_i); interval S^exp(+-z se / (S |log S|)), se
    by Greenwood's formula (Kalbfleisch & Prentice 1980, from memory).
    """
    stood, gone = np.asarray(days, float), np.asarray(lost, bool)
    empty = np.empty(0)
    longest = float(stood.max(initial=0.0))
    if not gone.any():
        whole = np.empty(0, dtype=np.int64)
        return Survival(len(stood), 0, empty, whole, whole, empty, empty, empty, np.nan, np.nan, np.nan, longest)
    from statsmodels.duration.survfunc import SurvfuncRight

    curve = SurvfuncRight(stood, gone.astype(float))
    share, se = np.asarray(curve.surv_prob, float), np.asarray(curve.surv_prob_se, float)
    z = ndtri(0.5 + confidence / 2)
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = np.exp(z * se / (share * np.abs(np.log(share))))
        low, high = share**spread, share ** (1 / spread)
    at_zero = ~((share > 0) & (share < 1))
    low, high = np.where(at_zero, np.nan, low), np.where(at_zero, np.nan, high)

    def first_at_half(values: NDArray[np.float64]) -> float:
        below = np.flatnonzero(values <= 0.5)
        return float(curve.surv_times[below[0]]) if len(below) else np.nan

    return Survival(
        pools=len(stood),
        losses=int(gone.sum()),
        times=np.asarray(curve.surv_times, float),
        at_risk=np.asarray(curve.n_risk).astype(np.int64),
        lost=np.asarray(curve.n_events).astype(np.int64),
        share=share,
        low=low,
        high=high,
        median=first_at_half(share),
        median_low=first_at_half(low),
        median_high=first_at_half(high),
        longest=longest,
    )


def at_worst(lives: pd.DataFrame) -> Survival:
    """The curve of `lifetimes` if every pool that was taken in without a stated reason was lost: a bound."""
    return survival(lives["days"], lives["lost"] | (lives["end"] == End.NOT_KNOWN))


def rate(count: int, exposure: float, per: float = 100.0, confidence: float = 0.95) -> tuple[float, float, float]:
    """Events per `per` units of exposure with the exact Poisson interval (Garwood 1936); NaN without exposure."""
    if not exposure > 0:
        return np.nan, np.nan, np.nan
    tail = (1 - confidence) / 2
    low = chi2_quantile(tail, 2 * count) / 2 if count else 0.0
    high = chi2_quantile(1 - tail, 2 * count + 2) / 2
    return count * per / exposure, float(low) * per / exposure, float(high) * per / exposure


def incidents(pools: pd.DataFrame, visits: pd.DataFrame, as_of: Day) -> tuple[pd.DataFrame, pd.DataFrame]:
    """What went wrong per 100 pool-months, and the complaints one by one.

    The first frame: kind, count, pool_months, per_100, low, high. A pool counts once a day for each kind, one lost or
    taken in without a stated reason once. The second: pool, date, word, text, so that anybody can see which texts were
    taken for a complaint. Only what was seen at a visit, or stated for the pool, can count; pools without a set-out
    date don't.
    """
    lives = lifetimes(pools, visits, as_of)
    months = float(lives["days"].sum()) / DAYS_A_MONTH
    inside = visits[visits["pool"].isin(lives["pool"]) & (visits["date"] <= pd.Timestamp(as_of))]
    inside = inside[inside["date"] >= lives.set_index("pool")["set_out"].reindex(inside["pool"]).to_numpy()]
    text = (inside["action"] + "; " + inside["note"]).str.strip("; ")
    told = inside.assign(text=text, word=[matched(t, COMPLAINTS) for t in text])
    told = told.loc[told["word"] != "", ["pool", "date", "word", "text"]]
    told = told.sort_values(["pool", "date", "text"], ignore_index=True)

    def days_with(outcome: str) -> int:
        return len(inside.loc[inside["outcome"] == outcome, ["pool", "date"]].drop_duplicates())

    counts = {
        "found dry": days_with("dry"),
        "found frozen": days_with("frozen"),
        str(End.LOST): int(lives["lost"].sum()),
        str(End.NOT_KNOWN): int((lives["end"] == End.NOT_KNOWN).sum()),
        "complaint": len(told[["pool", "date"]].drop_duplicates()),
    }
    rows = [(kind, n, months, *rate(n, months)) for kind, n in counts.items()]
    return pd.DataFrame(rows, columns=["kind", "count", "pool_months", "per_100", "low", "high"]), told
