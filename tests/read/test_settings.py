"""area.toml: defaults as the contract states them, and one sentence for each fault."""

from __future__ import annotations

import datetime
import math
from pathlib import Path
from typing import Any

import pytest

from habitatmap.errors import InputError
from habitatmap.read.settings import SeasonSettings, Settings, read_settings, settings_from


def test_no_file_gives_the_defaults_of_the_contract(tmp_path: Path) -> None:
    s = read_settings(tmp_path)
    assert s == Settings()
    assert (s.title, s.crs, s.cell_m, s.as_of) == ("", None, 10.0, None)
    assert (s.season.first_month, s.season.last_month) == (3, 10)
    assert s.flight.model_dump() == {"forage_median_m": 250, "dispersal_median_m": 500, "link_m": 1000, "merge_m": 30}
    assert s.near.model_dump() == {"forage_from": 0.4, "dead_wood_from": 0.5}
    assert s.gap.model_dump() == {"reached_below": 0.2, "forage_from": 0.25, "least_ha": 0.5}
    assert s.occupancy.model_dump() == {"existing": "model", "new": "model", "trees": 0.3}
    assert s.plan.model_dump() == {
        "pools": 10,
        "spacing_m": 100,
        "consent": ("yes", "ask"),
        "private": False,
        "objective": "reach",
        "found_from": "both",
        "years": 10,
        "budget": None,
        "cost_per_site": 1.0,
        "cost_by_kind": {},
        "cost_unit": "",
        "quota": {"per_place": None, "per_owner": None, "by_name": {}},
    }
    assert (s.cautions.mosquitoes, s.public.blur_m) == ("not assessed", 1000)


def test_a_full_file_is_read(tmp_path: Path) -> None:
    text = """
title = "Invented town"
crs = "EPSG:25832"
cell_m = 20
as_of = 2025-06-01
[season]
first_month = 10
last_month = 3
[occupancy]
existing = 0.4
[plan]
consent = ["yes"]
[keep_away]
playground = 80
[source_crs]
"land_cover.tif" = "EPSG:2056"
[columns.pools]
pool = "Eimer"
"""
    (tmp_path / "area.toml").write_bytes(b"\xef\xbb\xbf" + text.encode())  # as one Windows editor saves it
    s = read_settings(tmp_path)
    assert (s.cell_m, s.as_of, s.occupancy.existing) == (20, datetime.date(2025, 6, 1), 0.4)
    assert s.season.months == (10, 11, 12, 1, 2, 3)
    assert s.keep_away == {"playground": 80}
    assert s.columns.pools == {"pool": "Eimer"}


def test_months_of_one_month_and_of_a_whole_year() -> None:
    assert SeasonSettings(first_month=5, last_month=5).months == (5,)
    assert SeasonSettings(first_month=1, last_month=12).months == tuple(range(1, 13))


@pytest.mark.parametrize(
    ("found", "sentence"),
    [
        ({"cel_m": 3}, "area.toml: cel_m is not a known key; did you mean cell_m?"),
        ({"flight": {"link": 3}}, "area.toml: flight.link is not a known key; did you mean flight.link_m?"),
        ({"forage_median_m": 3}, "area.toml: forage_median_m is not a known key; did you mean flight.forage_median_m?"),
        ({"cell_m": 0}, "area.toml: cell_m is 0; expected a number of metres above 0"),
        ({"cell_m": math.nan}, "area.toml: cell_m is nan; expected a number of metres above 0"),
        ({"cell_m": math.inf}, "area.toml: cell_m is inf; expected a number of metres above 0"),
        ({"cell_m": "10"}, 'area.toml: cell_m is "10"; expected a number of metres above 0'),
        ({"cell_m": True}, "area.toml: cell_m is true; expected a number of metres above 0"),
        ({"occupancy": {"new": 1.2}}, 'area.toml: occupancy.new is 1.2; expected "model" or a number from 0 to 1'),
        ({"season": {"first_month": 13}}, "area.toml: season.first_month is 13; expected a month number from 1 to 12"),
        ({"plan": {"pools": 2.5}}, "area.toml: plan.pools is 2.5; expected a whole number, 0 or more"),
        ({"keep_away": {"road": -1}}, "area.toml: keep_away.road is -1; expected a number of metres, 0 or more"),
        ({"as_of": "last week"}, 'area.toml: as_of is "last week"; expected a date such as 2025-06-01'),
        (
            {"units": {"trees": {"diameter": "inches"}}},
            'area.toml: units.trees.diameter is "inches"; expected "cm", "inch", "mm", "m" or "ft"',
        ),
        ({"columns": {"pools": {"x": 3}}}, "area.toml: columns.pools.x is 3; expected a text in quotes"),
    ],
)
def test_each_fault_is_one_sentence(found: dict[str, Any], sentence: str) -> None:
    with pytest.raises(InputError) as fault:
        settings_from(found)
    assert str(fault.value) == sentence


def test_every_fault_is_told_at_once() -> None:
    with pytest.raises(InputError) as fault:
        settings_from({"cell_m": -1, "plan": {"consent": ["no"]}, "flight": 3})
    lines = str(fault.value).splitlines()
    assert len(lines) == 3
    assert "never planned on" in str(fault.value)
    assert "a table: [flight] on a line of its own" in str(fault.value)


def test_text_that_is_no_toml_names_the_place(tmp_path: Path) -> None:
    (tmp_path / "area.toml").write_text("title = Town\n")
    with pytest.raises(InputError, match=r"area.toml is not valid TOML: .*line 1"):
        read_settings(tmp_path)
    (tmp_path / "area.toml").write_bytes(b"cell_m = 10\ntitle = 'Stra\xdfe'\n")
    with pytest.raises(InputError, match=r"area.toml line 2 is not UTF-8"):
        read_settings(tmp_path)
