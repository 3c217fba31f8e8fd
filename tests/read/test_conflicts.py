"""What records say of one thing without agreeing is told, and nothing wins in silence."""

from __future__ import annotations

from pathlib import Path

import pytest

from habitatmap.read.conflicts import same_person
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.ledger import Ledger
from habitatmap.read.pools import read_pools
from habitatmap.read.visits import read_visits
from tests.read.tables import FINLAND, IN_METRES, aside, pools, table


def visits_of(*tables: Table, known: Table | None = None) -> tuple[int, Ledger]:
    """How many visits count, and the ledger; P1 and P12 stand 1 km apart."""
    ledger = Ledger()
    known = known or table("pool,x,y", ("P1", 385000, 6671000), ("P12", 386000, 6671000), file="pools.csv")
    frame = read_visits(tables, read_pools([known], FINLAND, IN_METRES, ledger), IN_METRES, ledger, FINLAND)
    ledger.check()
    return len(frame), ledger


def told(ledger: Ledger, words: str) -> str:
    found = [remark for remark in ledger.remarks if words in remark]
    return found[0] if found else ""


# --- pools -----------------------------------------------------------------------------------------------------------


def test_two_groups_with_one_name_are_both_set_aside_and_told_to_put_the_group_before_it() -> None:
    north = table("pool,x,y", ("P1", 0, 0), ("P2", 50, 0), file="pools_north.csv")
    south = table("pool,x,y", ("P1", 900, 0), ("P3", 50, 90), file="pools_south.csv")
    frame, ledger = pools(north, south)
    assert frame["pool"].tolist() == ["P2", "P3"]
    assert aside(ledger) == [
        (2, "pools_south.csv has a pool of this name too, in row 2, 900 m away"),
        (2, "pools_north.csv has a pool of this name too, in row 2, 900 m away"),
    ]
    assert set(ledger.frame()["remedy"]) == {
        "rename one of the two, or put the group before the name (north P1, south P1), in the tables of pools and of "
        "visits"
    }


def test_two_sources_that_differ_are_listed_with_both_details() -> None:
    office = table("pool,x,y,set_out,note", ("P1", 0, 0, "2024-04-02", "a"), file="pools_a.csv")
    group = table("pool,x,y,set_out,note", ("P1", 0, 0, "2024-04-12", ""), file="pools_b.csv")
    frame, ledger = pools(office, group)
    assert len(frame) == 1
    ((_, reason),) = aside(ledger)
    assert "set_out 2024-04-12 here, 2024-04-02 there; note blank here, a there" in reason


@pytest.mark.parametrize(("one", "other"), [("P-1", "P1"), ("P01", "P1"), ("Höhle 3", "Hohle_3")])
def test_names_that_differ_in_their_writing_are_two_pools_and_said(one: str, other: str) -> None:
    frame, ledger = pools(table("pool,x,y", (one, 0, 0), (other, 500, 0)))
    assert len(frame) == 2
    assert f"{one} (table.csv row 2)" in told(ledger, "differ only in how they are written")


@pytest.mark.parametrize(("one", "other"), [("P12", "P13"), ("P1", "P11"), ("North 1", "South 1")])
def test_other_names_are_not_said(one: str, other: str) -> None:
    _, ledger = pools(table("pool,x,y", (one, 0, 0), (other, 500, 0)))
    assert not told(ledger, "Pools with")


def test_two_names_in_one_spot_are_said() -> None:
    _, ledger = pools(table("pool,x,y", ("A", 0, 0), ("B", 1.5, 0), ("C", 9, 0)))
    said = told(ledger, "within 2 m")
    assert said not in ledger.doubts  # two buckets side by side are nothing to look into
    assert "A (table.csv row 2) and B (table.csv row 3)" in said
    assert "C" not in said


# --- visits ----------------------------------------------------------------------------------------------------------


def test_an_unknown_pool_is_named_with_the_nearest_name_and_the_nearest_pool() -> None:
    n, ledger = visits_of(
        table(
            "pool,date,outcome,x,y",
            ("P13", "2024-05-03", "dry", 386030, 6671040),
            ("Pee12", "2024-05-03", "dry", "", ""),
        )
    )
    assert n == 0
    (first, second) = (reason for _, reason in aside(ledger))
    # pool 12 is not pool 13, whatever else is alike
    assert first == "there is no pool of this name; its coordinates lie 50 m from P12"
    assert second == "there is no pool of this name; the nearest is P12"


def test_metres_of_an_unknown_system_are_no_fault_of_a_visit(tmp_path: Path) -> None:
    one = table("pool,date,outcome,x,y", ("P1", "2024-05-03", "dry", 386030, 6671040))
    ledger = Ledger()
    known = read_pools([table("pool,lat,lon", ("P1", 60.17, 24.94))], FINLAND, Stated(), ledger)
    assert len(read_visits([one], known, Stated(), ledger, FINLAND)) == 1


LOOK = ("P1", "2024-05-03", "larvae", 2, "J. Smith", "by the gate")


@pytest.mark.parametrize(
    ("other", "words"),
    [
        (("P1", "2024-05-03", "larvae", 2, "Jane Smith", "by the gate"), "differ in observer"),
        (("P1", "2024-05-03", "larvae", 2, "J. Smith", "gate"), "differ in note"),
        (("P1", "2024-05-03", "larvae", "", "J Smith", "gate"), "differ in observer, note"),
        (("P1", "2024-05-03", "none seen", "", "J. Smith", "by the gate"), "larvae, 2 against none seen"),
        (("P1", "2024-05-03", "larvae", 5, "", "by the gate"), "larvae, 2 against larvae, 5"),
        (("P1", "2024-05-03", "larvae", 2, "A. Jones", "by the gate"), ""),
        (("P1", "2024-05-04", "larvae", 2, "J. Smith", "gate"), ""),
        (("P12", "2024-05-03", "larvae", 2, "J. Smith", "gate"), ""),
    ],
)
def test_a_visit_that_may_be_one_written_twice_is_said_and_both_count(other: tuple[object, ...], words: str) -> None:
    n, ledger = visits_of(table("pool,date,outcome,larvae,observer,note", LOOK, other))
    assert n == 2
    said = told(ledger, "of one pool, day and observer")
    assert words in said
    assert bool(said) == bool(words)
    assert not said or "row 2 and table.csv row 3" in said


def test_two_times_of_one_day_are_two_looks() -> None:
    head = "pool,date,outcome,observer,note,time"
    rows = [("P1", "2024-05-03", "dry", "A", "x", "9:00"), ("P1", "2024-05-03", "larvae", "A", "y", "17:00")]
    n, ledger = visits_of(table(head, *rows))
    assert n == 2
    assert not told(ledger, "of one pool")


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("J. Smith", "Jane Smith", True),
        ("Smith, Jane", "Jane Smith", True),
        ("Jane Smith", "Jane Smyth", True),
        ("jane smith", "JANE SMITH", True),
        ("", "Jane Smith", True),
        ("Jane Smith", "John Smith", False),
        ("Group 1", "Group 2", False),
        ("A", "B", False),
    ],
)
def test_who_may_be_one_person(one: str, other: str, same: bool) -> None:
    assert same_person(one, other) is same
    assert same_person(other, one) is same


def test_a_pool_that_was_moved_is_said_with_the_distance() -> None:
    _, ledger = visits_of(
        table(
            "pool,date,outcome,action,x,y",
            ("P1", "2024-05-03", "dry", "moved, topped up", 385000, 6671120),
            ("P12", "2024-05-04", "dry", "umgesetzt", "", ""),
            ("P12", "2024-05-05", "dry", "removed leaves", "", ""),
            ("P12", "2024-05-06", "dry", "moved", 386003, 6671004),
        )
    )
    said = told(ledger, "Pools were moved")
    assert "P1 on 2024-05-03 (table.csv row 2, 120 m from its place)" in said
    assert "P12 on 2024-05-04 (table.csv row 3)" in said
    assert "2024-05-05" not in said
    assert "2024-05-06" not in said  # 5 m are the same place


def test_a_visit_far_from_its_pool_is_said() -> None:
    rows = [("P1", "2024-05-03", "dry", 385400, 6671000), ("P1", "2024-05-04", "dry", 385040, 6671000)]
    n, ledger = visits_of(table("pool,date,outcome,x,y", *rows))
    assert n == 2
    assert "row 2, 400 m" in told(ledger, "Visits far from the place")
    assert "row 3" not in told(ledger, "Visits far from the place")


def test_a_visit_after_its_pool_was_removed_is_said() -> None:
    known = table("pool,x,y,removed", ("P1", 1, 2, "2024-05-01"))
    _, ledger = visits_of(table("pool,date,outcome", ("P1", "2024-05-03", "dry")), known=known)
    assert told(ledger, "after the pool was removed")
