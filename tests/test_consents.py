"""Consents followed through: a pool whose consent ended is visited and labelled no more, and is not forgotten."""

from __future__ import annotations

import datetime
import json
import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from openpyxl import load_workbook
from pypdf import PdfReader
from shapely.geometry import box

from habitatmap.area import blurred, open_area
from habitatmap.export.consents import write_consents
from habitatmap.fieldwork.rounds import plan_rounds, read_week
from habitatmap.read.consent_list import FILE
from habitatmap.read.formats.table import Stated
from habitatmap.read.land import read_land
from habitatmap.read.ledger import Ledger
from habitatmap.read.pools import no_visits
from tests.areas import LEFT, TOP, centre, class_table, csv_text, write_area
from tests.commands import habitatmap
from tests.read.tables import FINLAND, table
from tests.read.tables import pools as read

DAY = datetime.date(2025, 7, 1)

# name, consent, consent_until, column of its cell; those from column 20 on stand on land that says no
POOLS = [
    ("Plain", "", "", 2),
    ("Kept", "yes", "2025-07-01", 6),  # the last day still counts
    ("Asked", "perhaps", "", 10),
    ("Ended", "ja", "2025-06-30", 14),
    ("Withdrawn", "withdrawn", "2030-01-01", 17),
    ("On no", "", "", 22),
    ("Own yes", "yes", "", 26),
    ("Taken in", "no", "", 8),
]
SILENT = {
    "Ended": "consent expired on 2025-06-30",
    "Withdrawn": "consent withdrawn",
    "On no": "the land's consent is no",
}


def rows() -> Iterator[tuple[object, ...]]:
    for at, (name, consent, until, col) in enumerate(POOLS):
        yield name, *centre(4 + at, col), "2024-03-01", "2025-01-01" if name == "Taken in" else "", "no", consent, until


@pytest.fixture(scope="module")
def town(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Pools with and without consents, each searched once, as of 2025-07-01."""
    classes = np.full((20, 30), 1, np.uint8)
    refused = box(LEFT + 200, TOP - 200, LEFT + 300, TOP)
    folder = write_area(
        tmp_path_factory.mktemp("consents") / "town",
        classes,
        class_table({1: 0.6}),
        pools=csv_text("pool,x,y,set_out,removed,private,consent,consent until", rows()),
        visits=[(name, "2024-08-01", "larvae") for name, *_ in POOLS],
        land=[("Field", "no", refused), ("Common", "yes", box(LEFT, TOP - 200, LEFT + 200, TOP))],
        toml="[plan]\npools = 1\n",
    )
    write_consents(open_area(folder))
    book = load_workbook(folder / FILE)
    sheet = book["Consent"]
    (row,) = (cell.row for cell in sheet["B"] if cell.value == "Common")
    sheet.cell(row, 9, "warden@example.org")
    sheet.cell(row, 10, "by day only")
    book.save(folder / FILE)
    for command in (["map"], ["sheets"], ["rounds", "--week", "2025-W27"], ["survey"]):
        done = habitatmap(*command, folder)
        assert done.code == 0, done.err
    return folder


def test_the_pool_keeps_its_history_and_is_flagged(town: Path) -> None:
    pools = pd.read_csv(town / "out" / "pools.csv", keep_default_na=False).set_index("pool")
    standing = set(pools.index[pools["standing"] == "yes"])
    assert standing == {name for name, *_ in POOLS} - {"Taken in"}
    assert (pools["detections"] == 1).all()
    flags = {name: flag for name, flag in pools["flag"].items() if flag}
    assert flags == {name: f"{why}; no visit, label or sheet" for name, why in SILENT.items()} | {
        "Taken in": "not standing"
    }
    assert pools.loc["Ended", ["consent", "consent_until"]].tolist() == ["yes", "2025-06-30"]
    summary = json.loads((town / "out" / "summary.json").read_text(encoding="utf-8"))
    assert summary["pools_standing"] == len(POOLS) - 1


def test_nobody_is_sent_there(town: Path) -> None:
    found = json.loads((town / "rounds" / "rounds.json").read_text(encoding="utf-8"))
    stops = {stop["pool"] for person in found["people"] for stop in person["stops"]}
    assert stops == {"Plain", "Kept", "Asked", "Own yes"}
    assert {row["pool"]: row["why"].partition(";")[0] for row in found["no_visit"]} == SILENT
    page = (town / "rounds" / "rounds.html").read_text(encoding="utf-8")
    assert "consent expired on 2025-06-30; no visit, label or sheet" in page
    for file in (p for p in (town / "rounds").iterdir() if p.name.startswith("01-") or p.suffix == ".csv"):
        assert not set(SILENT) & {name for name in SILENT if name in file.read_text(encoding="utf-8")}, file.name


def test_no_search_is_asked_for_there(town: Path) -> None:
    page = (town / "survey" / "survey.html").read_text(encoding="utf-8")
    (line,) = re.findall(r"Where one more search teaches most now: ([^<]*)\.", page)
    assert set(line.split(", ")) == {"Plain", "Kept", "Asked", "Own yes"}


def test_the_crew_is_told_what_was_agreed_and_the_public_is_not(town: Path) -> None:
    text = " ".join(" ".join(page.extract_text() for page in PdfReader(town / "sheets" / "sites.pdf").pages).split())
    assert "Condition: by day only. Contact: warden@example.org." in text
    places = pd.read_csv(town / "out" / "places.csv", keep_default_na=False).set_index("name")
    assert places.loc["Common", ["consent", "contact", "condition"]].tolist() == [
        "yes",
        "warden@example.org",
        "by day only",
    ]
    for file in (town / "out" / "public_map.html", *(town / "out" / "pictures").iterdir()):
        assert not any(word in file.read_bytes() for word in (b"warden@", b"by day only")), file.name


def test_no_label_and_no_row_to_fill_in(town: Path) -> None:
    for sheet in ("labels.pdf", "recording.pdf"):
        text = "\n".join(page.extract_text() for page in PdfReader(town / "sheets" / sheet).pages)
        assert all(name in text for name in ("Plain", "Kept", "Asked", "Own yes")), sheet
        assert not any(name in text for name in SILENT), sheet


def test_check_says_so_and_the_page_of_the_team(town: Path) -> None:
    done = habitatmap("check", town)
    assert done.code == 1
    for name, why in (("Ended", "consent expired 2025-06-30"), ("Withdrawn", "consent withdrawn"), ("On no", "land")):
        assert any(name in line and why in line for line in done.out.splitlines())
    assert "Pools without a valid consent" in (town / "out" / "map.html").read_text(encoding="utf-8")
    assert "Taken in (" not in done.out  # it stands no more, so nothing is to be settled


def test_a_consent_that_ends_before_the_week_begins_is_none(town: Path) -> None:
    area = open_area(town)
    later = plan_rounds(area, read_week("2025-W28"))
    assert set(later.stops["pool"]) == {"Plain", "Asked", "Own yes"}  # that of Kept ends in the week before
    gone_by = plan_rounds(area, read_week("2025-W20"))
    assert "Ended" not in set(gone_by.stops["pool"])  # whatever was due then, nobody may go now


def test_consents_change_nothing_that_is_public(town: Path) -> None:
    public = blurred(open_area(town)).pools
    assert set(public["consent"]) == {""}
    assert public["consent_until"].isna().all()


def test_a_doubt_about_a_date_loses_no_pool_and_is_no_yes() -> None:
    frame, ledger = read(
        table("pool,x,y,consent,consent_until", ("A", 10, 20, "yes", "soon"), ("B", 30, 40, "blue", ""))
    )
    assert frame["consent"].tolist() == ["ask", "ask"]
    assert any('"soon"' in doubt for doubt in ledger.doubts)
    assert any('"blue"' in doubt for doubt in ledger.doubts)
    no_land = read_land([], FINLAND, Stated(), Ledger(), DAY)
    assert no_visits(frame, no_land, DAY).tolist() == ["", ""]
