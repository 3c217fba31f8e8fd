"""The plan as work in hand: what somebody writes in plan_status.xlsx is kept, and the next map goes by it."""

from __future__ import annotations

import datetime
import json
import shutil
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from openpyxl import load_workbook
from shapely import Point, box

import habitatmap
from habitatmap.area import Area, blurred, open_area
from habitatmap.export.formats import geojson_text, in_degrees
from habitatmap.export.plan_status import write_plan_status
from habitatmap.export.summary import summary_of
from habitatmap.export.worked import found_before
from habitatmap.geo.crs import to_lonlat
from habitatmap.privacy import SQUARE_M, middle_of_square
from habitatmap.read.plan_status import NEAR_SITE_M, sites_in
from habitatmap.read.pools import standing
from habitatmap.read.site_words import state_of
from habitatmap.read.status_list import FILE, HELP, LIST
from habitatmap.vocabulary.catalogues import LANGUAGES, word_in
from habitatmap.vocabulary.terms import SiteState
from habitatmap.words.reasons import reason
from tests.areas import CRS, LEFT, TOP, centre, class_table, csv_text, write_area
from tests.commands import habitatmap as command

ROWS, COLS = 60, 90
MEADOWS = box(LEFT, TOP - 600, LEFT + 300, TOP)
COMMON = box(LEFT + 300, TOP - 600, LEFT + 600, TOP)
GARDENS = [
    box(LEFT + 600 + 60 * i, TOP - 150 * (j + 1), LEFT + 660 + 60 * i, TOP - 150 * j)
    for i in range(5)
    for j in range(4)
]
TOML = '[plan]\npools = 4\nobjective = "reach"\nconsent = ["yes", "ask"]\n'


def write_town(folder: Path, toml: str = TOML) -> Path:
    """Rich meadows that are still to ask for, a common whose owner agreed, gardens; one pool far off."""
    classes = np.full((ROWS, COLS), 2, np.uint8)
    classes[:, :30] = 1
    land = [("Ford Meadows", "ask", MEADOWS), ("Common", "yes", COMMON)]
    return write_area(
        folder,
        classes,
        class_table({1: 0.9, 2: 0.3}),
        pools=csv_text("pool,x,y,set_out,private", [("P1", *centre(58, 58), "2024-03-01", "no")]),
        visits=[("P1", "2024-08-01", "larvae"), ("P1", "2024-09-01", "none seen")],
        land=land,
        toml=toml,
    )


@pytest.fixture(scope="module")
def mapped(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The town after its first map."""
    town = write_town(tmp_path_factory.mktemp("status") / "town")
    done = command("map", town)
    assert done.code == 0, done.err
    return town


@pytest.fixture
def town(mapped: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(mapped, tmp_path / "town"))


def listed(folder: Path) -> list[dict[str, Any]]:
    """The rows of the workbook."""
    heads, *rows = load_workbook(folder / FILE).worksheets[0].iter_rows(values_only=True)
    return [dict(zip(map(str, heads), row, strict=True)) for row in rows]


def fill_in(folder: Path, **entries: dict[str, Any]) -> None:
    """Writes into the rows of sites, as somebody would; a key that is no id appends a row."""
    book = load_workbook(folder / FILE)
    sheet = book.worksheets[0]
    heads = [cell.value for cell in sheet[1]]
    rows = {str(row[0].value): row[0].row for row in sheet.iter_rows(min_row=2)}
    for site, cells in entries.items():
        number = rows.get(site, sheet.max_row + 1)
        for name, value in cells.items():
            if name not in heads:
                heads.append(name)
                sheet.cell(1, len(heads), name)
            sheet.cell(number, heads.index(name) + 1, value)
    book.save(folder / FILE)


def run(folder: Path) -> tuple[pd.DataFrame, dict[str, Any]]:
    """The plan and the summary of one more run, which leaves its ids and the workbook as `map` does."""
    result = habitatmap.run(open_area(folder), public=False)
    (folder / "out").mkdir(exist_ok=True)
    ids = geojson_text(result.site_ids, in_degrees(result.site_ids, result.crs))
    (folder / "out" / "site_ids.geojson").write_text(ids, encoding="utf-8")
    write_plan_status(result)
    return result.plan.set_index("id"), summary_of(result)


def plan_of(folder: Path) -> pd.DataFrame:
    """plan.csv of the first map."""
    return pd.read_csv(folder / "out" / "plan.csv", keep_default_na=False).set_index("id")


def on(plan: pd.DataFrame, shape: Any) -> list[str]:
    return [str(one) for one, x, y in zip(plan.index, plan["x"], plan["y"], strict=True) if shape.contains(Point(x, y))]


def test_a_row_for_each_suggested_site(mapped: Path) -> None:
    plan, rows = plan_of(mapped), listed(mapped)
    assert [row["id"] for row in rows] == list(plan.index) == ["S1", "S2", "S3", "S4"]
    assert {row["state"] for row in rows} == set(plan["state"]) == {"to ask"}
    assert [row["rank"] for row in rows] == [1, 2, 3, 4]
    assert [row["place"] for row in rows] == list(plan["place"])
    assert np.allclose([row["lon"] for row in rows], plan["lon"].astype(float), atol=1e-6)
    summary = json.loads((mapped / "out" / "summary.json").read_text(encoding="utf-8"))
    assert summary["plan"]["states"] == {state.value: 4 * (state == SiteState.TO_ASK) for state in SiteState}
    assert summary["plan"]["refusals"] == []


def test_sites_keep_their_ids_where_out_was_deleted(town: Path) -> None:
    before, rows = plan_of(town), listed(town)
    shutil.rmtree(town / "out")
    assert list(run(town)[0].index) == list(before.index)
    assert listed(town) == rows


def test_nothing_new_is_nothing_written_and_the_last_map_still_serves(town: Path) -> None:
    before = (town / FILE).read_bytes()
    area = open_area(town)
    assert area.ledger.counts()["plan_status"] == {"read": 4, "accepted": 4, "set_aside": 0}
    # the first map wrote the workbook after it had read the folder: that alone makes it no other folder
    assert found_before(area, town / "out")[0] is not None
    run(town)
    assert (town / FILE).read_bytes() == before
    fill_in(town, S1={"by": "Ada Example", "note": "calls back"})
    assert found_before(open_area(town), town / "out")[0] is not None  # neither name nor note is on any page
    fill_in(town, S1={"state": "asked"})
    assert found_before(open_area(town), town / "out")[0] is None


def test_entries_are_kept_and_rows_are_only_added(town: Path) -> None:
    day = datetime.datetime(2025, 6, 3)
    fill_in(town, S2={"state": "asked", "date": day, "by": "Ada", "note": "-", "our own": "call on Mondays"})
    (town / "area.toml").write_text((town / "area.toml").read_text("utf-8").replace("pools = 4", "pools = 6"), "utf-8")
    run(town)
    rows = {row["id"]: row for row in listed(town)}
    assert [rows["S2"][name] for name in ("state", "date", "by", "our own")] == ["asked", day, "Ada", "call on Mondays"]
    assert list(rows) == ["S1", "S2", "S3", "S4", "S5", "S6"]
    (town / "area.toml").write_text((town / "area.toml").read_text("utf-8").replace("pools = 6", "pools = 1"), "utf-8")
    run(town)
    rows = {row["id"]: row for row in listed(town)}
    assert [row["rank"] for row in rows.values()] == [1, *[None] * 5]


def test_an_agreed_site_stays_whatever_the_plan_would_say(town: Path) -> None:
    fill_in(town, S4={"state": "agreed", "date": datetime.date(2025, 6, 1)})
    (town / "area.toml").write_text((town / "area.toml").read_text("utf-8").replace("pools = 4", "pools = 1"), "utf-8")
    before = plan_of(town)
    plan, summary = run(town)
    assert list(plan.index) == ["S4"]
    assert plan.loc["S4", ["x", "y"]].astype(float).tolist() == before.loc["S4", ["x", "y"]].astype(float).tolist()
    assert plan.loc["S4", ["committed", "state"]].tolist() == ["yes", "agreed"]
    assert "agreed site" in reason(plan.loc["S4"].to_dict())
    assert summary["plan"]["states"]["agreed"] == 1


def test_a_refusal_takes_the_land_and_its_cost_is_that_of_planning_without_it(town: Path) -> None:
    before = json.loads((town / "out" / "summary.json").read_text(encoding="utf-8"))
    own = on(plan_of(town), MEADOWS)
    assert own  # the meadows are the best land
    fill_in(town, **{own[0]: {"state": "refusé"}})
    plan, summary = run(town)
    assert on(plan, MEADOWS) == []
    (refusal,) = summary["plan"]["refusals"]
    lost = before["forage_in_reach"]["with_plan"] - summary["forage_in_reach"]["with_plan"]
    assert refusal["cost"] == pytest.approx(lost, abs=1e-9)
    assert refusal["in_reach"] == refusal["cost"] > 0.0
    assert refusal["sites"] == [own[0]]
    assert refusal["instead"] in plan.index
    points = f"{100 * lost:.1f}"
    told = (
        f"The refusal of Ford Meadows ({own[0]}) costs {points} points of the forage in reach; the best substitute is"
    )
    assert refusal["told"].startswith(told)
    assert summary["candidates"]["lost"]["refused"] > 0
    assert summary["candidates"]["all"] == sum(summary["candidates"]["lost"].values()) + summary["candidates"]["left"]
    # no other site is ever called as one of a refused owner
    assert own[0] not in plan.index


def test_a_refusal_that_is_taken_back_gives_its_ground_back(town: Path) -> None:
    own = on(plan_of(town), MEADOWS)
    fill_in(town, **{own[0]: {"state": "refused"}})
    run(town)
    fill_in(town, **{own[0]: {"state": "to ask"}})
    again, _ = run(town)
    assert len(on(again, MEADOWS)) == len(own)
    assert own[0] in again.index


def test_where_the_owner_agreed_already_a_refusal_takes_the_zone_alone(town: Path) -> None:
    own = on(plan_of(town), COMMON)
    if not own:
        (town / "area.toml").write_text(
            (town / "area.toml").read_text("utf-8").replace('["yes", "ask"]', '["yes"]'), "utf-8"
        )
        own = on(run(town)[0], COMMON)
    fill_in(town, **{own[0]: {"state": "refused"}})
    plan, _ = run(town)
    zones = gpd.read_file(town / "out" / "site_ids.geojson").to_crs(CRS).set_index("id").geometry
    assert own[0] not in plan.index
    assert on(plan, COMMON)
    assert not on(plan, zones[own[0]])


def test_a_site_given_up_leaves_with_its_zone(town: Path) -> None:
    zones = gpd.read_file(town / "out" / "site_ids.geojson").to_crs(CRS).set_index("id").geometry
    fill_in(town, S1={"state": "given up"})
    plan, summary = run(town)
    assert "S1" not in plan.index
    assert not on(plan, zones["S1"].buffer(-1))
    assert summary["candidates"]["lost"]["given up"] > 0
    assert summary["plan"]["refusals"] == []


def test_a_site_set_out_is_the_pool_in_its_zone_else_one_of_its_own(town: Path) -> None:
    plan = plan_of(town)
    fill_in(town, S1={"state": "set out", "date": datetime.date(2025, 6, 1)}, S2={"state": "set out"})
    x, y = plan.loc["S1", ["x", "y"]].astype(float)
    with (town / "pools.csv").open("a", encoding="utf-8") as file:
        file.write(f"New,{x + 3},{y},2025-06-01,no\n")
    with (town / "visits.csv").open("a", encoding="utf-8") as file:
        file.write("S1,2025-06-20,larvae\nS2,2025-06-20,none seen\n")
    area = open_area(town)
    assert area.pools["pool"].tolist() == ["New", "P1", "S2"]
    assert sorted(area.visits["pool"]) == ["New", "P1", "P1", "S2"]
    two = area.pools.set_index("pool").loc["S2"]
    assert two[["x", "y"]].astype(float).tolist() == plan.loc["S2", ["x", "y"]].astype(float).tolist()
    assert two["uncertainty_m"] >= 5.0
    assert (two["private"], two["file"]) == ("no", FILE)
    told = [str(one) for one in area.ledger.remarks if "set out" in one]
    assert any("it is the pool New of pools.csv, 3 m from the suggested place" in one for one in told)
    assert any("S2 was set out" in one and "counts as a pool of this name" in one for one in told)
    area.ledger.check()
    after, _ = run(town)
    assert not {"S1", "S2"} & set(after.index)


def test_a_pool_installed_a_few_metres_beyond_the_zone_is_the_site_s_and_not_a_second_one(town: Path) -> None:
    fill_in(town, S1={"state": "set out"})
    area = open_area(town)
    (site,) = sites_in(area.plan_status, SiteState.SET_OUT)
    close = Point(site.x, site.y).buffer(NEAR_SITE_M).difference(site.ground.buffer(1))
    moved = close.representative_point()
    with (town / "pools.csv").open("a", encoding="utf-8") as file:
        file.write(f"Moved,{moved.x},{moved.y},2025-06-01,no\n")
    assert open_area(town).pools["pool"].tolist() == ["Moved", "P1"]


def test_a_pool_farther_off_is_another_one_and_somebody_is_asked_to_look(town: Path) -> None:
    fill_in(town, S1={"state": "set out"})
    area = open_area(town)
    (site,) = sites_in(area.plan_status, SiteState.SET_OUT)
    east = max(site.ground.bounds[2], site.x + NEAR_SITE_M)
    with (town / "pools.csv").open("a", encoding="utf-8") as file:
        file.write(f"Far,{east + 5},{site.y},2025-06-01,no\n")
    area = open_area(town)
    assert area.pools["pool"].tolist() == ["Far", "P1", "S1"]
    assert any("S1 was set out" in str(one) for one in area.ledger.doubts)


def test_a_pool_beside_two_sites_is_that_of_the_nearer_one(town: Path) -> None:
    """Of the two only the farther one was set out."""
    fill_in(town, S1={"state": "set out"})
    area = open_area(town)
    (site,) = sites_in(area.plan_status, SiteState.SET_OUT)
    between = Point(site.x, site.y).buffer(NEAR_SITE_M).difference(site.ground.buffer(1)).representative_point()
    (lon,), (lat,) = to_lonlat([between.x + 4], [between.y], area.crs)
    fill_in(town, S90={"id": "S90", "state": "asked", "lon": lon, "lat": lat})
    with (town / "pools.csv").open("a", encoding="utf-8") as file:
        file.write(f"Between,{between.x},{between.y},2025-06-01,no\n")
    assert open_area(town).pools["pool"].tolist() == ["Between", "P1", "S1"]


def test_a_pool_of_a_site_that_was_lost_does_not_stand_again(town: Path) -> None:
    x, y = plan_of(town).loc["S1", ["x", "y"]].astype(float)
    fill_in(town, S1={"state": "set out", "date": datetime.date(2025, 6, 2)})
    with (town / "pools.csv").open("a", encoding="utf-8") as file:
        file.write(f"Lost,{x + 3},{y},2025-06-01,no\n")
    with (town / "visits.csv").open("a", encoding="utf-8") as file:
        file.write("Lost,2025-06-09,gone\n")
    area = open_area(town)
    assert area.pools["pool"].tolist() == ["Lost", "P1"]
    assert standing(area.pools, area.visits, datetime.date(2025, 6, 8)).tolist() == [True, True]
    assert standing(area.pools, area.visits, datetime.date(2025, 6, 10)).tolist() == [False, True]


def test_no_more_pools_were_searched_than_there_are(town: Path) -> None:
    fill_in(town, S1={"state": "set out"}, S2={"state": "set out"})
    with (town / "visits.csv").open("a", encoding="utf-8") as file:
        file.write("S1,2025-06-20,larvae\nS2,2025-06-20,none seen\n")
    done = command("map", town)
    assert " 2 of 3 pools were searched" in done.out, done.out


def test_a_pool_that_was_there_long_before_is_another_one(town: Path) -> None:
    plan = plan_of(town)
    x, y = plan.loc["S1", ["x", "y"]].astype(float)
    with (town / "pools.csv").open("a", encoding="utf-8") as file:
        file.write(f"Old,{x + 3},{y},2020-06-01,no\n")
    fill_in(town, S1={"state": "set out", "date": datetime.date(2025, 6, 1)})
    assert open_area(town).pools["pool"].tolist() == ["Old", "P1", "S1"]


FAULTS: dict[str, tuple[dict[str, dict[str, Any]], str, str]] = {
    "state": ({"S1": {"state": "perhaps"}}, "the state is not one of those we know", "S1"),
    "unknown": ({"x": {"id": "S77", "state": "agreed"}}, "no site of this id was ever suggested here", "S77"),
    "no id": ({"x": {"state": "agreed"}}, "the row does not say which suggested site it is for", ""),
    "later": (
        {"S1": {"state": "asked", "date": "2025-03-01"}, "x": {"id": "s1", "state": "agreed", "date": "2025-04-01"}},
        "row 6 of plan_status.xlsx is for the same site and has the later date, so that one counts",
        "S1",
    ),
    "same": (
        {"S1": {"state": "asked"}, "x": {"id": "S1", "state": "asked"}},
        "row 2 of plan_status.xlsx says the same of this site",
        "S1",
    ),
}


@pytest.mark.parametrize("case", FAULTS)
def test_what_cannot_be_used_is_set_aside_with_its_reason(town: Path, case: str) -> None:
    entries, reason, about = FAULTS[case]
    fill_in(town, **entries)
    area = open_area(town)
    area.ledger.check()
    (aside,) = area.ledger.entries("plan_status")
    assert str(aside.why.reason) == reason
    assert aside.about.upper() == about
    counts = area.ledger.counts()["plan_status"]
    assert counts["read"] == counts["accepted"] + 1
    states = dict(zip(area.plan_status["id"], area.plan_status["state"], strict=True))
    assert states.get("S1", "") == {"later": "agreed", "same": "asked", "state": ""}.get(case, "to ask")


def test_two_rows_that_differ_without_a_date_are_both_set_aside(town: Path) -> None:
    fill_in(town, S1={"state": "refused"}, x={"id": "S1", "state": "agreed"})
    area = open_area(town)
    assert [str(entry.why.reason) for entry in area.ledger.entries("plan_status")] == [
        "row 6 of plan_status.xlsx says agreed of the same site, and no date tells which came later",
        "row 2 of plan_status.xlsx says refused of the same site, and no date tells which came later",
    ]
    assert "S1" not in set(area.plan_status["id"])


def test_a_date_that_is_none_costs_the_date_and_not_the_row(town: Path) -> None:
    fill_in(town, S1={"state": "refused", "date": "soon"}, S2={"state": "asked", "date": "3.4.2025"})
    area = open_area(town)
    assert area.plan_status["state"].iloc[0] == "refused"
    assert area.plan_status["date"].isna().iloc[0]
    told = [str(one) for one in area.ledger.doubts]
    assert any('"soon": the date cannot be read' in one for one in told), told
    # which is a day, though nobody knows which
    assert any('"3.4.2025": day and month could be either way round' in one for one in told), told


def test_ids_outlive_the_folder_of_results(town: Path) -> None:
    fill_in(town, S1={"state": "agreed"})
    before = plan_of(town)
    shutil.rmtree(town / "out")
    plan, _ = run(town)
    assert plan.loc["S1", ["x", "y"]].tolist() == before.loc["S1", ["x", "y"]].tolist()
    assert not {"S2", "S3", "S4"} & {one for one in plan.index if plan.loc[one, "x"] not in before["x"].tolist()}


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_words_of_each_language_are_read_back(language: str) -> None:
    for state in SiteState:
        assert state_of(word_in(language, state)) == state
        assert language == "en" or word_in(language, state) != state
    for text in (*HELP, *(column.help for column in LIST.columns)):
        assert language == "en" or word_in(language, text) != text
    assert (state_of(""), state_of("refused?"), state_of("perhaps"), state_of("x")) == (
        SiteState.TO_ASK,
        None,
        None,
        None,
    )
    assert (state_of("kielletty"), state_of("Zgoda")) == (SiteState.REFUSED, SiteState.AGREED)


def test_on_private_land_there_is_no_place_but_the_middle_of_a_square(tmp_path: Path) -> None:
    town = write_town(tmp_path / "town", TOML + "private = true\n")
    shapes = [*GARDENS, COMMON]
    kinds = [*["garden"] * len(GARDENS), "park"]
    gpd.GeoDataFrame(
        {"name": [""] * len(GARDENS) + ["Common"], "kind": kinds, "consent": "ask"}, geometry=shapes
    ).set_crs("EPSG:32632").to_file(town / "land.gpkg")
    classes = class_table({1: 0.1, 2: 0.8})
    (town / "classes.csv").write_text(classes, encoding="utf-8")
    plan, _ = run(town)
    private = list(plan.index[plan["private"] == "yes"])
    assert private
    rows = {row["id"]: row for row in listed(town)}
    points = gpd.GeoSeries([Point(rows[one]["lon"], rows[one]["lat"]) for one in private], crs=4326).to_crs(
        "EPSG:32632"
    )
    middle = np.column_stack(middle_of_square(points.x, points.y))
    assert np.allclose(np.column_stack([points.x, points.y]), middle, atol=0.2)
    fill_in(town, **{private[0]: {"state": "agreed", "by": "Ada Example", "note": "12 Elm Road"}})
    plan, _ = run(town)
    assert np.isnan(plan.loc[private[0], "x"])
    assert plan.loc[private[0], ["private", "state"]].tolist() == ["yes", "agreed"]
    area = open_area(town)
    shown = blurred(area)
    assert shown.plan_status.empty  # what happens in gardens is not public
    fill_in(town, **{private[0]: {"state": "set out"}})
    area = open_area(town)
    pool = area.pools.set_index("pool").loc[private[0]]
    assert pool["private"] == "yes"
    assert pool["uncertainty_m"] >= SQUARE_M / 2**0.5 - 0.1


def test_pages_and_papers_tell_what_is_in_hand_and_name_nobody(town: Path) -> None:
    fill_in(
        town,
        S1={"state": "refused", "by": "Ada Example", "note": "12 Elm Road", "date": datetime.date(2025, 6, 1)},
        S2={"state": "agreed", "by": "Ada Example", "date": datetime.date(2025, 6, 2)},
    )
    area: Area = open_area(town)
    shown = blurred(area).plan_status
    assert sorted(shown["state"]) == ["agreed", "refused"]
    assert shown[["id", "place", "by", "note", "file"]].eq("").all(axis=None)
    assert shown["date"].isna().all()
    for words in (["map"], ["report"], ["map", "--out", town / "elsewhere"]):
        done = command(*words, town)
        assert done.code == 0, done.err
    assert "plan_status.xlsx:" not in done.err  # ids of a map that goes elsewhere are not the area's
    pages = {path.name: path.read_text(encoding="utf-8") for path in town.glob("[or]*/*.html")}
    assert all(name not in page for name in ("Ada Example", "Elm Road") for page in pages.values())
    assert "Work on the plan: " in pages["report.html"]
    assert "The refusal of " in pages["report.html"]
    team = pages["map.html"]
    assert '"site {state} on {day}"' in team
    assert "2025-06-02" in team
    assert "2025-06-01" not in pages["public_map.html"]
    assert "refus" not in pages["public_map.html"].split('id="data-plan"')[-1].split("</script>")[0]


def test_a_season_is_kept_with_what_somebody_wrote_and_goes_on_from_it(town: Path) -> None:
    fill_in(town, S1={"state": "agreed"})
    done = command("map", town, "--keep", "2025")  # which itself writes new rows into the workbook
    assert done.code == 0, done.err
    kept = town / "seasons" / "2025"
    assert [row["state"] for row in listed(kept) if row["id"] == "S1"] == ["agreed"]
    area = open_area(kept)
    assert area.plan_status["state"].tolist().count("agreed") == 1
    assert found_before(area, kept / "out")[0] is not None
