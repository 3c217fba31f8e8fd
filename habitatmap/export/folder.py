"""A folder of results, whole or not at all, which other people's files share with them."""

from __future__ import annotations

import errno
import os
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pandas as pd
from pyogrio.errors import DataLayerError, DataSourceError
from rasterio.errors import RasterioError

from habitatmap.errors import HabitatmapError, InputError
from habitatmap.errors.system import check_new_folder, is_reserved, is_too_long
from habitatmap.export.formats import csv_text, json_text
from habitatmap.export.lock import alone_in
from habitatmap.export.manifest import FREEZE, earlier_result, is_kept, ours_by_name
from habitatmap.export.replace import is_interrupted, put_in_place, throw_away, unfinished
from habitatmap.read.headings import fold
from habitatmap.read.photos import FOLDER as PHOTOS
from habitatmap.read.settings import FILE_NAME
from habitatmap.vocabulary.kinds import GROUPS, Kind

# folders of an area in which inputs lie
OF_INPUTS = (Kind.OVERLAYS, GROUPS, PHOTOS)
Content = bytes | str | pd.DataFrame | Mapping[str, object]


def check_target(folder: str | Path, command: str, area: Path | None = None) -> None:
    """Refuses, before the work begins, a folder that the results of `command` can't go to.

    Other files may lie there and stay. But it may not be the `area`'s own folder or one that inputs lie in, nor hold
    the results of another command, nor, where no run has written there, files of the names that one would. Raises
    InputError.
    """
    check_new_folder(Path(folder))
    target = Path(folder).resolve()
    if target.exists() and not target.is_dir():
        raise InputError(f"{target} is a file; the results need a folder: give another one with --out")
    inputs = [] if area is None else [area.resolve() / name for name in OF_INPUTS]
    earlier = earlier_result(target)
    kept = next((path for path in (target, *target.parents) if is_kept(path)), None)
    if kept is not None and (command != FREEZE or kept != target):
        raise InputError(f"{kept} is a kept season, and what was kept stays as it is: give another folder with --out")
    is_area = (target / FILE_NAME).exists() or (area is not None and target == area.resolve())
    is_area &= earlier is None or earlier.command != FREEZE
    if is_area or any(one in (target, *target.parents) for one in inputs):
        raise InputError(f"{target} holds inputs, and results would be mixed with them: give another folder with --out")
    if earlier is not None and earlier.command != command:
        raise InputError(
            f"{target} holds what habitatmap {earlier.command} wrote; each command needs a folder of its own: give "
            "another one with --out"
        )
    if earlier is None and not is_interrupted(target) and (others := ours_by_name(target, command)):
        raise InputError(
            f"{target} holds {others[0]}, which no run of habitatmap {command} has written, and a file of that name "
            "is one of its results: give another folder with --out"
        )
    near = next(path for path in (target, *target.parents) if path.exists())
    if not near.is_dir():
        raise InputError(f"{near} is a file; a folder is expected there")
    if not os.access(near, os.W_OK | os.X_OK):
        raise InputError(f"{near} can't be written to: change its permissions, or give another folder with --out")


@contextmanager
def held(folder: str | Path) -> Iterator[None]:
    """Lets no other run write to a folder until the block ends. Raises HabitatmapError where the system refuses."""
    target = Path(folder).resolve()
    with ExitStack() as stack:
        with _told(target):
            stack.enter_context(alone_in(target))
        yield


def write_folder(
    target: Path, fill: Callable[[Path], None], command: str, record: Mapping[str, object] | None = None
) -> None:
    """Replaces what the last run of `command` wrote to `target` by the files that `fill` makes in an empty folder.

    All of them or none; what else lies in `target` stays, and a file of ours that somebody has changed is kept under
    another name, which is said. `record` of the run goes into the manifest. What a killed run left behind goes first.
    Raises HabitatmapError where the disk is full or refuses; the old files are whole in that case.
    """
    check_target(target, command)
    with held(target), _told(target):
        try:
            fresh = unfinished(target)
            check_target(target, command)  # again, as another run may have ended meanwhile
            fill(fresh)
            put_in_place(target, command, record)
        finally:
            throw_away(target)


@contextmanager
def _told(target: Path) -> Iterator[None]:
    """Makes a sentence of what the system refuses."""
    try:
        yield
    except (OSError, RasterioError, DataSourceError, DataLayerError) as fault:
        what = fault.strerror if isinstance(fault, OSError) and fault.strerror else str(fault)
        remedy = "Make room on the disk, or give another folder with --out, then run again"
        if isinstance(fault, PermissionError):
            what = f"{Path(str(fault.filename or target)).name} can't be replaced ({what})"
            remedy = "Close it in other programs, or see that you may write there, then run again"
        elif isinstance(fault, OSError) and is_too_long(fault):
            what, remedy = (
                "its names get longer than this system takes",
                "Give a shorter folder with --out, then run again",
            )
        elif isinstance(fault, OSError) and fault.errno not in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
            remedy = "See to the drive, or give another folder with --out, then run again"
        raise HabitatmapError(
            f"The results could not be written to {target}: {what}; what was there is as it was. {remedy}"
        ) from fault


def write_files(
    folder: str | Path,
    files: Mapping[str, Content],
    command: str,
    semicolons: bool = False,
    record: Mapping[str, object] | None = None,
) -> None:
    """`write_folder` with these files: a frame becomes CSV, a mapping JSON, text UTF-8; `semicolons` as in `csv_text`.

    A name may lead into a folder: `north/rounds.html`.
    """

    def fill(fresh: Path) -> None:
        for name, content in files.items():
            if isinstance(content, pd.DataFrame):
                content = csv_text(content, semicolons)
            elif isinstance(content, Mapping):
                content = json_text(content)
            (fresh / name).parent.mkdir(parents=True, exist_ok=True)
            (fresh / name).write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))

    write_folder(Path(folder).resolve(), fill, command, record)


def folder_names(groups: Sequence[str]) -> dict[str, str]:
    """A folder name for each group, of plain letters and digits whatever its name holds; the area's own ("") is own."""
    names: dict[str, str] = {}
    for group in groups:
        plain = re.sub(r"[^a-z0-9]+", "-", fold(group)).strip("-")[:40] or ("group" if group else "own")
        plain = f"group-{plain}" if is_reserved(plain) else plain
        again = sum(re.sub(r"-\d+$", "", name) == plain for name in names.values())
        names[group] = f"{plain}-{again + 1}" if again else plain
    return names
