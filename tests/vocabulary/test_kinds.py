"""Kinds of input: which file is named for which."""

from __future__ import annotations

import pytest

from habitatmap.read.settings import ColumnSettings
from habitatmap.vocabulary.kinds import TABLES, Kind
from habitatmap.vocabulary.terms import Outcome
from habitatmap.words.names import KIND_NAMES


@pytest.mark.parametrize(
    ("stem", "kind"),
    [
        ("pools", Kind.POOLS),
        ("Pools_north", Kind.POOLS),
        ("pools north", Kind.POOLS),
        ("visits (Carla)", Kind.VISITS),
        ("Visits - Carla Smit 2024", Kind.VISITS),
        ("Visits 2024", Kind.VISITS),
        ("visits (2024)", Kind.VISITS),
        ("visits 20245", None),
        ("pools 2024", None),  # last year's list may repeat this year's
        ("visits (1)", None),
        ("visits - Kopie", None),
        ("pools map", None),
        ("land use", None),
        ("land_cover", Kind.LAND_COVER),
        ("land_cover_2024", Kind.LAND_COVER),
        ("land_east", Kind.LAND),
        ("land_coverage", None),
        ("keep_away_schools", Kind.KEEP_AWAY),
        ("overlays", None),
    ],
)
def test_a_file_is_of_the_kind_that_it_is_named_for(stem: str, kind: Kind | None) -> None:
    assert Kind.of_stem(stem) == kind


def test_every_kind_has_a_name_for_people_and_every_table_may_state_its_columns() -> None:
    assert set(KIND_NAMES) == set(Kind)
    assert set(ColumnSettings.model_fields) == {*TABLES, Kind.LAND_COVER}


def test_only_larvae_and_none_seen_are_searches() -> None:
    assert [outcome.value for outcome in Outcome if outcome.is_search] == ["larvae", "none seen"]
