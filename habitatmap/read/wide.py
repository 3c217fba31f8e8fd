"""Wide tables become lists of visits: a row for each cell under a day, a pool, a group of headings, or a taxon.

A row keeps the number of its line, and the heading that its cell stood under. A blank cell is no visit.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from habitatmap.errors.why import Reason
from habitatmap.read.dates import is_day
from habitatmap.read.formats.cells import Failed, as_text
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.headings import fold, match_table, means
from habitatmap.read.outcome_words import CROSS, EMPTY, NO_MARKS, OUTCOME_WORDS, YES_MARKS
from habitatmap.read.values import read_counts
from habitatmap.sentences import Sentence, say
from habitatmap.vocabulary.kinds import Kind

# so many cells of a column are looked at, and such a share of them must be outcomes or counts
MOST_CELLS = 200
SHARE_OF_OUTCOMES = 0.8
FEWEST_COLUMNS = 2
_PLACE = {"x", "y", "lon", "lat", "position"}
_SAID = ("date", "outcome", "larvae", "taxon")

# hoverflies whose larvae live in water or in rot-holes, and the groups that hold them; other animals of a pool are none
_HOVERFLIES = re.compile(
    r"\b(eristal\w*|myathropa|helophilus|mallota|callicera|criorhina|brachypalpus|brachyopa|xylota|myolepta|pocota|"
    r"spilomyia|milesia|temnostoma|chalcosyrphus|blera|caliprobola|sphiximorpha|ceriana|syritta|parhelophilus|"
    r"anasimyia|palpada|syrphid\w*|hover ?fl\w+|schwebflieg\w+|syrphes?|zweefvlieg\w*|sirfid\w*|kukkakarpa\w*|"
    r"rat tailed \w+)\b"
)
# a word that is the name of an animal's genus, family or order, alone or before a species
_ANIMAL = re.compile(r"[A-Z][a-z]{3,}(?:idae|inae|ini|ptera)\b.*|[A-Z][a-z]{3,} (?:sp|spp)\.?|[A-Z][a-z]{3,} [a-z]{4,}")
_VISIT = re.compile(
    r"\b(?:visit|check|round|besuch|kontrolle|runde|visite|passage|bezoek|ronde|visita|kaynti|kontrola|wizyta|besok)\b"
)


def unfolded(tables: Mapping[Kind, Sequence[Table]], stated: Stated) -> dict[Kind, list[Table]]:
    """The tables by kind, those of pools and visits as lists where they were wide.

    A list of pools with a column for each day is both: its pools, and their visits.
    """
    found: dict[Kind, list[Table]] = {kind: list(given) for kind, given in tables.items()}
    found |= {Kind.POOLS: [], Kind.VISITS: []}
    for kind in (Kind.POOLS, Kind.VISITS):
        for table in tables.get(kind, ()):
            visits = _visits_of(table, _ours(Kind.VISITS, table, stated))
            if visits is None:
                found[kind].append(table)
                continue
            ours = _ours(Kind.POOLS, table, stated)
            if table.geometry is not None or _PLACE & ours.keys():
                # what stands under the days is told of the visits
                heads = tuple("" if is_day(heading) else heading for heading in table.headings)
                found[kind].append(replace(table, headings=heads))
            found[Kind.VISITS].append(visits)
    return {kind: given for kind, given in found.items() if given or kind in tables}


def _ours(kind: Kind, table: Table, stated: Stated) -> Mapping[str, int]:
    """Our names of the columns of a table of this kind."""
    return match_table(kind, table.headings, stated.columns.get(kind, {}), table.taught.headings).at


def _visits_of(table: Table, at: Mapping[str, int]) -> Table | None:
    """The visits that a wide table holds, None where it is a list as it is; `at`: its columns of visits."""
    for way in (_by_days, _by_groups, _by_taxa, _by_pools):
        if visits := way(table, at):
            return visits
    return _of_one_pool(table, at)


@dataclass
class _Unfolding:
    """The rows of a table on their way to a list: columns that are kept, and what each new row says beside them."""

    table: Table
    kept: Sequence[int]
    said: Sequence[str]  # the headings of what is added
    by: Sentence  # how it was wide, for a person

    def done(self, cells: Sequence[tuple[int, Sequence[object], str, Sequence[int | None]]]) -> Table:
        """cells: (position of the row, what is added, the heading of the cell, the columns it came from)."""
        table, kept = self.table, list(self.kept)
        odd: dict[int, Reason] = {}
        failed: dict[tuple[int, int], Failed] = {}
        rows: list[tuple[object, ...]] = []
        numbers: list[int] = []
        headed: list[str] = []
        for at, added, heading, columns in cells:
            for j, column in enumerate([*kept, *columns]):
                if column is not None and (at, column) in table.failed:
                    failed[len(rows), j] = table.failed[at, column]
            if at in table.odd:
                odd[len(rows)] = table.odd[at]
            rows.append((*(table.rows[at][j] for j in kept), *added))
            numbers.append(table.numbers[at])
            headed.append(heading)
        return replace(
            table,
            headings=(*(table.headings[j] for j in kept), *self.said),
            rows=rows,
            numbers=numbers,
            odd=odd,
            failed=failed,
            groups=(),
            geometry=None,
            from_headings=tuple(headed),
            notes=(*table.notes, say("read as one visit for each filled cell under {heads}", heads=self.by)),
        )


def _by_days(table: Table, at: Mapping[str, int]) -> Table | None:
    """A column for each day, with outcomes or counts in it."""
    days = [j for j, heading in enumerate(table.headings) if is_day(heading)]
    if len(days) < FEWEST_COLUMNS or "date" in at:
        return None
    table = _with_names(table, [j for j in range(len(table.headings)) if j not in days], at)
    others = [j for j in range(len(table.headings)) if j not in days and table.headings[j]]
    kept = [j for j in others if j not in (at.get("outcome"), at.get("larvae"))]
    what = "larvae" if _are_counts(table, days) else "outcome"
    return _Unfolding(table, kept, ("date", what), Sentence("a day")).done(
        [
            (i, (table.headings[j], row[j]), table.headings[j], (None, j))
            for i, row in enumerate(table.rows)
            for j in (days[:1] if i in table.odd else days)
            if i in table.odd or row[j] is not None or (i, j) in table.failed
        ]
    )


def _with_names(table: Table, columns: Sequence[int], at: Mapping[str, int]) -> Table:
    """The table with a heading over its column of names, where it has none that is known: the first one with words."""
    if "pool" in at or not columns:
        return table
    first = next((j for j in columns if any(row[j] is not None for row in table.rows)), None)
    if first is None:
        return table
    heads = list(table.headings)
    heads[first] = "pool"
    return replace(table, headings=tuple(heads))


def _are_counts(table: Table, columns: Sequence[int]) -> bool:
    """Whether all cells are counts, and not only 1 and 0, which say seen or not."""
    texts = {as_text(row[j]).strip() for row in table.rows for j in columns if row[j] is not None}
    return (
        bool(texts)
        and not texts <= {"0", "1"}
        and all(any(map(str.isdigit, t)) for t in texts)
        and all(read_counts(list(texts)))
    )


def _by_pools(table: Table, at: Mapping[str, int]) -> Table | None:
    """A column for each pool, a row for each day."""
    if "pool" in at or "outcome" in at:
        return None
    day = at.get("date", 0)
    cells = [as_text(row[day]) for row in table.rows[:MOST_CELLS] if row[day] is not None] if table.headings else []
    if not cells or sum(map(_is_date, cells)) < SHARE_OF_OUTCOMES * len(cells):
        return None
    free = [j for j, h in enumerate(table.headings) if h and j != day and j not in at.values()]
    named = [j for j in free if _holds_outcomes(table, j)]
    if len(named) < FEWEST_COLUMNS or len(named) < SHARE_OF_OUTCOMES * len(free):
        return None
    kept = [j for j in range(len(table.headings)) if j not in named and j != day and table.headings[j]]
    what = "larvae" if _are_counts(table, named) else "outcome"
    return _Unfolding(table, kept, ("date", "pool", what), Sentence("a pool")).done(
        [
            (i, (row[day], table.headings[j], row[j]), table.headings[j], (day, None, j))
            for i, row in enumerate(table.rows)
            for j in (named[:1] if i in table.odd else named)
            if i in table.odd or row[j] is not None or (i, j) in table.failed
        ]
    )


def _is_date(text: str) -> bool:
    return is_day(text.partition("T")[0])


def _holds_outcomes(table: Table, column: int) -> bool:
    """Whether most cells of a column are outcomes, counts or marks; a column of words or measures is not."""
    texts = [as_text(row[column]).strip() for row in table.rows if row[column] is not None][:MOST_CELLS]
    said = [t for t in texts if fold(t) in OUTCOME_WORDS or fold(t) in EMPTY or t.casefold() in _MARKS or _is_count(t)]
    return len(texts) > 0 and len(said) >= SHARE_OF_OUTCOMES * len(texts)


_MARKS = YES_MARKS | NO_MARKS | {CROSS, "-"}


def _is_count(text: str) -> bool:
    return read_counts([text])[0] is not None


def _by_groups(table: Table, at: Mapping[str, int]) -> Table | None:
    """Headings that come again for each visit: date, outcome, date, outcome; or outcome 1, outcome 2."""
    columns: dict[str, list[tuple[int, str]]] = defaultdict(list)  # our name -> columns, with the group of each
    for j, heading in enumerate(table.headings):
        bare = _VISIT.sub(" ", re.sub(r"\d+", " ", fold(heading)))
        name = means(Kind.VISITS, " ".join(bare.split()))
        group = table.groups[j] if j < len(table.groups) else ""
        if name in (*_SAID, "action", "observer", "note"):
            columns[name].append((j, group or "".join(re.findall(r"\d+", heading))))
    told = columns["outcome"] or columns["larvae"]
    number = len(told)
    dated = columns["date"]
    by_group = not dated and all(is_day(group) for _, group in told)
    if number < FEWEST_COLUMNS or not (by_group or len(dated) == number) or "pool" not in at:
        return None
    if not by_group and [j for j, _ in dated] == [j for j, _ in told]:
        return None
    repeated = {name: found for name, found in columns.items() if len(found) == number}
    if by_group and any(len({g for _, g in found}) < number for found in repeated.values()):
        return None
    used = {j for found in repeated.values() for j, _ in found}
    kept = [j for j in range(len(table.headings)) if j not in used and table.headings[j]]
    names = list(repeated)
    lines = []
    for i, row in enumerate(table.rows):
        for k in range(1 if i in table.odd else number):
            at_k = [repeated[name][k][0] for name in names]
            if i not in table.odd and all(row[j] is None and (i, j) not in table.failed for j in at_k):
                continue
            group = told[k][1]
            day = [group] if by_group else []
            heading = table.headings[told[k][0]]
            lines.append(
                (i, [*(row[j] for j in at_k), *day], f"{group} {heading}".strip(), [*at_k, *([None] * by_group)])
            )
    said = (*names, *(["date"] if by_group else []))
    return _Unfolding(table, kept, said, Sentence("each visit's headings")).done(lines)


def _by_taxa(table: Table, at: Mapping[str, int]) -> Table | None:
    """A column for each kind of animal, with counts or crosses: only hoverflies are larvae of this job."""
    if not {"pool", "date"} <= at.keys() or {"outcome", "larvae"} & at.keys():
        return None
    taken = set(at.values())
    animals = [
        j
        for j, heading in enumerate(table.headings)
        if j not in taken
        and (_ANIMAL.fullmatch(heading.partition("(")[0].strip()) or _HOVERFLIES.search(fold(heading)))
    ]
    animals = [j for j in animals if _holds_outcomes(table, j)]
    flies = [j for j in animals if _HOVERFLIES.search(fold(table.headings[j]))]
    if len(animals) < FEWEST_COLUMNS or not flies:
        return None
    kept = [j for j in range(len(table.headings)) if j not in animals and j != at.get("taxon") and table.headings[j]]
    lines: list[tuple[int, Sequence[object], str, Sequence[int | None]]] = []
    for i, row in enumerate(table.rows):
        counts = dict(zip(flies, read_counts([row[j] for j in flies]), strict=True))
        found = [j for j, count in counts.items() if count is None or count.high > 0]
        found = [j for j in found if row[j] is not None]
        if found and i not in table.odd:
            lines += [(i, (table.headings[j], row[j]), table.headings[j], (None, j)) for j in found]
        else:
            # no animal was seen where every kind has its nought; a blank says nothing
            zeros = all(count is not None and count.high == 0 for count in counts.values())
            lines.append((i, (None, "none" if zeros else None), table.headings[flies[0]], (None, None)))
    return _Unfolding(table, kept, ("taxon", "larvae"), Sentence("a kind of hoverfly")).done(lines)


def _of_one_pool(table: Table, at: Mapping[str, int]) -> Table | None:
    """A list of visits to one pool, which stands in a line above the headings, or is the name of the sheet."""
    if "pool" in at or "date" not in at or not {"outcome", "larvae"} & at.keys():
        return None
    named = [line[1] for line in table.title if len(line) == 2 and means(Kind.VISITS, line[0]) == "pool"]
    name = named[0] if named else table.sheet
    if not name:
        return None
    told = (
        "read as visits to {pool}, by the line above" if named else "read as visits to {pool}, by the name of the sheet"
    )
    return replace(
        table,
        headings=(*table.headings, "pool"),
        rows=[(*row, name) for row in table.rows],
        notes=(*table.notes, say(told, pool=name)),
    )
