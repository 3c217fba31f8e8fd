"""What is said beside a suggestion: the cautions by settings, and reasons whose every figure is in the table."""

from __future__ import annotations

import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from habitatmap.page.tornado import tornado_svg, tornado_words
from habitatmap.plan.candidates import ExcludedUse, ExclusionZone
from habitatmap.read.settings import Settings, settings_from
from habitatmap.vocabulary.terms import Hazard
from habitatmap.words.cautions import (
    Caution,
    for_area,
    for_recording,
    for_round,
    general_cautions,
    site_caution,
)
from habitatmap.words.reasons import doubt, reason
from habitatmap.words.sentences import hectares, significant
from tests.results import suggestion


def mosquitoes(state: str) -> Settings:
    return settings_from({"cautions": {"mosquitoes": state}})


def test_reported_mosquitoes_come_first_everywhere() -> None:
    settings = mosquitoes("reported")
    for row in ({"consent": "yes", "private": "no"}, {"consent": "ask", "private": "yes"}, {"consent": "provisional"}):
        first = site_caution(row, settings).split(".")[0]
        assert "ask the health authority first" in first
    assert "ask the health authority first" in general_cautions(settings)[0]


def test_the_three_states_of_mosquitoes_differ() -> None:
    said = {general_cautions(mosquitoes(s))[0] for s in ("reported", "not assessed", "none reported")}
    assert len(said) == 3
    assert "not been assessed" in general_cautions(Settings())[0]


def test_the_usual_cautions_are_all_there() -> None:
    said = " ".join(general_cautions(Settings()))
    for word in (
        *("drown", "bears a child", "wash", "within three weeks", "nail", "dead or damaged branches", "high wind"),
        *("bats or a nest", "written consent", "sharp, rusty or rotten", "chemicals", "climb out", "address"),
        *("two people", "ladder", "alone", "road", "tells the health authority", "Take the pool in"),
        *("clean rain water", "Never move water, litter or larvae from one pool to another", "local by-laws"),
        *("licensed ecologists", "qualified tree inspectors", "health officers"),
    ):
        assert word in said, word


def test_files_of_the_team_are_nothing_to_everybody() -> None:
    team, everybody = general_cautions(Settings()), general_cautions(Settings(), public=True)
    assert [said for said in team if said not in everybody] == [Caution.SHARING.sentence]
    assert set(everybody) < set(team)


def test_who_goes_round_the_pools_carries_no_water_from_one_to_another() -> None:
    for chosen in (for_area(Settings()), for_round(Settings()), for_recording(Settings())):
        assert {Caution.LITTER, Caution.HYGIENE, Caution.MOSQUITO_LARVAE} <= set(chosen)


@pytest.mark.parametrize(
    ("consent", "private", "words"),
    [
        ("yes", "no", "on record"),
        ("ask", "no", "Ask the owner"),
        ("provisional", "no", "find the owner"),
        ("ask", "yes", "private land"),
    ],
)
def test_consent_beside_a_suggestion(consent: str, private: str, words: str) -> None:
    said = site_caution({"consent": consent, "private": private}, Settings())
    assert words in said
    assert "drown" in said
    for words in ("Spare old trees", "bats or a nest", "wash your hands", "Follow local by-laws"):
        assert words in said


def figures(text: str) -> list[str]:
    return re.findall(r"\d+(?:\.\d+)? (?:%|m\b)", text)


def test_every_figure_of_a_reason_is_a_column() -> None:
    row = suggestion(1, Settings())
    said = str(reason(row))
    assert figures(said) == [str(significant(row[column])) for column in ("gain", "robustness")]
    told = [str(hectares(row["new_ha"])), *figures(said)]
    assert re.findall(r"\d+(?:\.\d+)?", said) == [figure.split()[0] for figure in told], "no other figure"


def test_a_reason_is_one_sentence_of_what_it_serves_what_speaks_against_it_and_how_sure_it_is() -> None:
    assert str(reason(suggestion(1, Settings()))) == (
        "A pool here serves 3.2 ha in flower that adults would probably not reach without it (mostly park, most in "
        "July), 1.2 % of the area's forage; against it: the owner may say no; it is a robust choice and stays in the "
        "plan in 80 % of the simulations."
    )


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"new_ha": 0.0}, "serves flowers that adults may reach already, and makes that surer (mostly park, most in"),
        ({"new_class_share": 0.4}, "(park first of all, most in July)"),
        ({"new_class": ""}, "without it, 1.2 %"),
        ({"new_month": float("nan"), "new_ha": 0.0}, "makes that surer, 1.2 %"),
        ({"robustness": 0.6}, "it is a fair choice and stays"),
        ({"robustness": 0.2}, "another site may be better, as this one stays in the plan in 20 %"),
        ({"robustness": float("nan")}, "the owner may say no."),
        ({"ec_gain": 0.1}, "forage, and raises the equivalent connectivity of the network by 10 %;"),
        ({"consent": "provisional"}, "against it: it is not known whose land this is;"),
        ({"also_ask": "the school"}, "against it: others must agree besides the owner;"),
        ({"not_allowed": ExcludedUse("pitch")}, "would not have put a pool here (no pool can stand on: pitch);"),
        ({"consent": "yes", "assumed_share": 0.44}, "against it: 44 % of that is assumed"),
        ({"consent": "yes"}, "against it: the probability of larvae is hardly known, 10 % to 60 %;"),
        ({"consent": "yes", "occupancy_high": 0.3, "sampled": "no"}, "against it: no pool in such surroundings"),
        ({"consent": "yes", "occupancy_high": 0.3}, "against it: nothing that is known;"),
    ],
)
def test_a_reason_says_what_is_true_of_its_site(changes: dict[str, Any], words: str) -> None:
    said = str(reason(suggestion(1, Settings(), **changes)))
    assert words in said
    assert "nan" not in said
    assert said.count(". ") == 0
    assert said.endswith(".")


@pytest.mark.parametrize(
    ("share", "text"),
    [
        (0.0123, "1.2 %"),
        (0.3123, "31 %"),
        (1.0, "100 %"),
        (0.0, "0 %"),
        (0.000047, "0.0047 %"),
        (0.999, "100 %"),
        (0.009997, "1.0 %"),
    ],
)
def test_percentages(share: float, text: str) -> None:
    assert str(significant(share)) == text


@given(st.floats(1e-9, 1))
def test_a_percentage_is_within_five_hundredths_of_the_share(share: float) -> None:
    assert abs(significant(share).value / 100 - share) <= 0.0501 * share


SURE = {"robustness": 0.9, "consent": "yes", "occupancy_low": 0.3, "occupancy_high": 0.5, "assumed_share": 0.1}


def test_something_could_always_be_wrong() -> None:
    row = suggestion(1, Settings(), **SURE)
    assert str(doubt(row)) == "Forage and flight are calculated from maps: visit the site before you install a pool."


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"consent": "ask"}, "The owner may say no"),
        ({"consent": "provisional"}, "Who owns this land"),
        ({"robustness": 0.3}, "Another site may be better: it stays in the plan in 30 %"),
        ({"robustness": 0.7}, "a fair choice, not a sure one"),
        ({"assumed_share": 0.6}, "60 % of what it adds is assumed"),
        ({"sampled": "no"}, "untested"),
        ({"occupancy_low": 0.1, "occupancy_high": 0.8}, "between 10 % and 80 %"),
        ({"not_allowed": ExclusionZone("school"), "committed": "yes"}, "ruled out because: too near to: school"),
        ({"not_allowed": ExcludedUse("pitch"), "committed": "yes"}, "ruled out because: no pool can stand on: pitch"),
        ({"not_allowed": ExcludedUse(Hazard.STEEP), "committed": "yes"}, "ruled out because: the ground is too steep"),
        ({"consent": "ask", "also_ask": "the parish; the water authority"}, "Ask first: the parish, the water author"),
        ({"consent": "yes", "also_ask": "the parish"}, "Make sure that they have agreed: the parish."),
    ],
)
def test_each_doubt_is_said_when_there_is_reason_for_it(changes: dict[str, Any], words: str) -> None:
    assert words in str(doubt(suggestion(1, Settings(), **(SURE | changes))))
    assert words not in str(doubt(suggestion(1, Settings(), **SURE)))


def test_a_committed_site_and_a_range_are_said_in_the_reason() -> None:
    said = str(reason(suggestion(1, Settings(), committed="yes", gain_low=0.01, gain_high=0.02)))
    assert said.startswith("A pool on this committed site serves 3.2 ha")
    assert "(likely 1.0 % to 2.0 %)" in said


def test_the_picture_and_the_sentence_name_what_moves_the_plan_most() -> None:
    rows = [
        {"assumption": "none", "level": "as planned", "kept": 1.0},
        {"assumption": "forage", "level": "low", "kept": 0.9},
        {"assumption": "flight <b>", "level": "100 m", "kept": 0.4},
        {"assumption": "flight <b>", "level": "500 m", "kept": 0.8},
    ]
    said = str(tornado_words(rows))
    assert said.startswith("What moves the plan most is the flight <b>: with 100 m, 60 % of the sites")
    assert "forage 10 %" in said
    picture, labels = tornado_svg(rows)
    assert [str(label) for label in labels] == [
        "share of the sites that leave the plan",
        *("flight <b>", "100 m: 60 %", "500 m: 20 %"),
        *("forage", "low: 10 %"),
    ]
    assert re.findall(r">\{t(\d)\}<", picture) == list("012345")
    assert "style" not in picture
    assert tornado_svg(rows[:1]) == ("", [])
    assert tornado_words(rows[:1]) is None
    assert str(tornado_words([{"assumption": "x", "level": "y", "kept": 1.0}])).startswith("No assumption by itself")
