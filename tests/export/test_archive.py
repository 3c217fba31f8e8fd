"""The Darwin Core Archive: checked by hand and against the standard, read by an independent reader, and private."""

from __future__ import annotations

import io
import random
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import pytest
from dwca.read import DwCAReader

from habitatmap.area import open_area
from habitatmap.export.archive import Archive, archive_bytes, archive_of
from habitatmap.vocabulary.darwin_core import EVENT, OCCURRENCE, TERMS, TEXT_GUIDE, NotGiven, Status
from tests.areas import area_folder
from tests.commands import habitatmap

TOML = """title = "Elm Valley"
crs = "EPSG:25832"
as_of = 2025-10-01

[archive]
licence = "CC BY 4.0"
publisher = "Friends of the Valley"
contact = "records@example.org"
country = "DE"
"""
E, N = 600_000, 5_900_000
# A and B stand in a park; three hosts have gardens in the square of 600, 5901; one has a garden alone in 603, 5905
POOLS = f"""pool,x,y,set_out,removed,private,host,uncertainty_m,note
A,{E + 10},{N + 10},2024-03-01,,no,,5,key at the inn
B,{E + 500},{N + 500},2024-03-01,2025-08-01,no,,80,
Ann's garden,{E + 100},{N + 1100},2024-03-01,,yes,Ann,5,
Ben's garden,{E + 200},{N + 1200},2024-03-01,,yes,Ben,5,
Cy's garden,{E + 300},{N + 1300},2024-03-01,,yes,Cy,5,
Lone garden,{E + 3500},{N + 5500},2024-03-01,,yes,Dee,5,
"""
VISITS = """pool,date,outcome,larvae,taxon,checked,observer,note
A,2024-05-03,larvae,4,Eristalini,no,Ida,by the gate
A,2024-06-03,none seen,,,,Ida,
A,2024-06-03,none seen,,,,Fay,
A,2024-07-03,dry,,,,Ida,
B,2024-05-03,larvae,3,Myathropa florea,yes,Ida,
B,2024-05-03,larvae,2,Eristalis tenax,no,Ida,
B,2024-06-03,larvae,5+,drone fly,yes,Ida,
B,2024-07-03,larvae,,,,Ida,
B,2025-09-03,none seen,,,,Ida,
Ann's garden,2024-05-03,larvae,1,,,Ann,
Ben's garden,2024-05-03,none seen,,,,Ben,
Lone garden,2024-05-03,larvae,9,,,Dee,
A,2025-11-03,none seen,,,,Ida,
"""


def archive(folder: Path, pools: str = POOLS, visits: str = VISITS, **options: object) -> tuple[Archive, bytes]:
    area = open_area(area_folder(folder, TOML, pools=pools, visits=visits))
    made = archive_of(area, **options)  # type: ignore[arg-type]
    return made, archive_bytes(made, area)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Archive, bytes]:
    return archive(tmp_path_factory.mktemp("valley"))


def test_each_search_is_an_event_and_every_other_visit_is_told(made: tuple[Archive, bytes]) -> None:
    events, not_given = made[0].events, made[0].not_given
    searches = events[events["eventType"] == "SiteVisit"]
    assert searches["eventID"].tolist() == [
        "Elm Valley:A:2024-05-03",
        "Elm Valley:A:2024-06-03",
        "Elm Valley:A:2024-06-03:2",  # two people on one day
        "Elm Valley:B:2024-05-03",  # two rows of taxa, one search
        "Elm Valley:B:2024-06-03",
        "Elm Valley:B:2024-07-03",
        "Elm Valley:square 600 5901:2024-05-03:1",
        "Elm Valley:square 600 5901:2024-05-03:2",
    ]
    assert events.loc[events["eventType"] == "Survey", ["eventID", "eventDate"]].to_numpy().tolist() == [
        ["Elm Valley:A", "2024-05-03/2024-06-03"],
        ["Elm Valley:B", "2024-05-03/2024-07-03"],
    ]
    assert made[0].reasons == {
        NotGiven.NO_SEARCH: 1,  # dry
        NotGiven.AFTER_AS_OF: 1,  # November
        NotGiven.NOT_OUT: 1,  # B was taken in before
        NotGiven.FEW_GARDENS: 1,
        NotGiven.NOT_CHECKED: 1,  # Eristalis tenax
        NotGiven.NO_NAME: 1,  # drone fly
    }
    assert not_given["row"].tolist() == [5, 7, 8, 10, 13, 14]
    assert len(searches) + 1 + 4 == 13  # of 13 rows: one is part of another search, four are not given


def test_each_search_says_once_whether_larvae_were_found(made: tuple[Archive, bytes]) -> None:
    told = made[0].occurrences.drop_duplicates()
    told = told.assign(individualCount=told["individualCount"].fillna(-1))
    rows = told[["occurrenceID", "occurrenceStatus", "individualCount", "occurrenceRemarks"]].to_numpy().tolist()
    assert [[name.removeprefix("Elm Valley:"), *rest] for name, *rest in rows] == [
        ["A:2024-05-03:Syrphidae", "detected", 4, ""],
        ["A:2024-06-03:Syrphidae", "notDetected", 0, ""],
        ["A:2024-06-03:2:Syrphidae", "notDetected", 0, ""],
        ["B:2024-05-03:Myathropa florea", "detected", 3, ""],
        ["B:2024-05-03:Syrphidae", "detected", 5, ""],
        ["B:2024-06-03:Syrphidae", "detected", -1, "at least 5 counted"],
        ["B:2024-07-03:Syrphidae", "detected", -1, ""],
        ["square 600 5901:2024-05-03:1:Syrphidae", "detected", 1, ""],
        ["square 600 5901:2024-05-03:2:Syrphidae", "notDetected", 0, ""],
    ]


def test_places_are_as_exact_as_may_be_known(made: tuple[Archive, bytes]) -> None:
    events = made[0].events.set_index("eventID")
    off = events["coordinateUncertaintyInMeters"]
    assert (
        off["Elm Valley:A"] == 30
    )  # a plain receiver's, though the list says 5 m (30 is Darwin Core's own example of one)
    assert off["Elm Valley:B"] == 80
    square = events.loc["Elm Valley:square 600 5901:2024-05-03:1"]
    assert square["coordinateUncertaintyInMeters"] == 708  # half the diagonal of 1000 m: 707.1, rounded up
    assert square["locality"] == square["parentEventID"] == ""
    assert "private land" in square["informationWithheld"]


def test_it_keeps_the_rules_of_the_standard(made: tuple[Archive, bytes]) -> None:
    """Darwin Core of 2026-05-26 and its text guide (github.com/tdwg/dwc, 4f1cb23); what GBIF requires."""
    with zipfile.ZipFile(io.BytesIO(made[1])) as files:
        meta = ElementTree.fromstring(files.read("meta.xml"))
        assert sorted(files.namelist()) == ["eml.xml", "event.csv", "meta.xml", "occurrence.csv"]
    name = f"{{{TEXT_GUIDE}}}"
    tables = {"core": EVENT, "extension": OCCURRENCE}
    for tag, columns in tables.items():
        (table,) = meta.findall(f"{name}{tag}")
        fields = [field for field in table.findall(f"{name}field") if "index" in field.attrib]
        assert [field.attrib["term"] for field in fields] == [TERMS + column for column in columns]
        assert [field.attrib["index"] for field in fields] == [str(i) for i in range(len(columns))]
        assert table.attrib["rowType"] == TERMS + {"core": "Event", "extension": "Occurrence"}[tag]
        assert [part.attrib["index"] for part in table if part.tag in (f"{name}id", f"{name}coreid")] == ["0"]
    events, occurrences = made[0].events, made[0].occurrences
    assert events["eventID"].is_unique
    assert occurrences["occurrenceID"].is_unique
    assert set(occurrences["eventID"]) == set(events.loc[events["eventType"] == "SiteVisit", "eventID"])
    assert (events["sampleSizeValue"].notna() == (events["sampleSizeUnit"] != "")).all()
    assert (events["coordinateUncertaintyInMeters"] > 0).all()  # 0 is invalid
    absent = occurrences["occurrenceStatus"] == "notDetected"
    assert ((occurrences["individualCount"] == 0).fillna(False) == absent).all()
    for column in ("occurrenceID", "basisOfRecord", "scientificName"):
        assert (occurrences[column] != "").all()


def test_an_independent_reader_finds_the_same(made: tuple[Archive, bytes], tmp_path: Path) -> None:
    path = tmp_path / "darwin_core.zip"
    path.write_bytes(made[1])
    with DwCAReader(str(path)) as read:
        assert read.core_contains_term(TERMS + "eventDate")
        rows = list(read)
        found = {row.id: [one.data[TERMS + "occurrenceStatus"] for one in row.extensions] for row in rows}
        licences = {row.data["http://purl.org/dc/terms/license"] for row in rows}
        assert read.metadata.find("dataset/title").text == "Searches for hoverfly larvae in pools, Elm Valley"
    assert len(found) == len(made[0].events)
    assert sum(map(len, found.values())) == len(made[0].occurrences)
    assert found["Elm Valley:B:2024-05-03"] == ["detected", "detected"]
    assert found["Elm Valley:A"] == []
    assert licences == {"https://creativecommons.org/licenses/by/4.0/legalcode"}


def test_nothing_private_is_in_it(made: tuple[Archive, bytes], tmp_path: Path) -> None:
    with zipfile.ZipFile(io.BytesIO(made[1])) as files:
        everything = "".join(files.read(name).decode() for name in files.namelist())
    for word in ("Ann", "Ben", "Cy", "Lone", "Dee", "Ida", "Fay", "inn", "gate", "pools.csv"):
        assert word not in everything, word
    moved = POOLS.replace(f"{E + 200},{N + 1200}", f"{E + 950},{N + 1950}")
    assert archive(tmp_path / "moved", moved)[1] == made[1]
    renamed, visits = (text.replace("Ben's", "Zoe's") for text in (POOLS, VISITS))
    assert archive(tmp_path / "renamed", renamed, visits)[1] == made[1]


def test_the_order_of_rows_changes_nothing(made: tuple[Archive, bytes], tmp_path: Path) -> None:
    shuffled = []
    for text in (POOLS, VISITS):
        head, *rows = text.splitlines()
        random.Random(3).shuffle(rows)
        shuffled.append("\n".join([head, *rows]) + "\n")
    assert archive(tmp_path, *shuffled)[1] == made[1]


def test_observers_are_named_only_when_asked_and_never_in_gardens(tmp_path: Path) -> None:
    occurrences = archive(tmp_path, observers=True, status=Status.PRESENT)[0].occurrences.set_index("eventID")
    assert occurrences.loc["Elm Valley:A:2024-05-03", "recordedBy"] == "Ida"
    assert occurrences.loc["Elm Valley:square 600 5901:2024-05-03:1", "recordedBy"] == ""
    assert set(occurrences["occurrenceStatus"]) == {"present", "absent"}


def test_the_command(tmp_path: Path) -> None:
    town = area_folder(tmp_path / "town", TOML, pools=POOLS, visits=VISITS)
    done = habitatmap("archive", town)
    assert done.code == 0
    assert "The archive holds 8 searches: 5 with larvae, 3 without." in done.out
    assert sorted(path.name for path in (town / "archive").iterdir()) == [
        "darwin_core.zip", "manifest.json", "not_given.csv", "summary.json"
    ]  # fmt: skip
    assert habitatmap("archive", town, "--strict", "-q").code == 1


def test_what_must_be_said_is_asked_for_and_no_search_is_a_result(tmp_path: Path) -> None:
    bare = area_folder(tmp_path / "bare", 'crs = "EPSG:25832"\n', pools=POOLS, visits=VISITS)
    done = habitatmap("archive", bare)
    assert done.code == 2
    assert all(key in done.err for key in ("licence = ", "publisher = ", "contact = "))
    assert not (bare / "archive").exists()
    none = area_folder(tmp_path / "none", TOML, pools=POOLS)
    done = habitatmap("archive", none)
    assert (done.code, done.out) == (0, "No search can be given.\n")
    assert not (none / "archive" / "darwin_core.zip").exists()
