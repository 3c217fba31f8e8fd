"""`habitatmap rounds` and `survey --assign` as a user meets them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from habitatmap.cli.main import commands
from habitatmap.errors import InputError
from tests.demo import copy_records


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    """The demo town's records without its land cover, which rounds can do without."""
    return copy_records(tmp_path / "town", "paths.geojson")


def call(*words: object) -> Result:
    return CliRunner().invoke(commands, [str(word) for word in words], catch_exceptions=True)


def test_rounds_of_the_demo_town(demo: Path) -> None:
    before = sorted(path.name for path in demo.iterdir())
    said = call("rounds", demo, "--week", "2026-W20", "--people", 6, "--json")
    assert said.exit_code == 0, said.output
    found = json.loads(said.stdout)
    assert found["due"] == found["standing"] == 45
    assert sorted(person["pools"] for person in found["people"]) == [7, 7, 7, 8, 8, 8]
    stops = [stop["pool"] for person in found["people"] for stop in person["stops"]]
    assert len(set(stops)) == 45
    assert not {"Q09", "Q14", "Q32", "Q37"} & set(stops)  # lost or taken in
    assert sorted(path.name for path in demo.iterdir()) == sorted([*before, "rounds"])
    assert len(list((demo / "rounds").iterdir())) == 5 + 3 * 6


def test_a_pool_lost_today_drops_out_today(demo: Path) -> None:
    def stops() -> set[str]:
        found = json.loads(call("rounds", demo, "--week", "2025-W42", "--json", "--semicolons").stdout)
        return {stop["pool"] for person in found["people"] for stop in person["stops"]}

    before = stops()
    with (demo / "visits.csv").open("a", encoding="utf-8") as file:
        file.write("Q01,2025-10-15,gone,,,,,volunteer 1,\n")  # as_of is that day
    assert before - stops() == {"Q01"}
    head = (demo / "rounds" / "rounds.csv").read_bytes().splitlines()[0]
    assert head.startswith(b"\xef\xbb\xbf"), "programs with a decimal comma open it with its columns"
    assert head.count(b";") > 3 > head.count(b",")


def test_the_default_week_is_that_of_the_data(demo: Path) -> None:
    assert "2025-W42" in call("rounds", demo).stdout  # as_of 2025-10-15


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--week", "2026-W60"], "there is no such week"),
        (["--week", "next"], "such as 2026-W20"),
        (["--people", "Nobody Known"], "nobody of this name"),
        (["--people", "volunteer 33"], "did you mean volunteer 3"),
        (["--people", "0"], "whole number from 1"),
    ],
)
def test_faults_are_a_sentence_and_write_nothing(demo: Path, words: list[str], sentence: str) -> None:
    said = call("rounds", demo, *words)
    assert isinstance(said.exception, InputError)
    assert sentence in str(said.exception)
    assert "\n" not in str(said.exception)
    assert not (demo / "rounds").exists()


def test_settings_are_checked(demo: Path) -> None:
    toml = (demo / "area.toml").read_text(encoding="utf-8")
    for line, sentence in (
        ("visit_days = 0", "rounds.visit_days"),
        ('hot_weeks = ["July"]', "rounds.hot_weeks July"),
        ("vist_days = 3", "did you mean rounds.visit_days"),
        ('share_by = "lot"', "last visitor"),
    ):
        (demo / "area.toml").write_text(f"{toml}\n[rounds]\n{line}\n", encoding="utf-8")
        assert sentence in str(call("rounds", demo).exception)


def test_a_random_assignment_is_drawn_once_and_read_back(demo: Path) -> None:
    (demo / "out").mkdir()
    lines = ["rank,place,x,y", *(f"{i},Park,{401000 + 200 * i},6002000" for i in range(1, 9))]
    (demo / "out" / "plan.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    said = call("survey", demo, "--assign", "--treatments", "container=barrel,bucket")
    assert said.exit_code == 0, said.output
    assert "8 sites in 4 blocks of 2 neighbours each, assigned at random with seed 1" in said.stdout
    again = call("survey", demo, "--assign", "--treatments", "container=barrel,bucket", "--seed", 2)
    assert "is not random" in str(again.exception)
    # pools are set out on the sites, and two seasons later compared within their blocks
    file = demo / "random_assignment" / "random_assignment.csv"
    rows = file.read_text(encoding="utf-8").splitlines()
    head = rows[0].split(",").index("pool")
    for i, row in enumerate(rows[1:], 1):
        cells = row.split(",")
        cells[head] = f"Q{20 + i}"
        rows[i] = ",".join(cells)
    file.write_text("\n".join(rows) + "\n", encoding="utf-8")
    from habitatmap.area import open_area
    from habitatmap.read.random_assignment import read_assignment

    blocks = read_assignment(demo, open_area(demo).pools)
    assert blocks is not None
    assert sorted(blocks["pool"]) == [f"Q{20 + i}" for i in range(1, 9)]
    assert blocks.groupby("block")["treatment"].nunique().tolist() == [2] * 4


def test_the_old_folder_of_an_assignment_is_refused_with_the_new_name(demo: Path) -> None:
    (demo / "allotment").mkdir()
    (demo / "allotment" / "allotment.csv").write_text("site,block,treatment\n", encoding="utf-8")
    said = call("survey", demo)
    assert "allotment/allotment.csv is named random_assignment/random_assignment.csv now" in str(said.exception)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--assign"], "--assign needs --treatments"),
        (["--seed", "3"], "go with --assign"),
        (["--allot", "--treatments", "container=a,b"], "--allot is now called --assign"),
        (["--assign", "--treatments", "container"], "container=barrel,bucket"),
        (["--assign", "--treatments", "container=a,b"], "run habitatmap map first"),
        (["--assign", "--treatments", "container=a,b", "--sites", "pools.csv"], "pools.csv is not there"),
    ],
)
def test_faults_of_a_random_assignment(demo: Path, words: list[str], sentence: str) -> None:
    said = call("survey", demo, *words)
    assert sentence in said.output + str(said.exception)
    assert not (demo / "random_assignment").exists()
