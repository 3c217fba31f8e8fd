"""Sums over a kernel around cells, against sums cell by cell."""

from __future__ import annotations

import numpy as np
import pytest

from habitatmap.plan.correlate import correlate, correlate_part


def kernel(rng: np.random.Generator, r: int) -> np.ndarray:
    """Any kernel that is the same upside down and mirrored."""
    k = rng.random((2 * r + 1, 2 * r + 1))
    return (k + k[::-1] + k[:, ::-1] + k[::-1, ::-1]) / 4


def summed(values: np.ndarray, k: np.ndarray) -> np.ndarray:
    r = len(k) // 2
    wide = np.pad(values, r)
    return np.array(
        [[(k * wide[i : i + len(k), j : j + len(k)]).sum() for j in range(values.shape[1])] for i in range(len(values))]
    )


@pytest.mark.parametrize("seed", range(20))
def test_sums_by_transforms_are_those_cell_by_cell(seed: int) -> None:
    rng = np.random.default_rng(seed)
    values, k = rng.random(rng.integers(1, 30, 2)), kernel(rng, int(rng.integers(0, 6)))
    true = summed(values, k)
    np.testing.assert_allclose(correlate(values, k), true, atol=1e-12)
    (top, end), (left, right) = (np.sort(rng.choice(size + 1, 2, replace=False)) for size in values.shape)
    part = correlate_part(values, k, slice(top, end), slice(left, right))
    np.testing.assert_allclose(part, true[top:end, left:right], atol=1e-12)
