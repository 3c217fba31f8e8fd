"""The list of consents (consent.xlsx), read over the files of land: what somebody wrote there counts before theirs.

The list shows what land.* says, so that somebody can work in it alone. What a cell still shows of that is no entry: it
follows land.*, which the hidden column as_in_land tells.
"""

from __future__ import annotations

import datetime
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from habitatmap.errors.why import Why
from habitatmap.read.consent_words import word_of
from habitatmap.read.dates import read_dates
from habitatmap.read.formats.cells import each_once
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.ledger import Ledger, in_row, some
from habitatmap.read.rows import Draft, close, open_drafts
from habitatmap.read.values import name_of
from habitatmap.sentences import Sentence, say
from habitatmap.vocabulary.kinds import Kind

# what may be agreed about a piece of land; each a column of the list, and of land.* too
FIELDS = ("consent", "until", "owner", "contact", "condition", "note")
STRICT = {"no": 0, "ask": 1, "yes": 2}

Until = datetime.date | Why | None


class Agreed(NamedTuple):
    """What a row says of a piece of land: plain texts by field, "" for blank; `until` as it was understood."""

    texts: Mapping[str, str]
    until: Until


def agreed_in(draft: Draft) -> list[Agreed]:
    """What each row of a table of land, or of the list of consents, says. What nobody understands stays as written."""
    columns = {name: draft.texts(name) for name in FIELDS}
    untils = read_dates(draft.cells("until"), draft.heading("until"), draft.table.day_zero)
    draft.sample("until", [until.isoformat() if isinstance(until, datetime.date) else None for until in untils])
    words = each_once(word_of, draft.cells("consent"))
    draft.sample("consent", [None if word in ("", "unread") else word for word in words])
    columns["consent"] = [
        text if word == "unread" else word for word, text in zip(words, columns["consent"], strict=True)
    ]
    columns["until"] = [
        until.isoformat() if isinstance(until, datetime.date) else text
        for until, text in zip(untils, columns["until"], strict=True)
    ]
    texts = (dict(zip(FIELDS, row, strict=True)) for row in zip(*(columns[name] for name in FIELDS), strict=True))
    return [Agreed(told, until) for told, until in zip(texts, untils, strict=True)]


def memory_of(texts: Mapping[str, str]) -> str:
    """What land.* says, as the column as_in_land holds it; "" where it says nothing."""
    said = {name: text for name, text in texts.items() if text}
    return json.dumps(said, ensure_ascii=False) if said else ""


def remembered(memory: str) -> dict[str, str]:
    """What the column as_in_land tells; nothing where somebody wrote something else there."""
    try:
        said = json.loads(memory) if memory else {}
    except ValueError:
        return {}
    return {str(name): str(text) for name, text in said.items()} if isinstance(said, dict) else {}


def entries_in(texts: Mapping[str, str], memory: Mapping[str, str]) -> dict[str, str]:
    """What somebody wrote in a row, by field: what is neither blank nor as land.* said."""
    return {name: texts[name] for name in FIELDS if texts[name] and texts[name] != memory.get(name, "")}


@dataclass
class Row:
    """One row of the list."""

    draft: Draft
    at: int
    id: str
    agreed: Agreed
    memory: Mapping[str, str]

    @property
    def entries(self) -> dict[str, str]:
        """What somebody wrote in it."""
        return entries_in(self.agreed.texts, self.memory)

    @property
    def where(self) -> Sentence:
        """File and row for a person."""
        return in_row(self.draft.table.file_of(self.at), self.draft.table.numbers[self.at])


@dataclass
class Consents:
    """The list of consents: its rows by the id of their land."""

    ledger: Ledger
    drafts: Sequence[Draft] = ()
    rows: dict[str, Row] = field(default_factory=dict)

    @classmethod
    def read(cls, tables: Sequence[Table], stated: Stated, ledger: Ledger) -> Consents:
        """The rows of the list's tables; those without an id, and the second ones of an id, are set aside."""
        found = cls(ledger, open_drafts(Kind.CONSENT, tables, stated, ledger))
        for draft in found.drafts:
            agreed = agreed_in(draft)
            memories = draft.texts("as_in_land")
            draft.about = [name_of(cell) for cell in draft.cells("id")]
            for at in draft.kept:
                row = Row(draft, at, draft.about[at], agreed[at], remembered(memories[at]))
                if not row.id:
                    draft.refuse(at, "id", "", Why.NO_LAND_ID)
                elif row.id in found.rows:
                    found.rows[row.id] = _stricter(found.rows[row.id], row)
                else:
                    found.rows[row.id] = row
            _tell_unread(draft)
        return found

    def rename(self, moved: Mapping[str, str]) -> None:
        """Takes rows for the land that has another id now (old -> new)."""
        for old, new in moved.items():
            if new not in self.rows:
                self.rows[new] = replace(self.rows.pop(old), id=new)

    def over(self, ids: Sequence[str], said: Sequence[Agreed], where: Sequence[tuple[str, int]]) -> list[Agreed]:
        """What counts for each piece of land: the entries of the list, else what land.* says. To be called once.

        where: the file and row of each piece of land. Rows whose land is gone are set aside.
        """
        for one in sorted(self.rows.keys() - set(ids)):
            gone = self.rows[one]
            gone.draft.refuse(gone.at, "id", one, Why.LAND_GONE if gone.entries else Why.LAND_GONE_BLANK)
        out: list[Agreed] = []
        taken: list[Sentence] = []
        changed: list[Sentence] = []
        for one, agreed, (file, number) in zip(ids, said, where, strict=True):
            row = self.rows.get(one)
            entries = row.entries if row else {}
            if not row or not entries:
                out.append(agreed)
                continue
            place = in_row(file, number)
            until = row.agreed.until if "until" in entries else agreed.until
            out.append(Agreed({**agreed.texts, **entries}, until))
            for name, text in entries.items():
                before = agreed.texts[name]
                # "ask" is no answer that another one contradicts
                if before in ("", text) or (name == "consent" and before == "ask"):
                    continue
                told = "{row} {column} {text}, {place} {before}"
                both = say(told, row=row.where, column=name, text=text, place=place, before=before)
                (taken if row.memory.get(name) == before else changed).append(both)
        if taken:
            told = "The list of consents counts, and not what the file of land says: {entries}"
            self.ledger.tell(say(told, entries=some(taken)))
        if changed:
            told = (
                "The list of consents and the file of land differ, and the list counts: {entries}. Correct the wrong "
                "one"
            )
            self.ledger.remark(say(told, entries=some(changed)))
        close(self.drafts)
        return out


def _stricter(first: Row, second: Row) -> Row:
    """The one of two rows for one piece of land that counts; the other is set aside."""
    kept, other = sorted((first, second), key=lambda row: STRICT.get(word_of(row.entries.get("consent")), 3))
    where = {"row": kept.draft.table.numbers[kept.at], "file": kept.draft.table.file_of(kept.at)}
    other.draft.refuse(other.at, "id", other.id, Why.CONSENT_TWICE.of(**where))
    return kept


def _tell_unread(draft: Draft) -> None:
    """Remarks on cells of consent and until that nobody understands, by their cells."""
    words = [word_of(cell) == "unread" for cell in draft.cells("consent")]
    untils = read_dates(draft.cells("until"), draft.heading("until"), draft.table.day_zero)
    for name, bad, told in (
        ("consent", words, "the consent is neither yes, ask nor no, so somebody must ask: {cells}"),
        (
            "until",
            [isinstance(until, Why) for until in untils],
            "the last day of the consent cannot be read, so a yes does not count: {cells}",
        ),
    ):
        cells = draft.texts(name)
        found = [
            say('{cell} "{word}"', cell=_cell(draft, name, at), word=cells[at][:40]) for at in draft.kept if bad[at]
        ]
        if found:
            draft.remark(say(told, cells=some(found)))


def _cell(draft: Draft, name: str, at: int) -> str:
    """The cell of our column `name` as a spreadsheet names it: F7."""
    column, letters = draft.headings.at[name] + 1, ""
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return f"{letters}{draft.table.numbers[at]}"
