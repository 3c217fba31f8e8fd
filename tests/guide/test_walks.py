"""What the guide's pages tell to type can be typed, and says what they tell."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import click
import pytest

from habitatmap.cli.main import commands
from habitatmap.read.settings import Settings
from habitatmap.words.headline import headline
from tests.commands import habitatmap
from tests.demo import demo_result
from tests.guide.walks import GUIDE, WALKS, Block, alike, blocks, lacking

README = GUIDE.parents[1] / "README.md"
TYPED = re.compile(r"^(?:    |\t)?(?:\S*/)?habitatmap (?P<words>[a-z-].*?)(?:\s{2,}.*| +#.*)?$", re.MULTILINE)


def typed() -> list[tuple[str, str]]:
    """Every line of a block that calls the program: the page, and the words behind its name."""
    found = []
    for page in (README, *sorted(GUIDE.glob("*.md"))):
        if page.name == "commands.md":  # made from the commands themselves
            continue
        text = page.read_text(encoding="utf-8")
        found += [(page.name, match["words"]) for match in TYPED.finditer(text)]
    return found


def test_every_command_of_the_guide_is_one_that_is_taken() -> None:
    assert len(typed()) > 20
    for page, words in typed():
        first, *others = shlex.split(words)
        if first in ("-q", "-v"):
            first, *others = others
        if first == "--help":
            continue
        command = commands.get_command(click.Context(commands), first)
        assert command is not None, (page, words)
        try:
            command.make_context(first, others)
        except click.UsageError as fault:
            raise AssertionError(f"{page}: habitatmap {words}: {fault.message}") from fault


def test_the_search_for_missing_lines_can_fail() -> None:
    assert lacking(Block("text", ("a", "...", "c")), "a\nb\nc\n") == []
    assert lacking(Block("text", ("c", "a")), "a\nb\nc\n") == ["a"]
    assert lacking(Block("text", ("a b",)), "x a b\n") == ["a b"]
    assert alike("98.8 % of 10", "98.7 % of 10")
    assert not alike("98.8 % of 10", "98.4 % of 10")
    assert not alike("98.8 % of 10", "98.8 % of 11")


@pytest.fixture(scope="module")
def checked(tmp_path_factory: pytest.TempPathFactory) -> str:
    town = tmp_path_factory.mktemp("walk") / "demo"
    assert habitatmap("new", town, "--demo").code == 0
    return habitatmap("check", town).out


@pytest.mark.parametrize("page", WALKS)
def test_what_check_and_map_say_of_the_demo_town(page: str, checked: str) -> None:
    """Without the runs themselves, which are long: those are made by the slow test below."""
    said, own = "", ""
    for block in blocks(page):
        if block.kind == "toml":
            own = page  # from here on the town is planned otherwise than the one that all tests share
        elif block.kind == "sh":
            last = block.lines[-1]
            said = checked if " check " in last else headline(demo_result().figures) if " map " in last else ""
            said = "" if own and " map " in last else said
        elif said:
            missing, said = lacking(block, said), ""
            assert not missing


def test_the_numbers_of_the_plan_s_page_are_the_demo_town_s() -> None:
    said, page = headline(demo_result().figures), (GUIDE / "plan.md").read_text("utf-8")
    for quoted in (
        r"With these 10 pools.*?years",
        r"could reach more than [\d.]+ %",
        r"plan has [\d.]+ % of the maximum",
    ):
        told, found = re.search(quoted, page), re.search(quoted, said)
        assert told
        assert found
        assert alike(told[0], found[0])


@pytest.mark.slow
@pytest.mark.parametrize("page", WALKS)
def test_the_walk_is_gone_as_it_is_told(page: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every command is run in its turn; what a block tells stands in what they said, or in a table that they wrote."""
    monkeypatch.chdir(tmp_path)
    said, runs = "", 0
    for block in blocks(page):
        if block.kind == "sh":
            for line in block.lines:
                done = habitatmap(*shlex.split(line)[1:])
                assert done.code in (0, 1), done.err
                said, runs = f"{said}{done.out}{done.err}", runs + 1
        elif block.kind == "toml":
            settings = tmp_path / "demo" / "area.toml"
            head, *body = block.lines
            text = re.sub(rf"{re.escape(head)}\n[^\[]*", "\n".join([head, *body, "", ""]), settings.read_text("utf-8"))
            settings.write_text(text, encoding="utf-8")
        else:
            tables = "\n".join(file.read_text("utf-8-sig") for file in sorted(tmp_path.glob("demo/*/*.csv")))
            assert not [line for line in lacking(block, said) if line not in tables]
    assert runs >= 3


def test_the_defaults_told_are_those_of_area_toml() -> None:
    table = re.findall(r"^\| `([a-z_.]+)` \| ([\d.]+) \|", (GUIDE / "science.md").read_text("utf-8"), re.MULTILINE)
    assert len(table) > 15
    for key, told in table:
        value: object = Settings()
        for part in key.split("."):
            value = getattr(value, part)
        assert float(told) == value, key
