"""Rows of text with broken quotes have the numbers that a spreadsheet program shows."""

from __future__ import annotations

import random
from pathlib import Path

import openpyxl
import pytest

from habitatmap.read.formats.text import split_records
from tests.office import needs_office, saved_as

HEAD = "pool,lon,lat,note"


def numbers(text: str) -> dict[str, int]:
    return {str(cells[0]): number for number, cells in split_records(text)[0] if cells and cells[0]}


# what LibreOffice 7.4 shows on opening these
@pytest.mark.parametrize(
    ("lines", "shown"),
    [
        (['P1,1,5,"two', 'lines"', "P2,1,5,", "P3,1,5,"], {"P1": 2, "P2": 3, "P3": 4}),
        (['P1,1,5,"open', "P2,1,5,", "P3,1,5,x"], {"P1": 2, "P2": 3, "P3": 4}),
        (['P1,1,5,"open', "P2,1,5,", 'P3,1,5,"ok"', "P4,1,5,"], {"P1": 2, "P2": 2, "P3": 2, "P4": 3}),
        (['P1,1,5,"open', 'P2,1,5,"open too', "P3,1,5,x"], {"P1": 2, "P2": 3, "P3": 4}),
        (['P1,1,5, "two', 'lines"', 'P2,1,5,12" pot', "P3,1,5,"], {"P1": 2, "P2": 3, "P3": 4}),
        (['P1,1,"mm,"three', "more", 'lines"', "P2,1,5,", "P3,1,5,"], {"P1": 2, "P2": 5, "P3": 6}),
        (['P1,1,5,"never', "closed", "at all", "P2,1,5,"], {"P1": 2, "P2": 5}),
    ],
)
def test_numbers_of_rows_over_several_lines(lines: list[str], shown: dict[str, int]) -> None:
    found = numbers("\n".join([HEAD, *lines]) + "\n")
    assert {name: number for name, number in found.items() if name in shown} == shown


@pytest.mark.slow
@needs_office
def test_numbers_of_broken_files_as_libreoffice_shows_them(tmp_path: Path) -> None:
    """of sixty files of random broken quotes four may differ, where several quotes of a row are broken."""
    draw = random.Random(4)
    notes = [
        "",
        "x",
        '"fine"',
        '"two\nlines"',
        '"open',
        'open"',
        '12" pot',
        '"a "b" c"',
        '"a" b',
        ' "sp\nace"',
        '"',
        '""',
    ]
    before = ["", "", "m", '"m"', '"mm']
    for k in range(60):
        rows = [f"P{i},10.0{i},{draw.choice(before)},{draw.choice(notes)}" for i in range(1, 9)]
        (tmp_path / f"{k:02d}.csv").write_text("\n".join([HEAD, *rows]) + "\n")
    files = sorted(tmp_path.glob("*.csv"))
    saved_as("xlsx", files, tmp_path)
    differ = 0
    for file in files:
        sheet = openpyxl.load_workbook(file.with_suffix(".xlsx")).active
        shown = {str(row[0]): i for i, row in enumerate(sheet.iter_rows(values_only=True), 1) if row[0]}
        ours = numbers(file.read_text())
        differ += any(ours[name] != shown[name] for name in ours.keys() & shown.keys() if name.startswith("P"))
    assert differ <= 4
