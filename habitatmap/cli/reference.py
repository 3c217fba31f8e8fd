"""The guide's page on commands, made from their own help: python -m habitatmap.cli.reference > commands.md"""

from __future__ import annotations

import inspect
import re

import click

from habitatmap.cli.main import commands

INTRODUCTION = """# Commands

What each command says of itself with `--help`. Each writes into a folder of its own in the area, or into that of
`--out`.
"""
FOR_ALL = """
For every command (`-v`, `-q`, `-h` and `--help` stand before or after it):
"""
LINE_END = re.compile(r"(?<=\S)\n(?=\S)")  # within a paragraph


def command_reference() -> str:
    """guide/commands.md, whole."""
    group = click.Context(commands, info_name="habitatmap")
    everywhere = _options(commands, group)
    parts = [INTRODUCTION, _about(commands), FOR_ALL, *everywhere]
    for name in commands.list_commands(group):
        command = commands.get_command(group, name)
        assert command is not None
        own = click.Context(command, info_name=name, parent=group)
        parts += ["", f"## {name}", "", f"    {own.command_path} {' '.join(command.collect_usage_pieces(own))}", ""]
        parts += [_about(command), "", *(line for line in _options(command, own) if line not in everywhere)]
    return "\n".join(parts) + "\n"


def _about(command: click.Command) -> str:
    """What the command says of itself, a line for each paragraph."""
    return LINE_END.sub(" ", inspect.cleandoc(command.help or ""))


def _options(command: click.Command, context: click.Context) -> list[str]:
    """A line for each option that is shown: how it is written, and what it does."""
    records = (option.get_help_record(context) for option in command.params)
    return [f"- `{record[0]}`: {' '.join(record[1].split())}" for record in records if record and record[1]]


if __name__ == "__main__":
    print(command_reference(), end="")
