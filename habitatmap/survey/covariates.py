"""What might explain where larvae live and when they are seen: covariates from the records, and the models to compare.

The list of models is fixed before the searches are read: none, then each covariate alone. Comparing every combination
would find patterns in noise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from habitatmap.read.days_out import out_by
from habitatmap.survey.codes import Lacking
from habitatmap.survey.searches import Searches
from habitatmap.vocabulary.note import Note, note

NOT_GIVEN, OTHER = "not given", "other"
FEW = 5  # searches; an observer, or a kind of pool, with fewer is "other" (expert judgement)


@dataclass(frozen=True)
class Covariates:
    """site: frame, a row per pool; visit: pools x searches arrays by name; left_out: part ("psi" or "p"), name, why."""

    site: pd.DataFrame
    visit: dict[str, NDArray[np.generic]]
    left_out: list[tuple[str, str, Note]]

    def models(self) -> list[tuple[list[str], list[str]]]:
        """None, then each covariate alone: names of psi and of p."""
        return [([], []), *(([name], []) for name in self.site.columns), *(([], [name]) for name in self.visit)]


def covariates(
    seen: Searches, pools: pd.DataFrame, visits: pd.DataFrame, places: pd.DataFrame | None = None
) -> Covariates:
    """Covariates of the searches at the pools (frames as in the area).

    Of psi: shade, container, filling (words), volume_l, age_days at the season's first search, and the columns of
    `places` (numbers per pool, such as forage, dead wood or reach). Of p: month, observer (words), days_out since
    set-out. A covariate that is the same throughout, or is missing where there was a search, is left out with a note.
    """
    searched = seen.searches > 0
    site = {name: _kinds(pools[name], seen.searches) for name in ("shade", "container", "filling") if name in pools}
    numbers: dict[str, pd.Series | NDArray[np.float64]] = {"volume_l": pools["volume_l"]} if "volume_l" in pools else {}
    set_out: NDArray[np.datetime64] = out_by(pools).to_numpy("datetime64[s]")
    if seen.first is not None:
        # a pool set out later in the season has age 0
        numbers["age_days"] = np.maximum(_days(np.datetime64(seen.first, "s") - set_out), 0)
    numbers |= {} if places is None else {str(name): places[name] for name in places.columns}
    site |= {name: np.asarray(values, dtype=np.float64) for name, values in numbers.items()}

    is_search = seen.rows >= 0
    visit: dict[str, NDArray[np.generic]] = {
        "month": _months(seen.dates),
        "days_out": _days(seen.dates - set_out[:, None]),
    }
    if "observer" in visits and len(visits):
        names = visits["observer"].astype(str).to_numpy(dtype=object)[seen.rows]
        visit["observer"] = _kinds(pd.Series(names.ravel()), is_search.ravel().astype(int)).reshape(is_search.shape)
    left_out = [("psi", name, why) for name, values in site.items() if (why := _useless(values, searched))]
    left_out += [("p", name, why) for name, values in visit.items() if (why := _useless(values, is_search))]
    gone = {(part, name) for part, name, _ in left_out}
    return Covariates(
        pd.DataFrame({name: values for name, values in site.items() if ("psi", name) not in gone}),
        {name: values for name, values in visit.items() if ("p", name) not in gone},
        left_out,
    )


def _months(dates: NDArray[np.datetime64]) -> NDArray[np.object_]:
    """01 to 12 as words, None without a date."""
    month = pd.Series(dates.ravel()).dt.strftime("%m").astype(object)
    return np.asarray(month.where(month.notna(), None), dtype=object).reshape(dates.shape)


def _days(span: NDArray[np.timedelta64]) -> NDArray[np.float64]:
    return np.asarray(span / np.timedelta64(1, "D"))


def _kinds(words: pd.Series, searches: NDArray[np.int64]) -> NDArray[np.object_]:
    """Words with blanks as "not given" and kinds with few searches as "other"."""
    plain = words.astype(str).str.strip().replace("", NOT_GIVEN).reset_index(drop=True)
    counts = pd.Series(searches).groupby(plain).sum()
    return plain.where(plain.map(counts) >= FEW, OTHER).to_numpy(dtype=object)


def _useless(values: NDArray[np.generic], used: NDArray[np.bool_]) -> Note | None:
    """Why a covariate can't be used: it must differ, and be known wherever there was a search; None where it can."""
    there = pd.Series(values[used])
    if there.isna().any():
        return note(Lacking.COVARIATE, n=int(there.isna().sum()), of=len(there))
    return note(Lacking.VARIATION) if there.nunique() < 2 else None
