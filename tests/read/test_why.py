"""The reasons for setting rows aside: one list in the code, one in the guide, and readers that know no other."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from habitatmap.errors import why
from habitatmap.words.explained import explanations

PACKAGE = Path(why.__file__).parents[1]
READERS = [
    *sorted((PACKAGE / "coordinates").glob("*.py")),
    PACKAGE / "area.py",
    *sorted((PACKAGE / "intake").glob("*.py")),
]
PLACEHOLDER = re.compile(r"(\{\w+\})+")
# calls that take a reason and a remedy, and how many words come before them
TAKE = {"Refusal": 2, "refuse": 3, "set_aside": 5, "Why": 0, "DateFault": 0}


def dots(text: str) -> str:
    return PLACEHOLDER.sub("…", text)


@pytest.mark.parametrize("name", why.ALL)
def test_the_guide_explains_the_reason_and_repeats_the_remedy(name: str) -> None:
    told = explanations()[name]
    assert told.reason == dots(why.ALL[name].reason)
    assert dots(why.ALL[name].remedy) in told.remedy
    assert len(told.meaning) > 20
    assert told.example


def test_the_guide_has_no_other_reason() -> None:
    text = (PACKAGE / "guide" / "set_aside.md").read_text(encoding="utf-8")
    assert re.findall(r"^### (.*)$", text, re.MULTILINE) == [dots(w.reason) for w in why.ALL.values()]


@pytest.mark.parametrize("name", why.ALL)
def test_a_reason_is_known_again_by_its_words(name: str) -> None:
    filled = PLACEHOLDER.sub("7", why.ALL[name].reason)
    assert why.name_of(filled) == name
    assert why.name_of(f"quite another reason than: {filled}, or so") in ("", name)


def test_every_reason_is_given_somewhere() -> None:
    given = set()
    for path in READERS:
        given |= set(re.findall(r"\bwhy\.([A-Z_0-9]+)", path.read_text(encoding="utf-8")))
    assert set(why.ALL) - given == set()


def free_texts(source: str) -> list[int]:
    """Lines that give a reason or a remedy as text of their own."""
    lines = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call):
            called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            words = node.args[TAKE[called] : TAKE[called] + 2] if called in TAKE else []
            if any(isinstance(word, ast.Constant | ast.JoinedStr) for word in words):
                lines.append(node.lineno)
    return lines


@pytest.mark.parametrize("path", READERS, ids=lambda p: p.name)
def test_no_reader_gives_a_reason_of_its_own(path: Path) -> None:
    assert free_texts(path.read_text(encoding="utf-8")) == []


def test_the_search_for_free_texts_can_fail() -> None:
    assert free_texts('draft.refuse(at, "pool", "", *why.NO_POOL)') == []
    assert free_texts('draft.refuse(at, "pool", "", f"no pool {x}", "write it")') == [1]
    assert free_texts('x = Refusal("lat", cell, "no latitude", WRITE)') == [1]
