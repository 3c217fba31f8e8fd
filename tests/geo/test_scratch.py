"""Rasters in files: usual arrays to whoever computes on them, whatever memory a run is allowed."""

from __future__ import annotations

import pickle
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from habitatmap.geo import scratch
from tests.examples import examples


@pytest.fixture(autouse=True)
def everything_in_files(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scratch, "LARGE", 0)
    monkeypatch.setattr(scratch, "BAND_CELLS", 12)
    monkeypatch.setattr(scratch, "HELD", 0)


def test_what_was_written_stays_when_the_pages_are_given_back() -> None:
    raster = scratch.empty((300, 50), np.float64)
    raster[:] = np.arange(15_000).reshape(300, 50)
    scratch.give_back()
    assert raster[299, 49] == 14_999
    raster[7, 3] = -1.0
    scratch.give_back()
    copy = scratch.copied(raster)
    assert copy[7, 3] == -1.0
    assert copy.base is not raster.base
    assert (scratch.zeros((4, 5), np.uint8) == 0).all()
    assert (scratch.full((2, 4, 5), 3, np.int32) == 3).all()


WRITES = """
import pickle, sys
raster = pickle.load(sys.stdin.buffer).opened()
raster[2, 1] += 1
"""


def written_elsewhere(file: scratch.InFile) -> None:
    """Adds one to a cell of the raster in another process."""
    subprocess.run([sys.executable, "-c", WRITES], input=pickle.dumps(file), check=True, capture_output=True)


@pytest.mark.skipif(sys.platform != "linux", reason="other systems do not tell where a file without a name is")
def test_another_process_finds_a_raster_in_its_file(tmp_path: Path) -> None:
    for raster in (scratch.full((3, 4), 7, np.float32), scratch.named(tmp_path / "kept", (3, 4), np.float32)):
        before = raster.copy()
        file = scratch.file_of(raster)
        written_elsewhere(file)
        assert np.argwhere(raster != before).tolist() == [[2, 1]]
        with pytest.raises(OSError, match="No such file"):
            file._replace(id=("of another machine", *file.id[1:])).opened()


def test_what_is_no_raster_of_a_file_is_not_found() -> None:
    raster = scratch.full((3, 4), 7, np.float32)
    for other in (np.ones((3, 4)), raster[1:], raster.T):
        with pytest.raises(OSError, match="No such file"):
            scratch.file_of(other)


@pytest.mark.skipif(sys.platform != "linux", reason="other systems do not tell where a file without a name is")
def test_a_file_that_others_may_have_opened_serves_no_other_raster() -> None:
    shape = (317, 211)  # as no other test has it
    raster = scratch.full(shape, 7, np.float32)
    opened = scratch.file_of(raster).opened()
    del raster
    following = scratch.full(shape, 3, np.float32)
    opened[:] = 9
    assert (following == 3).all()


def test_bands_cover_all_rows_once() -> None:
    for rows, cols, multiple in ((7, 5, 1), (1, 100, 1), (10, 3, 4), (9, 1, 5)):
        bands = list(scratch.bands((rows, cols), multiple))
        assert np.concatenate([np.arange(rows)[band] for band in bands]).tolist() == list(range(rows))
        assert all(band.start % multiple == 0 for band in bands)


@settings(max_examples=examples(40), deadline=None)
@given(arrays(np.float64, st.tuples(st.integers(1, 9), st.integers(1, 9)), elements=st.floats(-5, 5) | st.just(np.nan)))
def test_by_bands_as_at_once(raster: np.ndarray) -> None:
    assert np.array_equal(scratch.cellwise(lambda part: part * 2, raster, dtype=np.float64), raster * 2, equal_nan=True)
    assert scratch.total(np.nansum, raster) == pytest.approx(np.nansum(raster))
    known = raster[~np.isnan(raster)]
    low, high = scratch.ends(raster)
    assert (low, high) == ((known.min(), known.max()) if len(known) else pytest.approx((low, high), nan_ok=True))


def test_some_rows_of_a_raster() -> None:
    raster = np.arange(70).reshape(10, 7)
    for rows in ([], [0, 9], [2, 3, 4, 8]):
        assert np.array_equal(scratch.some_rows(raster, np.array(rows, np.int64)), raster[rows])
    assert np.array_equal(scratch.thinned(raster, 1, 3), raster[1::3, 1::3])


def test_picked_cells_of_a_raster(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scratch, "PICKED", 3)
    raster = scratch.copied(np.arange(63, dtype=np.int32).reshape(9, 7))
    row, col = np.array([8, 0, 0, 4, 8, 2, 3]), np.array([6, 0, 0, 3, 1, 2, 5])
    for n in (0, 1, 3, 7):
        assert np.array_equal(scratch.picked(raster, row[:n], col[:n]), raster[row[:n], col[:n]])


def test_an_array_of_a_name_is_there_again(tmp_path: Path) -> None:
    first = scratch.named(tmp_path / "tiles", (6, 4), np.float32)
    assert (first == 0).all()
    first[2, 3] = 5.0
    del first
    assert scratch.named(tmp_path / "tiles", (6, 4), np.float32)[2, 3] == 5.0


def test_less_memory_means_smaller_bands() -> None:
    scratch.allow(scratch.USUAL)
    usual = scratch.BAND_CELLS, scratch.HELD
    scratch.allow(scratch.LIBRARIES)
    assert 0 < scratch.BAND_CELLS < usual[0]
    assert 0 < scratch.HELD < usual[1]


def test_the_file_of_a_raster_that_is_gone_serves_the_next_and_reads_as_zeros(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scratch, "_unused", [])
    first, other = scratch.full((50, 20), 7.0, np.float64), scratch.full((50, 20), 5.0, np.float64)
    assert not scratch._unused
    del first
    (unused,) = scratch._unused
    assert unused[1] == 8000
    again = scratch.zeros((40, 20), np.float64)
    assert not scratch._unused
    assert (again == 0).all()
    assert (other == 5.0).all()
    del again
    assert (scratch.zeros((9, 20), np.float64) == 0).all()
    assert len(scratch._unused) == 2  # what is left of it was too large for so few cells


def test_a_full_disk_takes_the_files_that_nothing_uses(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scratch, "_unused", [])
    scratch.full((10, 10), 1.0, np.float64)
    tries = []

    def no_room_at_first(_file: int, size: int) -> None:
        tries.append(size)
        if scratch._unused:
            raise OSError("no room")

    monkeypatch.setattr(scratch, "_make_room", no_room_at_first)
    assert len(scratch._unused) == 1
    with pytest.raises(ValueError, match="mmap"):  # as nothing made the file any larger
        scratch.empty((100, 100), np.float64)
    assert tries == [80_000, 80_000]
    assert not scratch._unused
