"""The guide's page on commands says what the commands say."""

from __future__ import annotations

from pathlib import Path

import click
from click.testing import CliRunner

from habitatmap.cli.main import COMMANDS, commands
from habitatmap.cli.reference import command_reference

PAGE = Path(__file__).parents[2] / "habitatmap" / "guide" / "commands.md"


def test_the_page_is_that_of_the_live_help() -> None:
    written = PAGE.read_text(encoding="utf-8")
    assert written == command_reference(), "python -m habitatmap.cli.reference > habitatmap/guide/commands.md"


def test_every_command_stands_there_with_all_that_its_help_says() -> None:
    page = " ".join(command_reference().split())
    for name in COMMANDS:
        help_text = CliRunner().invoke(commands, [name, "--help"], terminal_width=400).output
        command = commands.get_command(click.Context(commands), name)
        assert command is not None
        shown = [one for one in command.params if isinstance(one, click.Option) and not one.hidden]
        assert len(shown) > 3
        for option in shown:
            assert option.opts[-1] in help_text
            assert f"{option.opts[-1]}" in page
            assert " ".join((option.help or "").split()) in page
        assert " ".join((command.help or "").split()) in page
