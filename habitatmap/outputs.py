"""What `map` writes: the pages, tables, layers, rasters and pictures of a result, as one folder."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from habitatmap.export.folder import write_folder
from habitatmap.export.formats import cog_bytes
from habitatmap.export.geopackage import write_geopackage
from habitatmap.export.looks import RASTER_LOOKS
from habitatmap.export.project import project_bytes
from habitatmap.export.styles import raster_qml, raster_sld
from habitatmap.export.summary import summary_text
from habitatmap.export.tables import text_files
from habitatmap.export.worked import FILE as STAGES
from habitatmap.export.worked import record_of, worked_text
from habitatmap.geo.engine import default_workers
from habitatmap.page import map_page, public_page
from habitatmap.paper.pictures import pictures
from habitatmap.result import Result
from habitatmap.words.catalogue import ENGLISH, Catalogue

PAGES: Mapping[str, Callable[[Result], str]] = {"map.html": map_page, "public_map.html": public_page}


def write(
    result: Result,
    folder: str | Path,
    pages: Mapping[str, Callable[[Result], str]] = PAGES,
    semicolons: bool = False,
    spoken: Catalogue = ENGLISH,
) -> None:
    """Writes a `Result` into `folder`, in the place of what the last run wrote there (export.folder.write_folder).

    `pages` makes the HTML files, by name; `semicolons` as in `csv_text`; `spoken`: the language of the pictures.
    Whatever is put into the folder in `_fill` is ours, and is in the manifest. Raises HabitatmapError where the disk is
    full or refuses; the old files are whole in that case.
    """
    record = record_of(result.findings.area)
    write_folder(Path(folder).resolve(), lambda fresh: _fill(result, fresh, pages, semicolons, spoken), "map", record)


def _fill(
    result: Result,
    folder: Path,
    pages: Mapping[str, Callable[[Result], str]],
    semicolons: bool,
    spoken: Catalogue,
) -> None:
    """Every file of the contract. Bytes are written by Python, which never takes a full disk for success."""
    (folder / STAGES).write_text(worked_text(result.findings.worked), encoding="utf-8", newline="\n")
    (folder / "summary.json").write_text(summary_text(result), encoding="utf-8", newline="\n")
    for name, content in text_files(result, semicolons).items():
        (folder / name).write_bytes(content)
    write_geopackage(result, folder / "habitatmap.gpkg")
    (folder / "habitatmap.qgz").write_bytes(project_bytes(result))
    (folder / "rasters").mkdir()
    with ThreadPoolExecutor(default_workers()) as threads:
        jobs = {name: threads.submit(cog_bytes, name, r, result.grid, result.crs) for name, r in result.rasters.items()}
        for name, job in jobs.items():
            (folder / "rasters" / f"{name}.tif").write_bytes(job.result())
            (folder / "rasters" / f"{name}.qml").write_bytes(raster_qml(RASTER_LOOKS[name]).encode())
            (folder / "rasters" / f"{name}.sld").write_bytes(raster_sld(RASTER_LOOKS[name]).encode())
    (folder / "pictures").mkdir()
    for name, content in pictures(result, spoken).items():
        (folder / "pictures" / name).write_bytes(content)
    for name, page in pages.items():
        (folder / name).write_text(page(result), encoding="utf-8", newline="\n")
