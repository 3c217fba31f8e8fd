"""What a council says about its plan, through the whole job: whom to ask, decided sites, quotas, a budget, gardens."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from shapely.geometry import box

import habitatmap
from habitatmap.plan.bound import Ended
from habitatmap.plan.candidates import Lost
from habitatmap.plan.consent_priorities import about_owner
from habitatmap.result import Result
from habitatmap.result.figures import Spending
from habitatmap.words.plan import notes_of, plan_note
from habitatmap.words.tables import told_plan
from tests.areas import CRS, LEFT, TOP, centre, class_table, write_area

TABLE = class_table({1: 0.0, 2: 0.25, 3: 0.5, 4: 1.0})
TOML = """
[flight]
forage_median_m = 60
[occupancy]
existing = 0.6
new = 0.5
"""


CELL_M = 20.0


def ground(row0: int, row1: int, col0: int, col1: int) -> shapely.Polygon:
    """The cells of some rows and columns."""
    return box(LEFT + CELL_M * col0, TOP - CELL_M * row1, LEFT + CELL_M * col1, TOP - CELL_M * row0)


# name, owner, kind, consent, private, ground: stripes of 3 rows of 18 cells
LAND: list[tuple[str, str, str, str, str, shapely.Polygon]] = [
    ("North Park", "town", "park", "yes", "no", ground(0, 3, 0, 18)),
    ("Church meadow", "church", "meadow", "ask", "no", ground(3, 6, 0, 18)),
    ("Glebe", "church", "meadow", "ask", "no", ground(6, 9, 0, 9)),
    ("Railway bank", "", "verge", "ask", "no", ground(6, 9, 9, 18)),
    ("Old quarry", "", "quarry", "no", "no", ground(9, 12, 0, 18)),
    ("South Park", "town", "park", "yes", "no", ground(12, 15, 0, 18)),
    *((f"Garden {n}", "", "garden", "yes", "yes", ground(15, 18, n * 3, n * 3 + 3)) for n in range(6)),
]


def made(
    folder: Path, plan: str = "", committed: str = "", consents: dict[str, str] | None = None, **how: Any
) -> Result:
    """The result for an invented square of land, with some lines under [plan]."""
    classes = np.kron(np.random.default_rng(5).integers(1, 5, (9, 9)), np.ones((2, 2))).astype(np.uint8)
    write_area(
        folder,
        classes,
        TABLE,
        pools=[("P", *centre(1, 1, CELL_M))],
        toml=f"{TOML}\n[plan]\nspacing_m = 50\n{plan}",
        cell_m=CELL_M,
        **how,
    )
    frame = gpd.GeoDataFrame(
        [row[:5] for row in LAND],
        columns=["name", "owner", "kind", "consent", "private"],
        geometry=[r[5] for r in LAND],
    ).set_crs(CRS)
    for name, consent in (consents or {}).items():
        frame.loc[(frame["name"] == name) | (frame["owner"] == name), "consent"] = consent
    frame.to_file(folder / "land.gpkg")
    if committed:
        (folder / "committed.csv").write_text(committed, encoding="utf-8")
    return habitatmap.run(habitatmap.open_area(folder), public=False)


def zone_cells(zone: shapely.Geometry, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Which cells of the frame lie in the zone."""
    return np.asarray(shapely.contains_xy(zone, x, y))


def with_plan(result: Result) -> float:
    return float(result.figures.forage_in_reach.with_plan)


@pytest.mark.parametrize("consent", ['["yes", "ask"]', '["yes"]'])
def test_what_each_yes_adds_is_the_difference_of_two_reruns(tmp_path: Path, consent: str) -> None:
    plan = f"pools = 6\nconsent = {consent}"
    asks = made(tmp_path / "now", plan).ask_first
    assert set(asks["place"]) <= {"Church meadow, Glebe", "Railway bank"}
    assert len(asks)
    assert asks["adds"].is_monotonic_decreasing
    for row in asks.head(1).itertuples():
        whom = "church" if row.place.startswith("Church") else row.place
        yes, no = (with_plan(made(tmp_path / w / whom, plan, consents={whom: w})) for w in ("yes", "no"))
        assert row.adds == pytest.approx(yes - no, abs=1e-12)
        assert (row.reach_yes, row.reach_no) == pytest.approx((yes, no), abs=1e-12)


def test_what_is_told_of_an_owner_s_land() -> None:
    land = gpd.GeoDataFrame(
        {"name": ["Glebe", "", "Glebe"], "kind": ["meadow", "verge", "meadow"], "private": ["no", "yes", "no"]},
        geometry=[box(0, 0, 100, 100), box(0, 0, 100, 50), box(0, 0, 10, 100)],
    )
    told = about_owner(land.assign(place=["Glebe", "verge", "Glebe"]), "church")
    about = {"place": "Glebe, verge", "kind": "meadow, verge", "private": "yes", "area_ha": pytest.approx(1.6)}
    assert told == about | {"owner": "church"}
    assert about_owner(land.head(1).assign(place=""), "church")["private"] == "no"
    assert about_owner(land.head(1).assign(place=""), "church")["place"] == "church"


def test_nobody_to_ask(tmp_path: Path) -> None:
    agreed = {"church": "yes", "Railway bank": "yes"}
    assert made(tmp_path, "pools = 3", consents=agreed).ask_first.empty


WANTED = "name,x,y\nBy the gate,{},{}\nQuarry floor,{},{}\n".format(*centre(13, 3, CELL_M), *centre(10, 12, CELL_M))


def test_decided_sites_come_first_and_are_marked(tmp_path: Path) -> None:
    result = made(tmp_path, "pools = 5", WANTED)
    plan = result.plan
    assert plan["committed"].tolist() == ["yes", "yes", "no", "no", "no"]
    first = {tuple(xy) for xy in plan[["x", "y"]].head(2).to_numpy()}
    assert first == {centre(13, 3, CELL_M), centre(10, 12, CELL_M)}
    told = told_plan(plan, result.settings)
    quarry = plan[[where.inside == "Old quarry" for where in plan["place"]]].iloc[0]
    assert str(quarry["not_allowed"]) == "excluded: quarry"
    assert told["could_be_wrong"].iloc[quarry["rank"] - 1].startswith("The plan would not have put a pool here")
    assert told["reason"].head(2).str.startswith("A pool on this committed site").all()
    assert plan["robustness"].head(2).isna().all()  # it is no finding that they stay
    assert plan["robustness"].iloc[2:].notna().all()
    assert result.figures.plan.committed == 2
    reach = result.figures.forage_in_reach
    assert reach.now <= reach.with_plan <= reach.upper_bound
    assert plan["cumulative"].iloc[-1] == pytest.approx(reach.with_plan, abs=1e-12)
    apart = np.hypot(*(plan[["x", "y"]].to_numpy()[:, None] - plan[["x", "y"]].to_numpy()).T)
    assert apart[~np.eye(5, dtype=bool)].min() >= 50


def test_a_decided_site_beyond_the_map_is_said(tmp_path: Path) -> None:
    result = made(tmp_path, "pools = 2", f"name,x,y\nFar away,{LEFT - 90_000},{TOP}\n")
    assert (result.plan["committed"] == "no").all()
    assert any("1 of 1 committed sites are not in the plan" in note for note in notes_of(result.figures))


def test_quotas_of_places_and_owners(tmp_path: Path) -> None:
    plan = """pools = 8
[plan.quota]
per_place = 2
per_owner = 3
by_name = { "North Park" = 1, "Nowhere" = 2 }"""
    result = made(tmp_path, plan)
    ground = pd.Series([where.inside for where in result.plan["place"]])
    count = ground.value_counts()
    owner = dict.fromkeys(("North Park", "South Park"), "town") | dict.fromkeys(("Church meadow", "Glebe"), "church")
    assert count.max() <= 2
    assert count.get("North Park", 0) <= 1
    assert ground.map(owner).value_counts().max() <= 3
    assert any('"Nowhere", but no land has that name' in note for note in notes_of(result.figures))


def test_a_budget_in_place_of_a_number(tmp_path: Path) -> None:
    plan = 'budget = 500\ncost_per_site = 150\ncost_by_kind = { meadow = 80 }\ncost_unit = "EUR"'
    result = made(tmp_path, plan)
    costs = np.array([80.0 if where.inside in ("Church meadow", "Glebe") else 150.0 for where in result.plan["place"]])
    assert result.plan["cost"].tolist() == costs.tolist()
    said = result.figures.plan
    assert said.spending == Spending(500.0, costs.sum(), "EUR")
    assert costs.sum() <= 500
    assert costs.sum() + 80 > 500
    reach = result.figures.forage_in_reach
    assert reach.with_plan <= reach.upper_bound
    assert said.share_of_bound > 0.8
    assert said.bound_ended in [*Ended]


def test_on_private_land_a_zone_and_never_a_garden(tmp_path: Path) -> None:
    consents = dict.fromkeys(("town", "church", "Railway bank"), "no")
    result = made(tmp_path / "a", "pools = 3\nprivate = true", consents=consents)
    assert (result.plan["private"] == "yes").all()
    assert result.plan[["x", "y", "lon", "lat"]].isna().all().all()
    zone = result.zones.geometry.iloc[0]
    assert ((shapely.get_coordinates(zone) / 250) % 1 == 0).all()  # whole squares, wherever in them the site is
    gardens = [row[5] for row in LAND if row[4] == "yes"]
    assert sum(zone.intersects(garden) for garden in gardens) >= 3
    # the raster shows each pool in the middle of its square: it rises towards there, not towards a garden
    risen = (1 - result.rasters["reach_with_plan"]) / (1 - result.rasters["reach_now"])
    row, col = np.unravel_index(int(np.nanargmin(risen)), risen.shape)
    rows, cols = np.indices(risen.shape)
    x, y = centre(rows, cols, CELL_M)
    off = np.hypot(x % 250 - 125, y % 250 - 125)
    assert off[row, col] == off[zone_cells(zone, x, y)].min()


def test_the_zone_of_a_public_spot_leaves_gardens_out(tmp_path: Path) -> None:
    result = made(tmp_path, "pools = 6\nprivate = true")
    gardens = shapely.union_all([row[5] for row in LAND if row[4] == "yes"])
    public = result.zones[result.zones["private"] == "no"]
    assert len(public)
    assert public.geometry.intersection(gardens).area.max() == pytest.approx(0)
    assert (public["area_ha"] >= 0.01).all()


def test_gains_have_an_interval_and_assumptions_are_weighed(tmp_path: Path) -> None:
    result = made(tmp_path, "pools = 3")
    plan = told_plan(result.plan, result.settings)
    assert (plan["gain_low"] <= plan["gain"]).all()
    assert (plan["gain"] <= plan["gain_high"]).all()
    assert plan["could_be_wrong"].str.len().min() > 20
    rows = result.sensitivity
    assert rows["assumption"].iloc[0] == "none"
    assert rows["kept"].iloc[0] == 1.0
    assert rows["with_plan"].iloc[0] == pytest.approx(with_plan(result))


def test_a_plan_for_the_network_says_what_it_does_not_know(tmp_path: Path) -> None:
    result = made(tmp_path, 'pools = 3\nobjective = "connectivity"')
    plan, said = told_plan(result.plan, result.settings), result.figures.plan
    assert said.objective == "connectivity"
    assert math.isnan(said.share_of_bound)
    assert said.bound_ended == ""
    assert "no share of the best possible" in plan_note(said)
    assert (plan["ec_gain"] > 0).all()
    assert plan["reason"].str.contains("equivalent connectivity").all()
    assert plan["cumulative"].iloc[-1] == pytest.approx(with_plan(result))
    assert result.figures.network.ec_with_plan > result.figures.network.ec_now


def test_a_committed_site_without_consent_is_doubted_by_its_reason(tmp_path: Path) -> None:
    """The reason stays a code: pandas makes text of StrEnum members, which words would not know as a reason."""
    x, y = centre(13, 3, CELL_M)
    result = made(tmp_path, "pools = 2", f"name,x,y\nSouth,{x},{y}\n", consents={"South Park": "no"})
    first = result.plan.iloc[0]
    assert first["not_allowed"] is Lost.NO_CONSENT
    told = told_plan(result.plan, result.settings).iloc[0]
    assert "the plan would not have put a pool here (no consent)" in told["reason"]
    assert told["could_be_wrong"].startswith("The plan would not have put a pool here")
