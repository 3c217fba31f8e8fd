"""An area handed over: packed as two files, the area and its contacts, and unpacked elsewhere.

The first holds inputs, settings, layers, results, kept seasons and versions, with contacts taken out; the second the
files that hold contacts, whole. Unpacked together they are the area, byte for byte. Same area, same bytes.
"""

from __future__ import annotations

import json
import os
import shutil
import stat
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path, PurePosixPath

from habitatmap.errors import HabitatmapError, InputError
from habitatmap.errors.system import check_new_folder, is_reserved
from habitatmap.export.contacts import CannotPartError, Contacts, headings_of_contacts, names_one, without_contacts
from habitatmap.export.manifest import MANIFEST, is_within, read_manifest
from habitatmap.export.season import SEASONS
from habitatmap.read.earlier_sites import FOLDER as OUT
from habitatmap.read.folder import area_folder
from habitatmap.read.hashes import hash_of_layers, hash_of_program, hashes_of_inputs, input_files
from habitatmap.read.layers import OWN, layer_files, layers_of
from habitatmap.read.random_assignment import FOLDER as ASSIGNED
from habitatmap.read.readings import read_readings
from habitatmap.read.settings import read_settings
from habitatmap.read.start import write_whole
from habitatmap.result.assembly import versions

PACK, OF_CONTACTS = "pack", "contacts"
AREA, LAYERS, ABOUT = "area", "layers", "what_it_holds_of_persons.txt"
LONG_AGO = (1980, 1, 1, 0, 0, 0)  # a zip has no earlier day
# limits of what is unpacked: no area of ours comes near, and no file of a few kilobytes fills a disk
MOST_FILES, MOST_BYTES = 200_000, 50 << 30
FREE_BYTES, MOST_TIMES = 1 << 30, 200  # below the first any; above, so many times the size of the zip
CHUNK = 1 << 20
# files that can hold a contact: tables, and what is made of them
MAY_NAME = frozenset(
    ".csv .tsv .txt .xlsx .xlsm .xls .ods .gpkg .dbf .geojson .json .parquet .zip .toml .html .gpx .qgz .pdf".split()
)
Content = bytes | Path
LONGEST_LIST = 50 << 20


@dataclass(frozen=True)
class Packing:
    """What is packed: `plain` without contacts and `apart` with them, by name in the area; `whole`: files that could
    not be parted and are only in the second; `still`: inputs of the first whose texts name an owner or a contact."""

    area: Path
    plain: Mapping[str, Content]
    apart: Mapping[str, Content]
    whole: tuple[str, ...]
    still: tuple[str, ...]
    layers: Mapping[str, Content]
    contacts: Contacts


@dataclass(frozen=True)
class Unpacked:
    """What was unpacked: how many files, and what to know: other versions, other layers."""

    folder: Path
    files: int
    contacts: bool
    other_versions: Mapping[str, tuple[str, str]]
    layers_kept: bool


# --- packing ---------------------------------------------------------------------------------------------------------


def packing_of(area: Path) -> Packing:
    """Reads what is packed of an area: inputs, results of `map`, kept seasons, layers. Raises InputError."""
    folder = area_folder(area)
    settings, taught = read_settings(folder), {}
    for one in read_readings(folder).headings:
        taught[one.heading] = str(one.means)
    contacts = Contacts(headings_of_contacts(settings.columns.model_dump(), taught))
    plain: dict[str, Content] = {}
    apart: dict[str, Content] = {}
    whole: list[str] = []
    results: dict[str, bool] = {}
    for path, is_result in _files(folder):
        name = path.relative_to(folder).as_posix()
        results[name], plain[name] = is_result, path
        if is_result or not _may_name(name):
            continue
        data = path.read_bytes()
        try:
            parted = without_contacts(name, data, contacts)
        except CannotPartError:
            whole.append(name)
            apart[name] = plain.pop(name)
            continue
        if parted != data:
            apart[name], plain[name] = path, parted
    named = [name for name, data in plain.items() if _may_name(name) and names_one(_bytes_of(data), contacts)]
    for name in named:
        if results[name]:
            whole.append(name)
            apart.setdefault(name, plain[name])
            del plain[name]
    with layers_of(folder):
        layers: dict[str, Content] = dict(layer_files())
    still = tuple(name for name in named if not results[name] and not name.startswith(f"{SEASONS}/"))
    return Packing(folder, plain, apart, tuple(sorted(whole)), still, layers, contacts)


def _may_name(name: str) -> bool:
    return PurePosixPath(name).suffix.casefold() in MAY_NAME


def _bytes_of(content: Content) -> bytes:
    return content.read_bytes() if isinstance(content, Path) else content


def _hash_of(content: Content) -> str:
    if isinstance(content, bytes):
        return sha256(content).hexdigest()
    told = sha256()
    with content.open("rb") as file:
        while chunk := file.read(CHUNK):
            told.update(chunk)
    return told.hexdigest()


def _files(area: Path) -> Iterator[tuple[Path, bool]]:
    """Every file that is packed, and whether it was made by a run from others."""
    yield from ((path, False) for path in input_files(area))
    yield from ((path, False) for path in _all_in(area / ASSIGNED))
    yield from ((path, True) for path in _results_in(area / OUT))
    for season in sorted(p for p in (area / SEASONS).iterdir() if p.is_dir()) if (area / SEASONS).is_dir() else ():
        for path in _all_in(season):
            yield path, OUT in path.relative_to(season).parts[:1]


def _all_in(folder: Path) -> list[Path]:
    return sorted(p for p in folder.rglob("*") if p.is_file() and not p.is_symlink() and not p.name.startswith("."))


def _results_in(folder: Path) -> list[Path]:
    """What the last run wrote there, and the list of it."""
    made = read_manifest(folder)
    if made is None:
        return []
    return [path for name in (*sorted(made.files), MANIFEST) if (path := folder / name).is_file()]


def contacts_file(path: Path) -> Path:
    """The second file of a package."""
    return path.with_name(f"{path.stem}.contacts{path.suffix}")


def write_package(packed: Packing, path: Path, about: str) -> list[Path]:
    """Writes the package, and beside it that of contacts where there are any: all of it or nothing. `about`: what it
    holds of persons, its first entry. Raises InputError where a file is there already, HabitatmapError."""
    second = contacts_file(path)
    for one in (path, second):
        if one.exists():
            raise InputError(f"{one} is there already: give another name with -o, or move it away")
    record = _record(packed.area)
    first = {f"{AREA}/{name}": data for name, data in packed.plain.items()}
    first |= {f"{LAYERS}/{name}": data for name, data in packed.layers.items()}
    replaced = {name: _hash_of(packed.plain[name]) for name in packed.apart if name in packed.plain}
    made_by = {"made_by": f"habitatmap {PACK}"}
    parts = {path: (first, {**made_by, **record, "only_in_contacts": packed.whole})}
    if packed.apart:
        files = {f"{AREA}/{name}": data for name, data in packed.apart.items()}
        parts[second] = (files, {**made_by, "of": OF_CONTACTS, "replaces": replaced})
    drafts = {target: target.with_name(f".{target.name}.unfinished") for target in parts}
    try:
        for target, (files, listed) in parts.items():
            _zip(drafts[target], files, listed, about)
        for target, draft in drafts.items():
            draft.rename(target)
    except BaseException as fault:  # Ctrl-C too
        for target in drafts:
            target.unlink(missing_ok=True)
        if not isinstance(fault, OSError):
            raise
        raise HabitatmapError(
            f"{path} could not be written ({fault.strerror}): make room on the disk, or give another name with -o"
        ) from fault
    finally:
        for draft in drafts.values():
            draft.unlink(missing_ok=True)
    return list(parts)


def _record(area: Path) -> dict[str, object]:
    """What the package rests on: settings, inputs, layers and versions."""
    settings = read_settings(area)
    with layers_of(area):
        layers = hash_of_layers()
    return {
        "title": settings.title or area.resolve().name,
        "versions": versions(),
        "program": hash_of_program(),
        "layers": layers,
        "settings": json.loads(settings.model_dump_json()),
        "inputs": hashes_of_inputs(area),
    }


def _zip(path: Path, files: Mapping[str, Content], record: Mapping[str, object], about: str) -> None:
    """A zip with what it holds of persons first, then its list, then its files in order."""
    listed = {name: _hash_of(content) for name, content in sorted(files.items())}
    manifest = json.dumps({**record, "files": listed}, ensure_ascii=False, indent=1) + "\n"
    first = {ABOUT: about.encode("utf-8"), MANIFEST: manifest.encode("utf-8")}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package:
        for name, content in (*first.items(), *sorted(files.items())):
            info = zipfile.ZipInfo(name, LONG_AGO)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = (stat.S_IFREG | 0o644) << 16
            if isinstance(content, bytes):
                package.writestr(info, content)
                continue
            info.file_size = content.stat().st_size
            with content.open("rb") as source, package.open(info, "w") as target:
                shutil.copyfileobj(source, target, CHUNK)


# --- unpacking -------------------------------------------------------------------------------------------------------


def unpack(path: Path, into: Path | None = None, contacts: Path | None = None) -> Unpacked:
    """Unpacks a package into a new folder (its name without .zip), with its contacts where they are given or lie beside
    it; or, where `path` is the package of contacts, into the unpacked area `into`. Whole or not at all.

    Raises InputError where it is no package, is damaged or is not safe, or where something lies there already.
    """
    with _opened(path) as package:
        about = _list_of(package, path)
        if about.get("of") == OF_CONTACTS:
            if into is None or not into.is_dir():
                raise InputError(f"{path.name} holds contacts of an area: name the unpacked area with --into")
            return _add_contacts(package, path, about, into)
        folder = into or path.with_suffix("")
        if contacts is None and contacts_file(path).is_file():
            contacts = contacts_file(path)
        check_new_folder(folder)

        def fill(fresh: Path) -> None:
            fresh.mkdir()
            _extract(package, path, about, fresh)
            if contacts is not None:
                with _opened(contacts) as second:
                    _add(second, contacts, _list_of(second, contacts), fresh)

        write_whole(folder, fill)
        return Unpacked(
            folder,
            sum(p.is_file() for p in folder.rglob("*")),
            contacts is not None,
            _other_versions(about),
            (folder / OWN).is_dir(),
        )


def _opened(path: Path) -> zipfile.ZipFile:
    if not path.is_file():
        raise InputError(f"{path} does not exist; expected a file that habitatmap pack wrote")
    try:
        return zipfile.ZipFile(path)
    except (zipfile.BadZipFile, OSError) as fault:
        raise InputError(f"{path.name} can't be unpacked ({fault}): it is damaged or no zip; fetch it again") from fault


def _list_of(package: zipfile.ZipFile, path: Path) -> dict[str, object]:
    """The list of a package, after everything in it was found safe. Raises InputError."""
    infos = package.infolist()
    _check(infos, path)
    told = {info.filename: info for info in infos}
    if MANIFEST not in told or told[MANIFEST].file_size > LONGEST_LIST:
        raise InputError(f"{path.name} is no package of habitatmap: it has no {MANIFEST}")
    try:
        about = json.loads(package.read(MANIFEST).decode("utf-8"))
        files = about["files"]
        good = about["made_by"] == f"habitatmap {PACK}" and all(isinstance(v, str) for v in files.values())
    except (ValueError, KeyError, TypeError, AttributeError, RuntimeError, zipfile.BadZipFile, zlib.error) as fault:
        raise InputError(f"{path.name} is no package of habitatmap: its {MANIFEST} can't be read") from fault
    if not good or {*files, MANIFEST, ABOUT} != set(told):
        raise InputError(f"{path.name} holds other files than its {MANIFEST} lists; nothing was unpacked")
    return dict(about)


def _check(infos: list[zipfile.ZipInfo], path: Path) -> None:
    """Refuses what could do harm: names that lead out, links, what is encrypted, too many or too large files."""
    size, packed = sum(info.file_size for info in infos), path.stat().st_size
    if len(infos) > MOST_FILES or size > MOST_BYTES or (size > FREE_BYTES and size > MOST_TIMES * packed):
        raise InputError(
            f"{path.name} would become {len(infos):,} files of {size / 1e9:,.1f} GB, {size / max(packed, 1):,.0f} "
            "times its own size, which no area is: nothing was unpacked"
        )
    seen: set[str] = set()
    for info in infos:
        name, mode = info.filename, info.external_attr >> 16
        parts = name.split("/")
        plain = is_within(name) and all(part not in ("", ".", "..") and not is_reserved(part) for part in parts)
        if not plain or any(ord(sign) < 32 for sign in name):
            raise InputError(
                f"{path.name} holds a name that leads elsewhere or is none ({name!r}): nothing was unpacked"
            )
        if stat.S_IFMT(mode) not in (0, stat.S_IFREG):
            raise InputError(
                f"{path.name} holds a link or another thing that is no file ({name}): nothing was unpacked"
            )
        if info.flag_bits & 1:
            raise InputError(f"{path.name} is encrypted: unpack it with the program that made it")
        if name.casefold() in seen:
            raise InputError(f"{path.name} holds {name} twice: nothing was unpacked")
        seen.add(name.casefold())


def _extract(package: zipfile.ZipFile, path: Path, about: Mapping[str, object], fresh: Path) -> None:
    """Writes the area of a package; its layers where they are other ones than the program's here."""
    files = about["files"]
    assert isinstance(files, dict)
    room = shutil.disk_usage(fresh.parent).free
    size = sum(info.file_size for info in package.infolist())
    if size > room:
        raise InputError(f"{path.name} needs {size / 1e9:,.1f} GB and there are {room / 1e9:,.1f} GB: make room first")
    with_layers = about.get("layers") != hash_of_layers()
    for name, known in files.items():
        top, _, inside = name.partition("/")
        if top == AREA and inside:
            _write(package, path, name, known, fresh / inside)
        elif top == LAYERS and inside and with_layers:
            _write(package, path, name, known, fresh / OWN / inside)


def _write(package: zipfile.ZipFile, path: Path, name: str, known: str, to: Path) -> None:
    """One file, no longer than the zip says, with the hash that the list says."""
    to.parent.mkdir(parents=True, exist_ok=True)
    told, left = sha256(), package.getinfo(name).file_size
    try:
        with package.open(name) as source, to.open("xb") as target:
            while chunk := source.read(min(CHUNK, left + 1)):
                left -= len(chunk)
                if left < 0:
                    raise InputError(f"{path.name}: {name} is longer than it says: nothing was unpacked")
                told.update(chunk)
                target.write(chunk)
    except (zipfile.BadZipFile, zlib.error, RuntimeError, EOFError, NotImplementedError) as fault:
        raise InputError(f"{path.name} is damaged at {name}: fetch it again; nothing was unpacked") from fault
    if told.hexdigest() != known:
        raise InputError(f"{path.name}: {name} is not what its list says: fetch it again; nothing was unpacked")


def _add(package: zipfile.ZipFile, path: Path, about: Mapping[str, object], area: Path) -> int:
    """Puts the files of a package of contacts in the place of those without, which must be as they were packed."""
    files, replaced = about["files"], about.get("replaces")
    if about.get("of") != OF_CONTACTS or not isinstance(files, dict) or not isinstance(replaced, dict):
        raise InputError(f"{path.name} is no package of contacts")
    fresh = area / ".habitatmap.contacts"
    shutil.rmtree(fresh, ignore_errors=True)
    try:
        names = [name.removeprefix(f"{AREA}/") for name in files if name.startswith(f"{AREA}/")]
        for name in names:
            here = area / name
            if any(folder.is_symlink() for folder in (here, *here.parents)):
                raise InputError(f"{here} is a link: nothing was changed")
            # what a run that was stopped has replaced already is no fault
            fit = (replaced.get(name), files[f"{AREA}/{name}"])
            if here.exists() and _hash_of(here) not in fit:
                raise InputError(
                    f"{name} in {area} is not as it was unpacked, and would be replaced: nothing was changed"
                )
            _write(package, path, f"{AREA}/{name}", str(files[f"{AREA}/{name}"]), fresh / name)
        for name in names:
            (area / name).parent.mkdir(parents=True, exist_ok=True)
            os.replace(fresh / name, area / name)
    finally:
        shutil.rmtree(fresh, ignore_errors=True)
    return len(names)


def _add_contacts(package: zipfile.ZipFile, path: Path, about: Mapping[str, object], area: Path) -> Unpacked:
    return Unpacked(area, _add(package, path, about, area), True, {}, (area / OWN).is_dir())


def _other_versions(about: Mapping[str, object]) -> dict[str, tuple[str, str]]:
    """Packages whose version is another one here: name -> there, here."""
    then, now = about.get("versions"), versions()
    if not isinstance(then, dict):
        return {}
    return {name: (str(old), now.get(name, "")) for name, old in then.items() if now.get(name) != old}
