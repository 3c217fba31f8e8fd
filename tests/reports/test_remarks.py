"""What readers remark is said in each language: a town whose files give rise to most remarks there are."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import habitatmap
from habitatmap.area import area_or_account
from habitatmap.read.addresses import By
from habitatmap.read.coordinates.slips import SLIPS
from habitatmap.read.intake import take_in
from habitatmap.read.readings import FileSaid, HeadingSaid, Ignored, NameSaid, Readings, WordSaid, write_readings
from habitatmap.read.thickness import Doubt
from habitatmap.reports.check import Check, check, check_page, check_text
from habitatmap.vocabulary.terms import NoVisit
from habitatmap.words.catalogue import catalogue
from tests.words.spoken import OTHERS, recorder, same_texts, templates_of_remarks, texts_of
from tests.words.test_catalogue import templates

PACKAGE = Path(habitatmap.__file__).parent
READERS = [PACKAGE / "area.py", *sorted((PACKAGE / "read").rglob("*.py"))]
CODES = [*Doubt, *SLIPS, *By, *NoVisit]

TOML = """title = "Mess"
crs = "EPSG:25832"
as_of = 2025-10-01
[source_crs]
"gone.csv" = "EPSG:25832"
[keep_away]
windmill = 20
"""
LAT, LON = 48.75, 9.0  # x 500000, y 5399655


def xy(east: float, north: float = 0.0) -> str:
    return f"{500_000 + east:.1f},{5_399_655 + north:.1f}"


def square(east: float, side: float = 60.0, *, close: bool = True, cross: bool = False) -> str:
    """A square as text in a cell."""
    corners = [(0, 0), (side, 0), (side, side), (0, side)]
    corners = [corners[i] for i in ((0, 2, 1, 3) if cross else (0, 1, 2, 3))] + ([(0, 0)] if close else [])
    return '"POLYGON ((' + ", ".join(xy(east + x, y).replace(",", " ") for x, y in corners) + '))"'


def many(head: str, *rows: str) -> str:
    return "\n".join([head, *rows]) + "\n"


FILES = {
    "pools.csv": many(
        "pool,x,y,set_out,private,volume_l,consent,consent_until,photo,name,old name,removed",
        f"P-1,{xy(0)},2024-04-01,no,5,yes,2025-01-01,gone.jpg,,,",
        f"P1,{xy(1)},spring 2024,perhaps,a bucket,perhaps,soon,https://example.org/a.jpg,,,",
        f"007,{xy(100)},2024-04-01,yes,5,no,,bad.jpg; raw.heic,,,2025-08-01",
        f"P4,{xy(200)},2024-04-01,,5,yes,,,,,",
    ),
    "visits.csv": many(
        "pool,date,outcome,larvae,observer,action,x,y",
        "P1,2024-05-03,larvae,3,Ada,,,",
        "P1,2024-05-03,none seen,,Ada,,,",
        "P-1,2024-05-03,dry,,Ada,,,",
        "P-1,2024-05-03,dry,,Ada,topped up,,",
        "P4,2024-05-04,larvae,a cup,Ada,,,",
        f"P4,2024-05-05,none seen,,Ada,moved,{xy(320)}",
        f"P4,2024-05-06,dry,,Ada,,{xy(900)}",
        "7,2024-05-07,empty,,Ada,,,",
        "007,2024-05-08,Y,,Ada,,,",
        "007,2025-09-08,dry,,Ada,,,",
        "P4,2023-05-08,dry,,Ada,,,",
        "P4,2026-05-08,dry,,Ada,,,",
    ),
    "visits_2024.csv": many("pool,date,outcome", "P4,3 May,dry", "P4,4 May,none seen"),
    "trees.csv": many(
        "x,y,genus,common name,DBH class,condition,species",
        f"{xy(10)},Acer,Red Oak,3,sort of,",
        f"{xy(20)},Tilia,,2,good,",
    ),
    "trees_girth.csv": many(
        "x,y,genus,girth (cm),diameter (cm)", f"{xy(30)},Tilia,100,90", f"{xy(40)},Tilia,100,95", f"{xy(50)},Fagus,a,b"
    ),
    "trees_thick.csv": many("x,y,genus,diameter (cm)", f"{xy(60)},Tilia,300", f"{xy(70)},Tilia,310"),
    "trees_six.csv": many("x,y,genus,DBH", f"{xy(75)},Tilia,0-6", f"{xy(76)},Tilia,6-12"),
    "trees_feet.csv": many("x,y,genus,DBH,height ft", f"{xy(80)},Tilia,10,30", f"{xy(85)},Tilia,14,30"),
    "trees_bare.csv": many("x,y,asset", f"{xy(90)},A1"),
    "trees_only.csv": many("x,y", f"{xy(95)}"),
    "trees_twice.csv": many(
        "x,y,genus,diameter (cm),condition", f"{xy(10.5)},Acer,40,dead", f"{xy(60.5)},Tilia,20,dead"
    ),
    "trees_again.csv": many("x,y,genus,diameter (cm),condition", f"{xy(10.6)},Acer,90,stump"),
    "trees_far.csv": many("lat,lon,genus", "60.17,24.94,Tilia", f"{LAT},{LON},Tilia", f"{LON},{LAT},Tilia"),
    "trees_lost.csv": many("lat,lon,genus", "60.17,24.94,Tilia", "60.18,24.95,Tilia"),
    "land.csv": many(
        "id,name,kind,consent,until,private,position",
        f"1,Park,park,yes,2030-01-01,no,{square(0)}",
        f"1,Yard,yard,no,,maybe,{square(30)}",
        f"3,Field,field,sort of,soon,no,{square(100, cross=True)}",
        f"4,Wood,wood,,,no,{square(200, close=False)}",
        f"5,Hill,hill,yes,someday,no,{square(300)}",
    ),
    "consent.csv": many(
        "id,consent,until,owner,as_in_land",
        "3,yes,,Ada,",
        "4,perhaps,whenever,Ada,",
        '5,no,,Ada,"{""consent"": ""yes""}"',
    ),
    "keep_away.csv": many("kind,distance_m,x,y", f"gnome,,{xy(400)}", f"school,near,{xy(420)}"),
    "paths.csv": many("name,position", 'Lane,"LINESTRING (900000 5399655, 900100 5399655)"'),
    "addresses.csv": many("street,house number,x,y", f"Park Road,1,{xy(0)}", f"Park Road,9,{xy(80)}"),
    "committed.csv": many("name,address,x,y", "One,Park Road 1,,", "Two,Park Road,,", f"Three,Park Road 9,{xy(700)}"),
    "photos/bad.jpg": "no photo",
    "photos/raw.heic": "no photo",
    "more.csv": many("pool,date,outcome", "P1,2024-05-03,larvae"),
}

# lines of readings.xlsx that nobody can follow
WRONG = Readings(
    headings=[HeadingSaid("visits.csv", "", "date", "birthday"), HeadingSaid("visits.csv", "", "day out", "date")],
    words=[WordSaid("visits.csv", "outcome", "soggy", "wettish")],
    names=[NameSaid("P9", "P1", "one day")],
    ignore=[Ignored("visits.csv", "", "90-91")],
    files=[FileSaid("more.csv", "", "birds")],
)


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Check:
    folder = tmp_path_factory.mktemp("mess")
    (folder / "area.toml").write_text(TOML, encoding="utf-8")
    for name, text in FILES.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8")
    write_readings(folder, WRONG, ["P1"])
    return check(area_or_account(take_in(folder)))


def test_every_remark_has_words_in_each_language() -> None:
    may = set(map(str, CODES)).union(*(templates_of_remarks(path.read_text(encoding="utf-8")) for path in READERS))
    assert len(may) > 200
    for language in OTHERS:
        assert may - catalogue(language).sentences.keys() == set()


@pytest.mark.parametrize("language", OTHERS)
def test_no_remark_stays_english(found: Check, language: str) -> None:
    """On the page of the check, on its terminal, and in what the map page says under Data."""
    spoken = recorder(language)
    provoked = {template for one in found.remarks for template in templates(one)}
    assert len(provoked) > 60, len(provoked)
    english, other = check_page(found), check_page(found, spoken)
    check_text(found, spoken)
    told = [spoken.say(one) for one in (*found.remarks, *found.notes)]
    assert spoken.unsaid <= {"cm"}
    # templates that only put sentences together are the same in all languages
    same = {str(one) for one in found.doubts} & set(texts_of(other))
    assert same == set()
    assert len(told) == len(found.remarks) + len(found.notes)
    records = " ".join([*FILES.values(), *(row.cells for row in found.set_aside)])
    shared = [text for text in same_texts(english, other) if len(text.split()) > 2]
    assert [text for text in shared if text not in records and not re.search(r"\d\.\d{5}", text)] == []
