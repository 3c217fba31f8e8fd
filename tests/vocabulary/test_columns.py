"""The table of columns, and what is made from it."""

from __future__ import annotations

from pathlib import Path

from habitatmap.changes import pools, sites
from habitatmap.plan import outlook
from habitatmap.read.templates import TEMPLATES
from habitatmap.reports import rounds
from habitatmap.reports.compare import COLUMNS_OF_CAUSES
from habitatmap.vocabulary.columns import COLUMNS, dtypes
from habitatmap.vocabulary.dictionary import data_dictionary
from habitatmap.vocabulary.kinds import TABLES, Kind
from habitatmap.vocabulary.other_tables import OTHER_TABLES

GUIDE = Path(__file__).parents[2] / "habitatmap" / "guide"


def test_the_data_dictionary_is_that_of_the_table() -> None:
    written = (GUIDE / "columns.md").read_text(encoding="utf-8")
    assert written == data_dictionary(), "python -m habitatmap.vocabulary.dictionary > habitatmap/guide/columns.md"


def test_columns_of_rounds_and_outlook_are_those_that_are_written() -> None:
    """Those of the survey are held in tests/cli/test_survey.py, where it is run."""
    for name, columns in {
        "rounds/rounds.csv": rounds.TABLE,
        "outlook/ranks.csv": outlook.RANK_COLUMNS,
        "outlook/differences.csv": outlook.DIFFERENCE_COLUMNS,
        "outlook/years.csv": outlook.YEAR_COLUMNS,
        "compare/pools.csv": pools.COLUMNS,
        "compare/sites.csv": sites.COLUMNS,
        "compare/causes.csv": COLUMNS_OF_CAUSES,
    }.items():
        assert list(OTHER_TABLES[name].columns) == list(columns)


def test_every_table_has_columns_and_each_tells_what_it_is() -> None:
    assert set(COLUMNS) == set(TABLES)
    for kind, columns in COLUMNS.items():
        names = [column.name for column in columns]
        assert len(names) == len(set(names)), kind
        assert all(column.help.endswith(".") for column in columns)
        assert all(column.headings or column.dtype for column in columns)


def test_what_a_workbook_offers_is_read_as_it_stands() -> None:
    for kind, columns in TEMPLATES.items():
        for column in columns:
            assert column.entry.heading
            assert column.entry.width > 0
            # an example says nothing that the column would not take
            assert not column.strict or column.entry.example in column.values, (kind, column.name)


def test_a_frame_has_the_columns_of_its_table_in_their_order() -> None:
    assert list(dtypes(Kind.TREES)) == ["x", "y", "genus", "species", "diameter_cm", "condition", "file", "row"]
    assert "girth_cm" not in dtypes(Kind.TREES)  # it becomes a diameter
    assert dtypes(Kind.VISITS)["date"] == "datetime64[s]"
