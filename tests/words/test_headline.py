"""The headline's figure and what its ranges cover, from figures alone."""

from __future__ import annotations

import inspect
import math
import re
from dataclasses import replace
from pathlib import Path

import pytest

from habitatmap.cli import options
from habitatmap.cli.progress import LEFT
from habitatmap.export import worked
from habitatmap.result.figures import Figures
from habitatmap.words import headline as words_of_map
from habitatmap.words.catalogue import LANGUAGES, catalogue, words
from habitatmap.words.headline import (
    FOR_FLIGHT,
    FOR_OCCUPANCY,
    MISSING,
    STAGES,
    WRITING_FILES,
    headline,
    ranges,
    reach_with_plan,
)
from tests.demo import demo_result
from tests.results import base_result
from tests.words.spoken import OTHERS, recorder, templates_in

CLI = Path(options.__file__).parent


def figures(low: float, high: float, short: float, far: float) -> Figures:
    """A town with 0.597 in reach now: from low to high for occupancy, from short to far for flight."""
    base = base_result().figures
    reach = replace(base.forage_in_reach, now=0.597, low=low, high=high, with_plan=0.687, with_plan_low=low)
    medians = {"100": short, "500": far}
    reach = replace(reach, with_plan_high=high, by_forage_median_m=medians, with_plan_by_forage_median_m=medians)
    return replace(base, forage_in_reach=reach)


def test_each_range_says_what_it_covers_and_is_rounded_outwards() -> None:
    assert [str(said) for said in ranges(figures(0.5799, 0.6301, 0.4501, 0.7599), with_plan=False)] == [
        "57 to 64 % for what searches leave open about occupancy",
        "45 to 76 % for how far flies go, with a median flight of 100 m to 500 m",
    ]


@pytest.mark.parametrize(("now", "gaps", "told"), [(0.0, 0.06, True), (0.02, 0.9, False), (0.6, 0.02, False)])
def test_where_little_is_reached_and_little_is_a_gap_the_rest_is_explained(now: float, gaps: float, told: bool) -> None:
    """A town of poor ground: nothing in reach, and yet hardly a gap."""
    base = base_result().figures
    of = replace(
        base,
        forage_in_reach=replace(base.forage_in_reach, now=now, low=now, high=now),
        gaps=replace(base.gaps, share=gaps),
    )
    rest = "Most forage out of reach is no gap: its ground is too poor in flowers, or the piece too small."
    assert (rest in headline(of)) == told


def test_where_there_is_no_gap_that_is_said_without_a_nought() -> None:
    base = base_result().figures
    told = headline(replace(base, gaps=replace(base.gaps, count=0, share=0.0)))
    assert "There is no gap." in told
    assert "Gaps:" not in told


def test_a_range_of_flight_as_wide_as_half_the_scale_leads() -> None:
    of = figures(0.58, 0.63, 0.2, 0.93)
    told = [str(said) for said in ranges(of, with_plan=False)]
    assert told[0].startswith("20 to 93 % for how far flies go")
    assert (
        "Forage in reach now: 20 to 93 % of the area's forage, by how far flies go (median flight 100 to 500 m); "
        "59.7 % with the flight that is assumed (58 to 63 % for what searches leave open about occupancy)."
    ) in headline(of)
    assert "expect: 20 to 93 % would be in reach, by how far flies go" in reach_with_plan(of)
    narrow = figures(0.58, 0.63, 0.5, 0.9)
    assert "Forage in reach now: 59.7 % of the area's forage (58 to 63 % for what searches leave" in headline(narrow)
    assert "expect: 68.7 % would be in reach (58 to 63 % for what" in reach_with_plan(narrow)


@pytest.mark.parametrize("unknown", [0, 1, 2, 3])
def test_what_is_not_known_is_left_out(unknown: int) -> None:
    values = [0.58, 0.63, 0.5, 0.9]
    values[unknown] = math.nan
    told = [said.template for said in ranges(figures(*values), with_plan=True)]
    assert told == [FOR_FLIGHT if unknown < 2 else FOR_OCCUPANCY]
    assert "nan" not in headline(figures(*values))


@pytest.mark.parametrize("language", LANGUAGES[1:])
def test_the_ranges_are_said_in_each_language(language: str) -> None:
    assert {FOR_FLIGHT, FOR_OCCUPANCY} <= words(language)["sentences"].keys()


@pytest.mark.parametrize("language", OTHERS)
def test_the_terminal_of_map_is_said_in_each_language(language: str) -> None:
    """All that it may say, and what it says of the demo town and of towns whose flowers are or are not known."""
    spoken = recorder(language)
    base = base_result().figures
    nothing = replace(base, forage_in_reach=replace(base.forage_in_reach, now=math.nan), missing=tuple(MISSING))
    for one in (demo_result().figures, figures(0.58, 0.63, 0.5, 0.9), figures(0.6, 0.6, 0.2, 0.93), nothing):
        headline(one, spoken)
    assert spoken.unsaid <= {"class 1"}, "a class of an invented table"
    told = {*STAGES.values(), WRITING_FILES, LEFT}
    assert told | templates_in(inspect.getsource(words_of_map)) <= catalogue(language).sentences.keys()


@pytest.mark.parametrize("language", OTHERS)
def test_what_the_commands_wrote_and_used_again_is_said_in_each_language(language: str) -> None:
    sources = {path.name: path.read_text(encoding="utf-8") for path in CLI.glob("*.py")}
    named = {
        text for source in sources.values() for text in re.findall(r'call\.(?:wrote|known)\([^"()]*"([^"]+)"', source)
    }
    assert {"Map", "What lies around each pool"} <= named
    told = (
        named | templates_in(sources["options.py"]) | templates_in(inspect.getsource(worked)) | {*worked.WHY.values()}
    )
    assert told | {options.THE_PLAN} <= catalogue(language).sentences.keys()
