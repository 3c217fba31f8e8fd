"""One run at a time writes into a folder. The lock is the system's own, so that with its process it is gone."""

from __future__ import annotations

import errno
import logging
import os
import socket
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from habitatmap.errors import InputError

log = logging.getLogger("habitatmap")

LOCK = ".habitatmap.lock"
PATIENCE_S = 600.0  # a second run waits so long for the first
POLL_S = 0.2
NO_LINK = getattr(os, "O_NOFOLLOW", 0)  # a link in a folder that somebody sent might lead to any file
_NO_LOCKS = {errno.ENOLCK, errno.ENOSYS, errno.EOPNOTSUPP, errno.EINVAL}  # what drives without locks answer
_held: set[tuple[int, Path]] = set()  # thread and folder: who holds a folder may take it again


@contextmanager
def alone_in(folder: Path) -> Iterator[None]:
    """Holds `folder`, which is made where it is absent, until the block ends; a second run waits, and says for whom.

    Raises InputError where the other run goes on for PATIENCE_S, OSError where the folder can't be written.
    """
    key = (threading.get_ident(), folder)
    if key in _held:
        yield
        return
    made = not folder.exists()
    file = _take(folder)
    _held.add(key)
    try:
        yield
    finally:
        _held.discard(key)
        with suppress(OSError):  # Windows takes no open file away
            (folder / LOCK).unlink()
        os.close(file)
        if sys.platform == "win32":
            with suppress(OSError):
                (folder / LOCK).unlink()
        if made:
            with suppress(OSError):  # it is not empty where something was written
                folder.rmdir()


def _take(folder: Path) -> int:
    """The lock of a folder, held: the number of its open file."""
    until, told = time.monotonic() + PATIENCE_S, False
    while True:
        folder.mkdir(parents=True, exist_ok=True)  # the run that is waited for may have taken its own away again
        try:
            file = os.open(folder / LOCK, os.O_RDWR | os.O_CREAT | NO_LINK, 0o666)
        except FileNotFoundError:
            continue
        if _lock(file, folder) and _is_still(file, folder / LOCK):
            os.ftruncate(file, 0)
            os.write(file, f"process {os.getpid()} on {socket.gethostname()}".encode())
            return file
        holder = _holder(file)
        os.close(file)
        if time.monotonic() > until:
            raise InputError(
                f"{holder} has been writing to {folder} for {PATIENCE_S / 60:.0f} minutes, and nothing was changed: "
                "end that run, or give another folder with --out"
            )
        if not told:
            log.warning("%s is writing to %s; waiting for it. Ctrl-C stops the waiting.", holder, folder)
            told = True
        time.sleep(POLL_S)


def _lock(file: int, folder: Path) -> bool:
    """Takes the lock of an open file, False where another run has it."""
    try:
        if sys.platform == "win32":
            import msvcrt

            os.lseek(file, 1 << 30, os.SEEK_SET)  # far behind the text, which others may read
            msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
            os.lseek(file, 0, os.SEEK_SET)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as fault:
        if fault.errno not in _NO_LOCKS:
            return False
        log.warning("The drive of %s has no locks: let no other run write there at the same time.", folder)
    return True


def _is_still(file: int, path: Path) -> bool:
    """Whether an open file is the one of that name: the run that held it before takes it away."""
    try:
        return os.path.samestat(os.fstat(file), path.stat())
    except FileNotFoundError:
        return False


def _holder(file: int) -> str:
    """Who holds a lock, in its own words; no control character of a file reaches the terminal."""
    with suppress(OSError):
        os.lseek(file, 0, os.SEEK_SET)
        said = os.read(file, 200).decode("utf-8", "replace")
        if said and said.isprintable():
            return f"Another run ({said})"
    return "Another run"
