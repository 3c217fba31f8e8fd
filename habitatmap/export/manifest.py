"""What of a folder is ours: the list that each run leaves in it, with the hash of every file."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path, PurePosixPath

from habitatmap.read.folder import LIST_OF_FILES
from habitatmap.read.hashes import fingerprint

MANIFEST = LIST_OF_FILES
FREEZE = "freeze"  # the command whose folders are kept seasons
HIDDEN = ".habitatmap."  # what the names of locks and of unfinished folders begin with

# Folders that were written before there was a manifest, by command: the files they are known by, and what is ours there
BEFORE: Mapping[str, tuple[str, str]] = {
    "map": (
        "map.html public_map.html plan.csv summary.json",
        "map.html public_map.html plan.csv plan.geojson plan.gpx plan_exchanged.csv zones.geojson site_ids.geojson "
        "ask_first.csv gaps.geojson pools.csv places.csv set_aside.csv summary.json habitatmap.gpkg "
        "rasters/forage_season.tif rasters/forage_lean.tif rasters/forage_access.tif rasters/dead_wood.tif "
        "rasters/forage_m.tif rasters/dead_wood_m.tif rasters/reach_now.tif rasters/reach_with_plan.tif "
        "rasters/occupancy.tif pictures/ground.* pictures/forage_season.* pictures/reach_now.* pictures/gaps.* "
        "pictures/plan.*",
    ),
    "check": ("check.html set_aside.csv", "check.html set_aside.csv"),
    "survey": (
        "survey.html survey.json",
        "survey.html survey.json pools.csv estimates.csv models.csv effects.csv effort.csv pool_types.csv "
        "differences.csv similar_names.csv species_by_pool_type.csv lifetimes.csv standing.csv incidents.csv "
        "complaints.csv",
    ),
    "rounds": (
        "rounds.html rounds.csv rounds.json",
        "rounds.* [0-9]-*.html [0-9]-*.gpx [0-9]-*.ics [0-9][0-9]-*.html [0-9][0-9]-*.gpx [0-9][0-9]-*.ics",
    ),
    "sheets": ("recording.pdf labels.pdf", "sites.pdf labels.pdf recording.pdf */labels.pdf */recording.pdf"),
    "report": ("report.pdf report.html summary.json", "report.pdf report.html summary.json"),
    "outlook": (
        "outlook.json outlook.html",
        "outlook.json outlook.html ranks.csv differences.csv years.csv staging.csv",
    ),
    "archive": ("darwin_core.zip not_given.csv", "darwin_core.zip not_given.csv summary.json"),
    "random_assignment": (
        "random_assignment.csv random_assignment.html",
        "random_assignment.csv random_assignment.html",
    ),
}


@dataclass(frozen=True)
class Manifest:
    """What the last run wrote into a folder: the command, the hash of each file by its name in the folder ("" where
    not known), and the record of the run: inputs, settings, versions."""

    command: str
    files: Mapping[str, str] = field(default_factory=dict)
    record: Mapping[str, object] = field(default_factory=dict)

    def text(self) -> str:
        """The content of manifest.json; it holds no time."""
        content = {"made_by": f"habitatmap {self.command}", **self.record, "files": dict(sorted(self.files.items()))}
        return json.dumps(content, ensure_ascii=False, indent=1, sort_keys=False) + "\n"

    def is_unchanged(self, folder: Path, name: str) -> bool:
        """Whether a file is as it was written; also where nobody knows, as the run kept no hash of it."""
        path, known = folder / name, self.files.get(name)
        if known is None or path.is_symlink() or not path.is_file() or at_work(path):
            return False
        return known in ("", fingerprint(path))


def read_manifest(folder: Path) -> Manifest | None:
    """The manifest of a folder; None where none of ours is there. Nothing that it says leads out of the folder."""
    try:
        content = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
        made_by, files = content.pop("made_by"), content.pop("files")
        maker, command = made_by.split(" ")
        named = {name: known for name, known in files.items() if is_within(name) and isinstance(known, str)}
    except (OSError, ValueError, KeyError, AttributeError, TypeError):
        return None
    return Manifest(command, named, content) if maker == "habitatmap" else None


def is_kept(folder: Path) -> bool:
    """Whether a folder is a kept season, which nothing but `freeze` writes to."""
    found = read_manifest(folder)
    return found is not None and found.command == FREEZE


def earlier_result(folder: Path) -> Manifest | None:
    """The same, or for a folder of a time before manifests what is ours by its name; None where it is no result."""
    found = read_manifest(folder)
    if found is not None or not folder.is_dir():
        return found
    for command, (marks, _) in BEFORE.items():
        if all((folder / mark).is_file() for mark in marks.split()):
            return Manifest(command, dict.fromkeys(ours_by_name(folder, command), ""))
    return None


def ours_by_name(folder: Path, command: str) -> list[str]:
    """Files of a folder that have names of results of a command."""
    names = BEFORE[command][1].split() if command in BEFORE else []
    there = (p.relative_to(folder).as_posix() for depth in ("*", "*/*") for p in folder.glob(depth))
    return sorted(name for name in there if any(_is_named(name, pattern) for pattern in names))


def _is_named(name: str, pattern: str) -> bool:
    return name.count("/") == pattern.count("/") and fnmatchcase(name, pattern)


def is_within(name: str) -> bool:
    """Whether a name from a file leads to a file in the folder, and to none of our locks and leftovers."""
    if not isinstance(name, str) or not name or any(sign in name for sign in "\\:\0"):
        return False
    parts = PurePosixPath(name).parts
    return bool(parts) and not name.startswith("/") and ".." not in parts and not parts[0].startswith(HIDDEN)


def above(name: str) -> list[str]:
    """The folders that lead to a file, from the outermost: `a`, `a/b` for `a/b/c.csv`."""
    return [str(p) for p in reversed(PurePosixPath(name).parents[:-1])]


def files_in(folder: Path) -> list[str]:
    """The names of all files below a folder, in order."""
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if not p.is_dir())


# files that a program keeps beside a GeoPackage while it has it open, and which belong to it
BESIDE = ("-wal", "-shm", "-journal")


def at_work(path: Path) -> bool:
    """Whether changes of a database wait beside it: in that case it holds more than its bytes say."""
    beside = (path.with_name(path.name + suffix) for suffix in ("-wal", "-journal"))
    return path.suffix == ".gpkg" and any(one.is_file() and one.stat().st_size > 0 for one in beside)
