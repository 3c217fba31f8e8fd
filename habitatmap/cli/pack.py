"""`habitatmap pack AREA`: everything of an area in one file to hand over, its contacts in a second one."""

from __future__ import annotations

from pathlib import Path

import click

from habitatmap.cli.options import log


@click.command("pack")
@click.argument("area", type=click.Path(path_type=Path))
@click.option("-o", "--out", type=click.Path(path_type=Path), help="Write this zip (default: AREA.zip).")
@click.option("--json", "as_json", is_flag=True, help="Print what was written as JSON on stdout.")
@click.option("--language", default="", help="The language of what is told (default: area.toml's).")
@click.option("--dry-run", is_flag=True, help="Tell what it would hold of persons, write nothing.")
def command(area: Path, out: Path | None, as_json: bool, language: str, dry_run: bool) -> None:
    """Pack AREA to hand it over: inputs, settings, layers, results, kept seasons and versions.

    What it holds of persons is told first. Owners, contacts, hosts and telephones go into a second file beside it,
    NAME.contacts.zip. habitatmap unpack makes the area of both again, byte for byte.
    """
    from habitatmap.area import open_area
    from habitatmap.errors import InputError
    from habitatmap.export.formats import json_text
    from habitatmap.export.package import packing_of, write_package
    from habitatmap.page.sections import terminal
    from habitatmap.reports.package import persons_told
    from habitatmap.words.catalogue import spoken as words_in
    from habitatmap.words.sentences import say

    opened = open_area(area)
    spoken = words_in(language or opened.settings.language, area)
    path = out or Path(f"{area.resolve().name}.zip")
    if path.suffix.casefold() != ".zip":
        raise InputError(f"{path} is no name of a package: give one that ends in .zip")
    if path.resolve().is_relative_to(area.resolve()):
        raise InputError(f"{path} lies in the area itself: give a place outside it with -o")
    packed = packing_of(area)
    about = terminal(map(spoken.say, persons_told(opened, packed)))
    click.echo(about, nl=False, err=as_json)
    if dry_run:
        log.info("%s", spoken.say(say("Dry run: {folder} would be written; nothing was.", folder=str(path))))
        return
    written = write_package(packed, path, about)
    if as_json:
        click.echo(json_text({"wrote": [str(one) for one in written]}), nl=False)
    for one in written:
        log.info("%s", spoken.say(say("Packed: {file}", file=str(one.resolve()))))
