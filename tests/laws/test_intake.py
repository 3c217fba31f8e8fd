"""Laws of intake: random truth in random dress comes back, or is set aside; read is always accepted + set aside."""

from __future__ import annotations

import csv
import datetime
import io
import random
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from habitatmap.coordinates import to_lonlat
from habitatmap.intake.files import read_tables
from habitatmap.intake.ledger import Ledger
from habitatmap.intake.pools import read_pools
from habitatmap.intake.tables import Stated, Table
from habitatmap.intake.trees import read_trees
from habitatmap.intake.visits import read_visits
from tests.intake.tables import FINLAND, IN_METRES

# --- any cells at all ------------------------------------------------------------------------------------------------

CELLS = st.one_of(
    st.none(),
    st.sampled_from(
        """P1|p 1|P2|60.17|60,17|24.9 E|3/4/2024|2024-05-03|larvae|dry|keine|?|0|1|lots|10+|yes|total|pool|{|- 10 cm
        |vacant|larvae?|POINT (24.94 60.17)|SU 387 148|Tilia cordata""".split("|")
    ),
    st.text(max_size=8).map(lambda t: t.strip() or None),
    st.integers(-10, 10**9),
    st.floats(allow_nan=False, allow_infinity=True),
    st.booleans(),
    st.dates(),
)
HEADINGS = {
    "pools": [
        "pool",
        "x",
        "y",
        "lat",
        "lon",
        "position",
        "accuracy",
        "set_out",
        "removed",
        "private",
        "volume_l",
        "other",
    ],
    "visits": ["pool", "date", "outcome", "larvae", "checked", "note", "other"],
    "trees": ["x", "y", "geom", "genus", "species", "dbh", "girth", "condition", "other"],
}


@pytest.mark.parametrize("kind", list(HEADINGS))
@settings(max_examples=60, deadline=None, derandomize=True)
@given(data=st.data())
def test_every_row_of_anything_is_accepted_or_set_aside(kind: str, data: st.DataObject) -> None:
    headings = tuple(data.draw(st.lists(st.sampled_from(HEADINGS[kind]), min_size=1, max_size=8, unique=True)))
    rows = data.draw(st.lists(st.tuples(*[CELLS] * len(headings)), max_size=12))
    one = Table(f"{kind}.csv", headings, rows, range(2, 2 + len(rows)))
    ledger = Ledger()
    if kind == "trees":
        frame = read_trees([one], FINLAND, IN_METRES, ledger)
    else:
        pools = Table("pools.csv", ("pool", "x", "y"), [("P1", 1, 1), ("P2", 50, 50)], (2, 3))
        frame = read_pools([one] if kind == "pools" else [pools], FINLAND, IN_METRES, ledger)
        if kind == "visits":
            frame = read_visits([one], frame, IN_METRES, ledger)
    ledger.check()
    count = ledger.counts()[kind]
    assert (count["read"], count["accepted"]) == (len(rows), len(frame))
    left = ledger.frame()
    assert (left["reason"].str.len() > 0).all()
    assert (left["remedy"].str.len() > 0).all()
    # a row is told once
    assert not left.duplicated(["file", "row"]).any()
    # what was accepted and what was not are together the rows of the file
    assert sorted([*frame["row"], *left.loc[left["file"] == f"{kind}.csv", "row"]]) == list(one.numbers)


# --- truth in random dress -------------------------------------------------------------------------------------------

WORDS = {
    "en": {
        "pool": "Pool",
        "lat": "Latitude",
        "lon": "Longitude",
        "date": "Date",
        "outcome": "Outcome",
        "larvae": "Count",
    },
    "de": {
        "pool": "Becken",
        "lat": "Breitengrad",
        "lon": "Längengrad",
        "date": "Datum",
        "outcome": "Befund",
        "larvae": "Anzahl",
    },
    "fr": {
        "pool": "Bassin",
        "lat": "Lat",
        "lon": "Lon",
        "date": "Date de visite",
        "outcome": "Résultat",
        "larvae": "Nombre",
    },
    "nl": {
        "pool": "Poel",
        "lat": "Breedtegraad",
        "lon": "Lengtegraad",
        "date": "Datum",
        "outcome": "Uitkomst",
        "larvae": "Aantal",
    },
    "es": {
        "pool": "Charca",
        "lat": "Latitud",
        "lon": "Longitud",
        "date": "Fecha",
        "outcome": "Resultado",
        "larvae": "Cantidad",
    },
    "fi": {
        "pool": "Allas",
        "lat": "Leveysaste",
        "lon": "Pituusaste",
        "date": "Pvm",
        "outcome": "Tulos",
        "larvae": "Määrä",
    },
}
OUTCOMES = {
    "larvae": ["larvae", "Larven", "larves", "larvas", "toukkia"],
    "none seen": ["none seen", "keine", "aucune", "geen", "ninguna", "ei toukkia"],
    "dry": ["dry", "trocken", "sec", "droog", "seco", "kuiva"],
    "gone": ["gone", "weg", "disparu", "verdwenen", "desaparecido", "kadonnut"],
}
MONTHS = "January February March April May June July August September October November December".split()
DATES: dict[str, Callable[[datetime.date], str]] = {
    "iso": lambda d: d.isoformat(),
    "dmy": lambda d: f"{d.day}.{d.month}.{d.year}",
    "dmy2": lambda d: f"{d.day:02d}/{d.month:02d}/{d.year % 100:02d}",
    "mdy": lambda d: f"{d.month}/{d.day}/{d.year}",
    "name": lambda d: f"{d.day} {MONTHS[d.month - 1]} {d.year}",
}


def minutes(degrees: float, letters: str) -> str:
    """Degrees, minutes and seconds to a thousandth of a second, 3 cm on the ground."""
    thousandths = round(abs(degrees) * 3_600_000)
    d, rest = divmod(thousandths, 3_600_000)
    m, s = divmod(rest, 60_000)
    return f"{d}°{m:02d}'{s / 1000:06.3f}\"{letters[degrees < 0]}"


def dress(folder: Path, name: str, rows: list[list[object]], how: random.Random) -> Path:
    """Writes rows (the first are headings) as a csv in some dress, or as a workbook."""
    title = how.random() < 0.3
    if how.random() < 0.25:
        book = openpyxl.Workbook()
        if title:
            book.active.append(["A list of ours"])
            book.active.append([])
        for row in rows:
            book.active.append(row)
        book.save(folder / f"{name}.xlsx")
        return folder / f"{name}.xlsx"
    out = io.StringIO()
    # a decimal comma needs another delimiter, or quotes, which the csv module sets
    writer = csv.writer(
        out,
        delimiter=how.choice(",;\t|"),
        lineterminator=how.choice(["\n", "\r\n", "\r"]),
        quoting=how.choice([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
    )
    if title:
        writer.writerow(["A list of ours"])
        writer.writerow([])
    writer.writerows(rows)
    encoding = how.choice(["utf-8", "utf-8-sig", "utf-16", "cp1252"])
    (folder / f"{name}.csv").write_bytes(out.getvalue().encode(encoding))
    return folder / f"{name}.csv"


def one_town(folder: Path, seed: int) -> None:
    """Writes pools and visits in a random dress and holds what is read against what was written."""
    how = random.Random(seed)
    words = WORDS[how.choice(list(WORDS))]
    names = [f"{how.choice(['Pool', 'P', 'Tümpel Süd', 'Étang', '#', 'A-'])} {i}" for i in range(1, how.randint(3, 15))]
    places = {n: (round(how.uniform(59.9, 60.4), 5), round(how.uniform(-25.2, 25.2), 5)) for n in names}

    style = how.choice(["decimal", "comma", "minutes", "one cell"])
    if style == "one cell":
        table: list[list[object]] = [[words["pool"], "Coordinates"]]
        table += [[n, f"{lat}, {lon}"] for n, (lat, lon) in places.items()]
    else:
        write = {
            "decimal": lambda v, _: str(v),
            "comma": lambda v, _: str(v).replace(".", ","),
            "minutes": minutes,
        }[style]
        table = [[words["pool"], words["lat"], words["lon"]]]
        table += [[n, write(lat, "NS"), write(lon, "EW")] for n, (lat, lon) in places.items()]
    ledger = Ledger()
    pools = read_pools(read_tables(dress(folder, "pools", table, how)), FINLAND, Stated(), ledger)
    ledger.check()
    assert pools["pool"].tolist() == sorted(names), ledger.frame().to_string()
    lon, lat = to_lonlat(pools["x"], pools["y"], FINLAND)
    for n, got_lat, got_lon in zip(pools["pool"], lat, lon, strict=True):
        # half a thousandth of a second, where they were written so
        assert abs(got_lat - places[n][0]) < 2e-7, n
        assert abs(got_lon - places[n][1]) < 2e-7, n

    date_style = how.choice(list(DATES))
    truth = []
    table = [[words["pool"], words["date"], words["outcome"], words["larvae"]]]
    for _ in range(how.randint(1, 30)):
        name, outcome = how.choice(names), how.choice(list(OUTCOMES))
        day = datetime.date(2024, 1, 1) + datetime.timedelta(days=how.randrange(700))
        count = how.randint(1, 40) if outcome == "larvae" and how.random() < 0.7 else None
        truth.append((name, day, outcome, count))
        table.append([name, DATES[date_style](day), how.choice(OUTCOMES[outcome]), "" if count is None else count])
    visits = read_visits(read_tables(dress(folder, "visits", table, how)), pools, Stated(), ledger)
    ledger.check()
    written = {tuple(row) for row in table[1:]}
    counts = ledger.counts()["visits"]
    assert counts["read"] == len(truth)
    got = list(visits[["pool", "date", "outcome", "larvae"]].itertuples(index=False, name=None))
    for name, day, outcome, count in got:
        known = [t for t in truth if t[0] == name and t[1] == day.date() and t[2] == outcome]
        assert known, (name, day, outcome)
        assert any(t[3] == (None if count != count else count) for t in known)
    reasons = ledger.frame()["reason"]
    repeats = len(truth) - len(written)
    assert (reasons.str.contains("repeats row")).sum() <= repeats
    if date_style in ("iso", "name"):
        assert len(visits) == len(written), ledger.frame().to_string()
    else:
        # what is not read is undecided, and only where the column has no day above 12 to decide it
        undecided = reasons.str.contains("either way").sum()
        assert len(visits) + undecided + (len(truth) - len(written)) >= len(truth)
        if any(d.day > 12 for _, d, _, _ in truth):
            assert undecided == 0


@pytest.mark.parametrize("seed", range(100))
def test_truth_in_random_dress_comes_back(tmp_path: Path, seed: int) -> None:
    one_town(tmp_path, seed)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(100, 2100))
def test_truth_in_random_dress_comes_back_two_thousand_times(tmp_path: Path, seed: int) -> None:
    one_town(tmp_path, seed)
