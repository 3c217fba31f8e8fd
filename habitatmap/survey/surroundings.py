"""How the probability of a pool hangs on the ground it stands on: forage, dead wood, and breeding places in reach.

Which covariates are used is fixed before the searches are read: those of `places`, in their order, as many as the finds
allow (one per ten). Slopes have a prior that holds them near 0 unless the searches say otherwise, so that an area with
few finds gets nearly the same probability everywhere. Nothing is said beyond the range of what was sampled: there a map
is grey, and a plan takes the probability at the nearest end of the range.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates
from scipy.signal import fftconvolve
from scipy.special import expit

from habitatmap.geo.flight import FlightKernel
from habitatmap.survey.constant import Array, Prior
from habitatmap.survey.models import PER_COVARIATE
from habitatmap.survey.occupancy import fit_occupancy

SLOPE_SD = 0.5  # of a slope per standard deviation, in log odds: expert judgement, see guide/survey.md
WORDS = {"forage_score": "forage", "dead_wood_score": "dead wood", "places_near": "breeding places near"}
MOST_UNKNOWN = 0.1  # of the searched places may lie where a covariate is not known; they are left out of the fit
DRAWS = 1000
NODES = 25  # a side of the lattice on which a probability is worked out; between them it is interpolated, to 0.0005


@dataclass(frozen=True)
class Surroundings:
    """names: the covariates used; draws: draws x (intercept, a slope for each), log odds in the covariates' units;
    detection: a draw of the probability that a search finds, for each; low, high: the range that was sampled, by
    covariate.
    """

    names: tuple[str, ...]
    draws: Array
    detection: Array
    low: Array
    high: Array

    def words(self) -> str:
        """The covariates as a reader says them."""
        return ", ".join(WORDS.get(name, name) for name in self.names)

    def draws_at(self, values: Array) -> Array:
        """Draws x n: the probabilities at n places (n x covariates); beyond the sampled range those at its nearest end."""
        held = np.clip(values, self.low, self.high)
        return np.asarray(expit(self.draws[:, :1] + self.draws[:, 1:] @ held.T))

    def surface(self, fields: Sequence[NDArray[Any]]) -> Array:
        """The mean probability on rasters of the covariates, in the order of `names`; NaN where one is not known.

        Worked out on a lattice over the sampled range and interpolated: its cost hangs little on the area's size.
        """
        axes = [np.linspace(a, b, NODES) for a, b in zip(self.low, self.high, strict=True)]
        nodes = np.stack([axis.ravel() for axis in np.meshgrid(*axes, indexing="ij")], axis=1)
        parts = [self.draws_at(part).mean(axis=0) for part in np.array_split(nodes, 50)]
        lattice = np.concatenate(parts).reshape([NODES] * len(axes))
        steps = [
            (np.clip(field, a, b) - a) / (b - a) * (NODES - 1)
            for field, a, b in zip(fields, self.low, self.high, strict=True)
        ]
        known = np.logical_and.reduce([~np.isnan(step) for step in steps])
        out = np.full(known.shape, np.nan)
        out[known] = map_coordinates(lattice, [step[known] for step in steps], order=1, mode="nearest")
        return out


def fit_surroundings(detections: Array, places: pd.DataFrame, prior: Prior) -> tuple[Surroundings | None, str]:
    """The ground model of searched places (`places`: a row per site), or None; and in words what was done.

    A covariate unknown at more than a tenth of the searched places, or the same at all of them, is passed over.
    """
    searched = ~np.isnan(detections).all(axis=1)
    usable = [
        str(name)
        for name in places.columns
        if (values := places[name].iloc[np.flatnonzero(searched)]).isna().mean() <= MOST_UNKNOWN
        and values.nunique() > 1
    ]
    detected = int(np.nansum(detections))
    names = usable[: detected // PER_COVARIATE]
    if not names:
        why = (
            f"{detected} searches with larvae"
            if usable
            else "no forage or dead wood is known where pools were searched"
        )
        return None, f"the same probability on all ground ({why})"
    known = searched & places[names].notna().all(axis=1).to_numpy()
    site = places.loc[known, names].reset_index(drop=True)
    fit = fit_occupancy(detections[known], site, prior=replace(prior, slope_sd=SLOPE_SD))
    assert fit.draws is not None
    taken = fit.draws[np.linspace(0, len(fit.draws) - 1, DRAWS).round().astype(np.int64)]
    told = [i for i in range(len(names)) if not np.isnan(taken[0, 1 + i])]  # the rest follow from the others
    if not told:
        return None, "the same probability on all ground (it hardly differs where pools were searched)"
    ends = site.iloc[:, told]
    surroundings = Surroundings(
        tuple(names[i] for i in told),
        taken[:, [0, *(1 + i for i in told)]],
        expit(taken[:, -1]),
        ends.min().to_numpy(dtype=np.float64),
        ends.max().to_numpy(dtype=np.float64),
    )
    return surroundings, f"by {surroundings.words()}, each with a slope held near 0 unless the searches say otherwise"


def places_near(shape: tuple[int, int], places: pd.DataFrame, cell_m: float, median_m: float) -> Array:
    """How many likely occupied places each cell (rows, cols) has in reach: sum of p k(d), k the reach weight.

    places: row, col, p; one outside the frame counts for nothing. The place a cell itself holds counts with its p.
    """
    row, col = places["row"].to_numpy(np.int64), places["col"].to_numpy(np.int64)
    inside = (row >= 0) & (row < shape[0]) & (col >= 0) & (col < shape[1])
    probabilities = np.zeros(shape)
    np.add.at(probabilities, (row[inside], col[inside]), places["p"].to_numpy(np.float64)[inside])
    near = fftconvolve(probabilities, FlightKernel(median_m).stamp(cell_m, "reach"), mode="same")
    return np.asarray(np.maximum(near.round(9), 0.0))  # what the transform leaves of nothing is nothing
