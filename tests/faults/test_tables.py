"""Files that are no tables: one sentence that names the file and says what to do, never a traceback."""

from __future__ import annotations

import contextlib
import io
import random
import struct
import tracemalloc
import zipfile
from collections.abc import Callable
from pathlib import Path

import geopandas
import openpyxl
import pandas as pd
import pytest
import shapely
import xlsxwriter

from habitatmap.errors import InputError
from habitatmap.errors.why import Why
from habitatmap.read.dates import read_dates
from habitatmap.read.files import find_inputs, read_tables
from habitatmap.read.headings import match_headings
from habitatmap.read.values import read_counts

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
        (b'pool,lat,lon\n"' + b"x" * 10_000_001, "field larger"),
    ],
)
def test_text_that_is_no_table(tmp_path: Path, content: bytes, word: str) -> None:
    (tmp_path / "pools.csv").write_bytes(content)
    assert word in refusal(tmp_path / "pools.csv")


@pytest.mark.parametrize("filler", [" ", "1", "(", "1 ", "at 1.", "d/m/", "Ã", "1-"])
def test_an_endless_cell_takes_no_endless_time(tmp_path: Path, filler: str) -> None:
    """A pattern that goes back on its steps would take hours here."""
    cell = (filler * 100_000)[:100_000]
    text = f'pool,lat,lon,date,larvae,x{cell}x\nP1,60.1,24.9,x{cell}x,{cell}y,"{cell}"\n'
    (tmp_path / "visits.csv").write_text(text, encoding="utf-8")
    (one,) = read_tables(tmp_path / "visits.csv")
    match_headings("trees", one.headings)
    assert read_counts(one.column(4)) == [None]
    (date,) = read_dates(one.column(3))
    assert isinstance(date, Why)


def test_a_sheet_of_endless_tags_takes_no_endless_time(tmp_path: Path) -> None:
    whole = io.BytesIO(workbook(tmp_path))
    for tag in (b'<c r="A1" ', b'<c r="A1"><f>', b'<c t="e" r="A1">'):
        with zipfile.ZipFile(whole) as made, zipfile.ZipFile(tmp_path / "pools.xlsx", "w") as spoilt:
            for name in made.namelist():
                spoilt.writestr(name, tag * 100_000 if name.endswith("sheet1.xml") else made.read(name))
        refusal(tmp_path / "pools.xlsx")


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


# --- archives and workbooks that unpack to more than they seem --------------------------------------------------------


def packed(part: str, content: bytes, says: int | None = None) -> bytes:
    """A zip of one part; `says`: the size that both its heads state for it, whatever it really has."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as parts:
        parts.writestr(part, content)
    whole = out.getvalue()
    return whole if says is None else whole.replace(struct.pack("<L", len(content)), struct.pack("<L", says))


BOMBS: dict[str, Callable[[str], bytes]] = {
    "two gigabytes": lambda part: packed(part, noise(5_000), says=2_000_000_000),
    "a thousand times its size": lambda part: packed(part, bytes(60_000_000)),
    "more than it says": lambda part: packed(part, bytes(5_000_000), says=1_000),
}


@pytest.mark.parametrize("bomb", BOMBS)
@pytest.mark.parametrize(("name", "part"), [("pools.zip", "pools.csv"), ("pools.xlsx", "xl/sharedStrings.xml")])
def test_a_bomb(tmp_path: Path, bomb: str, name: str, part: str) -> None:
    (tmp_path / name).write_bytes(BOMBS[bomb](part))
    (path,) = find_inputs(tmp_path, "pools")
    tracemalloc.start()
    with pytest.raises(InputError, match=rf"^{name} (would unpack|cannot be (unpacked|opened))"):
        read_tables(path)
    assert tracemalloc.get_traced_memory()[1] < 30_000_000
    tracemalloc.stop()


def test_an_archive_in_an_archive_is_not_opened(tmp_path: Path) -> None:
    (tmp_path / "pools.zip").write_bytes(packed("pools.zip", packed("pools.csv", CSV)))
    assert "no table" in refusal(tmp_path / "pools.zip")


def test_a_part_cannot_be_unpacked_beside_the_folder(tmp_path: Path) -> None:
    (tmp_path / "pools.zip").write_bytes(packed("../../pools.csv", CSV))
    for path in find_inputs(tmp_path, "pools"):
        with contextlib.suppress(InputError):
            read_tables(path)
    assert [p.name for p in tmp_path.rglob("*")] == ["pools.zip"]
    assert not (tmp_path.parent / "pools.csv").exists()


def test_an_archive_behind_a_password(tmp_path: Path) -> None:
    whole = packed("pools.csv", CSV)
    # the first bit of the flags, in both heads
    locked = whole.replace(b"PK\x03\x04\x14\x00\x00", b"PK\x03\x04\x14\x00\x01")
    at = locked.index(b"PK\x01\x02")
    (tmp_path / "pools.zip").write_bytes(locked[: at + 8] + b"\x01" + locked[at + 9 :])
    (path,) = find_inputs(tmp_path, "pools")
    with pytest.raises(InputError, match=r"^pools\.zip cannot be unpacked .*password"):
        read_tables(path)


# --- sheets that reach too far ---------------------------------------------------------------------------------------


def test_a_stray_format_far_below_costs_nothing(tmp_path: Path) -> None:
    book = xlsxwriter.Workbook(tmp_path / "pools.xlsx")
    sheet = book.add_worksheet()
    sheet.write_row(0, 0, ["pool", "lat", "lon"])
    sheet.write_row(1, 0, ["P1", 60.1, 24.9])
    sheet.write_blank(999_999, 1, None, book.add_format({"bold": True}))
    book.close()
    (one,) = read_tables(tmp_path / "pools.xlsx")
    assert list(one.numbers) == [2]


def test_a_lost_value_far_below_is_a_row(tmp_path: Path) -> None:
    book = xlsxwriter.Workbook(tmp_path / "pools.xlsx")
    sheet = book.add_worksheet()
    sheet.write_row(0, 0, ["pool", "lat", "lon"])
    sheet.write(99_999, 1, 60.1)
    book.close()
    (one,) = read_tables(tmp_path / "pools.xlsx")
    assert list(one.numbers) == [100_000]


@pytest.mark.parametrize(("row", "column"), [(1_048_575, 16_383), (1, 16_383), (1_048_575, 100)])
def test_a_lost_value_in_the_last_corner(tmp_path: Path, row: int, column: int) -> None:
    book = xlsxwriter.Workbook(tmp_path / "pools.xlsx")
    sheet = book.add_worksheet()
    sheet.write_row(0, 0, ["pool", "lat", "lon"])
    sheet.write(row, column, "x")
    book.close()
    assert f"row {row + 1} and column {column + 1}" in refusal(tmp_path / "pools.xlsx")


def test_a_row_that_an_ods_repeats_to_the_end(tmp_path: Path) -> None:
    cell = '<table:table-cell office:value-type="string"{}><text:p>{}</text:p></table:table-cell>'
    rows = "".join(f"<table:table-row>{cell.format('', w) * 3}</table:table-row>" for w in ("pool", "P1"))
    far = cell.format(' table:number-columns-repeated="1000"', "z")
    rows += f'<table:table-row table:number-rows-repeated="1000000">{far}</table:table-row>'
    names = " ".join(f'xmlns:{n}="urn:oasis:names:tc:opendocument:xmlns:{n}:1.0"' for n in ("office", "table", "text"))
    content = (
        f"<office:document-content {names}><office:body><office:spreadsheet>"
        f'<table:table table:name="a">{rows}</table:table>'
        "</office:spreadsheet></office:body></office:document-content>"
    )
    with zipfile.ZipFile(tmp_path / "pools.ods", "w") as parts:
        parts.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        parts.writestr("content.xml", content)
        parts.writestr("META-INF/manifest.xml", "<manifest/>")
    refusal(tmp_path / "pools.ods")


# --- files cut short -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.99])
@pytest.mark.parametrize("suffix", [".zip", ".gpkg", ".geojson", ".shp", ".parquet", ".ods"])
def test_a_file_cut_short(tmp_path: Path, suffix: str, share: float) -> None:
    path = tmp_path / f"pools{suffix}"
    names = [f"P{i}" for i in range(200)]
    layer = geopandas.GeoDataFrame({"pool": names}, geometry=[shapely.Point(24, 60)] * 200, crs=4326)
    if suffix == ".zip":
        path.write_bytes(packed("pools.csv", CSV * 100))
    elif suffix == ".ods":
        pd.DataFrame({"pool": names, "lat": 60, "lon": 24}).to_excel(path, engine="odf", index=False)
    elif suffix == ".parquet":
        layer.to_parquet(path)
    else:
        layer.to_file(path)
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * share)])
    assert "again" in refusal(path)


@pytest.mark.parametrize("part", [".shx", ".dbf"])
def test_a_shapefile_without_a_part(tmp_path: Path, part: str) -> None:
    geopandas.GeoDataFrame({"pool": ["P1"]}, geometry=[shapely.Point(24, 60)], crs=4326).to_file(tmp_path / "pools.shp")
    (tmp_path / f"pools{part}").unlink()
    assert f"lacks its {part} part" in refusal(tmp_path / "pools.shp")


def test_a_layer_cut_short(tmp_path: Path) -> None:
    (tmp_path / "pools.geojson").write_bytes(b'{"type": "FeatureCollection", "features": [{"type": "Feature", "geom')
    assert "save it again" in refusal(tmp_path / "pools.geojson")


def test_text_cut_in_the_middle_keeps_its_whole_rows(tmp_path: Path) -> None:
    (tmp_path / "pools.csv").write_bytes(CSV + b'P2,60.18,24.95\nP3,"60.1')
    (one,) = read_tables(tmp_path / "pools.csv")
    assert [row[0] for row in one.rows] == ["P1", "P2", "P3"]
    assert "may have been cut" in one.notes[-1]


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    (tmp_path / "pools.csv").mkdir()
    assert "is a folder" in refusal(tmp_path / "pools.csv")
