"""What lies in an area folder: which file is which kind of input, and which files are none."""

from __future__ import annotations

import difflib
import re
import zipfile
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path

from habitatmap.errors import InputError
from habitatmap.read.files import SUFFIXES, find_inputs, is_fix, tables_in
from habitatmap.read.formats.archive import archive_of, file_name
from habitatmap.read.formats.raster import RASTER_DRIVERS
from habitatmap.read.settings import FILE_NAME, Settings
from habitatmap.vocabulary.kinds import NAMED, OLD_NAMES, RASTERS, Kind

# kinds of files in which people send records, and which are not read
FOREIGN = frozenset(
    ".json .gpx .kml .kmz .doc .docx .odt .rtf .pdf .numbers .xlsb .fods .mdb .accdb .html .htm .tab .mif .dxf".split()
)
SAVE_AS = "save it as csv, xlsx, ods, gpkg or geojson (GeoJSON must end in .geojson)"


def area_folder(path: Path) -> Path:
    if not path.exists():
        raise InputError(f"{path.name or path} does not exist; expected an area folder, start one with: habitatmap new")
    if not path.is_dir():
        raise InputError(f"{path.name} is a file; expected the area folder that holds it")
    return path


def find_all(folder: Path, settings: Settings) -> dict[Kind, list[Path]]:
    """The files of each kind that the folder holds, in the order of their names. InputError for a name of old."""
    _refuse_old_names(folder)
    files: dict[Kind, list[Path]] = {kind: find_inputs(folder, kind) for kind in NAMED}
    files[Kind.LAND_COVER] = _cover_files(folder, settings)
    files |= {kind: _rasters(folder, kind, files[kind]) for kind in RASTERS}
    overlays = folder / Kind.OVERLAYS
    if overlays.is_dir():
        given = (p for p in overlays.iterdir() if p.suffix.lower() in (*SUFFIXES, ".zip") and not is_fix(p))
        files[Kind.OVERLAYS] = sorted((t for p in given for t in tables_in(p)), key=file_name)
    return {kind: paths for kind, paths in files.items() if paths}


def _refuse_old_names(folder: Path) -> None:
    for path in sorted(folder.iterdir()):
        inside: list[Path] = []
        if path.suffix.casefold() == ".zip" and path.is_file():
            with suppress(InputError):  # whether a broken archive matters is said when its files are looked for
                inside = tables_in(path)
        for one in (path, *inside):
            old = one.stem.casefold().partition("_")[0]
            if old in OLD_NAMES and one.suffix.casefold() in (*SUFFIXES, ".zip"):
                new = OLD_NAMES[old] + one.name[len(old) :]
                raise InputError(f"{file_name(one)}: {old}.* is now called {OLD_NAMES[old]}.*; rename the file {new}")


def _rasters(folder: Path, kind: Kind, tables: Sequence[Path]) -> list[Path]:
    """The rasters of a kind that has no other files. InputError where it has tables or shapes."""
    if tables:
        raise InputError(
            f"{file_name(tables[0])} is no raster; expected {kind}.tif, or the shapes in keep_away.*, their kind {kind}"
        )
    found = [p for p in folder.iterdir() if p.suffix.lower() in RASTER_DRIVERS and Kind.of_stem(p.stem) is kind]
    return sorted(found, key=file_name)


def _cover_files(folder: Path, settings: Settings) -> list[Path]:
    named = settings.land_cover.file
    if named is not None:
        path = folder / named
        if not path.is_file():
            names = sorted(p.name for p in folder.iterdir() if p.is_file())
            close = difflib.get_close_matches(named, names, n=1)
            hint = f"did you mean {close[0]}?" if close else "put the file there or correct the line"
            raise InputError(f"{FILE_NAME}: land_cover.file is {named}, which is not in the folder; {hint}")
        return [path]
    found = [
        p
        for p in folder.iterdir()
        if Kind.of_stem(p.stem) is Kind.LAND_COVER
        and p.suffix.lower() in (*RASTER_DRIVERS, *SUFFIXES)
        and p.name != settings.land_cover.classes
        and not is_fix(p)
        and not looks_like_class_table(p)
    ]
    found += [p for p in find_inputs(folder, Kind.LAND_COVER) if p not in found and archive_of(p)]
    return sorted(found, key=file_name)


def nothing_to_map(folder: Path) -> str:
    names = sorted(p.name for p in folder.iterdir() if not p.name.startswith("."))
    if not names:
        return f"{folder.name or folder} is an empty folder; expected pools.csv or land_cover.tif, or both, in it"
    close = next((f"did you mean {n} to be {k}{Path(n).suffix}?" for n in names if (k := _meant(n))), "put one there")
    close = next((f"{n} is of a kind that is not read; {SAVE_AS}" for n in names if _is_foreign(n)), close)
    return f"{folder.name or folder} holds neither pools.* nor land_cover.*, and one of them is needed; {close}"


def _is_foreign(name: str) -> bool:
    """Whether a file has the name of an input, and is of a kind in which people send records but that is not read."""
    path = Path(name.lower())
    return path.suffix in FOREIGN and Kind.of_stem(path.stem) is not None


def _meant(name: str) -> str:
    """The kind of input a file may be meant for, "" where its name is like none."""
    path = Path(name)
    if path.suffix.lower() not in (*RASTER_DRIVERS, *SUFFIXES):
        return ""
    # "pools (1).csv" and "pools - copy.xlsx" begin with the word; whether they add to the first one nobody can know
    word = re.match(r"[^\W\d]+", path.stem.lower())
    close = [word[0]] if word and word[0] in NAMED else difflib.get_close_matches(path.stem.lower(), NAMED, 1, 0.75)
    return close[0] if close else ""


def unused(folder: Path, files: Mapping[Kind, Sequence[Path]], settings: Settings) -> list[str]:
    """A word on files that look like inputs under a wrong name, and on [source_crs] lines that name no file."""
    used = {file_name(p) for paths in files.values() for p in paths} | {settings.land_cover.classes}
    notes = [
        f'{p.name} looks like a class table; to use it, add to area.toml: [land_cover] classes = "{p.name}".'
        for p in sorted(folder.iterdir())
        if p.name not in used and looks_like_class_table(p)
    ]
    notes += [
        f"{p.name} is not read: the name of an input is expected, such as {kind}{p.suffix}"
        for p in sorted(folder.iterdir())
        if p.is_file()
        and p.name not in used
        and not is_fix(p)
        and not looks_like_class_table(p)
        and (kind := _meant(p.name))
    ]
    notes += [
        f"{p.name} is not read, as its kind of file is none of those of inputs; {SAVE_AS}."
        for p in sorted(folder.iterdir())
        if _is_foreign(p.name)
    ]
    notes += [
        f"{p.name} is not read: it cannot be unpacked, so nobody knows whether inputs lie in it."
        for p in sorted(folder.glob("*.zip"))
        if p.name not in used and not zipfile.is_zipfile(p)
    ]
    lines = [
        f"{FILE_NAME}: [{key}] names {n}, which is no input"
        for key, lines in (("source_crs", settings.source_crs), ("encoding", settings.encoding))
        for n in lines
        if n not in used
    ]
    return notes + lines


def looks_like_class_table(path: Path) -> bool:
    """Whether a CSV has the headings of a class table."""
    if path.suffix.lower() != ".csv" or not path.is_file():
        return False
    with path.open("rb") as file:
        heads = re.split(r"[,;\s\"]+", file.readline(10_000).decode("utf-8-sig", errors="replace"))
    return "code" in heads and bool({"forage_01", "like"} & set(heads))
