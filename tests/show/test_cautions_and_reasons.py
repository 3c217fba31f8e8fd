"""What is said beside a suggestion: the cautions by settings, and reasons whose every figure is in the table."""

from __future__ import annotations

import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from habitatmap.intake.settings import Settings, settings_from
from habitatmap.show.cautions import general_cautions, site_caution
from habitatmap.show.reasons import metres, percent, reason
from tests.show.results import suggestion


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
    for word in ("drown", "wash", "nail", "Bats", "written consent", "region", "address", "Local rules", "licensed"):
        assert word in said, word


@pytest.mark.parametrize(
    ("consent", "private", "words"),
    [
        ("yes", "no", "on record"),
        ("ask", "no", "Ask the owner"),
        ("provisional", "no", "find the owner"),
        ("ask", "yes", "private ground"),
    ],
)
def test_consent_beside_a_suggestion(consent: str, private: str, words: str) -> None:
    said = site_caution({"consent": consent, "private": private}, Settings())
    assert words in said
    assert "drown" in said
    assert "Local rules and licensed practice" in said


def figures(text: str) -> list[str]:
    return re.findall(r"\d+(?:\.\d+)? (?:%|m\b)", text)


def test_every_figure_of_a_reason_is_a_column() -> None:
    row = suggestion(1, Settings())
    columns = [percent(row[c]) for c in ("gain", "cumulative", "occupancy_expected")]
    columns += [metres(row[c]) for c in ("forage_m", "dead_wood_m", "nearest_pool_m")]
    assert figures(row["reason"]) == columns
    assert re.findall(r"\d+(?:\.\d+)?", row["reason"]) == [c.split()[0] for c in columns], "no other figure"


@pytest.mark.parametrize("lacking", ["forage_m", "dead_wood_m", "nearest_pool_m", "occupancy_expected", "cumulative"])
def test_what_is_not_known_is_left_out(lacking: str) -> None:
    full, part = suggestion(1, Settings())["reason"], suggestion(1, Settings(), **{lacking: float("nan")})["reason"]
    assert "nan" not in part
    assert len(figures(part)) == len(figures(full)) - 1


def test_a_reason_without_any_distance() -> None:
    none: dict[str, Any] = dict.fromkeys(("forage_m", "dead_wood_m", "nearest_pool_m"), float("nan"))
    said = suggestion(1, Settings(), **none)["reason"]
    assert said.endswith("31 %.")
    assert reason(suggestion(1, Settings(), **none)) == said


@pytest.mark.parametrize(
    ("share", "text"),
    [(0.0123, "1.2 %"), (0.3123, "31 %"), (1.0, "100 %"), (0.0, "0 %"), (0.000047, "0.0047 %"), (0.999, "100 %")],
)
def test_percentages(share: float, text: str) -> None:
    assert percent(share) == text


@given(st.floats(1e-9, 1))
def test_a_percentage_is_within_five_hundredths_of_the_share(share: float) -> None:
    assert abs(float(percent(share).split()[0]) / 100 - share) <= 0.0501 * share
