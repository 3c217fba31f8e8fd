"""Dates: what has one reading is read, what has two is decided by the column or not at all."""

from __future__ import annotations

import datetime
import re

import pytest
from babel import Locale, localedata

from habitatmap.errors.why import Why
from habitatmap.read.dates import month_number, read_dates

THIRD_OF_MAY = datetime.date(2024, 5, 3)


@pytest.mark.parametrize(
    "cell",
    [
        THIRD_OF_MAY,
        datetime.datetime(2024, 5, 3, 14, 30),
        "2024-05-03",
        "2024-5-3",
        "2024/05/03",
        "2024.05.03",
        "20240503",
        20240503,
        20240503.0,
        "2024-05-03T14:30:00Z",
        "2024-05-03 14:30",
        "2024-05-03 2:30 pm",
        "2024-05-03T14:30:00+02:00",
        45415,  # days since 1899-12-30
        45415.6,
        "45415",
        "3 May 2024",
        "3rd of May 2024",
        "May 3, 2024",
        "Fri, 3 May 2024",
        "3-May-24",
        "3. Mai 2024",
        "Freitag, 3. Mai 2024",
        "3 mai 2024",
        "3 mei 2024",
        "3 de mayo de 2024",
        "3. toukokuuta 2024",
        "2024 May 3",
        "3.V.2024",
        "3 v 24",
        "mar. 3 mai 2024",  # mardi, not mars
        "Fri, 03 May 2024 10:00:00 GMT",
        "3. Mai 2024 um 14 Uhr",
        "14:30 3 May 2024",
        "3º de mayo de 2024",
        "perjantaina 3. toukokuuta 2024",
    ],
)
def test_one_reading(cell: object) -> None:
    assert read_dates([cell]) == [THIRD_OF_MAY]


@pytest.mark.parametrize(
    ("cell", "word"),
    [
        ("3/5/2024", "either way"),
        ("03.05.24", "either way"),
        ("24-05-03", "either way"),
        ("31.2.2024", "no such day"),
        ("2024-13-01", "no such day"),
        ("2024-02-30", "no such day"),
        ("1024-02-03", "no such day between 1900 and 2199"),
        (datetime.date(1899, 12, 31), "no such day"),
        ("May 2024", "lacks"),
        ("2024", "lacks"),
        (2024, "lacks"),
        ("3.5.", "lacks"),
        ("5/2024", "lacks"),
        ("3 May", "lacks"),
        ("last week", "cannot be read"),
        ("?", "cannot be read"),
        (-3, "cannot be read"),
        (True, "cannot be read"),
        ("3 jui 2024", "cannot be read"),  # juin or juillet
        ("before 13.5.2024", "cannot be read"),
        ("ca. 13.5.2024", "cannot be read"),
        ("about 3 May 2024", "cannot be read"),
        ("3 May 2024?", "cannot be read"),
        ("3-4 May 2024", "cannot be read"),
        (datetime.time(3), "cannot be read"),
    ],
)
def test_no_reading(cell: object, word: str) -> None:
    (fault,) = read_dates([cell])
    assert isinstance(fault, Why)
    assert word in fault.reason
    assert "2024-05-03" in fault.remedy


def test_blank_is_blank() -> None:
    assert read_dates([None, None]) == [None, None]


def test_a_day_above_twelve_decides_the_column() -> None:
    assert read_dates(["3/5/2024", "25/5/2024", None]) == [THIRD_OF_MAY, datetime.date(2024, 5, 25), None]
    assert read_dates(["5/3/2024", "5/25/2024"]) == [THIRD_OF_MAY, datetime.date(2024, 5, 25)]


def test_two_figures_for_the_year_stand_last() -> None:
    """25/04/05 could be a year, a day and a month as well; nobody writes dates so, and they leave nothing undecided."""
    assert read_dates(["25/04/05", "03/04/05"]) == [datetime.date(2005, 4, 25), datetime.date(2005, 4, 3)]


def test_a_plain_number_counts_from_the_day_that_the_workbook_does() -> None:
    assert read_dates([43953, 43953.5], day_zero=datetime.date(1904, 1, 1)) == [THIRD_OF_MAY, THIRD_OF_MAY]


def test_weekdays_change_nothing() -> None:
    given = ["Fr 3.5.2024", "Samstag, 25.5.2024", "ma 27.5.2024"]
    assert read_dates(given) == [THIRD_OF_MAY, datetime.date(2024, 5, 25), datetime.date(2024, 5, 27)]


def test_the_heading_may_decide() -> None:
    for heading in ("date (dd/mm/yyyy)", "Datum [TT.MM.JJJJ]", "fecha dd/mm/aaaa", "pvm pp.kk.vvvv"):
        assert read_dates(["3/5/2024"], heading) == [THIRD_OF_MAY]
    assert read_dates(["5/3/2024"], "date (mm/dd/yyyy)") == [THIRD_OF_MAY]
    (fault,) = read_dates(["5/25/2024"], "date (dd/mm/yyyy)")
    assert isinstance(fault, Why)


def test_undecided_and_mixed_columns_keep_what_is_clear() -> None:
    undecided = read_dates(["3/5/2024", "5/5/2024", "2024-05-03"])
    assert isinstance(undecided[0], Why)
    assert undecided[1:] == [datetime.date(2024, 5, 5), THIRD_OF_MAY]
    mixed = read_dates(["25/5/2024", "5/26/2024", "3/5/2024"])
    assert mixed[:2] == [datetime.date(2024, 5, 25), datetime.date(2024, 5, 26)]
    assert isinstance(mixed[2], Why)
    assert "month first" in mixed[2].reason


def test_dots_have_the_day_first() -> None:
    """No locale of Unicode's CLDR writes the month first where dots part the numbers and the year is last."""
    patterns = {
        Locale.parse(name).date_formats[length].pattern
        for name in localedata.locale_identifiers()
        for length in ("short", "medium")
    }
    dotted = [p for p in patterns if re.fullmatch(r"[dM]{1,2}\. ?[dM]{1,2}\. ?y+\.?( '.*')?", p)]
    assert len(dotted) > 10
    assert all(pattern.startswith("d") for pattern in dotted)
    day = datetime.date(2024, 4, 12)
    for heading in ("Datum", "aufgestellt am", "Date de pose", "Päivä", "Data wizyty"):
        assert read_dates(["12.4.24"], heading) == [day], heading
    assert read_dates(["12. 04. 2024", "03/04/2024"], "Datum") == [day, datetime.date(2024, 4, 3)]
    assert read_dates(["12.4.24"], "date") == [Why.DATE_UNDECIDED]  # some who write English put the month first
    assert read_dates(["12.4.2024"], "Datum (mm/dd/yyyy)") == [datetime.date(2024, 12, 4)]  # a heading says so
    assert read_dates(["4.12.2024", "4.25.2024"], "Datum") == [datetime.date(2024, 4, 12), datetime.date(2024, 4, 25)]


def test_dates_a_spreadsheet_may_have_swapped() -> None:
    """American settings read 3/4 as 4 March and leave 25/4 as text: the dates it made are not to be trusted."""
    made = [datetime.date(2024, 3, 4), datetime.date(2024, 6, 6)]
    read = read_dates([*made, "25/4/2024", "28/4/2024"])
    assert isinstance(read[0], Why)
    assert read[1:] == [made[1], datetime.date(2024, 4, 25), datetime.date(2024, 4, 28)]
    fine = read_dates([*made, datetime.date(2024, 5, 20), "25/4/2024", "28/4/2024"])
    assert fine[:3] == [*made, datetime.date(2024, 5, 20)]


@pytest.mark.parametrize(
    ("word", "number"),
    [
        ("Sept", 9),
        ("März", 3),
        ("févr", 2),
        ("août", 8),
        ("Dez", 12),
        ("ene", 1),
        ("marraskuu", 11),
        ("mar", 3),
        ("jui", None),
        ("ma", None),
        ("de", None),
    ],
)
def test_months(word: str, number: int | None) -> None:
    assert month_number(word) == number


def test_the_other_dates_of_a_table_may_tell_the_order() -> None:
    assert read_dates(["12-3-2025"]) == [Why.DATE_UNDECIDED]
    assert read_dates(["12-3-2025"], beside=["26-5-2025", None]) == [datetime.date(2025, 3, 12)]
    # where they are at odds, they tell nothing
    assert read_dates(["12-3-2025"], beside=["26-5-2025", "5-26-2025"]) == [Why.DATE_UNDECIDED]
