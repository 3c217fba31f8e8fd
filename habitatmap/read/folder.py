"""What lies in an area folder: which file is which kind of input, and which files are none."""

from __future__ import annotations

import difflib
import re
import zipfile
from collections.abc import Collection, Sequence
from contextlib import suppress
from pathlib import Path

from habitatmap.errors import InputError
from habitatmap.errors.why import Reason, Why
from habitatmap.read.files import (
    SHEET_SUFFIXES,
    SUFFIXES,
    TEXT_SUFFIXES,
    VISITS,
    find_inputs,
    is_fix,
    read_tables,
    tables_in,
)
from habitatmap.read.formats.archive import archive_of, file_name, members
from habitatmap.read.formats.raster import RASTER_DRIVERS
from habitatmap.read.formats.table import Table
from habitatmap.read.groups import find_in_groups, group_folders
from habitatmap.read.layers import OWN, has_own_layers
from habitatmap.read.ledger import Unused
from habitatmap.read.settings import FILE_NAME, Settings
from habitatmap.sentences import Sentence, count, say
from habitatmap.vocabulary.kinds import GROUPS, NAMED, OF_GROUPS, OLD_NAMES, RASTERS, Kind

# kinds of files in which people send records, and which are not read
FOREIGN = frozenset(
    ".json .gpx .kml .kmz .doc .docx .odt .rtf .pdf .numbers .xlsb .fods .mdb .accdb .html .htm .tab .mif .dxf".split()
)
# what belongs to an area beside its inputs, by the stem of its name, and the folders that commands write or look into
OUR_WORKBOOKS = ("readings", "consent", "plan_status", "words", "people")
OUR_FOLDERS = frozenset(
    "overlays groups photos out check survey rounds sheets report outlook compare archive seasons person "
    "forgotten".split()
)
LIST_OF_FILES = "manifest.json"  # of a folder of results, and of a kept season
RESULTS = (LIST_OF_FILES, "summary.json", "check.html")
# what GIS programs keep beside a layer or a raster
PARTS = (".shx", ".dbf", ".prj", ".cpg", ".sbn", ".sbx", ".qpj", ".qix", ".qml", ".qmd", ".xml", ".ovr", ".tfw", ".gfs")
# a file that is no input is opened, to show what it holds, where it has no more bytes
LOOKED_INTO = 5_000_000
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
    for kind in NAMED:
        files[kind] += find_in_groups(folder, kind)
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


def not_used(folder: Path, used: Collection[str], group: bool = False) -> list[Unused]:
    """What lies in the folder and is no input, by name, with why; `used`: the names of inputs and of what belongs to
    the area besides. Marks of programs, parts of layers and results of earlier runs are not told."""
    found = []
    for path in sorted(folder.iterdir(), key=lambda p: p.name):
        ours = not group and (path.name in (FILE_NAME, LIST_OF_FILES) or _is_our_workbook(path))
        ours = ours or (path.name == OWN and has_own_layers(folder))
        if path.suffix.casefold() == ".zip" and _holds_groups(path):
            found.append(Unused(path.name, "", Why.GROUPS_IN_ZIP))
        elif ours or is_fix(path) or path.name in used or path.name.startswith((".", "~$")):
            continue
        elif path.is_dir():
            if path.name.casefold() == VISITS:
                continue
            if path.name.casefold() not in OUR_FOLDERS and not any((path / mark).exists() for mark in RESULTS):
                found.append(Unused(f"{path.name}/", "", _folder_told(path)))
        elif not _is_part(path):
            found += _told(path)
    found += _not_used_of_visits(folder)
    return found if group else [*found, *_not_used_in_groups(folder)]


def _not_used_of_visits(folder: Path) -> list[Unused]:
    """What lies in the folder visits/ and is no table."""
    inside = (
        p for top in sorted(folder.iterdir()) if top.is_dir() and top.name.casefold() == VISITS for p in top.iterdir()
    )
    other = (p for p in sorted(inside) if p.suffix.casefold() not in SUFFIXES and not p.name.startswith((".", "~$")))
    return [
        Unused(f"{VISITS}/{p.name}", "", Why.OTHER_FOLDER if p.is_dir() else Why.FOREIGN_FILE)
        for p in other
        if not _is_part(p)
    ]


def _not_used_in_groups(folder: Path) -> list[Unused]:
    """What lies in the folders of groups and is none of their inputs."""
    found = []
    for group in group_folders(folder):
        inputs = (p for kind in OF_GROUPS for p in find_inputs(group, kind))
        for one in not_used(group, {p.relative_to(group).parts[0] for p in inputs}, group=True):
            kind = Kind.of_stem(Path(one.file).stem)
            why = one.why if kind is None or kind in OF_GROUPS else Why.NOT_OF_A_GROUP
            found.append(one._replace(file=f"{group.parent.name}/{group.name}/{one.file}", why=why))
    tops = (p for p in sorted(folder.iterdir()) if p.is_dir() and p.name.casefold() == GROUPS)
    loose = (p for top in tops for p in sorted(top.iterdir()) if p.is_file() and not p.name.startswith("."))
    return [*found, *(Unused(f"{p.parent.name}/{p.name}", "", Why.IN_NO_GROUP) for p in loose)]


def _holds_groups(archive: Path) -> bool:
    """Whether a zip holds the folder of an area's groups."""
    if not zipfile.is_zipfile(archive):
        return False
    return any(GROUPS in map(str.casefold, p.relative_to(archive).parts[:-1]) for p in members(archive))


def _is_our_workbook(path: Path) -> bool:
    return path.suffix.lower() in (*SHEET_SUFFIXES, *TEXT_SUFFIXES) and path.stem.partition(".")[0] in OUR_WORKBOOKS


def _folder_told(path: Path) -> Reason:
    tables = sum(p.suffix.lower() in SUFFIXES for p in path.iterdir())
    return Why.FOLDER_WITH_TABLES.of(tables=count(tables, "table")) if tables else Why.OTHER_FOLDER


def _is_part(path: Path) -> bool:
    """Whether a file belongs to a layer or a raster of the same name, as GIS programs keep them."""
    if not path.name.lower().endswith(PARTS):
        return False
    others = (p for p in path.parent.iterdir() if not p.name.lower().endswith(PARTS))
    return any(path.name.startswith(f"{other.stem}.") for other in others)


def _told(path: Path) -> list[Unused]:
    """Why a file that is no input is not used: once for each of its tables, where it has any."""
    tables, told = _tables_and_why(path)
    return [Unused(path.name, table.sheet, told, table) for table in tables] or [Unused(path.name, "", told)]


def _tables_and_why(path: Path) -> tuple[list[Table], Reason]:
    suffix = path.suffix.lower()
    if looks_like_class_table(path):
        return [], Why.SPARE_CLASS_TABLE.of(name=path.name)
    if suffix in (*RASTER_DRIVERS, *SUFFIXES) and (kind := _meant(path.name)):
        return [], Why.LIKE_AN_INPUT.of(name=f"{kind}_2{path.suffix}")
    if _is_foreign(path.name):
        return [], Why.FOREIGN_FILE
    if suffix == ".zip" and not zipfile.is_zipfile(path):
        return [], Why.UNREADABLE.of(fault=Sentence("it cannot be unpacked, so nobody knows whether inputs lie in it"))
    if suffix == ".zip" and any(p.suffix.lower() in (*SUFFIXES, ".zip") for p in members(path)):
        return [], Why.ARCHIVE
    if suffix in (*TEXT_SUFFIXES, *SHEET_SUFFIXES) and path.stat().st_size <= LOOKED_INTO:
        try:
            tables = [t for t in read_tables(path) if len(t) and len(t.headings) > 1]
        except InputError as fault:
            return [], Why.UNREADABLE.of(fault=str(fault)) if suffix != ".txt" else Why.OTHER_FILE
        return tables, Why.OTHER_NAME if tables else Why.OTHER_FILE
    return [], Why.OTHER_FILE


def stray_lines(used: Collection[str], settings: Settings) -> list[Sentence]:
    """A word on each line of area.toml that names a file which is no input."""
    return [
        say("area.toml: [{key}] names {file}, which is no input", key=key, file=n)
        for key, lines in (("source_crs", settings.source_crs), ("encoding", settings.encoding))
        for n in lines
        if n not in used
    ]


def looks_like_class_table(path: Path) -> bool:
    """Whether a CSV has the headings of a class table."""
    if path.suffix.lower() != ".csv" or not path.is_file():
        return False
    with path.open("rb") as file:
        heads = re.split(r"[,;\s\"]+", file.readline(10_000).decode("utf-8-sig", errors="replace"))
    return "code" in heads and bool({"forage_01", "like"} & set(heads))
