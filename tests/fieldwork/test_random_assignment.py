"""Treatments drawn at random in blocks of neighbours."""

from __future__ import annotations

import datetime
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from habitatmap.area import Area
from habitatmap.errors import InputError
from habitatmap.fieldwork.random_assignment import assign_at_random, read_treatments
from habitatmap.read.random_assignment import FILE, FOLDER, read_assignment
from habitatmap.read.settings import Settings
from habitatmap.reports.random_assignment import assignment_text, write_assignment
from habitatmap.words.catalogue import ENGLISH
from tests.examples import examples
from tests.words.spoken import OTHERS, left, recorder, same_texts

TWO = {"container": ["barrel", "bucket"]}


def sites_at(xy: list[tuple[float, float]]) -> pd.DataFrame:
    frame = pd.DataFrame(xy, columns=["x", "y"], dtype=float)
    frame.insert(0, "site", [f"S{i:02d}" for i in range(len(xy))])
    return frame


def test_neighbours_share_a_block() -> None:
    found = assign_at_random(sites_at([(0, 0), (900, 0), (10, 0), (910, 0), (0, 900), (0, 910)]), TWO)
    blocks = {tuple(sorted(b["site"])) for _, b in found.groupby("block")}
    assert blocks == {("S00", "S02"), ("S01", "S03"), ("S04", "S05")}
    assert all(sorted(b["container"]) == ["barrel", "bucket"] for _, b in found.groupby("block"))


@settings(max_examples=examples(25), deadline=None)
@given(n=st.integers(4, 25), seed=st.integers(0, 99), lost=st.integers(0, 3))
def test_every_site_once_and_every_block_whole(n: int, seed: int, lost: int) -> None:
    draw = np.random.default_rng(seed)
    sites = sites_at([(float(x), float(y)) for x, y in draw.random((n, 2)) * 1000])
    sites.loc[: lost - 1, ["x", "y"]] = np.nan
    found = assign_at_random(sites, TWO | {"shade": ["full", "open"]}, seed)
    assert sorted(found["site"]) == sorted(sites["site"])
    sizes = found.groupby("block")["treatment"].agg(["size", "nunique"])
    assert (sizes["size"] == sizes["nunique"]).all()
    assert sizes["size"].tolist() == [4] * (n // 4) + [n % 4] * (n % 4 > 0)
    shuffled = sites.sample(frac=1, random_state=seed)
    pd.testing.assert_frame_equal(found, assign_at_random(shuffled, TWO | {"shade": ["full", "open"]}, seed))


def test_chance_decides_and_its_seed_is_kept() -> None:
    sites = sites_at([(float(i), 0.0) for i in range(40)])
    one, again, other = (
        assign_at_random(sites, TWO, 1),
        assign_at_random(sites, TWO, 1),
        assign_at_random(sites, TWO, 2),
    )
    pd.testing.assert_frame_equal(one, again)
    assert (one["treatment"] != other["treatment"]).any()
    first = one.drop_duplicates("block")["treatment"]
    assert 4 <= (first == "barrel").sum() <= 16  # 20 blocks, a coin for each


def test_treatments_are_read_or_refused() -> None:
    assert read_treatments(["container=barrel, bucket", "filling=oak,beech,chips"]) == {
        "container": ["barrel", "bucket"],
        "filling": ["oak", "beech", "chips"],
    }
    for wrong in ("container", "container=", "container=barrel", "=a,b", "container=a,a"):
        with pytest.raises(InputError, match="container=barrel,bucket"):
            read_treatments([wrong])
    with pytest.raises(InputError, match="twice"):
        read_treatments(["a=b,c", "a=d,e"])


def test_too_few_sites_and_too_many_treatments() -> None:
    with pytest.raises(InputError, match="1 sites are too few for 2 treatments"):
        assign_at_random(sites_at([(0, 0)]), TWO)
    with pytest.raises(InputError, match="16 combinations"):
        assign_at_random(sites_at([(0, 0)]), {"a": list("pqrs"), "b": list("tuvw")})


@pytest.mark.parametrize("language", OTHERS)
def test_the_treatments_page_is_said_in_each_language(tmp_path: Path, language: str) -> None:
    sites = sites_at([(float(i), 0.0) for i in range(5)]).assign(place="Old Lane 7")
    drawn, spoken = assign_at_random(sites, TWO), recorder(language)
    area = cast(Area, SimpleNamespace(title="Quarry", as_of=datetime.date(2025, 3, 9), settings=Settings()))
    for name, said in (("en", ENGLISH), (language, spoken)):
        write_assignment(area, drawn.merge(sites, on="site"), TWO, 1, tmp_path / name, said)
    english, other = ((tmp_path / name / "random_assignment.html").read_text("utf-8") for name in ("en", language))
    records = {"Quarry", "Old Lane 7", "________", *sites["site"], *TWO["container"]}
    assert set(same_texts(english, other, records)) <= {"Site", "Block"}  # in some languages
    assert left(assignment_text(drawn, 1), assignment_text(drawn, 1, spoken), records) == []
    assert spoken.unsaid == set()
    tables = [(tmp_path / name / "random_assignment.csv").read_bytes() for name in ("en", language)]
    assert tables[0] == tables[1]


def test_the_table_is_read_back_with_semicolons_too(tmp_path: Path) -> None:
    sites = sites_at([(2.5 * i, 0.5) for i in range(4)]).assign(place="Old Lane 7; the yard")
    drawn = assign_at_random(sites, TWO).merge(sites, on="site")
    area = cast(Area, SimpleNamespace(title="Quarry", as_of=datetime.date(2025, 3, 9), settings=Settings()))
    pools, found = pd.DataFrame({"pool": sites["site"]}), []
    for name, semicolons in ((",", False), (";", True)):
        write_assignment(area, drawn, TWO, 1, tmp_path / name / FOLDER, ENGLISH, semicolons)
        head = (tmp_path / name / FOLDER / FILE).read_text("utf-8-sig").splitlines()[0]
        assert head.startswith(f"block{name}site{name}place")
        found.append(read_assignment(tmp_path / name, pools))
    assert found[0] is not None
    pd.testing.assert_frame_equal(found[0], found[1])
    assert len(found[0]) == 4
