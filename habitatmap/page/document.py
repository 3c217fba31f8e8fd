"""The document of a page, made of folium elements that keep the text of records out of every template.

folium renders an element's macro and then compiles what came out as a template once more, so braces in a record would
be evaluated while the page is built. Here no record text meets a template at all: it goes into the page once, as JSON
that is escaped for a script block (`DataBlock`), and the elements that have a template know only the block's name.
"""

from __future__ import annotations

import base64
import hashlib
import html
import json
import re
import zlib
from collections.abc import Iterator, Sequence
from importlib.resources import files
from typing import Any

import folium
from branca.element import Element, Figure, MacroElement
from folium.map import Layer
from folium.template import Template

from habitatmap.geo.leaflet import leaflet

_BIDI = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
_UNSHOWABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff]")


def shown(text: object) -> str:
    """Record text as the page may show it: as written, less what would turn the reading direction of its neighbours.

    Control characters and lone surrogates, which no font shows and no file can hold, become U+FFFD.
    """
    return _UNSHOWABLE.sub("\ufffd", _BIDI.sub("", str(text)))


def json_for_script(data: Any) -> str:
    """JSON that is inert inside a script element; ValueError where a number is not finite."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), sort_keys=True, allow_nan=False)
    return re.sub("[<>&\u2028\u2029\ud800-\udfff]", lambda found: f"\\u{ord(found[0]):04x}", text)


# the page's own script in the order of reading; each part may use what stands above it
PARTS = (
    "base numbers marks points tags sheet background layers legend months lists figures calculate years what_if "
    "tools start"
).split()


def own_script() -> str:
    """The page's script: its parts in one scope of their own."""
    parts = "\n".join(asset(f"{part}.js") for part in PARTS)
    return f'(function () {{\n"use strict";\n{parts}}})();\n'


def asset(name: str) -> str:
    """A file of the assets folder beside this module."""
    return (files("habitatmap.page") / "assets" / name).read_text(encoding="utf-8")


def style_sheet(name: str) -> str:
    """A style sheet of the assets, behind what all pages share."""
    return asset("common.css") + asset(name)


class Finished(Element):
    """Text that is put into the page as it stands, never compiled."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.text = text

    def render(self, **kwargs: object) -> str:
        """The text."""
        return self.text


class DataBlock(Finished):
    """Data for the page's own script, which parses it. Inert whatever it holds.

    `packed`: deflated, which the script inflates; bytes always are.
    """

    def __init__(self, dom_id: str, data: Any, packed: bool = False) -> None:
        if not re.fullmatch(r"[a-z][a-z0-9-]*", dom_id):
            raise ValueError(f"not a fit name for a block: {dom_id!r}")
        if not packed and not isinstance(data, bytes):
            super().__init__(f'<script type="application/json" id="{dom_id}">{json_for_script(data)}</script>')
            return
        kind, plain = ("bytes", data) if isinstance(data, bytes) else ("json", json_for_script(data).encode("utf-8"))
        text = base64.b64encode(zlib.compress(plain, 9)).decode("ascii")
        super().__init__(f'<script type="text/plain" id="{dom_id}" data-packed="{kind}">{text}</script>')


class RenderedOnce(MacroElement):
    """A folium element whose macro output is final. Stands after the folium class among a class's bases."""

    def render(self, **kwargs: object) -> str:
        """Adds the output of the template's macros to the figure, then renders the children. Returns no text itself."""
        figure = self.get_root()
        for part in ("html", "script"):
            macro = getattr(self._template.module, part, None)
            if macro is not None:
                getattr(figure, part).add_child(Finished(str(macro(self, kwargs))), name=self.get_name())
        for child in list(self._children.values()):
            child.render(**kwargs)
        return ""


class PageMap(folium.Map, RenderedOnce):
    """The map: the element it lives in stands in the page's skeleton, the template only starts it."""

    default_js: list[tuple[str, str]] = []  # noqa: RUF012  folium has them as instance variables
    default_css: list[tuple[str, str]] = []  # noqa: RUF012  folium has them as instance variables
    _template = Template("{% macro script(this, kwargs) %}habitatmap.start('map');{% endmacro %}")

    def __init__(self, bounds: Sequence[Sequence[float]]) -> None:
        (south, west), (north, east) = bounds
        super().__init__([(south + north) / 2, (west + east) / 2], tiles=None)


class DataLayer(Layer, RenderedOnce):
    """A layer whose content lies in a data block of the same name."""

    kinds = ("tiles", "picture", "lines", "dots", "names", "areas", "links", "points", "pins")
    _template = Template(
        "{% macro script(this, kwargs) %}"
        "habitatmap.add({{ this.kind|tojson }}, {{ this.block|tojson }}, {{ this.show|tojson }});"
        "{% endmacro %}"
    )

    def __init__(self, kind: str, block: str, show: bool = True) -> None:
        if kind not in self.kinds:
            raise ValueError(f"unknown kind of layer: {kind!r}")
        super().__init__(name=block, overlay=True, control=False, show=show)
        self.kind, self.block = kind, block

    def render(self, **kwargs: object) -> str:
        """As `RenderedOnce`: folium's own layer would add itself to the map in one more script."""
        return RenderedOnce.render(self, **kwargs)


class PageFigure(Figure):
    """The whole document: one file, nothing loaded, and a policy that runs nothing but the scripts named by hash.

    `pictures` is one more origin that pictures may come from, "" for none.
    """

    def __init__(self, title: str, lang: str, body: str, blocks: Sequence[Finished], pictures: str = "") -> None:
        super().__init__()
        self.name, self.lang, self.body, self.blocks, self.pictures = shown(title), lang, body, blocks, pictures

    def render(self, **kwargs: object) -> str:
        """The page as text, the same for the same content."""
        for number, element in enumerate(_below(self)):
            element._id = f"{number:04d}"
        for child in list(self._children.values()):
            child.render(**kwargs)
        leaflet_script, leaflet_style = leaflet()
        scripts = [leaflet_script, own_script(), self.script.render(**kwargs) + "habitatmap.ready();"]
        styles = [leaflet_style, style_sheet("app.css")]
        policy = "; ".join(
            [
                "default-src 'none'",
                "script-src " + " ".join(map(source_hash, scripts)),
                "style-src " + " ".join(map(source_hash, styles)),
                f"img-src data: blob: {self.pictures}".strip(),
                "base-uri 'none'",
                "form-action 'none'",
            ]
        )
        body = [self.body, *(block.render() for block in self.blocks)]
        body += [f"<script>{script}</script>" for script in scripts]
        return html_document(self.name, policy, styles, ["<body>", *body, "</body>"], self.lang)


def html_document(title: str, policy: str, styles: Sequence[str], body: Sequence[str], lang: str = "en") -> str:
    """One HTML file: `policy` of what it may load and run, style sheets, and the lines of the body with its tags."""
    return "\n".join(
        [
            "<!DOCTYPE html>",
            f'<html lang="{html.escape(lang)}">',
            "<head>",
            '<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{policy}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            '<meta name="referrer" content="no-referrer">',
            '<meta name="color-scheme" content="light dark">',
            f"<title>{html.escape(title)}</title>",
            *[f"<style>{style}</style>" for style in styles],
            "</head>",
            *body,
            "</html>",
            "",
        ]
    )


def _below(element: Element) -> Iterator[Element]:
    """All elements under this one, in a fixed order."""
    for child in list(element._children.values()):
        yield child
        yield from _below(child)


def source_hash(text: str) -> str:
    """The source expression of a content security policy for this inline text."""
    return "'sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii") + "'"
