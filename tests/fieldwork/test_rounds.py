"""Who goes where this week: what is due by hand, and laws that no round may break."""

from __future__ import annotations

import datetime
import time
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from habitatmap.area import Area, open_area
from habitatmap.errors import InputError
from habitatmap.fieldwork.rounds import (
    Rounds,
    Undone,
    choose_people,
    due,
    known_on,
    observers,
    plan_rounds,
    read_week,
    share_out,
    week_of,
)
from habitatmap.fieldwork.routes import straight
from habitatmap.read.people import read_people
from habitatmap.read.settings import RoundsSettings
from tests.examples import examples

RULES = RoundsSettings()
SEASON = range(3, 11)
WEEK = read_week("2026-W20")  # 11 to 17 May
DAY = datetime.date(2026, 5, 10)


def pools_of(rows: dict[str, tuple[str | None, str | None]]) -> pd.DataFrame:
    """name: set out, removed."""
    frame = pd.DataFrame(
        [(name, start, end, 10.0) for name, (start, end) in rows.items()],
        columns=["pool", "set_out", "removed", "volume_l"],
    )
    return frame.assign(set_out=pd.to_datetime(frame["set_out"]), removed=pd.to_datetime(frame["removed"]))


def visits_of(rows: list[tuple[str, str, str, str]]) -> pd.DataFrame:
    """pool, date, outcome, observer."""
    frame = pd.DataFrame(rows, columns=["pool", "date", "outcome", "observer"], dtype="str")
    return frame.assign(date=pd.to_datetime(frame["date"]), file="visits.csv", row=range(len(frame)))


def reasons(pools: pd.DataFrame, visits: pd.DataFrame, **how: object) -> dict[str, str]:
    given_ = {"as_of": DAY, "week": WEEK, "rules": RULES, "months": SEASON} | how
    found = due(pools, visits, **given_)  # type: ignore[arg-type]
    return dict(zip(found["pool"], found["reason"], strict=True))


def test_weeks() -> None:
    assert read_week("2026-W20").monday == datetime.date(2026, 5, 11)
    assert read_week(" 2026w1 ").name == "2026-W01"
    assert read_week("2020-W53").monday == datetime.date(2020, 12, 28)
    assert week_of(datetime.date(2027, 1, 2)).name == "2026-W53"
    assert week_of(datetime.date(2026, 5, 17)) == WEEK


@pytest.mark.parametrize(
    "text",
    "/2026/W20/20/2026-20/2026-W/2026-W00/2026-W54/2025-W53/0000-W01/9999-W52/2026-W20-1/2026-W-1/zwanzig/2026-W20; rm/"
    "..2026-W20/２０２６-W20/2026-W2000/2026W".split("/"),
)
def test_no_such_week(text: str) -> None:
    with pytest.raises(InputError) as fault:
        read_week(text)
    assert "--week" in str(fault.value)
    assert "\n" not in str(fault.value)


def test_what_is_due_by_hand() -> None:
    old = ("2025-04-01", None)
    pools = pools_of(
        {
            "seen lately": old,
            "seen long ago": old,
            "dry": old,
            "dry, then wet": old,
            "dry, just now": old,
            "new": ("2026-05-05", None),
            "brand new": ("2026-05-13", None),
            "new and searched": ("2026-05-01", None),
            "never": old,
            "not reached": old,
            "no date": (None, None),
        }
    )
    visits = visits_of(
        [
            ("seen lately", "2026-04-25", "none seen", "Ann"),  # 22 days before Sunday
            ("seen long ago", "2026-04-19", "larvae", "Ann"),  # 28 days before Sunday
            ("dry", "2026-05-08", "dry", "Ann"),
            ("dry, then wet", "2026-05-01", "dry", "Ann"),
            ("dry, then wet", "2026-05-09", "none seen", "Ann"),
            ("dry, just now", "2026-05-11", "dry", "Ann"),
            ("new and searched", "2026-05-08", "none seen", "Ann"),
            ("not reached", "2026-05-09", "not reached", "Ann"),
        ]
    )
    assert reasons(pools, visits, as_of=datetime.date(2026, 5, 11)) == {
        "seen long ago": "regular visit",
        "dry": "found dry",
        "new": "first search",
        "never": "regular visit",
        "not reached": "regular visit",
        "no date": "regular visit",
    }
    # out of season only what can't wait
    assert reasons(pools, visits, months=[6, 7]) == {"dry": "found dry", "new": "first search"}
    # a hot week asks for all where nobody was for seven days before it
    hot = reasons(pools, visits, rules=RoundsSettings(hot_weeks=["2026-w20"]))
    assert {"seen lately", "seen long ago", "brand new"} <= {p for p, reason in hot.items() if reason == "hot week"}
    assert not {"dry, then wet", "new and searched"} & set(hot)
    assert hot["dry"] == "found dry"


def test_words_and_water() -> None:
    pools = pools_of({"a": ("2025-04-01", None), "b": ("2025-04-01", None)})
    pools.loc[1, "volume_l"] = np.nan
    visits = visits_of([("a", "2026-05-01", "dry", "Ann"), ("b", "2026-05-09", "not reached", "Ben")])
    found = due(pools, visits, DAY, WEEK, RULES, SEASON).set_index("pool")
    assert found.at["a", "why"] == "top up and search: it was dry; last there 2026-05-01 (dry)"
    assert found.at["b", "why"] == "search and top up; no visit on record"
    assert found.at["a", "water_l"] == 5.0
    assert np.isnan(found.at["b", "water_l"])  # not known is not zero
    assert found.at["b", "not_reached"] == pd.Timestamp("2026-05-09")
    assert found["top_up"].tolist() == ["yes", "no"]


def test_a_lost_pool_drops_out_the_same_day() -> None:
    pools = pools_of(dict.fromkeys(["stays", "gone", "found again"], ("2025-04-01", None)) | {
        "removed": ("2025-04-01", "2026-05-10"), "to go": ("2025-04-01", "2026-05-13"), "to come": ("2026-06-01", None)
    })  # fmt: skip
    visits = visits_of(
        [
            ("gone", "2026-05-10", "gone", "Ann"),
            ("found again", "2026-04-01", "gone", "Ann"),
            ("found again", "2026-04-05", "none seen", "Ann"),
        ]
    )
    assert set(reasons(pools, visits)) == {"stays", "found again"}
    # the day before nobody knew of it
    assert "gone" in reasons(pools, visits, as_of=datetime.date(2026, 5, 9))
    # a week gone by: as known before it, but nobody is sent to what was lost since
    past = reasons(pools, visits, as_of=datetime.date(2026, 6, 30))
    assert set(past) == {"stays", "found again"}
    assert known_on(datetime.date(2026, 6, 30), WEEK) == datetime.date(2026, 5, 10)


def test_a_visit_done_this_week_is_done() -> None:
    pools = pools_of({"a": ("2025-04-01", None), "b": ("2025-04-01", None)})
    visits = visits_of([("a", "2026-05-12", "none seen", "Ann")])
    assert set(reasons(pools, visits, as_of=datetime.date(2026, 5, 13))) == {"b"}
    # and of a week gone by it doesn't matter what happened later
    assert set(reasons(pools, visits, as_of=datetime.date(2026, 6, 13))) == {"a", "b"}


def test_one_more_look_where_it_teaches_most() -> None:
    pools = pools_of(dict.fromkeys("abcde", ("2025-04-01", None)))
    visits = visits_of(
        [(name, "2026-05-01", "none seen", "Ann") for name in "abcd"] + [("e", "2026-05-15", "dry", "B")]
    )
    found = reasons(pools, visits, teaches=["d", "gone", "b", "a", "c"], rules=RoundsSettings(extra_visits=2))
    assert found == {"b": "one more search", "d": "one more search", "e": "regular visit"}
    assert reasons(pools, visits, teaches=["d"], rules=RoundsSettings(extra_visits=0)) == {"e": "regular visit"}


def test_many_pools_that_teach_are_due_within_seconds() -> None:
    """4,000 pools; the time must not grow with their square."""
    names = [f"P{n}" for n in range(4000)]
    pools = pools_of(dict.fromkeys(names, ("2025-04-01", None)))
    visits = visits_of([(name, "2026-05-01", "none seen", "Ann") for name in names])
    start = time.process_time()
    found = reasons(pools, visits, teaches=names[::-1], rules=RoundsSettings(extra_visits=2))
    assert time.process_time() - start < 4
    assert found == {"P3998": "one more search", "P3999": "one more search"}


@settings(max_examples=examples(15), deadline=None)
@given(seed=st.integers(0, 9999))
def test_row_order_changes_nothing_and_no_lost_pool_is_due(seed: int) -> None:
    draw = np.random.default_rng(seed)
    names = [f"P{i:02d}" for i in range(12)]
    starts = [str(np.datetime64("2026-03-01") + draw.integers(0, 90)) for _ in names]
    pools = pools_of({name: (start, None) for name, start in zip(names, starts, strict=True)})
    outcomes = ["larvae", "none seen", "dry", "gone", "not reached", "frozen"]
    visits = visits_of(
        [
            (str(draw.choice(names)), str(np.datetime64("2026-03-01") + draw.integers(0, 90)), outcome, "")
            for outcome in draw.choice(outcomes, 30).tolist()
        ]
    )
    found = due(pools, visits, DAY, WEEK, RULES, SEASON, names)
    shuffled = visits.sample(frac=1, random_state=seed).assign(row=range(len(visits)))
    pd.testing.assert_frame_equal(found, due(pools, shuffled, DAY, WEEK, RULES, SEASON, names))
    for pool in found["pool"]:
        known = visits[(visits["pool"] == pool) & (visits["date"] <= pd.Timestamp(DAY))]
        start = pools.set_index("pool").at[pool, "set_out"]
        last = known[(known["outcome"] != "not reached") & (known["date"] >= start)].sort_values("date")["date"].max()
        told = known[known["date"] == last]["outcome"]
        assert not (told == "gone").any()
        assert start <= pd.Timestamp(WEEK.sunday)


# --- who --------------------------------------------------------------------------------------------------------------


def test_people_come_from_the_latest_year() -> None:
    visits = visits_of(
        [
            ("a", "2024-05-01", "larvae", "Zoe"),
            ("a", "2026-04-01", "larvae", "Ann / ben"),
            ("a", "2026-04-02", "larvae", "Ben; ann"),
            ("a", "2026-04-02", "larvae", " "),
            ("a", "2026-12-02", "larvae", "Later"),
        ]
    )
    known = observers(visits, DAY)
    assert known == {"ann": "Ann", "ben": "Ben"}
    assert choose_people([], RULES, known) == (["Ann", "Ben"], False)
    assert choose_people(["BEN"], RULES, known) == (["Ben"], False)
    assert choose_people(["3"], RULES, known) == (["person 1", "person 2", "person 3"], True)
    assert choose_people([], RoundsSettings(people=["Cleo"]), known) == (["Cleo"], False)
    assert choose_people(["Ann"], RoundsSettings(people=["Cleo"]), known) == (["Ann"], False)


@pytest.mark.parametrize(
    ("asked", "word"),
    [
        ("Anne", "did you mean Ann"),
        ("Xerxes", "known are Ann"),
        *((number, "whole number") for number in ("0", "-2", "2.5", "501", "99999999999999999999")),
    ],
)
def test_unknown_people(asked: str, word: str) -> None:
    with pytest.raises(InputError, match=word):
        choose_people([asked], RULES, {"ann": "Ann"})
    with pytest.raises(InputError, match=r"whole number|name them there"):
        choose_people([asked], RULES, {})


def test_last_visitors_keep_their_pools_as_far_as_loads_are_equal() -> None:
    distances = straight(np.array([0.0, 10, 20, 30, 1000, 1010]), np.zeros(6))
    last = ["Ann", "Ann", "Ann", "Ann", "Ben", ""]
    found = share_out(distances, ["Ann", "Ben"], last, "last visitor")
    # Ben takes what nobody knows, and of Ann's four the one that is nearest to his
    assert found == {"Ann": [0, 1, 2], "Ben": [3, 4, 5]}
    assert share_out(distances[:4, :4], ["Ann", "Ben"], last[:4], "last visitor")["Ben"] != []


def test_by_the_shortest_walk_each_goes_to_whom_knows_it() -> None:
    distances = straight(np.array([0.0, 10, 20, 1000, 1010, 1020]), np.zeros(6))
    found = share_out(distances, ["Ann", "Ben"], ["Ben", "", "Ben", "ann", "Ann & Ben", ""], "shortest walk")
    assert found == {"Ann": [3, 4, 5], "Ben": [0, 1, 2]}


@settings(max_examples=examples(25), deadline=None)
@given(
    points=st.integers(0, 20),
    people=st.integers(1, 8),
    seed=st.integers(0, 999),
    by=st.sampled_from(["last visitor", "shortest walk"]),
)
def test_every_pool_goes_to_exactly_one_person(points: int, people: int, seed: int, by: str) -> None:
    draw = np.random.default_rng(seed)
    names = [f"p{i}" for i in range(people)]
    distances = straight(draw.random(points) * 2000, draw.random(points) * 2000)
    last = [str(name) for name in draw.choice([*names, "", "stranger"], points)]
    found = share_out(distances, names, last, by)
    assert list(found) == names
    assert sorted(i for walk in found.values() for i in walk) == list(range(points))
    loads = [len(walk) for walk in found.values()]
    assert max(loads) - min(loads) <= 1
    assert found == share_out(distances, names, last, by)


# --- what people can do ----------------------------------------------------------------------------------------------


def area_of(folder: Path, people: str, pools: int = 12, toml: str = "") -> Area:
    """Pools 200 m apart in a row, all due, last visited by Ann, with this table of people."""
    rows = [f"P{i},{500000 + 200 * i},5300000,2025-04-01,10" for i in range(1, pools + 1)]
    (folder / "pools.csv").write_text("\n".join(["pool,x,y,set_out,volume_l", *rows]), encoding="utf-8")
    visits = [f"P{i},2026-04-0{1 + i % 2},none seen,Ann" for i in range(1, pools + 1)]
    (folder / "visits.csv").write_text("\n".join(["pool,date,outcome,observer", *visits]), encoding="utf-8")
    (folder / "people.csv").write_text(people, encoding="utf-8")
    (folder / "area.toml").write_text(f'crs = "EPSG:32632"\nas_of = 2026-05-10\n{toml}', encoding="utf-8")
    return open_area(folder)


def planned(area: Area, *asked: str) -> Rounds:
    return plan_rounds(area, WEEK, asked, (), read_people(area.folder, area.pools, area.land))


def test_days_keys_and_not_me_by_hand(tmp_path: Path) -> None:
    found = planned(
        area_of(
            tmp_path,
            "person,days,by,keys,not_pools,comes,away\n"
            "Ann,Sat 9-11,foot,,P1;P2,,\n"
            'Ben,"Tue, Thu 17-19",bicycle,P12,P1,,\n'
            "Cleo,,car,P11,,no,\n"
            "Dan,,foot,,,,2026-W20\n",
        )
    )
    stops, undone = found.stops.set_index("pool"), found.undone.set_index("pool")
    assert found.people == ["Ann", "Ben"]
    assert undone.loc["P1", "undone"] is Undone.NOBODY
    assert undone.loc["P11", "undone"] is Undone.KEY
    assert undone.loc["P11", "holders"] == "Cleo"
    assert stops.loc["P12", "person"] == "Ben"
    assert stops.loc["P2", "person"] == "Ben"
    assert set(stops.loc[stops["person"] == "Ann", "day"]) == {"2026-05-16"}
    assert set(stops.loc[stops["person"] == "Ben", "day"]) <= {"2026-05-12", "2026-05-14"}
    for _, part in found.stops.groupby(["person", "day"]):
        assert part["minutes"].sum() <= 120
        assert part["leg_m"].iloc[0] == 0
    assert len(found.lines["Ben"]) == found.stops.loc[found.stops["person"] == "Ben", "day"].nunique()
    assert any("Dan" in note and "Not in this week" in note for note in found.notes)
    assert any("go to nobody" in note for note in found.notes)
    # 200 m by bicycle at 12 km/h is a minute, beside the visit of 15
    ben = found.stops[found.stops["person"] == "Ben"]
    assert ben["minutes"].iloc[0] == 15
    assert ben.loc[ben["leg_m"] == 200, "minutes"].tolist() == pytest.approx([16] * (ben["leg_m"] == 200).sum())


def test_more_pools_than_time_leaves_the_least_urgent(tmp_path: Path) -> None:
    found = planned(area_of(tmp_path, "person,most_pools\nAnn,3\nBen,2\n"))
    assert len(found.stops) == 5
    assert found.due == 12
    # the even ones were there a day earlier, so they are more urgent
    assert set(found.stops["pool"]) <= {"P2", "P4", "P6", "P8", "P10", "P12"}
    assert set(found.undone["undone"]) == {Undone.TIME}
    assert found.undone["last_visit"].is_monotonic_increasing


def test_without_limits_the_table_changes_nothing(tmp_path: Path) -> None:
    area = area_of(tmp_path, "person\nAnn\nBen\n")
    assert planned(area, "Ann").stops.equals(plan_rounds(area, WEEK, ("Ann",)).stops)
    assert sorted(planned(area).stops.groupby("person").size()) == [6, 6]


def test_with_a_number_of_people_the_table_is_not_used(tmp_path: Path) -> None:
    found = planned(area_of(tmp_path, "person,keys\nAnn,P1\n"), "3")
    assert len(found.stops) == 12
    assert any("the table of people is not used" in note for note in found.notes)


def test_a_car_needs_the_road_and_a_place_to_park(tmp_path: Path) -> None:
    found = planned(area_of(tmp_path, "person,by\nAnn,car\n", pools=2, toml="[rounds]\nvisit_minutes = 10\n"))
    assert found.stops["leg_m"].tolist() == pytest.approx([0, 260])  # 1.3 times the straight line
    assert found.stops["minutes"].tolist() == pytest.approx([15, 15 + 60 * 0.26 / 25])
    assert found.hours("Ann") == pytest.approx(found.stops["minutes"].sum() / 60)
