"""Laws of intake: random truth in random dress comes back, or is set aside; read is always accepted + set aside."""

from __future__ import annotations

import csv
import datetime
import io
import random
from collections.abc import Callable
from dataclasses import dataclass
from math import hypot, isnan, pi
from pathlib import Path
from typing import Any

import mgrs
import pytest
import shapely
from babel.dates import format_date
from hypothesis import given, settings
from hypothesis import strategies as st
from openlocationcode import openlocationcode
from pyproj import Transformer

from habitatmap import open_area
from habitatmap.read.formats.table import Table
from habitatmap.read.ledger import Ledger
from habitatmap.read.pools import read_pools
from habitatmap.read.trees import read_trees
from habitatmap.read.visits import read_visits
from tests.examples import examples
from tests.read.dress import ods, xlsx, zipped
from tests.read.tables import FINLAND, IN_METRES

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
@settings(max_examples=examples(60), deadline=None, derandomize=True)
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
    "en": "Pool|Latitude|Longitude|Date|Outcome|Count|Species|DBH (cm)|Girth (cm)|Condition",
    "de": "Becken|Breitengrad|Längengrad|Datum|Befund|Anzahl|Baumart|Durchmesser (cm)|Stammumfang (cm)|Zustand",
    "fr": "Bassin|Lat|Lon|Date de visite|Résultat|Nombre|Essence|Diamètre (cm)|Circonférence (cm)|État",
    "nl": "Poel|Breedtegraad|Lengtegraad|Datum|Uitkomst|Aantal|Boomsoort|Diameter (cm)|Omtrek (cm)|Conditie",
    "es": "Charca|Latitud|Longitud|Fecha|Resultado|Cantidad|Especie|Diámetro (cm)|Perímetro (cm)|Estado",
    "fi": "Allas|Leveysaste|Pituusaste|Pvm|Tulos|Määrä|Puulaji|Läpimitta (cm)|Ympärysmitta (cm)|Kunto",
}
KEYS = "pool lat lon date outcome larvae species diameter girth condition".split()
OUTCOMES = {
    "larvae": "larvae|Larven|larves|larvas|toukkia",
    "none seen": "none seen|keine|aucune|geen|ninguna|ei toukkia",
    "dry": "dry|trocken|sec|droog|seco|kuiva",
    "frozen": "frozen|gefroren|gelé|bevroren|helado|jäässä",
    "gone": "gone|weg|disparu|verdwenen|desaparecido|kadonnut",
    "not reached": "not reached|nicht erreicht|niet bereikt",
}
GENERA = {
    "Quercus": "Quercus robur|QUERCUS PETRAEA|oak|Stieleiche|chêne|eik|tammi",
    "Tilia": "Tilia × europaea|lime|Winterlinde|tilleul|lehmus",
    "Acer": "Acer pseudoplatanus|sycamore|Ahorn|érable|esdoorn|vaahtera",
    "Aesculus": "Aesculus hippocastanum|horse chestnut|Rosskastanie|marronnier|paardenkastanje",
    "": "unknown|?",
}
CONDITIONS = {
    "living": "living|vital",
    "dead": "dead|tot|mort|dood|kuollut",
    "stump": "stump|Stumpf|souche|kanto",
    "": "",
}
GONE = "felled|gefällt|vacant site"


@dataclass(frozen=True)
class Town:
    """Where a seed's records lie: the area's system and its middle in degrees."""

    crs: str
    lon: float
    lat: float


TOWNS = {
    "Germany": Town("EPSG:25832", 10.0, 53.5),
    "Finland": Town("EPSG:3067", 24.9, 60.2),
    "Britain": Town("EPSG:27700", -1.5, 52.5),
    "Ireland": Town("EPSG:2157", -6.5, 53.3),
    "Spain": Town("EPSG:25829", -8.6, 42.3),
    "France": Town("EPSG:2154", 1.5, 47.0),
    "Switzerland": Town("EPSG:2056", 8.5, 47.35),
}


def sexagesimal(degrees: float, letters: str, seconds: bool, where: str) -> str:
    """Degrees, minutes and seconds to a thousandth, or minutes to a hundred-thousandth: 3 cm or less on the ground."""
    letter, degrees = letters[degrees < 0], abs(degrees)
    if seconds:
        minutes, rest = divmod(round(degrees * 3_600_000), 60_000)
        text = f"{minutes // 60}°{minutes % 60:02d}'{rest / 1000:06.3f}\""
    else:
        whole, parts = divmod(round(degrees * 6_000_000), 6_000_000)
        text = f"{whole}° {parts / 100_000:08.5f}'"
    return where.format(text=text, letter=letter)


# where the letter of the compass stands
LETTERED = ["{text}{letter}", "{letter}{text}", "{text} {letter}", "{letter} {text}"]


def british(x: float, y: float, digits: int) -> str:
    """A National Grid reference, truncated (letters as in the Ordnance Survey's guide: A-Z without I)."""
    letters = "ABCDEFGHJKLMNOPQRSTUVWXYZ"
    e, n = int(x // 100_000), int(y // 100_000)
    first = (19 - n) - (19 - n) % 5 + (e + 10) // 5
    second = ((19 - n) * 5) % 25 + e % 5
    step = 10 ** (5 - digits)
    return (
        f"{letters[first]}{letters[second]} {int(x % 100_000) // step:0{digits}d} {int(y % 100_000) // step:0{digits}d}"
    )


def irish(x: float, y: float, digits: int) -> str:
    """An Irish Grid reference: one letter for the square of 100 km, from A at the north-west."""
    letter = "ABCDEFGHJKLMNOPQRSTUVWXYZ"[(4 - int(y // 100_000)) * 5 + int(x // 100_000)]
    step = 10 ** (5 - digits)
    return f"{letter} {int(x % 100_000) // step:0{digits}d} {int(y % 100_000) // step:0{digits}d}"


def places_written(town: str, spots: list[tuple[float, float]], words: dict[str, str], how: random.Random) -> Any:
    """Headings, the cells of each spot (lon, lat), and how many metres the writing may be off."""
    to_metres = Transformer.from_crs(4326, TOWNS[town].crs, always_xy=True).transform
    styles = [
        "decimal",
        "comma",
        "sexagesimal",
        "one cell",
        "one cell of letters",
        "metres",
        "WKT",
        "WKB",
        "MGRS",
        "plus code",
    ]
    written = how.random() < 0.5, how.choice(LETTERED)
    style = how.choice([*styles, *["grid"] * 5 * (town in ("Britain", "Ireland"))])
    if style in ("decimal", "comma", "sexagesimal"):
        write: Callable[[float, str], str] = {
            "decimal": lambda v, _: str(v),
            "comma": lambda v, _: str(v).replace(".", ","),
            "sexagesimal": lambda v, letters: sexagesimal(v, letters, *written),
        }[style]
        return [words["lat"], words["lon"]], [[write(lat, "NS"), write(lon, "EW")] for lon, lat in spots], 0.1
    if style == "one cell":
        return ["Coordinates"], [[f"{lat}, {lon}"] for lon, lat in spots], 0.01
    if style == "one cell of letters":
        cells = [[f"{sexagesimal(lat, 'NS', *written)} {sexagesimal(lon, 'EW', *written)}"] for lon, lat in spots]
        return ["position"], cells, 0.1
    if style == "metres":
        return ["x", "y"], [[f"{v:.2f}" for v in to_metres(*spot)] for spot in spots], 0.01
    if style == "WKT":
        return ["geometry"], [[f"POINT ({lon} {lat})"] for lon, lat in spots], 0.01
    if style == "WKB":
        return ["geometry"], [[shapely.to_wkb(shapely.Point(spot), hex=True)] for spot in spots], 0.01
    if style == "MGRS":
        return ["MGRS"], [[mgrs.MGRS().toMGRS(lat, lon)] for lon, lat in spots], 1.5
    if style == "plus code":
        return ["plus code"], [[openlocationcode.encode(lat, lon)] for lon, lat in spots], 10.0
    digits = how.choice([3, 4, 5])
    # the datum shifts of PROJ without grid files: 5 m at most
    grid, crs = (british, 27700) if town == "Britain" else (irish, 29903)
    metres = Transformer.from_crs(4326, crs, always_xy=True).transform
    return ["Grid reference"], [[grid(*metres(*spot), digits)] for spot in spots], 0.71 * 10 ** (5 - digits) + 5


def dress(folder: Path, name: str, rows: list[list[Any]], how: random.Random, old: bool = True) -> None:
    """Writes rows (the first are headings) as a csv in some dress, as a workbook, or as either in an archive.

    `old`: whether a workbook may count its days from 1904.
    """
    rows = [list(row) for row in rows]
    if how.random() < 0.3:
        order = how.sample(range(len(rows[0])), len(rows[0]))
        rows = [[row[i] for i in order] for row in rows]
    if how.random() < 0.3:
        rows = [["A list of ours"], [None], *rows]
    suffix = how.choice(["csv", "csv", "csv", "xlsx", "ods"])
    if suffix == "csv":
        out = io.StringIO()
        # a decimal comma needs another delimiter, or quotes, which the csv module sets
        writer = csv.writer(
            out,
            delimiter=how.choice(",;\t|"),
            lineterminator=how.choice(["\n", "\r\n", "\r"]),
            quoting=how.choice([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
        )
        writer.writerows(rows)
        content = out.getvalue().encode(how.choice(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"]))
    else:
        content = xlsx(rows, old=old and how.random() < 0.2) if suffix == "xlsx" else ods(rows)
    if how.random() < 0.15:
        content, suffix = zipped(**{f"{name}_{suffix}": content}), "zip"
    (folder / f"{name}.{suffix}").write_bytes(content)


DATE_STYLES = ["iso", "dots", "strokes", "month first", "name", "short name", "serial", "cell"]


def date_written(day: datetime.date, style: str, language: str) -> Any:
    if style in ("name", "short name"):
        pattern = "d MMMM yyyy" if style == "name" else "d. MMM yyyy"
        return format_date(day, pattern, locale=language)
    return {
        "iso": day.isoformat(),
        "dots": f"{day.day}.{day.month}.{day.year}",
        "strokes": f"{day.day:02d}/{day.month:02d}/{day.year % 100:02d}",
        "month first": f"{day.month}/{day.day}/{day.year}",
        "serial": (day - datetime.date(1899, 12, 30)).days,
        # in a workbook a true date, in text as ISO
        "cell": day,
    }[style]


def one_town(folder: Path, seed: int) -> None:
    """Writes pools, visits and trees in a random dress, and holds what an area makes of them against the truth."""
    how = random.Random(seed)
    language = how.choice(list(WORDS))
    words = dict(zip(KEYS, WORDS[language].split("|"), strict=True))
    where = how.choice(list(TOWNS))
    town = TOWNS[where]
    to_metres = Transformer.from_crs(4326, town.crs, always_xy=True).transform

    def spots(n: int) -> list[tuple[float, float]]:
        """Places of a town some 5 km across, to a metre, no two within 20 m of each other."""
        grid = how.sample(range(150 * 150), n)
        return [(round(town.lon + 0.0005 * (i % 150), 5), round(town.lat + 0.0003 * (i // 150), 5)) for i in grid]

    names = [f"{how.choice(['Pool', 'P', 'Tümpel Süd', 'Étang', '#', 'A-'])} {i}" for i in range(1, how.randint(3, 15))]
    at = spots(len(names))
    heads, cells, off_m = places_written(where, at, words, how)
    dress(folder, "pools", [[words["pool"], *heads], *[[n, *c] for n, c in zip(names, cells, strict=True)]], how)

    style = how.choice(DATE_STYLES)
    looks: list[tuple[str, datetime.date, str, str]] = []
    table: list[list[Any]] = [[words["pool"], words["date"], words["outcome"], words["larvae"]]]
    for _ in range(how.randint(1, 30)):
        name, outcome = how.choice(names), how.choice(list(OUTCOMES))
        day = datetime.date(2024, 1, 1) + datetime.timedelta(days=how.randrange(700))
        count = how.choice(["{}", "{}", "{}+", "{}-40"]).format(how.randint(1, 39))
        count = count if outcome == "larvae" and how.random() < 0.7 else ""
        looks.append((name, day, outcome, count))
        said = how.choice(OUTCOMES[outcome].split("|"))
        table.append([name, date_written(day, style, language), said, int(count) if count.isdigit() else count or None])
    dress(folder, "visits", table, how, old=style != "serial")
    written = len({tuple(row) for row in table[1:]})

    trunks = []
    thick = how.choice(["diameter", "girth"])
    grown: list[list[Any]] = []
    for _ in range(how.randint(1, 20)):
        genus, condition = how.choice(list(GENERA)), how.choice([*CONDITIONS, "gone"])
        cm = how.choice([None, how.randint(5, 160)])
        said = how.choice((CONDITIONS | {"gone": GONE})[condition].split("|"))
        size = None if cm is None else cm if thick == "diameter" else round(cm * pi)
        trunks.append((genus, condition, cm))
        grown.append([how.choice(GENERA[genus].split("|")), size, said or None])
    roots = spots(len(trunks))
    heads, cells, tree_off_m = places_written(where, roots, words, how)
    table_heads = [words["species"], words[thick], words["condition"], *heads]
    dress(folder, "trees", [table_heads, *[[*row, *c] for row, c in zip(grown, cells, strict=True)]], how)

    (folder / "area.toml").write_text(f'crs = "{town.crs}"\nas_of = 2025-12-31\n', encoding="utf-8")
    area = open_area(folder)
    area.ledger.check()
    left = area.ledger.frame()
    counts, told = area.ledger.counts(), left.to_string()

    assert area.pools["pool"].tolist() == sorted(names), told
    for name, spot in zip(names, at, strict=True):
        row = area.pools[area.pools["pool"] == name].iloc[0]
        x, y = to_metres(*spot)
        assert hypot(row["x"] - x, row["y"] - y) <= off_m, (name, spot, told)
        assert row["uncertainty_m"] > 0, name

    assert counts["visits"]["read"] == len(looks)
    for row in area.visits.itertuples():
        known = [one for one in looks if (one[0], one[1], one[2]) == (row.pool, row.date.date(), row.outcome)]
        assert known, row
        assert any(_says(count, row.larvae, row.larvae_low, row.larvae_high) for *_, count in known), (row, known)
    if style in ("dots", "strokes", "month first"):
        # what is not read is undecided, and only where the column has no day above 12 to decide it
        undecided = int(left["reason"].str.contains("either way").sum())
        assert written - undecided <= len(area.visits) <= written, told
        assert undecided == 0 or all(day.day <= 12 for _, day, _, _ in looks), told
    else:
        assert len(area.visits) == written, told

    standing = [i for i, (_, condition, _) in enumerate(trunks) if condition != "gone"]
    assert counts["trees"]["read"] == len(trunks)
    assert len(area.trees) == len(standing), told
    for i in standing:
        genus, condition, cm = trunks[i]
        x, y = to_metres(*roots[i])
        away = ((area.trees["x"] - x) ** 2 + (area.trees["y"] - y) ** 2) ** 0.5
        near = area.trees[away <= tree_off_m]
        same = near[(near["genus"] == genus) & (near["condition"] == condition)]
        assert any(_same(got, cm) for got in same["diameter_cm"]), (trunks[i], grown[i], near)


def _says(count: str, larvae: float, low: float, high: float) -> bool:
    """Whether a number with its bounds is what a cell said: "7", "7+", "7-40", or nothing."""
    if not count:
        return isnan(larvae) and isnan(low) and isnan(high)
    if count.isdigit():
        return larvae == low == high == float(count)
    at_least, _, at_most = count.replace("+", "-").partition("-")
    return low == float(at_least) and high == float(at_most or "inf")


def _same(got: float, cm: int | None) -> bool:
    # a girth was written in whole centimetres
    return isnan(got) if cm is None else abs(got - cm) <= 0.5 / pi + 1e-6


@pytest.mark.parametrize("seed", range(100))
def test_truth_in_random_dress_comes_back(tmp_path: Path, seed: int) -> None:
    one_town(tmp_path, seed)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(100, 2100))
def test_truth_in_random_dress_comes_back_two_thousand_times(tmp_path: Path, seed: int) -> None:
    one_town(tmp_path, seed)
