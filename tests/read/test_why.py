"""The reasons for setting rows aside: one list in the code, one in the guide, and readers that know no other."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from habitatmap.errors import why
from habitatmap.errors.why import Why
from habitatmap.words.explained import explanations

PACKAGE = Path(why.__file__).parents[1]
READERS = [PACKAGE / "area.py", *sorted((PACKAGE / "read").rglob("*.py"))]
PLACEHOLDER = re.compile(r"(\{\w+\})+")
# calls that take a reason, and how many words come before it
TAKE = {"Refusal": 2, "refuse": 3, "Fault": 2, "SetAside": 5}


def dots(text: str) -> str:
    return PLACEHOLDER.sub("…", text)


@pytest.mark.parametrize("name", Why.__members__)
def test_the_guide_explains_the_reason_and_repeats_the_remedy(name: str) -> None:
    told = explanations()[name]
    assert told.reason == dots(Why[name].reason)
    assert dots(Why[name].remedy) in told.remedy
    assert len(told.meaning) > 20
    assert told.example


def test_the_guide_has_no_other_reason() -> None:
    text = (PACKAGE / "guide" / "set_aside.md").read_text(encoding="utf-8")
    assert re.findall(r"^### (.*)$", text, re.MULTILINE) == [dots(w.reason) for w in Why]


def test_a_reason_is_told_with_the_words_of_the_file() -> None:
    told = Why.REPEAT.of(row=7, of=" of pools.csv")
    assert (told.code, told.reason) == (Why.REPEAT, "the row repeats row 7 of pools.csv")
    assert (Why.NO_NAME.code, Why.NO_NAME.remedy) == (Why.NO_NAME, "write the pool's name")


def test_every_reason_is_given_somewhere() -> None:
    given = {name for path in READERS for name in re.findall(r"\bWhy\.([A-Z_0-9]+)", path.read_text(encoding="utf-8"))}
    assert given == set(Why.__members__)


def free_texts(source: str) -> list[int]:
    """Lines that give a reason as text of their own."""
    lines = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call):
            called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            words = node.args[TAKE[called] : TAKE[called] + 1] if called in TAKE else []
            if any(isinstance(word, ast.Constant | ast.JoinedStr) for word in words):
                lines.append(node.lineno)
    return lines


@pytest.mark.parametrize("path", READERS, ids=lambda p: p.name)
def test_no_reader_gives_a_reason_of_its_own(path: Path) -> None:
    assert free_texts(path.read_text(encoding="utf-8")) == []


def test_the_search_for_free_texts_can_fail() -> None:
    assert free_texts('draft.refuse(at, "pool", "", Why.NO_POOL)') == []
    assert free_texts('draft.refuse(at, "pool", "", f"no pool {x}")') == [1]
    assert free_texts('x = Refusal("lat", cell, "no latitude")') == [1]
