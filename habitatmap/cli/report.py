"""`habitatmap report AREA`: two pages for the committee and the funder."""

from __future__ import annotations

import click

from habitatmap.cli.options import Call, area_command, stages_told


@area_command("report", as_json="Print the summary as JSON on stdout.")
def command(call: Call) -> None:
    """Report on AREA in two pages: done, found, next, cost, not known; PDF and HTML, written to AREA/report.

    Every number in it stands in the summary.json beside it.
    """
    from habitatmap.export.summary import summary_text
    from habitatmap.job import run
    from habitatmap.reports.council import write_report

    opened = call.open()
    if opened is None:
        return
    known = call.known(opened)
    spoken = call.spoken(opened)
    with stages_told(spoken=spoken) as begin:
        result = run(opened, say=begin, public=False, known=known)
    write_report(result, call.target, spoken)
    if call.as_json:
        click.echo(summary_text(result), nl=False)
    call.wrote("Report", "report.pdf", spoken)
    call.end(result.needs_a_look)
