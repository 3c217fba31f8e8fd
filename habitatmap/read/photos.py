"""Photos beside records: files in photos/ that a row of pools or visits names, made small for the team's page.

Of a file nothing is kept but its pixels. Where it was taken is told and never taken over: a photo may show another
place, and a telephone may not know where it is.
"""

from __future__ import annotations

import io
import math
import re
import struct
import warnings
import zlib
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import pandas as pd
from PIL import Image, ImageOps, UnidentifiedImageError
from pyproj import CRS, Transformer

from habitatmap.errors.why import Why
from habitatmap.geo.crs import WGS84, transformer
from habitatmap.read.formats.table import Stated
from habitatmap.read.groups import group_folders, group_of
from habitatmap.read.ledger import Ledger, in_row, some
from habitatmap.read.rows import cell_aside
from habitatmap.sentences import Quantity, Sentence, count, say
from habitatmap.vocabulary.kinds import Kind

FOLDER = "photos"
SIDE = 320  # pixels: a shown photo is no wider and no higher
MOST_BYTES = 3_000_000  # of all shown photos: the page stays one that a telephone opens at once
FAR_M = 50.0  # farther from its pool than a telephone errs under trees (expert judgement)
# a picture with more pixels is not opened: a small file can hold one that fills the memory
MOST_PIXELS = Image.MAX_IMAGE_PIXELS or 89_478_485
FORMATS = ("JPEG", "PNG", "WEBP", "GIF", "TIFF", "BMP")
CANT_BE_OPENED = (".heic", ".heif", ".avif", ".dng", ".cr2", ".nef", ".arw", ".mp4", ".mov", ".pdf", ".svg")
# what Pillow raises where a file is not what it says it is
DAMAGED: tuple[type[Exception], ...] = (
    *(OSError, SyntaxError, ValueError, LookupError, ArithmeticError, TypeError, AttributeError, EOFError),
    *(struct.error, zlib.error, MemoryError),
)
NO_PLACE = {Why.NO_COLUMNS, Why.NO_PLACE, Why.HALF_A_PLACE}
LINK = re.compile(r"\s*(https?:|www\.)", re.IGNORECASE)


class Photo(NamedTuple):
    """A photo of a pool as the team's page shows it: WebP, at most SIDE pixels wide and high, without metadata."""

    pool: str
    file: str
    day: str  # of the visit (ISO), "" where the pool's own row names it
    small: bytes


class Named(NamedTuple):
    """A row that names photos: its pool, the folder of the pool's group, the day of a visit, the row for a person, and
    where the pool stands and how far off that may be (metres), None where it has no place."""

    pool: str
    group: str
    day: str
    cell: str
    row: Sentence
    at: tuple[float, float, float] | None


@dataclass(frozen=True)
class Opened:
    """What is known of a file: where it was taken (lon, lat), its picture made small, or why there is none."""

    place: tuple[float, float] | None
    small: bytes
    fault: Sentence | None = None


def read_photos(
    folder: Path, pools: pd.DataFrame, visits: pd.DataFrame, crs: CRS, stated: Stated, ledger: Ledger
) -> tuple[Photo, ...]:
    """The photos that rows name, the first of each pool before the second of any; remarks on all that can't be shown.

    pools, visits: frames as their readers give them, x and y in metres of `crs`. A row of pools without a place names
    photos too: where they were taken is offered.
    """
    rows = [*_of_pools(pools), *_of_visits(visits, pools), *_without_place(stated, ledger)]
    if not rows:
        return ()
    shelves = _shelves(folder)
    found: list[tuple[Named, str, Path]] = []
    missing, links = [], 0
    for row in rows:
        shelf = shelves[""] | shelves.get(row.group, {})
        for name in _names_in(row.cell, shelf):
            if LINK.match(name):
                links += 1
            elif path := shelf.get(_key(name)):
                found.append((row, name, path))
            else:
                missing.append(say("{name} ({row})", name=name, row=row.row))
    if missing:
        told = "Photos that do not lie in photos/: {photos}. Put the files there, or correct their names"
        ledger.remark(say(told, photos=some(missing)))
    if links:
        told = "{photos} named by a link: nothing is loaded from the web; put the files into photos/"
        ledger.tell(say(told, photos=count(links, "photo")))
    return _made_small(found, transformer(WGS84, crs), ledger)


def _of_pools(pools: pd.DataFrame) -> Iterator[Named]:
    for row in pools[pools["photo"] != ""].to_dict("records"):
        yield Named(row["pool"], row["group"], "", row["photo"], _told(row), (row["x"], row["y"], row["uncertainty_m"]))


def _of_visits(visits: pd.DataFrame, pools: pd.DataFrame) -> Iterator[Named]:
    """Those of the newest visits first."""
    at = pools.drop_duplicates("pool").set_index("pool")[["x", "y", "uncertainty_m", "group"]]
    with_photos = visits[visits["photo"] != ""].sort_values("date", ascending=False, kind="stable")
    for row in with_photos.to_dict("records"):
        x, y, off, group = at.loc[row["pool"]]
        yield Named(row["pool"], group, row["date"].date().isoformat(), row["photo"], _told(row), (x, y, off))


def _told(row: Mapping[Hashable, object]) -> Sentence:
    return in_row(str(row["file"]), row["row"])


def _without_place(stated: Stated, ledger: Ledger) -> Iterator[Named]:
    """Rows of pools that were set aside as they have no coordinates."""
    for entry in ledger.entries(Kind.POOLS):
        table = entry.table
        if table is None or not NO_PLACE & {entry.why.code, *(fault.why.code for fault in entry.more)}:
            continue
        cell = cell_aside(entry, Kind.POOLS, "photo", stated)
        if cell:
            yield Named(entry.about, table.group, "", cell, in_row(entry.file, entry.row), None)


# --- files ------------------------------------------------------------------------------------------------------------


def _shelves(folder: Path) -> dict[str, dict[str, Path]]:
    """The files of photos/ by their name, the area's own ("") and those of each group; a link out of it is no file."""
    shelves = {}
    for name, top in [("", folder), *((group_of(group / FOLDER, folder), group) for group in group_folders(folder))]:
        shelf: dict[str, Path] = {}
        for photos in (p for p in sorted(top.iterdir()) if p.is_dir() and p.name.casefold() == FOLDER):
            home = photos.resolve()
            for path in sorted(photos.rglob("*")):
                if path.is_file() and path.resolve().is_relative_to(home):
                    shelf.setdefault(_key(path.name), path)
        shelves[name] = shelf
    return shelves


def _key(name: str) -> str:
    """How a file is looked up: by its name alone, whatever folder a cell names and however it is written."""
    return re.split(r"[\\/]", name.strip())[-1].casefold()


def _names_in(cell: str, shelf: dict[str, Path]) -> Iterator[str]:
    """The names in a cell, parted by ; or line ends, or by commas where no file is called so."""
    for part in filter(None, map(str.strip, re.split(r"[;\r\n]", cell))):
        if _key(part) in shelf or LINK.match(part):
            yield part
        else:
            yield from filter(None, map(str.strip, part.split(",")))


# --- pictures ---------------------------------------------------------------------------------------------------------


def _made_small(found: Sequence[tuple[Named, str, Path]], to_metres: Transformer, ledger: Ledger) -> tuple[Photo, ...]:
    """The photos to show, as many as MOST_BYTES hold, and remarks on the others and on where they were taken."""
    turn: dict[str, int] = {}
    order = []
    for row, name, path in found:
        turn[row.pool] = turn.get(row.pool, 0) + 1
        order.append((turn[row.pool], row, name, path))
    shown: list[Photo] = []
    left_out, unreadable, far, offered, size = 0, [], [], [], 0
    for _, row, name, path in sorted(order, key=lambda one: one[0]):
        status = path.stat()
        opened = _opened(path, status.st_size, status.st_mtime_ns)
        if opened.fault:
            unreadable.append(say("{name} ({row}): {fault}", name=name, row=row.row, fault=opened.fault))
            continue
        if opened.place is not None:
            place = f"{opened.place[1]:.5f}, {opened.place[0]:.5f}"
            taken: dict[str, str] = {"name": name, "place": place, "row": row.row}
            if row.at is None:
                pool = row.pool or Sentence("a pool")
                offered.append(say("{name} was taken at {place}, and {pool} ({row}) has no place", **taken, pool=pool))
            elif (metres := math.dist(to_metres.transform(*opened.place), row.at[:2])) > FAR_M + max(0.0, row.at[2]):
                told = "{name} was taken at {place}, {far} from pool {pool} ({row})"
                far.append(say(told, **taken, far=_distance(metres), pool=row.pool))
        if row.at is None:
            continue
        if size + len(opened.small) > MOST_BYTES:
            left_out += 1
            continue
        size += len(opened.small)
        shown.append(Photo(row.pool, name, row.day, opened.small))
    _tell(ledger, unreadable, offered, far)
    if left_out:
        told = (
            "The team's page shows {photos} and leaves {n} out, to stay below {size}. A second photo of a pool is "
            "shown after the first of every pool"
        )
        size_shown = Quantity(MOST_BYTES // 1_000_000, unit="MB")
        ledger.tell(say(told, photos=count(len(shown), "photo"), n=left_out, size=size_shown))
    return tuple(shown)


def _tell(ledger: Ledger, unreadable: Sequence[str], offered: Sequence[str], far: Sequence[str]) -> None:
    if unreadable:
        ledger.remark(say("Photos that are not shown: {photos}", photos=some(unreadable)))
    if offered:
        told = (
            "Photos of pools without a place: {photos}. Nothing is taken over: if a photo shows where the pool stands, "
            "write its latitude and longitude into the pool's row"
        )
        ledger.remark(say(told, photos=some(offered)))
    if far:
        told = (
            "Photos taken far from their pool: {photos}. The photo may be of another pool, or the pool's place may be "
            "wrong; nothing is changed"
        )
        ledger.remark(say(told, photos=some(far)))


def _distance(metres: float) -> Quantity:
    return Quantity(metres, unit="m") if metres < 10_000 else Quantity(metres / 1000, unit="km", grouped=True)


@lru_cache(maxsize=2000)
def _opened(path: Path, size: int, changed_ns: int) -> Opened:
    """A file opened once, however often its area is read; size and changed_ns tell a file that was changed since."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of sizes (looked at below) and of odd metadata
            with Image.open(path, formats=FORMATS) as picture:
                width, height = picture.size
                if width * height > MOST_PIXELS:
                    size_is = say("{width} x {height} pixels", width=width, height=height)
                    return Opened(None, b"", _too_large(size_is))
                return Opened(_taken_at(picture), small_picture(picture))
    except Image.DecompressionBombError:
        return Opened(None, b"", _too_large(say("more than {n} million pixels", n=2 * MOST_PIXELS // 1_000_000)))
    except UnidentifiedImageError:
        if path.suffix.casefold() in CANT_BE_OPENED:
            kind = path.suffix[1:].upper()
            told = "a file of the kind {kind} can't be opened here; save it as JPEG and name that"
            return Opened(None, b"", say(told, kind=kind))
        return Opened(None, b"", Sentence("it is no picture that can be opened; save it as JPEG, PNG or WebP"))
    except DAMAGED:
        return Opened(None, b"", Sentence("the file breaks off or is damaged; copy it from the camera again"))


def _too_large(pixels: Sentence) -> Sentence:
    told = "it has {pixels}, and at most {n} million are opened; save it smaller"
    return say(told, pixels=pixels, n=MOST_PIXELS // 1_000_000)


def small_picture(picture: Image.Image) -> bytes:
    """The pixels alone, upright, scaled to SIDE: put into a new picture, which has no metadata."""
    picture.draft("RGB", (2 * SIDE, 2 * SIDE))  # a JPEG is decoded at a part of its size
    upright = ImageOps.exif_transpose(picture)
    upright.thumbnail((SIDE, SIDE))
    bare = Image.new("RGB", upright.size, "white")
    with_alpha = upright.convert("RGBA")
    bare.paste(with_alpha, mask=with_alpha.getchannel("A"))
    out = io.BytesIO()
    bare.save(out, "WEBP", quality=60, method=4)
    return out.getvalue()


def _taken_at(picture: Image.Image) -> tuple[float, float] | None:
    """lon, lat (degrees) where its metadata say that it was taken; None where they say nothing that can be true."""
    try:
        gps = picture.getexif().get_ifd(0x8825)
        lat, lon = (_degrees(gps[at], str(gps[sign])) for sign, at in ((1, 2), (3, 4)))
    except DAMAGED:
        return None
    if not (abs(lat) <= 90 and abs(lon) <= 180) or (lat == 0 and lon == 0):
        return None
    return lon, lat


def _degrees(parts: Iterable[float], sign: str) -> float:
    """Degrees from degrees, minutes and seconds; NaN where they are none."""
    d, m, s = (float(part) for part in parts)
    return (d + m / 60 + s / 3600) * (-1 if sign.strip("\0 ").upper() in ("S", "W") else 1)
