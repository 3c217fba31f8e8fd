"""What `map` writes: the pages, tables, layers, rasters and pictures of a result, as one folder."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

from rasterio.env import Env

from habitatmap.export.folder import write_folder
from habitatmap.export.formats import write_cog
from habitatmap.export.geopackage import write_geopackage
from habitatmap.export.looks import RASTER_LOOKS
from habitatmap.export.project import project_bytes
from habitatmap.export.styles import raster_qml, raster_sld
from habitatmap.export.summary import summary_of, summary_text
from habitatmap.export.tables import text_files, told_tables
from habitatmap.export.worked import FILE as STAGES
from habitatmap.export.worked import record_of, worked_text
from habitatmap.geo import scratch
from habitatmap.geo.engine import default_workers
from habitatmap.page import Tiles, map_page, public_page
from habitatmap.paper.pictures import pictures
from habitatmap.result import Result
from habitatmap.words.catalogue import ENGLISH, Catalogue
from habitatmap.words.catalogue import spoken as words_in
from habitatmap.words.prompt import result_lines, result_table

Pages = Mapping[str, Callable[[Result], str]]


def pages_in(language: Catalogue, tiles: Tiles | None = None) -> Pages:
    """What makes the map pages, by the name of their file, in a language and with an online background."""
    return {
        "map.html": lambda result: map_page(result, language, tiles),
        "public_map.html": lambda result: public_page(result, language=language, tiles=tiles),
    }


@dataclass(frozen=True)
class Files:
    """What a result writes and shows with, in the language of area.toml (result.Outputs).

    `make_public`: the result for the area as the public may see it, which costs about as much as the team's.
    """

    make_public: Callable[[], Result]

    @cached_property
    def public(self) -> Result:
        """The result for the public, made once."""
        return self.make_public()

    def write(self, result: Result, folder: Path) -> None:
        """Writes the folder, whole or not at all."""
        write(self._whole(result), folder, spoken=_language_of(result))

    def page(self, result: Result, public: bool) -> str:
        """The map page as HTML: the team's, or the one for everybody."""
        pages = pages_in(_language_of(result))
        return pages["public_map.html"](self._whole(result)) if public else pages["map.html"](result)

    def summary(self, result: Result) -> dict[str, object]:
        """The content of summary.json."""
        return summary_of(result)

    def lines(self, result: Result) -> str:
        """A few lines of text."""
        return result_lines(result)

    def table(self, result: Result) -> str:
        """A short table as HTML."""
        return result_table(result)

    def _whole(self, result: Result) -> Result:
        return result if result.public is not None else replace(result, public=self.public)


def _language_of(result: Result) -> Catalogue:
    return words_in(result.settings.language, result.findings.area.folder)


def write(
    result: Result,
    folder: str | Path,
    pages: Pages | None = None,
    semicolons: bool = False,
    spoken: Catalogue = ENGLISH,
) -> None:
    """Writes a `Result` into `folder`, in the place of what the last run wrote there (export.folder.write_folder).

    `pages` makes the HTML files, by name; else they are `pages_in(spoken)`. `semicolons` as in `csv_text`; `spoken`:
    the language of the pictures. Whatever is put into the folder in `_fill` is ours, and is in the manifest. Raises
    HabitatmapError where the disk is full or refuses; the old files are whole in that case.
    """
    record, made = record_of(result.findings.area), pages or pages_in(spoken)
    write_folder(Path(folder).resolve(), lambda fresh: _fill(result, fresh, made, semicolons, spoken), "map", record)


def _fill(
    result: Result,
    folder: Path,
    pages: Pages,
    semicolons: bool,
    spoken: Catalogue,
) -> None:
    """Every file of the contract. Bytes are written by Python, which never takes a full disk for success."""
    scratch.drop_unused()  # what is written needs room too
    (folder / STAGES).write_text(worked_text(result.findings.worked), encoding="utf-8", newline="\n")
    (folder / "summary.json").write_text(summary_text(result), encoding="utf-8", newline="\n")
    _write_tables(result, folder, semicolons)
    (folder / "habitatmap.qgz").write_bytes(project_bytes(result))
    (folder / "rasters").mkdir()
    with ThreadPoolExecutor(default_workers()) as threads:
        jobs = {
            name: threads.submit(write_cog, folder / "rasters" / f"{name}.tif", name, raster, result.grid, result.crs)
            for name, raster in result.rasters.items()
        }
        for name, job in jobs.items():
            job.result()
            (folder / "rasters" / f"{name}.qml").write_bytes(raster_qml(RASTER_LOOKS[name]).encode())
            (folder / "rasters" / f"{name}.sld").write_bytes(raster_sld(RASTER_LOOKS[name]).encode())
    with Env():  # else GDAL would be set up anew for each picture
        for name, page in pages.items():
            scratch.give_back()
            (folder / name).write_text(page(result), encoding="utf-8", newline="\n")
    (folder / "pictures").mkdir()  # last: what draws them keeps memory, which the pages would need beside
    for name, content in pictures(result, spoken):
        (folder / "pictures" / name).write_bytes(content)
        scratch.give_back()


def _write_tables(result: Result, folder: Path, semicolons: bool) -> None:
    tables = told_tables(result)
    for name, content in text_files(result, semicolons, tables).items():
        (folder / name).write_bytes(content)
    write_geopackage(result, folder / "habitatmap.gpkg", tables)
