"""Rounds as files: nothing of a record is ever executed, nobody gets another's pools, same inputs same bytes."""

from __future__ import annotations

import csv
import dataclasses
import datetime
import io
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import icalendar
import pytest
from defusedxml import ElementTree
from pypdf import PdfReader
from shapely import LineString, box

from habitatmap.area import Area, open_area
from habitatmap.fieldwork import rounds as fieldwork
from habitatmap.fieldwork.rounds import Rounds, read_week
from habitatmap.job import rounds_of
from habitatmap.reports import rounds as rounds_module
from habitatmap.reports.rounds import (
    file_names,
    person_page,
    rounds_pdf,
    rounds_summary,
    rounds_text,
    told_stops,
    write_rounds,
)
from habitatmap.words.catalogue import ENGLISH, catalogue
from habitatmap.words.cautions import Caution, round_cautions
from tests.areas import LEFT, TOP, csv_text, write_area
from tests.pdf import title_of
from tests.words.spoken import OTHERS, left, recorder, same_texts, templates_in

GPX = "{http://www.topografix.com/GPX/1/1}"
EVIL = '<script>alert(1)</script>{{7*7}}${7*7} =cmd|"x"!A1 "quoted" \u202eturned ]]> ﷽ 😀'
WEEK = read_week("2025-W27")


POOLS = "pool,x,y,set_out,private,container,volume_l,host,note"


def area_with(
    folder: Path, pools: list[list[str]], visits: list[list[str]], toml: str = "", paths: list[LineString] | None = None
) -> Area:
    park = ("park", "yes", box(LEFT, TOP - 500, LEFT + 400, TOP))
    texts = {"pools": csv_text(POOLS, pools), "visits": csv_text("pool,date,outcome,observer,note", visits)}
    return open_area(write_area(folder, land=[park], toml=toml, paths=paths or (), **texts))


def pool(name: str, x: float, private: str = "no", host: str = "", note: str = "", volume: str = "10") -> list[str]:
    return [name, str(LEFT + x), str(TOP - 100), "2025-03-01", private, "bucket", volume, host, note]


@pytest.fixture
def evil(tmp_path: Path) -> Rounds:
    area = area_with(
        tmp_path / "town",
        [pool(EVIL, 10, "yes", f"host {EVIL}", f"note\r\n{EVIL}"), pool("../../etc/passwd", 90), pool("c", 300, "yes")],
        [[EVIL, "2025-05-01", "dry", f"../../{EVIL}"], ["c", "2025-05-02", "none seen", "Ben\nBEGIN:VALARM"]],
        '\n[rounds]\npeople = ["../../évil", "Ben"]\n',
    )
    return rounds_of(area, WEEK)


class Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        assert not any(name.startswith("on") or name == "style" for name, _ in attrs)

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def test_hostile_text_stays_text(evil: Rounds, tmp_path: Path) -> None:
    out = tmp_path / "out" / "rounds"
    write_rounds(evil, out)
    names = sorted(path.name for path in out.iterdir())
    each = [f"{name}.{suffix}" for name in ("01-evil", "02-ben") for suffix in ("gpx", "html", "ics")]
    assert names == [*each, "manifest.json", "rounds.csv", "rounds.html", "rounds.json", "rounds.pdf"]
    assert [p.name for p in (tmp_path / "out").iterdir()] == ["rounds"]  # and nothing anywhere else
    shown = EVIL.replace("\u202e", "")
    for page in out.glob("*.html"):
        found = Tags()
        found.feed(page.read_text(encoding="utf-8"))
        assert "script" not in found.tags
        assert "\u202e" not in "".join(found.text)
    found = Tags()
    found.feed((out / "rounds.html").read_text(encoding="utf-8"))
    assert f"1 {shown}" in found.text or f"2 {shown}" in found.text
    for file in out.glob("*.gpx"):
        assert ElementTree.parse(file).getroot().get("version") == "1.1"
    for file in out.glob("*.ics"):
        calendar = icalendar.Calendar.from_ical(file.read_bytes())
        assert [type(part).__name__ for part in calendar.walk()] == ["Calendar", "Event"]
        assert max(map(len, file.read_bytes().split(b"\r\n"))) <= 75
    rows = list(csv.DictReader(io.StringIO((out / "rounds.csv").read_text(encoding="utf-8"), newline="")))
    assert all(not (cell or "").startswith(("=", "+", "-", "@")) or key in ("x", "y", "lon", "lat")
               for row in rows for key, cell in row.items())  # fmt: skip
    json.loads((out / "rounds.json").read_text(encoding="utf-8"))
    assert "\u202e" not in rounds_text(evil)


def test_a_long_name_does_not_widen_the_list_of_everybody(tmp_path: Path) -> None:
    rows = [pool("behind the old house " * 15, 100), pool("P2", 200)]
    told = rounds_text(rounds_of(area_with(tmp_path / "town", rows, [], '\n[rounds]\npeople = ["Ben"]\n'), WEEK))
    (line,) = [line for line in told.splitlines() if "P2" in line]
    assert len(line) < 120
    assert "behind the old house behind the old hou\u2026 " in told


@pytest.mark.parametrize("names", [["../a", "..", "C:\\x", "nul\x00", "", "😀", "a" * 300, "Ben", "ben", "-rf"]])
def test_file_names_are_plain_and_apart(names: list[str]) -> None:
    found = file_names(names)
    assert len(set(found.values())) == len(names)
    for name in found.values():
        assert name.replace("-", "").isalnum()
        assert name.isascii()
        assert 2 < len(name) < 50


@pytest.fixture
def town(tmp_path: Path) -> Rounds:
    # two people, each with two pools; Ann's are private and have hosts; a path joins the first pair
    area = area_with(
        tmp_path / "town",
        [
            pool("pool-a1", 10, "yes", "Host Alpha", "behind the shed"),
            pool("pool-a2", 200, "yes", "Host Beta", volume=""),
            pool("pool-b1", 600, note="by the fountain"),
            pool("pool-b2", 900, "yes", "Host Gamma"),
        ],
        [
            ["pool-a1", "2025-05-01", "dry", "Ann"],
            ["pool-a2", "2025-05-01", "none seen", "Ann"],
            ["pool-b1", "2025-05-01", "larvae", "Ben"],
            ["pool-b2", "2025-05-03", "none seen", "Ben"],
            ["pool-b2", "2025-06-03", "not reached", "Ben"],
        ],
        '\n[cautions]\nmosquitoes = "reported"\n',
        [
            LineString(
                [(LEFT + 10, TOP - 120), (LEFT + 10, TOP - 160), (LEFT + 200, TOP - 160), (LEFT + 200, TOP - 120)]
            )
        ],
    )
    return rounds_of(area, WEEK)


def test_each_person_sees_their_own_pools_only(town: Rounds, tmp_path: Path) -> None:
    write_rounds(town, tmp_path / "rounds")
    own = {
        "01-ann": ("pool-a1", "pool-a2", "Host Alpha", "Host Beta", "shed"),
        "02-ben": ("pool-b1", "pool-b2", "Host Gamma", "fountain"),
    }
    for name, words in own.items():
        other = next(w for n, w in own.items() if n != name)
        for suffix in ("html", "gpx", "ics"):
            text = (tmp_path / "rounds" / f"{name}.{suffix}").read_text(encoding="utf-8").replace("\n ", "")
            assert words[0] in text
            assert words[1] in text
            assert not [word for word in other if word in text]
        assert "Ann" not in (tmp_path / "rounds" / "02-ben.html").read_text(encoding="utf-8")


def test_cautions_stand_on_every_list(town: Rounds, tmp_path: Path) -> None:
    write_rounds(town, tmp_path / "rounds")
    for file in (tmp_path / "rounds").iterdir():
        if file.suffix == ".pdf":
            text = " ".join(page.extract_text() for page in PdfReader(file).pages)
            text = " ".join(text.split())
        else:
            text = file.read_text(encoding="utf-8")
        text = text.replace("\n ", "").replace("\r\n ", "").replace("\\,", ",")
        if file.suffix != ".csv" and file.name != "manifest.json":
            assert Caution.MOSQUITOES_REPORTED.sentence.split(":")[0] in text.replace("\r", ""), file.name
    text = " ".join(round_cautions(town.area.settings))
    for word in ("child", "disease", "wash your hands", "garden", "damaged branches", "three weeks", "local by-laws"):
        assert word in text
    table = rounds_text(town)
    assert "arrange the visit with Host Alpha first" in table
    assert "Not reached on 2025-06-03" in table
    # open ground needs no host
    row = next(line for line in table.splitlines() if " pool-b1 " in line)
    assert "arrange" not in row


def test_water_litter_and_metres(town: Rounds) -> None:
    found = rounds_summary(town)
    ann, ben = found["people"]
    assert (ann["person"], ann["pools"], ann["water_not_known"], ann["water_l"]) == ("Ann", 2, 1, 5.0)
    assert ann["walk_m"] == pytest.approx(20 + 40 + 190 + 40 + 20)  # along the path
    assert ben["walk_m"] == pytest.approx(300)  # no path: straight
    assert found["along"] == "paths"
    assert found["due_by_reason"]["found dry"] == 1
    assert "about 5 l and for 1 pool of unknown volume" in person_page(town, "Ann", told_stops(town)["Ann"])
    assert "leaf litter;" in person_page(town, "Ann", told_stops(town)["Ann"])
    assert ", and leaf litter;" not in person_page(town, "Ben", told_stops(town)["Ben"])
    assert any("pool-b1" in note and "straight" in note for note in found["notes"])


def test_routes_and_calendar(town: Rounds, tmp_path: Path) -> None:
    write_rounds(town, tmp_path / "rounds")
    root = ElementTree.parse(tmp_path / "rounds" / "01-ann.gpx").getroot()
    assert [child.tag for child in root] == [f"{GPX}metadata", f"{GPX}rte", f"{GPX}trk"]  # the schema's order
    names = [point.find(f"{GPX}name").text for point in root.iter(f"{GPX}rtept")]
    assert names == ["1 pool-a1", "2 pool-a2"]
    assert len(list(root.iter(f"{GPX}trkpt"))) >= 6
    for point in [*root.iter(f"{GPX}rtept"), *root.iter(f"{GPX}trkpt")]:
        assert 48 < float(point.get("lat")) < 49
        assert 8 < float(point.get("lon")) < 10
    straight = ElementTree.parse(tmp_path / "rounds" / "02-ben.gpx").getroot()
    assert [child.tag for child in straight] == [f"{GPX}metadata", f"{GPX}rte"]
    event = icalendar.Calendar.from_ical((tmp_path / "rounds" / "01-ann.ics").read_bytes()).walk("VEVENT")[0]
    assert str(event["dtstart"].dt) == "2025-06-30"
    assert str(event["dtend"].dt) == "2025-07-07"
    assert event["dtstamp"].dt.isoformat() == "2025-07-01T00:00:00+00:00"  # the day of the data, not of the run
    assert event["class"] == "PRIVATE"


def points_of(track: Path) -> list[tuple[str, str]]:
    return [(p.get("lat"), p.get("lon")) for p in ElementTree.parse(track).getroot().iter(f"{GPX}trkpt")]


def test_a_track_has_no_point_twice_in_a_row(town: Rounds, tmp_path: Path) -> None:
    write_rounds(rounds_of(town.area, WEEK, ["1"]), tmp_path / "rounds")  # legs along the path, and straight ones
    points = points_of(tmp_path / "rounds" / "01-person-1.gpx")
    assert len(points) >= 8  # four pools and four corners of the path
    assert [at for at, before in zip(points[1:], points, strict=False) if at == before] == []


def test_a_way_of_straight_lines_is_no_track(tmp_path: Path) -> None:
    # three pools are four ends of two legs, and two at one spot are one point
    area = area_with(tmp_path / "town", [pool("a", 0), pool("b", 100), pool("c", 100), pool("d", 300)], [])
    write_rounds(rounds_of(area, WEEK), tmp_path / "rounds")
    assert points_of(tmp_path / "rounds" / "01-person-1.gpx") == []


# --- the calendar, by RFC 5545


def entry_in(folder: Path, name: str = "01-ann") -> icalendar.Event:
    (event,) = icalendar.Calendar.from_ical((folder / f"{name}.ics").read_bytes()).walk("VEVENT")
    return event


def test_an_entry_is_what_the_standard_asks_for(town: Rounds, tmp_path: Path) -> None:
    write_rounds(town, tmp_path / "rounds")
    text = (tmp_path / "rounds" / "01-ann.ics").read_bytes()
    assert all(len(line) <= 75 for line in text.split(b"\r\n"))  # 3.1
    assert b"\n" not in text.replace(b"\r\n", b"")
    lines = text.replace(b"\r\n ", b"").decode().split("\r\n")
    names = [re.split("[;:]", line)[0] for line in lines]
    assert lines[0] == "BEGIN:VCALENDAR"
    assert (names.count("PRODID"), names.count("VERSION"), names.count("METHOD")) == (1, 1, 0)  # 3.6
    event = names[names.index("BEGIN", 1) + 1 : names.index("END")]
    assert len(event) == len(set(event))  # 3.6.1: each may stand once, these must
    assert {"UID", "DTSTAMP", "DTSTART"} <= set(event)
    assert "DTSTART;VALUE=DATE:20250630" in lines  # 3.3.4, and 3.8.2.2: the end is the day after, of the same type
    assert "DTEND;VALUE=DATE:20250707" in lines
    assert "DTSTAMP:20250701T000000Z" in lines  # 3.8.7.2: in UTC
    assert "SEQUENCE:0" in lines  # 3.8.7.4: it begins with 0
    (place,) = (line for line in lines if line.startswith("GEO:"))
    assert re.fullmatch(r"GEO:4\d\.\d{1,6};\d\.\d{1,6}", place)  # 3.8.1.6: latitude first, six digits are enough
    (where,) = (line for line in lines if line.startswith("LOCATION:"))
    assert re.fullmatch(r"LOCATION:pool-a1\\, 4\d\.\d{5}\\, \d\.\d{5}", where)  # 3.3.11: commas in a text
    stop = rounds_summary(town)["people"][0]["stops"][0]
    found = entry_in(tmp_path / "rounds")
    assert (found["geo"].latitude, found["geo"].longitude) == pytest.approx((stop["lat"], stop["lon"]), abs=1e-6)
    assert found.errors == []


def with_visit(rounds: Rounds, line: str, toml: str = "") -> Rounds:
    """The rounds of the same folder with one more visit."""
    for name, text in (("visits.csv", line), ("area.toml", toml)):
        with (rounds.area.folder / name).open("a", encoding="utf-8") as file:
            file.write(text)
    return rounds_of(open_area(rounds.area.folder), rounds.week)


def test_an_entry_that_changes_is_the_next_revision_of_the_same(town: Rounds, tmp_path: Path) -> None:
    out = tmp_path / "rounds"
    write_rounds(town, out)
    first, ben = entry_in(out), (out / "02-ben.ics").read_bytes()
    write_rounds(town, out)
    assert entry_in(out).to_ical() == first.to_ical()  # nothing has changed
    write_rounds(with_visit(town, "pool-a2,2025-06-02,dry,Ann,\n"), out)
    second = entry_in(out)
    assert second["uid"] == first["uid"]  # 3.8.4.7
    assert (first["sequence"], second["sequence"]) == (0, 1)  # 3.8.7.4
    assert (out / "02-ben.ics").read_bytes() == ben  # nobody else's entry has changed
    # another week in between; this one is still known, and its entry is another one
    write_rounds(rounds_of(town.area, read_week("2025-W28")), out)
    assert entry_in(out)["uid"] != first["uid"]
    assert entry_in(out)["sequence"] == 0
    write_rounds(town, out)
    third = entry_in(out)
    assert (third["uid"], third["sequence"]) == (first["uid"], 2)


def test_the_day_of_the_data_alone_is_no_change(town: Rounds, tmp_path: Path) -> None:
    out, later = tmp_path / "rounds", town.area.as_of + datetime.timedelta(days=1)
    write_rounds(town, out)
    first = (out / "01-ann.ics").read_bytes()
    write_rounds(rounds_of(dataclasses.replace(town.area, as_of=later), WEEK), out)
    assert (out / "01-ann.ics").read_bytes() == first
    write_rounds(rounds_of(dataclasses.replace(town.area, as_of=later), WEEK), tmp_path / "other")
    assert entry_in(tmp_path / "other")["dtstamp"].dt.date() == later


@pytest.mark.parametrize(
    "kept",
    ["[]", '{"UID": 1}', '{"UID": {"sequence": -1, "stamp": "2025-07-01", "content": "", "first": "2025-06-30"}}',
     '{"UID": {"sequence": true, "stamp": "x", "content": "", "first": ""}}', '{"UID": {"sequence": 3}}'],
)  # fmt: skip
def test_a_manifest_that_somebody_changed_starts_anew(kept: str, town: Rounds, tmp_path: Path) -> None:
    out = tmp_path / "rounds"
    write_rounds(town, out)
    uid, path = str(entry_in(out)["uid"]), out / "manifest.json"
    manifest = json.loads(path.read_text(encoding="utf-8"))
    path.write_text(json.dumps(manifest | {"calendar": json.loads(kept.replace("UID", uid))}), encoding="utf-8")
    write_rounds(town, out)
    assert entry_in(out)["sequence"] == 0


def test_same_inputs_same_bytes(town: Rounds, tmp_path: Path) -> None:
    write_rounds(town, tmp_path / "one")
    again = rounds_of(open_area(town.area.folder), WEEK)
    write_rounds(again, tmp_path / "two")
    files = sorted(path.name for path in (tmp_path / "one").iterdir())
    assert files == sorted(path.name for path in (tmp_path / "two").iterdir())
    for name in files:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


def test_the_paper_is_known_by_its_title(town: Rounds) -> None:
    title = title_of(rounds_pdf(town, told_stops(town)))
    assert title.startswith(f"{town.area.title}: Rounds of the week, 2025-W27, 2025-06-30 to ")


def test_no_pool_due_is_a_result(tmp_path: Path) -> None:
    area = area_with(
        tmp_path / "town", [pool("a", 10)], [["a", "2025-06-29", "none seen", "Ann"]], "\n[rounds]\nextra_visits = 0\n"
    )
    found = rounds_of(area, WEEK)
    assert found.people == []
    assert "No pool is due" in rounds_text(found)
    write_rounds(found, tmp_path / "rounds")
    assert "No pool is due" in (tmp_path / "rounds" / "rounds.html").read_text(encoding="utf-8")
    assert (tmp_path / "rounds" / "rounds.csv").read_text(encoding="utf-8").startswith("week,person,order,pool")


@pytest.mark.parametrize("language", OTHERS)
def test_no_english_is_left_in_rounds(tmp_path: Path, language: str) -> None:
    pools = [pool("Q1", 10, "yes", "Host 1"), pool("Q2", 90, volume=""), pool("Q3", 300), pool("Q4", 310)]
    visits = [["Q1", "2025-05-01", "dry", "Anna"], ["Q1", "2025-06-01", "not reached", "Anna"]]
    visits += [["Q3", "2025-05-02", "none seen", "Ben"]]
    rounds, spoken = rounds_of(area_with(tmp_path / "town", pools, visits), WEEK), recorder(language)
    for made in ("en", language):
        write_rounds(rounds, tmp_path / made, ENGLISH if made == "en" else spoken)
    files = [{p.name: p for p in (tmp_path / made).iterdir()} for made in ("en", language)]
    del files[0]["manifest.json"]
    names = [f"{order}Q{n}" for order in ("", "1 ", "2 ", "3 ") for n in (1, 2, 3, 4)]
    records = {*names, "Week 2025-W27", "Anna", "Ben", "park", rounds.area.title}
    for name in files[0]:
        english, other = (each[name].read_bytes() for each in files)
        if name.endswith(".html"):
            shared = same_texts(english.decode(), other.decode(), records)
            assert [text for text in shared if not re.search(r"\d\.\d{5}", text)] == []
        elif name.endswith((".csv", ".json")):
            assert english == other, "machines read these"
        else:
            assert english != other, name
    assert spoken.unsaid == set()
    said = rounds_text(rounds, spoken)
    assert left(rounds_text(rounds), said, records) == []


@pytest.mark.parametrize("language", OTHERS)
def test_all_that_rounds_may_say_is_in_the_catalogues(language: str) -> None:
    for module in (rounds_module, fieldwork):
        source = Path(str(module.__file__)).read_text(encoding="utf-8")
        assert templates_in(source) - catalogue(language).sentences.keys() == set()
