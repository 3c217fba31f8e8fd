"""Groups in one area: lists of their own, read together; nothing of one is taken for another's."""

from __future__ import annotations

import json
import shutil
import unicodedata
import zipfile
from pathlib import Path

import pandas as pd
import pytest
from pypdf import PdfReader

from habitatmap.area import Area, open_area
from habitatmap.errors import InputError
from habitatmap.read.groups import called
from tests.areas import area_folder
from tests.commands import habitatmap

HEAD = "pool,lat,lon\n"
SEEN = "pool,date,outcome\n"


def town(folder: Path, own: str = "", **groups: tuple[str, str]) -> Path:
    """The area's own pools, and by group its pools and visits; "" for no file."""
    area_folder(folder, "as_of = 2025-07-01\n", **({"pools": HEAD + own} if own else {}))
    for name, (pools, visits) in groups.items():
        texts = {"pools": pools and HEAD + pools, "visits": visits and SEEN + visits}
        area_folder(folder / "groups" / name.replace("_", " "), **{kind: text for kind, text in texts.items() if text})
    return folder


def found(area: Area) -> dict[str, str]:
    return dict(zip(area.pools["pool"], area.pools["group"], strict=True))


def seen(area: Area) -> list[str]:
    return area.visits["pool"].tolist()


def aside(area: Area) -> list[list[str]]:
    return area.ledger.frame()[["file", "reason"]].to_numpy().tolist()


def test_two_groups_may_use_one_name(tmp_path: Path) -> None:
    area = open_area(
        town(
            tmp_path / "town",
            "P9,48.1,9.5\n",
            north=("P7,48.2,9.5\n", "P7,2025-05-01,larvae\nP9,2025-05-02,dry\nnorth P7,2025-05-03,dry\n"),
            south=("P7,48.3,9.5\nsouth P8,48.31,9.5\n", "P7,2025-05-04,larvae\nP8,2025-05-05,larvae\n"),
        )
    )
    assert found(area) == {"P9": "", "north P7": "north", "south P7": "south", "south P8": "south"}
    # a group's visits go to its own pools, else to a pool of the area's own list
    assert seen(area) == ["P9", "north P7", "north P7", "south P7", "south P8"]
    assert set(area.pools["file"]) == {"pools.csv", "groups/north/pools.csv", "groups/south/pools.csv"}
    assert area.ledger.counts()["visits"] == {"read": 5, "accepted": 5, "set_aside": 0}
    assert not area.ledger.doubts


def test_a_group_sees_no_other_groups_pools(tmp_path: Path) -> None:
    area = open_area(
        town(tmp_path / "town", north=("P7,48.2,9.5\n", ""), south=("P8,48.3,9.5\n", "P7,2025-05-04,larvae\n"))
    )
    assert seen(area) == []
    assert aside(area) == [["groups/south/visits.csv", area.ledger.frame()["reason"][0]]]
    assert "no pool of this name" in aside(area)[0][1]


def test_a_group_with_visits_alone_visits_the_areas_pools(tmp_path: Path) -> None:
    area = open_area(town(tmp_path / "town", "P7,48.1,9.5\n", north=("", "P7,2025-05-01,larvae\n")))
    assert seen(area) == ["P7"]
    assert area.visits["file"].tolist() == ["groups/north/visits.csv"]


def test_an_area_of_groups_alone_and_names_with_spaces_and_umlauts(tmp_path: Path) -> None:
    folder = town(tmp_path / "town", Süd_West=("P7,48.1,9.5\n", "süd west P7,2025-05-01,larvae\nP7,2025-05-02,dry\n"))
    assert found(open_area(folder)) == {"Süd West P7": "Süd West"}
    assert seen(open_area(folder)) == ["Süd West P7"] * 2
    # as another system writes the same name
    groups = folder / "groups"
    (groups / "Süd West").rename(groups / unicodedata.normalize("NFD", "Süd West"))
    assert found(open_area(folder)) == {"Süd West P7": "Süd West"}


def test_what_is_called_by_its_group_already(tmp_path: Path) -> None:
    assert called("P7", "north") == "north P7"
    assert called("North P7", "north") == "North P7"
    assert called("northern P7", "north") == "north northern P7"
    assert (called("", "north"), called("P7", "")) == ("", "P7")


def test_a_broken_file_of_one_group_is_named_and_the_others_are_told(tmp_path: Path) -> None:
    folder = town(tmp_path / "town", north=("P7,48.2,9.5\n", ""), south=("P7,48.3,9.5\n", ""))
    (folder / "groups" / "south" / "visits.xlsx").write_bytes(b"PK\x03\x04 cut short")
    with pytest.raises(InputError, match=r"groups/south/visits\.xlsx"):
        open_area(folder)
    done = habitatmap("check", folder)
    assert done.code == 1
    assert "groups/north/pools.csv" in done.out
    assert "groups/south/visits.xlsx" in done.out


def test_an_empty_folder_of_groups_is_nothing(tmp_path: Path) -> None:
    folder = town(tmp_path / "town", "P7,48.1,9.5\n")
    (folder / "groups" / "north").mkdir(parents=True)
    area = open_area(folder)
    assert found(area) == {"P7": ""}
    assert aside(area) == []


def test_what_is_in_no_group_or_nothing_of_a_group_or_in_a_zip_is_told(tmp_path: Path) -> None:
    folder = town(tmp_path / "town", "P1,48.1,9.5\n", north=("P7,48.2,9.5\n", ""))
    shutil.copy(folder / "pools.csv", folder / "groups" / "pools.csv")
    (folder / "groups" / "north" / "boundary.geojson").write_text("{}", encoding="utf-8")
    with zipfile.ZipFile(folder / "export.zip", "w") as parts:
        parts.writestr("groups/south/pools.csv", HEAD + "P8,48.3,9.5\n")
    area = open_area(folder)
    assert found(area) == {"P1": "", "north P7": "north"}
    told = dict(aside(area))
    assert "in none of them" in told["groups/pools.csv"]
    assert "and nothing else" in told["groups/north/boundary.geojson"]
    assert "lies in a zip" in told["export.zip"]


def test_pools_that_two_lists_have_are_listed(tmp_path: Path) -> None:
    folder = town(
        tmp_path / "town",
        "A,48.1,9.5\n",
        # 3 m from A, and a P7 that is 22 m (0.0002 degrees of latitude) from the south's
        north=("B,48.10003,9.5\nP7,48.2,9.5\nP8,48.25,9.5\n", ""),
        south=("P7,48.2002,9.5\nP9,48.2502,9.5\n", ""),
    )
    (doubt,) = open_area(folder).ledger.doubts
    assert "A (pools.csv row 2) and north B (groups/north/pools.csv row 2), 3 m apart" in doubt
    assert "north P7 (groups/north/pools.csv row 3) and south P7 (groups/south/pools.csv row 2), 22 m apart" in doubt
    assert "P8" not in doubt  # nor of one name nor of one place


def test_corrections_lie_beside_the_file_they_correct(tmp_path: Path) -> None:
    folder = town(tmp_path / "town", "P7,48.1,9.5\n", north=("P7,48.2,9.5\n", "P7,2025-05-32,larvae\n"))
    habitatmap("check", folder, "--fix")
    fix = folder / "groups" / "north" / "visits.fix.csv"
    text = fix.read_text(encoding="utf-8-sig")
    assert "groups/north/visits.csv" in text
    fix.write_text(text.replace("'2025-05-32", "2025-05-31"), encoding="utf-8-sig")
    area = open_area(folder)
    assert seen(area) == ["north P7"]
    assert area.visits["file"].tolist() == ["groups/north/visits.fix.csv"]


# --- each group's rounds and sheets ----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def groups_town(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two groups with a pool of the same name and an area's own pool, each searched by people of its own in May."""
    seen = "pool,date,outcome,observer\n"
    folder = town(
        tmp_path_factory.mktemp("groups") / "town",
        "P9,48.1,9.5\n",
        Süd_West=("P7,48.12,9.5\nP8,48.121,9.5\n", ""),
        north=("P7,48.11,9.5\n", ""),
    )
    for place, rows in (
        (folder, "P9,2025-05-01,larvae,Ann\n"),
        (folder / "groups" / "Süd West", "P7,2025-05-01,larvae,Ben\nP8,2025-05-02,dry,Ben\n"),
        (folder / "groups" / "north", "P7,2025-05-01,larvae,Cleo\n"),
    ):
        (place / "visits.csv").write_text(seen + rows, encoding="utf-8")
    for command in (["rounds", "--week", "2025-W27"], ["sheets"]):
        done = habitatmap(*command, folder)
        assert done.code == 0, done.err
    return folder


def test_each_group_gets_rounds_of_its_own(groups_town: Path) -> None:
    rounds = groups_town / "rounds"
    found = json.loads((rounds / "rounds.json").read_text(encoding="utf-8"))
    assert (found["standing"], found["due"]) == (4, 4)
    stops = {
        one["group"]: {person["person"]: [stop["pool"] for stop in person["stops"]] for person in one["people"]}
        for one in found["groups"]
    }
    assert stops == {
        "": {"Ann": ["P9"]},
        "Süd West": {"Ben": ["Süd West P7", "Süd West P8"]},
        "north": {"Cleo": ["north P7"]},
    }
    assert sorted(p.name for p in rounds.iterdir() if p.is_dir()) == ["north", "own", "sud-west"]
    assert sorted(p.name for p in (rounds / "north").iterdir()) == [
        *("01-cleo.gpx", "01-cleo.html", "01-cleo.ics"),
        *("rounds.csv", "rounds.html", "rounds.json", "rounds.pdf"),
    ]
    for name in ("rounds.html", "rounds.csv", "01-cleo.gpx", "01-cleo.ics"):
        text = (rounds / "north" / name).read_text(encoding="utf-8")
        assert "north P7" in text
        assert not any(other in text for other in ("P9", "Süd West P7", "Ben", "Ann"))
    page = (rounds / "rounds.html").read_text(encoding="utf-8")
    assert all(f"Week 2025-W27{group}" in page for group in ("", ", Süd West", ", north"))
    table = pd.read_csv(rounds / "rounds.csv", keep_default_na=False)
    assert dict(zip(table["pool"], table["group"], strict=True)) == {
        "P9": "",
        "Süd West P7": "Süd West",
        "Süd West P8": "Süd West",
        "north P7": "north",
    }


def test_one_group_alone(groups_town: Path, tmp_path: Path) -> None:
    out = tmp_path / "rounds"
    done = habitatmap("rounds", groups_town, "--week", "2025-W27", "--group", "SÜD west", "--people", "2", "--out", out)
    assert done.code == 0, done.err
    found = json.loads((out / "rounds.json").read_text(encoding="utf-8"))
    assert [[stop["pool"] for stop in person["stops"]] for person in found["people"]] in (
        [["Süd West P7"], ["Süd West P8"]],
        [["Süd West P8"], ["Süd West P7"]],
    )
    assert found["title"] == "town, Süd West"
    for words, sentence in (
        (["--group", "south"], "no list of pools is of this group"),
        (["--people", "2"], "--people goes with --group"),
    ):
        fault = habitatmap("rounds", groups_town, *words, "--out", out)
        assert fault.code == 2
        assert sentence in fault.err.splitlines()[-1]


def test_each_group_gets_labels_and_recording_sheets_of_its_own(groups_town: Path) -> None:
    def text(name: str) -> str:
        pages = PdfReader(groups_town / "sheets" / name).pages
        return " ".join(" ".join(page.extract_text() for page in pages).split())

    for folder, there, elsewhere in (
        ("", ["P9"], ["Süd West P7", "north P7"]),
        ("north/", ["north P7"], ["P9", "P8"]),
        ("sud-west/", ["Süd West P7", "Süd West P8"], ["P9", "north"]),
    ):
        for sheet in ("labels.pdf", "recording.pdf"):
            found = text(folder + sheet)
            assert all(name in found for name in there), folder + sheet
            assert not any(name in found for name in elsewhere), folder + sheet


def test_an_area_without_groups_has_no_folder_of_one(tmp_path: Path) -> None:
    folder = town(tmp_path / "town", "P9,48.1,9.5\n")
    assert habitatmap("rounds", folder).code == 0
    assert not [p for p in (folder / "rounds").iterdir() if p.is_dir()]
