"""An area folder taken in: its tables as they were written, what of it is not used, and what would stop a map."""

from __future__ import annotations

import gc
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TypeVar

from habitatmap.errors import InputError
from habitatmap.errors.why import Why
from habitatmap.read.committed import taken_out
from habitatmap.read.corrected_rows import Correction
from habitatmap.read.corrections import read_corrections
from habitatmap.read.files import read_sheets
from habitatmap.read.folder import area_folder, find_all, not_used, nothing_to_map, stray_lines
from habitatmap.read.formats.archive import archive_of
from habitatmap.read.formats.raster import is_raster
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.groups import group_of, name_in
from habitatmap.read.hashes import hashes_of_inputs
from habitatmap.read.ledger import Unused
from habitatmap.read.readings import Readings, gone, kind_said, read_readings, stated_with, with_readings
from habitatmap.read.rows import sort_kinds
from habitatmap.read.settings import Settings, read_settings
from habitatmap.sentences import Sentence
from habitatmap.vocabulary.kinds import ENOUGH, Kind
from habitatmap.vocabulary.terms import Hazard

T = TypeVar("T")


@dataclass(frozen=True)
class Intake:
    """What an area folder holds, opened but not yet understood.

    `without`: pools that a file saved on the map page takes out, and the name of that file; `unused`: files and sheets
    that nothing is read from; `faults`: what stops a map, in the order found; `hashes`: of the files, before any was
    read.
    """

    folder: Path
    settings: Settings
    stated: Stated
    tables: Mapping[Kind, Sequence[Table]]
    rasters: Sequence[Path]
    hazards: Mapping[Hazard, Sequence[Path]]
    corrections: Sequence[Correction]
    without: tuple[Sequence[str], str]
    unused: Sequence[Unused]
    faults: Sequence[InputError]
    notes: Sequence[Sentence]
    readings: Readings
    hashes: Mapping[str, str]


@contextmanager
def uncollected() -> Iterator[None]:
    """While reading makes millions of small things, hardly any of them in a circle, Python does not look through all of
    them for such again and again: a third of the work."""
    collects = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collects:
            gc.enable()


@uncollected()
def take_in(path: Path, committed: Path | None = None, settings: Settings | None = None) -> Intake:
    """Opens everything that an area folder holds. What can't be opened becomes a fault, and the rest is taken in.

    committed: one more file of committed sites; settings: in place of area.toml's. InputError where the folder itself
    can't be read.
    """
    folder = area_folder(path)
    hashes = hashes_of_inputs(folder, committed)
    faults: list[InputError] = []

    def attempt(work: Callable[[], T], otherwise: T) -> T:
        try:
            return work()
        except InputError as fault:
            faults.append(fault)
            return otherwise

    if settings is None:
        settings = attempt(lambda: read_settings(folder), Settings())
    stated = Stated(
        columns=settings.columns.model_dump(),
        source_crs=settings.source_crs,
        crs=settings.crs,
        encoding=settings.encoding,
        tree_units=settings.units.trees.model_dump(exclude_none=True),
    )
    nothing: dict[Kind, list[Path]] = {}
    files = attempt(lambda: find_all(folder, settings), nothing)
    readings = attempt(lambda: read_readings(folder), Readings())
    used = {_in_folder(p, folder) for paths in files.values() for p in paths} | {settings.land_cover.classes or ""}
    left = not_used(folder, used)
    for unread in left:  # a file whose name tells nothing, of which somebody says what it holds
        holds = kind_said(readings, unread.file, unread.sheet, ())
        if holds is not None and unread.file not in used:
            files.setdefault(holds, []).append(folder / unread.file)
            used.add(unread.file)
    unused = [one for one in left if one.file not in used]
    without: list[str] = []
    if committed is not None:
        without, holds_sites = attempt(lambda: taken_out(committed), (without, False))
        if holds_sites:
            files[Kind.COMMITTED] = [*files.get(Kind.COMMITTED, []), committed]
    if not faults and not ENOUGH & files.keys():
        faults.append(InputError(nothing_to_map(folder)))
    names = {name_in(p, folder) for paths in files.values() for p in paths} | used
    tables: dict[Kind, list[Table]] = {}
    for kind, paths in files.items():
        for one in (p for p in paths if not is_raster(p)):
            before = len(faults)
            no_sheet: list[Table] = []
            for table in attempt(partial(_sheets, one, kind, stated, folder), no_sheet):
                told = table if table.unused is not None else with_readings(table, readings, names)
                if told.unused is None:
                    tables.setdefault(kind_said(readings, told.file, told.sheet, names) or kind, []).append(told)
                else:
                    unused.append(Unused(told.file, told.sheet, told.unused))
            unused += [Unused(name_in(one, folder), "", Why.UNREADABLE.of(fault=f)) for f in faults[before:]]
    unused = [_if_said(one, readings, names) for one in unused]
    stated, conflicts = stated_with(stated, readings, names)
    doubts = [*readings.faults, *conflicts, *gone(readings, [t for some in tables.values() for t in some])]
    return Intake(
        folder=folder,
        settings=settings,
        stated=stated,
        tables=sort_kinds({kind: found for kind, found in tables.items() if found}, stated),
        rasters=[p for p in files.get(Kind.LAND_COVER, []) if is_raster(p)],
        hazards={hazard: paths for hazard in Hazard if (paths := files.get(Kind(hazard), []))},
        corrections=attempt(lambda: read_corrections(folder), []),
        without=(without, committed.name if committed else ""),
        unused=unused,
        faults=faults,
        notes=[*stray_lines(names, settings), *doubts],
        readings=readings,
        hashes=hashes,
    )


def _if_said(one: Unused, readings: Readings, files: Collection[str]) -> Unused:
    """A file or sheet that nothing was used of: whether somebody says that it holds no records."""
    told = with_readings(Table(one.file, (), (), (), sheet=one.sheet), readings, files)
    return one if told.unused is None else one._replace(why=told.unused)


def _in_folder(path: Path, folder: Path) -> str:
    """The name in the folder itself of an input, or of the archive or the folder that it lies in."""
    inside = archive_of(path) or path
    return inside.relative_to(folder).parts[0] if inside.is_relative_to(folder) else inside.name


def _sheets(path: Path, kind: Kind, stated: Stated, folder: Path) -> list[Table]:
    known, group = stated.columns.get(kind, {}).values(), group_of(path, folder)
    return [replace(table, group=group) for table in read_sheets(path, known, stated.encoding, name_in(path, folder))]
