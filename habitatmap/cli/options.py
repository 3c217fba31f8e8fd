"""What the commands share: options, reading an area into a folder of results, and how a run is told."""

from __future__ import annotations

import functools
import json
import logging
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from habitatmap.cli.progress import LEFT, WRITING, YEARS, Progress, is_rewritable, on_one_line

if TYPE_CHECKING:
    from habitatmap.area import Area
    from habitatmap.export.season import Season
    from habitatmap.read.intake import Intake
    from habitatmap.result.findings import Worked
    from habitatmap.sentences import Sentence
    from habitatmap.words.catalogue import Catalogue

log = logging.getLogger("habitatmap")

THE_PLAN = "Plan, limits, robustness and consent priorities"
NEEDS_A_LOOK = "End with 1 where a row was set aside or something is missing."


@dataclass(frozen=True)
class Call:
    """How a command was called: the area, the folder its results go to, and what was asked of it.

    `command` is its name; `language` "" is that of area.toml.
    """

    area: Path
    target: Path
    command: str
    as_json: bool
    strict: bool
    dry_run: bool
    language: str = ""

    def check_target(self) -> None:
        """Refuses a folder that the results can't go to, before the work begins; holds it while the command runs."""
        from habitatmap.export.folder import check_target, held

        check_target(self.target, self.command, self.area)
        if self.target.is_dir() and not self.dry_run:
            click.get_current_context().with_resource(held(self.target))

    def open(
        self,
        committed: Path | None = None,
        cost: Callable[[Area], tuple[Sentence, Mapping[str, float]]] | None = None,
    ) -> Area | None:
        """The area as read; None where nothing is to be written, which is said, with what it would `cost`."""
        from habitatmap.area import open_area

        self.check_target()
        area = open_area(self.area, committed=committed)
        if not self.dry_run:
            return area
        spoken = self.spoken(area)
        say_counts(area, spoken)
        figures: Mapping[str, float] = {}
        if cost is not None:
            line, figures = cost(area)
            log.info("%s", spoken.say(line))
        if self.as_json:
            told = {"dry_run": True, "would_write": str(self.target.resolve()), "rows": area.ledger.counts()}
            told |= {"cost": dict(figures)} if figures else {}
            click.echo(json.dumps(told, ensure_ascii=False, indent=1))
        self.wrote_nothing(spoken)
        return None

    def known(self, area: Area, what: str = THE_PLAN) -> Worked | None:
        """What the last `map` worked out, where nothing has changed since; which is said. `what` of it is used."""
        from habitatmap.export.worked import found_before
        from habitatmap.sentences import Sentence, say
        from habitatmap.words.catalogue import spoken

        known, why = found_before(area, self.area / "out")
        told = Sentence("")
        if known is not None:
            told = say("{what}: as the last map found, as nothing has changed.", what=Sentence(what))
        elif why:
            told = say("The last map can't be used, as {why}; all is calculated anew.", why=why)
        if told:
            log.info("%s", spoken(self.language or area.settings.language, area.folder).say(told))
        return known

    def spoken(self, area: Area | Intake) -> Catalogue:
        """The language of pages and papers: what was asked for, else that of area.toml. Raises InputError."""
        from habitatmap.words.catalogue import spoken

        found = spoken(self.language or area.settings.language, area.folder)
        if found.lacking:
            log.info("words.%s: %d texts have no words yet and stay English.", found.language, found.lacking)
        return found

    def wrote(self, what: str, file: str, spoken: Catalogue) -> None:
        """Says where the results lie."""
        tell_cost()
        log.info("%s: %s", spoken.say(what), (self.target / file).resolve())

    def wrote_nothing(self, spoken: Catalogue, folder: Path | None = None) -> None:
        """Says that it was a dry run, which would have written `folder` (the command's own)."""
        from habitatmap.sentences import say

        told = say("Dry run: {folder} would be written; nothing was.", folder=str(folder or self.target))
        log.info("%s", spoken.say(told))

    def end(self, needs_a_look: bool) -> None:
        """Ends with 1 where that was asked for and something needs a look."""
        if self.strict and needs_a_look:
            raise click.exceptions.Exit(1)


def area_command(
    name: str, folder: str | None = None, as_json: str = "", strict: str = NEEDS_A_LOOK, called: str = "AREA"
) -> Callable[[Callable[..., None]], click.Command]:
    """Makes a function of a `Call` the command NAME AREA, with the options that all such commands have.

    `folder`: where in the area its results go (the command's name where not given); `as_json` and `strict`: what these
    options do, "" where the command has no such option; `called`: what the help calls the area.
    """
    place = folder or name
    options = [
        click.argument("area", type=click.Path(path_type=Path), metavar=called),
        click.option("--out", type=click.Path(path_type=Path), help=f"Write here instead of AREA/{place}."),
        *([click.option("--json", "as_json", is_flag=True, help=as_json)] if as_json else []),
        *([click.option("--strict", is_flag=True, help=strict)] if strict else []),
        click.option(
            "--language",
            default="",
            help="The language of pages and papers: en, de, fr, nl, or one of words.* (default: area.toml's).",
        ),
        click.option("--dry-run", is_flag=True, help="Read and check everything, write nothing."),
    ]

    def decorate(function: Callable[..., None]) -> click.Command:
        @functools.wraps(function)
        def called(
            area: Path,
            out: Path | None,
            dry_run: bool,
            language: str,
            as_json: bool = False,
            strict: bool = False,
            **given: object,
        ) -> None:
            from habitatmap.read.layers import layers_of

            with layers_of(area):
                function(Call(area, out or area / place, name, as_json, strict, dry_run, language), **given)

        for option in reversed(options):
            option(called)
        return click.command(name)(called)

    return decorate


semicolons = click.option(
    "--semicolons", is_flag=True, help="In csv files ; between the cells, for programs with a decimal comma."
)
"""What commands that write csv files take."""


def renamed(new: str) -> Callable[[click.Context, click.Parameter, object], None]:
    """What refuses an option of an earlier version, with its name of today."""

    def refuse(context: click.Context, option: click.Parameter, value: object) -> None:
        if value:
            raise click.UsageError(f"The option {option.opts[0]} is now called {new}.", context)

    return refuse


def say_counts(area: Area, spoken: Catalogue) -> None:
    """How many rows of each kind were read, accepted and set aside, and what each file is worth."""
    from habitatmap.sentences import Sentence, say
    from habitatmap.vocabulary.kinds import Kind
    from habitatmap.words.inputs import not_used, worth_lines
    from habitatmap.words.names import KIND_NAMES

    told = "{kind}: {read} read, {accepted} accepted, {set_aside} set aside"
    counts = ((kind, n) for kind, n in area.ledger.counts().items() if n["read"])
    lines = [say(told, kind=Sentence(KIND_NAMES[Kind(kind)]), **n) for kind, n in counts]
    unused = (say("not used: {what}", what=not_used(one)) for one in area.ledger.unused if one.to_do)
    for line in (*lines, *worth_lines(area.inputs), *unused):
        log.info("%s", spoken.say(line))


def tell_kept(season: Season, spoken: Catalogue) -> None:
    """Says which season was kept where, and as of which day."""
    from habitatmap.sentences import say

    told = say(
        "The season {name} is kept, as of {day}: {folder}",
        name=season.name,
        day=season.as_of,
        folder=str(season.folder.resolve()),
    )
    log.info("%s", spoken.say(told))


_since = [time.perf_counter(), time.process_time()]


@contextmanager
def stages_told(progress: Progress | None = None, spoken: Catalogue | None = None) -> Iterator[Callable[[str], None]]:
    """Gives what a stage of a run is to be begun with, which says so: on one line of a terminal, which is gone in the
    end, or else on a line for each. `spoken`: in which language."""
    from habitatmap.words.catalogue import ENGLISH
    from habitatmap.words.headline import SAME_YEARS, STAGES, WRITING_FILES

    say = (spoken or ENGLISH).say
    words = {stage.value: say(text) for stage, text in STAGES.items()}
    words |= {WRITING: say(WRITING_FILES), YEARS: say(SAME_YEARS)}
    progress = progress or Progress()
    if is_rewritable(sys.stderr):
        with on_one_line(progress, words, sys.stderr, say(LEFT)) as begin:
            yield begin
        return

    def begin_line(stage: str) -> None:
        progress.begin(stage)
        tell_cost()
        log.info("%s", words[stage])

    yield begin_line
    if progress.stage:
        tell_cost()
        _tell_shares(progress, words)


def _tell_shares(progress: Progress, words: Mapping[str, str]) -> None:
    """Says with -v which share of the time each stage took, the longest first."""
    took = {**progress.seconds, progress.stage: progress.elapsed}
    whole = sum(took.values()) or 1.0
    for stage in sorted(took, key=lambda one: -took[one]):
        log.debug("  %2.0f %%  %s", 100 * took[stage] / whole, words[stage])


def tell_cost() -> None:
    """Says with -v how many seconds have passed since this was last said, how many of them the processors worked (more
    where two did), and the most memory so far."""
    now, worked = time.perf_counter(), time.process_time()
    log.debug("  %.1f s, %.1f s of work%s", now - _since[0], worked - _since[1], _most_memory())
    _since[:] = now, worked


def _most_memory() -> str:
    """The most memory that this process has held; "" where the system doesn't tell."""
    if sys.platform == "win32":
        return ""
    import resource

    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss  # bytes on macOS, kB elsewhere
    return f", {most / (1e6 if sys.platform == 'darwin' else 1e3):,.0f} MB at most"
