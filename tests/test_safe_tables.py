"""No table that we write runs in a spreadsheet: what writes csv or workbooks stands here, and each of them guards."""

from __future__ import annotations

import re
from pathlib import Path

import openpyxl

from habitatmap.read.templates import TEMPLATES, write_templates

PACKAGE = Path(__file__).parents[1] / "habitatmap"
WRITES = re.compile(r"csv\.writer|DictWriter|\.to_csv\(|\.to_excel\(|import xlsxwriter|from xlsxwriter|openpyxl")


def test_tables_are_written_in_these_places_only() -> None:
    """Each of them has its own test: show/test_exports, intake/test_fixes, and the one below."""
    found = {
        path.relative_to(PACKAGE).as_posix()
        for path in PACKAGE.rglob("*.py")
        if WRITES.search(path.read_text(encoding="utf-8"))
    }
    assert found == {
        *("export/formats.py", "read/corrections.py", "read/templates.py", "read/filled_in.py", "read/readings.py"),
        *("words/own.py", "export/corrected.py", "export/workbook.py", "export/field_form.py"),
    }


def test_the_templates_hold_no_formula(tmp_path: Path) -> None:
    write_templates(tmp_path)
    for kind in TEMPLATES:
        book = openpyxl.load_workbook(tmp_path / f"{kind}.xlsx")
        cells = [cell for sheet in book for row in sheet for cell in row]
        assert cells
        assert not [cell.coordinate for cell in cells if cell.data_type == "f"]
