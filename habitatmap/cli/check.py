"""`habitatmap check AREA`: the same reading as `map`, without the run."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from habitatmap.cli.options import Call, area_command, log

if TYPE_CHECKING:
    from habitatmap.area import Account, Area
    from habitatmap.read.intake import Intake
    from habitatmap.words.catalogue import Catalogue


@area_command("check", as_json="Print the account as JSON on stdout.", strict="")
@click.option("--fix", is_flag=True, help="Write NAME.fix.csv beside each input: the rows to correct.")
@click.option("--semicolons", is_flag=True, help="In those, ; between the cells: for programs with a decimal comma.")
@click.option("--write-corrected", is_flag=True, help="Write corrected copies of your tables to AREA/check/corrected.")
def command(call: Call, fix: bool, semicolons: bool, write_corrected: bool) -> None:
    """Say how every file of AREA was understood; AREA/check gets a page for the person who corrects the sheets.

    With --fix the rows that need you are written beside each input, as NAME.fix.csv in that file's own columns. Correct
    them there and leave the file in the folder: it is read with its original. What you have corrected is never lost.
    readings.xlsx beside your files asks what nobody but you can know: what headings, words, names and units mean.

    Ends with 0: nothing needs a look; 1: something does; 2: the folder could not be read.
    """
    from habitatmap.area import Area, area_or_account
    from habitatmap.export.consents import write_consents
    from habitatmap.export.corrected import corrected_copies
    from habitatmap.export.formats import json_text
    from habitatmap.read.corrections import write_fixes
    from habitatmap.read.intake import take_in
    from habitatmap.reports.check import check, check_text, write_check
    from habitatmap.sentences import say

    call.check_target()
    intake = take_in(call.area)
    opened = area_or_account(intake)
    spoken = _spoken(call, intake)
    wanted = fix and not call.dry_run
    fixes = write_fixes(opened.folder, opened.ledger, semicolons, spoken.say) if wanted else []
    if isinstance(opened, Area) and not call.dry_run and (told := write_consents(opened, spoken)):
        log.info("%s", spoken.say(told))
    taught = "" if call.dry_run else _ask(intake, opened, spoken)
    found = check(opened, fixes)
    if not call.dry_run:
        copies = corrected_copies(intake, opened.ledger.corrections) if write_corrected else {}
        write_check(found, call.target, copies, spoken)
    fixed = "{file}: to correct {waiting} (new {new}), changed by somebody {changed}"
    for one in fixes:
        numbers = {"waiting": one.waiting, "new": one.new, "changed": one.changed}
        log.info("%s", spoken.say(say(fixed, file=one.file, **numbers)))
    click.echo(json_text(found.for_json()) if call.as_json else check_text(found, spoken), nl=False)
    if taught:
        log.info("%s", taught)
    if call.dry_run:
        call.wrote_nothing(spoken)
    else:
        call.wrote("How your files were read", "check.html", spoken)
    if found.needs_a_look:
        raise click.exceptions.Exit(1)


def _spoken(call: Call, intake: Intake) -> Catalogue:
    """The language of the page; English, and a word on it, where there are no words in the one that is asked for."""
    from habitatmap.errors import InputError
    from habitatmap.words.catalogue import ENGLISH

    try:
        return call.spoken(intake)
    except InputError as fault:
        log.info("%s", fault)
        return ENGLISH


def _ask(intake: Intake, opened: Area | Account, spoken: Catalogue) -> str:
    """Writes readings.xlsx with what is asked; a word on it, "" where it says all that it said before."""
    from habitatmap.errors import InputError
    from habitatmap.read.readings import with_questions, write_readings

    pools = opened.pool_names
    tables = [table for some in intake.tables.values() for table in some]
    try:
        readings = with_questions(intake.readings, opened.ledger, pools, tables)
        written = write_readings(opened.folder, readings, pools, spoken.say)
    except InputError as fault:
        return str(fault)
    return spoken.say("readings.xlsx: say there what headings, words and names mean") if written else ""
