"""Two seasons compared: the story that the demo's script wrote to the last pool, and each cause by itself."""

from __future__ import annotations

import dataclasses
import json
import shutil
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from shapely.geometry import box

import habitatmap
from habitatmap.area import Area
from habitatmap.changes.causes import Cause
from habitatmap.changes.comparison import Comparison
from habitatmap.changes.pools import Change
from habitatmap.changes.sites import State, counts
from habitatmap.comparing import compare, read_both, since_last_season
from habitatmap.errors import InputError
from habitatmap.export.folder import write_files
from habitatmap.export.season import find_season, keep_season
from habitatmap.export.summary import summary_text
from habitatmap.export.tables import text_files
from habitatmap.export.worked import record_of
from habitatmap.page import map_page
from habitatmap.read.layers import layers_folder
from habitatmap.reports.compare import account, causes_table, comparison_page, comparison_text
from habitatmap.result import Result
from habitatmap.words.changes import since_told
from tests import commands
from tests.areas import LEFT, TOP, write_layer, write_raster
from tests.demo import DEMO, demo_result, demo_script
from tests.export.test_worked import CLASSES, make_area

EXACT = 1e-12


def write_map(result: Result, folder: Path) -> None:
    """What of a map a comparison reads."""
    files = {name: content for name, content in text_files(result).items() if name.endswith(("csv", "geojson"))}
    write_files(folder, files | {"summary.json": summary_text(result)}, "map", record=record_of(result.findings.area))


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small town that keeps the season 2025."""
    area = make_area(tmp_path_factory.mktemp("comparing") / "town")
    write_map(habitatmap.run(habitatmap.open_area(area), public=False), area / "out")
    keep_season(area, "2025")
    return area


@pytest.fixture
def town(kept: Path, tmp_path: Path) -> Path:
    return shutil.copytree(kept, tmp_path / "town")


def compared_with(old: Path, new: Path) -> Comparison:
    return compare(read_both(old, new))


def compared(town: Path) -> Comparison:
    found = compared_with(town / "seasons" / "2025", town)
    for split in (found.forward, found.backward):
        for name in ("now", "with_plan"):
            whole = getattr(found.new.figures, name) - getattr(found.old.figures, name)
            assert getattr(split.whole, name) == pytest.approx(whole, abs=EXACT)
    return found


def test_nothing_new_is_nothing_changed(town: Path) -> None:
    found = compared(town)
    assert found.nothing
    assert found.changed == ()
    assert found.old.kept is not None
    assert found.old.figures[:2] == found.old.kept[:2]  # the same figures come back, to the last digit
    assert np.isnan([found.old.figures.occupancy, found.old.kept.occupancy]).all()  # too few searches to estimate
    assert "Nothing changed" in comparison_text(found)
    assert account(found)["nothing_changed"] is True
    assert found.sites["state"].tolist() == [State.OPEN] * 3


def change_cover(town: Path) -> None:
    write_raster(town / "land_cover.tif", np.where(np.arange(40) < 20, 3, CLASSES), nodata=0)


def change_pools(town: Path) -> None:
    with (town / "pools.csv").open("a") as file:
        file.write(f"D,{LEFT + 205},{TOP - 205}\n")


def change_visits(town: Path) -> None:
    with (town / "visits.csv").open("a") as file:
        file.write("B,2025-06-10,larvae\nC,2025-06-20,none seen\n")


def change_consent(town: Path) -> None:
    parcels = [box(LEFT, TOP - 150, LEFT + 200, TOP), box(LEFT + 200, TOP - 300, LEFT + 400, TOP)]
    write_layer(town / "land.gpkg", parcels, name=["Park", "Field"], kind=["park"] * 2, consent=["yes", "no"])


def change_settings(town: Path) -> None:
    text = (town / "area.toml").read_text()
    (town / "area.toml").write_text(text + "\n[flight]\nforage_median_m = 120\n")


def change_layers(town: Path) -> None:
    (town / "layers").mkdir()
    text = (layers_folder() / "siting.csv").read_text(encoding="utf-8")
    (town / "layers" / "siting.csv").write_text(text + "\n", encoding="utf-8")


def change_other(town: Path) -> None:
    write_layer(town / "keep_away.gpkg", [box(LEFT + 200, TOP - 250, LEFT + 300, TOP - 50)], kind=["playground"])


def change_trees(town: Path) -> None:
    rows = f"Quercus robur,120,{LEFT + 300},{TOP - 200}\n"
    (town / "trees.csv").write_text("species,diameter_cm,x,y\n" + rows)


CHANGES: dict[Cause, Callable[[Path], None]] = {
    Cause.POOLS: change_pools,
    Cause.VISITS: change_visits,
    Cause.CONSENT: change_consent,
    Cause.LAND_COVER: change_cover,
    Cause.TREES: change_trees,
    Cause.OTHER: change_other,
    Cause.LAYERS: change_layers,
    Cause.SETTINGS: change_settings,
}


DAILY = (Cause.POOLS, Cause.CONSENT, Cause.LAND_COVER)


@pytest.mark.parametrize("cause", [pytest.param(c, marks=[] if c in DAILY else [pytest.mark.slow]) for c in CHANGES])
def test_a_change_of_one_input_stands_under_it_alone(cause: Cause, town: Path) -> None:
    CHANGES[cause](town)
    found = compared(town)
    assert found.changed == (cause,)
    assert not found.nothing
    if cause not in (Cause.LAYERS, Cause.CONSENT, Cause.OTHER):
        assert abs(found.forward.of(cause).now) > 1e-6
    if cause in (Cause.CONSENT, Cause.OTHER):
        assert found.forward.of(cause).now == 0.0  # what stands today is in reach whoever agrees
        assert abs(found.forward.of(cause).with_plan) > 1e-6
    if cause is Cause.POOLS:
        again = habitatmap.run(habitatmap.open_area(town), public=False)
        assert found.new.figures.now == again.figures.forage_in_reach.now
        assert found.new.figures.with_plan == again.figures.forage_in_reach.with_plan


def test_many_causes_add_up_in_both_orders(town: Path) -> None:
    for change in (change_pools, change_cover, change_settings):
        change(town)
    found = compared(town)
    assert found.changed == (Cause.POOLS, Cause.LAND_COVER, Cause.SETTINGS)
    assert found.backward.order == found.changed[::-1]
    table = causes_table(found).set_index(["figure", "cause"])
    for figure in ("now", "with_plan"):
        parts = table.loc[figure].drop("all")
        for order in ("forward", "backward"):
            assert parts[order].sum() == pytest.approx(table.loc[(figure, "all"), order], abs=EXACT)
    told = account(found)
    assert told["change"]["now"] == pytest.approx(table.loc[("now", "all"), "forward"], abs=EXACT)  # type: ignore[index]


def test_another_version_stands_under_method_and_the_sum_is_what_was_told(town: Path) -> None:
    """As if the kept season were of an older program that gave other figures, which stay as they were told."""
    season = town / "seasons" / "2025"
    summary = json.loads((season / "out" / "summary.json").read_text())
    summary["forage_in_reach"]["now"] += 0.05
    (season / "out" / "summary.json").write_text(json.dumps(summary))
    made = json.loads((season / "manifest.json").read_text())
    made["program"], made["versions"]["habitatmap"] = "another", "0.0.9"
    (season / "manifest.json").write_text(json.dumps(made))
    change_pools(town)
    found = compared(town)
    assert not found.old.same_program
    assert found.method.now == pytest.approx(-0.05, abs=EXACT)
    whole = causes_table(found).set_index(["figure", "cause"]).loc[("now", "all"), "forward"]
    assert whole == pytest.approx(found.new.figures.now - summary["forage_in_reach"]["now"], abs=EXACT)
    text = comparison_text(found)
    assert "2025 is not as it was kept: 1 file changed since, the first out/summary.json." in text
    assert "2025 was mapped by habitatmap 0.0.9" in text
    assert "the old program itself is not run again" in text
    assert "method -5.0" in text


def test_every_part_of_an_area_is_swapped_or_goes_with_the_land_cover() -> None:
    """Who gives an area another table says here, and in `Both.changed` and `Both.run`, which cause it goes with."""
    swapped = "pools visits as_of land plan_status trees inventoried keep_away paths names committed earlier_sites has"
    with_cover = "land_cover grid crs boundary hazards tree_table settings folder"
    about_reading = "ledger notes credits inputs photos hashes stages"
    parts = {*swapped.split(), *with_cover.split(), *about_reading.split()}
    assert {one.name for one in dataclasses.fields(Area)} == parts


def test_two_kept_seasons(town: Path) -> None:
    change_pools(town)
    write_map(habitatmap.run(habitatmap.open_area(town), public=False), town / "out")
    keep_season(town, "2026")
    found = compared_with(town / "seasons" / "2025", town / "seasons" / "2026")
    assert (found.old.name, found.new.name) == ("2025", "2026")
    assert found.new.kept is not None
    assert found.new.kept[:2] == found.new.figures[:2]
    assert found.pools["pool"].tolist() == ["D"]


def test_what_can_not_be_compared_is_refused(town: Path) -> None:
    with pytest.raises(InputError, match="is no kept season; expected one that was kept before"):
        read_both(town, town)
    text = (town / "area.toml").read_text()
    (town / "area.toml").write_text(text.replace("2025-07-01", "2024-07-01"))
    with pytest.raises(InputError, match=r"2025 is of 2025-07-01, after .* give the earlier season first"):
        read_both(town / "seasons" / "2025", town)


def test_the_command_writes_into_the_area_of_the_season(town: Path) -> None:
    change_pools(town)
    before = set((town / "seasons").rglob("*"))
    done = commands.habitatmap("compare", town / "seasons" / "2025", town, "--json")
    assert done.code == 0
    assert json.loads(done.out)["pools"]["gained"] == 1
    assert {p.name for p in (town / "compare").iterdir()} == {
        *("causes.csv", "compare.html", "compare.json", "elsewhere.csv", "manifest.json", "pools.csv", "sites.csv"),
    }
    assert set((town / "seasons").rglob("*")) == before
    again = {p.name: p.read_bytes() for p in (town / "compare").iterdir()}
    assert commands.habitatmap("compare", town / "seasons" / "2025", town).code == 0
    assert {p.name: p.read_bytes() for p in (town / "compare").iterdir()} == again


def test_a_file_of_the_folder_is_never_trusted(town: Path) -> None:
    """Text of records and of kept files is text on the page."""
    season = town / "seasons" / "2025"
    for name in ("plan.csv",):
        text = (season / "out" / name).read_text(encoding="utf-8")
        (season / "out" / name).write_text(text.replace("Park", "<script>alert(1)</script>"), encoding="utf-8")
    (season / "out" / "summary.json").write_text("[1, 2")
    found = compared_with(season, town)
    page = comparison_page(found)
    assert "<script" not in page
    assert found.old.kept is not None
    assert found.old.kept.now == found.old.figures.now  # a figure that can't be read is made again
    assert found.old.altered == ("out/plan.csv", "out/summary.json")


def test_what_people_wrote_of_a_site_is_what_became_of_it(town: Path) -> None:
    (town / "plan_status.csv").write_text("id,state\nS1,refused\nS2,asked\nS3,to ask\n")
    found = compared(town)
    assert found.sites.set_index("id")["state"].to_dict() == {
        "S1": State.REFUSED,
        "S2": State.ASKED,
        "S3": State.OPEN,
    }
    assert found.changed == (Cause.CONSENT,)
    assert found.forward.of(Cause.CONSENT).now == 0.0


def test_seasons_are_found_by_their_names_too(town: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    season = town / "seasons" / "2025"
    assert find_season(Path("2025"), town) == season
    assert find_season(Path("2025"), season) == season
    assert find_season(season, town) == season
    monkeypatch.chdir(town)
    assert find_season(Path("2025")).resolve() == season
    assert find_season(Path("2024"), town) == Path("2024")
    done = commands.habitatmap("compare", "2025", town, "--dry-run")
    assert (done.code, (town / "compare").exists()) == (0, False)
    assert commands.habitatmap("compare", "2024", town).code == 2


def test_an_area_alone_is_compared_with_the_season_it_kept_last(town: Path, tmp_path: Path) -> None:
    change_pools(town)
    done = commands.habitatmap("compare", town, "--json")
    assert (done.code, json.loads(done.out)["pools"]["gained"]) == (0, 1)
    alone = commands.habitatmap("compare", town / "seasons" / "2025")
    assert (alone.code, alone.err.strip()) == (
        2,
        f"{town / 'seasons' / '2025'} is a kept season: name what it is compared with too, such as {town}",
    )
    shutil.rmtree(town / "seasons")
    none = commands.habitatmap("compare", town)
    assert none.code == 2
    assert f"keeps no season yet to compare with: keep one with habitatmap freeze {town} 2025" in none.err


# --- since the last kept season, without a calculation


def test_a_map_says_what_changed_since_the_last_kept_season(town: Path) -> None:
    change_pools(town)
    result = habitatmap.run(habitatmap.open_area(town), public=False)
    since, whole = since_last_season(result), compared_with(town / "seasons" / "2025", town)
    assert since is not None
    assert since.name == "2025"
    assert since.pools == {change: int((whole.pools["change"] == change).sum()) for change in Change}
    assert since.sites == counts(list(whole.sites["state"]))
    assert (since.before, since.now) == (whole.old.figures.now, whole.new.figures.now)
    told = since_told(since)
    assert told.startswith("Since the season 2025 (2025-07-01): Pools: 1 was gained.")
    page = map_page(dataclasses.replace(result, since=since))
    assert "Since the season {name} ({day}):" in page
    assert "Since the season" not in map_page(result)


def test_a_kept_map_for_programs_with_a_decimal_comma_is_read_too(town: Path) -> None:
    result = habitatmap.run(habitatmap.open_area(town), public=False)
    before = since_last_season(result)
    season = town / "seasons" / "2025"
    for name, content in text_files(result, semicolons=True).items():
        if name in ("plan.csv", "pools.csv"):
            (season / "out" / name).write_bytes(content)
    assert since_last_season(result) == before
    assert before is not None
    assert sum(before.pools.values()) == 0


def test_without_a_kept_season_a_map_says_nothing_of_it(town: Path) -> None:
    result = habitatmap.run(habitatmap.open_area(town), public=False)
    (town / "seasons" / "2025" / "out" / "pools.csv").write_text("nothing of ours")
    assert since_last_season(result) is None
    shutil.rmtree(town / "seasons")
    assert since_last_season(result) is None


# --- the demo's story


@pytest.mark.slow
def test_the_story_that_the_demos_script_wrote(tmp_path: Path) -> None:
    town = tmp_path / "town"
    shutil.copytree(DEMO, town, ignore=shutil.ignore_patterns("out", "*.py"))
    result = demo_result()
    write_map(result, town / "out")
    write_files(
        town / "out",
        {name: (town / "out" / name).read_bytes() for name in ("plan.csv", "site_ids.geojson", "summary.json")},
        "map",
        record=record_of(habitatmap.open_area(town)),
    )
    keep_season(town, "2025")
    story = demo_script().next_year(town)
    found = compared(town)

    by_change = {change: found.pools[found.pools["change"] == change] for change in Change}
    fresh = {pool for pool, _ in story.set_out.values()} | set(story.elsewhere)
    assert set(by_change[Change.GAINED]["pool"]) == fresh
    assert {row.pool: str(row.why) for row in by_change[Change.LOST].itertuples()} == story.lost
    assert by_change[Change.MOVED].set_index("pool")["moved_m"].to_dict() == pytest.approx(story.moved)
    assert (
        dict(zip(by_change[Change.RENAMED]["old_name"], by_change[Change.RENAMED]["pool"], strict=True))
        == story.renamed
    )
    assert by_change[Change.CAME_AND_WENT]["pool"].tolist() == story.came_and_went
    assert (found.new_visits, found.lost_visits) == (story.visits, story.lost_visits)
    assert len(found.new.standing) - len(found.old.standing) == len(fresh) - len(story.lost)

    sites = found.sites.set_index("id")
    set_out = sites[sites["state"] == State.SET_OUT]
    assert {site: (row["pool"], row["off_m"]) for site, row in set_out.iterrows()} == {
        site: (pool, pytest.approx(off, abs=0.2)) for site, (pool, off) in story.set_out.items()
    }
    assert found.elsewhere["pool"].tolist() == story.elsewhere
    refused = sites["place"].str.startswith(story.refused)
    assert (sites.loc[refused, "state"] == State.REFUSED).all()
    assert refused.sum() == Counter(sites["state"])[State.REFUSED] > 0

    assert found.changed == (Cause.POOLS, Cause.VISITS, Cause.CONSENT, Cause.LAND_COVER)
    assert found.old.figures == found.old.kept
    assert found.forward.of(Cause.CONSENT).now == 0.0
    assert found.forward.of(Cause.POOLS).now > 0
    assert isinstance(found.pools, pd.DataFrame)
