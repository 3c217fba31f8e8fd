"""Codes decide, words only tell: the program in other words finds, chooses and sets aside the same.

The same town goes through the commands as the program is, and with every sentence of it reworded (tests/rewording.py).
What is written must be the same but for the words, and the words the same sentences in the same places.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

import pytest
from pypdf import PdfReader

from tests.areas import LEFT, TOP
from tests.contract.town import SETTINGS, make_town
from tests.rewording import MARK, in_one_vowel

ROOT = Path(__file__).parents[1]
FOLDERS = {name: name for name in "check map survey rounds sheets report outlook".split()} | {"map": "out"}
# their words are packed; the browser's tests read them; and a list of what is compared here itself
NOT_COMPARED = {"map.html", "public_map.html", "manifest.json"}
SPOILT_POOLS = "no place,,\nfar,3,4\nA1,500055,5399945\n,500100,5399900\n=cmd,500100,x\n"
SPOILT_VISITS = "A1,2025-13-45,larvae\nnobody,2025-05-01,larvae\nB,2025-05-01,maybe\nB,1025-05-01,larvae\n"


def make_busy_town(folder: Path) -> Path:
    """The town of the contract, with rows of every fault and with visits enough for estimates.

    Every third of 36 more pools has larvae, seen at two visits of three.
    """
    town = make_town(folder, SETTINGS.replace("existing = 0.6\nnew = 0.6\n", ""))
    pools, visits = SPOILT_POOLS, SPOILT_VISITS
    for i in range(36):
        pools += f"P{i:02d},{LEFT + 35 + 60 * (i % 6)},{TOP - 35 - 60 * (i // 6)}\n"
        for month, seen in ((4, i % 3 == 0), (5, False), (6, i % 3 == 0)):
            visits += f"P{i:02d},2025-{month:02d}-{1 + i % 28:02d},{'larvae' if seen else 'none seen'}\n"
    for name, rows in (("pools", pools), ("visits", visits)):
        path = town / f"{name}.csv"
        path.write_text(path.read_text(encoding="utf-8") + rows, encoding="utf-8")
    return town


class Told(NamedTuple):
    """How a command ended, what it said, and what it wrote (file -> text)."""

    code: int
    said: str
    files: dict[str, str]


def text_of(path: Path) -> str:
    """What a file says; "" of one that holds no words, or no words of ours."""
    if path.suffix == ".pdf":
        return "".join("".join(page.extract_text().split()) for page in PdfReader(path).pages)
    if path.suffix in (".csv", ".json", ".geojson", ".gpx", ".html", ".ics") and path.name not in NOT_COMPARED:
        text = path.read_text(encoding="utf-8")
        return text.replace("\n ", "") if path.suffix == ".ics" else text
    return ""


def told(folder: Path, how: str) -> dict[str, Told]:
    """What each command tells of the same town."""
    town = make_busy_town(folder)
    done = subprocess.run(
        [sys.executable, "-m", "tests.rewording", how, town, *FOLDERS],
        cwd=ROOT, capture_output=True, text=True, check=True, env=os.environ | {"PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    found = {}
    for (command, out), (code, said, complaint) in zip(FOLDERS.items(), json.loads(done.stdout), strict=True):
        written = {p.name: text_of(p) for p in sorted((town / out).glob("*")) if p.is_file()}
        found[command] = Told(code, said + complaint, written)
    return found


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, Told]]:
    return [told(tmp_path_factory.mktemp("words") / "town", how) for how in ("plain", "reworded")]


@pytest.fixture(params=FOLDERS)
def both(request: pytest.FixtureRequest, runs: list[dict[str, Told]]) -> list[Told]:
    return [run[request.param] for run in runs]


def same_but_for_words(plain: object, reworded: object, at: str = "") -> list[str]:
    """Where two JSON values differ in more than their words."""
    if isinstance(plain, dict) and isinstance(reworded, dict):
        keys = [[in_one_vowel(key) for key in value] for value in (plain, reworded)]
        if keys[0] != keys[1]:
            return [f"{at}: keys {list(plain)} -> {list(reworded)}"]
        pairs = [(f"{at}.{k}", plain[k], reworded[o]) for k, o in zip(plain, reworded, strict=True) if k != "seconds"]
    elif isinstance(plain, list) and isinstance(reworded, list):
        if len(plain) != len(reworded):
            return [f"{at}: {len(plain)} -> {len(reworded)}", *map(str, set(reworded) - set(plain))]
        pairs = [(f"{at}[{i}]", a, b) for i, (a, b) in enumerate(zip(plain, reworded, strict=True))]
    elif isinstance(plain, str) and isinstance(reworded, str):
        return [] if in_one_vowel(plain) == in_one_vowel(reworded) else [f"{at}: {plain!r} -> {reworded!r}"]
    else:
        return [] if plain == reworded else [f"{at}: {plain!r} -> {reworded!r}"]
    return [found for where, a, b in pairs for found in same_but_for_words(a, b, where)]


def first_difference(one: str, other: str) -> int:
    return next((i for i, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))


def test_the_hook_rewords(both: list[Told]) -> None:
    """The test below would pass on its own if nothing were reworded."""
    plain, reworded = (one.said + "".join(one.files.values()) for one in both)
    assert MARK not in plain
    assert MARK in reworded


def test_in_other_words_everything_else_is_the_same(both: list[Told]) -> None:
    plain, reworded = both
    assert reworded.code == plain.code, reworded.said
    assert list(reworded.files) == list(plain.files)
    differ = []
    for name, text in plain.files.items():
        other = reworded.files[name]
        if name in NOT_COMPARED:
            continue
        if name.endswith(".json"):
            differ += same_but_for_words(json.loads(text), json.loads(other), name)
        elif in_one_vowel(text) != in_one_vowel(other):
            at = first_difference(in_one_vowel(text), in_one_vowel(other))
            differ.append(f"{name}: ...{text[at - 200 : at + 80]}")
    assert not differ, "\n".join(differ)
