"""What a package holds of persons, told before anything is written, and what came of unpacking one."""

from __future__ import annotations

from collections.abc import Sequence

from habitatmap.area import Area
from habitatmap.export.contacts import CONTACT, HOST, OWNER
from habitatmap.export.package import Packing, Unpacked
from habitatmap.export.season import kept_seasons
from habitatmap.privacy import is_private
from habitatmap.words.numbers import count
from habitatmap.words.sentences import Sentence, apart, say

CALLED = {OWNER: Sentence("owners"), CONTACT: Sentence("contacts"), HOST: Sentence("hosts")}


def persons_told(area: Area, packed: Packing) -> list[Sentence]:
    """What the package holds of persons: in its first file, then in its second."""
    observers = sorted({str(name) for name in area.visits["observer"] if str(name).strip()})
    notes = sum(int((frame["note"].astype(str).str.strip() != "").sum()) for frame in (area.pools, area.visits))
    private = int(is_private(area.pools, area.land).sum())
    seasons = [one.name for one in kept_seasons(packed.area)]
    first = [
        say("the names of {people} who searched", people=count(len(observers), "person", "persons"))
        if observers
        else "",
        say("the exact places of {pools} on private land", pools=count(private, "pool")) if private else "",
        say("the contact that area.toml states") if any(_stated(area)) else "",
        say("{notes}, which may name people", notes=count(notes, "note")) if notes else "",
        say("{photos}, which may show people and homes", photos=count(len(area.photos), "photo"))
        if area.photos
        else "",
        say("texts that name an owner or a contact, in {files}", files=apart(packed.still)) if packed.still else "",
        say("the same of each kept season: {seasons}", seasons=apart(seasons)) if seasons else "",
    ]
    lines = [Sentence("What the package holds of persons:"), *_listed(first)]
    second = [
        say(
            "{file}: {what}",
            file=file,
            what=apart([say("{n} {things}", n=n, things=CALLED[c]) for c, n in taken.items()]),
        )
        for file, taken in packed.contacts.taken.items()
    ]
    second += [say("{file}, whole", file=file) for file in packed.whole]
    if second:
        lines += [
            Sentence("What only the file of contacts holds (give it to the next person alone):"),
            *_listed(second),
        ]
    return lines


def _stated(area: Area) -> tuple[str, str]:
    """The contacts of sheets and of the archive."""
    return area.settings.sheets.contact, area.settings.archive.contact


def _listed(lines: Sequence[str]) -> list[Sentence]:
    told = [say("- {told}", told=line) for line in lines if line]
    return told or [say("- {told}", told=Sentence("nothing"))]


def unpacked_told(done: Unpacked) -> list[Sentence]:
    """What was unpacked, and what of it may make other figures here."""
    lines = [say("Unpacked: {files} in {folder}", files=count(done.files, "file"), folder=str(done.folder))]
    if not done.contacts:
        lines.append(
            Sentence(
                "Without its contacts: owners are numbered, and hosts, contacts and telephones are blank, until the "
                "file of contacts is unpacked into it."
            )
        )
    if done.layers_kept:
        lines.append(
            Sentence(
                "Its folder layers holds the tables that it was mapped with, which are other ones than the program's."
            )
        )
    if done.other_versions:
        told = [
            say("{name} {there} (here {here})", name=n, there=a, here=b or "-")
            for n, (a, b) in done.other_versions.items()
        ]
        lines.append(say("It was mapped with other versions, so figures may differ: {versions}.", versions=apart(told)))
    return lines
