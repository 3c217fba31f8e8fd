"""Kept seasons: an area folder as it was on the day of its last map, under seasons/NAME/, whole or not at all.

A kept season is an area folder of its own: area.toml and the inputs byte for byte, `layers/` with the tables that were
in force, `out/` with what `map` wrote, and manifest.json with the hash of every file and the record of that map (day,
versions, hashes of the program and the layers, settings, hashes of the inputs as they lay in the area). To area.toml
the day and the title are added where it states none, as they would be other ones elsewhere or later. Nothing but
`freeze` writes there.
"""

from __future__ import annotations

import datetime
import json
import re
import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from habitatmap.errors import InputError
from habitatmap.errors.system import is_reserved
from habitatmap.export.folder import check_target, write_folder
from habitatmap.export.manifest import FREEZE, HIDDEN, MANIFEST, is_kept, read_manifest
from habitatmap.export.replace import is_interrupted
from habitatmap.export.worked import why_another
from habitatmap.read.earlier_sites import FOLDER as OUT
from habitatmap.read.folder import area_folder
from habitatmap.read.hashes import hash_of_layers, hashes_of_inputs, input_files
from habitatmap.read.layers import OWN, layer_files
from habitatmap.read.random_assignment import FOLDER as ASSIGNED
from habitatmap.read.settings import FILE_NAME, Settings, read_settings

SEASONS = "seasons"
LONGEST_NAME = 60


@dataclass(frozen=True)
class Season:
    """A kept season: its folder, its name, the day of its map, and the record of that map."""

    folder: Path
    name: str
    as_of: datetime.date
    record: Mapping[str, object]


def season_of(folder: Path) -> Season | None:
    """The kept season that a folder is; None where it is none."""
    found = read_manifest(folder)
    if found is None or found.command != FREEZE:
        return None
    try:
        day = datetime.date.fromisoformat(str(found.record["as_of"]))
    except (KeyError, ValueError):
        return None
    return Season(folder, folder.resolve().name, day, found.record)


def kept_seasons(area: Path) -> list[Season]:
    """The seasons that an area keeps, by the day of their map, the latest last."""
    if not (area / SEASONS).is_dir():
        return []
    found = (season_of(path) for path in sorted((area / SEASONS).iterdir()) if path.is_dir())
    return sorted((one for one in found if one is not None), key=lambda one: (one.as_of, one.name))


def last_season(area: Path) -> Path:
    """The folder of the season that an area kept last. Raises InputError where it has none, or is one itself."""
    if is_kept(area):
        raise InputError(f"{area} is a kept season: name what it is compared with too, such as {area_of_season(area)}")
    seasons = kept_seasons(area)
    if not seasons:
        raise InputError(f"{area} keeps no season yet to compare with: keep one with habitatmap freeze {area} 2025")
    return seasons[-1].folder


def area_of_season(folder: Path) -> Path:
    """The area that a season was kept in; the folder itself where it is no season. Raises InputError where a season
    lies in no area."""
    if not is_kept(folder):
        return folder
    around = folder.resolve().parent
    if around.name != SEASONS:
        raise InputError(f"{folder} is a kept season that lies in no area: say with --out where the results go")
    return around.parent


def find_season(said: Path, area: Path | None = None) -> Path:
    """The folder that somebody means: a path, or the name of a season that `area`, or the folder one is in, keeps."""
    around = [] if area is None or not area.is_dir() else [area_of_season(area)]
    named = (folder / SEASONS / said for folder in (*around, Path()) if len(said.parts) == 1)
    return said if said.exists() else next((path for path in named if is_kept(path)), said)


def check_season(area: Path, name: str, replace: bool = False, seasons: Path | None = None) -> Path:
    """The folder that a season of this name is kept in (in area/seasons where not given). Raises InputError where it
    can't be."""
    plain = re.fullmatch(r"[^\W_][\w .-]*", name) and len(name) <= LONGEST_NAME and name[-1] not in ". "
    if not plain or is_reserved(name):
        raise InputError(
            f'"{name}" can\'t be the name of a season: expected letters, digits, blanks, dots and hyphens, such as 2026'
        )
    folder = (seasons or area / SEASONS) / name
    if _holds_something(folder) and not replace:
        raise InputError(f"the season {name} is kept already in {folder}: give another name, or --replace to keep anew")
    if is_kept(area):
        raise InputError(f"{area} is a kept season itself; give the area that it was kept from")
    check_target(folder, FREEZE, area)
    return folder


def keep_season(
    area: Path, name: str, replace: bool = False, results: Path | None = None, seasons: Path | None = None
) -> Season:
    """Keeps the inputs, settings, layers and results of an area's last map as the season `name`.

    results: where that map was written (area/out); seasons: where the season's folder goes (area/seasons). Raises
    InputError where there is no map, where it was made from other inputs than lie there today, or where the season is
    kept already; HabitatmapError where the disk refuses.
    """
    area = area_folder(area)
    folder, results = check_season(area, name, replace, seasons), results or area / OUT
    settings = read_settings(area)
    record, files = _last_map(area, results, settings)

    def fill(fresh: Path) -> None:
        for path in input_files(area):
            _copy(path, fresh / path.relative_to(area))
        if hashes_of_inputs(fresh) != record["inputs"]:
            raise InputError(f"the inputs of {area} were changed while they were kept: run again")
        _state_day_and_title(fresh, settings, str(record["as_of"]), area.resolve().name)
        for path in sorted(p for p in (area / ASSIGNED).rglob("*") if p.is_file()):
            _copy(path, fresh / path.relative_to(area))
        for file, path in layer_files().items():
            _copy(path, fresh / OWN / file)
        for file in (*files, MANIFEST):
            _copy(results / file, fresh / OUT / file)

    write_folder(folder.resolve(), fill, FREEZE, record)
    return Season(folder, name, datetime.date.fromisoformat(str(record["as_of"])), record)


def _holds_something(folder: Path) -> bool:
    """Whether anything but what a killed run left lies there."""
    there = folder.iterdir() if folder.is_dir() else ()
    return any(not path.name.startswith(HIDDEN) for path in there) and not is_interrupted(folder)


def altered(folder: Path) -> list[str]:
    """The files of a kept season that are gone, or no longer as they were kept."""
    made = read_manifest(folder)
    return [] if made is None else [name for name in made.files if not made.is_unchanged(folder, name)]


def _last_map(area: Path, results: Path, settings: Settings) -> tuple[Mapping[str, object], list[str]]:
    """The record of the map in `results`, and its files, if it was made from what lies in the area today."""
    made = read_manifest(results)
    if made is None or made.command != "map":
        raise InputError(
            f"{results} holds no map to keep: run habitatmap map first, or keep the season with it: habitatmap map "
            f"{area} --keep NAME"
        )
    today = {
        "layers": hash_of_layers(),
        "settings": json.loads(settings.model_dump_json()),
        "inputs": hashes_of_inputs(area),
    }
    if why := why_another(today, made.record):
        raise InputError(
            f"the last map in {results} is not of what lies in {area.name} today, as {why}: run habitatmap map again, "
            "then keep the season"
        )
    for name in made.files:
        if not made.is_unchanged(results, name):
            raise InputError(f"{name} in {results} is not as map wrote it: run habitatmap map again")
    return made.record, list(made.files)


def _copy(path: Path, to: Path) -> None:
    to.parent.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(path, to)


def _state_day_and_title(folder: Path, settings: Settings, day: str, title: str) -> None:
    """Adds to area.toml what else depends on when and where it is read. Keys come before the first table."""
    lines = []
    if settings.as_of is None:
        lines.append(f"as_of = {day}  # the day of the map that was kept; area.toml stated none")
    if not settings.title:
        quoted = title.replace("\\", "\\\\").replace('"', '\\"')
        lines.append(f'title = "{quoted}"  # the name of the folder that was kept; area.toml stated none')
    if not lines:
        return
    path = folder / FILE_NAME
    said = path.read_bytes().decode("utf-8-sig") if path.exists() else ""
    path.write_bytes(("\n".join(lines) + "\n" + said).encode("utf-8"))
