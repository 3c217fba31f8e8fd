"""Files that are no tables: one sentence that names the file and says what to do, never a traceback."""

from __future__ import annotations

import contextlib
import random
import zipfile
from pathlib import Path

import openpyxl
import pytest

from habitatmap.errors import InputError
from habitatmap.intake import archives
from habitatmap.intake.files import read_tables

CSV = b"pool,lat,lon\nP1,60.17,24.94\n"


def noise(size: int) -> bytes:
    return random.Random(1).randbytes(size)


def workbook(folder: Path) -> bytes:
    book = openpyxl.Workbook()
    book.active.append(["pool", "lat", "lon"])
    for i in range(200):
        book.active.append([f"P{i}", 60.1, 24.9])
    book.save(folder / "whole.xlsx")
    return (folder / "whole.xlsx").read_bytes()


def refusal(path: Path) -> str:
    with pytest.raises(InputError) as told:
        read_tables(path)
    sentence = str(told.value)
    assert path.name in sentence
    assert "\n" not in sentence
    assert ";" in sentence, "what to do stands behind the semicolon"
    return sentence


@pytest.mark.parametrize(
    "name", ["pools.csv", "pools.xlsx", "pools.ods", "pools.gpkg", "pools.geojson", "pools.parquet"]
)
def test_empty_files(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(b"")
    assert "empty" in refusal(tmp_path / name)


@pytest.mark.parametrize(
    "name",
    ["pools.csv", "pools.xlsx", "pools.xls", "pools.ods", "pools.gpkg", "pools.geojson", "pools.shp", "pools.parquet"],
)
def test_noise(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(noise(5000))
    refusal(tmp_path / name)


@pytest.mark.parametrize(
    ("content", "word"),
    [
        (b"  \n\n \n", "no text"),
        (b"pool,lat,lon\nP1,60.17,\x0024.94\n", "zero byte in line 2"),
        (b"\xff\xfep\x00o\x00o", "breaks off"),
        (b"<!DOCTYPE html><html><body>not logged in</body></html>", "web page"),
        (b"12,60.17,24.94\n13,60.18,24.95\n", "no row of headings"),
        (b"pool,lat,lon\n" + b"x," * 10_000 + b"\n", "10001 cells"),
        (b'pool,lat,lon\n"' + b"x" * 300_000, "field larger"),
    ],
)
def test_text_that_is_no_table(tmp_path: Path, content: bytes, word: str) -> None:
    (tmp_path / "pools.csv").write_bytes(content)
    assert word in refusal(tmp_path / "pools.csv")


def test_headings_without_rows_are_a_table_without_rows(tmp_path: Path) -> None:
    (tmp_path / "pools.csv").write_bytes(b"pool,lat,lon\n")
    (one,) = read_tables(tmp_path / "pools.csv")
    assert len(one) == 0


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.99])
def test_a_workbook_cut_short(tmp_path: Path, share: float) -> None:
    whole = workbook(tmp_path)
    (tmp_path / "pools.xlsx").write_bytes(whole[: int(len(whole) * share)])
    assert "save it again" in refusal(tmp_path / "pools.xlsx")


@pytest.mark.parametrize("at", range(0, 2000, 97))
def test_a_workbook_with_damaged_bytes_is_read_or_refused(tmp_path: Path, at: int) -> None:
    whole = bytearray(workbook(tmp_path))
    whole[at : at + 20] = noise(20)
    (tmp_path / "pools.xlsx").write_bytes(bytes(whole))
    with contextlib.suppress(InputError):
        read_tables(tmp_path / "pools.xlsx")


def test_an_empty_workbook(tmp_path: Path) -> None:
    openpyxl.Workbook().save(tmp_path / "pools.xlsx")
    assert "no filled sheet" in refusal(tmp_path / "pools.xlsx")


def test_a_web_page_named_xls(tmp_path: Path) -> None:
    (tmp_path / "pools.xls").write_bytes(b"<html><table><tr><td>pool</td></tr></table></html>")
    assert "web page" in refusal(tmp_path / "pools.xls")


def test_a_workbook_that_unpacks_without_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The real limit is 1 GB; a lower one spares the test the gigabytes."""
    with zipfile.ZipFile(tmp_path / "pools.xlsx", "w", zipfile.ZIP_DEFLATED) as parts:
        parts.writestr("xl/worksheets/sheet1.xml", b"0" * 5_000_000)
    monkeypatch.setattr(archives, "LARGEST_UNPACKED", 1_000_000)
    assert "unpack" in refusal(tmp_path / "pools.xlsx")


def test_a_layer_cut_short(tmp_path: Path) -> None:
    (tmp_path / "pools.geojson").write_bytes(b'{"type": "FeatureCollection", "features": [{"type": "Feature", "geom')
    assert "save it again" in refusal(tmp_path / "pools.geojson")


def test_text_cut_in_the_middle_keeps_its_whole_rows(tmp_path: Path) -> None:
    (tmp_path / "pools.csv").write_bytes(CSV + b'P2,60.18,24.95\nP3,"60.1')
    (one,) = read_tables(tmp_path / "pools.csv")
    assert [row[0] for row in one.rows] == ["P1", "P2", "P3"]


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    (tmp_path / "pools.csv").mkdir()
    assert "is a folder" in refusal(tmp_path / "pools.csv")
