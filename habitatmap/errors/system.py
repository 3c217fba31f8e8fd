"""What an operating system refuses, as sentences: files that may not be opened, and names that it can't give."""

from __future__ import annotations

import errno
import sys
from pathlib import Path

from habitatmap.errors import InputError

ON_WINDOWS = sys.platform == "win32"
LONGEST_ON_WINDOWS = 259  # letters of a whole path, where long ones are not switched on
RESERVED = {
    "con",
    "prn",
    "aux",
    "nul",
    "conin$",
    "conout$",
    *(f"{port}{n}" for port in ("com", "lpt") for n in range(1, 10)),
}
NO_LETTERS = '<>:"|?*'
SHOWN = 60  # letters of a long name

HELD = "close it in other programs, or see that you may read and write it, then run again"
DRIVE = "see to the drive, then run again"
TO_DO = {
    errno.EACCES: HELD,
    errno.EPERM: HELD,
    errno.EBUSY: HELD,
    errno.EROFS: "the drive may only be read: give another folder with --out",
    errno.ENOSPC: "make room on the disk, then run again",
    errno.EIO: DRIVE,
    errno.ESTALE: DRIVE,
    errno.ENODEV: DRIVE,
    errno.EMFILE: "too many files are open: close other programs, then run again",
}


def refused(fault: OSError) -> str:
    """The sentence for what the system refuses; "" where the fault may as well be the program's own."""
    name = str(fault.filename or "")
    if is_too_long(fault):
        shown = name if len(name) <= SHOWN else f"{name[:SHOWN]}..."
        return f"{shown} is a longer name than this system takes ({len(name)} letters): give a shorter one"
    if fault.errno not in TO_DO or not name:
        return ""
    return f"{Path(name).name} can't be opened or written ({fault.strerror}): {TO_DO[fault.errno]}"


def is_too_long(fault: OSError) -> bool:
    """Whether a name is too long. Windows says of such a path that there is none."""
    hidden = ON_WINDOWS and isinstance(fault, FileNotFoundError) and len(str(fault.filename)) > LONGEST_ON_WINDOWS
    return fault.errno == errno.ENAMETOOLONG or hidden


def is_reserved(name: str) -> bool:
    """Whether Windows keeps a name for a device, with whatever ending."""
    return name.partition(".")[0].rstrip(" ").casefold() in RESERVED


def check_new_folder(folder: Path) -> None:
    """Refuses, on Windows, a folder that it would give another name or none. Raises InputError."""
    if not ON_WINDOWS:
        return
    for part in folder.absolute().parts[1:]:
        if is_reserved(part):
            why = "Windows keeps this name for a device"
        elif part[-1] in ". ":
            why = "Windows drops the dot or blank at its end"
        elif letters := [letter for letter in NO_LETTERS if letter in part]:
            why = f"Windows has no {letters[0]} in names"
        else:
            continue
        raise InputError(f"{folder} can't be made: {why} ({part}); give a folder of another name")
