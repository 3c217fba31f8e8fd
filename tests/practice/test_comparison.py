"""What seemed to work: counts by hand, honest words, and no difference where there is none."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from habitatmap.practice.codes import Measure, NoRatio, Remark, Verdict
from habitatmap.practice.comparison import Comparison, compare, verdict
from habitatmap.survey import count_searches
from habitatmap.words.practice import reading, remarks

DAY = "2026-11-01"


def pools_of(**columns: list[object]) -> pd.DataFrame:
    n = len(next(iter(columns.values())))
    blank: dict[str, object] = {"container": "", "filling": "", "shade": "", "volume_l": np.nan}
    frame = pd.DataFrame({"pool": [f"P{i:02d}" for i in range(n)], "set_out": pd.NaT, **blank} | columns)
    return frame.astype({"set_out": "datetime64[s]", "volume_l": float})


def visits_of(found: list[list[int]], larvae: float = np.nan, taxon: str = "", checked: str = "") -> pd.DataFrame:
    """found[i]: 1 and 0 for each search at pool i."""
    rows = [
        (f"P{i:02d}", f"2026-0{4 + k}-01", "larvae" if hit else "none seen", larvae if hit else np.nan)
        for i, looks_at in enumerate(found)
        for k, hit in enumerate(looks_at)
    ]
    frame = pd.DataFrame(rows, columns=["pool", "date", "outcome", "larvae"])
    return frame.assign(date=pd.to_datetime(frame["date"]), taxon=taxon, checked=checked, action="", note="")


def compared(pools: pd.DataFrame, visits: pd.DataFrame, blocks: pd.DataFrame | None = None) -> Comparison:
    return compare(pools, visits, count_searches(visits, pools, DAY), blocks)


def row_of(found: Comparison, measure: str) -> pd.Series:
    rows = found.differences[found.differences["measure"] == measure]
    assert len(rows) == 1
    return rows.iloc[0]


def test_counts_by_hand() -> None:
    pools = pools_of(container=["Bucket", "bucket ", " bucket", "tub", ""])
    visits = visits_of([[1, 0], [0], [1, 1], [0, 0], [1]], larvae=3)
    level = compared(pools, visits).levels.set_index("level")
    assert list(level.index) == ["bucket", "tub"]  # case and blanks make no other bucket; not given is no level
    assert level.loc["bucket", ["pools", "searches", "pools_with", "searches_with", "counted"]].tolist() == [
        3,
        5,
        2,
        3,
        3,
    ]
    assert level.loc["bucket", "larvae_per_search"] == pytest.approx(9 / 5)
    assert level.loc["tub", "share"] == 0
    assert "not given for 1 of 5" in " ".join(remarks(compared(pools, visits)))


def test_a_clear_difference_is_told_and_its_size_is_right() -> None:
    pools = pools_of(container=["bucket"] * 20 + ["tub"] * 20)
    found = [[1, 1, 0]] * 17 + [[0, 0, 0]] * 3 + [[1, 0, 0]] * 3 + [[0, 0, 0]] * 17
    told = compared(pools, visits_of(found, larvae=4))
    share = row_of(told, Measure.SHARE)
    assert (share["level"], share["other"]) == ("tub", "bucket")
    assert share["estimate"] == pytest.approx(3 / 20 - 17 / 20)
    assert share["verdict"] is Verdict.LESS
    assert share["low_all"] < share["low"] < share["high"] < share["high_all"] < 0
    # one search more or less by hand: 3 of 60 against 34 of 60
    assert row_of(told, Measure.ODDS)["estimate"] == pytest.approx((3 / 57) / (34 / 26), rel=1e-6)
    assert row_of(told, Measure.COUNT)["estimate"] == pytest.approx(3 / 34, rel=1e-3)
    assert told.comparisons == 3
    assert "3 comparisons" in " ".join(remarks(told))
    # by hand from Wilson's limits of 17 of 20 (0.640 to 0.948) and of 3 of 20 (0.052 to 0.360): -0.7 - 0.138, + 0.298
    said = "Container: tub, against bucket: less (share of pools with larvae: -70 points, 95 % interval -84 to -40)."
    assert said in reading(told)


def test_cannot_be_told_apart() -> None:
    pools = pools_of(shade=["full"] * 8 + ["open"] * 8)
    told = compared(pools, visits_of([[1, 0], [0, 0]] * 8))
    assert row_of(told, Measure.SHARE)["verdict"] is Verdict.ALIKE
    assert row_of(told, Measure.ODDS)["verdict"] is Verdict.ALIKE
    assert reading(told)[0].startswith(
        "2 comparisons, not one difference is distinguishable. Pools were not assigned at "
    )


def test_unequal_looks_are_said() -> None:
    pools = pools_of(shade=["full"] * 8 + ["open"] * 8)
    told = compared(pools, visits_of([[1, 0, 0, 0], [0, 0, 0, 0]] * 4 + [[0], [1]] * 4))
    assert any("trust the odds per search" in remark for remark in remarks(told))
    assert Remark.UNEQUAL not in [one.code for one in compared(pools, visits_of([[1, 0], [0, 0]] * 8)).remarks]


def test_separation_gives_words_and_no_number() -> None:
    pools = pools_of(container=["bucket"] * 10 + ["tub"] * 9)
    told = compared(pools, visits_of([[1, 0]] * 10 + [[0, 0]] * 9, larvae=2))
    for measure in (Measure.ODDS, Measure.COUNT):
        row = row_of(told, measure)
        assert np.isnan(row[["estimate", "low", "high", "low_all", "high_all"]].to_numpy(float)).all()
        assert row["verdict"].values == {"level": "tub"}
    assert np.isfinite(row_of(told, Measure.SHARE)["low"])


def test_volume_that_parts_finds_from_blanks() -> None:
    pools = pools_of(volume_l=[5.0] * 6 + [20.0] * 6)
    told = compared(pools, visits_of([[0, 0]] * 6 + [[1, 1]] * 6))
    assert row_of(told, Measure.ODDS)["verdict"].code is NoRatio.SEPARATED
    mixed = compared(pools, visits_of([[0, 0]] * 5 + [[1, 1]] * 5 + [[0, 1]] * 2))
    assert row_of(mixed, Measure.ODDS)["estimate"] > 1


def test_a_find_without_a_number_is_no_zero() -> None:
    pools = pools_of(container=["bucket"] * 12 + ["tub"] * 12)
    visits = visits_of([[1, 0]] * 24, larvae=3)
    visits.loc[0, "larvae"] = np.nan
    told = compared(pools, visits)
    assert told.levels.set_index("level").at["bucket", "counted"] == 11
    assert any("1 pool with larvae but without their number" in remark for remark in remarks(told))


def test_too_few_pools_are_not_compared() -> None:
    told = compared(pools_of(container=["bucket"] * 9 + ["tub"] * 4), visits_of([[1], [0]] * 6 + [[1]]))
    assert told.differences.empty
    assert any("tub: fewer than 5" in remark for remark in remarks(told))
    assert compared(pools_of(container=["a"]), visits_of([[]])).levels.empty


def test_species_count_checked_finds_only() -> None:
    pools = pools_of(container=["bucket"] * 3)
    visits = visits_of([[1, 1], [1], [1]], taxon="Myathropa florea", checked="yes")
    visits.loc[3, "checked"] = "no"
    assert compared(pools, visits).species.to_dict("records") == [
        {"factor": "container", "level": "bucket", "taxon": "Myathropa florea", "pools": 2}
    ]


def test_blocks_compare_neighbours_on_as_many_searches() -> None:
    pools = pools_of(container=["barrel", "bucket"] * 6)
    # the barrel of each pair has a second search with larvae, which its neighbour never had: it must not count
    visits = visits_of([[0, 1], [0]] * 4 + [[1, 0], [0]] * 2)
    blocks = pd.DataFrame({"pool": pools["pool"], "block": np.repeat(range(6), 2), "treatment": pools["container"]})
    row = row_of(compared(pools, visits, blocks), Measure.PAIRED)
    assert (row["level"], row["other"]) == ("bucket", "barrel")
    assert row["estimate"] == pytest.approx(-2 / 6)


def test_row_order_changes_nothing() -> None:
    draw = np.random.default_rng(4)
    pools = pools_of(container=list(draw.choice(["a", "b"], 30)), volume_l=list(draw.choice([5.0, 8, 20], 30)))
    visits = visits_of([list(draw.integers(0, 2, 3)) for _ in range(30)], larvae=5)
    shuffled = visits.sample(frac=1, random_state=1).reset_index(drop=True)
    pd.testing.assert_frame_equal(compared(pools, visits).differences, compared(pools, shuffled).differences)


def test_verdicts() -> None:
    assert verdict(0.2, (-0.1, 0.4), (-0.2, 0.5), 0) is Verdict.ALIKE
    assert verdict(0.2, (0.1, 0.4), (-0.1, 0.5), 0) is Verdict.MORE_ALONE
    assert verdict(0.5, (0.2, 0.8), (0.1, 0.9), 1) is Verdict.LESS


@pytest.mark.slow
def test_no_difference_is_rarely_called_one() -> None:
    """Pools whose make has no effect: in 300 towns, the share in which any comparison is called more or less."""
    wrong, alone = 0, []
    for seed in range(300):
        draw = np.random.default_rng(seed)
        occupied = draw.random(45) < 0.5
        found = [list((draw.random(draw.integers(1, 4)) < 0.5) & here) for here in occupied]
        pools = pools_of(
            container=list(draw.choice(["a", "b", "c"], 45)),
            filling=list(draw.choice(["k", "l"], 45)),
            volume_l=list(draw.choice([5.0, 8, 10, 20], 45)),
        )
        visits = visits_of(found)
        hits = visits["outcome"] == "larvae"
        visits["larvae"] = np.where(hits, 1 + draw.negative_binomial(1, 0.2, len(visits)), np.nan)
        told = compared(pools, visits).differences.dropna(subset="low")
        wrong += told["verdict"].isin([Verdict.MORE, Verdict.LESS]).any()
        alone += list(told["verdict"] != Verdict.ALIKE)
    print(f"called a difference in {wrong / 300:.1%} of towns; 95 % intervals exclude none in {np.mean(alone):.1%}")
    assert wrong / 300 < 0.1
    assert np.mean(alone) < 0.08
