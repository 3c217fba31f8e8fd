"""What every report is made of: sections without what is empty, tables of records, folders of any content."""

from __future__ import annotations

import re
import time
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from habitatmap.export.folder import write_files
from habitatmap.export.manifest import MANIFEST
from habitatmap.page.drawings import STOP, WIDTH, route
from habitatmap.page.sections import (
    Drawing,
    Layout,
    Section,
    Table,
    aligned,
    interval,
    letters,
    report_page,
    share,
    table,
    terminal,
)


def test_a_section_shows_nothing_that_is_empty() -> None:
    full = Table("b", ["B"], [("1",)])
    part = Section("a", "A", "", ["", "said"], [Drawing("", "of nothing")], [Table("t", ["T"], []), full], ["", "mind"])
    shown = part.filled()
    assert (shown.words, shown.drawings, shown.tables, shown.cautions) == (["said"], [], [full], ["mind"])


def test_a_table_of_records() -> None:
    frame = pd.DataFrame({"pool": ["P1"], "p": [0.42], "low": [0.3], "high": [float("nan")]})
    columns = {"Pool": "pool", "Occupancy": share("p"), "95 %": interval(), "Twice": lambda row: row["pool"] * 2}
    made = table("Pools", frame.assign(high=0.5), columns, "a note")
    assert (made.heads, made.rows, made.note) == (list(columns), [("P1", "42 %", "30 to 50 %", "P1P1")], "a note")
    assert table("Pools", frame.iloc[:0], columns).rows == []


def test_letters_count_on_after_z() -> None:
    assert [letters(n) for n in (0, 25, 26, 27, 51, 52)] == ["a", "z", "ba", "bb", "bz", "ca"]


def test_lines_for_a_terminal_cannot_steer_it() -> None:
    assert aligned([("a", "bb"), ("ccc", "")]) == ["a    bb", "ccc"]
    assert terminal(["x\x1b[2J", "\u202ey"]) == "x\ufffd[2J\ny\n"


def test_a_folder_is_written_whole_from_any_content(tmp_path: Path) -> None:
    target = tmp_path / "out"
    write_files(target, {"old.txt": "old"}, "map")
    frame = pd.DataFrame({"a": [1.5, None], "b": ["x", "y"]})
    write_files(target, {"t.csv": frame, "t.json": {"a": float("nan")}, "t.txt": "ü", "t.bin": b"\x00"}, "map")
    assert {p.name: p.read_bytes() for p in target.iterdir() if p.name != MANIFEST} == {
        "t.csv": b"a,b\r\n1.5,x\r\n,y\r\n",
        "t.json": b'{\n "a": null\n}\n',
        "t.txt": "ü".encode(),
        "t.bin": b"\x00",
    }


@pytest.mark.parametrize(("rows", "sheets", "folded"), [(8, False, False), (9, False, True), (9, True, False)])
def test_a_long_table_folds_away_unless_the_page_is_of_sheets(rows: int, sheets: bool, folded: bool) -> None:
    section = Section("a", "A", "", tables=[Table("Pools", ["Pool"], [(f"P{i}",) for i in range(rows)])])
    page = report_page("Title", "kind", "as of", [section], sheets=sheets)
    assert ("<details><summary" in page) == folded
    assert (f"({rows} rows)" in page) == folded


def test_the_rest_of_a_long_picture_folds_away() -> None:
    drawing = Drawing("<svg>1</svg>", "said", Layout.CHART, "<svg>key</svg>", ["<svg>2</svg>"])
    page = report_page("Title", "kind", "as of", [Section("a", "A", "", drawings=[drawing])])
    assert page.index("key") < page.index("<svg>1") < page.index("<details>") < page.index("<svg>2")
    assert page.count('role="region" aria-label="said" tabindex="0"') == 2


def _stops(drawn: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r'<circle class="stop" cx="([^"]+)" cy="([^"]+)"', drawn)]


def test_stops_on_one_spot_stand_beside_each_other() -> None:
    rng = np.random.default_rng(2)
    spots = [(x, y, str(n)) for n, (x, y) in enumerate(np.repeat(rng.uniform(0, WIDTH, (60, 2)), 2, axis=0).tolist())]
    placed: list[tuple[float, float]] = []
    for x, y, _ in spots:  # a metre is a unit of the drawing
        down = WIDTH - y
        while any(abs(x - a) < STOP and abs(down - d) < STOP for a, d in placed):
            x += STOP
        placed.append((x, down))
    drawn = _stops(route((0.0, 0.0, WIDTH, WIDTH), [], [], spots, 100.0, "Sketch"))
    assert drawn == [(round(x, 1), round(y, 1)) for x, y in placed]


def test_thousands_of_stops_are_drawn_within_seconds() -> None:
    spots = [(x, y, "1") for x, y in np.random.default_rng(2).uniform(0, WIDTH, (2000, 2)).tolist()]
    start = time.process_time()
    assert len(_stops(route((0.0, 0.0, WIDTH, WIDTH), [], [], spots, 100.0, "Sketch"))) == 2000
    assert time.process_time() - start < 4
