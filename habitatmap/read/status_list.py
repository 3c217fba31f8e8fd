"""Writing plan_status.xlsx: a row for each suggested site, to say how far it has come.

What somebody wrote there is kept, rows are only added. Sites of today's plan come first, in its order.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from habitatmap.read.filled_in import Cells, FilledIn, Say, cells_of
from habitatmap.read.formats.table import Stated
from habitatmap.read.ledger import Ledger
from habitatmap.read.rows import open_drafts
from habitatmap.read.site_words import state_of
from habitatmap.read.values import name_key, name_of
from habitatmap.sentences import Sentence
from habitatmap.vocabulary.columns import filled_in
from habitatmap.vocabulary.kinds import Kind
from habitatmap.vocabulary.terms import SiteState

MADE = ("id", "place", "rank", "lon", "lat", "private")
HELP = (
    "A row for each suggested site. Fill in state, date, by and note; nothing else is read.",
    "state is to ask, asked, agreed, refused, set out or given up. A blank is to ask.",
    "An agreed site stays in the plan. Refused ground leaves it: a whole piece of land where its consent was still to "
    "be asked for, else the zone of the site; the map says what that costs. A site that was given up leaves too.",
    "A site that was set out counts as a pool. Put the pool into pools.* with its exact place and day: where one "
    "stands in the zone of the site, it is taken for it.",
    "Your entries are kept. habitatmap map adds a row for each new site; rank is its number in the plan of that day.",
    "You may sort the rows, hide some, and add columns on the right. Leave the ids as they are.",
    "On private land lon and lat are the middle of a square of 250 m. Write no address of a garden here.",
    "Save as xlsx or ods in the folder of the area, then run: habitatmap map",
    "This file names people: it is for the team only.",
)


def answer(word: str, say: Say) -> str:
    """A state in the language of the list, where that is read back as the same; any other word as it is said."""
    told = say(word)
    return told if word not in list(SiteState) or state_of(told) == word else word


LIST = FilledIn(
    kind=Kind.PLAN_STATUS,
    sheet="Suggested sites",
    columns=filled_in(Kind.PLAN_STATUS, "id place rank state date by note lon lat private"),
    made=MADE,
    days=("date",),
    hidden=(),
    help=HELP,
    command="map",
    answers=answer,
)
FILE = LIST.file


@dataclass(frozen=True)
class Suggested:
    """A site of the plan as the list has it; lon, lat in degrees, on private land those of the middle of its square."""

    id: str
    place: str
    rank: int
    lon: float
    lat: float
    private: str

    @property
    def cells(self) -> Cells:
        """What the list says of it."""
        return {name: getattr(self, name) for name in MADE}


def write_list(folder: Path, sites: Sequence[Suggested], say: Say = str) -> Sentence:
    """Writes plan_status.xlsx into the folder of an area where something is to be added or changed; a sentence on it,
    "" where there was nothing to do. `say`: the words of its language; the headings are the same in each.

    Nothing is written where the list is kept in another format, nor where `FilledIn.write` leaves it as it is.
    InputError where it can't be read or written.
    """
    if (others := LIST.others(folder)) and not (folder / FILE).exists():
        told = "{file} gets no rows for new sites; save it as {name} to have them added, and delete the other"
        return Sentence(told, {"file": others[0].name, "name": FILE})
    tables = LIST.tables(folder)
    old, heads = cells_of(open_drafts(Kind.PLAN_STATUS, tables, Stated(), Ledger()))
    if not old and not sites:
        return Sentence("")
    return LIST.write(folder, tables, (old, _renewed(old, sites, say, heads)), heads, say)


def _renewed(old: Sequence[Cells], sites: Sequence[Suggested], say: Say, heads: Sequence[str]) -> list[Cells]:
    """The rows of the list with all sites of the plan in it, in its order; those that are not in it come last."""
    blank: Cells = dict.fromkeys((*LIST.names, *heads))
    today = {name_key(site.id): site for site in sites}
    listed = {name_key(name_of(row.get("id"))) for row in old}
    rows = []
    for row in old:
        site = today.get(name_key(name_of(row.get("id"))))
        rows.append(blank | row | (site.cells if site else {"rank": None}))
    to_ask = answer(SiteState.TO_ASK, say)
    rows += [blank | site.cells | {"state": to_ask} for key, site in today.items() if key not in listed]
    return sorted(rows, key=lambda row: row["rank"] if isinstance(row["rank"], int) else len(sites) + 1)
