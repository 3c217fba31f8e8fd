"""The document of a page: one file that loads nothing.

No text of a record meets a template or becomes markup: it goes into the page once, as JSON that is escaped for a script
block (`data_block`), and the lines that start the map know only the block's name.
"""

from __future__ import annotations

import base64
import hashlib
import html
import json
import re
import zlib
from collections.abc import Sequence
from importlib.resources import files
from typing import Any

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


def data_block(name: str, data: Any, packed: bool = False) -> str:
    """Data for the page's own script, which parses it. Inert whatever it holds.

    `packed`: deflated, which the script inflates; bytes always are.
    """
    if not re.fullmatch(r"[a-z][a-z0-9-]*", name):
        raise ValueError(f"not a fit name for a block: {name!r}")
    if not packed and not isinstance(data, bytes):
        return f'<script type="application/json" id="{name}">{json_for_script(data)}</script>'
    kind, plain = ("bytes", data) if isinstance(data, bytes) else ("json", json_for_script(data).encode("utf-8"))
    text = base64.b64encode(zlib.compress(plain, 6)).decode("ascii")
    return f'<script type="text/plain" id="{name}" data-packed="{kind}">{text}</script>'


# what a layer may be; its content lies in a data block
KINDS = ("tiles", "picture", "lines", "dots", "names", "areas", "links", "points", "pins")


def map_script(layers: Sequence[tuple[str, str, bool]]) -> str:
    """The lines that start the map and add its layers, from the lowest up: kind, data block, whether it is on."""
    odd = [kind for kind, _, _ in layers if kind not in KINDS]
    if odd:
        raise ValueError(f"unknown kind of layer: {odd[0]!r}")
    lines = ["habitatmap.start('map');"]
    lines += [f'habitatmap.add("{kind}", "{block}", {json.dumps(show)});' for kind, block, show in layers]
    return "\n".join([*lines, "habitatmap.ready();"])


def page_document(
    title: str, lang: str, body: str, blocks: Sequence[str], layers: Sequence[tuple[str, str, bool]], pictures: str = ""
) -> str:
    """The whole document of a map, the same for the same content: nothing loaded, and a policy that runs nothing but
    the scripts named by hash. `pictures` is one more origin that pictures may come from, "" for none.
    """
    leaflet_script, leaflet_style = leaflet()
    scripts = [leaflet_script, own_script(), map_script(layers)]
    styles = [leaflet_style, style_sheet("app.css")]
    policy = "; ".join(
        [
            "default-src 'none'",
            "script-src " + " ".join(map(source_hash, scripts)),
            "style-src " + " ".join(map(source_hash, styles)),
            f"img-src data: blob: {pictures}".strip(),
            "base-uri 'none'",
            "form-action 'none'",
        ]
    )
    started = [f"<script>{script}</script>" for script in scripts]
    return html_document(shown(title), policy, styles, ["<body>", body, *blocks, *started, "</body>"], lang)


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


def source_hash(text: str) -> str:
    """The source expression of a content security policy for this inline text."""
    return "'sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii") + "'"
