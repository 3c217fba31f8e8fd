"""Texts in files, changed in place: each line in the encoding that it has, markup by its texts and attributes."""

from __future__ import annotations

import codecs
import html
import re
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import NamedTuple

import numpy as np

from habitatmap.persons.spelling import Loose, Span
from habitatmap.sentences import Sentence, say

Where = Callable[[int], Sentence]
# what is to be changed in a text; `where` says where in the file a position of it is
Edit = Callable[[str, Where], Sequence[Span]]

# of a line that is not UTF-8; in each of these a byte is a letter
_ONE_BYTE = ("cp1252", "mac_roman", "cp850", "iso8859-2", "cp1250", "cp1257", "cp1251")
_MARKS = ((codecs.BOM_UTF32_LE, "utf-32-le"), (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"))


def always(template: str, **values: str) -> Where:
    """The same place, whatever position; the sentence is made only where somebody asks for it."""
    return lambda at: say(template, **values)


def with_spans(text: str, spans: Sequence[Span]) -> str:
    """A text with its spans changed."""
    for start, end, new in sorted(spans, reverse=True):
        text = text[:start] + new + text[end:]
    return text


def is_text(data: bytes) -> bool:
    """Whether bytes are a text file, by how they begin."""
    return wide_encoding(data) != "" or b"\0" not in data[:4096]


def wide_encoding(data: bytes) -> str:
    """UTF-16 or UTF-32 of a text, by its mark or by its zeros; "" for all other encodings."""
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            return encoding
    head = data[:400]
    if head and head.count(0) > 0.3 * len(head) and len(data) % 2 == 0:
        encoding = "utf-16-le" if head[1:2] == b"\0" else "utf-16-be"
        try:
            return encoding if "\0" not in head[: len(head) // 2 * 2].decode(encoding) else ""
        except UnicodeDecodeError:
            return ""
    return ""


def edit_text(data: bytes, edit: Edit) -> bytes:
    """A text file with its spans changed; a line in an encoding of its own keeps it."""
    if encoding := wide_encoding(data):
        text = data.decode(encoding, "surrogatepass")
        return with_spans(text, edit(text, _lines_of(text))).encode(encoding, "surrogatepass")
    lines = data.splitlines(keepends=True)
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        return b"".join(_edit_line(line, number, edit) for number, line in enumerate(lines, 1))
    return with_spans(text, edit(text, _lines_of(text))).encode("utf-8")


def _lines_of(text: str) -> Where:
    return lambda at: say("line {line}", line=str(text.count("\n", 0, at) + 1))


def _edit_line(line: bytes, number: int, edit: Edit) -> bytes:
    where = always("line {line}", line=str(number))
    try:
        text = line.decode("utf-8")
        return with_spans(text, edit(text, where)).encode("utf-8")
    except UnicodeDecodeError:
        pass
    for encoding in _ONE_BYTE:
        text = line.decode(encoding, "replace")
        if len(text) == len(line) and (spans := edit(text, where)):
            for start, end, new in sorted(spans, reverse=True):
                line = line[:start] + new.encode("ascii", "replace") + line[end:]
            return line
    return line


# --- markup ----------------------------------------------------------------------------------------------------------

_TOKENS = re.compile(
    r"<!--.*?-->|<!\[CDATA\[.*?\]\]>|<\?.*?\?>|<!(?:[^>\"']|\"[^\"]*\"|'[^']*')*>|<(?:[^<>\"']|\"[^\"]*\"|'[^']*')*>|[^<]+",
    re.DOTALL,
)
_TAG = re.compile(r"<(/?)(?:[\w.-]+:)?([\w.-]+)")
_ATTRIBUTE = re.compile(r"(=\s*)(\"[^\"]*\"|'[^']*')")
# elements whose texts are read as one, though marks of type may part them
_WHOLE = frozenset("si is text p h".split())


class _Piece(NamedTuple):
    """A text of markup: its token, and what it says."""

    token: int
    says: str


def edit_markup(data: bytes, edit: Edit, where: Callable[[str, str, int], Sentence]) -> bytes:
    """XML with the spans of its texts and attributes changed; nothing else of it is touched.

    where: says where something is, by the element, its tag, and how many of its kind came before it. Raises ValueError
    where it can't be decoded.
    """
    encoding = wide_encoding(data) or "utf-8"
    raw = data.decode(encoding)
    tokens = _TOKENS.findall(raw)
    if sum(map(len, tokens)) != len(raw):
        raise ValueError("no well-formed markup")
    open_ones: list[tuple[str, str]] = []  # element and tag
    group: list[_Piece] = []
    counted: dict[str, int] = {}
    inside = 0  # elements of _WHOLE that are open

    def settle() -> None:
        """Changes the texts of one whole."""
        if group:
            element, tag = open_ones[-1] if open_ones else ("", "")
            tag = next((t for e, t in reversed(open_ones) if e in ("c", "comment")), tag)
            number = counted.get(element, 0)
            if element != "v" or 't="s"' not in tag:
                is_number = element == "v" and 't="str"' not in tag
                _edit_pieces(tokens, group, edit, lambda at: where(element, tag, number), blank=is_number)
            group.clear()

    for at, token in enumerate(tokens):
        if token.startswith(("<!--", "<![CDATA[")):
            tokens[at] = with_spans(token, edit(token, lambda at: where("", "", 0)))
        elif not token.startswith("<"):
            group.append(_Piece(at, html.unescape(token)))
            if not inside:
                settle()
        elif tag := _TAG.match(token):
            closing, element = tag[1] == "/", tag[2]
            if closing:
                if element in _WHOLE and inside:
                    inside -= 1
                    if not inside:
                        settle()
                if open_ones:
                    open_ones.pop()
                continue
            tokens[at] = _edit_attributes(token, edit, partial(_of_tag, where, element, token))
            if token.endswith("/>"):
                continue
            if element in _WHOLE:
                inside += 1
            counted[element] = counted.get(element, -1) + 1
            open_ones.append((element, token))
    settle()
    return "".join(tokens).encode(encoding)


def _of_tag(where: Callable[[str, str, int], Sentence], element: str, tag: str, at: int) -> Sentence:
    return where(element, tag, 0)


def _edit_pieces(tokens: list[str], pieces: Sequence[_Piece], edit: Edit, spot: Where, *, blank: bool) -> None:
    """Changes a text that stands in several tokens: what is new goes into the first that it touches."""
    whole = "".join(piece.says for piece in pieces)
    spans = edit(whole, spot)
    if not spans:
        return
    begin, said = 0, {}
    for piece in pieces:
        end = begin + len(piece.says)
        inner = [
            Span(max(start, begin) - begin, min(stop, end) - begin, new if start >= begin and not blank else "")
            for start, stop, new in spans
            if start < end and stop > begin
        ]
        if inner:
            said[piece.token] = "" if blank else with_spans(piece.says, inner)
        begin = end
    for token, text in said.items():
        tokens[token] = html.escape(text, quote=False)


def _edit_attributes(token: str, edit: Edit, spot: Where) -> str:
    return _ATTRIBUTE.sub(lambda found: _edit_attribute(found, edit, spot), token)


def _edit_attribute(found: re.Match[str], edit: Edit, spot: Where) -> str:
    sign, said = found[2][0], html.unescape(found[2][1:-1])
    spans = edit(said, spot)
    if not spans:
        return found[0]
    text = html.escape(with_spans(said, spans), quote=False).replace(sign, "&quot;" if sign == '"' else "&apos;")
    return f"{found[1]}{sign}{text}{sign}"


def texts_in(data: bytes) -> Iterator[tuple[str, int, int]]:
    """Bytes of no known kind, read as texts of several encodings: each text, and for its letters how many bytes one is
    and at which byte the first is (UTF-8 apart, where a letter has as many as it has)."""
    yield Loose(data.decode("utf-8", "surrogateescape")), 0, 0
    yield Loose(data.decode("latin-1")), 1, 0
    for first in (0, 1):
        for order, encoding in (("<u2", "utf-16-le"), (">u2", "utf-16-be")):
            letters = np.frombuffer(data[first : len(data) - (len(data) - first) % 2], dtype=order).copy()
            letters[(letters >= 0xD800) & (letters <= 0xDFFF)] = 0  # halves of a letter, which would be one
            yield Loose(letters.tobytes().decode(encoding)), 2, first
