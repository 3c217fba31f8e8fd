"""The page of one person's round for a telephone: their pools, and a form for each visit that is kept on it.

One file that loads nothing. Records go in as JSON and are shown with `textContent`; what is typed stays in the
browser's own store until it is saved as a csv that the folder visits/ takes.
"""

from __future__ import annotations

import hashlib
import html
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from habitatmap.page.document import asset, html_document, json_for_script, shown, source_hash, style_sheet
from habitatmap.vocabulary.terms import Outcome
from habitatmap.words.catalogue import Catalogue
from habitatmap.words.phone import ACTIONS, LABELS, WORDS
from habitatmap.words.sentences import Sentence


@dataclass(frozen=True)
class PhoneRound:
    """What the page shows. pools: for each stop what the script takes (see `phone_page`); sketch: the way as SVG;
    load: how much it is; cautions: those of every round; file: what the csv is called."""

    title: str
    week: str
    person: str
    file: str
    load: Sentence
    when: Sentence
    pools: Sequence[Mapping[str, str | int]]
    sketch: str
    cautions: Sequence[str]

    @property
    def key(self) -> str:
        """What is kept under: the same in each run for this person's week."""
        known = "|".join((self.title, self.week, self.person))
        return hashlib.sha256(known.encode("utf-8", "replace")).hexdigest()[:16]


def phone_page(one: PhoneRound, spoken: Catalogue) -> str:
    """The page, whole.

    Each of `pools` has id, order, way, what, when, day, caution, consent, about as text (order a number), lat, lon.
    """
    script, style = f'(function () {{\n"use strict";\n{asset("phone.js")}}})();\n', style_sheet("phone.css")
    data = {
        "key": one.key,
        "person": shown(one.person),
        "file": one.file,
        "lang": spoken.language,
        "words": {name: spoken.say(Sentence(text)) for name, text in WORDS.items()},
        "outcomes": {outcome: spoken.say(Sentence(outcome)) for outcome in Outcome},
        "actions": {action: spoken.say(Sentence(action)) for action in ACTIONS},
        "pools": [{name: shown(v) if isinstance(v, str) else v for name, v in pool.items()} for pool in one.pools],
    }
    policy = (
        f"default-src 'none'; script-src {source_hash(script)}; style-src {source_hash(style)}; base-uri 'none'; "
        "form-action 'none'"
    )
    body = [
        '<body class="phone">',
        *_body(one, spoken),
        f'<script type="application/json" id="round">{json_for_script(data)}</script>',
        f"<script>{script}</script>",
        "</body>",
    ]
    title = shown(f"{one.title}: {one.week}, {one.person}")
    return html_document(title, policy, [style], body, spoken.language)


def _body(one: PhoneRound, spoken: Catalogue) -> list[str]:
    def label(name: str) -> str:
        return _text(spoken.say(Sentence(LABELS[name])))

    def said(text: str) -> str:
        return _text(spoken.say(text))

    def choice(kind: str, name: str, value: str) -> str:
        box = f'<input type="{kind}" name="{name}" value="{value}">'
        return f'<label class="big">{box}<span>{said(Sentence(value))}</span></label>'

    outcomes = "".join(choice("radio", "outcome", outcome) for outcome in Outcome)
    actions = "".join(choice("checkbox", "action", action) for action in ACTIONS)
    cautions = "".join(f'<p dir="auto">{said(Sentence(caution))}</p>' for caution in one.cautions)
    return [
        f'<noscript><p class="alarm">{label("no_script")}</p></noscript>',
        "<main>",
        f'<p id="refused" class="alarm" role="alert" hidden>{label("refused")}</p>',
        '<section id="list" aria-labelledby="heading">',
        f'<h1 id="heading" tabindex="-1" dir="auto">{_text(one.person)}: {_text(one.week)}</h1>',
        f'<p dir="auto">{_text(one.title)}. {said(one.load)}.</p>',
        f'<p class="quiet" dir="auto">{said(one.when)}. {label("private")}</p>',
        f"<details id='cautions' open><summary>{label('cautions')}</summary>{cautions}</details>",
        f"<details><summary>{label('way')}</summary>{one.sketch}</details>" if one.sketch else "",
        '<p id="progress" class="label"></p>',
        '<ol id="pools"></ol>',
        f'<p><button type="button" id="text" class="wide-button">{label("text")}</button></p>',
        f'<div id="copy_part" hidden><label class="label" for="copy">{label("copy")}</label>'
        '<textarea id="copy" class="copy" rows="6" readonly></textarea></div>',
        "</section>",
        '<section id="visit" aria-labelledby="name" hidden>',
        '<h1 id="name" dir="auto"></h1>',
        '<p id="what" dir="auto"></p><p id="when" dir="auto"></p>',
        '<p id="caution" class="care" dir="auto"></p><p id="consent" class="care" dir="auto"></p>',
        '<p id="about" class="quiet" dir="auto"></p>',
        '<p><a id="place" class="big" rel="noreferrer"></a></p>',
        f'<fieldset><legend>{label("outcome")}</legend><div class="choices">{outcomes}</div></fieldset>',
        f'<div id="larvae_part" hidden><label class="label" for="larvae">{label("larvae")}</label><div class="count">'
        f'<button type="button" id="less" aria-label="{label("less")}">-</button>'
        '<input type="text" inputmode="numeric" id="larvae" autocomplete="off" maxlength="12">'
        f'<button type="button" id="more" aria-label="{label("more")}">+</button></div></div>',
        f'<fieldset><legend>{label("action")}</legend><div class="choices three">{actions}</div></fieldset>',
        f'<div><label class="label" for="note">{label("note")}</label>'
        '<textarea id="note" rows="2" maxlength="2000"></textarea></div>',
        f'<div><label class="label" for="photo">{label("photo")}</label>'
        '<input type="text" id="photo" autocomplete="off" maxlength="300"></div>',
        f'<div><label class="label" for="camera">{label("camera")}</label>'
        '<input type="file" id="camera" accept="image/*" multiple class="big">'
        f'<p class="quiet">{label("photo_help")}</p></div>',
        f'<div><label class="label" for="date">{label("date")}</label><input type="date" id="date"></div>',
        f'<div role="group" aria-labelledby="where"><p class="label" id="where">{label("where")}</p>'
        f'<button type="button" id="locate" class="wide-button">{label("locate")}</button>'
        '<p id="position" role="status" hidden></p>'
        f'<button type="button" id="forget" class="wide-button" hidden>{label("forget")}</button></div>',
        f'<div id="others" role="group" aria-label="{label("others")}" hidden></div>',
        f'<button type="button" id="again" class="wide-button" hidden>{label("again")}</button>',
        '<button type="button" id="remove" class="wide-button" hidden></button>',
        "</section>",
        "</main>",
        '<footer class="thumb"><p id="told" role="status"></p>',
        '<div id="of_list"><button type="button" id="send" hidden>'
        f'{label("send")}</button><button type="button" id="save" class="main"></button></div>',
        f'<div id="of_visit" hidden><button type="button" id="back" class="main">{label("back")}</button></div>',
        "</footer>",
    ]


def _text(text: object) -> str:
    return html.escape(shown(text))
