"""Sites that are decided already: read like pools, a name or none, every row accounted for."""

from __future__ import annotations

from pathlib import Path

from pyproj import CRS

from habitatmap.read.committed import WANTED, read_wanted
from habitatmap.read.files import read_tables
from habitatmap.read.formats.table import Stated
from habitatmap.read.ledger import Ledger

METRES = CRS.from_epsg(25832)


def test_names_places_and_repeats(tmp_path: Path) -> None:
    path = tmp_path / "wanted.csv"
    path.write_text(
        "Name,lat,lon,private,comment\nGate,48.1,9.1,no,by the wall\n,48.2,9.2,,\n"
        "Gate,48.1,9.1,no,by the wall\nNowhere,,,yes,\n",
        encoding="utf-8",
    )
    ledger = Ledger()
    found = read_wanted(read_tables(path), METRES, Stated(), ledger)
    assert list(found.columns) == list(WANTED)
    assert found["name"].tolist() == ["", "Gate"]
    assert found["private"].tolist() == ["", "no"]
    assert found["note"].tolist() == ["", "by the wall"]
    assert found["x"].between(400_000, 600_000).all()
    assert ledger.by_file() == {("wanted", "wanted.csv"): (4, 2, 2)}
    ledger.check()


def test_no_file_gives_an_empty_frame() -> None:
    assert list(read_wanted([], METRES, Stated(), Ledger()).columns) == list(WANTED)
