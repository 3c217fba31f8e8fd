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

from tests.contract.town import make_town
from tests.rewording import MARK, in_one_vowel

ROOT = Path(__file__).parents[1]
FOLDERS = {"check": "check", "map": "out", "survey": "survey", "rounds": "rounds"}  # of each command
SPOILT_POOLS = "no place,,\nfar,3,4\nA1,500055,5399945\n,500100,5399900\n=cmd,500100,x\n"
SPOILT_VISITS = "A1,2025-13-45,larvae\nnobody,2025-05-01,larvae\nB,2025-05-01,maybe\nB,1025-05-01,larvae\n"


class Told(NamedTuple):
    """How a command ended, what it said, and what it wrote (file -> text)."""

    code: int
    said: str
    files: dict[str, str]


def told(folder: Path, how: str) -> dict[str, Told]:
    """What each command tells of the same town."""
    town = make_town(folder)
    for name, rows in (("pools", SPOILT_POOLS), ("visits", SPOILT_VISITS)):
        path = town / f"{name}.csv"
        path.write_text(path.read_text(encoding="utf-8") + rows, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "tests.rewording", how, town, *FOLDERS],
        cwd=ROOT, capture_output=True, text=True, check=True, env=os.environ | {"PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    found = {}
    for (command, out), (code, said, complaint) in zip(FOLDERS.items(), json.loads(done.stdout), strict=True):
        written = [p for p in sorted((town / out).glob("*")) if p.suffix in (".csv", ".json")]
        found[command] = Told(code, said + complaint, {p.name: p.read_text(encoding="utf-8") for p in written})
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
        if list(plain) != list(reworded):
            return [f"{at}: keys {list(plain)} -> {list(reworded)}"]
        pairs = [(f"{at}.{key}", plain[key], reworded[key]) for key in plain if key != "seconds"]
    elif isinstance(plain, list) and isinstance(reworded, list) and len(plain) == len(reworded):
        pairs = [(f"{at}[{i}]", a, b) for i, (a, b) in enumerate(zip(plain, reworded, strict=True))]
    elif isinstance(plain, str) and isinstance(reworded, str):
        return [] if in_one_vowel(plain) == in_one_vowel(reworded) else [f"{at}: {plain!r} -> {reworded!r}"]
    else:
        return [] if plain == reworded else [f"{at}: {plain!r} -> {reworded!r}"]
    return [found for where, a, b in pairs for found in same_but_for_words(a, b, where)]


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
        if name.endswith(".json"):
            differ += same_but_for_words(json.loads(text), json.loads(other), name)
        else:
            differ += same_but_for_words(text.splitlines(), other.splitlines(), name)
    assert not differ, "\n".join(differ)
