"""What is said of a person's data: where it was found, what nearly is it, and what became of it."""

from __future__ import annotations

from habitatmap.persons.folder import Hits
from habitatmap.persons.forget import Forgotten
from habitatmap.words.sentences import Sentence, say

MOST_NEAR, MOST_FILES = 40, 200


def found_told(hits: Hits) -> list[Sentence]:
    """Where the person was found, file by file, then what may be meant and what could not be searched."""
    told = []
    for file, n in list(hits.files.items())[:MOST_FILES]:
        first = next(one for one in hits.found if one.file == file)
        line = "{file}: {n} times, first {where}" if n > 1 else "{file}: {where}"
        told.append(say(line, file=file, n=n, where=first.where))
    if not told:
        told = [Sentence("Nothing names the person.")]
    if hits.near:
        told += [
            Sentence(""),
            Sentence("Written nearly so, or in part. Where the person is meant, say so with --also:"),
        ]
        for spelling, n in hits.near.most_common(MOST_NEAR):
            file, where = hits.near_at[spelling]
            told.append(
                say(
                    '--also "{spelling}": {n} times, first {file}, {where}',
                    spelling=spelling,
                    n=n,
                    file=file,
                    where=where,
                )
            )
    if hits.unread:
        told += [Sentence(""), Sentence("Not searched, look yourself:")]
        told += [say("{file}: {why}", file=file, why=why) for file, why in hits.unread.items()]
    return told


def forgotten_told(done: Forgotten, left: Hits | None, *, do: bool) -> list[Sentence]:
    """What forgetting changed, or would; of the person nothing is in it."""
    names = ", ".join(one.called for one in done.called)
    begin = "The person is called {names} from now on." if do else "The person would be called {names}."
    several = sum(len(one.known) for one in done.called) - len(done.called)
    told = [say(begin, names=names)]
    if several > 0:
        many = "{n} further spellings have a letter behind the number, so that figures stay as they are."
        told.append(say(many, n=several))
    told.append(Sentence("Files made anew:" if do else "Files that would be made anew:"))
    told += [
        say("- {file}: {n} times", file=file, n=n) if n else say("- {file}", file=file)
        for file, n in sorted(done.changed.items())
    ]
    if done.deleted:
        kept = "Results that are deleted ({n} files); run the commands again to have them: {folders}"
        folders = ", ".join(dict.fromkeys(f"{name.split('/')[0]}/" for name in done.deleted))
        told.append(say(kept, n=len(done.deleted), folders=folders))
    if done.by_hand:
        told.append(Sentence("To be done by hand:"))
        told += [say("- {file}: {why}", file=file, why=why) for file, why in done.by_hand.items()]
    if left is not None:
        rest = [file for file in left.files if file not in done.by_hand]
        told.append(
            Sentence("Searched again: nothing else names the person.")
            if not rest
            else say("Still named in: {files}", files=", ".join(rest))
        )
    return told
