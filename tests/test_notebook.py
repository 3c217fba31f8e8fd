"""A day at a Python prompt or in a notebook: names, tables, other settings, plans, the map inline, the guide's page."""

from __future__ import annotations

import ast
import dataclasses
import json
import os
import re
import shutil
import sys
from html.parser import HTMLParser
from pathlib import Path

import geopandas as gpd
import nbformat
import numpy as np
import pandas as pd
import pytest
import shapely
from nbclient import NotebookClient

import habitatmap as hm
from habitatmap import job
from habitatmap.area import blurred
from habitatmap.area import open_area as read_area
from habitatmap.export.summary import summary_of
from habitatmap.geo.frames import MapFrame, at_places
from habitatmap.habitat.score import score_habitat
from habitatmap.notebook import AFTER_READING, Terms
from habitatmap.read.files import read_tables
from habitatmap.read.settings import PlanSettings, Settings
from habitatmap.result import InlinePage
from habitatmap.result.xarrays import as_dataset
from habitatmap.stages import Stages
from tests.areas import CRS, centre, class_table, write_area
from tests.demo import DEMO

ROOT = Path(__file__).parents[1]
HOSTILE = "<img src=x onerror=alert(1)>{{ 7 * 191 }}\"'&"
CLASSES = np.add.outer(np.arange(24), np.arange(24)).astype(np.uint8) % 3 + 1
POOLS = [("P", *centre(4, 4)), ("Q", *centre(12, 5)), ("R", *centre(6, 19))]
VISITS = [("P", "2025-05-20", "larvae"), ("Q", "2025-05-21", "none seen"), ("R", "2025-06-01", "larvae")]


def town(folder: Path, toml: str = "") -> Path:
    """24 x 24 cells, three pools, no land: a plan of it takes the least time."""
    table = class_table({1: 0.2, 2: 0.5, 3: 0.9}, {3: 0.8})
    near = "[flight]\nforage_median_m = 60\ndispersal_median_m = 100\n[plan]\npools = 3\nspacing_m = 30\n"
    return write_area(folder, CLASSES, table, pools=POOLS, visits=VISITS, toml=toml + near)


@pytest.fixture(scope="module")
def area(tmp_path_factory: pytest.TempPathFactory) -> hm.Area:
    return hm.open_area(town(tmp_path_factory.mktemp("notebook") / "town"))


@pytest.fixture(scope="module")
def result(area: hm.Area) -> hm.Result:
    return area.plan(pools=3)


def figures(found: hm.Result) -> str:
    """summary.json but for the seconds it took."""
    return json.dumps(summary_of(found) | {"seconds": None})


# --- names -----------------------------------------------------------------------------------------------------------


def test_dir_shows_what_there_is_and_types_are_seen_before_anything_is_loaded() -> None:
    assert {"Area", "Result", "open_area", "run"} <= set(dir(hm))
    assert all(getattr(hm, name).__name__ == name for name in hm.__all__)
    source = ast.parse(Path(str(hm.__file__)).read_text(encoding="utf-8"))
    typed = next(node for node in source.body if isinstance(node, ast.If))
    assert sorted(name.name for part in typed.body for name in getattr(part, "names", ())) == hm.__all__
    with pytest.raises(AttributeError, match="opne_area"):
        hm.opne_area  # noqa: B018


def test_plan_knows_every_key_of_its_table() -> None:
    assert {*Terms.__annotations__, "pools"} == set(PlanSettings.model_fields)


# --- tables ----------------------------------------------------------------------------------------------------------


def test_tables_of_places_are_geodataframes(area: hm.Area, result: hm.Result) -> None:
    frames = [area.pools, area.trees, area.committed, area.land, area.keep_away, area.paths, area.names]
    frames += [result.plan, result.pools, result.trees, result.places, result.gaps, result.zones, result.links]
    assert all(isinstance(frame, gpd.GeoDataFrame) and frame.crs == CRS for frame in frames)
    assert [(p.x, p.y) for p in area.pools.geometry] == [(x, y) for _, x, y in POOLS]
    assert [(p.x, p.y) for p in result.plan.geometry] == list(zip(result.plan["x"], result.plan["y"], strict=True))


def test_where_no_place_is_known_there_is_no_point() -> None:
    points = at_places(pd.DataFrame({"x": [1.0, np.nan], "y": [2.0, np.nan]}), hm_crs()).geometry
    assert points[0] == shapely.Point(1, 2)
    assert points[1] is None


def test_points_are_made_once_and_anew_where_a_place_has_changed(area: hm.Area) -> None:
    assert area.with_settings(plan__pools=2).pools.geometry[0] is area.pools.geometry[0]
    moved = at_places(area.pools.assign(x=area.pools["x"] + 1), area.crs)
    assert (moved.geometry.x == area.pools["x"] + 1).all()


def test_a_part_of_a_table_is_as_safe_to_explore(area: hm.Area) -> None:
    pools = area.pools
    parts = (pools[pools["pool"] != "R"], pools.head(1), pools.assign(n=1), pools.sort_values("x"), pools.to_crs(4326))
    assert all(isinstance(part, MapFrame) for part in parts)
    assert not isinstance(pools[["pool", "x"]], gpd.GeoDataFrame)


def hm_crs():  # type: ignore[no-untyped-def]
    return gpd.GeoSeries([], crs=CRS).crs


def test_the_points_of_the_public_are_those_of_its_blurred_places(area: hm.Area) -> None:
    private = dataclasses.replace(area, pools=area.pools.assign(private="yes", host=["A", "B", "C"]))
    shown = blurred(private).pools
    assert len(shown) == 3
    assert {(p.x, p.y) for p in shown.geometry} == {(x, y) for x, y in zip(shown["x"], shown["y"], strict=True)}
    assert not {(p.x, p.y) for p in shown.geometry} & {(x, y) for _, x, y in POOLS}


@pytest.mark.parametrize("how", [{}, {"column": "host"}])
def test_explore_runs_nothing_of_a_record(area: hm.Area, how: dict[str, str]) -> None:
    pools = area.pools.assign(host=[HOSTILE, "B", "C"])
    page = pools[pools["pool"] != "R"].explore(tiles=None, **how).get_root().render()
    assert "onerror" in page
    assert "<img src=x" not in page
    assert "\\u003cimg" not in page
    assert "{{" not in page
    assert "1337" not in page
    assert how or not re.findall(r'(?:src|href)="(?!data:)[^"]*"', page)  # and it asks no server for anything


def test_without_what_draws_a_table_explore_says_what_to_install(
    area: hm.Area, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("habitatmap.geo.frames.DRAWN_WITH", ("nobody_has_this",))
    with pytest.raises(hm.HabitatmapError, match=r"pip install 'habitatmap\[notebook\]'"):
        area.pools.explore()


# --- settings --------------------------------------------------------------------------------------------------------


def test_other_settings_make_another_area(area: hm.Area) -> None:
    other = area.with_settings(plan__pools=np.int64(5), keep_away={"school": 70.0}, cautions__mosquitoes="reported")
    assert (other.settings.plan.pools, other.settings.keep_away) == (5, {"school": 70.0})
    assert other.settings.cautions.mosquitoes == "reported"
    assert (area.settings.plan.pools, area.settings.keep_away) == (3, {})
    assert other.with_settings(plan__pools=None).settings.plan.pools == 10


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"plan__pools": -5}, "plan.pools is -5; expected a whole number, 0 or more"),
        ({"plan__pools": "five"}, 'plan.pools is "five"; expected a whole number, 0 or more'),
        ({"plan__pool": 5}, "plan.pool is not a known key; did you mean plan.pools?"),
        ({"pools": 5}, "pools is not a known key; did you mean plan.pools?"),
        ({"plan": {"consent": "yes"}}, 'plan.consent is "yes"; expected a list of "yes" and "ask"'),
        ({"title__x": 1}, "title is {'x': 1}; expected a text in quotes"),
    ],
)
def test_a_setting_that_can_t_be_is_refused_as_in_area_toml(area, changes, sentence) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(hm.InputError) as fault:
        area.with_settings(**changes)
    assert str(fault.value).startswith(sentence)


@pytest.mark.parametrize(
    ("toml", "changes"),
    [
        ("[near]\nforage_from = 0.9\n[season]\nlast_month = 5\n[gap]\nleast_ha = 0.01\n", None),
        (
            "[occupancy]\nexisting = 0.5\ntrees = 0.9\n[public]\nblur_m = 300\n[cautions]\nmosquitoes = 'reported'\n",
            None,
        ),
        ("cell_m = 20.0\n", None),
    ],
)
def test_other_settings_are_those_of_area_toml(area: hm.Area, tmp_path: Path, toml: str, changes: None) -> None:
    """The tables and the frame are those of a folder that states them, whether it had to be read anew or not."""
    import tomllib

    stated = read_area(town(tmp_path / "town", toml.replace("cell_m = 20.0\n", "")))
    if "cell_m" in toml:
        text = (tmp_path / "town" / "area.toml").read_text(encoding="utf-8")
        (tmp_path / "town" / "area.toml").write_text(text.replace("cell_m = 10.0", toml), encoding="utf-8")
        stated = read_area(tmp_path / "town")
    other = area.with_settings(**tomllib.loads(toml))
    assert other.settings == stated.settings
    assert other.grid == stated.grid
    assert all(table.equals(stated.tables[name]) for name, table in other.tables.items())


class Watched:
    """Settings that note which of their tables are read."""

    def __init__(self, settings: Settings) -> None:
        self.settings, self.read = settings, set[str]()

    def __getattr__(self, name: str) -> object:
        self.read.add(name)
        return getattr(self.settings, name)


def test_a_stage_reads_no_other_settings_than_those_it_is_done_again_for(area: hm.Area) -> None:
    seen = Watched(area.settings)
    watched = dataclasses.replace(area, settings=seen)  # type: ignore[arg-type]
    habitat = score_habitat(watched)
    assert seen.read == set(job.OF_HABITAT)
    survey = job.survey_pools(watched, habitat)
    places = job.likely_places(watched, survey)
    job.reach_now(watched, habitat, survey, places)
    assert seen.read == set(job.OF_SURVEY)
    job.years_ahead(watched, habitat, survey, places)
    job.where_pools_may_stand(watched, habitat, survey)
    assert seen.read == {*job.OF_SURVEY, "plan"}  # of which `evaluate` states years, and all but pools


def test_what_is_read_with_the_folder_is_no_setting_for_later(area: hm.Area, monkeypatch: pytest.MonkeyPatch) -> None:
    seen = Watched(area.settings)
    read_area(area.folder, settings=seen)  # type: ignore[arg-type]
    assert seen.read
    assert not seen.read & AFTER_READING


# --- plans -----------------------------------------------------------------------------------------------------------


def test_a_second_plan_is_that_of_a_fresh_run_and_takes_what_did_not_change(area: hm.Area, result: hm.Result) -> None:
    again = area.plan(pools=2)
    fresh = hm.run(read_area(area.folder, settings=again.settings), public=False)
    assert figures(again) == figures(fresh)
    assert again.plan.equals(fresh.plan)
    assert again.findings.habitat is result.findings.habitat
    assert again.findings.survey is result.findings.survey
    assert again.findings.ahead is result.findings.ahead
    assert again.findings.candidates is result.findings.candidates
    apart = area.plan(pools=2, spacing_m=60)
    assert apart.findings.candidates.left < result.findings.candidates.left


def test_a_plan_after_a_table_was_changed_is_made_of_what_it_holds_now(area: hm.Area, result: hm.Result) -> None:
    mine = area.with_settings(title="mine")
    mine.pools.loc[0, "removed"] = pd.Timestamp("2025-06-20")  # as somebody at a prompt may
    assert mine.plan(pools=1).figures.pools_standing == result.figures.pools_standing - 1
    assert len(area.pools) == area.pools["removed"].isna().sum()


def test_a_stage_is_done_again_where_its_settings_or_a_table_changed() -> None:
    stages, table, done = Stages(), pd.DataFrame({"a": [1, 2], "b": ["x", None]}), []

    def once(settings: object) -> int:
        stages.see({"pools": table})
        return stages.take("habitat", settings, lambda: done.append(settings) or len(done))

    assert [once((1,)), once((1,)), once((2,)), once((2,))] == [1, 1, 2, 2]
    table.loc[1, "b"] = "y"
    assert [once((2,)), once((2,))] == [3, 3]
    assert stages.take("reach", (2,), lambda: "its own") == "its own"


def test_a_number_of_pools_stands_in_place_of_a_budget(area: hm.Area, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []
    monkeypatch.setattr("habitatmap.notebook.run", lambda area, public: asked.append(area.settings.plan))
    dear = area.with_settings(plan__budget=1.0)
    dear.plan(spacing_m=40)
    dear.plan(pools=2)
    assert [(plan.pools, plan.budget, plan.spacing_m) for plan in asked] == [(3, 1.0, 40), (2, None, 30)]


def test_rasters_that_stages_share_can_t_be_changed(result: hm.Result) -> None:
    with pytest.raises(ValueError, match="read-only"):
        result.rasters["forage_season"][0, 0] = 1


# --- what is shown ---------------------------------------------------------------------------------------------------


class Frames(HTMLParser):
    """The attributes of every iframe, and the tags and text around them."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.frames: list[dict[str, str | None]] = []
        self.tags: list[str] = []
        self.text = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        if tag == "iframe":
            self.frames.append(dict(attrs))

    def handle_data(self, data: str) -> None:
        self.text += data


def test_an_area_and_a_result_tell_themselves_in_a_few_lines(area: hm.Area, result: hm.Result) -> None:
    assert "pools: 3 used, 0 set aside" in repr(area)
    assert re.search(r"with the plan: \d+\.\d % \(", repr(result))
    assert max(map(len, map(repr, (area, result)))) < 800
    hostile = area.with_settings(title=HOSTILE)
    named = dataclasses.replace(result, title=HOSTILE, plan=result.plan.assign(place=HOSTILE))
    for shown in (hostile._repr_html_(), named._repr_html_()):
        page = Frames(shown)
        assert set(page.tags) <= {"table", "caption", "tr", "td", "th"}
        assert HOSTILE in page.text


def test_the_map_is_shown_in_a_sandbox(result: hm.Result) -> None:
    shown = result.map(height=300)
    page = Frames(shown._repr_html_())
    (frame,) = page.frames
    assert frame["sandbox"] == "allow-scripts"
    assert frame["srcdoc"] == shown.html
    assert "height:300px" in str(frame["style"])
    assert "clear its outputs" in page.text  # the team's page is private
    assert len(repr(shown)) < 200
    public = result.map(public=True)
    assert Frames(public._repr_html_()).text == ""
    assert '"Q"' not in public.html


def test_nothing_breaks_out_of_the_frame() -> None:
    page = Frames(InlinePage(HOSTILE, f'</iframe><script>"{HOSTILE}</script>', public=True)._repr_html_())
    assert page.tags == ["iframe"]
    assert page.frames[0]["title"] == f"Map of {HOSTILE}"


def test_rasters_as_xarray_lie_where_their_cells_do(area: hm.Area, result: hm.Result) -> None:
    rasters = result.to_xarray()
    assert set(rasters.data_vars) == set(result.rasters)
    x, y = centre(5, 7)
    assert rasters["forage_season"].sel(x=x, y=y).item() == result.rasters["forage_season"][5, 7]
    assert rasters["forage_season"].attrs["grid_mapping"] == "spatial_ref"
    assert rasters["spatial_ref"].attrs["GeoTransform"] == "500000.0 10.0 0.0 5400000.0 0.0 -10.0"
    assert area.crs == rasters["spatial_ref"].attrs["crs_wkt"]


def test_without_xarray_a_sentence_says_what_to_install(result: hm.Result, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "xarray", None)
    with pytest.raises(hm.HabitatmapError, match=r"pip install 'habitatmap\[notebook\]'"):
        as_dataset(result.rasters, result.grid, result.crs)


def test_without_its_reader_a_parquet_file_gets_a_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("pyarrow", "pyarrow.parquet", "fastparquet"):
        monkeypatch.setitem(sys.modules, name, None)
    (tmp_path / "pools.parquet").write_bytes(b"PAR1")
    with pytest.raises(hm.InputError, match=r"^pools.parquet is a parquet file.* pip install 'habitatmap\[parquet\]'"):
        read_tables(tmp_path / "pools.parquet")


# --- the guide -------------------------------------------------------------------------------------------------------


def test_the_guide_s_page_runs_as_a_notebook(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its blocks are the cells, on the demo town with cells of 100 m."""
    shutil.copytree(DEMO, tmp_path / "my_town", ignore=shutil.ignore_patterns("out", "*.py"))
    toml = tmp_path / "my_town" / "area.toml"
    toml.write_text("cell_m = 100\n" + toml.read_text(encoding="utf-8"), encoding="utf-8")
    text = (ROOT / "habitatmap" / "guide" / "notebook.md").read_text(encoding="utf-8")
    cells = re.findall(r"^```python\n(.*?)^```$", text, re.DOTALL | re.MULTILINE)
    book = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(cell) for cell in cells])
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")]))
    NotebookClient(book, timeout=120, resources={"metadata": {"path": str(tmp_path)}}).execute()
    shown = ["".join(str(out.get("data", out.get("text", ""))) for out in cell.outputs) for cell in book.cells]
    at = dict(zip(cells, shown, strict=True))
    assert "49 used, 1 set aside" in next(text for cell, text in at.items() if "open_area" in cell)
    assert "plan.pools is -5; expected a whole number" in next(text for cell, text in at.items() if "except" in cell)
    assert 'sandbox="allow-scripts"' in at["five.map()\n"]
    assert (tmp_path / "five_pools" / "public_map.html").is_file()
