"""Yes and no, names, counts with bounds."""

from __future__ import annotations

import math

import pytest

from habitatmap.read.values import name_key, name_of, nearest_name, read_counts, read_volumes, yes_no


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
        ("12 Larven", 12, 12, 12),
        ("zwei", 2, 2, 2),
        ("no larvae", 0, 0, 0),
        ("2 or 3", None, 2, 3),
        ("2-3 larvae", None, 2, 3),
        ("1-2?", None, 0, 2),
        ("5 oder mehr", None, 5, math.inf),
        ("<5", None, 0, 4),
        ("up to 5", None, 0, 5),
        ("sehr viele", None, 1, math.inf),
        ("paljon", None, 1, math.inf),
        ("x", None, 1, math.inf),
        ("+", None, 1, math.inf),
        ("1,000", 1000, 1000, 1000),
    ],
)
def test_counts(cell: object, exact: float | None, low: float, high: float) -> None:
    (count,) = read_counts([cell])
    assert count is not None
    assert count[1:] == (low, high)
    assert math.isnan(count.exact) if exact is None else count.exact == exact


@pytest.mark.parametrize("cell", [None, "", "?", "x?", "-3", -3, 2.5, "3-2", "some day", "1.000", "2 of 3", "3+2", "-"])
def test_no_counts(cell: object) -> None:
    assert read_counts([cell]) == [None]


@pytest.mark.parametrize(
    ("cell", "heading", "litres"),
    [
        (8, "volume_l", 8),
        ("8,5 Liter", "", 8.5),
        ("750 ml", "", 0.75),
        ("ca. 10 l", "", 10),
        (2, "Volume (US gallons)", 7.570823568),
        ("2 uk gal", "", 9.09218),
        ("5 l", "Volume (US gallons)", 5),
        # a gallon of which country?
        (2, "Volume (gal)", math.nan),
        ("3 gallons", "", math.nan),
        ("full", "", math.nan),
        (0, "", math.nan),
        (None, "", math.nan),
    ],
)
def test_volumes(cell: object, heading: str, litres: float) -> None:
    """A US gallon is 231 cubic inches of 2.54 cm, an imperial one 4.54609 l, by their definitions."""
    assert read_volumes([cell], heading) == pytest.approx([litres], nan_ok=True)


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
