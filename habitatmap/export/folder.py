"""A folder of results, whole or not at all: made beside the old one, and put in its place in one step."""

from __future__ import annotations

import ctypes
import os
import re
import shutil
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import pandas as pd
from pyogrio.errors import DataLayerError, DataSourceError
from rasterio.errors import RasterioError

from habitatmap.errors import HabitatmapError, InputError
from habitatmap.export.formats import csv_text, json_text
from habitatmap.read.headings import fold

Content = bytes | str | pd.DataFrame | Mapping[str, object]


def check_target(folder: str | Path, mark: str = "summary.json") -> None:
    """Refuses, before the work begins, a folder that can't be written or that holds somebody's other files.

    The folder is replaced as a whole, so it must be absent, empty, or hold an earlier result, which has a file `mark`:
    a name alone, such as `out`, does not say whose it is. Raises InputError.
    """
    target = Path(folder).resolve()
    if target.exists() and not target.is_dir():
        raise InputError(f"{target} is a file; the results need a folder: give another one with --out")
    if target.is_dir() and not (target / mark).exists():
        other = next(iter(sorted(target.iterdir())), None)
        if other is not None:
            raise InputError(
                f"{target} holds {other.name}, which is no result of habitatmap, and the whole folder would be "
                "replaced: give a new or empty folder with --out"
            )
    above = next(parent for parent in target.parents if parent.exists())
    if not above.is_dir():
        raise InputError(f"{above} is a file; a folder is expected there")
    if not os.access(above, os.W_OK | os.X_OK):
        raise InputError(f"{above} can't be written to: change its permissions, or give another folder with --out")


def write_folder(target: Path, fill: Callable[[Path], None]) -> None:
    """Replaces `target` in one step by a new folder that `fill` has filled.

    What a killed run left behind goes first. Raises HabitatmapError where the disk is full or refuses; the old folder
    is whole then too.
    """
    fresh, old = _aside(target, "new"), _aside(target, "old")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        if old.exists() and not target.exists():  # killed between the two steps of a platform without exchange
            old.rename(target)
        for leftover in (fresh, old):
            if leftover.exists():
                shutil.rmtree(leftover)
        fresh.mkdir()
        fill(fresh)
        _swap(fresh, target, old)
    except (OSError, RasterioError, DataSourceError, DataLayerError) as fault:
        what = fault.strerror if isinstance(fault, OSError) and fault.strerror else str(fault)
        raise HabitatmapError(
            f"The results could not be written to {target}: {what}; what was there is as it was. "
            "Make room on the disk or give another folder with --out, then run again"
        ) from fault
    finally:
        shutil.rmtree(fresh, ignore_errors=True)
        if target.exists():
            shutil.rmtree(old, ignore_errors=True)


def write_files(folder: str | Path, files: Mapping[str, Content]) -> None:
    """Replaces `folder` in one step by one of these files: a frame becomes CSV, a mapping JSON, text UTF-8.

    A name may lead into a folder: `north/rounds.html`.
    """

    def fill(fresh: Path) -> None:
        for name, content in files.items():
            if isinstance(content, pd.DataFrame):
                content = csv_text(content)
            elif isinstance(content, Mapping):
                content = json_text(content)
            (fresh / name).parent.mkdir(parents=True, exist_ok=True)
            (fresh / name).write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))

    write_folder(Path(folder).resolve(), fill)


def folder_names(groups: Sequence[str]) -> dict[str, str]:
    """A folder name for each group, of plain letters and digits whatever its name holds; the area's own ("") is own."""
    names: dict[str, str] = {}
    for group in groups:
        plain = re.sub(r"[^a-z0-9]+", "-", fold(group)).strip("-")[:40] or ("group" if group else "own")
        again = sum(re.sub(r"-\d+$", "", name) == plain for name in names.values())
        names[group] = f"{plain}-{again + 1}" if again else plain
    return names


def _aside(target: Path, what: str) -> Path:
    """A hidden sibling, on the same disk, so that a rename is enough."""
    return target.with_name(f".{target.name}.{what}")


def _swap(fresh: Path, target: Path, old: Path) -> None:
    """Puts `fresh` in the place of `target`; afterwards what was there is `fresh` or `old`."""
    if not target.exists():
        fresh.rename(target)
    elif not _exchange(fresh, target):
        target.rename(old)
        try:
            fresh.rename(target)
        except OSError:
            old.rename(target)
            raise


def _exchange(one: Path, other: Path) -> bool:
    """Swaps two folders in a single step where the platform can (Linux: renameat2); False where it can't."""
    rename = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None) if os.name == "posix" else None
    if rename is None:
        return False
    here, exchange = -100, 2  # AT_FDCWD, RENAME_EXCHANGE
    return bool(rename(here, os.fsencode(one), here, os.fsencode(other), exchange) == 0)
