"""Groups of one area: each has a folder groups/NAME/ with lists of its own, read together with the area's.

A group's pools are called by the group's name and their own, "north P7", so that two groups may use one name.
"""

from __future__ import annotations

import unicodedata
from pathlib import Path

from habitatmap.read.files import VISITS, find_inputs
from habitatmap.read.formats.archive import file_name
from habitatmap.vocabulary.kinds import GROUPS, OF_GROUPS, Kind


def group_folders(folder: Path) -> list[Path]:
    """The folders of an area's groups, in the order of their names."""
    tops = [p for p in folder.iterdir() if p.is_dir() and p.name.casefold() == GROUPS]
    found = (p for top in tops for p in top.iterdir() if p.is_dir() and not p.name.startswith("."))
    return sorted(found, key=lambda p: p.name)


def group_of(path: Path, folder: Path) -> str:
    """The group of a file of an area's folder, "" where it is the area's own."""
    parts = path.relative_to(folder).parts if path.is_relative_to(folder) else ()
    own = len(parts) < 3 or parts[0].casefold() != GROUPS
    return "" if own else " ".join(unicodedata.normalize("NFC", parts[1]).split())


def name_in(path: Path, folder: Path) -> str:
    """How to name an input for a person: `pools.csv`, `export.zip/pools.csv`, `groups/north/pools.csv`."""
    within = (VISITS,) if path.parent.name.casefold() == VISITS and path.parent != folder else ()
    if not group_of(path, folder):
        return "/".join((*within, file_name(path)))
    return "/".join((*path.relative_to(folder).parts[:2], *within, file_name(path)))


def find_in_groups(folder: Path, kind: Kind) -> list[Path]:
    """The files of one kind in the folders of all groups."""
    if kind not in OF_GROUPS:
        return []
    return [path for group in group_folders(folder) for path in find_inputs(group, kind)]


def called(name: str, group: str) -> str:
    """What a pool of a group is called in the area; a name that begins with the group's stays as it is."""
    begins = name.casefold().startswith(f"{group} ".casefold())
    return name if not name or not group or begins else f"{group} {name}"
