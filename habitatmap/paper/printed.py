"""The sections of a report page (page.sections), on paper."""

from __future__ import annotations

import re
from collections.abc import Sequence

from habitatmap.page.sections import Section, Table, drawn
from habitatmap.paper.typst_pdf import pdf
from habitatmap.words.catalogue import ENGLISH, Catalogue

# a drawing takes its looks from the page it stands on; on paper there is none
LOOKS = (
    "text:not([font-size]){font:12px 'Noto Sans';fill:#1d2829}.rail{stroke:#d3dcd9}"
    ".whisker{stroke:#0b5c6b;stroke-width:3}.dot{fill:#a8321a;stroke:#fff;stroke-width:1.5}"
    ".through{stroke:#7b8b88;stroke-width:1.5;stroke-dasharray:4 3}.filled{fill:#0b5c6b;stroke:#0b5c6b}"
    ".outlined{fill:#fff;stroke:#7b8b88}.path{fill:none;stroke:#7b8b88;opacity:.55}"
    ".way{fill:none;stroke:#0b5c6b;stroke-width:2.5;stroke-linejoin:round}.bar{stroke:#1d2829;stroke-width:3}"
    ".limit{fill:none;stroke:#7b8b88;stroke-width:1.5;stroke-dasharray:4 3}"
    ".stop{fill:#fff;stroke:#a8321a;stroke-width:2}"
)
MM_A_UNIT = 0.27
_SIZE = re.compile(r'viewBox="0 0 ([\d.]+) ([\d.]+)"')
PAGE_MM, MOST_HIGH_MM = 176.0, 130.0
WIDEST, WIDEST_TO_FIT = 30, 48  # letters of a column; wide ones take fewer lines


def sections_pdf(
    title: str,
    subtitle: str,
    footer: str,
    pages: Sequence[Sequence[Section]],
    spoken: Catalogue = ENGLISH,
    one_page_each: bool = False,
) -> bytes:
    """The PDF; each of `pages` begins on a page of its own and takes as many as it needs, or is set as much smaller as
    fits on one (`one_page_each`; what is twice too long still takes more). `spoken`: its language."""
    drawings: dict[str, bytes] = {}
    widest = WIDEST_TO_FIT if one_page_each else WIDEST
    content = [[_section(section, drawings, widest, spoken) for section in page] for page in pages]
    data = {"title": title, "subtitle": spoken.say(subtitle), "footer": spoken.say(footer), "pages": content}
    return pdf("sections.typ", data | {"one_page_each": one_page_each}, drawings, spoken.language)


def _section(whole: Section, drawings: dict[str, bytes], widest: int, spoken: Catalogue) -> dict[str, object]:
    """A section as data; its drawings are added to `drawings`, no column is wider than `widest` letters."""
    section = whole.filled()
    shown = []
    for drawing in section.drawings:
        svg = drawn(drawing.svg, spoken)
        size = _SIZE.search(svg)
        assert size, "a drawing has a viewBox"
        name = f"{len(drawings)}.svg"
        drawings[name] = svg.replace(">", f"><style>{LOOKS}</style>", 1).encode("utf-8")
        wide, high = float(size[1]), float(size[2])
        width = min(wide * MM_A_UNIT, PAGE_MM, MOST_HIGH_MM * wide / high)
        shown.append({"name": name, "caption": spoken.say(drawing.caption), "width": width})
    return {
        "title": spoken.say(section.title),
        "lead": spoken.say(section.lead),
        "words": spoken.everything(section.words),
        "drawings": shown,
        "tables": [_table(table, widest, spoken) for table in section.tables],
        "cautions": spoken.everything(section.cautions),
    }


def _table(table: Table, widest: int, spoken: Catalogue) -> dict[str, object]:
    """A table as data, the widths of its columns by their longest text, within limits."""
    rows, heads = [[spoken.cell(cell) for cell in row] for row in table.rows], spoken.everything(table.heads)
    columns = zip(heads, *rows, strict=True)
    widths = [min(max(5, *(len(cell) for cell in column)), widest) for column in columns]
    caption, note = spoken.say(table.caption), spoken.say(table.note)
    return {"caption": caption, "note": note, "heads": heads, "rows": rows, "widths": widths}
