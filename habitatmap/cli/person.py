"""`habitatmap person AREA NAME`: what a folder holds of somebody, given to them or forgotten."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from habitatmap.cli.options import Call, area_command, log

if TYPE_CHECKING:
    from collections.abc import Sequence

    from habitatmap.persons.folder import Hits
    from habitatmap.persons.forget import Forgotten
    from habitatmap.persons.spelling import Person
    from habitatmap.words.catalogue import Catalogue


@area_command("person", as_json="Print what was found as JSON on stdout.", strict="")
@click.argument("name", default="")
@click.option("--also", multiple=True, metavar="TEXT", help="Another spelling, a mail address or a telephone number.")
@click.option("--export", is_flag=True, help="Write what was found to AREA/person, to give to the person.")
@click.option("--forget", is_flag=True, help="Say what taking the person out of all files would change.")
@click.option("--yes", is_flag=True, help="With --forget: do it. The files are changed, and no copy is kept.")
@click.option(
    "--older-than",
    type=click.IntRange(min=0),
    metavar="YEARS",
    help="In place of NAME: all observers whose last visit is older than so many years.",
)
def command(
    call: Call, name: str, also: Sequence[str], export: bool, forget: bool, yes: bool, older_than: int | None
) -> None:
    """Find every place in AREA that names a person: in inputs, notes, names of files, what photos say of themselves,
    kept seasons and results. What is written nearly so is listed: give it with --also where it is meant.

    --export gives it to them, as one folder with a list. --forget takes the person out: an observer's name becomes
    "observer 7" wherever it stands, mail addresses and telephone numbers go; results are deleted, to be made again.
    Figures stay as they are. Nothing is changed without --yes.

    Ends with 0: nothing is left to do; 1: something is to be done by hand, or spellings are to be looked at; 2: the
    folder could not be read.
    """
    from habitatmap.persons.folder import search
    from habitatmap.persons.forget import complete
    from habitatmap.persons.told import found_told
    from habitatmap.read.folder import area_folder

    area = area_folder(call.area)
    people = _people(call, name, also, older_than)
    spoken = _language(call)
    if complete(area):
        log.info("%s", spoken.say("A run that was stopped while it forgot somebody was completed first."))
    if not people:
        click.echo(spoken.say("No observer's last visit is so old."))
        return
    hits = search(area, people)
    if not forget:
        click.echo(
            json.dumps(_as_json(hits), ensure_ascii=False, indent=1)
            if call.as_json
            else _said(found_told(hits), spoken)
        )
        if export and not call.dry_run:
            _export(call, people, hits, spoken)
    else:
        _forget(call, people, hits, spoken, do=yes and not call.dry_run)
    if (hits.near or hits.unread) and not (forget and yes):
        raise click.exceptions.Exit(1)


def _language(call: Call) -> Catalogue:
    from habitatmap.errors import InputError
    from habitatmap.read.settings import read_settings
    from habitatmap.words.catalogue import ENGLISH, spoken

    try:
        return spoken(call.language or read_settings(call.area).language, call.area)
    except InputError as fault:  # a folder with a fault in its settings can be searched all the same
        log.info("%s", fault)
        return ENGLISH


def _people(call: Call, name: str, also: Sequence[str], older_than: int | None) -> list[Person]:
    """Who is looked for. Raises UsageError where nobody is named."""
    from habitatmap.persons.spelling import Person

    if older_than is None:
        if not name:
            raise click.UsageError("Give the name of a person, or --older-than YEARS.")
        return [Person([name, *also])]
    if name or also:
        raise click.UsageError("--older-than stands in place of a name.")
    from habitatmap.area import open_area
    from habitatmap.read.observers import last_seen_before

    area = open_area(call.area)
    return [Person([one]) for one in last_seen_before(area.visits, area.as_of, older_than)]


def _said(told: Sequence[str], spoken: Catalogue) -> str:
    return "\n".join(spoken.say(one) for one in told)


def _as_json(hits: Hits) -> dict[str, object]:
    return {
        "found": [
            {"file": one.file, "where": str(one.where), "what": one.what, "spelling": one.spelling, "text": one.about}
            for one in hits.found
        ],
        "near": [
            {
                "spelling": spelling,
                "times": n,
                "file": hits.near_at[spelling][0],
                "where": str(hits.near_at[spelling][1]),
            }
            for spelling, n in hits.near.most_common()
        ],
        "not_searched": {file: str(why) for file, why in hits.unread.items()},
    }


def _export(call: Call, people: Sequence[Person], hits: Hits, spoken: Catalogue) -> None:
    """AREA/person: a list that a person reads, and the same as a table."""
    import pandas as pd

    from habitatmap.export.folder import Content, write_files
    from habitatmap.persons.told import found_told

    call.check_target()
    rows = [(one.file, spoken.say(one.where), spoken.say(str(one.what)), one.about) for one in hits.found]
    table = pd.DataFrame(rows, columns=["file", "where", "what", "text"])
    text = [", ".join(one for person in people for one in person.said), "", _said(found_told(hits), spoken), ""]
    lines = [f"{file}, {where}: {about}" for file, where, _, about in rows]
    files: dict[str, Content] = {"found.csv": table, "list.txt": "\n".join([*text, *lines]) + "\n"}
    write_files(call.target, files, "person")
    call.wrote("What the folder holds of the person", "list.txt", spoken)


def _forget(call: Call, people: Sequence[Person], hits: Hits, spoken: Catalogue, *, do: bool) -> None:
    """Takes them out, and says what that was or would be."""
    from contextlib import ExitStack

    from habitatmap.export.folder import held
    from habitatmap.persons.folder import results_in
    from habitatmap.persons.forget import forget, left_over
    from habitatmap.persons.told import forgotten_told

    if not hits.found:
        click.echo(spoken.say("Nothing names the person."))
        return
    with ExitStack() as stack:
        for folder in (call.area, *results_in(call.area)) if do else ():
            stack.enter_context(held(folder))
        done = forget(call.area, people, hits, do=do)
    left = left_over(call.area, people) if do else None
    told = _said(forgotten_told(done, left, do=do), spoken)
    click.echo(told)
    if not do:
        click.echo(
            spoken.say("Nothing was changed. To do it, say --yes; make a copy of your own first if you need one.")
        )
        return
    receipt = _receipt(call, done, told)
    log.info("%s: %s", spoken.say("Receipt"), receipt)
    if done.by_hand or (left and left.found):
        raise click.exceptions.Exit(1)


def _receipt(call: Call, done: Forgotten, told: str) -> str:
    """AREA/forgotten/observer_7.txt: what was done, and nothing of the person."""
    folder = call.area / "forgotten"
    folder.mkdir(exist_ok=True)
    path = folder / f"{done.called[0].called.replace(' ', '_')}.txt"
    path.write_text(f"{told}\n", encoding="utf-8", newline="\n")
    return str(path.resolve())
