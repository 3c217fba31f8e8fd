"""An area handed over comes back byte for byte; its contacts go apart; what could do harm is not unpacked."""

from __future__ import annotations

import csv
import io
import json
import os
import random
import shutil
import stat
import zipfile
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
import xlsxwriter
from shapely.geometry import box

import habitatmap
from habitatmap.errors import InputError
from habitatmap.export import package
from habitatmap.export.contacts import (
    CannotPartError,
    Contacts,
    _rows,
    headings_of_contacts,
    names_one,
    without_contacts,
)
from habitatmap.export.manifest import MANIFEST, files_in
from habitatmap.export.package import ABOUT, contacts_file, packing_of, unpack, write_package
from habitatmap.export.season import keep_season
from habitatmap.read.files import read_tables
from habitatmap.read.layers import layers_folder
from habitatmap.read.readings import read_readings
from tests import commands
from tests.areas import LEFT, TOP
from tests.export.test_season import told, write_map
from tests.export.test_worked import make_area

OWNERS = ("Adelheid Beispiel", "Müller & Söhne", "Adelheid Beispiel")
SECRETS = ("Adelheid Beispiel", "Müller", "0815 4711", "host@example.org", "Zacharias", "0900 77")
PARCELS = [
    box(LEFT, TOP - 150, LEFT + 200, TOP),
    box(LEFT + 200, TOP - 300, LEFT + 400, TOP),
    box(LEFT, TOP - 300, LEFT + 200, TOP - 150),
]


def contacts() -> Contacts:
    return Contacts(headings_of_contacts({"land": {"owner": "Bewirtet von"}}, {"Ruf": "contact"}))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A town with contacts in files of several kinds, mapped, with a kept season."""
    area = make_area(tmp_path_factory.mktemp("package") / "town")
    (area / "land.gpkg").unlink()
    frame = gpd.GeoDataFrame(
        {
            "name": list("abc"),
            "kind": "park",
            "consent": ["ask", "yes", "ask"],
            "owner": OWNERS,
            "Telefon": "0815 4711",
        },
        geometry=PARCELS,
        crs="EPSG:32632",
    )
    frame.to_file(area / "land.gpkg")
    pools = (area / "pools.csv").read_text(encoding="utf-8").splitlines()
    hosts = ["host", *('"Zacharias, Hof 3"' for _ in pools[1:])]
    (area / "pools.csv").write_text("\n".join(f"{a},{b}" for a, b in zip(pools, hosts, strict=True)), encoding="utf-8")
    with (area / "area.toml").open("a") as file:
        file.write("[plan.quota]\nper_owner = 1\n")
    result = habitatmap.run(habitatmap.open_area(area), public=False)
    write_map(result, area / "out")
    places = area / "out" / "places.csv"
    keep_season(area, "2025")
    assert not places.exists()
    return area


@pytest.fixture
def town(made: Path, tmp_path: Path) -> Path:
    return shutil.copytree(made, tmp_path / "town")


@pytest.fixture
def packed(town: Path, tmp_path: Path) -> Path:
    path = tmp_path / "sent" / "town.zip"
    path.parent.mkdir()
    write_package(packing_of(town), path, "what it holds\n")
    return path


def same(a: Path, b: Path) -> bool:
    assert files_in(a) == files_in(b)
    return all((a / name).read_bytes() == (b / name).read_bytes() for name in files_in(a))


def all_bytes(path: Path) -> bytes:
    """All that a package says, workbooks within it too."""
    parts = []
    with zipfile.ZipFile(path) as package:
        for info in package.infolist():
            data = package.read(info)
            parts.append(data)
            if data.startswith(b"PK"):
                with zipfile.ZipFile(io.BytesIO(data)) as inner:
                    parts += [inner.read(name) for name in inner.namelist()]
    return b"\n".join(parts)


# --- there and back


def test_both_files_give_the_area_byte_for_byte(town: Path, packed: Path, tmp_path: Path) -> None:
    done = unpack(packed, tmp_path / "there")
    assert done.contacts
    assert not done.layers_kept
    assert done.other_versions == {}
    assert same(town, tmp_path / "there")


def test_contacts_may_come_later(town: Path, packed: Path, tmp_path: Path) -> None:
    second = contacts_file(packed).rename(tmp_path / "later.zip")
    done = unpack(packed, tmp_path / "there")
    assert not done.contacts
    assert "owner 1" in set(gpd.read_file(tmp_path / "there" / "land.gpkg")["owner"])
    assert not same(town, tmp_path / "there")
    unpack(second, tmp_path / "there")
    assert same(town, tmp_path / "there")


def test_nothing_of_the_first_file_names_a_contact(packed: Path) -> None:
    said = all_bytes(packed)
    assert [one for one in SECRETS if one.encode() in said] == []
    assert all(one.encode() in all_bytes(contacts_file(packed)) for one in SECRETS[:3])


def test_without_contacts_the_figures_are_the_same_even_by_owner(town: Path, packed: Path, tmp_path: Path) -> None:
    contacts_file(packed).unlink()
    unpack(packed, tmp_path / "town2")
    kept = json.loads((town / "out" / "summary.json").read_text())
    again = habitatmap.run(habitatmap.open_area(tmp_path / "town2"), public=False)
    assert told(again.summary)["plan"] == told(kept)["plan"]
    assert told(again.summary)["forage_in_reach"] == told(kept)["forage_in_reach"]


def test_the_same_area_gives_the_same_bytes(town: Path, packed: Path, tmp_path: Path) -> None:
    again = tmp_path / "again.zip"
    write_package(packing_of(town), again, "what it holds\n")
    assert again.read_bytes() == packed.read_bytes()
    assert contacts_file(again).read_bytes() == contacts_file(packed).read_bytes()


def test_what_it_holds_of_persons_comes_first(packed: Path) -> None:
    for path in (packed, contacts_file(packed)):
        with zipfile.ZipFile(path) as opened:
            assert opened.namelist()[:2] == [ABOUT, MANIFEST]
            assert opened.read(ABOUT) == b"what it holds\n"


def test_tables_of_the_areas_own_travel_and_others_than_the_programs_stay(town: Path, tmp_path: Path) -> None:
    (town / "layers").mkdir()
    text = (layers_folder() / "siting.csv").read_text(encoding="utf-8")
    (town / "layers" / "siting.csv").write_text(text + "\n", encoding="utf-8")
    write_package(packing_of(town), tmp_path / "t.zip", "")
    done = unpack(tmp_path / "t.zip", tmp_path / "there")
    assert done.layers_kept
    assert (tmp_path / "there" / "layers" / "siting.csv").read_text(encoding="utf-8") == text + "\n"


def test_a_package_that_is_there_is_not_written_over(town: Path, packed: Path) -> None:
    before = packed.read_bytes()
    with pytest.raises(InputError, match="is there already: give another name with -o"):
        write_package(packing_of(town), packed, "")
    assert packed.read_bytes() == before


def test_the_commands_tell_persons_first(town: Path, tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    done = commands.habitatmap("pack", town, "-o", tmp_path / "p.zip")
    assert done.code == 0
    assert done.out.startswith("What the package holds of persons:\n- ")
    assert "land.gpkg: 3 owners, 3 contacts" in done.out
    assert "pools.csv: 3 hosts" in done.out
    assert commands.habitatmap("unpack", tmp_path / "p.zip", "--into", tmp_path / "there").code == 0
    assert same(town, tmp_path / "there")
    assert "Unpacked:" in caplog.text
    inside = commands.habitatmap("pack", town, "-o", town / "p.zip")
    assert (inside.code, (town / "p.zip").exists()) == (2, False)


# --- what could do harm


def rewritten(packed: Path, to: Path, change: Callable[[dict[str, bytes]], None], relist: bool = True) -> Path:
    """A package with other files; its list fits them where `relist`."""
    with zipfile.ZipFile(packed) as opened:
        files = {info.filename: opened.read(info) for info in opened.infolist()}
    change(files)
    if relist:
        about = json.loads(files[MANIFEST])
        about["files"] = {n: sha256(d).hexdigest() for n, d in files.items() if n not in (MANIFEST, ABOUT)}
        files[MANIFEST] = json.dumps(about).encode()
    with zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED) as out:
        for name, data in files.items():
            out.writestr(name, data)
    return to


@pytest.mark.parametrize(
    "name",
    [
        "area/../../out.csv",
        "/etc/x",
        "area/a\\b.csv",
        "C:/x.csv",
        "area/con",
        "area/./x",
        "area/x\n.csv",
        "..",
        "area/",
    ],
)
def test_names_that_lead_elsewhere_are_refused(name: str, packed: Path, tmp_path: Path) -> None:
    bad = rewritten(packed, tmp_path / "bad.zip", lambda files: files.update({name: b"x"}))
    with pytest.raises(InputError, match="holds a name that leads elsewhere or is none"):
        unpack(bad, tmp_path / "deep" / "there")
    assert not (tmp_path / "deep").exists() or not list((tmp_path / "deep").iterdir())
    assert not (tmp_path / "out.csv").exists()


def test_links_are_refused(packed: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.zip"
    shutil.copy(packed, bad)
    with zipfile.ZipFile(bad, "a") as opened:
        info = zipfile.ZipInfo("area/link")
        info.external_attr = (stat.S_IFLNK | 0o777) << 16
        opened.writestr(info, "/etc")
    with pytest.raises(InputError, match="holds a link or another thing"):
        unpack(bad, tmp_path / "there")


def test_one_name_twice_is_refused_in_whatever_letters(packed: Path, tmp_path: Path) -> None:
    bad = rewritten(packed, tmp_path / "bad.zip", lambda files: files.update({"area/POOLS.csv": b"x"}))
    with pytest.raises(InputError, match=r"holds area/POOLS.csv twice|holds area/pools.csv twice"):
        unpack(bad, tmp_path / "there")


def test_a_small_file_that_would_fill_the_disk_is_refused(
    packed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(package, "FREE_BYTES", 1 << 20)
    bad = rewritten(packed, tmp_path / "bad.zip", lambda files: files.update({"area/x.csv": bytes(300 << 20)}))
    assert bad.stat().st_size < 2 << 20
    with pytest.raises(InputError, match="times its own size, which no area is: nothing was unpacked"):
        unpack(bad, tmp_path / "there")
    monkeypatch.setattr(package, "MOST_FILES", 3)
    with pytest.raises(InputError, match="nothing was unpacked"):
        unpack(packed, tmp_path / "there")


def test_what_the_list_does_not_tell_or_tells_otherwise_is_refused(packed: Path, tmp_path: Path) -> None:
    more = rewritten(packed, tmp_path / "more.zip", lambda files: files.update({"area/x.csv": b"x"}), relist=False)
    with pytest.raises(InputError, match=r"holds other files than its manifest.json lists"):
        unpack(more, tmp_path / "there")
    other = rewritten(packed, tmp_path / "other.zip", lambda f: f.update({"area/area.toml": b"# x"}), relist=False)
    with pytest.raises(InputError, match="is not what its list says"):
        unpack(other, tmp_path / "there")
    assert not (tmp_path / "there").exists()


@pytest.mark.parametrize("content", [b"", b"no zip", b"PK\x05\x06" + bytes(18)])
def test_what_is_no_package_is_refused(content: bytes, tmp_path: Path) -> None:
    (tmp_path / "x.zip").write_bytes(content)
    with pytest.raises(InputError, match=r"can't be unpacked|is no package of habitatmap"):
        unpack(tmp_path / "x.zip")
    with pytest.raises(InputError, match="does not exist"):
        unpack(tmp_path / "y.zip")


def test_a_package_cut_short_leaves_nothing(packed: Path, tmp_path: Path) -> None:
    whole = packed.read_bytes()
    with zipfile.ZipFile(packed) as opened:
        info = opened.getinfo("area/land_cover.tif")
    broken = bytearray(whole)
    at = info.header_offset + 60
    broken[at : at + 40] = bytes(40)
    (tmp_path / "bad.zip").write_bytes(bytes(broken))
    with pytest.raises(InputError, match=r"is damaged at|is not what its list says|can't be unpacked"):
        unpack(tmp_path / "bad.zip", tmp_path / "there")
    assert not (tmp_path / "there").exists()
    assert not list(tmp_path.glob(".*unfinished"))


def test_existing_files_stay(packed: Path, tmp_path: Path) -> None:
    (tmp_path / "there").mkdir()
    (tmp_path / "there" / "mine.txt").write_text("mine")
    with pytest.raises(InputError, match="exists already and is not empty"):
        unpack(packed, tmp_path / "there")
    assert files_in(tmp_path / "there") == ["mine.txt"]


def test_contacts_replace_nothing_that_somebody_changed(packed: Path, tmp_path: Path) -> None:
    second = contacts_file(packed).rename(tmp_path / "later.zip")
    unpack(packed, tmp_path / "there")
    with (tmp_path / "there" / "pools.csv").open("a") as file:
        file.write("\n")
    before = {name: (tmp_path / "there" / name).read_bytes() for name in files_in(tmp_path / "there")}
    with pytest.raises(
        InputError, match=r"pools.csv in .* is not as it was unpacked, and would be replaced: nothing was"
    ):
        unpack(second, tmp_path / "there")
    assert {name: (tmp_path / "there" / name).read_bytes() for name in files_in(tmp_path / "there")} == before
    with pytest.raises(InputError, match="name the unpacked area with --into"):
        unpack(second)


def test_contacts_don_t_follow_a_link(packed: Path, tmp_path: Path) -> None:
    second = contacts_file(packed).rename(tmp_path / "later.zip")
    unpack(packed, tmp_path / "there")
    aim = tmp_path / "aim.csv"
    (tmp_path / "there" / "pools.csv").rename(aim)
    (tmp_path / "there" / "pools.csv").symlink_to(aim)
    before = aim.read_bytes()
    with pytest.raises(InputError, match="is a link: nothing was changed"):
        unpack(second, tmp_path / "there")
    assert aim.read_bytes() == before


# --- columns taken out


def rows_of(path: Path) -> list[list[tuple[object, ...]]]:
    return [[tuple(map(str, row)) for row in table.rows] for table in read_tables(path)]


@pytest.mark.parametrize("sign", [",", ";", "\t", "|"])
def test_the_spans_of_cells_are_those_of_the_csv_module(sign: str) -> None:
    draw = random.Random(sign)
    for _ in range(200):
        table = [
            ["".join(draw.choice(f'ab {sign}"\n') for _ in range(draw.randrange(5))) for _ in range(3)]
            for _ in range(4)
        ]
        out = io.StringIO(newline="")
        csv.writer(out, delimiter=sign, lineterminator=draw.choice(("\n", "\r\n"))).writerows(table)
        text = out.getvalue()
        rows = [[text[a:b] for a, b in row] for row in _rows(text, sign)]
        read = [
            [next(csv.reader(io.StringIO(c, newline=""), delimiter=sign), [""])[0] if c else "" for c in row]
            for row in rows
        ]
        assert read[:4] == list(csv.reader(io.StringIO(text, newline=""), delimiter=sign))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize("sign", [",", ";"])
def test_only_cells_below_headings_of_contacts_change(encoding: str, sign: str) -> None:
    before = ["Liste der Flächen", sign.join(["Name", "Eigentümer", "Tel.", "Fläche"])]
    rows = [["Park", '"Müller"', "0815", "3"], ["Feld", "", "", "4"], ["Wald", "Müller", "1", "Müller"]]
    text = "\r\n".join([*before, *map(sign.join, rows)]) + "\r\n"
    known = contacts()
    data = without_contacts("land.csv", text.encode(encoding), known)
    wanted = [["Park", "owner 1", "", "3"], ["Feld", "", "", "4"], ["Wald", "owner 1", "", "Müller"]]
    assert data == ("\r\n".join([*before, *map(sign.join, wanted)]) + "\r\n").encode(encoding)
    assert known.taken == {"land.csv": {"owner": 2, "contact": 2}}


def test_a_file_without_contacts_keeps_its_very_bytes() -> None:
    for name, data in {
        "visits.csv": b"pool,date,outcome\nA,2025-05-01,larvae\n",
        "note.txt": b"the owner, she said, is away\n",
        "x.geojson": b'{"type": "FeatureCollection",\n "features": []}',
        "x.tif": b"II*\0",
    }.items():
        assert without_contacts(name, data, contacts()) is data


def test_what_area_toml_and_readings_say_is_a_contact_too() -> None:
    data = b"name,bewirtet von,ruf\nPark,Ann,12\n"
    assert without_contacts("land.csv", data, contacts()) == b"name,bewirtet von,ruf\nPark,owner 1,\n"


def test_readings_keep_what_they_say_of_headings_and_lose_the_hosts_they_show(tmp_path: Path) -> None:
    folder = tmp_path / "town"
    folder.mkdir()
    (folder / "pools.csv").write_text(
        "pool,lon,lat,Gastgeber,note\nA,10.5,52.5,Familie Beispiel,\nB,10.51,52.51,Ada Muster,\n"
        "A,10.5,52.5,Familie Beispiel,\n",
        encoding="utf-8",
    )
    (folder / "visits.csv").write_text("pool,date,outcome\nA,2025-05-01,wonderful\n", encoding="utf-8")
    (folder / "area.toml").write_text('crs = "EPSG:25832"\n')
    assert commands.habitatmap("check", folder).code == 1
    said = read_readings(folder).headings
    assert ("Gastgeber", "host") in [(one.heading, one.means) for one in said]
    (folder / "readings.xlsx").write_bytes(
        without_contacts("readings.xlsx", (folder / "readings.xlsx").read_bytes(), contacts())
    )
    assert [(one.heading, one.means) for one in read_readings(folder).headings] == [
        (one.heading, one.means) for one in said
    ]
    with zipfile.ZipFile(folder / "readings.xlsx") as book:
        texts = b"".join(book.read(name) for name in book.namelist())
    assert b"Beispiel" not in texts
    assert b"Muster" not in texts
    assert b"10.51" in texts
    # a row that is set aside as a whole tells nobody's name either
    aside = (folder / "check" / "set_aside.csv").read_text(encoding="utf-8")
    assert "the row repeats row 2" in aside
    assert "Beispiel" not in aside


def workbook(path: Path, comment: bool = False, formula: bool = False) -> Path:
    book = xlsxwriter.Workbook(path)
    for title in ("Flächen", "Mehr"):
        sheet = book.add_worksheet(title)
        sheet.write_row(0, 0, ["A list of ours"])
        sheet.write_row(2, 0, ["Name", "Owner", "Phone", "note"])
        sheet.write_row(3, 0, ["Park", "Adelheid Beispiel", 8154711, "Adelheid Beispiel"])
        sheet.write_row(4, 0, ["Feld", "Zacharias", "0815 4711", "ok"])
    if comment:
        sheet.write_comment("B5", "the mother of Zacharias")
    if formula:
        sheet.write_formula("B6", '="Zacha"&"rias"', value="Zacharias")
    book.set_properties({"author": "Adelheid Beispiel"})
    book.close()
    return path


def test_a_workbook_loses_its_contacts_and_nothing_else(tmp_path: Path) -> None:
    path = workbook(tmp_path / "land.xlsx")
    before = rows_of(path)
    known = contacts()
    path.write_bytes(without_contacts("land.xlsx", path.read_bytes(), known))
    after = rows_of(path)
    assert after == [
        [("Park", "owner 1", "None", "Adelheid Beispiel"), ("Feld", "owner 2", "None", "ok")] for _ in before
    ]
    with zipfile.ZipFile(path) as book:
        said = b"".join(book.read(name) for name in book.namelist())
    assert b"Zacharias" not in said
    assert b"0815 4711" not in said
    assert b"8154711" not in said
    assert b"<dc:creator></dc:creator>" in said
    assert pd.read_excel(path, engine="calamine", header=2)["Owner"].tolist() == ["owner 1", "owner 2"]


@pytest.mark.parametrize("what", ["comment", "formula"])
def test_a_workbook_that_says_more_of_a_contact_goes_apart(what: str, tmp_path: Path) -> None:
    path = workbook(tmp_path / "land.xlsx", comment=what == "comment", formula=what == "formula")
    with pytest.raises(CannotPartError):
        without_contacts("land.xlsx", path.read_bytes(), contacts())


@pytest.mark.parametrize("suffix", [".gpkg", ".geojson", ".shp"])
def test_layers_lose_their_contacts_and_nothing_else(suffix: str, tmp_path: Path) -> None:
    frame = gpd.GeoDataFrame(
        {"name": ["a", "b", "c"], "owner": OWNERS, "phone": ["1", None, "2"]}, geometry=PARCELS, crs=32632
    )
    path = tmp_path / f"land{suffix}"
    frame.to_file(path)
    part = path.with_suffix(".dbf") if suffix == ".shp" else path
    before = part.read_bytes()
    part.write_bytes(without_contacts(part.name, before, contacts()))
    found = gpd.read_file(path)
    assert found["name"].tolist() == ["a", "b", "c"]
    assert found["owner"].tolist() == ["owner 1", "owner 2", "owner 1"]
    assert found["phone"].isna().all()
    assert found.to_crs(32632).geometry.iloc[0].symmetric_difference(PARCELS[0]).area < 1
    assert b"Beispiel" not in part.read_bytes()


@pytest.mark.parametrize("name", ["land.xls", "land.ods", "land.parquet", "land.zip", "land.xlsx"])
def test_what_can_not_be_rewritten_goes_apart_as_a_whole(name: str) -> None:
    with pytest.raises(CannotPartError):
        without_contacts(name, b"\0\1\2", contacts())


def test_results_that_name_a_contact_are_found_in_whatever_they_are_written() -> None:
    known = contacts()
    without_contacts("land.csv", "name,owner\nx,Müller & Söhne\n".encode(), known)
    assert known.values == {"Müller & Söhne"}
    for text in ("by Müller & Söhne.", "M\\u00fcller & S\\u00f6hne", "Müller &amp; Söhne"):
        assert names_one(text.encode(), known)
    assert not names_one("Müllers".encode(), known)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as book:
        book.writestr("xl/x.xml", "Müller &amp; Söhne")
    assert names_one(packed.getvalue(), known)


def test_a_word_in_a_row_of_text_is_no_heading(tmp_path: Path) -> None:
    """A sheet of help names columns below each other; nothing below such a row is a contact."""
    book = xlsxwriter.Workbook(tmp_path / "pools.xlsx")
    sheet = book.add_worksheet("Help")
    for row, cells in enumerate([("Column", "What"), ("host", "who looks after it"), ("note", "what else")]):
        sheet.write_row(row, 0, cells)
    book.close()
    data = (tmp_path / "pools.xlsx").read_bytes()
    assert without_contacts("pools.xlsx", data, contacts()) is data
    text = b"a list\nowner,what we know\nPark,3\n"
    assert without_contacts("x.csv", text, contacts()) == b"a list\nowner,what we know\nowner 1,3\n"


def test_a_run_that_was_stopped_among_the_contacts_can_go_on(
    town: Path, packed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    second = contacts_file(packed).rename(tmp_path / "later.zip")
    unpack(packed, tmp_path / "there")
    real, done = os.replace, []

    def stops(source: Path, to: Path) -> None:
        if done:
            raise KeyboardInterrupt
        done.append(to)
        real(source, to)

    monkeypatch.setattr("habitatmap.export.package.os.replace", stops)
    with pytest.raises(KeyboardInterrupt):
        unpack(second, tmp_path / "there")
    monkeypatch.undo()
    unpack(second, tmp_path / "there")
    assert same(town, tmp_path / "there")


def test_a_run_that_was_stopped_while_packing_leaves_nothing(
    town: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stops(*_: object) -> None:
        raise KeyboardInterrupt

    made = packing_of(town)
    monkeypatch.setattr("habitatmap.export.package.Path.rename", stops)
    with pytest.raises(KeyboardInterrupt):
        write_package(made, tmp_path / "p.zip", "")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["town"]
