"""Puts a new set of files in the place of an earlier one, in a folder where other people's files lie too.

The new set is made whole in a hidden folder inside. Then a journal says, file by file, what goes aside and what takes
its place, and that is done. A run that is killed before the journal leaves the old set; after it, the next run goes on
where it stopped. Whatever is not ours, or was changed since we wrote it, stays or gets another name.
"""

from __future__ import annotations

import json
import logging
import os
import shutil
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path, PurePosixPath

from habitatmap.export.manifest import (
    BESIDE,
    HIDDEN,
    MANIFEST,
    Manifest,
    above,
    earlier_result,
    files_in,
    is_within,
    read_manifest,
)
from habitatmap.read.hashes import fingerprint

log = logging.getLogger("habitatmap")

STAGE = f"{HIDDEN}unfinished"
NEW, OLD, JOURNAL = "new", "old", "journal.json"
YOURS = ".yours"
RETRIES_S = (0.05, 0.2, 0.5)  # some programs hold a file for a moment only, such as those that look for viruses


@dataclass(frozen=True)
class Step:
    """One file: the name that what stands there now gets ("" = nothing does), and whether a new one takes its place."""

    name: str
    aside: str
    new: bool


def is_interrupted(folder: Path) -> bool:
    """Whether a run was stopped while its files were put in place, which the next one completes. Links are not ours."""
    stage = folder / STAGE
    ours = (stage, stage / NEW, stage / OLD, stage / JOURNAL)
    return (stage / JOURNAL).exists() and not any(path.is_symlink() for path in ours)


def unfinished(folder: Path) -> Path:
    """Where the new set is made, empty. What a killed run left in the folder is completed first, or thrown away."""
    stage = folder / STAGE
    if is_interrupted(folder):
        steps, ours = _read_journal(stage / JOURNAL)
        for step in steps:
            _do(folder, step, [])
        _tell(folder, steps)
        _clear(folder, ours)
    if stage.is_symlink():
        stage.unlink()
    elif stage.exists():
        shutil.rmtree(stage)
    fresh = stage / NEW
    fresh.mkdir(parents=True)
    return fresh


def throw_away(folder: Path) -> None:
    """Takes the unfinished set away, unless the journal says that it must be completed."""
    if not is_interrupted(folder):
        shutil.rmtree(folder / STAGE, ignore_errors=True)


def put_in_place(folder: Path, command: str, record: Mapping[str, object] | None = None) -> None:
    """Replaces the files of the earlier run by those in the unfinished set, and leaves the manifest beside them.

    Raises OSError where the system refuses; the old set stands in that case.
    """
    fresh, journal = folder / STAGE / NEW, folder / STAGE / JOURNAL
    made = Manifest(command, {name: _safely(fresh / name) for name in files_in(fresh)}, record or {})
    (fresh / MANIFEST).write_text(made.text(), encoding="utf-8", newline="\n")
    earlier = earlier_result(folder) or Manifest(command)
    steps = _steps(folder, made, earlier)
    draft = journal.with_suffix(".draft")
    draft.write_text(json.dumps({"steps": [asdict(s) for s in steps], "ours": dict(earlier.files)}), encoding="utf-8")
    for written in (fresh / MANIFEST, draft):
        _safely(written)
    draft.replace(journal)
    done: list[tuple[Path, Path]] = []
    try:
        for step in steps:
            _do(folder, step, done)
    except BaseException:  # Ctrl-C too
        for before, after in reversed(done):
            after.rename(before)
        journal.unlink()
        raise
    _tell(folder, steps)
    _clear(folder, earlier.files)


def _steps(folder: Path, made: Manifest, earlier: Manifest) -> list[Step]:
    """What is to be done, the manifest last. A file that stays the same byte by byte is not touched."""
    steps: dict[str, Step] = {}
    for name in [*sorted(made.files.keys() | earlier.files.keys()), MANIFEST]:
        here, new = folder / name, name in made.files or name == MANIFEST
        hidden = [p for p in above(name) if _is_in_the_way(folder / p)]
        if hidden and not new:
            continue
        steps |= {p: Step(p, _free(folder, p), new=False) for p in hidden if p not in steps}
        if hidden or not os.path.lexists(here):
            aside = ""
        elif name in made.files and made.is_unchanged(folder, name):
            continue
        elif read_manifest(folder) if name == MANIFEST else earlier.is_unchanged(folder, name):
            aside = f"{STAGE}/{OLD}/{name}"
        else:
            aside = _free(folder, name)
        if aside or new:
            steps[name] = Step(name, aside, new)
    return list(steps.values())


def _is_in_the_way(path: Path) -> bool:
    """Whether something else stands where a folder of ours belongs; a link might lead out of the results."""
    return os.path.lexists(path) and (path.is_symlink() or not path.is_dir())


def _free(folder: Path, name: str) -> str:
    """Another name, of nothing yet, for what is kept."""
    path, n = PurePosixPath(name), 1
    while True:
        kept = str(path.with_name(f"{path.stem}{YOURS}{'' if n == 1 else f'-{n}'}{path.suffix}"))
        if not os.path.lexists(folder / kept):
            return kept
        n += 1


def _do(folder: Path, step: Step, done: list[tuple[Path, Path]]) -> None:
    """One step, of which any part may have been done before; `done` gets what is done now."""
    fresh, here = folder / STAGE / NEW / step.name, folder / step.name
    if step.new and not os.path.lexists(fresh):
        return
    if step.aside:
        for beside in (*BESIDE, "") if here.suffix == ".gpkg" else ("",):
            now, aside = folder / f"{step.name}{beside}", folder / f"{step.aside}{beside}"
            if os.path.lexists(now) and not os.path.lexists(aside):
                _move(now, aside, done)
    if step.new:
        if os.path.lexists(here):  # somebody has written it in this very moment
            _move(here, folder / _free(folder, step.name), done)
        _move(fresh, here, done)


def _move(before: Path, after: Path, done: list[tuple[Path, Path]]) -> None:
    """Renames a file. Raises OSError where another program holds it, and goes on holding it."""
    after.parent.mkdir(parents=True, exist_ok=True)
    for wait in (*RETRIES_S, None):
        try:
            before.rename(after)
            break
        except FileNotFoundError:  # somebody has taken it away in this very moment
            if os.path.lexists(before):
                raise
            return
        except PermissionError:
            if wait is None:
                raise
            time.sleep(wait)
    done.append((before, after))


def _tell(folder: Path, steps: Sequence[Step]) -> None:
    """Says what of other people's is kept under another name."""
    for step in steps:
        if step.aside and not step.aside.startswith(STAGE):
            log.warning(
                "%s in %s is not as habitatmap wrote it; it is kept as %s.", step.name, folder, Path(step.aside).name
            )


def _clear(folder: Path, ours: Mapping[str, str]) -> None:
    """Ends the exchange: what went aside is deleted where it is as we wrote it, and given back where it is not."""
    stage = folder / STAGE
    old, before = stage / OLD, Manifest("", {**ours, MANIFEST: ""})
    steps = [
        Step(name, _free(folder, name), new=False)
        for name in files_in(old)
        if not name.endswith(BESIDE) and not before.is_unchanged(old, name)
    ]
    for step in steps:
        _move(old / step.name, folder / step.aside, [])
    _tell(folder, steps)
    (stage / JOURNAL).unlink(missing_ok=True)
    shutil.rmtree(stage, ignore_errors=True)
    for one in sorted({p for name in ours if is_within(name) for p in above(name)}, reverse=True):
        with suppress(OSError):  # something lies there, it is a link, or it is gone
            (folder / one).rmdir()


def _read_journal(path: Path) -> tuple[list[Step], dict[str, str]]:
    """What a killed run had still to do; nothing where it was killed before. No step leads out of the folder."""
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
        steps, ours = [Step(**step) for step in content["steps"]], dict(content["ours"])
    except (OSError, ValueError, KeyError, TypeError):
        return [], {}
    folder = path.parent.parent
    return [step for step in steps if _stays_within(folder, step)], ours


def _stays_within(folder: Path, step: Step) -> bool:
    aside = step.aside.removeprefix(f"{STAGE}/{OLD}/") if isinstance(step.aside, str) else None
    if not is_within(step.name) or aside is None or (aside and not is_within(aside)):
        return False
    tops = (folder, folder / STAGE / NEW, folder / STAGE / OLD)
    return not any((top / p).is_symlink() for top in tops for name in (step.name, aside) for p in above(name))


def _safely(path: Path) -> str:
    """Has a file written to the disk itself, and gives its fingerprint."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())
    return fingerprint(path)
