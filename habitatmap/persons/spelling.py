"""How a person may be written: the name in either order, any case and with or without accents, mail, telephone.

What is written nearly so, or only in part, is no find: it is offered, and somebody says yes.
"""

from __future__ import annotations

import html
import html.entities
import json
import re
import unicodedata
from collections.abc import Callable, Iterator, Sequence
from enum import StrEnum
from functools import cache, lru_cache
from typing import NamedTuple
from urllib.parse import quote

from rapidfuzz import fuzz

from habitatmap.errors import InputError

# as alike as this is offered, of 100 (expert judgement: a letter of eight)
NEAR = 82.0
FEWEST_DIGITS = 6
BETWEEN = r"(?:&nbsp;|&#160;|\\u00a0|%20|[^\w\r\n\t;|<>]|_){1,3}"
OF_HEADERS = "&[LCRBIU]"  # what stands before a word in the head of a printed sheet
MAIL = re.compile(r"[^\s@<>\"',;:()]+@[^\s@<>\"',;:()]+\.\w{2,}")
_WORD = re.compile(r"[^\W_]+")


class What(StrEnum):
    """What of a person was found."""

    NAME = "name"
    MAIL = "mail"
    TELEPHONE = "telephone"


class Loose(str):
    """Bytes read as a text, where a letter beside a name may be none: ends of words say nothing there."""


class Span(NamedTuple):
    """A part of a text, and what stands in its place from now on."""

    start: int
    end: int
    new: str


class Find(NamedTuple):
    """A part of a text that names somebody. `spelling`: as it is written, its blanks made single."""

    start: int
    end: int
    what: What
    spelling: str


class Person:
    """Somebody, by any number of names, mail addresses and telephone numbers. InputError where none can be searched."""

    def __init__(self, said: Sequence[str]) -> None:
        self.said = [" ".join(one.split()) for one in said if one.strip()]
        kinds = [(what_of(one), one) for one in self.said]
        self.names = [one for what, one in kinds if what is What.NAME]
        for name in self.names:
            if sum(map(len, _WORD.findall(name))) < 2:
                raise InputError(
                    f'"{name}" is too short to look for: give the whole name, a mail or a telephone number'
                )
        forms = [
            *((What.MAIL, _mail(one)) for what, one in kinds if what is What.MAIL),
            *((What.TELEPHONE, _telephone(one)) for what, one in kinds if what is What.TELEPHONE),
            *((What.NAME, form) for name in self.names for form in _forms(name)),
        ]
        if not forms:
            raise InputError("no name, mail or telephone number was given")
        # letters of a name stand in both cases already, which is faster than to compare them without
        self._forms = [
            (what, re.compile(form, re.IGNORECASE if what is What.MAIL else 0)) for what, form in dict.fromkeys(forms)
        ]
        bare = dict.fromkeys(_form(order) for name in self.names for order in _orders(name))
        self._loose = [
            *(one for one in self._forms if one[0] is not What.NAME),
            *((What.NAME, re.compile(f)) for f in bare),
        ]
        self._words = {fold(word) for name in self.names for word in _WORD.findall(name)}
        self._initials = {word[0] for word in self._words}
        self._alike: Callable[[str], bool] = lru_cache(maxsize=200_000)(self._is_alike)

    def finds(self, text: str) -> list[Find]:
        """Where a text names the person, in order, none within another."""
        found: list[Find] = []
        for what, form in self._loose if isinstance(text, Loose) else self._forms:
            for match in form.finditer(text):
                start, end = match.span()
                if start < end and not any(start < one.end and one.start < end for one in found):
                    found.append(Find(start, end, what, spelling_of(match[0])))
        return sorted(found)

    def near(self, text: str) -> Iterator[str]:
        """What a text writes nearly as the name, or in part, away from what `finds` gives."""
        if not self._words:
            return
        words = list(_WORD.finditer(text))
        alike = [self._alike(word[0]) for word in words]
        if not any(alike):
            return
        taken = self.finds(text)
        run: list[re.Match[str]] = []
        for word, hit in [*zip(words, alike, strict=True), (None, False)]:
            initial = word is not None and len(word[0]) == 1 and fold(word[0]) in self._initials
            joined = not run or (
                word is not None and re.fullmatch(r"[^\w\r\n\t;|]{1,2}|_", text[run[-1].end() : word.start()])
            )
            if word is not None and (hit or initial) and joined:
                run.append(word)
                continue
            if any(self._alike(one[0]) for one in run):
                start, end = run[0].start(), run[-1].end()
                if not any(start < one.end and one.start < end for one in taken):
                    yield spelling_of(text[start:end])
            run = [word] if word is not None and (hit or initial) else []

    def _is_alike(self, word: str) -> bool:
        plain = fold(word)
        return (
            len(plain) > 2
            and not plain.isdigit()
            and any(plain == own or (len(own) > 3 and fuzz.ratio(plain, own) >= NEAR) for own in self._words)
        )


def what_of(said: str) -> What:
    """Whether a text is a mail address, a telephone number or a name. InputError for a number that is too short."""
    if "@" in said:
        return What.MAIL
    digits = re.sub(r"\D", "", said)
    if digits and not re.search(r"[^\W\d_]", said):
        if len(digits) < FEWEST_DIGITS:
            raise InputError(f'"{said}" is too short for a telephone number: give all its digits')
        return What.TELEPHONE
    return What.NAME


def spelling_of(text: str) -> str:
    """A find as it is written, in one way of composing letters and with single blanks."""
    return " ".join(unicodedata.normalize("NFC", html.unescape(text)).split())


@lru_cache(maxsize=200_000)
def fold(text: str) -> str:
    """Letters without case and accents."""
    plain = unicodedata.normalize("NFKD", text.replace("ß", "ss").casefold())
    return "".join(letter for letter in plain if not unicodedata.combining(letter))


def _orders(name: str) -> list[list[str]]:
    """The words of a name, first name first and last."""
    words = _WORD.findall(unicodedata.normalize("NFC", name))
    return [words, [*words[-1:], *words[:-1]]] if len(words) > 1 else [words]


def _form(words: Sequence[str]) -> str:
    return BETWEEN.join("".join(_letter(sign) if sign.isalpha() else sign for sign in word) for word in words)


def _forms(name: str) -> list[str]:
    """Patterns of a name. No letter stands before or behind it, and no digit beside one of its own."""
    found = []
    for order in _orders(name):
        before = r"(?<![^\W_])" if order[0][0].isdigit() else rf"(?:(?<![^\W\d_])|(?<={OF_HEADERS}))"
        behind = r"(?![^\W_])" if order[-1][-1].isdigit() else r"(?![^\W\d_])"
        found.append(f"{before}{_form(order)}{behind}")
    return found


def _letter(letter: str) -> str:
    """A pattern of a letter in any case and with any accent, and of what files make of it."""
    base = fold(letter)
    if len(base) != 1:  # ß
        return f"(?:{letter}|{base})"
    escaped = {
        form
        for sign in (letter.lower(), letter.upper())
        if not sign.isascii()
        for form in (
            json.dumps(sign)[1:-1],
            f"&#{ord(sign)};",
            f"&#x{ord(sign):x};",
            quote(sign),
            *([f"&{html.entities.codepoint2name[ord(sign)]};"] if ord(sign) in html.entities.codepoint2name else []),
        )
    }
    one = f"[{re.escape(_with_accents().get(base, base + base.upper()))}][\\u0300-\\u036f]*"
    return f"(?:{'|'.join([one, *map(re.escape, sorted(escaped))])})" if escaped else one


@cache
def _with_accents() -> dict[str, str]:
    """All letters of Latin scripts by the plain letter that they are made of."""
    letters: dict[str, str] = {}
    for code in [*range(0x41, 0x250), *range(0x1E00, 0x1F00)]:
        if (sign := chr(code)).isalpha() and len(base := fold(sign)) == 1:
            letters[base] = letters.get(base, "") + sign
    return letters


def _mail(mail: str) -> str:
    return rf"(?<![\w.+-]){re.escape(mail)}(?![\w-])"


def _telephone(number: str) -> str:
    """A pattern of the last digits of a number, whatever country and signs stand before and between them."""
    digits = re.sub(r"\D", "", number).lstrip("0")
    core = digits[-max(FEWEST_DIGITS, min(9, len(digits) - 2)) :] if number.strip().startswith(("+", "00")) else digits
    between = r"[ \u00a0()./-]{0,3}"
    return rf"(?<![\d.,])[+(]?(?:\d{between}){{0,6}}{between.join(core)}(?!\d)"
