"""Yes and no, names, counts with bounds."""

from __future__ import annotations

import math

import pytest

from habitatmap.intake.values import name_key, name_of, nearest_name, read_counts, yes_no


@pytest.mark.parametrize("cell", ["yes", "Y", "ja", "Oui", "sí", "kyllä", "x", "TRUE", True, 1, 1.0, "1", "✓"])
def test_yes(cell: object) -> None:
    assert yes_no(cell) == "yes"


@pytest.mark.parametrize("cell", ["no", "N", "nein", "non", "nee", "ei", "FALSE", False, 0, 0.0, "0"])
def test_no(cell: object) -> None:
    assert yes_no(cell) == "no"


def test_neither() -> None:
    assert yes_no(None) == yes_no("") == yes_no("  ") == ""
    assert yes_no("maybe") is None
    assert yes_no(2) is None


@pytest.mark.parametrize(
    ("cell", "exact", "low", "high"),
    [
        (12, 12, 12, 12),
        ("12", 12, 12, 12),
        (0, 0, 0, 0),
        ("none", 0, 0, 0),
        ("keine", 0, 0, 0),
        ("10+", None, 10, math.inf),
        (">10", None, 11, math.inf),
        ("at least 10", None, 10, math.inf),
        ("2-3", None, 2, 3),
        ("2 bis 3", None, 2, 3),
        ("ca. 20", None, 1, math.inf),
        ("~20", None, 1, math.inf),
        ("lots", None, 1, math.inf),
        ("viele", None, 1, math.inf),
        ("1?", None, 0, 1),
        (True, None, 1, math.inf),
    ],
)
def test_counts(cell: object, exact: float | None, low: float, high: float) -> None:
    (count,) = read_counts([cell])
    assert count is not None
    assert count[1:] == (low, high)
    assert math.isnan(count.exact) if exact is None else count.exact == exact


@pytest.mark.parametrize("cell", [None, "", "?", "x?", "-3", -3, 2.5, "3-2", "some day"])
def test_no_counts(cell: object) -> None:
    assert read_counts([cell]) == [None]


def test_names() -> None:
    assert name_of(12.0) == "12"
    assert name_of("  Pool   12 ") == "Pool 12"
    assert name_key("Pool 12") == name_key("pool12")
    assert name_key("Pool 12") != name_key("Pool 012")


def test_nearest_names_agree_in_their_numbers() -> None:
    names = ["Pool 12", "Pool 13", "Mill pond"]
    assert nearest_name("pol 12", names) == "Pool 12"
    assert nearest_name("Pool 14", names) == ""
    assert nearest_name("Mil pond", names) == "Mill pond"
    assert nearest_name("zzz", names) == ""
