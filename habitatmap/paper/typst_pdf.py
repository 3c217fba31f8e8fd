"""PDF and PNG from a typst source and data: tagged (PDF/UA-1), any script the fonts have, same bytes for same data.

Sources are constants in this folder; records reach them only as data.json, so that markup in a record prints as it is
written. Signs that no font has are replaced beforehand by a box, as PDF/UA allows no missing glyph.
"""

from __future__ import annotations

import json
import re
import tempfile
import unicodedata
from collections.abc import Iterable, Mapping
from functools import cache
from importlib.resources import files
from pathlib import Path

import typst
from fontTools.ttLib import TTFont

from habitatmap.errors import HabitatmapError
from habitatmap.page.document import shown

# package, folder inside it; the families they hold, in the order in which they are asked for a sign
FONT_FOLDERS = (
    ("fontpkg_noto_sans", "files"),
    ("fontpkg_noto_sans_arabic", "files"),
    ("fontpkg_heebo", "files"),  # Hebrew
    ("noto_cjk_sans_jp_regular", "."),
)
FAMILIES = ("Noto Sans", "Noto Sans Arabic", "Heebo", "Noto Sans CJK JP")
NO_GLYPH = "\u25a1"
# a date inside the file, constant so that the same data give the same bytes (2026-01-01)
TIMESTAMP = 1767225600
LONGEST_WORD = 24  # a longer one may be broken anywhere
_WORD = re.compile(rf"\S{{{LONGEST_WORD},}}")


def pdf(
    source: str, data: Mapping[str, object], pictures: Mapping[str, bytes] | None = None, lang: str = "en"
) -> bytes:
    """The PDF of a typst file of this folder; the source reads data.json and the pictures by their names.

    Raises HabitatmapError where the compiler refuses, which only a fault of this program can cause.
    """
    return _compile(source, data, pictures or {}, lang)


def png(svg: str, width_px: int) -> bytes:
    """A picture of the SVG, so many pixels wide, its height by its own proportions."""
    points = 720.0  # its width in the source
    data = {"picture": "picture.svg"}
    return _compile("picture.typ", data, {"picture.svg": svg.encode("utf-8")}, "en", ppi=72.0 * width_px / points)


def printable(value: object) -> object:
    """The data with every text such that the fonts can print it: what they lack as a box, long words breakable."""
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, Mapping):
        return {key: printable(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [printable(part) for part in value]
    return value


def _text(text: str) -> str:
    plain = "".join(
        c if is_printed(c) or c in "\n\u200b" else ("\n" if c in "\r\u2028\u2029" else _instead(c))
        for c in unicodedata.normalize("NFC", shown(text))
    )
    return _WORD.sub(lambda found: "\u200b".join(found[0]), plain)


def _instead(sign: str) -> str:
    """What stands for a sign the fonts lack: nothing for invisible joiners and selectors, a space, or a box."""
    kind = unicodedata.category(sign)
    if kind == "Cf" or "\ufe00" <= sign <= "\ufe0f":
        return ""
    return " " if kind == "Zs" or sign == "\t" else NO_GLYPH


@cache
def font_folders() -> tuple[str, ...]:
    """Where the fonts lie; they come as installed packages."""
    return tuple(str(Path(str(files(package))) / folder) for package, folder in FONT_FOLDERS)


@cache
def is_printed(sign: str) -> bool:
    """Whether one of the fonts can print a sign. They are opened one by one: most texts need the first only."""
    return any(ord(sign) in _signs_of(file) for folder in font_folders() for file in _fonts(Path(folder)))


@cache
def _signs_of(font: Path) -> frozenset[int]:
    with TTFont(font, lazy=True) as opened:
        return frozenset(opened.getBestCmap())


def _fonts(folder: Path) -> Iterable[Path]:
    return sorted(p for p in folder.iterdir() if p.suffix in (".ttf", ".otf"))


def _compile(
    source: str, data: Mapping[str, object], pictures: Mapping[str, bytes], lang: str, ppi: float | None = None
) -> bytes:
    """A tagged PDF, or with `ppi` (pixels an inch) the one page as PNG."""
    content = printable({**data, "lang": lang, "families": list(FAMILIES)})
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        (root / "main.typ").write_text(asset(source), encoding="utf-8")
        (root / "data.json").write_text(json.dumps(content, ensure_ascii=False, allow_nan=False), encoding="utf-8")
        for name, picture in pictures.items():
            (root / name).write_bytes(picture)
        try:
            made = typst.compile(
                str(root / "main.typ"),
                root=str(root),
                font_paths=list(font_folders()),
                ignore_system_fonts=True,
                timestamp=TIMESTAMP,
                format="pdf" if ppi is None else "png",
                pdf_standards=["ua-1"] if ppi is None else None,
                ppi=ppi,
            )
        except typst.TypstError as fault:
            raise HabitatmapError(
                f"{source} could not be printed: {fault}; please report this with the area"
            ) from fault
    return bytes(made)


def asset(name: str) -> str:
    """A typst source of this folder."""
    return (files("habitatmap.paper") / name).read_text(encoding="utf-8")
