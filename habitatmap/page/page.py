"""The two pages of a run, each one HTML file."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from itertools import pairwise

from habitatmap.page.document import asset, data_block, own_script, page_document, shown
from habitatmap.page.payload import Block, public_blocks, team_blocks
from habitatmap.page.tiles import Tiles
from habitatmap.page.what_if import what_if_blocks
from habitatmap.result import Result
from habitatmap.words.catalogue import LANGUAGES, Catalogue, catalogue, words

# Stored as they are: small or packed already, and the plan and its cautions can be read in the file itself. On the
# public page all is, so that anybody can look up what it tells.
READ_AT_ONCE = ("facts", "themes", "ground", "plan", "photos")

TEAM, PUBLIC = "team", "public"
# layers from the lowest up: kind, data block, whether it is on when the page opens, whose page has it
LAYERS = (
    ("picture", "ground", True, (TEAM, PUBLIC)),
    ("picture", "edge", False, (TEAM, PUBLIC)),
    ("lines", "lines", True, (TEAM, PUBLIC)),
    ("dots", "all-trees", True, (TEAM,)),
    ("names", "names", True, (TEAM, PUBLIC)),
    ("areas", "boundary", True, (TEAM, PUBLIC)),
    ("areas", "land", False, (TEAM,)),
    ("areas", "keep-away", False, (TEAM,)),
    ("areas", "gaps", True, (TEAM, PUBLIC)),
    ("areas", "cells", True, (PUBLIC,)),
    ("links", "links", False, (TEAM,)),
    ("points", "trees", False, (TEAM,)),
    ("points", "pools", True, (TEAM,)),
    ("pins", "plan", True, (TEAM, PUBLIC)),
)


def map_page(result: Result, language: str | Catalogue = "en", tiles: Tiles | None = None) -> str:
    """The team's page: exact places, so not for everybody."""
    return _page(team_blocks(result) | what_if_blocks(result), TEAM, language, tiles)


def public_page(
    result: Result, public: Result | None = None, language: str | Catalogue = "en", tiles: Tiles | None = None
) -> str:
    """The page for everybody. All but the title comes from `public`, the Result of the blurred area.

    Where it is not given it is `result.public`. Raises ValueError where there is none.
    """
    blurred = result.public if public is None else public
    if blurred is None:
        raise ValueError("a public page needs the result of the blurred area")
    return _page(public_blocks(result, blurred), PUBLIC, language, tiles)


def _page(blocks: Block, readers: str, language: str | Catalogue, tiles: Tiles | None) -> str:
    """The document: skeleton with its words, one data block each, and a layer for each block that is drawn."""
    layers = [(kind, block, show) for kind, block, show, whose in LAYERS if readers in whose]
    said = catalogue(language) if isinstance(language, str) else language
    facts = blocks["facts"] = blocks["facts"] | {"lang": said.language}
    if tiles:
        facts["tiles"] = {"host": tiles.host}
        facts["credits"] = [*facts["credits"], tiles.credit]
        blocks["tiles"] = {"url": tiles.url}
        layers.insert(0, ("tiles", "tiles", False))
    blocks["words"] = _words(blocks, said)
    kind = f"kind_{readers}"
    own = {
        "title": facts["title"],
        "kind": kind,
        "kind_text": said.page[kind],
        "as_of_line": said.page["as_of"].format(date=facts["as_of"]),
    }
    body = _filled(asset("skeleton.html"), {**said.page, **own})
    read_at_once = {*blocks} - {"words"} if readers == PUBLIC else READ_AT_ONCE
    return page_document(
        facts["title"],
        said.language,
        body,
        [data_block(name, data, packed=name not in read_at_once) for name, data in blocks.items()],
        layers,
        tiles.origin if tiles else "",
    )


def _words(blocks: Block, said: Catalogue) -> Block:
    """The words of every language, and of their sentences those that the page's data and script ask for."""
    asked = {*re.findall(r'say: "([^"]*)"', own_script())}.union(*map(_parts_of, {*_texts_in(blocks)}))
    every = {one: words(one) for one in LANGUAGES} | {said.language: {**said.page, "sentences": said.sentences}}
    for spoken in every.values():
        spoken["sentences"] = {one: text for one, text in spoken["sentences"].items() if one in asked}
    return every


PARTED = (dict, list, tuple)


def _texts_in(part: object) -> Iterator[str]:
    """The texts of a block of data."""
    if isinstance(part, str):
        yield part
    elif isinstance(part, PARTED):
        for one in part.values() if isinstance(part, dict) else part:
            if isinstance(one, str):
                yield one
            elif isinstance(one, PARTED):  # not one by one the many figures
                yield from _texts_in(one)


_ENDS = re.compile(r"(?<=[.!?]) (?=\S)")


def _parts_of(text: str) -> list[str]:
    """A text, whole and sentence by sentence as `said` in tools.js takes it apart."""
    starts = [at.end() for at in _ENDS.finditer(text)]
    cuts = [0, *(at for at in starts if text[at].isupper() or text[at].isdigit()), len(text) + 1]
    return [text, *(text[a : b - 1] for a, b in pairwise(cuts))]


def _filled(skeleton: str, words: dict[str, str]) -> str:
    """The skeleton with each [[key]] replaced once; what is put in is never looked at again."""
    return re.sub(r"\[\[([a-z0-9_.]+)\]\]", lambda key: html.escape(shown(words[key[1]])), skeleton)
