"""The short way of reading our catalogues says what the library says; what it can't read goes to the library."""

from __future__ import annotations

from importlib.resources import files

import pytest

from habitatmap.vocabulary.catalogues import LANGUAGES, every_entry, plain_entries


@pytest.mark.parametrize("language", LANGUAGES[1:])
def test_our_catalogues_are_read_as_the_library_reads_them(language: str) -> None:
    text = (files("habitatmap.words") / "locale" / f"{language}.po").read_text(encoding="utf-8")
    plain = plain_entries(text)
    assert plain
    assert list(plain.items()) == list(every_entry(text, language).items())


HEAD = 'msgid ""\nmsgstr ""\n"Language: de\\n"\n'
ONE = 'msgctxt "sentence"\nmsgid "a \\"word\\"\\n"\nmsgstr "ein \\"Wort\\"\\n"\n'


@pytest.mark.parametrize(
    ("more", "plain"),
    [
        ('msgctxt "sentence"\nmsgid "b"\nmsgstr ""\n', True),
        ('msgctxt "sentence"\nmsgid ""\n"b"\nmsgstr "c"\n', False),  # wrapped, as translators' programs do
        ('#, fuzzy\nmsgctxt "sentence"\nmsgid "b"\nmsgstr "c"\n', False),
        ('#~ msgctxt "sentence"\n#~ msgid "b"\n#~ msgstr "c"\n', False),
    ],
)
def test_other_entries_are_left_to_the_library(more: str, plain: bool) -> None:
    text = f"{HEAD}\n{ONE}\n{more}"
    found = plain_entries(text)
    assert bool(found) == plain
    assert not plain or found == every_entry(text, "de") == {("sentence", 'a "word"\n'): 'ein "Wort"\n'}
