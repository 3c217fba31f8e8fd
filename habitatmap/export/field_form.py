"""The form of a visit as an XLSForm workbook, the open standard that many programs for telephones read.

Source: the XLSForm specification, https://xlsform.org/en/ (sheets survey, choices, settings; label::LANGUAGE (code)).
The names of its questions are our columns, so that the answers, exported as csv by whatever program, are read as visits
in the folder visits/.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Sequence

from habitatmap.export.formats import visible
from habitatmap.read.templates import CREATED
from habitatmap.vocabulary.catalogues import LANGUAGES, word_in
from habitatmap.vocabulary.terms import Outcome
from habitatmap.words.phone import ACTIONS, FORM, LABELS

NAMES = {"en": "English", "de": "Deutsch", "fr": "Fran\u00e7ais", "nl": "Nederlands"}
OPTIONS = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
Row = dict[str, str]


def form_workbook(title: str, week: str, pools: Sequence[str], cautions: Sequence[str] = ()) -> bytes:
    """The workbook: `title` of the area, the week, the pools to choose from, cautions before the questions. Same
    values, same bytes."""
    from xlsxwriter import Workbook

    sheets = {"survey": _survey(cautions), "choices": _choices(pools), "settings": [_settings(title, week)]}
    out = io.BytesIO()
    with Workbook(out, OPTIONS) as book:
        book.set_properties({"created": CREATED})
        bold = book.add_format({"bold": True})
        for name, rows in sheets.items():
            sheet = book.add_worksheet(name)
            heads = list(dict.fromkeys(head for row in rows for head in row))
            sheet.write_row(0, 0, heads, bold)
            sheet.freeze_panes(1, 0)
            sheet.set_column(0, len(heads), 26)
            for at, row in enumerate(rows, 1):
                for column, head in enumerate(heads):
                    sheet.write_string(at, column, row.get(head, ""))
    return out.getvalue()


def _in_each(head: str, text: str) -> Row:
    """A text in each language, under `head`::LANGUAGE (code)."""
    return {f"{head}::{NAMES[language]} ({language})": word_in(language, text) for language in LANGUAGES}


def _survey(cautions: Sequence[str]) -> list[Row]:
    def asked(kind: str, name: str, text: str, hint: str = "", **other: str) -> Row:
        return {"type": kind, "name": name} | _in_each("label", text) | (_in_each("hint", hint) if hint else {}) | other

    before = [asked("note", f"before_{i}", caution) for i, caution in enumerate(cautions, 1)]
    return [
        *before,
        asked("date", "date", LABELS["date"], required="yes", default="today()"),
        asked("select_one pools", "which", FORM["which"], required="yes", appearance="minimal autocomplete"),
        {"type": "calculate", "name": "pool", "calculation": "jr:choice-name(${which}, '${which}')"},
        asked("select_one outcomes", "outcome", LABELS["outcome"], FORM["search"], required="yes"),
        asked(
            "integer", "larvae", LABELS["larvae"], relevant="${outcome} = 'larvae'", constraint=". >= 1",
            **_in_each("constraint_message", FORM["whole"]),
        ),
        asked("select_multiple actions", "action", LABELS["action"]),
        asked("text", "note", LABELS["note"], appearance="multiline"),
        asked("image", "photo", FORM["take_photo"], parameters="max-pixels=1600"),
        asked("geopoint", "position", LABELS["where"]),
        asked("text", "observer", FORM["observer"], default="${last-saved#observer}"),
    ]  # fmt: skip


def _choices(pools: Sequence[str]) -> list[Row]:
    def listed(name: str, values: Iterable[tuple[str, str]], said: Callable[[str], Row]) -> list[Row]:
        return [{"list_name": name, "name": value} | said(text) for value, text in values]

    def as_it_is(text: str) -> Row:
        # a name is no expression of the form, and the same in every language
        plain = visible(text).replace("${", "$ {")
        return {f"label::{NAMES[language]} ({language})": plain for language in LANGUAGES}

    def in_each(text: str) -> Row:
        return _in_each("label", text)

    return [
        *listed("pools", ((f"p{at}", pool) for at, pool in enumerate(sorted(set(pools)), 1)), as_it_is),
        *listed("outcomes", ((code_of(outcome), outcome.value) for outcome in Outcome), in_each),
        *listed("actions", ((code_of(action), action) for action in ACTIONS), in_each),
    ]


def code_of(word: str) -> str:
    """A word as the name of a choice, which has no blanks."""
    return word.replace(" ", "_")


def _settings(title: str, week: str) -> Row:
    return {
        "form_title": f"{visible(title)[:80]}, {week}",
        "form_id": "pool_visits",
        "version": "".join(c for c in week if c.isalnum()).lower(),
        "default_language": f"{NAMES['en']} (en)",
        "instance_name": "concat(${pool}, ' ', ${date})",
    }
