"""Covariates from the records, lined up with the searches."""

from __future__ import annotations

import numpy as np
import pandas as pd

from habitatmap.survey import compare_models, count_searches, fit_occupancy
from habitatmap.survey.codes import Lacking
from habitatmap.survey.covariates import covariates
from habitatmap.vocabulary.note import note


def town(pools: int = 24) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Made-up pools in two kinds of shade, three searches each by two people and once by a stranger."""
    rng = np.random.default_rng(6)
    frame = pd.DataFrame(
        {
            "pool": [f"made up {i:02d}" for i in range(pools)],
            "set_out": pd.to_datetime(["2025-10-01", "2026-05-20"] * (pools // 2)),
            "shade": ["deep", "light"] * (pools // 2),
            "container": "bucket",
            "filling": ["leaves"] * 10 + [""] * (pools - 10),
            "volume_l": [5.0] * 10 + [np.nan] * (pools - 10),
        }
    )
    rows = []
    for name, shade in zip(frame["pool"], frame["shade"], strict=True):
        occupied = rng.random() < (0.8 if shade == "deep" else 0.3)
        for k, day in enumerate(["2026-06-01", "2026-07-01", "2026-10-02"]):
            rows.append((name, day, "larvae" if occupied and rng.random() < 0.7 else "none seen", ["ann", "bo", ""][k]))
    visits = pd.DataFrame(rows, columns=["pool", "date", "outcome", "observer"])
    visits.loc[5, "observer"] = "a stranger"
    return frame, visits.assign(date=pd.to_datetime(visits["date"]))


def test_they_stand_beside_their_searches() -> None:
    pools, visits = town()
    seen = count_searches(visits, pools, "2026-11-01")
    got = covariates(seen, pools, visits)
    assert got.site.columns.tolist() == ["shade", "filling", "age_days"]
    assert got.site["filling"].tolist() == ["leaves"] * 10 + ["not given"] * 14
    assert got.site["age_days"][:2].tolist() == [243, 12]
    assert got.visit["month"][0].tolist() == ["06", "07", "10"]
    assert got.visit["days_out"][1].tolist() == [12, 42, 135]
    assert got.visit["observer"][1].tolist() == ["ann", "bo", "other"]
    assert got.left_out == [
        ("psi", "container", note(Lacking.VARIATION)),
        ("psi", "volume_l", note(Lacking.COVARIATE, n=14, of=24)),
    ]


def test_the_order_of_visits_does_not_matter() -> None:
    pools, visits = town()
    mixed = visits.sample(frac=1, random_state=1)
    plain = covariates(count_searches(visits, pools, "2026-11-01"), pools, visits)
    got = covariates(count_searches(mixed, pools, "2026-11-01"), pools, mixed)
    pd.testing.assert_frame_equal(got.site, plain.site)
    assert all((got.visit[k] == plain.visit[k]).all() for k in plain.visit)


def test_their_models_can_be_compared() -> None:
    pools, visits = town()
    seen = count_searches(visits, pools, "2026-11-01")
    got = covariates(seen, pools, visits, pd.DataFrame({"forage": np.linspace(0, 1, 24)}))
    table = compare_models(seen.histories, got.site, got.visit, got.models())
    assert len(table) == 1 + 4 + 3
    assert table["psi"].tolist().count("forage") == 1
    fit = fit_occupancy(seen.histories, got.site[["shade"]])
    assert fit.psi[0] > fit.psi[1]


def test_no_look() -> None:
    pools, visits = town()
    got = covariates(count_searches(visits[:0], pools, "2026-11-01"), pools, visits[:0])
    assert got.site.columns.tolist() == []
    assert got.visit == {}
    assert got.models() == [([], [])]
