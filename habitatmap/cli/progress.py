"""How far a run is. On a terminal one line is written again and again: the stage, how long it has taken, and about how
long the rest takes where the last run tells. Elsewhere, and with -v, each stage is a line of its own.
"""

from __future__ import annotations

import json
import logging
import os
import shutil
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from habitatmap.area import Area

log = logging.getLogger("habitatmap")

EVERY_S = 1.0
WRITING = "writing"  # the last stage of a run, after those that find something out
YEARS = "years"  # what the outlook does after a run
LEFT = "{stage}; about {left} left"
Expected = Mapping[str, float]


def seconds_before(area: Area, out: Path) -> dict[str, float]:
    """Stage -> seconds that it took the last `map` of this area; nothing where that was with other settings or of other
    cells, as nobody knows then."""
    from habitatmap.export.manifest import MANIFEST, read_manifest
    from habitatmap.export.worked import record_of

    earlier = read_manifest(out)
    if earlier is None or earlier.record.get("settings") != record_of(area)["settings"]:
        return {}
    try:
        summary = json.loads((out / "summary.json").read_text(encoding="utf-8"))
        if summary["cells"] != area.grid.rows * area.grid.cols:
            return {}
        took = {str(stage): float(seconds) for stage, seconds in summary["seconds"].items()}
        # no file can hold how long it took to write it; the summary is among the first of them, the manifest the last
        wrote = (out / MANIFEST).stat().st_mtime - (out / "summary.json").stat().st_mtime
        return took | {WRITING: max(0.0, wrote)}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return {}


class Progress:
    """The seconds that each stage has taken so far, and what is left of those expected."""

    def __init__(self, expected: Expected | None = None, clock: Callable[[], float] = time.monotonic) -> None:
        self.seconds: dict[str, float] = {}
        self._expected, self._clock = dict(expected or {}), clock
        self.stage, self._since = "", clock()

    def begin(self, stage: str) -> None:
        """A stage begins, and the one before it has ended."""
        now = self._clock()
        if self.stage:
            self.seconds[self.stage] = now - self._since
        self.stage, self._since = stage, now

    @property
    def elapsed(self) -> float:
        """Seconds of the stage that runs."""
        return self._clock() - self._since

    @property
    def left(self) -> float | None:
        """Seconds that the run still takes, at the pace of its stages so far; None where that is not known."""
        if self.stage not in self._expected:
            return None
        done = [stage for stage in self.seconds if stage in self._expected]
        planned = sum(self._expected[stage] for stage in done)
        pace = sum(self.seconds[stage] for stage in done) / planned if planned > 0 else 1.0
        later = sum(s for stage, s in self._expected.items() if stage not in self.seconds and stage != self.stage)
        here = pace * self._expected[self.stage] - self.elapsed
        return pace * later + here if here > 0 else None  # a stage that takes longer than it should tells nothing

    def line(self, told: str, left_told: str = LEFT) -> str:
        """The line for a terminal; `told`: the stage in words; `left_told`: `LEFT` in its reader's language."""
        left, stage = self.left, f"{told}: {_duration(self.elapsed)}"
        return stage if left is None else left_told.format(stage=stage, left=_about(left))


def _about(seconds: float) -> str:
    """A duration no finer than it can be known."""
    step = 5 if seconds < 60 else 10 if seconds < 300 else 60
    return _duration(max(step, step * round(seconds / step)))


def _duration(seconds: float) -> str:
    minutes, rest = divmod(int(seconds), 60)
    return f"{rest} s" if not minutes else f"{minutes} min {rest} s" if rest else f"{minutes} min"


class _Line:
    """One line of a terminal, which is written over. Blanks take the old one away: not every terminal knows more."""

    def __init__(self, stream: TextIO) -> None:
        self._stream, self._shown, self._lock = stream, "", threading.RLock()

    def show(self, text: str) -> None:
        with self._lock:
            text = text[: max(0, shutil.get_terminal_size().columns - 1)]
            self._stream.write("\r" + text.ljust(len(self._shown)))
            self._stream.flush()
            self._shown = text

    def clear(self, _record: logging.LogRecord | None = None) -> bool:
        """Also a filter of log records, none of which it holds back: each begins on a line without anything."""
        with self._lock:
            if self._shown:
                self._stream.write("\r" + " " * len(self._shown) + "\r")
                self._stream.flush()
                self._shown = ""
        return True


def is_rewritable(stream: TextIO) -> bool:
    """Whether somebody sees one line written over: on a terminal, unless -v or -q ask for something else."""
    return stream.isatty() and os.environ.get("TERM") != "dumb" and log.getEffectiveLevel() == logging.INFO


@contextmanager
def on_one_line(
    progress: Progress, words: Mapping[str, str], stream: TextIO, left_told: str = LEFT
) -> Iterator[Callable[[str], None]]:
    """Shows `progress` on one line of a terminal until the block ends, and takes the line away; gives what a stage is
    to be begun with. `words`: stage -> how it is told; `left_told`: `LEFT` in the same language."""
    line, over = _Line(stream), threading.Event()
    handlers = list(logging.getLogger().handlers)

    def begin(stage: str) -> None:
        progress.begin(stage)
        line.show(progress.line(words[stage], left_told))

    def tick() -> None:
        while not over.wait(EVERY_S):
            if progress.stage:
                line.show(progress.line(words[progress.stage], left_told))

    ticking = threading.Thread(target=tick, daemon=True)
    for handler in handlers:
        handler.addFilter(line.clear)
    ticking.start()
    try:
        yield begin
    finally:
        over.set()
        ticking.join()
        for handler in handlers:
            handler.removeFilter(line.clear)
        line.clear()
