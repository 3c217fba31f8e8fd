"""`habitatmap unpack FILE`: an area that was handed over."""

from __future__ import annotations

from pathlib import Path

import click

from habitatmap.cli.options import log


@click.command("unpack")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--into", type=click.Path(path_type=Path), help="The folder to make (default: FILE without .zip).")
@click.option(
    "--contacts",
    type=click.Path(path_type=Path),
    help="Its file of contacts (default: the one beside it, where there is one).",
)
@click.option("--json", "as_json", is_flag=True, help="Print what was unpacked as JSON on stdout.")
@click.option("--language", default="en", help="The language of what is told.")
def command(file: Path, into: Path | None, contacts: Path | None, as_json: bool, language: str) -> None:
    """Unpack FILE, which habitatmap pack wrote, into a new folder, whole or not at all.

    A file of contacts that came later goes into the unpacked area: habitatmap unpack NAME.contacts.zip --into AREA.
    """
    from habitatmap.export.formats import json_text
    from habitatmap.export.package import unpack
    from habitatmap.reports.package import unpacked_told
    from habitatmap.words.catalogue import spoken as words_in

    done = unpack(file, into, contacts)
    spoken = words_in(language, done.folder)
    if as_json:
        click.echo(json_text({"folder": str(done.folder), "files": done.files, "contacts": done.contacts}), nl=False)
    for line in unpacked_told(done):
        log.info("%s", spoken.say(line))
