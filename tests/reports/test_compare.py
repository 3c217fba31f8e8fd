"""What changed, as a page, a JSON and lines: the same figures everywhere, in every language, from nothing but text."""

from __future__ import annotations

import dataclasses
import inspect
import re
from pathlib import Path

import pytest

import habitatmap
import habitatmap.page.before_after
import habitatmap.reports.compare
import habitatmap.reports.package
import habitatmap.words.changes
from habitatmap.changes.causes import Cause
from habitatmap.changes.comparison import Comparison
from habitatmap.comparing import compare, read_both
from habitatmap.export.package import Unpacked
from habitatmap.export.season import keep_season
from habitatmap.reports.compare import account, comparison_page, comparison_text
from habitatmap.reports.package import unpacked_told
from habitatmap.words.catalogue import catalogue
from habitatmap.words.changes import by_cause, points
from tests.areas import LEFT, TOP
from tests.export.test_worked import make_area
from tests.test_comparing import change_cover, change_visits, write_map
from tests.words.spoken import OTHERS, numbers_in, recorder, same_texts, templates_in

RECORDS = ["town", "A test area", "Park", "Field", "2025", "habitatmap", "Old <b>one</b>"]


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Comparison:
    """A season with a pool gained, lost, moved, renamed, and one at a suggested site; visits and land cover changed."""
    town = make_area(tmp_path_factory.mktemp("compare") / "town")
    write_map(habitatmap.run(habitatmap.open_area(town), public=False), town / "out")
    keep_season(town, "2025")
    site = habitatmap.open_area(town).earlier_sites.iloc[0]
    text = f"pool,x,y\nA2,{LEFT + 55},{TOP - 105}\nB,{LEFT + 185},{TOP - 105}\nN,{site['x'] + 5},{site['y']}\n"
    (town / "pools.csv").write_text(text + f"Old <b>one</b>,{LEFT + 300},{TOP - 250}\n")
    (town / "visits.csv").write_text("pool,date,outcome\nA2,2025-05-01,larvae\nB,2025-05-01,none seen\n")
    change_visits(town)
    change_cover(town)
    return compare(read_both(town / "seasons" / "2025", town))


def test_the_page_tells_every_change_and_nothing_of_a_record_is_markup(told: Comparison) -> None:
    page, text, made = comparison_page(told), comparison_text(told), account(told)
    assert "<b>one</b>" not in page
    assert "&lt;b&gt;one&lt;/b&gt;" in page
    assert made["pools"] == {"gained": 2, "lost": 1, "moved": 1, "renamed": 1, "came and went": 0}
    assert "Pools: 2 were gained, 1 was lost, 1 moved and 1 has another name." in text
    at_sites = int((told.sites["pool"] != "").sum())
    assert at_sites >= 1
    assert f"Of 3 suggested sites {at_sites} ha" in text
    for figure in ("now", "with_plan"):
        before, after = getattr(told.old.figures, figure), getattr(told.new.figures, figure)
        assert f"from {100 * before:.1f} % to {100 * after:.1f} %" in text
    assert len(re.findall(r"<image href=\"data:image/webp", page)) == 2
    assert "http" not in page.replace("http://www.w3.org/2000/svg", "").replace("http-equiv", "")


def test_a_row_of_causes_is_the_sum_of_its_columns(told: Comparison) -> None:
    page = comparison_page(told)
    tables = re.findall(r"Forage in reach now: what each cause adds.*?</table>", page, re.DOTALL)
    rows = re.findall(r"<tr><th [^>]*>([^<]*)</th>(.*?)</tr>", tables[0])
    figures = {
        name: [float(f) for f in re.findall(r">([-+]?[\d.]+)<", cells)] for name, cells in rows if name != "Cause"
    }
    whole = figures.pop("all together")
    for column in (0, 1):
        assert sum(row[column] for row in figures.values()) == pytest.approx(whole[column], abs=0.011 * len(figures))


@pytest.mark.parametrize("language", OTHERS)
def test_no_english_is_left(told: Comparison, language: str) -> None:
    spoken = recorder(language)
    english, other = comparison_page(told), comparison_page(told, spoken)
    assert (
        same_texts(english, other, [*RECORDS, *told.pools["pool"], *told.sites["place"], *told.sites["id"], "95 %"])
        == []
    )
    assert [n for n in numbers_in(english) if n > 31] == [n for n in numbers_in(other) if n > 31]
    comparison_text(told, spoken)
    old = dataclasses.replace(told.old, same_program=False)
    comparison_text(dataclasses.replace(told, old=old), spoken)
    assert spoken.unsaid == set()


@pytest.mark.parametrize("language", OTHERS)
def test_every_sentence_is_in_the_catalogues(language: str) -> None:
    known = catalogue(language).sentences.keys()
    modules = (
        habitatmap.reports.compare,
        habitatmap.words.changes,
        habitatmap.page.before_after,
        habitatmap.reports.package,
    )
    for module in modules:
        assert templates_in(inspect.getsource(module)) - known == set()
    for templates in (*habitatmap.words.changes.OF_POOLS.values(), *habitatmap.words.changes.OF_SITES.values()):
        assert set(templates) <= known
    for templates in habitatmap.reports.compare.WENT.values():
        assert set(templates) <= known
    assert {str(cause) for cause in Cause} <= known


def test_points_and_causes_in_words() -> None:
    assert [str(points(value)) for value in (0.0864, -0.0004, -0.05, 0.0, float("nan"))] == [
        "+8.6",
        "0",
        "-5.0",
        "0",
        "not known",
    ]
    parts = [(Cause.POOLS, 0.02, 0.01), (Cause.VISITS, -0.05, -0.05), (Cause.TREES, 0.0, 0.0002)]
    assert by_cause(parts) == "visits -5.0 and pools +1.0 to +2.0"
    assert by_cause([(Cause.POOLS, 0.0, 0.0)]) == ""


def test_what_was_unpacked_says_what_may_give_other_figures() -> None:
    done = Unpacked(Path("town"), 12, False, {"numpy": ("1.26", "2.4"), "folium": ("0.20", "")}, True)
    said = " ".join(unpacked_told(done))
    assert "12 files in town" in said
    assert "Without its contacts" in said
    assert "numpy 1.26 (here 2.4), folium 0.20 (here -)" in said
    assert len(unpacked_told(dataclasses.replace(done, contacts=True, other_versions={}, layers_kept=False))) == 1
