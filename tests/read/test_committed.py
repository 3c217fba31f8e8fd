"""Sites that are decided already: read like pools, a name or none, every row accounted for."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner
from pyproj import CRS

from habitatmap.area import open_area
from habitatmap.cli.map import command as map_command
from habitatmap.errors import InputError
from habitatmap.read.committed import COMMITTED, read_committed
from habitatmap.read.files import read_tables
from habitatmap.read.formats.table import Stated
from habitatmap.read.ledger import Ledger
from habitatmap.read.settings import settings_from

METRES = CRS.from_epsg(25832)


def test_names_places_and_repeats(tmp_path: Path) -> None:
    path = tmp_path / "committed.csv"
    path.write_text(
        "Name,lat,lon,private,comment\nGate,48.1,9.1,no,by the wall\n,48.2,9.2,,\n"
        "Gate,48.1,9.1,no,by the wall\nNowhere,,,yes,\n",
        encoding="utf-8",
    )
    ledger = Ledger()
    found = read_committed(read_tables(path), METRES, Stated(), ledger)
    assert list(found.columns) == list(COMMITTED)
    assert found["name"].tolist() == ["", "Gate"]
    assert found["private"].tolist() == ["", "no"]
    assert found["note"].tolist() == ["", "by the wall"]
    assert found["x"].between(400_000, 600_000).all()
    assert ledger.by_file() == {("committed", "committed.csv"): (4, 2, 2)}
    ledger.check()


def zipped(path: Path, **files: str) -> None:
    with zipfile.ZipFile(path, "w") as archive:
        for name, text in files.items():
            archive.writestr(f"{name}.csv", text)


POOLS = "pool,lat,lon,set_out\nP1,48.1,9.1,2020-01-01\n"
SITES = "name,lat,lon\nGate,48.101,9.101\n"


def test_committed_sites_in_an_archive_of_pools_are_no_standing_pools(tmp_path: Path) -> None:
    zipped(tmp_path / "pools.zip", pools_all=POOLS, committed=SITES)
    area = open_area(tmp_path)
    assert area.pools["pool"].tolist() == ["P1"]
    assert area.committed["name"].tolist() == ["Gate"]


@pytest.mark.parametrize("archived", [False, True])
def test_the_old_name_is_refused_with_the_new_one(tmp_path: Path, archived: bool) -> None:
    (tmp_path / "pools.csv").write_text(POOLS, encoding="utf-8")
    if archived:
        zipped(tmp_path / "pools.zip", wanted=SITES)
    else:
        (tmp_path / "wanted_north.csv").write_text(SITES, encoding="utf-8")
    with pytest.raises(InputError, match=r"wanted\.\* is now called committed\.\*; rename the file committed"):
        open_area(tmp_path)


def test_the_old_key_and_the_old_option_are_refused_with_the_new_ones(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"columns\.wanted is not a known key; it is now called"):
        settings_from({"columns": {"wanted": {"name": "Site"}}})
    told = CliRunner().invoke(map_command, [str(tmp_path), "--wanted", "sites.csv"])
    assert told.exit_code == 2
    assert "--wanted is now called --committed" in told.output


def test_no_file_gives_an_empty_frame() -> None:
    assert list(read_committed([], METRES, Stated(), Ledger()).columns) == list(COMMITTED)
