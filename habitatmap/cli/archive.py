"""`habitatmap archive AREA`: the searches as a Darwin Core Archive, for a records centre."""

from __future__ import annotations

import json

import click

from habitatmap.cli.options import Call, area_command, log


@area_command("archive", as_json="Print what the archive holds as JSON on stdout.")
@click.option("--observers", is_flag=True, help="Give the names of observers, who have agreed to it.")
@click.option(
    "--status",
    type=click.Choice(["detected", "present"]),
    default="detected",
    show_default=True,
    help="The words for found and not found: detected and notDetected, or present and absent as before 2026.",
)
def command(call: Call, observers: bool, status: str) -> None:
    """Write the searches of AREA as a Darwin Core Archive that a records centre can take.

    AREA/archive gets the zip, and a table of what is not given and why, whole or not at all. Private places are given
    as squares.
    """
    from habitatmap.export.archive import archive_bytes, archive_of, check_archive_settings
    from habitatmap.export.folder import Content, write_files
    from habitatmap.read.folder import area_folder
    from habitatmap.read.settings import read_settings
    from habitatmap.vocabulary.darwin_core import Status
    from habitatmap.words.archive import told_counts

    check_archive_settings(read_settings(area_folder(call.area)).archive)
    opened = call.open()
    if opened is None:
        return
    archive = archive_of(opened, Status(status), observers)
    summary = {**archive.counts, "not_given": {str(why): n for why, n in archive.reasons.items()}}
    files: dict[str, Content] = {"not_given.csv": archive.not_given, "summary.json": summary}
    if archive.counts["searches"]:
        files["darwin_core.zip"] = archive_bytes(archive, opened)
    write_files(call.target, files, "archive")
    spoken = call.spoken(opened)
    told = "\n".join(spoken.say(line) for line in told_counts(archive.counts, archive.reasons))
    click.echo(json.dumps(summary, indent=1) if call.as_json else told)
    log.info("%s", spoken.say("not_given.csv is for the team; the zip is what may be sent."))
    call.wrote("Archive", "darwin_core.zip" if archive.counts["searches"] else "not_given.csv", spoken)
    call.end(archive.needs_a_look)
