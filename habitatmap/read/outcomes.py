"""What a visit came to: the outcome of each row and its count, by the column's own words, its marks and its heading."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple

from habitatmap.errors.why import Reason, Told, Why
from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.table import Table
from habitatmap.read.headings import Headings, Match, fold, means
from habitatmap.read.outcome_words import CROSS, EMPTY, NO_MARKS, OUTCOME_WORDS, UNKNOWN, YES_MARKS
from habitatmap.read.rows import Draft
from habitatmap.read.values import Count, read_counts, yes_no
from habitatmap.sentences import Sentence, count, say
from habitatmap.vocabulary.kinds import Kind
from habitatmap.vocabulary.terms import Outcome

# a heading that asks whether larvae were there, so that yes means larvae
_ASKS = re.compile(
    r"\b(larv\w*|toukk\w*|maggots?|seen|found|present|presence|detected|occurrence|gesehen|gefunden|vorhanden|vue?s?|"
    r"trouve\w*|present\w*|gezien|gevonden|aanwezig|vist\w+|encontrad\w+|nahty|loytyi|znalezion\w+|widzian\w+|"
    r"trovat\w+|sedda|hittade|funna)\b"
)
# what is counted, and how it was found: nothing of the number itself
_COUNTED = (
    r"(?:rat[ -]tailed\s+)?(?:larvae|larva|larven|larves?|larvas|larver|larwy|larw|maggots?|maden|asticots?|toukkaa?|"
    r"toukkia|individuals?|ind|seen|found|saw|counted|gesehen|gefunden|vues?|gezien|vistas?|nähty|stück|stk|pcs)\.?"
)
_AROUND = re.compile(rf"^(?:{_COUNTED}\s*[:=]?\s*)+|(?<=[\w+?])(?:\s*{_COUNTED})+\s*[!.]*$", re.IGNORECASE)
# where a word of an outcome ends and a remark begins
_REMARK = re.compile(r"\s*[,;(\[]\s*|\s+[-–—]+\s+|[.:!]\s+")

_NO_COUNT = Count(math.nan, math.nan, math.nan)


class Found(NamedTuple):
    """What a row says was there: its outcome ("" where the row is set aside), the count, and a remark beside it."""

    outcome: Outcome | str
    larvae: Count
    remark: str = ""


def read_outcomes(draft: Draft) -> list[Found]:
    """The outcome and the count of each row; rows without a clear outcome are set aside.

    The column of outcomes may hold counts ("2-3 larvae") and marks (Y, x, 1) where its heading or its other words tell
    what they mean; without such a column that of larvae may say dry and gone as well.
    """
    own = draft.has("outcome")
    name = "outcome" if own else "larvae"
    legend = draft.table.legend
    cells = draft.cells(name)
    if legend:
        cells = [legend.get(as_text(cell).strip().casefold(), cell) for cell in cells]
    larvae = draft.cells("larvae")
    counts, notes = read_counts(larvae), draft.texts("note")
    of_larvae = Words.of(larvae, draft.heading("larvae"), every_number_counts=True)
    words = Words.of(cells, draft.heading(name)) if own else of_larvae
    unread = [
        n is None and cell is not None and of_larvae.reads(cell) is None for n, cell in zip(counts, larvae, strict=True)
    ]
    draft.tell_unread("larvae", unread, Sentence("the count is not known"))
    said = {key: words.read(key[1]) for key in dict.fromkeys((type(cell), cell) for cell in cells)}
    no_water = [draft.has("water") and yes_no(cell) == "no" for cell in draft.cells("water")]
    found: list[Found] = []
    # most rows say what another one said
    before: dict[tuple[object, ...], Found] = {}
    for at, (cell, number, larvae_seen) in enumerate(zip(cells, larvae, counts, strict=True)):
        key = type(cell), cell, type(number), number, no_water[at]
        if key in before:
            found.append(before[key])
            continue
        read = said[type(cell), cell]
        by_note = read is None and larvae_seen is None
        if by_note:  # what a form had in the one column may stand in the other
            read = of_larvae.read(number) or _in_note(notes[at])
        row = _together(read, larvae_seen, number, own)
        searched = isinstance(row, Found) and row.outcome is Outcome.NONE_SEEN
        if no_water[at] and (searched or row is Why.NO_OUTCOME):
            row = Found(Outcome.DRY, larvae_seen or _NO_COUNT)
        if isinstance(row, Found):
            before |= {} if by_note else {key: row}
        else:
            column = "outcome" if own and (cell is not None or number is None) else "larvae"
            draft.refuse(at, column if draft.has(column) else name, cell if column == "outcome" else number, row)
            row = Found("", larvae_seen or _NO_COUNT)
        found.append(row)
    _tell_basis(draft, name, cells, words)
    return found


def _together(said: Found | Reason | None, count: Count | None, number: object, own: bool) -> Found | Reason:
    """What a row says by its outcome and by its count. `own`: whether outcomes have a column of their own."""
    if isinstance(said, (Why, Told)):
        return said
    if said is None:
        if count is None:
            return Why.NO_OUTCOME
        if count.low >= 1:
            return Found(Outcome.LARVAE, count)
        if count.high > 0:
            return Why.DOUBTFUL_COUNT
        # a 0 beside a blank outcome may be what the form had there, a word such as none was written by somebody
        in_words = isinstance(number, str) and not any(c.isdecimal() for c in number)
        return Why.NO_OUTCOME if own and not in_words else Found(Outcome.NONE_SEEN, count)
    if count is None:
        return said
    wrong = count.high == 0 if said.outcome is Outcome.LARVAE else count.low >= 1
    both = _both(said.larvae, count)
    if wrong or both is None:
        told = as_text(count.exact) or say("at least {n}", n=as_text(count.low))
        return Why.CONTRADICTION.of(outcome=Sentence(said.outcome), count=told)
    return said._replace(larvae=both)


def _both(one: Count, other: Count) -> Count | None:
    """What two counts of the same larvae say together; None where they are at odds."""
    if math.isnan(one.low):
        return other
    low, high = max(one.low, other.low), min(one.high, other.high)
    exact = next((c.exact for c in (one, other) if not math.isnan(c.exact)), math.nan)
    return Count(exact, low, high) if low <= high else None


@dataclass(frozen=True)
class Words:
    """What the cells of one column of outcomes mean, by the column's other cells and by its heading."""

    said: frozenset[Outcome]  # by plain words
    asks: bool  # the heading asks for larvae
    counts: bool  # its numbers are counts
    seen_or_not: bool  # its numbers are 1 and 0
    marks: bool  # its letters are marks of yes and no

    @classmethod
    def of(cls, cells: Sequence[object], heading: str, *, every_number_counts: bool = False) -> Words:
        """What these cells tell of each other."""
        texts = {_plain(c) for c in set(cells) if c is not None and not isinstance(c, bool)}
        said = {found for text in texts - EMPTY if (found := OUTCOME_WORDS.get(text)) and yes_no(text) is None}
        digits = {float(text) for text in texts if text.isdecimal()}
        written = any(_count_of(text) and re.search(r"\d", text) for text in texts if not text.isdecimal())
        if any(
            (count := _count_of(text)) and count.low >= 1 for text in texts if not text.isdecimal() and len(text) > 1
        ):
            said.add(Outcome.LARVAE)
        asks = every_number_counts or bool(_ASKS.search(fold(heading)))
        letters = {text for text in texts if len(text) == 1 and not text.isdecimal() and text not in "?-"}
        yes, no = letters & YES_MARKS, letters & NO_MARKS
        return cls(
            frozenset(said),
            asks,
            counts=written or any(n >= 10 for n in digits) or ((bool(said) or asks) and any(n >= 2 for n in digits)),
            seen_or_not=digits <= {0, 1} and (len(digits) == 2 or bool(digits and (said or asks))),
            marks=len(yes) <= 1 and len(no) <= 1 and letters <= yes | no | {CROSS} and not (yes and CROSS in letters),
        )

    def reads(self, cell: object) -> Found | None:
        """What a cell says, None where that is nothing clear."""
        found = self.read(cell)
        return found if isinstance(found, Found) else None

    def read(self, cell: object) -> Found | Reason | None:
        """What a cell says, why that is not clear, or None where it says nothing."""
        if cell is None:
            return None
        if isinstance(cell, bool):
            return Found(Outcome.LARVAE if cell else Outcome.NONE_SEEN, _NO_COUNT)
        text = _plain(cell)
        if text in UNKNOWN:
            return None
        if text.isdecimal():
            return self._number(text)
        if text in EMPTY:
            return self._empty(text)
        if len(text) == 1:
            return self._mark(text)
        if "?" not in text and (outcome := OUTCOME_WORDS.get(fold(text))):
            return Found(outcome, _NO_COUNT)
        if count := _count_of(text):
            return _of_count(count)
        return _with_remark(as_text(cell)) or Why.ODD_OUTCOME

    def _number(self, text: str) -> Found | Reason:
        if self.counts:
            return _of_count(Count(float(text), float(text), float(text)))
        if self.seen_or_not and (text == "1" or not self.said or self.asks):
            return Found(Outcome.LARVAE if text == "1" else Outcome.NONE_SEEN, _NO_COUNT)
        return Why.CODED_OUTCOME

    def _empty(self, text: str) -> Found | Reason:
        """No larvae where another word of the column says dry, no water where another says none seen."""
        dry, none = Outcome.DRY in self.said, Outcome.NONE_SEEN in self.said
        if dry == none:
            return Why.EMPTY_OUTCOME.of(word=text)
        return Found(Outcome.NONE_SEEN if dry else Outcome.DRY, _NO_COUNT)

    def _mark(self, text: str) -> Found | Reason:
        """A yes or no that the heading asks for, or that stands among outcomes; a cross only for what has no word."""
        plain = self.asks or (bool(self.said) and (text != CROSS or Outcome.LARVAE not in self.said))
        if not self.marks or text not in YES_MARKS | NO_MARKS | {CROSS}:
            return Why.ODD_OUTCOME
        if text == CROSS and not self.asks and Outcome.NONE_SEEN not in self.said:
            return Why.MARKED_OUTCOME
        if not plain:
            return Why.MARKED_OUTCOME
        return Found(Outcome.NONE_SEEN if text in NO_MARKS else Outcome.LARVAE, _NO_COUNT)


def _plain(cell: object) -> str:
    """A cell as it is compared: small letters, a sign such as + or a tick left as it is."""
    text = as_text(cell).strip().casefold()
    return text if "?" in text or re.search(r"\d", text) else (fold(text) or text)


@lru_cache(maxsize=10_000)
def _count_of(text: str) -> Count | None:
    """The count that a text of an outcome gives ("2-3 larvae", "larvae: 4", "lots"), None where it gives none."""
    if text in OUTCOME_WORDS:
        return None
    (count,) = read_counts([_AROUND.sub("", re.sub(r"[()\[\]]", " ", text).strip()).strip(" :=")])
    return count


def _in_note(note: str) -> Found | None:
    """The outcome that a note says, where nothing else says one: "bone dry", and nothing more."""
    outcome = OUTCOME_WORDS.get(fold(note)) if yes_no(note) is None and "?" not in note else None
    return Found(outcome, _NO_COUNT) if outcome else None


def _of_count(count: Count) -> Found | Reason:
    if count.low >= 1:
        return Found(Outcome.LARVAE, count)
    return Found(Outcome.NONE_SEEN, count) if count.high == 0 else Why.DOUBTFUL_COUNT


def _with_remark(text: str) -> Found | None:
    """An outcome with a remark behind it ("dry, topped up"); None where the remark may say another outcome."""
    head, *rest = _REMARK.split(text, maxsplit=1)
    remark = rest[0].strip(" )].!") if rest else ""
    words = set(fold(remark).split())
    found = Found(outcome, _NO_COUNT) if (outcome := OUTCOME_WORDS.get(fold(head))) else None
    if found is None and (count := _count_of(head.casefold())) and count.low >= 1 and not head.strip().isdecimal():
        found = Found(Outcome.LARVAE, count)
    if found is None or not remark or "?" in head or fold(head) in EMPTY:
        return None
    if found.larvae is _NO_COUNT and re.search(r"[\d?]", remark):
        return None
    others = {word for word, means in OUTCOME_WORDS.items() if means is not found.outcome}
    return None if words & others or words & _NEGATIONS else found._replace(remark=remark)


# a remark with such a word may take back what stands before it
_NEGATIONS = frozenset(
    "not but no never except probably maybe nicht aber kein vielleicht pas mais peut niet maar geen pero sin ei mutta "
    "empty leer vide leeg vacio tyhja water wasser eau agua vetta".split()
)


BY_HEADING = '"{word}" under {heading} was read as {outcome} in {cells}, by the heading'
BY_OTHER_WORDS = '"{word}" under {heading} was read as {outcome} in {cells}, by the other words of the column'
AS_OTHERS_SAY = (
    '"{word}" under {heading} was read as {outcome} in {cells}, as other cells of the column say {other}; check them'
)


def _tell_basis(draft: Draft, name: str, cells: Sequence[object], words: Words) -> None:
    """Tells how cells were read that say an outcome only by the column they stand in."""
    texts: Counter[str] = Counter()
    for cell, number in Counter(cells).items():
        texts[_plain(cell)] += number if cell is not None and not isinstance(cell, bool) else 0
    by = BY_HEADING if words.asks else BY_OTHER_WORDS
    for text in sorted(t for t in texts if t in EMPTY or (len(t) == 1 and not (t.isdecimal() and words.counts))):
        found = words.reads(text)
        if found is None:
            continue
        cells_read = count(texts[text], "cell")
        said = {"cells": cells_read, "word": text, "heading": draft.heading(name), "outcome": Sentence(found.outcome)}
        if text in EMPTY:
            other = Outcome.DRY if found.outcome is Outcome.NONE_SEEN else Outcome.NONE_SEEN
            draft.remark(say(AS_OTHERS_SAY, **said, other=Sentence(other)))
        else:
            draft.tell(say(by, **said))


def with_outcome_by_content(table: Table, heads: Headings) -> Headings:
    """The headings, with the outcome in a column of yes and no where another counts ("Larvae?", "How many?")."""
    if "outcome" in heads.at or "larvae" not in heads.at:
        return heads
    told = [
        (j, h) for j, h in enumerate(table.headings) if j == heads.at["larvae"] or means(Kind.VISITS, h) == "larvae"
    ]
    cells = {j: {_plain(row[j]) for row in table.rows if row[j] is not None} - UNKNOWN for j, _ in told}
    counts = [(j, h) for j, h in told if cells[j] and all(_count_of(t) or t.isdecimal() for t in cells[j])]
    said = [(j, h) for j, h in told if (j, h) not in counts and cells[j]]
    if len(told) != 2 or len(counts) != 1 or len(said) != 1:
        return heads
    chosen = {"outcome": said[0], "larvae": counts[0]}
    return replace(
        heads,
        at={**heads.at, **{name: j for name, (j, _) in chosen.items()}},
        how={**heads.how, "outcome": Match.CONTENT},
        text={**heads.text, **{name: heading for name, (_, heading) in chosen.items()}},
        doubles=tuple(double for double in heads.doubles if double[0] != "larvae"),
        unmatched={h: near for h, near in heads.unmatched.items() if h not in (said[0][1], counts[0][1])},
    )
