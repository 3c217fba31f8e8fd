"""Taking places out of larger networks: the quick way against the plain one, in any number of pieces."""

from __future__ import annotations

import sys

import numpy as np
import pandas as pd
import pytest

from habitatmap.network import connectivity, equivalent_connectivity, links
from habitatmap.network.connectivity import Connectivity


def town(seed: int, n: int) -> tuple[np.ndarray, pd.DataFrame]:
    rng = np.random.default_rng(seed)
    return rng.random(n), pd.DataFrame(rng.uniform(0, 3000, (n, 2)), columns=["x", "y"])


@pytest.mark.parametrize("seed", range(3))
def test_loss_is_the_pair_sum_without_the_place(seed: int) -> None:
    a, places = town(seed, 60)
    p = links(places, 700, 500)
    whole = connectivity(a, p)
    for k in range(0, 60, 7):
        keep = np.arange(60) != k
        without = equivalent_connectivity(a[keep], p[keep][:, keep]) ** 2
        loss = 100 * (whole.pair_sum - without) / whole.pair_sum
        assert whole.importance["loss"].iloc[k] == pytest.approx(loss, abs=1e-9)


def test_rows_in_small_bites_give_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    a, places = town(4, 90)
    p = links(places, 700, 500)
    whole = connectivity(a, p)
    # the package has a function of the module's name
    monkeypatch.setattr(sys.modules["habitatmap.network.connectivity"], "ROWS_AT_ONCE_CELLS", 700)
    bites = connectivity(a, p)
    assert isinstance(bites, Connectivity)
    assert bites.pair_sum == pytest.approx(whole.pair_sum, rel=1e-14)
    assert bites.importance.to_numpy() == pytest.approx(whole.importance.to_numpy(), rel=1e-12)
