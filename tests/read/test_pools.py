"""Pools: every row is accepted or set aside, and which stand on a day."""

from __future__ import annotations

import datetime
import math
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import CRS

from habitatmap.errors import CrsError, InputError
from habitatmap.errors.why import Why
from habitatmap.geo.crs import WGS84, transform
from habitatmap.read.files import read_tables
from habitatmap.read.formats.table import Stated
from habitatmap.read.ledger import Ledger
from habitatmap.read.points import rough_lonlat
from habitatmap.read.pools import POOLS, read_pools, standing
from tests.read.tables import FINLAND, aside, pools, table, types, visits, write


def test_a_full_row() -> None:
    frame, ledger = pools(
        table(
            "pool,x,y,set_out,removed,private,container,filling,volume_l,shade,host,consent,consent until,note",
            (
                "P1",
                385540.5,
                "6671800,5",
                "2024-03-01",
                datetime.date(2025, 3, 1),
                "nein",
                "bucket",
                "leaves",
                "2,5",
                "half",
                "A",
                "erteilt",
                "31.12.2025",
                "n",
            ),
        )
    )
    (row,) = frame.to_dict("records")
    assert row == {
        "pool": "P1",
        "old_name": "",
        "x": 385540.5,
        "y": 6671800.5,
        "uncertainty_m": 0.1,
        "set_out": pd.Timestamp("2024-03-01"),
        "removed": pd.Timestamp("2025-03-01"),
        "set_out_first": pd.Timestamp("2024-03-01"),
        "set_out_last": pd.Timestamp("2024-03-01"),
        "removed_first": pd.Timestamp("2025-03-01"),
        "removed_last": pd.Timestamp("2025-03-01"),
        "private": "no",
        "container": "bucket",
        "filling": "leaves",
        "volume_l": 2.5,
        "shade": "half",
        "host": "A",
        "consent": "yes",
        "consent_until": pd.Timestamp("2025-12-31"),
        "group": "",
        "photo": "",
        "note": "n",
        "file": "table.csv",
        "row": 2,
    }
    assert ledger.counts()["pools"] == {"read": 1, "accepted": 1, "set_aside": 0}


def test_nothing_given_is_nothing_made_up() -> None:
    frame, _ = pools(table("pool,x,y", ("P1", 10, 20)))
    (row,) = frame.to_dict("records")
    assert math.isnan(row["volume_l"])
    assert pd.isna(row["set_out"])
    assert pd.isna(row["removed"])
    assert row["private"] == row["container"] == row["note"] == ""


@pytest.mark.parametrize("tables", [[], [table("pool,x,y")], [table("pool,x,y", ("", 1, 2))]])
def test_an_empty_frame_has_every_column_and_type(tables: list[object]) -> None:
    frame, _ = pools(*tables)  # type: ignore[arg-type]
    assert len(frame) == 0
    assert types(frame) == POOLS


def test_the_order_is_the_order_of_names_whatever_the_file_says() -> None:
    rows = [("P2", 1, 1), ("P1", 2, 2), ("P10", 3, 3)]
    forward, _ = pools(table("pool,x,y", *rows))
    backward, _ = pools(table("pool,x,y", *rows[::-1]))
    assert forward["pool"].tolist() == backward["pool"].tolist() == ["P1", "P10", "P2"]
    assert forward.index.tolist() == [0, 1, 2]


def test_rows_without_name_or_place_are_set_aside() -> None:
    _, ledger = pools(table("pool,x,y", ("", 1, 2), ("P2", "", ""), ("P3", 1, ""), ("P4", "here", 2)))
    assert [row for row, _ in aside(ledger)] == [2, 3, 4, 5]
    assert "names no pool" in aside(ledger)[0][1]
    assert "no coordinates" in aside(ledger)[1][1]
    assert ledger.frame()["column"].tolist() == ["pool", "", "y", "x"]


def test_two_places_for_one_pool_set_both_rows_aside() -> None:
    frame, ledger = pools(table("pool,x,y", ("P1", 0, 5), ("p 1", 100, 5), ("P2", 7, 7)))
    assert frame["pool"].tolist() == ["P2"]
    first, second = ledger.frame().to_dict("records")
    assert "row 3" in first["reason"]
    assert "row 2" in second["reason"]


def test_three_rows_with_two_places_set_all_aside() -> None:
    frame, ledger = pools(table("pool,x,y,note", ("P1", 5, 5, "a"), ("P1", 5, 5, "b"), ("P1", 90, 5, "c")))
    assert len(frame) == 0
    assert [row for row, _ in aside(ledger)] == [2, 3, 4]


def test_an_identical_row_is_a_repeat_and_the_first_stays() -> None:
    frame, ledger = pools(table("pool,x,y,note", ("P1", 5, 5, "a"), ("P1", 5, 5, "a"), ("P1", 5, 5, "b")))
    assert frame["row"].tolist() == [2]
    (repeat, other) = aside(ledger)
    assert "repeats row 2" in repeat[1]
    assert "other details" in other[1]


@pytest.mark.parametrize(("metres", "reason"), [(0.5, Why.TWO_ROWS), (5.0, Why.TWO_PLACES)])
def test_rows_of_one_pool_within_a_metre_are_one_place(metres: float, reason: Why) -> None:
    frame, ledger = pools(table("pool,x,y,note", ("P1", 100, 100, "a"), ("P1", 100 + metres, 100, "b")))
    assert len(frame) == (1 if reason is Why.TWO_ROWS else 0)
    assert {entry.why.code for entry in ledger.in_order()} == {reason}


def test_a_repeat_in_another_file_is_named() -> None:
    one = table("pool,x,y", ("P1", 5, 5), file="pools_a.csv")
    two = table("pool,x,y", ("P1", 5, 5), file="pools_b.csv")
    frame, ledger = pools(one, two)
    assert frame["file"].tolist() == ["pools_a.csv"]
    assert "row 2 of pools_a.csv" in aside(ledger)[0][1]
    assert ledger.by_file()[("pools", "pools_b.csv")] == (1, 0, 1)


def test_rows_of_a_table_without_names_are_set_aside_and_it_is_said_why() -> None:
    frame, ledger = pools(table("lat,lon", (60.1712, 24.9415), (60.1722, 24.9425)), stated=Stated())
    assert frame.empty
    assert [(row, reason) for row, reason in aside(ledger)] == [
        (2, "the row names no pool"),
        (3, "the row names no pool"),
    ]
    assert any("no column for the pool's name" in remark for remark in ledger.remarks)


def test_dates_nobody_can_read_set_the_row_aside() -> None:
    _, ledger = pools(
        table("pool,x,y,set_out,removed", ("P1", 1, 1, "3/4/2024"), ("P2", 2, 2, "2024-05-01", "2024-04-01"))
    )
    assert "either way" in aside(ledger)[0][1]
    assert "before it was set out" in aside(ledger)[1][1]


def test_odd_rows_of_the_file_are_set_aside(tmp_path: Path) -> None:
    path = write(tmp_path, "pools.csv", "pool,x,y\nP1,1,2\npool,x,y\nTotal,1,\nP2,1,2,3\n")
    frame, ledger = pools(*read_tables(path))
    assert frame["pool"].tolist() == ["P1"]
    assert [row for row, _ in aside(ledger)] == [3, 4, 5]
    assert ledger.frame()["value"].tolist()[0] == "pool; x; y"


def test_accuracy_counts_where_it_says_something() -> None:
    frame, _ = pools(
        table(
            "pool,lat,lon,accuracy",
            ("P1", "60.17", "24.94", "787 m"),
            ("P2", "60.1712", "24.9415", -1),
            ("P3", "60.17123", "24.94154", 0),
        ),
        stated=Stated(),
    )
    assert frame["uncertainty_m"].tolist() == pytest.approx([787, 6.224, 0.6224], rel=1e-3)


def test_private_in_doubt_is_not_given_and_said() -> None:
    frame, ledger = pools(table("pool,x,y,private", ("P1", 1, 1, "perhaps"), ("P2", 2, 2, "ja")))
    assert frame["private"].tolist() == ["", "yes"]
    assert any("perhaps" in remark for remark in ledger.remarks)


def test_metres_without_a_system_are_refused_with_the_line_to_add() -> None:
    with pytest.raises(CrsError, match=r'"table\.csv" = "EPSG:'):
        pools(table("pool,x,y", ("P1", 1, 2)), stated=Stated())
    frame, _ = pools(table("pool,x,y", ("P1", 25540000, 6671000)), stated=Stated(source_crs={"table.csv": "EPSG:3879"}))
    lon, lat = transform(frame["x"], frame["y"], FINLAND, WGS84)
    assert (lon[0], lat[0]) == (pytest.approx(25.7, abs=0.1), pytest.approx(60.1, abs=0.1))


@pytest.mark.filterwarnings("ignore:'crs' was not provided")
def test_a_layer_carries_its_system_or_is_refused(tmp_path: Path) -> None:
    layer = geopandas.GeoDataFrame({"pool": ["P1"]}, geometry=[shapely.Point(24.9415, 60.1712)], crs=4326)
    layer.to_file(tmp_path / "pools.gpkg")
    frame, _ = pools(*read_tables(tmp_path / "pools.gpkg"), stated=Stated())
    lon, lat = transform(frame["x"], frame["y"], FINLAND, WGS84)
    assert (lon[0], lat[0]) == (pytest.approx(24.9415, abs=1e-9), pytest.approx(60.1712, abs=1e-9))
    layer.set_crs(None, allow_override=True).to_file(tmp_path / "pools.shp")
    for stated in (Stated(), Stated(crs="EPSG:3067")):
        with pytest.raises(CrsError, match=r'pools\.shp does not say.*"pools\.shp" = "EPSG:'):
            pools(*read_tables(tmp_path / "pools.shp"), stated=stated)
    stated = Stated(source_crs={"pools.shp": "EPSG:4326"})
    frame, _ = pools(*read_tables(tmp_path / "pools.shp"), stated=stated)
    assert len(frame) == 1


def test_stated_columns_and_one_that_is_not_there() -> None:
    stated = Stated(columns={"pools": {"pool": "Kübel"}}, crs="EPSG:3067")
    frame, _ = pools(table("Kübel,x,y", ("P1", 1, 2)), stated=stated)
    assert frame["pool"].tolist() == ["P1"]
    with pytest.raises(InputError, match=r"\[columns.pools\] says that pool stands under .Kübel."):
        pools(table("Eimer,x,y", ("P1", 1, 2)), stated=stated)


def test_sheets_that_are_about_something_else_are_left_out_and_named() -> None:
    notes = table("colour,shape", ("red", "round"), file="pools.xlsx")
    frame, ledger = pools(table("pool,x,y", ("P1", 1, 2), file="pools.xlsx"), notes)
    assert len(frame) == 1
    assert [(one.file, one.why.code) for one in ledger.unused] == [("pools.xlsx", Why.NO_HEADING_KNOWN)]
    assert ledger.counts()["pools"]["read"] == 1


def test_a_rough_place_to_choose_a_system_from() -> None:
    lon, lat = rough_lonlat([table("pool,lat,lon", ("", 60.5, 24.5), ("P2", "?", 24.5))], "pools", Stated())
    assert (lon.tolist(), lat.tolist()) == ([24.5], [60.5])


def test_a_place_far_from_the_others_is_put_right_where_one_slip_explains_it_and_said() -> None:
    near = [(f"P{i}", 60.17 + i / 1000, 24.94) for i in range(4)]
    odd = [("swap", 24.94, 60.17), ("sign", 60.17, -24.94), ("point", 60.17, 2.494), ("far", 10.0, 10.0)]
    frame, ledger = pools(table("pool,lat,lon", *near, *odd), stated=Stated())
    lon, lat = transform(frame["x"], frame["y"], FINLAND, WGS84)
    places = dict(zip(frame["pool"], np.round(np.column_stack([lon, lat]), 6).tolist(), strict=True))
    assert places["swap"] == places["sign"] == places["point"] == [24.94, 60.17]
    # no slip explains it: it stays where it was written, as nobody but the sender can know
    assert places["far"] == [10.0, 10.0]
    (said,) = [r for r in ledger.remarks if "only one reading lies in the area" in r]
    for words in (
        "3 places",
        "row 6: with latitude and longitude swapped, 60.17000 N 24.94000 E",
        "sign",
        "decimal point",
    ):
        assert words in said


def test_tables_are_not_changed() -> None:
    one = table("pool,x,y", ("P1", 1, 2), ("P1", 90, 2))
    before = repr(one)
    read_pools([one], CRS.from_epsg(3067), Stated(crs="EPSG:3067"), Ledger())
    assert repr(one) == before


# --- standing --------------------------------------------------------------------------------------------------------


def stands(set_out: str, removed: str, looks: list[tuple[str, str]], as_of: str) -> bool:
    frame, _ = pools(table("pool,x,y,set_out,removed", ("P1", 100, 0, set_out, removed)))
    seen, _ = visits(table("pool,date,outcome", *[("P1", day, outcome) for day, outcome in looks]))
    return bool(standing(frame, seen, datetime.date.fromisoformat(as_of))[0])


@pytest.mark.parametrize(
    ("set_out", "removed", "as_of", "expected"),
    [
        ("", "", "2024-05-01", True),
        ("2024-05-01", "", "2024-05-01", True),
        ("2024-05-02", "", "2024-05-01", False),
        ("", "2024-05-01", "2024-05-01", False),
        ("", "2024-05-02", "2024-05-01", True),
        ("2024-04-01", "2024-06-01", "2024-05-01", True),
    ],
)
def test_standing_by_its_dates(set_out: str, removed: str, as_of: str, expected: bool) -> None:
    assert stands(set_out, removed, [], as_of) is expected


@pytest.mark.parametrize(
    ("looks", "expected"),
    [
        ([("2024-04-20", "gone")], False),
        ([("2024-05-01", "gone")], False),
        ([("2024-05-02", "gone")], True),  # after the day asked for
        ([("2024-03-01", "gone")], True),  # before it was set out again
        ([("2024-04-20", "gone"), ("2024-04-25", "none seen")], True),
        ([("2024-04-20", "gone"), ("2024-04-25", "not reached")], False),
        ([("2024-04-20", "larvae"), ("2024-04-25", "gone")], False),
        ([("2024-04-20", "larvae"), ("2024-04-20", "gone")], False),
    ],
)
def test_a_visit_that_finds_it_gone_ends_it(looks: list[tuple[str, str]], expected: bool) -> None:
    assert stands("2024-04-01", "", looks, "2024-05-01") is expected


# --- a month, a season, a year -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("said", "first", "last"),
    [
        ("april 2024", "2024-04-01", "2024-04-30"),
        ("Ende April 2024", "2024-04-01", "2024-04-30"),
        ("04/2024", "2024-04-01", "2024-04-30"),
        ("2024-04", "2024-04-01", "2024-04-30"),
        ("spring 2024", "2024-03-01", "2024-05-31"),
        ("Frühjahr 2024", "2024-03-01", "2024-05-31"),
        ("Q2 2024", "2024-04-01", "2024-06-30"),
        ("winter 2023/24", "2023-12-01", "2024-02-29"),
        (2024, "2024-01-01", "2024-12-31"),
    ],
)
def test_a_month_or_a_season_is_kept_as_what_it_leaves_open(said: object, first: str, last: str) -> None:
    frame, ledger = pools(table("pool,x,y,set out", ("P1", 385540, 6671800, said), ("P2", 385640, 6671900, "")))
    (one, blank) = frame.to_dict("records")
    assert pd.isna(one["set_out"])
    assert (one["set_out_first"], one["set_out_last"]) == (pd.Timestamp(first), pd.Timestamp(last))
    assert pd.isna(blank["set_out_first"])
    assert any("cautious end" in remark for remark in ledger.doubts)
    # it may have been out from the first day on, and was not before
    nobody = pd.DataFrame({"pool": [], "date": pd.to_datetime([]), "outcome": []})
    days = (pd.Timestamp(first) - pd.Timedelta(days=1), pd.Timestamp(first))
    assert [bool(standing(frame, nobody, day.date())[0]) for day in days] == [False, True]


def test_seasons_turn_round_in_the_south() -> None:
    given = table("pool,lat,lon,set out", ("P1", -41.2865, 174.7762, "spring 2024"))
    frame, _ = pools(given, stated=Stated(), crs=CRS.from_epsg(2193))
    assert frame["set_out_first"].tolist() == [pd.Timestamp("2024-09-01")]


def test_about_a_year_is_no_span_and_a_pool_is_not_taken_in_before_it_was_out() -> None:
    rows = [
        ("P1", 1, 2, "about 2024", ""),
        ("P2", 300, 2, "may 2024", "april 2024"),
        ("P3", 600, 2, "may 2024", "2024"),
    ]
    frame, ledger = pools(table("pool,x,y,set out,removed", *rows))
    assert frame["pool"].tolist() == ["P3"]
    assert [entry.why.code for entry in ledger.entries("pools")] == [Why.DATE_UNREAD, Why.REMOVED_FIRST]
