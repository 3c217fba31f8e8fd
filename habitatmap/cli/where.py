"""Where the tiles of a run are worked out, with how much memory, and what it is likely to cost."""

from __future__ import annotations

import errno
import json
import logging
import os
import re
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import click

if TYPE_CHECKING:
    from distributed import Client

    from habitatmap.area import Area
    from habitatmap.cli.options import Call
    from habitatmap.geo.engine import Engine
    from habitatmap.sentences import Sentence

log = logging.getLogger("habitatmap")

UNITS = {"": 1, "B": 1, "KB": 10**3, "MB": 10**6, "GB": 10**9}
NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
LEAST_MEMORY = 700_000_000  # what a run of any area takes
# measured 2026-11-30 on two cores, with areas of 0.16 to 400 million cells
START_S, NS_A_CELL = 15, 2_500
START_MEMORY, MEMORY_BYTES_A_CELL, MOST_MEMORY = 650_000_000, 90, 1_300_000_000
SCRATCH_BYTES_A_CELL, OUT_BYTES_A_CELL = 190, 18  # files while it runs, and results
KEPT_BYTES_A_CELL, IN_THEIR_PLACE = 66, 41  # of finished tiles, and of files that are not there because of them
NOT_KEPT = "The disk has no room to keep what is finished: --resume could not go on with this run."


class Where(NamedTuple):
    """What the options say."""

    cluster: str | None
    memory: int | None
    resume: bool


def _bytes(_context: click.Context, _option: click.Parameter, value: str | None) -> int | None:
    """The bytes of a size such as 2GB; says what was found and what was expected where it is none."""
    if value is None:
        return None
    found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*([KMG]?B?)\s*", value, re.IGNORECASE)
    unit = (found[2].upper() + "B")[:2] if found and found[2] else ""
    if found is None or unit not in UNITS:
        raise click.BadParameter(f"{value!r} is no size; expected a number and MB or GB, such as 2GB.")
    size = int(float(found[1]) * UNITS[unit])
    if size < LEAST_MEMORY:
        raise click.BadParameter(f"{value} is too little; expected at least {LEAST_MEMORY // 10**6} MB.")
    return size


def where_options(function: Callable[..., None]) -> Callable[..., None]:
    """The options of a command that goes through all cells; they come to it as `cluster`, `memory` and `resume`."""
    for option in (
        click.option("--resume", is_flag=True, help="Go on from the finished tiles of a run that was ended."),
        click.option(
            "--memory",
            metavar="SIZE",
            callback=_bytes,
            help="Keep a large area within about so much memory, such as 2GB.",
        ),
        click.option("--cluster", metavar="ADDRESS", help="Work tiles out on this Dask scheduler: tcp://HOST:8786"),
    ):
        function = option(function)
    return function


@contextmanager
def engine_for(call: Call, area: Area, where: Where) -> Iterator[Engine]:
    """Where the run of an area is done. What it has finished is kept beside the results until it ends, by itself or for
    want of room on the disk; not where it is stopped, killed, or loses its cluster. Nothing is kept where the disk has
    no room for more than the run itself.

    Raises InputError where no scheduler answers.
    """
    from habitatmap.errors import HabitatmapError
    from habitatmap.export.worked import record_of
    from habitatmap.geo import scratch
    from habitatmap.geo.engine import KEPT_FROM, Engine, KeptTiles
    from habitatmap.sentences import say

    scratch.few_heaps()
    if where.memory is not None:
        scratch.allow(where.memory)
    client = _client(where.cluster) if where.cluster else None
    cells, folder = area.grid.rows * area.grid.cols, call.target.with_name(f".{call.target.name}-tiles")
    kept: KeptTiles | None = KeptTiles(folder, json.dumps(record_of(area), sort_keys=True), where.resume)
    if cells >= KEPT_FROM and not folder.exists() and not _has_room(call.target, cells):
        kept = None
        log.info("%s", call.spoken(area).say(say(NOT_KEPT)))
    try:
        yield Engine(client=client, kept=kept)
    except OSError as fault:
        if kept is not None and fault.errno in NO_ROOM:
            kept.drop()
        if fault.errno in NO_ROOM:
            raise HabitatmapError(
                f"There is no room for the rasters of a run in {tempfile.gettempdir()} ({fault.strerror}): make room "
                "there, or name another folder in TMPDIR; `habitatmap map --dry-run` tells how much it takes"
            ) from fault
        raise
    else:
        if kept is not None:
            kept.drop()
    finally:
        if client is not None:
            close: Any = client.close
            close()


def _has_room(target: Path, cells: int) -> bool:
    """Whether the disk of the results has room for finished tiles beside the run itself."""
    above = next(folder for folder in target.absolute().parents if folder.exists())
    takes = OUT_BYTES_A_CELL + KEPT_BYTES_A_CELL
    if above.stat().st_dev == os.stat(tempfile.gettempdir()).st_dev:
        takes += SCRATCH_BYTES_A_CELL - IN_THEIR_PLACE
    return shutil.disk_usage(above).free >= cells * takes


def _client(address: str) -> Client:
    from habitatmap.errors import InputError

    try:
        import distributed
    except ImportError:
        raise InputError(
            "--cluster needs the packages of the extra scale; install them: pip install 'habitatmap[scale]'"
        ) from None
    try:
        connect: Any = distributed.Client
        client: Client = connect(address, timeout=10, set_as_default=False)
        return client
    except (OSError, ValueError, TypeError) as fault:
        raise InputError(
            f"--cluster {address}: no Dask scheduler answered there ({type(fault).__name__}); start one with "
            "`dask scheduler`, and give the address it prints"
        ) from None


def likely_cost(area: Area, where: Where) -> tuple[Sentence, dict[str, float]]:
    """What a run of the area is likely to take, as a sentence and as figures (bytes, seconds)."""
    from habitatmap.geo import scratch
    from habitatmap.geo.engine import KEPT_FROM
    from habitatmap.sentences import say

    cells = area.grid.rows * area.grid.cols
    memory = min(START_MEMORY + cells * MEMORY_BYTES_A_CELL, where.memory or MOST_MEMORY)
    disk = cells * OUT_BYTES_A_CELL
    disk += cells * SCRATCH_BYTES_A_CELL if cells * 4 >= scratch.LARGE else 0
    disk += cells * (KEPT_BYTES_A_CELL - IN_THEIR_PLACE) if cells >= KEPT_FROM else 0
    seconds = START_S + cells * NS_A_CELL / 1e9
    tiles = -(-area.grid.rows // 1024) * -(-area.grid.cols // 1024)
    told = say(
        "{cells} cells, {tiles} tiles: about {memory} MB of memory, {disk} MB of disk and {minutes} min.",
        cells=cells,
        tiles=tiles,
        memory=int(memory / 1e6),
        disk=int(disk / 1e6),
        minutes=max(1, round(seconds / 60)),
    )
    figures: dict[str, float] = {
        "cells": cells,
        "tiles": tiles,
        "memory": memory,
        "disk": disk,
        "seconds": round(seconds),
    }
    return told, figures
