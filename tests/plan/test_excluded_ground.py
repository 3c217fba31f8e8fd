"""Ground where no pool can stand, from the folder to the plan: a park of 200 m with a pitch, a cemetery beside it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from shapely.geometry import Polygon, box

import habitatmap
from habitatmap.export.summary import summary_of
from habitatmap.plan.candidates import ExcludedUse
from habitatmap.result import Result
from habitatmap.words.headline import headline
from tests.areas import LEFT, TOP, area_folder, centre, class_table, csv_text, write_area, write_layer

PITCH = box(LEFT + 50, TOP - 150, LEFT + 150, TOP - 50)


def strip(west: float, east: float) -> Polygon:
    return box(LEFT + west, TOP - 200, LEFT + east, TOP)


def mapped(folder: Path, **files: str) -> Result:
    """The park's only forage lies on its pitch, so that a plan would put a pool there if it might."""
    values = np.ones((20, 40), np.uint8)
    values[5:15, 5:15] = 2
    toml = "[plan]\npools = 3\nspacing_m = 30"
    area = write_area(folder / "park", values, class_table({1: 0.01, 2: 1.0}), toml=toml)
    write_layer(
        area / "land.gpkg",
        [strip(0, 200), PITCH, strip(200, 400), strip(300, 400)],
        name=["Green", "Ball ground", "Rest", "Fen"],
        kind=["park", "Sportplatz", "cemetery", "nature reserve"],
        consent=["yes", "yes", "yes", "ask"],
    )
    return habitatmap.run(habitatmap.open_area(area_folder(area, **files)), public=False)


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Result:
    return mapped(tmp_path_factory.mktemp("excluded"))


def test_the_plan_leaves_the_pitch_alone_whoever_agreed(result: Result) -> None:
    assert result.figures.candidates.lost["excluded: pitch"] == 100
    assert len(result.plan) == 3
    x, y = result.plan["x"], result.plan["y"]
    assert not ((x - LEFT).between(50, 150) & (TOP - y).between(50, 150)).any()


def test_a_committed_site_on_a_pitch_is_kept_and_doubted(tmp_path: Path) -> None:
    site = csv_text("name,x,y", [("Goal", *centre(10, 10))])
    plan = mapped(tmp_path, committed=site).plan
    assert plan["committed"].tolist()[0] == "yes"
    assert plan["not_allowed"].iloc[0] == ExcludedUse("pitch")


def test_who_must_agree_besides_stands_beside_the_site(tmp_path: Path) -> None:
    sites = csv_text("name,x,y", [("A", *centre(10, 2)), ("B", *centre(10, 25)), ("C", *centre(10, 35))])
    plan = mapped(tmp_path, committed=sites).plan
    asked = dict(
        zip((where.inside for where in plan["place"]), zip(plan["consent"], plan["also_ask"], strict=True), strict=True)
    )
    assert asked["Green"] == ("yes", "")
    assert asked["Rest"] == ("yes", "the cemetery authority")
    assert asked["Fen"] == ("ask", "the cemetery authority; the nature conservation authority")


def test_classes_with_much_of_the_forage_are_named_with_what_they_rest_on(result: Result) -> None:
    """By hand: 100 cells of 1.0 and 700 of 0.01, of which the first hold 100 / 107."""
    found = summary_of(result)["dominant"]
    assert found == [{"class": "class 2", "share": pytest.approx(100 / 107), "basis": "expert judgement"}]
    assert "class 2 93 % (expert judgement)" in headline(result.figures)
