"""A person's data: found everywhere, given to them, and forgotten without a trace and without a figure changed."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Mapping
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
from openpyxl import load_workbook
from PIL import Image

from habitatmap.errors import HabitatmapError, InputError
from habitatmap.persons import forget as forgetting
from habitatmap.persons.folder import search
from habitatmap.persons.forget import STAGE, complete, forget
from habitatmap.persons.spelling import Person, What
from tests.commands import habitatmap
from tests.persons.hostile import MAIL, NAME, PHONE, traces, write_hostile

ALL = (NAME, "--also", MAIL, "--also", PHONE)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The hostile area, mapped, kept as a season, with survey and rounds."""
    area = write_hostile(tmp_path_factory.mktemp("person") / "area")
    for words in (["map", "--keep", "2024"], ["survey"], ["sheets"]):
        done = habitatmap(*words, area)
        assert done.code == 0, done.err
    return area


@pytest.fixture
def area(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "area"))


def figures(folder: Path) -> Mapping[str, object]:
    """summary.json without seconds, and without what names files."""
    found = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
    found["intake"].pop("plan_status", None)  # the first map writes it, the second one reads it
    return {name: found[name] for name in found if name not in ("seconds", "notes", "inputs", "not_used", "versions")}


# --- how somebody may be written -------------------------------------------------------------------------------------

WRITTEN = {
    "Zoë Quillfeather": "Zoë Quillfeather",
    "by ZOE QUILLFEATHER, 2024": "ZOE QUILLFEATHER",
    "Quillfeather, Zoë (host)": "Quillfeather, Zoë",
    "zoe_quillfeather_12.jpg": "zoe_quillfeather",
    "Zoë\u00a0Quillfeather": "Zoë Quillfeather",
    "Zoe\u0308 Quillfeather": "Zoë Quillfeather",
    "Zo\\u00eb Quillfeather": "Zo\\u00eb Quillfeather",
    "Zo&euml;&nbsp;Quillfeather": "Zoë Quillfeather",
    "zoe-quillfeather": "zoe-quillfeather",
}
NOT_WRITTEN = [
    "Zoë Quillfeathers",
    "Azoë Quillfeather",
    "Zoë",
    "Quillfeather",
    "Zoë\nQuillfeather",
    "Zoë; Quillfeather",
]


@pytest.mark.parametrize("text", WRITTEN)
def test_a_name_is_found_as_people_and_files_write_it(text: str) -> None:
    (found,) = Person([NAME]).finds(text)
    assert (found.what, found.spelling) == (What.NAME, WRITTEN[text])


@pytest.mark.parametrize("text", NOT_WRITTEN)
def test_another_word_and_another_cell_are_no_find(text: str) -> None:
    assert Person([NAME]).finds(text) == []


@pytest.mark.parametrize("text", ["0171 2345678", "+49 (0)171/234 56 78", "0049171-2345678", "491712345678"])
def test_a_telephone_number_is_found_however_it_is_grouped(text: str) -> None:
    (found,) = Person([PHONE]).finds(f"call {text} at night")
    assert (found.what, found.start, found.end) == (What.TELEPHONE, 5, 5 + len(text))
    assert Person([PHONE]).finds("54.1712345, 7.5 and 0171 2345679") == []


def test_a_mail_address_is_found_whole() -> None:
    person = Person([MAIL])
    assert [one.spelling for one in person.finds(f"<{MAIL.upper()}>; x{MAIL}; {MAIL}.org")] == [MAIL.upper(), MAIL]


def test_a_name_with_a_number_is_not_that_of_another_number() -> None:
    assert [one.spelling for one in Person(["volunteer 3"]).finds("volunteer 3, volunteer 31, volunteer 8")] == [
        "volunteer 3"
    ]


def test_what_is_nearly_so_or_in_part_is_offered() -> None:
    person = Person([NAME])
    text = "Zoe Quilfeather; Z. Quillfeather | Quillfeather; Zoë Quillfeather; Zorro Feather; Ben"
    assert list(person.near(text)) == ["Zoe Quilfeather", "Z. Quillfeather", "Quillfeather"]


@pytest.mark.parametrize("said", ["", "Q", "12-34"])
def test_what_is_too_short_is_refused(said: str) -> None:
    with pytest.raises(InputError):
        Person([said])


# --- found -----------------------------------------------------------------------------------------------------------


def test_every_place_is_found(area: Path) -> None:
    hits = search(area, [Person([NAME, MAIL, PHONE])])
    inputs = {hit.file for hit in hits.found if not hit.result and not hit.file.startswith("seasons/")}
    assert inputs == {
        *("pools.csv", "visits.csv", f"visits ({NAME}).csv", "notes.txt", "old.txt", "escaped.json", "letter.html"),
        *(
            "visits_more.xlsx",
            "attic.zip",
            "land.gpkg",
            "trees.dbf",
            "photos/zoe_quillfeather_1.jpg",
            "photos/pool.png",
        ),
        "area.toml",
    }
    assert {hit.file for hit in hits.found if hit.file.startswith("seasons/2024/")} >= {
        f"seasons/2024/{name}" for name in inputs
    }
    places = {str(hit.where) for hit in hits.found if hit.file == "visits_more.xlsx"}
    assert {"sheet visits, cell D2", "sheet visits, cell E2", "sheet visits, cell E3", "a comment at cell A2"} <= places
    assert {"what the file says of itself", "sheet attic, cell A1"} <= places
    assert {hit.what for hit in hits.found if hit.file == "land.gpkg"} == set(What)
    assert hits.unread == {}


def test_it_is_told_and_nothing_is_changed(area: Path) -> None:
    before = {path: path.read_bytes() for path in area.rglob("*") if path.is_file()}
    done = habitatmap("person", area, *ALL)
    assert f"visits ({NAME}).csv" in done.out
    asked = habitatmap("person", area, *ALL, "--forget")
    assert "Nothing was changed" in asked.out
    assert "The person would be called observer 1." in asked.out
    assert before == {path: path.read_bytes() for path in area.rglob("*") if path.is_file()}


def test_the_export_is_a_list_to_give_away(area: Path) -> None:
    done = habitatmap("person", area, *ALL, "--export")
    assert done.code in (0, 1), done.err
    table = pd.read_csv(area / "person" / "found.csv", keep_default_na=False)
    assert {"name", "mail", "telephone"} == set(table["what"])
    line = table[(table["file"] == "visits.csv") & table["text"].str.contains("met Quillfeather")]
    assert len(line)
    assert "land.gpkg" in (area / "person" / "list.txt").read_text(encoding="utf-8")


# --- forgotten -------------------------------------------------------------------------------------------------------


def test_nothing_is_left_and_the_figures_stay(area: Path) -> None:
    before, seen = figures(area / "out"), json.loads((area / "survey" / "survey.json").read_text(encoding="utf-8"))
    assert traces(area)
    done = habitatmap("person", area, *ALL, "--forget", "--yes")
    assert traces(area) == [], done.out
    assert done.code == 0, done.out + done.err
    assert not (area / "out" / "map.html").exists()
    assert (area / "out" / "site_ids.geojson").exists()
    assert not [path for path in area.rglob("*") if path.name.startswith(".habitatmap")]
    receipt = (area / "forgotten" / "observer_1.txt").read_text(encoding="utf-8")
    assert "Searched again: nothing else names the person." in receipt
    for words in (["map"], ["survey"]):
        again = habitatmap(*words, area)
        assert again.code == 0, again.err
    assert figures(area / "out") == before
    now = json.loads((area / "survey" / "survey.json").read_text(encoding="utf-8"))
    assert {key: now[key] for key in ("estimate", "seasons") if key in now} == {
        key: seen[key] for key in ("estimate", "seasons") if key in seen
    }
    # three ways in which the observer was written go on to be three
    visits = pd.read_csv(area / "visits.csv", keep_default_na=False)
    assert set(visits["observer"]) == {"observer 1", "observer 1b", "Ben Ott", "Cai Dunn"}
    assert re.fullmatch(r"met observer 1[b-z] \(\)", visits["note"].iloc[0])
    assert (area / "photos" / visits["photo"].iloc[0]).is_file()


def test_what_was_changed_can_still_be_opened(area: Path) -> None:
    habitatmap("person", area, *ALL, "--forget", "--yes")
    book = load_workbook(area / "visits_more.xlsx")
    assert book["visits"]["D2"].value == "observer 1"
    assert book["visits"]["E2"].value == "with observer 1"
    assert book["visits"]["E3"].value is None
    assert "observer 1" in book["visits"]["A2"].comment.text
    assert book.properties.creator == "observer 1"
    land = gpd.read_file(area / "land.gpkg")
    assert land[["owner", "contact"]].iloc[0].tolist() == ["observer 1", ", "]
    assert gpd.read_file(area / "trees.shp")["remark"].iloc[0] == "shown by observer 1"
    with Image.open(area / "photos" / "pool.png") as picture:
        picture.load()
        assert picture.info["Author"] == "observer 1"
    (photo,) = (area / "photos").glob("*.jpg")
    with Image.open(photo) as picture:
        picture.load()
        assert picture.getexif()[0x013B].strip(" \0") == ""


def test_a_kept_season_still_is_what_its_manifest_says(area: Path) -> None:
    habitatmap("person", area, *ALL, "--forget", "--yes")
    season = area / "seasons" / "2024"
    again = habitatmap("map", season, "--out", area / "again")
    assert again.code == 0, again.err
    assert figures(area / "again") == figures(season / "out")
    from habitatmap.export.manifest import read_manifest

    for folder in (season, season / "out"):
        made = read_manifest(folder)
        assert made is not None
        assert [name for name in made.files if not made.is_unchanged(folder, name)] == []


def test_two_people_have_two_numbers_and_one_keeps_hers(area: Path) -> None:
    habitatmap("person", area, *ALL, "--forget", "--yes")
    habitatmap("person", area, "Ben Ott", "--forget", "--yes")
    visits = pd.read_csv(area / "visits.csv", keep_default_na=False)
    assert set(visits["observer"]) == {"observer 1", "observer 1b", "observer 2", "Cai Dunn"}
    assert habitatmap("person", area, "Ben Ott", "--forget", "--yes").out.strip() == "Nothing names the person."


def test_what_cannot_be_rewritten_is_told_by_name(area: Path) -> None:
    (area / "minutes.doc").write_bytes(b"\xd0\xcf\x11\xe0" + bytes(600) + f"{NAME} was there".encode("utf-16-le"))
    (area / "locked.zip").write_bytes(b"PK\x03\x04 broken")
    done = habitatmap("person", area, *ALL, "--forget", "--yes")
    assert done.code == 1
    assert "minutes.doc: it names the person and can't be rewritten" in done.out
    assert "locked.zip: it can't be searched" in done.out
    assert traces(area) == ["minutes.doc"]


def test_a_pdf_of_somebody_else_is_read_and_told(area: Path) -> None:
    shutil.copyfile(area / "sheets" / "recording.pdf", area / "minutes.pdf")
    (area / "land.gpkg-wal").write_bytes(b"changes that wait")
    done = habitatmap("person", area, "P1", "--forget", "--yes")
    assert done.code == 2
    assert "land.gpkg is open in another program" in done.err
    (area / "land.gpkg-wal").unlink()
    assert "minutes.pdf" in search(area, [Person(["test area"])], near=False).files
    done = habitatmap("person", area, "test area", "--forget", "--yes")
    assert done.code == 1
    assert "minutes.pdf: it names the person and can't be rewritten: print it anew" in done.out


def test_killed_at_any_step_nothing_is_half_done(area: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = {path.relative_to(area): path.read_bytes() for path in area.rglob("*") if path.is_file()}
    people = [Person([NAME, MAIL, PHONE])]
    hits, moves, move = search(area, people), [0], forgetting._move

    def fails(source: Path, target: Path) -> None:
        moves[0] += 1
        if moves[0] == 9:
            raise OSError(28, "No space left on device")
        move(source, target)

    monkeypatch.setattr(forgetting, "_move", fails)
    with pytest.raises(HabitatmapError, match="nothing was changed"):
        forget(area, people, hits, do=True)
    assert {path.relative_to(area): path.read_bytes() for path in area.rglob("*") if path.is_file()} == before

    class Killed(BaseException):
        """The process is gone: nothing is put back."""

    def dies(source: Path, target: Path) -> None:
        moves[0] += 1
        if moves[0] == 9:
            raise Killed
        move(source, target)

    moves[0] = 0
    monkeypatch.setattr(forgetting, "_move", dies)
    monkeypatch.setattr(forgetting, "_undo", lambda *step: None)
    monkeypatch.setattr(Path, "unlink", lambda self, missing_ok=False: None)
    with pytest.raises(Killed):
        forget(area, people, hits, do=True)
    monkeypatch.undo()
    assert (area / STAGE).is_dir()
    assert complete(area)
    assert traces(area) == []
    assert not (area / STAGE).exists()


# --- a rule of keeping -----------------------------------------------------------------------------------------------


def test_observers_of_long_ago_are_offered_and_forgotten(area: Path) -> None:
    with (area / "visits.csv").open("a", encoding="utf-8") as file:
        file.write("P1,2015-05-03,larvae,Old Hand,,\nP1,2025-05-03,larvae,Ben Ott,,\n")
    toml = (area / "area.toml").read_text(encoding="utf-8")
    (area / "area.toml").write_text(f"{toml}[privacy]\nobservers_years = 5\n", encoding="utf-8")
    done = habitatmap("check", area)
    page = (area / "check" / "check.html").read_text(encoding="utf-8")
    assert "1 observer of whom the last visit lies more than 5 years back" in done.out + page
    done = habitatmap("person", area, "--older-than", "5", "--forget", "--yes")
    assert done.code == 0, done.out + done.err
    assert "Old Hand" not in (area / "visits.csv").read_text(encoding="utf-8")
    assert "Ben Ott" in (area / "visits.csv").read_text(encoding="utf-8")
    assert habitatmap("person", area, "--older-than", "5").out.strip() == "No observer's last visit is so old."
