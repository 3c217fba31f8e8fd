"""The hashes of what an area was read from, by which a later run knows that nothing has changed."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path

from habitatmap.errors import InputError
from habitatmap.read.files import SUFFIXES, VISITS
from habitatmap.read.folder import LIST_OF_FILES
from habitatmap.read.formats.raster import RASTER_DRIVERS
from habitatmap.read.layers import kept, layer_files
from habitatmap.read.people import STEM as PEOPLE
from habitatmap.read.photos import FOLDER as PHOTOS
from habitatmap.read.plan_status import digest_of
from habitatmap.vocabulary.kinds import GROUPS, Kind

SQLITE = b"SQLite format 3\0"
# bytes of a SQLite file that change by its being opened: versions of reading and writing, counters of changes
OPENED = ((18, 20), (24, 28), (92, 100))
CHUNK = 1 << 20
UNKNOWN = ""
WHOLE = frozenset([*SUFFIXES, *RASTER_DRIVERS, ".dbf", ".shx", ".toml", ".zip"])  # files that are read to their end


def fingerprint(path: Path) -> str:
    """The SHA-256 of a file. Of a GeoPackage or other SQLite file, without what changes by its being opened."""
    told = hashlib.sha256()
    with path.open("rb") as file:
        head = bytearray(file.read(CHUNK))
        if head.startswith(SQLITE):
            for start, end in OPENED:
                head[start:end] = bytes(end - start)
        told.update(head)
        while chunk := file.read(CHUNK):
            told.update(chunk)
    return told.hexdigest()


def hashes_of_inputs(folder: Path, committed: Path | None = None) -> dict[str, str]:
    """Name in the area folder -> hash, of every file there that an input may be, used or not; and of the further file
    of `committed` sites. UNKNOWN for what can't be opened. Results are none. Of photos, and of files of kinds that are
    not read, the first part and the size tell enough; of plan_status.*, which `map` itself writes, what somebody wrote.
    """
    found = {}
    for path in input_files(folder):
        if Kind.of_stem(path.stem) is Kind.PLAN_STATUS:
            try:
                if written := digest_of(path):
                    found[path.relative_to(folder).as_posix()] = written
            except InputError:  # its reader says so
                found[path.relative_to(folder).as_posix()] = UNKNOWN
            continue
        hashed = fingerprint if path.suffix.casefold() in WHOLE else _of_first_part
        try:
            told = hashed(path)
        except OSError:  # held by another program: its reader says so, where it is an input
            told = UNKNOWN
        found[path.relative_to(folder).as_posix()] = told
    if committed is not None and committed.is_file():
        found[f"--committed {committed.name}"] = fingerprint(committed)
    return found


def input_files(folder: Path) -> list[Path]:
    """Every file of an area folder that an input may be, in order; results and kept seasons are none."""
    return sorted(_inputs(folder))


def _inputs(folder: Path) -> Iterator[Path]:
    for path in folder.iterdir():
        if path.name.startswith((".", "~$")) or path.name == LIST_OF_FILES:
            continue
        if path.is_file() and path.stem.casefold() != PEOPLE:  # who goes on rounds: no map, season or package has it
            yield path
        elif path.is_dir() and path.name.casefold() in (Kind.OVERLAYS, GROUPS, PHOTOS, VISITS):
            yield from (p for p in path.rglob("*") if p.is_file() and not p.name.startswith((".", "~$")))


def _of_first_part(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.sha256(file.read(CHUNK) + str(path.stat().st_size).encode()).hexdigest()


@cache
def hash_of_program() -> str:
    """A hash of the program itself."""
    package = Path(__file__).parents[1]
    return _hash_of({path.relative_to(package).as_posix(): path for path in package.rglob("*.py")})


@kept
def hash_of_layers() -> str:
    """A hash of the tables of layers that are in force, the program's or the area's own, which people may change."""
    return _hash_of(layer_files())


def _hash_of(files: Mapping[str, Path]) -> str:
    told = hashlib.sha256()
    for name, path in sorted(files.items()):
        told.update(name.encode() + b"\0" + path.read_bytes())
    return told.hexdigest()
