"""Laws are tried on the same examples in every run, so that a run says something about the change and not about luck.

HABITATMAP_FUZZ=1 draws new ones: for long runs by hand.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy is loaded: tests run side by side

import pytest
from hypothesis import settings

settings.register_profile("same examples", derandomize=True)
if not os.environ.get("HABITATMAP_FUZZ"):
    settings.load_profile("same examples")

TESTS = Path(__file__).parent
# With several processes the longest files begin first, so that none of them is left for the end. The first compiles the
# plan's loops, the second needs none of them.
FIRST = """
    browser/test_page.py read/test_truth.py test_house.py test_threats.py test_codes_decide.py browser/test_what_if.py
    paper/test_paper.py real/test_real_places.py browser/test_layout.py browser/test_document.py plan/test_bound.py
    browser/test_languages.py plan/test_served.py plan/test_served_bound.py browser/test_around.py cli/test_rounds.py
    browser/test_outlook_and_report.py browser/test_survey_page.py test_figures.py plan/test_terms.py cli/test_survey.py
    browser/test_phone_page.py
""".split()


def pytest_configure(config: pytest.Config) -> None:
    config.option.loadscopereorder = False
    if hasattr(config, "workerinput"):  # one of several processes
        os.environ["HABITATMAP_TESTS_SHARE"] = str(Path(config.option.basetemp).parent)


# long runs that are left to the slow ones, so that the daily run keeps its time: a file and how its tests' names begin
# (a regular expression), "" for all of them
BY_HAND = {
    "browser/test_languages.py": "test_no_english_is_left_on_the_map_of_the_demo",
    "browser/test_page.py": r"test_axe_finds_nothing_in_any_state\[{'",
    "browser/test_outlook_and_report.py": r"test_it_is_silent_and_axe_finds_nothing\[\w+-\{'",
    "browser/test_survey_page.py": r"test_it_is_silent_and_axe_finds_nothing\[\{'",
    "export/test_outputs.py": "",
    "laws/test_intake.py": "",
    "laws/test_habitat_laws.py": "",
    "laws/test_occupancy.py": "",
    "laws/test_places.py": "",
    "laws/test_plan_laws.py": "",
    "plan/test_excluded_ground.py": "",
    "read/test_start.py": "",
    "test_codes_decide.py": "",
    "contract/test_hostile_text.py": r"test_nothing_of_it_is_run\[survey\]",
    "real/test_real_places.py": "test_kotka",
    "test_threats.py": "test_two_seasons",
    "test_plan_status.py": "test_(entries|a_refusal_that|where_the|a_site_set_out|on_private|pages_and|a_season)",
    "persons/test_person.py": "test_(a_kept_season|observers_of|a_pdf|two_people)",
    "faults/test_map_faults.py": "test_(?!zero_pools)",
    "published/test_forage_score_end_to_end.py": r"test_in_the_middle_of_a_disc\[[23]00\]",
    "network/test_removal.py": "",
}
# pages and papers are searched for English in one language a day; all are in the slow run
IN_ONE_LANGUAGE = ("test_no_english_", "test_words_of_a_label", "test_all_that_rounds")


def _by_hand(item: pytest.Item) -> bool:
    name = item.path.relative_to(TESTS).as_posix()
    if item.name.startswith(IN_ONE_LANGUAGE) and item.name.endswith(("[fr]", "[nl]")):
        return True
    return name in BY_HAND and re.match(BY_HAND[name], item.name) is not None


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in filter(_by_hand, items):
        item.add_marker(pytest.mark.slow)
    turn = {TESTS / name: n for n, name in enumerate(FIRST)}
    items.sort(key=lambda item: turn.get(item.path, len(turn)))
