"""What a report is made of: sections with tables and drawings, and the HTML page that they become.

A section has a title, a plain-language reading, more words, tables (see `table`) and drawings. `report_page` puts
sections into one file that loads nothing and runs nothing; text of records is escaped and never meets a template.

What stands in titles, words, captions and heads is the program's own, plain or a `Sentence`, and is said in the page's
language; in a cell only sentences and codes are, as a plain text there is a record's.
"""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

import pandas as pd

from habitatmap.export.formats import visible
from habitatmap.page.document import html_document, shown, source_hash, style_sheet
from habitatmap.words.catalogue import ENGLISH, Catalogue
from habitatmap.words.numbers import count, percent, span

LONG = 30  # letters; a column with longer texts gets more room
FOLDED = 8  # rows; a longer table folds away
_FIGURE = re.compile(r"^$|^[-+]?[\d,.]+( %| m)?( \(.*\))?( to [-+]?[\d,.]+( %| m)?)?$")


Row = Mapping[Any, Any]  # of a frame: its cells by column
Column = str | Callable[[Row], object]  # the name of a frame's column, or what is made of a row
Picture = str | Callable[[Catalogue], str]  # an SVG, or what draws it in a language


class Fold(StrEnum):
    """When a table folds away behind its caption."""

    LONG = "long"  # beyond so many rows, see FOLDED
    NEVER = "never"  # it is what the reader came for
    ALWAYS = "always"  # a drawing says the same


@dataclass(frozen=True)
class Table:
    """A table of ready words and numbers; the first column names the row. `note` stands below it."""

    caption: str
    heads: Sequence[str]
    rows: Sequence[Sequence[object]]
    note: str = ""
    fold: Fold = Fold.LONG


class Layout(StrEnum):
    """How the parts of a drawing stand on the page."""

    PLAIN = "plain"  # one narrow picture
    BESIDE = "beside"  # the same, at the right of the words where there is room
    COLUMNS = "columns"  # beside each other where there is room
    CHART = "chart"  # pairs of a column that stays in sight and what scrolls beside it


@dataclass(frozen=True)
class Drawing:
    """SVGs of `drawings`, with a sentence on how to read them.

    key: a list (HTML) that explains the signs; svg: the picture; "" draws nothing; more: its further parts; beyond the
    first `open_parts` of all parts they fold away. In a chart each part is two SVGs.
    """

    svg: Picture
    caption: str
    layout: Layout = Layout.PLAIN
    key: Picture = ""
    more: Sequence[Picture] = ()
    open_parts: int = 1

    def parts(self, spoken: Catalogue) -> list[str]:
        """Its SVGs in a language."""
        return [drawn(part, spoken) for part in (self.svg, *self.more)]


def drawn(picture: Picture, spoken: Catalogue) -> str:
    """A picture in a language."""
    return picture if isinstance(picture, str) else picture(spoken)


@dataclass(frozen=True)
class Section:
    """One part of a report.

    key: a word for the link to it (a-z and -); lead: the reading in plain words, one or two sentences, or a line for
    each; words: further paragraphs; cautions: sentences that stand out, or lines of them; links: (key of another
    section, words); parts: smaller sections inside this one, which the table of contents leaves out.
    """

    key: str
    title: str
    lead: str
    words: Sequence[str] = ()
    drawings: Sequence[Drawing] = ()
    tables: Sequence[Table] = ()
    cautions: Sequence[str] = ()
    links: Sequence[tuple[str, str]] = ()
    parts: Sequence[Section] = ()

    def filled(self) -> Section:
        """The section without empty words, tables without rows and drawings of nothing."""
        return replace(
            self,
            words=[text for text in self.words if text],
            drawings=[drawing for drawing in self.drawings if drawn(drawing.svg, ENGLISH)],
            tables=[table for table in self.tables if table.rows],
            cautions=[text for text in self.cautions if text],
        )


def table(
    caption: str,
    rows: pd.DataFrame | Iterable[Row],
    columns: Mapping[str, Column],
    note: str = "",
    fold: Fold = Fold.LONG,
) -> Table:
    """A table of records: heading -> column."""
    records: Iterable[Row] = rows.to_dict("records") if isinstance(rows, pd.DataFrame) else rows
    cells = [tuple(row[c] if isinstance(c, str) else c(row) for c in columns.values()) for row in records]
    return Table(caption, list(columns), cells, note, fold)


def share(column: str) -> Column:
    """A column of shares, as percentages."""
    return lambda row: percent(row[column])


def interval(low: str = "low", high: str = "high") -> Column:
    """Two columns of shares, as an interval."""
    return lambda row: span(row[low], row[high])


def letters(number: int) -> str:
    """A number as letters, which keys of sections are made of: a, b, ..., z, ba, bb, ..."""
    return (letters(number // 26) if number >= 26 else "") + chr(ord("a") + number % 26)


def aligned(rows: Sequence[Sequence[str]]) -> list[str]:
    """The lines of a table for a terminal, its columns below each other."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]


def terminal(lines: Iterable[str]) -> str:
    """Lines as a terminal may show them: text of records can neither steer it nor turn the reading direction."""
    return visible("\n".join(shown(line) for line in lines)) + "\n"


def report_page(
    title: str,
    kind: str,
    as_of: str,
    sections: Sequence[Section],
    spoken: Catalogue = ENGLISH,
    sheets: bool = False,
    data_pictures: bool = False,
) -> str:
    """The document: `title` of the area, the `kind` of page, a line that says as of when, and the sections in order.

    `spoken`: its language. `sheets`: on paper each section begins a page, and no table folds away. `data_pictures`: the
    drawings hold rasters as data addresses, which the page's policy then lets in.
    """
    page = _Page(spoken, fixed=sheets)
    style = style_sheet("report.css")
    policy = f"default-src 'none'; style-src {source_hash(style)}; base-uri 'none'; form-action 'none'"
    policy += "; img-src data:" if data_pictures else ""
    contents = [f'<li><a href="#{s.key}">{page.say(s.title)}</a></li>' for s in sections]
    body = [
        '<body class="sheets">' if sheets else "<body>",
        f'<a class="skip" href="#main">{page.say("To the report")}</a>',
        '<header class="top">',
        f'<div class="names"><h1 dir="auto">{_text(title)}</h1><p>{page.say(kind)}</p></div>',
        f'<p class="asof">{page.say(as_of)}</p>',
        "</header>",
        '<div class="sheet">',
        f'<nav aria-label="{page.say("Parts of this page")}"><ol>{"".join(contents)}</ol></nav>',
        '<main id="main" tabindex="-1">',
        *(part for s in sections for part in page.section(s)),
        "</main>",
        "</div>",
        "</body>",
    ]
    return html_document(shown(f"{title}: {spoken.say(kind)}"), policy, [style], body, spoken.language)


@dataclass(frozen=True)
class _Page:
    """Sections as HTML in a language; `fixed`: no table folds away."""

    spoken: Catalogue
    fixed: bool

    def say(self, text: str) -> str:
        """What the program writes, as HTML."""
        return _text(self.spoken.say(text))

    def section(self, whole: Section, level: int = 2) -> Iterable[str]:
        s = whole.filled()
        if not re.fullmatch(r"[a-z][a-z-]*", s.key):
            raise ValueError(f"not a fit key for a section: {s.key!r}")
        # a part is no landmark of its own: its title may stand on the page twice
        named = f' aria-labelledby="{s.key}-title"' if level == 2 else ""
        yield f'<section id="{s.key}"{named}>'
        yield f'<h{level} id="{s.key}-title" dir="auto">{self.say(s.title)}</h{level}>'
        for lead in lines_of(s.lead, self.spoken):
            yield f'<p class="lead" dir="auto">{_text(lead)}</p>'
        for drawing in s.drawings:
            yield from self.figure(drawing)
        for words in s.words:
            yield f'<p dir="auto">{self.say(words)}</p>'
        for caution in s.cautions:
            yield f'<p class="caution" dir="auto">{self.say(caution)}</p>'
        for table in s.tables:
            yield from self.table(table) if self.fixed else self.folded(table)
        for key, words in s.links:
            yield f'<p><a href="#{html.escape(key)}">{self.say(words)}</a></p>'
        for part in s.parts:
            yield from self.section(part, level + 1)
        yield "</section>"

    def figure(self, drawing: Drawing) -> Iterable[str]:
        """A drawing with its key and caption; what scrolls can be scrolled by key."""
        label, parts = self.say(drawing.caption), drawing.parts(self.spoken)
        if drawing.layout is Layout.CHART:
            box = f'<div class="chart" role="region" aria-label="{label}" tabindex="0">'
            parts = [f"{box}{part}</div>" for part in parts]
        yield f'<figure class="{drawing.layout}">'
        yield drawn(drawing.key, self.spoken)
        yield f'<div class="parts">{"".join(parts[: drawing.open_parts])}</div>'
        if rest := parts[drawing.open_parts :]:
            more = self.say("The rest of this picture")
            yield f'<details><summary>{more}</summary><div class="parts">{"".join(rest)}</div></details>'
        yield f'<figcaption dir="auto">{label}</figcaption></figure>'

    def folded(self, table: Table) -> Iterable[str]:
        """A table, folded away behind its caption as its `fold` says; on paper it is open."""
        if table.fold is Fold.NEVER or (table.fold is Fold.LONG and len(table.rows) <= FOLDED):
            yield from self.table(table)
            return
        size = self.say(count(len(table.rows), "row"))
        yield f'<details><summary dir="auto">{self.say(table.caption)} <span>({size})</span></summary>'
        yield from self.table(table)
        yield "</details>"

    def table(self, table: Table) -> Iterable[str]:
        """A table that scrolls by key where it is wider than the page; columns of figures are set to the right."""
        label = self.say(table.caption)
        cells = [[shown(cell) for cell in row] for row in table.rows]
        columns = range(len(table.heads))
        of_figures = [i > 0 and bool(cells) and all(_FIGURE.match(row[i]) for row in cells) for i in columns]
        long = [any(len(row[i]) > LONG for row in cells) for i in columns]
        name = [
            'class="figure" ' if right else 'class="long" ' if wide else ""
            for right, wide in zip(of_figures, long, strict=True)
        ]
        yield f'<div class="wide" role="region" aria-label="{label}" tabindex="0"><table><caption>{label}</caption>'
        heads = "".join(f'<th {name[i]}scope="col">{self.say(head)}</th>' for i, head in enumerate(table.heads))
        yield f"<thead><tr>{heads}</tr></thead>"
        yield "<tbody>"
        for row in table.rows:
            said = [_text(self.spoken.cell(cell)) for cell in row]
            rest = "".join(f'<td {name[i]}dir="auto">{said[i]}</td>' for i in columns[1:])
            yield f'<tr><th {name[0]}scope="row" dir="auto">{said[0]}</th>{rest}</tr>'
        yield "</tbody></table></div>"
        if table.note:
            yield f'<p class="note" dir="auto">{self.say(table.note)}</p>'


def lines_of(text: str, spoken: Catalogue) -> list[str]:
    """The lines of a lead in a language."""
    return [line for line in spoken.say(text).split("\n") if line]


def _text(value: object) -> str:
    return html.escape(shown(value))
