"""What photos say of themselves (camera owner, author, title, place names), overwritten where it names somebody.

The pixels, the direction they are turned to and the place where the photo was taken stay as they are.
"""

from __future__ import annotations

import struct
import zlib

from habitatmap.persons.texts import Edit, always, edit_text, texts_in, with_spans

PICTURES = (
    ".jpg",
    ".jpeg",
    ".jpe",
    ".webp",
    ".tif",
    ".tiff",
    ".heic",
    ".heif",
    ".avif",
    ".gif",
    ".bmp",
    ".png",
    ".dng",
)
PNG = b"\x89PNG\r\n\x1a\n"
OF_ITSELF = "what the file says of itself"


def edit_picture(data: bytes, edit: Edit) -> bytes:
    """A picture with the spans of its texts changed: blanks of the same length, so that nothing moves."""
    if data.startswith(PNG):
        return _edit_png(data, edit)
    out = bytearray(data)
    for text, width, first in texts_in(data):
        for start, end, _ in edit(text, always(OF_ITSELF)):
            if width:
                begin, stop, blank = first + width * start, first + width * end, b" "
                if width == 2:
                    blank = b" \0" if out[begin + 1] == 0 else b"\0 "
            else:
                begin = len(text[:start].encode("utf-8", "surrogateescape"))
                stop, blank = begin + len(text[start:end].encode("utf-8", "surrogateescape")), b" "
            out[begin:stop] = blank * ((stop - begin) // len(blank))
    return bytes(out)


def _edit_png(data: bytes, edit: Edit) -> bytes:
    """A PNG, whose texts may be packed and have check sums."""
    out, at = bytearray(PNG), len(PNG)
    while at + 12 <= len(data):
        (size,), kind = struct.unpack(">I", data[at : at + 4]), data[at + 4 : at + 8]
        body = data[at + 8 : at + 8 + size]
        if kind in (b"tEXt", b"eXIf"):
            body = edit_picture(body, edit) if kind == b"eXIf" else edit_text(body, edit)
        elif kind in (b"zTXt", b"iTXt"):
            body = _edit_packed_text(kind, body, edit)
        out += struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        at += 12 + size
    return bytes(out + data[at:])


def _edit_packed_text(kind: bytes, body: bytes, edit: Edit) -> bytes:
    key, _, rest = body.partition(b"\0")
    try:
        if kind == b"zTXt":
            head, text, packed = rest[:1], rest[1:], True
        else:
            packed = rest[:1] == b"\1"
            language, _, more = rest[2:].partition(b"\0")
            translated, _, text = more.partition(b"\0")
            head = rest[:2] + language + b"\0" + translated + b"\0"
        old = (zlib.decompress(text) if packed else text).decode("utf-8" if kind == b"iTXt" else "latin-1")
    except (zlib.error, UnicodeDecodeError):
        return body
    spans = edit(old, always(OF_ITSELF))
    if not spans:
        return body
    new = with_spans(old, spans).encode("utf-8" if kind == b"iTXt" else "latin-1")
    return key + b"\0" + head + (zlib.compress(new) if packed else new)
