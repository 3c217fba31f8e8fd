"""Two classic yardsticks of a network: what it can carry, and how often each place is occupied."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import eigh

from habitatmap.errors import InputError

Floats = NDArray[np.float64]


def metapopulation_capacity(areas: ArrayLike, distances: ArrayLike, alpha: float) -> float:
    """Leading eigenvalue of exp(-alpha d_ij) A_i A_j with 0 on the diagonal (Hanski & Ovaskainen 2000, Nature 404:755).

    areas: (n,) >= 0; distances: (n, n) symmetric, same unit as 1/alpha. A network persists where the capacity exceeds
    extinction rate / colonisation rate. 0 for no place or a single one. Raises InputError.
    """
    area, distance = _checked(areas, distances)
    if len(area) < 2:
        return 0.0
    m = np.exp(-alpha * distance) * np.outer(area, area)
    np.fill_diagonal(m, 0.0)
    last = len(area) - 1
    return float(eigh(m, eigvals_only=True, subset_by_index=(last, last))[0])


def incidence(
    areas: ArrayLike, distances: ArrayLike, occupied: ArrayLike, alpha: float, e: float, y: float, x: float
) -> Floats:
    """Long-run probability that each place is occupied, with rescue: (n,) (incidence function model, Hanski 1994,
    J Anim Ecol 63:151).

    areas: (n,) > 0; distances: (n, n); occupied: (n,) of 0-1 (or probabilities) now. S_i = sum over the others of
    occupied_j exp(-alpha d_ij) A_j; colonisation C = S^2 / (S^2 + y^2); extinction E = min(1, e / A^x), lowered by
    rescue to E (1 - C); J = C / (C + E - C E). A place that nothing can reach has 0. Raises InputError.
    """
    area, distance = _checked(areas, distances)
    filled = np.asarray(occupied, dtype=float)
    if filled.shape != area.shape or not ((filled >= 0) & (filled <= 1)).all():
        raise InputError(f"incidence: occupied must be {len(area)} numbers within 0-1, one for each area.")
    if not (area > 0).all():
        raise InputError("incidence: every area must be above 0, as extinction is e / area^x.")
    flow = np.exp(-alpha * distance)
    np.fill_diagonal(flow, 0.0)
    coming = (flow @ (filled * area)) ** 2
    colonised = np.divide(coming, coming + y**2, out=np.zeros_like(coming), where=coming > 0)
    extinct = np.minimum(1.0, e / area**x)
    either = colonised + extinct - colonised * extinct
    return np.asarray(np.divide(colonised, either, out=np.zeros_like(either), where=colonised > 0))


def _checked(areas: ArrayLike, distances: ArrayLike) -> tuple[Floats, Floats]:
    area, distance = np.asarray(areas, dtype=float), np.asarray(distances, dtype=float)
    if area.ndim != 1 or distance.shape != (len(area), len(area)):
        raise InputError(
            f"metapopulation: {area.size} areas and distances of shape {distance.shape} do not fit: "
            "expected n areas and n x n distances."
        )
    if not (np.isfinite(area) & (area >= 0)).all() or not (distance >= 0).all():
        raise InputError("metapopulation: areas and distances must be numbers >= 0 (areas finite).")
    if not np.allclose(distance, distance.T, equal_nan=False):
        raise InputError("metapopulation: the distances are not symmetric.")
    return area, distance
