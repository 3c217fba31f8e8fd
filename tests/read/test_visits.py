"""Visits: outcomes in six languages, counts with bounds, and blank is never none seen."""

from __future__ import annotations

import datetime
import math
from pathlib import Path

import pandas as pd
import pytest

from habitatmap.area import Area, open_area
from habitatmap.errors.why import Why
from habitatmap.read.ledger import Ledger
from habitatmap.read.outcome_words import OUTCOME_WORDS
from habitatmap.read.pools import read_pools
from habitatmap.read.visits import VISITS, read_visits
from habitatmap.vocabulary.kinds import Kind
from habitatmap.vocabulary.terms import Outcome
from tests.read.tables import FINLAND, IN_METRES, aside, table, types, visits


def outcome_of(cell: object, count: object = None, columns: str = "pool,date,outcome,larvae") -> str:
    frame, _ = visits(table(columns, ("P1", "2024-05-03", cell, count)))
    return frame["outcome"].iloc[0] if len(frame) else "set aside"


def test_a_full_row() -> None:
    frame, ledger = visits(
        table(
            "pool,date,outcome,larvae,taxon,checked,action,observer,note",
            ("p1", datetime.date(2024, 5, 3), "larvae", 3, "Eristalini", "yes", "topped up", "A", "n"),
        )
    )
    (row,) = frame.to_dict("records")
    assert row == {
        "pool": "P1",
        "date": pd.Timestamp("2024-05-03"),
        "outcome": "larvae",
        "larvae": 3.0,
        "taxon": "Eristalini",
        "checked": "yes",
        "action": "topped up",
        "observer": "A",
        "photo": "",
        "note": "n",
        "larvae_low": 3.0,
        "larvae_high": 3.0,
        "file": "table.csv",
        "row": 2,
    }
    assert ledger.counts()["visits"] == {"read": 1, "accepted": 1, "set_aside": 0}


@pytest.mark.parametrize(("outcome", "count"), [("none seen", 1), ("dry", 1), ("larvae", 0)])
def test_a_count_that_contradicts_the_outcome_sets_the_row_aside(outcome: str, count: int) -> None:
    _, ledger = visits(table("pool,date,outcome,larvae", ("P1", "2024-05-03", outcome, count)))
    assert [entry.why.code for entry in ledger.entries("visits")] == [Why.CONTRADICTION]


@pytest.mark.parametrize(
    ("outcome", "words"),
    [
        ("larvae", "larvae|Larven|larves|larvas|toukkia|seen|vorhanden|présent|aanwezig|yes|TRUE|Larvae seen"),
        ("none seen", "none seen|keine|aucune|geen|ninguna|ei toukkia|no larvae|absent|nothing|notDetected"),
        ("dry", "dry|trocken|à sec|droog|seco|kuiva|dried out|Dry."),
        ("frozen", "frozen|gefroren|gelé|bevroren|helado|jäässä"),
        ("gone", "gone|verschwunden|disparu|verdwenen|desaparecido|kadonnut|missing|stolen"),
        (
            "not reached",
            "not reached|nicht erreicht|non atteint|niet bereikt|no alcanzado|ei saavutettu|no access|locked",
        ),
    ],
)
def test_outcomes_in_six_languages(outcome: str, words: str) -> None:
    given = words.split("|")
    frame, _ = visits(table("pool,date,outcome", *[("P1", f"2024-05-{d:02d}", w) for d, w in enumerate(given, 1)]))
    assert dict(zip(given, frame["outcome"], strict=True)) == dict.fromkeys(given, outcome)


def test_every_outcome_has_words_and_no_word_two_outcomes() -> None:
    assert set(OUTCOME_WORDS.values()) == set(Outcome)
    for outcome in Outcome:
        assert OUTCOME_WORDS[outcome] == outcome


@pytest.mark.parametrize(
    ("cell", "count", "expected"),
    [
        (None, 3, "larvae"),
        (None, "10+", "larvae"),
        (None, "lots", "larvae"),
        (None, None, "set aside"),
        (None, 0, "set aside"),
        (None, "1?", "set aside"),
        ("?", None, "set aside"),
        ("larvae", None, "larvae"),
        ("larvae", 0, "set aside"),
        ("none seen", 0, "none seen"),
        ("none seen", 2, "set aside"),
        ("dry", 2, "set aside"),
        ("dry", 0, "dry"),
        ("squirrel", None, "set aside"),
        (3, None, "set aside"),
    ],
)
def test_outcome_and_count_together(cell: object, count: object, expected: str) -> None:
    assert outcome_of(cell, count) == expected


def test_where_only_counts_are_kept_a_zero_is_a_count() -> None:
    frame, ledger = visits(
        table("pool,date,larvae", ("P1", "2024-05-03", 0), ("P1", "2024-05-04", 2), ("P1", "2024-05-05", ""))
    )
    assert frame["outcome"].tolist() == ["none seen", "larvae"]
    assert aside(ledger)[0][0] == 4


def test_a_column_of_zeros_and_ones_is_seen_or_not() -> None:
    frame, _ = visits(table("pool,date,outcome", ("P1", "2024-05-03", 1), ("P1", "2024-05-04", 0.0)))
    assert frame["outcome"].tolist() == ["larvae", "none seen"]
    frame, ledger = visits(table("pool,date,outcome", ("P1", "2024-05-03", 1), ("P1", "2024-05-04", 2)))
    assert len(frame) == 0
    assert "number" in aside(ledger)[0][1]


def test_counts_keep_their_bounds() -> None:
    rows = [("P1", f"2024-05-0{i}", "larvae", c) for i, c in enumerate([4, "10+", "2-3", "many", ""], 1)]
    frame, _ = visits(table("pool,date,outcome,larvae", *rows))
    assert frame["larvae"].tolist()[0] == 4
    assert frame["larvae"].isna().tolist() == [False, True, True, True, True]
    assert frame["larvae_low"].tolist()[:4] == [4, 10, 2, 1]
    assert frame["larvae_high"].tolist()[:4] == [4, math.inf, 3, math.inf]


def test_visits_to_unknown_pools_are_set_aside_with_the_nearest_name() -> None:
    _, ledger = visits(
        table(
            "pool,date,outcome",
            ("Pol 12", "2024-05-03", "dry"),
            ("Pool 13", "2024-05-03", "dry"),
            ("", "2024-05-03", "dry"),
        )
    )
    (near, far, none) = aside(ledger)
    assert "nearest is Pool 12" in near[1]
    assert "nearest" not in far[1]
    assert "names no pool" in none[1]


def test_a_visit_to_a_pool_that_was_set_aside_says_so() -> None:
    ledger = Ledger()
    pools = read_pools([table("pool,x,y", ("P1", 1, 2), ("P2", "", ""))], FINLAND, IN_METRES, ledger)
    read_visits([table("pool,date,outcome", ("p2", "2024-05-03", "dry"))], pools, IN_METRES, ledger)
    assert any("itself set aside" in reason for _, reason in aside(ledger))


def test_two_looks_on_one_day_are_two_looks_and_only_an_identical_row_is_a_repeat() -> None:
    frame, ledger = visits(
        table(
            "pool,date,outcome,time",
            ("P1", "2024-05-03", "larvae", "9:00"),
            ("P1", "2024-05-03", "larvae", "17:00"),
            ("P1", "2024-05-03", "larvae", "9:00"),
            ("P1", "2024-05-03", "none seen", "9:00"),
        )
    )
    assert frame["row"].tolist() == [2, 3, 5]
    assert aside(ledger) == [(4, "the row repeats row 2")]


def test_undecided_dates_are_set_aside_with_the_remedy() -> None:
    frame, ledger = visits(
        table("pool,date,outcome", ("P1", "3/5/2024", "dry"), ("P1", "2024-05-03", "dry"), ("P1", "", "dry"))
    )
    assert frame["row"].tolist() == [3]
    assert ledger.frame()["remedy"].tolist()[0].startswith("write the date as year-month-day")
    assert "no date" in aside(ledger)[1][1]


def test_a_future_date_is_no_fault() -> None:
    frame, _ = visits(table("pool,date,outcome", ("P1", "2099-05-03", "dry")))
    assert len(frame) == 1


def test_order_and_types() -> None:
    rows = [("P2", "2024-05-03", "dry"), ("P1", "2024-06-03", "dry"), ("P1", "2024-05-03", "dry")]
    frame, _ = visits(table("pool,date,outcome", *rows))
    assert frame["row"].tolist() == [4, 3, 2]
    assert types(frame) == VISITS
    empty, _ = visits()
    assert types(empty) == VISITS


def test_what_cannot_be_read_in_a_row_that_counts_is_said() -> None:
    frame, ledger = visits(
        table("pool,date,outcome,larvae,checked", ("P1", "2024-05-03", "larvae", "a cup", "perhaps"))
    )
    assert frame["larvae"].isna().all()
    assert any('1 cell of larvae cannot be read (row 2: "a cup")' in remark for remark in ledger.remarks)
    assert any('"perhaps"' in remark for remark in ledger.remarks)


def test_visits_before_set_out_are_said() -> None:
    ledger = Ledger()
    pools = read_pools([table("pool,x,y,set_out", ("P1", 1, 2, "2024-05-01"))], FINLAND, IN_METRES, ledger)
    rows = [("P1", "2023-05-03", "dry"), ("P1", "2024-05-03", "dry")]
    assert len(read_visits([table("pool,date,outcome", *rows)], pools, IN_METRES, ledger)) == 2
    assert any(remark.startswith("1 visit dated before") for remark in ledger.remarks)


def test_a_column_of_larvae_alone_may_say_any_outcome() -> None:
    frame, ledger = visits(
        table(
            "pool,date,Larven ja/nein",
            ("P1", "2024-05-01", "ja"),
            ("P1", "2024-05-02", "nein"),
            ("P1", "2024-05-03", "trocken"),
            ("P1", "2024-05-04", "vielleicht"),
        )
    )
    assert frame["outcome"].tolist() == ["larvae", "none seen", "dry"]
    assert [row for row, _ in aside(ledger)] == [5]


# --- marks, counts and empty pools in the column of outcomes ---------------------------------------------------------


def read(heading: str, *cells: object) -> dict[str, str]:
    """What each cell of a column under this heading was read as, "" where the row was set aside."""
    rows = [("P1", f"2024-05-{day:02d}", cell) for day, cell in enumerate(cells, 1)]
    frame, _ = visits(table(f"pool,date,{heading}", *rows))
    outcomes = dict(zip(frame["row"], frame["outcome"], strict=True))
    return {str(cell): outcomes.get(row, "") for row, cell in enumerate(cells, 2)}


@pytest.mark.parametrize(
    ("heading", "yes", "no"),
    [
        ("larvae?", "Y", "N"),
        ("larvae seen", "y", "n"),
        ("Larven gesehen", "j", "n"),
        ("larves vues", "o", "n"),
        ("presence", "Y", "N"),
        ("toukkia", "k", "e"),
        ("larwy", "tak", "nie"),
        ("larve", "sì", "no"),
        ("larver", "ja", "nej"),
        ("larvas", "sim", "não"),
        ("larvae?", "✓", "✗"),
    ],
)
def test_yes_and_no_under_a_heading_that_asks_for_larvae(heading: str, yes: str, no: str) -> None:
    assert read(heading, yes, no) == {yes: "larvae", no: "none seen"}


def test_marks_mean_nothing_where_neither_heading_nor_words_tell() -> None:
    assert read("outcome", "Y", "N") == {"Y": "", "N": ""}
    assert read("outcome", "x", "x") == {"x": ""}
    assert read("outcome", "Y", "N", "dry") == {"Y": "larvae", "N": "none seen", "dry": "dry"}
    assert read("outcome", "x", "none seen", "dry") == {"x": "larvae", "none seen": "none seen", "dry": "dry"}
    # larvae has a word of its own here, so that the cross is another thing
    assert read("outcome", "x", "larvae", "none seen")["x"] == ""
    # letters of a code
    assert read("larvae seen", "Y", "N", "Q") == {"Y": "", "N": "", "Q": ""}
    _, ledger = visits(table("pool,date,outcome", ("P1", "2024-05-03", "Y"), ("P1", "2024-05-04", "N")))
    assert {entry.why.code for entry in ledger.entries("visits")} == {Why.MARKED_OUTCOME}


def test_counts_in_the_column_of_outcomes() -> None:
    cells = ["2-3 larvae", "10+", "1", "0", "ca. 20 maggots", "larvae: 4", "none", "dry", "lots", "<5"]
    rows = [("P1", f"2024-05-{day:02d}", cell, "") for day, cell in enumerate(cells, 1)]
    frame, ledger = visits(table("pool,date,outcome,larvae", *rows))
    found = {
        cells[row - 2]: (outcome, low, high)
        for row, outcome, low, high in zip(
            frame["row"], frame["outcome"], frame["larvae_low"], frame["larvae_high"], strict=True
        )
    }
    assert {cell: values for cell, values in found.items() if cell not in ("none", "dry")} == {
        "2-3 larvae": ("larvae", 2, 3),
        "10+": ("larvae", 10, math.inf),
        "1": ("larvae", 1, 1),
        "0": ("none seen", 0, 0),
        "ca. 20 maggots": ("larvae", 1, math.inf),
        "larvae: 4": ("larvae", 4, 4),
        "lots": ("larvae", 1, math.inf),
    }
    assert [entry.why.code for entry in ledger.entries("visits")] == [Why.DOUBTFUL_COUNT]


@pytest.mark.parametrize(
    ("outcome", "count", "expected"),
    [("2-3", "3", (3.0, 3.0, 3.0)), ("2-3", "5", None), ("10+", "12", (12.0, 12.0, 12.0)), ("0", "0", (0.0, 0.0, 0.0))],
)
def test_a_count_in_both_columns_must_agree(
    outcome: str, count: str, expected: tuple[float, float, float] | None
) -> None:
    rows = [("P1", "2024-05-03", outcome, count), ("P1", "2024-05-04", "4 larvae", "")]
    frame, ledger = visits(table("pool,date,outcome,larvae", *rows))
    found = [tuple(row) for row in frame[["larvae", "larvae_low", "larvae_high"]].to_numpy().tolist()]
    assert found == [*([expected] if expected else []), (4.0, 4.0, 4.0)]
    assert len(ledger.entries("visits")) == (expected is None)


def test_numbers_that_may_be_codes_are_asked_for() -> None:
    assert read("outcome", "1", "2", "3") == {"1": "", "2": "", "3": ""}
    assert read("outcome", "1", "0", "12") == {"1": "larvae", "0": "none seen", "12": "larvae"}


@pytest.mark.parametrize("word", ["empty", "leer", "vide", "leeg", "vacío", "tyhjä", "pusty", "vuoto", "tom"])
def test_empty_means_what_the_other_words_of_the_column_leave(word: str) -> None:
    assert read("outcome", word, "larvae")[word] == ""
    assert read("outcome", word, "dry")[word] == "none seen"
    assert read("outcome", word, "none seen")[word] == "dry"
    assert read("outcome", word, "none seen", "dry")[word] == ""


def test_a_remark_behind_an_outcome_is_kept_as_one() -> None:
    rows = [("P1", "2024-05-03", "dry, topped up", "hot"), ("P1", "2024-05-04", "none seen but dry", "")]
    frame, ledger = visits(table("pool,date,outcome,note", *rows))
    assert frame[["outcome", "note"]].to_numpy().tolist() == [["dry", "topped up; hot"]]
    assert [entry.why.code for entry in ledger.entries("visits")] == [Why.ODD_OUTCOME]


def test_visits_under_the_old_name_that_the_list_of_pools_gives() -> None:
    rows = [("A", 0.0, "T1"), ("B", 500.0, "T2"), ("C", 900.0, "t2"), ("D", 1500.0, "A"), ("E", 2000.0, "")]
    ledger = Ledger()
    listed = table("pool,x,y,former name", *((pool, 385000 + x, 6671000.0, old) for pool, x, old in rows))
    pools = read_pools([listed], FINLAND, IN_METRES, ledger)
    seen = table("pool,date,outcome", *((name, "2024-05-03", "dry") for name in ("t1", "T2", "A", "E")))
    frame = read_visits([seen], pools, IN_METRES, ledger)
    assert frame["pool"].tolist() == ["A", "A", "E"]  # T1 and A itself: D is not what stands under A today
    assert [(row.row, row.why.code) for row in ledger.entries("visits")] == [(3, Why.UNKNOWN_POOL)]  # two were T2


# --- a folder of files, and entries with a number ---------------------------------------------------------------------


def folder_of(tmp_path: Path, **files: str) -> Area:
    """An area with two pools and these files in visits/."""
    (tmp_path / "area.toml").write_text("as_of = 2026-06-01\n", encoding="utf-8")
    lines = "pool,lat,lon,set_out\nP1,48.1,9.5,2025-03-01\nP2,48.101,9.501,2025-03-01\n"
    (tmp_path / "pools.csv").write_text(lines, encoding="utf-8")
    (tmp_path / "visits").mkdir()
    for name, text in files.items():
        (tmp_path / "visits" / name.replace("__", ".")).write_text(text, encoding="utf-8")
    return open_area(tmp_path)


def test_a_folder_takes_any_number_of_files_by_any_name(tmp_path: Path) -> None:
    (tmp_path / "visits.csv").write_text("pool,date,outcome\nP1,2026-05-01,dry\n", encoding="utf-8")
    rows = "pool,date,outcome,note\nP1,2026-05-02,dry,{name}\n"
    given = {name: rows.format(name=name) for name in ("ann__csv", "pools__csv")}
    area = folder_of(tmp_path, **given, readme__html="<p>")
    assert sorted(area.visits["file"]) == ["visits.csv", "visits/ann.csv", "visits/pools.csv"]
    assert len(area.pools) == 2
    assert [one.file for one in area.ledger.unused] == ["visits/readme.html"]
    assert {"visits/ann.csv", "visits/readme.html"} <= area.hashes.keys()


HEADS = "entry,changed,pool,date,outcome,larvae"


def test_of_rows_with_one_number_the_one_changed_last_counts(tmp_path: Path) -> None:
    area = folder_of(
        tmp_path,
        saturday__csv=f"{HEADS}\nhm-0123456789abcdef-1,2026-05-02T10:00:00.000Z,P1,2026-05-02,larvae,2\n"
        "hm-0123456789abcdef-2,2026-05-02T11:00:00.000Z,P1,2026-05-02,dry,\n",
        sunday__csv=f"{HEADS}\nhm-0123456789abcdef-1,2026-05-03T10:00:00.000Z,P1,2026-05-02,larvae,3\n"
        "hm-0123456789abcdef-2,2026-05-02T11:00:00.000Z,P1,2026-05-02,dry,\n",
    )
    found = sorted((row.outcome, row.larvae, row.file) for row in area.visits.fillna({"larvae": -1}).itertuples())
    assert found == [("dry", -1, "visits/saturday.csv"), ("larvae", 3, "visits/sunday.csv")]
    assert area.ledger.counts()["visits"] == {"read": 4, "accepted": 2, "set_aside": 2}
    aside = sorted((one.file, one.row, one.reason) for one in area.ledger.entries(Kind.VISITS))
    assert aside == [
        ("visits/saturday.csv", 2, "the entry stands in row 2 of visits/sunday.csv too, changed later or alike"),
        ("visits/sunday.csv", 3, "the entry stands in row 3 of visits/saturday.csv too, changed later or alike"),
    ]


def test_what_is_no_number_of_an_entry_parts_and_joins_nothing(tmp_path: Path) -> None:
    area = folder_of(tmp_path, a__csv="entry,pool,date,outcome\n1,P1,2026-05-02,dry\n1,P2,2026-05-02,dry\n")
    assert len(area.visits) == 2


def test_two_entries_that_say_the_same_are_two_visits(tmp_path: Path) -> None:
    rows = [f"hm-0123456789abcdef-{i},2026-05-02T10:00:00.000Z,P1,2026-05-02,none seen," for i in (1, 2)]
    area = folder_of(tmp_path, a__csv="\n".join([HEADS, *rows]) + "\n")
    assert len(area.visits) == 2


def test_a_workbook_that_nobody_filled_in_beside_a_list(tmp_path: Path) -> None:
    from habitatmap.read.templates import write_templates

    write_templates(tmp_path)
    (tmp_path / "pools.xlsx").unlink()
    area = folder_of(tmp_path, a__csv="pool,date,outcome\nP1,2026-05-02,dry\n")
    assert len(area.visits) == 1
