"""The folder: complete, whole or not at all, the same bytes each time."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from habitatmap.errors import HabitatmapError, InputError
from habitatmap.export.folder import check_target
from habitatmap.export.formats import RASTERS
from habitatmap.export.manifest import MANIFEST, read_manifest
from habitatmap.export.replace import STAGE
from habitatmap.outputs import write
from habitatmap.words.catalogue import catalogue
from tests.beside import beside
from tests.results import invented

ROOT = Path(__file__).parents[2]
PAGES = {"map.html": lambda result: "<!doctype html>\nmap", "public_map.html": lambda result: "<!doctype html>\npublic"}
FILES = (
    "map.html public_map.html plan.csv plan.geojson plan.gpx gaps.geojson pools.csv places.csv set_aside.csv "
    "summary.json habitatmap.gpkg zones.geojson site_ids.geojson ask_first.csv results.xlsx habitatmap.qgz stages.json"
).split()


def contents(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("town") / "out"
    write(invented(), folder, PAGES)
    return folder


def test_every_file_of_the_contract(written: Path) -> None:
    rasters = {f"rasters/{name}.{kind}" for name in RASTERS for kind in ("tif", "qml", "sld")}
    assert set(contents(written)) == {*FILES, MANIFEST, *rasters}
    assert [p.name for p in written.parent.iterdir()] == ["out"], "nothing beside it"


def test_every_file_is_in_the_manifest(written: Path) -> None:
    """Whatever is written is listed, so that the next run may replace it; also a file that nobody has thought of."""
    listed = read_manifest(written)
    assert listed is not None
    assert {*listed.files, MANIFEST} == set(contents(written))


def test_same_result_same_bytes(written: Path, tmp_path: Path) -> None:
    write(invented(), tmp_path / "elsewhere", PAGES)
    first, second = contents(written), contents(tmp_path / "elsewhere")
    assert [name for name in first if first[name] != second[name]] == []


def test_pictures_are_drawn_in_the_language_of_the_pages(tmp_path: Path) -> None:
    write(invented(public=invented()), tmp_path / "out", PAGES, spoken=catalogue("de"))
    drawn = (tmp_path / "out" / "pictures" / "forage_season.svg").read_text(encoding="utf-8")
    assert "<title>Blütenangebot der Saison" in drawn


def test_what_is_no_longer_made_goes(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    write(invented(plan_exchanged=invented().plan), folder, PAGES)
    write(invented(), folder, PAGES)
    assert not (folder / "plan_exchanged.csv").exists()
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def broken(result: object) -> str:
    raise RuntimeError("page")


def test_a_fault_leaves_the_old_folder(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    write(invented(rows=2), folder, PAGES)
    before = contents(folder)
    with pytest.raises(RuntimeError, match="page"):
        write(invented(), folder, {"map.html": broken})
    assert contents(folder) == before
    with pytest.raises(RuntimeError, match="page"):
        write(invented(), tmp_path / "other", {"map.html": broken})
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_a_link_to_a_folder_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "out").symlink_to(tmp_path / "real")
    write(invented(), tmp_path / "out", PAGES)
    assert (tmp_path / "out").is_symlink()
    assert (tmp_path / "real" / "summary.json").exists()


# --- targets


def test_a_file_is_no_folder(tmp_path: Path) -> None:
    (tmp_path / "thesis.docx").write_text("years of work")
    for name in ("thesis.docx", "thesis.docx/out"):
        with pytest.raises(InputError, match="is a file"):
            check_target(tmp_path / name, "map")
    assert (tmp_path / "thesis.docx").exists()


def test_good_targets(tmp_path: Path) -> None:
    for name in ("empty", "out", "other"):
        (tmp_path / name).mkdir()
    for name in ("map.html", "public_map.html", "plan.csv", "summary.json"):
        (tmp_path / "out" / name).write_text("of an earlier version")
    (tmp_path / "other" / "town.qgz").write_text("somebody's")
    for name in ("absent/deeper", "empty", "out", "other"):
        check_target(tmp_path / name, "map")


# --- killed, or out of room


SCRIPT = """
    import os, resource, signal, sys, time
    from pathlib import Path
    from habitatmap.errors import HabitatmapError
    from habitatmap.outputs import write
    from tests.results import invented

    def stop(result):
        print("writing", flush=True)
        time.sleep(60)

    kind, folder, made = sys.argv[1], Path(sys.argv[2]), invented()
    if kind == "kill":
        write(made, folder, {"map.html": stop})
    resource.setrlimit(resource.RLIMIT_FSIZE, (int(kind), int(kind)))
    try:
        write(made, folder, {"map.html": lambda result: "x" * 400_000})
    except HabitatmapError as fault:
        print(fault)
"""


def run(*arguments: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(SCRIPT), *arguments], cwd=ROOT, stdout=subprocess.PIPE, text=True
    )


@pytest.fixture
def earlier(tmp_path: Path) -> tuple[Path, dict[str, bytes]]:
    folder = tmp_path / "out"
    write(invented(rows=2), folder, PAGES)
    return folder, contents(folder)


@pytest.mark.skipif(os.name != "posix", reason="signals as POSIX has them")
def test_killed_in_the_middle(earlier: tuple[Path, dict[str, bytes]]) -> None:
    folder, before = earlier
    process = run("kill", str(folder))
    assert process.stdout is not None
    assert process.stdout.readline() == "writing\n"
    process.send_signal(signal.SIGKILL)
    process.wait()
    process.stdout.close()
    assert contents(folder).items() >= before.items()
    assert (folder / STAGE).exists(), "the test killed it in the middle"
    write(invented(), folder, PAGES)
    assert not [p for p in folder.iterdir() if p.name.startswith(".")]
    assert contents(folder) != before


# no room from the first table on, for the GeoPackage only, and for the last page only
@pytest.mark.skipif(os.name != "posix", reason="limits as POSIX has them")
@pytest.mark.parametrize("room", ["300", "20000", "300000"])
def test_a_full_disk_is_said_and_harms_nothing(earlier: tuple[Path, dict[str, bytes]], room: str) -> None:
    folder, before = earlier
    process = run(room, str(folder))
    said, _ = process.communicate()
    assert process.returncode == 0
    assert "could not be written" in said
    assert "run again" in said
    assert contents(folder) == before
    assert [p.name for p in folder.parent.iterdir()] == ["out"]


def test_refused_by_the_system(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", refuse)
    with pytest.raises(HabitatmapError, match=r"No space left on device.*--out"):
        write(invented(), tmp_path / "out", PAGES)


def test_the_contract_as_a_script_finds_every_file(written: Path) -> None:
    script = beside("contract")
    said = subprocess.run(
        [sys.executable, str(script), str(written)], capture_output=True, text=True, check=False
    ).stdout
    assert said == "the contract holds\n"
