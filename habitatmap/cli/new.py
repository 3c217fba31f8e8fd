"""`habitatmap new AREA`: start an area folder."""

from __future__ import annotations

import logging
import sys
from dataclasses import replace
from pathlib import Path

import click

from habitatmap.errors import InputError, UnprovenClassesError
from habitatmap.vocabulary.catalogues import LANGUAGES

log = logging.getLogger("habitatmap")


@click.command("new")
@click.argument("area", type=click.Path(path_type=Path))
@click.option("--demo", is_flag=True, help="Copy the demo town, an invented place with everything in it.")
@click.option("--osm", type=click.Path(path_type=Path), help="An OpenStreetMap extract (.osm.pbf).")
@click.option(
    "--names",
    default="",
    metavar="LANGUAGE",
    help="Take names in this language where the extract has them, such as fi.",
)
@click.option(
    "--language",
    type=click.Choice(["", *LANGUAGES]),
    default="",
    metavar="|".join(LANGUAGES),
    help="The language of the workbooks, and of pages and papers later.",
)
@click.option("--land-cover", type=click.Path(path_type=Path), help="A land-cover raster to use instead of map tags.")
@click.option(
    "--classes",
    default="",
    metavar="NAME|FILE",
    help="Which class table reads the raster, where it does not prove one: corine, worldcover, or a CSV of your own.",
)
@click.option("--boundary", type=click.Path(path_type=Path), help="A polygon: where forage counts and pools may go.")
@click.option("--json", "as_json", is_flag=True, help="Print what was written as JSON on stdout.")
def command(area: Path, demo: bool, as_json: bool, **given: Path | str | None) -> None:
    """Start the area folder AREA: whole or not at all, and never over a folder that holds something.

    It gets pools.xlsx and visits.xlsx to fill in, with lists and checks, and with --osm or --land-cover the ground.
    """
    from habitatmap.read.start import Given, new_area, new_demo

    if demo:
        if names := [f"--{name.replace('_', '-')}" for name, value in given.items() if value]:
            raise InputError(f"--demo copies the demo town as it is; leave out {' and '.join(names)}")
        new_demo(area)
    else:
        inputs = Given(**given)  # type: ignore[arg-type]  # click has made paths of the paths
        try:
            new_area(area, inputs, log.info)
        except UnprovenClassesError as fault:
            if not is_a_terminal():
                raise
            new_area(area, replace(inputs, classes=_chosen(str(fault))), log.info)
    if as_json:
        from habitatmap.export.formats import json_text

        click.echo(json_text(_written(area)), nl=False)
        return
    bare = not (demo or given["osm"] or given["land_cover"])
    click.echo(f"{area} is ready. Next: {f'fill in {area}/pools.xlsx' if bare else f'habitatmap map {area}'}")


def _written(area: Path) -> dict[str, object]:
    """The files of a new area; of layers the rows too."""
    import pyogrio

    files = sorted(path for path in area.rglob("*") if path.is_file())
    rows = {path: pyogrio.read_info(path)["features"] for path in files if path.suffix in (".gpkg", ".geojson")}
    listed = [{"file": path.relative_to(area).as_posix(), "rows": rows.get(path)} for path in files]
    return {"area": str(area.resolve()), "files": listed}


def is_a_terminal() -> bool:
    """Whether somebody is there to be asked."""
    return sys.stdin.isatty()


def _chosen(why: str) -> str:
    """The class table that a person chooses from a list, by its number or name; a path is taken as it is."""
    from habitatmap.read.class_proof import raster_tables

    names = raster_tables()
    click.echo(why, err=True)
    for number, name in enumerate(names, 1):
        click.echo(f"  {number}  {name}", err=True)
    answer = str(click.prompt("Number, name, or the path of a CSV", err=True)).strip()
    return names[int(answer) - 1] if answer.isdigit() and 0 < int(answer) <= len(names) else answer
