"""The form as an XLSForm workbook: taken by the standard's own converter, and its answers read back as visits."""

from __future__ import annotations

import io
from pathlib import Path
from xml.etree import ElementTree

import openpyxl
import pytest

from habitatmap.area import open_area
from habitatmap.export.field_form import form_workbook
from habitatmap.vocabulary.catalogues import LANGUAGES
from habitatmap.vocabulary.terms import Outcome
from habitatmap.words.phone import ACTIONS

pyxform = pytest.importorskip("pyxform.xls2xform")
POOLS = ["P1", "Library 2", "${date} <b>", "=1+1", 'Müllers "Eck"']
FORMS = "{http://www.w3.org/2002/xforms}"


def converted(book: bytes) -> ElementTree.Element:
    """The XForm that pyxform makes of the workbook, which it also checks."""
    made = pyxform.convert(io.BytesIO(book), file_type=".xlsx")
    assert made.warnings == []
    return ElementTree.fromstring(made.xform)


@pytest.fixture(scope="module")
def form() -> ElementTree.Element:
    return converted(form_workbook("Town", "2026-W20", POOLS, ["Wash your hands."]))


def test_the_converter_takes_it_without_a_warning(form: ElementTree.Element) -> None:
    binds = {str(bind.get("nodeset")).rsplit("/", 1)[-1]: bind for bind in form.iter(f"{FORMS}bind")}
    asked = {"date", "which", "pool", "outcome", "larvae", "action", "note", "photo", "position", "observer"}
    assert asked <= binds.keys()
    assert binds["outcome"].get("required") == "true()"
    assert "larvae" in str(binds["larvae"].get("relevant"))
    assert binds["position"].get("type") == "geopoint"
    assert "instanceID" in binds


def test_every_pool_outcome_and_language_is_in_it(form: ElementTree.Element) -> None:
    texts = [value.text for value in form.iter(f"{FORMS}value")]
    for name in POOLS:
        assert texts.count(name.replace("${", "$ {")) >= len(LANGUAGES)
    languages = [str(one.get("lang")) for one in form.iter(f"{FORMS}translation")]
    assert sorted(one[-3:-1] for one in languages) == sorted(LANGUAGES)
    names = {name.text for name in form.iter(f"{FORMS}name")} | {name.text for name in form.iter("name")}
    codes = {word.replace(" ", "_") for word in (*Outcome, *ACTIONS)}
    assert codes <= names


def test_no_cell_is_a_formula() -> None:
    book = openpyxl.load_workbook(io.BytesIO(form_workbook("=Town", "2026-W20", POOLS)))
    cells = [cell for sheet in book for row in sheet for cell in row if cell.value is not None]
    assert [cell.coordinate for cell in cells if cell.data_type != "s"] == []
    assert sum(cell.value == "=1+1" for cell in cells) == len(LANGUAGES)


def test_same_values_same_bytes() -> None:
    assert form_workbook("Town", "2026-W20", POOLS) == form_workbook("Town", "2026-W20", list(reversed(POOLS)))


# answers as servers of the open standard give them as csv: by the form's names, groups and parts behind a dash, a slash
# or an underscore (https://docs.getodk.org/central-submissions/ and the ODK XForms specification, meta/instanceID)
UUID = "0ab6f3c2-1111-4222-8333-44445555666"
ANSWERS = {
    "dashes.csv": "SubmissionDate,date,which,pool,outcome,larvae,action,note,photo,position-Latitude,"
    "position-Longitude,position-Altitude,position-Accuracy,observer,meta-instanceID,KEY\n"
    "2026-05-14T09:00:00.000Z,2026-05-14,p2,Library 2,none_seen,,topped_up refilled,,17.jpg,48.101,9.501,300,4.5,"
    f"Ben,uuid:{UUID}1,uuid:{UUID}1\n"
    f"2026-05-14T09:10:00.000Z,2026-05-14,p1,P1,larvae,4,,by the gate,,,,,,Ben,uuid:{UUID}2,uuid:{UUID}2\n",
    "slashes.csv": "date;which;pool;outcome;larvae;action;position;_position_latitude;_position_longitude;observer;"
    f"meta/instanceID;_submission_time\n2026-05-15;p1;P1;not_reached;;;;;;Cleo;uuid:{UUID}3;2026-05-15T10:00:00\n"
    f"2026-05-14;p1;P1;larvae;5;;;;;Ben;uuid:{UUID}2;2026-05-16T10:00:00\n",
}  # fmt: skip


def test_answers_are_read_back(tmp_path: Path) -> None:
    (tmp_path / "area.toml").write_text("as_of = 2026-06-01\n", encoding="utf-8")
    lines = "pool,lat,lon,set_out\nP1,48.1,9.5,2025-03-01\nLibrary 2,48.101,9.501,2025-03-01\n"
    (tmp_path / "pools.csv").write_text(lines, encoding="utf-8")
    (tmp_path / "visits").mkdir()
    for name, text in ANSWERS.items():
        (tmp_path / "visits" / name).write_text(text, encoding="utf-8")
    area = open_area(tmp_path)
    columns = ["pool", "date", "outcome", "larvae", "action", "note", "photo", "observer"]
    rows = [tuple(str(value) for value in row) for row in area.visits[columns].itertuples(index=False)]
    assert rows == [
        ("Library 2", "2026-05-14 00:00:00", "none seen", "nan", "topped up, refilled", "", "17.jpg", "Ben"),
        ("P1", "2026-05-14 00:00:00", "larvae", "5.0", "", "", "", "Ben"),  # the later of two answers with one number
        ("P1", "2026-05-15 00:00:00", "not reached", "nan", "", "", "", "Cleo"),
    ]
    assert area.ledger.counts()["visits"] == {"read": 4, "accepted": 3, "set_aside": 1}
