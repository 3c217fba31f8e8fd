"""The command line: one small file per command, loaded when it is called."""

from __future__ import annotations

import codecs
import difflib
import gc
import importlib
import io
import logging
import os
import sys
import traceback
from collections.abc import Callable
from typing import NoReturn

import click

from habitatmap import __version__

# command -> what it is for; the module of the same name holds a click command called `command`
COMMANDS = {
    "new": "Start an area folder: from an OpenStreetMap extract, or as a copy of the demo town.",
    "check": "Read the folder as map does, and say how every file was understood and what was set aside.",
    "map": "The main job: score every cell, estimate occupancy, find gaps, plan the next pools, write the maps.",
    "survey": "Estimated occupancy and how sure it is, pool by pool, and next season's effort.",
    "rounds": "Who goes to which pools in a week: lists to print, routes, calendar entries.",
    "sheets": "What a crew takes along, as PDF: a page for each site, labels, recording sheets.",
    "report": "Two pages for the committee and the funder, PDF and HTML: done, found, next, cost, not known.",
    "archive": "The searches as a Darwin Core Archive, for a records centre; private places as squares.",
    "freeze": "Keep a season: its inputs, settings, layers and results, as a folder of its own.",
    "compare": "What changed since a kept season: pools, visits, the plan carried out, and why the figures changed.",
    "pack": "Everything of an area in one file to hand over, its contacts in a second one.",
    "unpack": "Make an area of the files that pack wrote.",
    "person": "What the folder holds of a person: found everywhere, given to them, or forgotten.",
    "words": "A workbook to change what pages and papers say, or to add a language.",
    "outlook": "The plan against other ways to choose, through the same simulated years: ranks, no forecast.",
}


class CommandGroup(click.Group):
    """Lists its commands without importing them, so that `--help` answers at once."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = importlib.import_module(f"habitatmap.cli.{cmd_name}").command
        if not any(option.name == "verbose" for option in command.params):
            command.params += how_much_is_said()
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in COMMANDS and (close := difflib.get_close_matches(args[0], COMMANDS, 1)):
            ctx.fail(f"No such command '{args[0]}'; did you mean {close[0]}?")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


def how_much_is_said() -> list[click.Parameter]:
    """The flags -v and -q, which may stand before and after the command."""

    def set_level(level: int) -> Callable[[click.Context, click.Parameter, bool], None]:
        return lambda context, option, given: logging.getLogger("habitatmap").setLevel(level) if given else None

    more, less = "Say how long each stage took, its share of the time, and the most memory.", "Say nothing but faults."
    return [
        click.Option(
            ["-v", "--verbose"], is_flag=True, expose_value=False, help=more, callback=set_level(logging.DEBUG)
        ),
        click.Option(["-q", "--quiet"], is_flag=True, expose_value=False, help=less, callback=set_level(logging.ERROR)),
    ]


@click.group(cls=CommandGroup, params=how_much_is_said(), context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__)
def commands() -> None:
    """Turns scattered breeding pools for rot-hole hoverflies into a network that works.

    Ends with 0: results were written; 1: check, or --strict, found what needs a look; 2: could not run; 130: stopped by
    Ctrl-C.
    """


def with_other_letters(fault: UnicodeError) -> tuple[str, int]:
    """Characters that an output has no letters for, in the way of JSON: \\u0142 for the Polish l with a stroke."""
    if not isinstance(fault, UnicodeEncodeError):
        raise fault
    units = fault.object[fault.start : fault.end].encode("utf-16-be").hex()
    return "".join(f"\\u{units[i : i + 4]}" for i in range(0, len(units), 4)), fault.end


def main() -> None:
    """Runs the command line; a fault of the input is one sentence on stderr and exit code 2, never a traceback."""
    from habitatmap.errors import HabitatmapError
    from habitatmap.errors.system import refused

    gc.set_threshold(100_000, 50)  # looking for garbage as often as usual takes a twentieth of a run, finds hardly any
    # matrix products run on one thread anyway (geo.engine); the others would spin a while when numpy and scipy load
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    codecs.register_error("habitatmap", with_other_letters)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="habitatmap")
    logging.basicConfig(stream=sys.stderr, level=logging.WARNING, format="%(message)s")
    logging.getLogger("habitatmap").setLevel(logging.INFO)
    try:
        code = commands(standalone_mode=False)  # a command that ends early with a code has it returned here
        sys.exit(code if isinstance(code, int) else 0)
    except HabitatmapError as fault:
        click.echo(str(fault), err=True)
        sys.exit(fault.exit_code)
    except click.ClickException as fault:
        fault.show()
        sys.exit(2)
    except BrokenPipeError:  # whoever read the output, such as `head`, has enough; the results were written before
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except (KeyboardInterrupt, click.Abort):
        click.echo("Stopped.", err=True)
        sys.exit(130)
    except OSError as fault:
        _end_with(fault, refused(fault))
    except Exception as fault:
        _end_with(fault, "")
    finally:
        gc.freeze()  # the interpreter would look through all that is left for garbage, only to end: half a second


def _end_with(fault: Exception, sentence: str) -> NoReturn:
    """Ends with a sentence for what the system refused, or else tells a fault of our own. Code 1 would say that results
    were written."""
    if not sentence:
        traceback.print_exception(fault)
        sentence = (
            f"A fault of habitatmap itself ({type(fault).__name__}), not of your files; nothing was changed. "
            "Please report it with the lines above."
        )
    click.echo(sentence, err=True)
    sys.exit(2)


if __name__ == "__main__":
    main()
