"""Forgetting people: every file is made anew without them in a hidden folder, checked, and put in place in one go.

A journal says, file by file, what goes and what takes its place. A run that is killed before the journal has changed
nothing; after it, the next run goes on where it stopped. What was there before is deleted at the end: no copy with the
name is left behind.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from habitatmap.errors import HabitatmapError, InputError
from habitatmap.export.manifest import HIDDEN, MANIFEST, Manifest, above, at_work, earlier_result
from habitatmap.export.replace import RETRIES_S
from habitatmap.persons.databases import CannotChangeError
from habitatmap.persons.folder import (
    Hits,
    Renaming,
    edit_file,
    files_of,
    renamings,
    results_in,
    search,
    without,
)
from habitatmap.persons.packed import CannotReadError
from habitatmap.persons.spelling import Person
from habitatmap.persons.texts import always, with_spans
from habitatmap.read.earlier_sites import FILE as SITE_IDS
from habitatmap.read.hashes import CHUNK, fingerprint
from habitatmap.sentences import Sentence, say

MAP = "map"
STAGE, JOURNAL = f"{HIDDEN}forgetting", "journal.json"
_CALLED = re.compile(rb"observer (\d+)")


@dataclass
class Forgotten:
    """What was done, or would be: by their names of today the files made anew with how often each named them, the
    results that are deleted, and what must be done by hand."""

    called: Sequence[Renaming]
    changed: dict[str, int] = field(default_factory=dict)
    renamed: int = 0
    deleted: list[str] = field(default_factory=list)
    by_hand: dict[str, Sentence] = field(default_factory=dict)


def is_interrupted(area: Path) -> bool:
    """Whether a run was stopped while its files were put in place."""
    return (area / STAGE / JOURNAL).is_file() and not (area / STAGE).is_symlink()


def complete(area: Path) -> bool:
    """Ends what a killed run had begun; whether there was anything. Without a journal its files are thrown away."""
    stage = area / STAGE
    if not is_interrupted(area):
        if stage.is_dir() and not stage.is_symlink():
            shutil.rmtree(stage)
        return False
    steps = json.loads((stage / JOURNAL).read_text(encoding="utf-8"))
    for step in steps:
        _do(area, stage, _Step(**step))
    _clear(area, [step["name"] for step in steps])
    return True


def forget(area: Path, people: Sequence[Person], hits: Hits, *, do: bool) -> Forgotten:
    """Takes people out of all files of an area, or says what that would be where `do` is False.

    Results of commands are deleted, as they are made of the records; the register of sites' ids stays. Kept seasons
    are made anew in place, their manifests with the hashes of today. InputError where a database is open in another
    program, HabitatmapError where the disk refuses; nothing was changed in either case.
    """
    for path in files_of(area):
        if at_work(path):
            raise InputError(f"{path.name} is open in another program: close it there, then run again")
    called = renamings(hits, people, _free_number(area))
    edit, done = without(people, called), Forgotten(called)
    results = results_in(area)
    deleted = {path for folder in results for path in _ours(folder)}
    stage = area / STAGE
    try:
        if do:
            (stage / "new").mkdir(parents=True)
        steps, hashes, names = list[_Step](), dict[str, str](), dict[str, str]()
        manifests: list[Path] = []
        for path in files_of(area):
            name = path.relative_to(area).as_posix()
            if path.name == MANIFEST and path in deleted and (ids := path.parent / SITE_IDS).is_file():
                # what stays of a map is told as its own, so that the next one takes it over
                new = Manifest(MAP, {SITE_IDS: fingerprint(ids)}).text().encode()
                steps.append(_staged(stage, len(steps), name, name, new, do))
                continue
            if path in deleted:
                done.deleted.append(name)
                steps.append(_Step(name, "", False))
                continue
            if path.name == MANIFEST:
                manifests.append(path)
            new_name = with_spans(name, edit(name, always("")))
            new_name = _free(area, new_name, names) if new_name != name else name
            names[name] = new_name
            done.renamed += new_name != name
            data = path.read_bytes()
            try:
                new = edit_file(name, data, edit)
            except CannotChangeError as fault:
                done.by_hand[new_name], new = (
                    say("it names the person and can't be rewritten: {how}", how=fault.remedy),
                    data,
                )
            except CannotReadError as fault:
                done.by_hand[new_name], new = say("it can't be searched: {why}", why=fault.why), data
            if path.name == MANIFEST and (new != data or new_name != name):
                continue
            if new != data or new_name != name:
                done.changed[new_name] = hits.files.get(name, 0)
                steps.append(_staged(stage, len(steps), name, new_name, new, do))
                hashes |= _hashes(path, data, new)
        for path in sorted(manifests, key=lambda p: -len(p.parts)):
            name, data = path.relative_to(area).as_posix(), path.read_bytes()
            new = _sealed(edit_file(name, data, edit), hashes)
            if new != data:
                done.changed[names[name]] = hits.files.get(name, 0)
                steps.append(_staged(stage, len(steps), name, names[name], new, do))
                hashes |= _hashes(path, data, new)
        if (area / ".git").exists():
            done.by_hand[".git"] = Sentence(
                "it keeps earlier versions of the files: make a new repository of the folder"
            )
        if do:
            _commit(area, stage, steps)
    except OSError as fault:
        raise HabitatmapError(
            f"The files could not be made anew: {fault.strerror or fault}; nothing was changed. Close them in other "
            "programs, make room on the disk, then run again"
        ) from fault
    finally:
        if do and not is_interrupted(area):
            shutil.rmtree(stage, ignore_errors=True)
    return done


def left_over(area: Path, people: Sequence[Person]) -> Hits:
    """What still names them."""
    return search(area, people, near=False)


# --- what is made anew -----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Step:
    """One file: its name, the name it gets ("" = it goes), and whether a new one waits in the stage under `number`."""

    name: str
    new_name: str
    new: bool
    number: int = -1


def _staged(stage: Path, number: int, name: str, new_name: str, data: bytes, do: bool) -> _Step:
    if do:
        with (stage / "new" / str(number)).open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    return _Step(name, new_name, True, number)


def _ours(folder: Path) -> list[Path]:
    """The files of a folder of results that are as a command wrote them, and its manifest; the sites' ids stay."""
    made = earlier_result(folder)
    if made is None:
        return []
    files = [folder / name for name in made.files if made.is_unchanged(folder, name) and name != SITE_IDS]
    return [*files, *([folder / MANIFEST] if (folder / MANIFEST).is_file() else [])]


def _free(area: Path, name: str, names: Mapping[str, str]) -> str:
    """The name, or one like it where another file has it."""
    path, n, free = PurePosixPath(name), 1, name
    while (area / free).exists() or free in names.values():
        n += 1
        free = str(path.with_name(f"{path.stem}-{n}{path.suffix}"))
    return free


def _free_number(area: Path) -> int:
    """A number that no pseudonym of the folder has."""
    used = [0]
    for path in files_of(area):
        found: list[bytes] = []

        def look(text: str, where: object, found: list[bytes] = found) -> list[object]:
            found += _CALLED.findall(text.encode("utf-8", "replace"))
            return []

        with suppress(CannotReadError, CannotChangeError):
            look(path.name, None)
            edit_file(path.name, path.read_bytes(), look)  # type: ignore[arg-type]
        used += [int(number) for number in found]
    return max(used) + 1


def _hashes(path: Path, data: bytes, new: bytes) -> dict[str, str]:
    """The hash of a file of today by that of before, whole and as photos have it."""
    whole = fingerprint(path)
    first, then = (hashlib.sha256(one[:CHUNK] + str(len(one)).encode()).hexdigest() for one in (data, new))
    return {whole: _fingerprint_of(new), first: then}


def _fingerprint_of(data: bytes) -> str:
    from tempfile import TemporaryDirectory

    with TemporaryDirectory() as folder:
        path = Path(folder) / "file"
        path.write_bytes(data)
        return fingerprint(path)


def _sealed(data: bytes, hashes: Mapping[str, str]) -> bytes:
    """A manifest with the hashes of the files as they are today."""
    text = data.decode("utf-8", "surrogateescape")
    told = re.sub(r"\b[0-9a-f]{64}\b", lambda found: hashes.get(found[0], found[0]), text)
    return told.encode("utf-8", "surrogateescape")


# --- in place --------------------------------------------------------------------------------------------------------


def _commit(area: Path, stage: Path, steps: Sequence[_Step]) -> None:
    """Puts the new files in place; all are as before where the system refuses one."""
    draft = stage / "journal.draft"
    draft.write_text(json.dumps([vars(step) for step in steps]), encoding="utf-8")
    (stage / "old").mkdir()
    draft.replace(stage / JOURNAL)
    done: list[_Step] = []
    try:
        for step in steps:
            done.append(step)
            _do(area, stage, step)
    except BaseException:  # Ctrl-C too
        for step in reversed(done):
            _undo(area, stage, step)
        (stage / JOURNAL).unlink()
        raise
    _clear(area, [step.name for step in steps])


def _old(stage: Path, step: _Step) -> Path:
    return stage / "old" / hashlib.sha256(step.name.encode()).hexdigest()


def _do(area: Path, stage: Path, step: _Step) -> None:
    """One step, of which any part may have been done before."""
    old, fresh = _old(stage, step), stage / "new" / str(step.number)
    old.parent.mkdir(exist_ok=True)
    if (area / step.name).exists() and not old.exists():
        _move(area / step.name, old)
    if step.new and fresh.exists():
        (area / step.new_name).parent.mkdir(parents=True, exist_ok=True)
        _move(fresh, area / step.new_name)


def _undo(area: Path, stage: Path, step: _Step) -> None:
    old, fresh = _old(stage, step), stage / "new" / str(step.number)
    if step.new and not fresh.exists() and (area / step.new_name).exists():
        (area / step.new_name).rename(fresh)
    if old.exists():
        (area / step.name).parent.mkdir(parents=True, exist_ok=True)
        old.rename(area / step.name)


def _move(before: Path, after: Path) -> None:
    import time

    for wait in (*RETRIES_S, None):
        try:
            before.rename(after)
            return
        except PermissionError:
            if wait is None:
                raise
            time.sleep(wait)


def _clear(area: Path, names: Sequence[str]) -> None:
    """Deletes what was there before, and the folders of its files that hold nothing any more."""
    stage = area / STAGE
    shutil.rmtree(stage / "old", ignore_errors=True)
    (stage / JOURNAL).unlink(missing_ok=True)
    shutil.rmtree(stage, ignore_errors=True)
    for folder in sorted({area / part for name in names for part in above(name)}, reverse=True):
        with suppress(OSError):  # something lies there
            folder.rmdir()
