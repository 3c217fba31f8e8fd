"""Archives: which inputs lie in a zip, and one of them taken out, never more than may be unpacked.

A file in an archive has a path that goes on behind the archive's: `my_town/export.zip/2024/pools.csv`.
"""

from __future__ import annotations

import shutil
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath

from habitatmap.errors import InputError

# what an archive or a workbook, which is one, may unpack to; and how often a large one may be larger than itself
LARGEST_UNPACKED = 1_000_000_000
LARGE, MOST_TIMES = 50_000_000, 200
# the parts of a shapefile that are read
SHAPE_PARTS = (".shp", ".shx", ".dbf", ".prj", ".cpg")


def archive_of(path: Path) -> Path | None:
    """The archive that a path leads into, None where it is a file of the folder itself."""
    return next((p for p in path.parents if p.suffix.casefold() == ".zip" and p.is_file()), None)


def file_name(path: Path) -> str:
    """How to name an input for a person: its name, behind that of its archive where it lies in one."""
    archive = archive_of(path)
    return f"{archive.name}/{path.relative_to(archive).as_posix()}" if archive else path.name


def members(archive: Path) -> list[Path]:
    """The files in an archive in the order of their names, without those that systems add. InputError if damaged."""
    try:
        with zipfile.ZipFile(archive) as parts:
            names = sorted(part.filename for part in parts.infolist() if not part.is_dir())
    except (zipfile.BadZipFile, OSError, NotImplementedError) as error:
        raise _damaged(archive.name) from error
    return [
        archive / name for name in names if not any(p.startswith((".", "__", "~$")) for p in PurePosixPath(name).parts)
    ]


@contextmanager
def taken_out(path: Path) -> Iterator[Path]:
    """An input as a file that can be opened: itself, or a copy out of its archive that goes when it is done with."""
    archive = archive_of(path)
    if archive is None:
        yield path
        return
    inner = PurePosixPath(path.relative_to(archive).as_posix())
    with tempfile.TemporaryDirectory() as folder:
        try:
            with zipfile.ZipFile(archive) as parts:
                refuse_trap(parts, archive.name)
                for name in parts.namelist():
                    found = PurePosixPath(name)
                    end = found.suffix.casefold()
                    beside = inner.suffix.casefold() == ".shp" and end in SHAPE_PARTS
                    if found == inner or (beside and found.with_suffix("") == inner.with_suffix("")):
                        with parts.open(name) as source, open(Path(folder) / f"input{end}", "wb") as copy:
                            shutil.copyfileobj(source, copy)
        except RuntimeError as error:  # a password, or a way of packing that is not known
            raise InputError(
                f"{archive.name} cannot be unpacked ({error}); make the zip again, without a password"
            ) from error
        except (zipfile.BadZipFile, zlib.error, OSError, EOFError) as error:
            raise _damaged(archive.name) from error
        yield Path(folder) / f"input{inner.suffix.casefold()}"


def refuse_trap(parts: zipfile.ZipFile, file: str) -> None:
    """InputError where an archive says it would unpack beyond all measure, or is not what it says."""
    size = sum(part.file_size for part in parts.infolist())
    packed = sum(part.compress_size for part in parts.infolist())
    if size > LARGEST_UNPACKED or size > max(LARGE, packed * MOST_TIMES):
        raise InputError(
            f"{file} would unpack from {packed / 1e6:.1f} MB to {size / 1e6:,.0f} MB, which is no table a person made; "
            "split it, or save it as csv"
        )


def _damaged(name: str) -> InputError:
    return InputError(f"{name} cannot be unpacked, it may have been cut short; make the zip again")
