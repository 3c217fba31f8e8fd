"""A row of a correction file, the row that it stands beside, and what became of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum, auto

from habitatmap.errors.why import Reason
from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.table import Table

# a day after the twelfth, of a year that none of our records has
KNOWN_DATE = "1999-12-31"
# what tells a table from the others: several may stand on one sheet
Key = tuple[object, ...]


class State(Enum):
    """What became of a correction."""

    WAITING = auto()  # nobody has changed it
    FINE = auto()  # nobody has changed it, and its original is used
    USED = auto()
    FAULTY = auto()  # somebody has changed it, and it cannot be read


@dataclass(frozen=True)
class Correction:
    """One row of a correction file, and what it says of its original. `cells`: by the label of their column."""

    file: str
    row: int
    cells: Mapping[str, object]
    from_file: str = ""
    from_sheet: str = ""
    from_row: int = 0
    was: Mapping[str, str] = field(default_factory=dict)  # the original's cells, by label, as they were
    saved_as: str = KNOWN_DATE
    semicolons: bool = False  # the file was saved where a comma marks decimals
    fault: Reason | None = None  # why the row cannot be a correction at all


@dataclass(frozen=True)
class Placed:
    """A correction beside its original: the row as it would be read, None where nobody has changed anything."""

    correction: Correction
    table: Table
    at: int
    cells: tuple[object, ...] | None
    state: State

    @property
    def original(self) -> tuple[Key, int]:
        """Which row of which table."""
        return key_of(self.table), self.at


Lost = Sequence[tuple[Correction, Reason]]


def key_of(table: Table) -> Key:
    """What tells a table from the others."""
    first = (table.numbers[0], *map(as_text, table.rows[0])) if len(table) else ()
    return table.file, table.sheet, table.headings, first
