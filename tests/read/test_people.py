"""The table of people: days, times, keys as people write them, and a sentence for what can't be read."""

from __future__ import annotations

import datetime
import math
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from habitatmap.errors import InputError
from habitatmap.read.people import By, Person, Window, away_of, read_people, windows_of

DAY = datetime.date
POOLS = pd.DataFrame({"pool": ["P1", "P2", "P3", "Mill, back"], "x": [5.0, 15, 5, 50], "y": [5.0, 5, 6, 50]})
LAND = gpd.GeoDataFrame(
    {"name": ["Ford Meadow", ""], "geometry": [shapely.box(0, 0, 10, 10), shapely.box(40, 40, 60, 60)]}
)


def people(folder: Path, text: str, name: str = "people.csv") -> list[Person]:
    (folder / name).write_text(text, encoding="utf-8")
    found = read_people(folder, POOLS, LAND)
    assert found is not None
    return found


def fault(folder: Path, text: str) -> str:
    with pytest.raises(InputError) as raised:
        people(folder, text)
    return str(raised.value)


@pytest.mark.parametrize(
    ("text", "windows"),
    [
        ("Mon, Wed 17:00-19:30; Sat", [(0, 1020, 1170), (2, 1020, 1170), (5, None, None)]),
        ("mon, tue 9-11, sat", [(0, 540, 660), (1, 540, 660), (5, None, None)]),
        ("Mo-Mi 17-19 Uhr", [(0, 1020, 1140), (1, 1020, 1140), (2, 1020, 1140)]),
        ("Fri to Mon", [(0, None, None), (4, None, None), (5, None, None), (6, None, None)]),
        ("mardi et jeudi 17h-19h30", [(1, 1020, 1170), (3, 1020, 1170)]),
        ("zaterdag 9.30 tot 12 uur", [(5, 570, 720)]),
        ("Sat 9-12, 14-17", [(5, 540, 720), (5, 840, 1020)]),
        ("weekend", [(5, None, None), (6, None, None)]),
        ("18-20", [(day, 1080, 1200) for day in range(7)]),
    ],
)
def test_days_and_times(text: str, windows: list[tuple[int, int | None, int | None]]) -> None:
    assert windows_of(text) == tuple(Window(*window) for window in windows)


@pytest.mark.parametrize("text", ["Mon 19-17", "Mun", "25-26", "Mon 9:75-10", "after work", "", "%", "Mon 9"])
def test_what_is_no_time(text: str) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        windows_of(text)


def test_weeks_and_days_away() -> None:
    assert away_of("2026-W28; 2026-07-20 to 2026-08-02") == (
        (DAY(2026, 7, 6), DAY(2026, 7, 12)),
        (DAY(2026, 7, 20), DAY(2026, 8, 2)),
    )
    assert away_of("20.7.2026 bis 2.8.2026") == ((DAY(2026, 7, 20), DAY(2026, 8, 2)),)
    for text in ("2026-W60", "2026-08-02 to 2026-07-20", "soon", "3/4/2026"):
        with pytest.raises(ValueError, match=r"2026|soon"):
            away_of(text)


def test_a_table_by_hand(tmp_path: Path) -> None:
    found = people(
        tmp_path,
        "person,days,by,most_hours,most_pools,not_pools,keys,away,comes,group,note\n"
        'Ann,Sat,bicycle,3,8,p2;P3,Ford Meadow,2026-W28,,,"call first"\n'
        'Ben,,,,,,"Mill, back",,no,north; south,\n',
    )
    ann, ben = found
    assert ann.by is By.BICYCLE
    assert (ann.most_hours, ann.most_pools) == (3.0, 8.0)
    assert ann.not_pools == {"P2", "P3"}
    assert ann.keys == {"P1", "P3"}  # those that stand on the land of that name
    assert ben.keys == {"Mill, back"}  # a comma inside a name parts nothing
    assert not ben.comes
    assert ben.groups == ("north", "south")
    assert math.isinf(ben.most_hours)


def test_headings_in_four_languages(tmp_path: Path) -> None:
    for head in ("Name;Tage;mit;Schlüssel", "nom;jours;moyen;clés", "naam;dagen;vervoer;sleutels"):
        (found,) = people(tmp_path, f"{head}\nAnn;Sa;auto;P1\n")
        assert found == Person("Ann", By.CAR, (Window(5),), keys=frozenset({"P1"}))


def test_how_somebody_is_reached_is_no_limit(tmp_path: Path) -> None:
    for head in ("Name;Telefon;E-Mail", "nom;téléphone;adresse", "naam;mobiel;adres", "person;Phone;Email address"):
        assert people(tmp_path, f"{head}\nAnn;040 123;a@example.org\n") == [Person("Ann")]


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("person,days\nAnn,Someday\n", 'people.csv row 2 (Ann), days: "Someday" is no day of the week'),
        ("person,by\nAnn,horse\n", 'row 2 (Ann), by: "horse" is no way to get about; write foot, bicycle or car'),
        ("person,most_hours\nAnn,a few\n", 'most_hours: "a few" is no number of 0 or more'),
        ("person,most_pools\nAnn,2.5\n", 'most_pools: "2.5" is no whole number'),
        (
            "person,keys\nAnn,Ford Meadwo\n",
            'keys: "Ford Meadwo" is no pool and no place of land.*; did you mean Ford Meadow?',
        ),
        ("person,comes\nAnn,maybe\n", 'comes: "maybe" is neither yes nor no'),
        ("person,keys\nAnn,P1\nann,P2\n", "row 3: ann stands there twice"),
        ("person,keys\n,P1\n", "row 2 names nobody"),
        ("who,keyz\nAnn,P1\n", "has a column keyz, which can't be read; did you mean key?"),
        ("who,Fahrrad\nAnn,ja\n", "has a column Fahrrad, which can't be read; known are person, days,"),
        ("keys,by\nP1,car\n", "has no column person"),
        ("person,keys,key\nAnn,P1,P2\n", "has two columns for keys"),
    ],
)
def test_a_wrong_entry_is_a_sentence(tmp_path: Path, text: str, sentence: str) -> None:
    said = fault(tmp_path, text)
    assert sentence in said
    assert "\n" not in said


def test_every_wrong_entry_is_told_at_once(tmp_path: Path) -> None:
    assert len(fault(tmp_path, "person,by,days\nAnn,horse,Someday\nBen,car,Mon 9\n").splitlines()) == 3


def test_one_table_only(tmp_path: Path) -> None:
    assert read_people(tmp_path, POOLS, LAND) is None
    people(tmp_path, "person,by\nAnn,car\n")
    (tmp_path / "people.txt").write_text("person\nBen\n", encoding="utf-8")
    assert "both list people" in fault(tmp_path, "person,by\nAnn,car\n")
