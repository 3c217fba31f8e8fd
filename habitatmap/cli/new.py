"""`habitatmap new AREA`: start an area folder."""

from __future__ import annotations

import logging
from pathlib import Path

import click

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
@click.option("--land-cover", type=click.Path(path_type=Path), help="A land-cover raster to use instead of map tags.")
@click.option("--boundary", type=click.Path(path_type=Path), help="A polygon: where forage counts and pools may go.")
def command(
    area: Path, demo: bool, osm: Path | None, names: str, land_cover: Path | None, boundary: Path | None
) -> None:
    """Start the area folder AREA: whole or not at all, and never over a folder that holds something.

    It gets pools.xlsx and visits.xlsx to fill in, with lists and checks, and with --osm or --land-cover the ground.
    """
    from habitatmap.read.start import new_area

    new_area(area, osm=osm, land_cover=land_cover, boundary=boundary, language=names, demo=demo, say=log.info)
    bare = not (demo or osm or land_cover)
    click.echo(f"{area} is ready. Next: {f'fill in {area}/pools.xlsx' if bare else f'habitatmap map {area}'}")
