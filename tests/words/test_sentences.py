"""Sentences with figures: the same in a file as its template says, and each template known to every catalogue."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from datetime import date
from typing import Any

import pytest

from habitatmap.page.coding import coded_sentences, sentence
from habitatmap.plan.candidates import ExclusionZone, Lost
from habitatmap.plan.gaps import NotReached
from habitatmap.read.settings import Settings
from habitatmap.survey.codes import PoolBasis
from habitatmap.vocabulary.terms import Outcome
from habitatmap.words.bases import pool_basis
from habitatmap.words.catalogue import LANGUAGES, words
from habitatmap.words.gaps import gap_cause, lost
from habitatmap.words.reasons import doubt, reason
from habitatmap.words.sentences import Quantity, Sentence, following, hectares, say, significant, whole_metres
from tests.results import suggestion


def test_a_sentence_is_its_template_filled() -> None:
    inner = Sentence("near {name}", {"name": "{far} {{7*7}}"})  # what a record says is never filled in
    said = Sentence(
        "{share} at {far}, {where}.", {"share": significant(0.0123), "far": whole_metres(139.4), "where": inner}
    )
    assert str(said) == "1.2 % at 139 m, near {far} {{7*7}}."
    assert str(following(said, Sentence("Go."))) == f"{said} Go."
    assert str(following(Sentence("a"), Sentence("b"), by="; ")) == "a; b"
    assert str(Quantity(12345, grouped=True)) == "12,345"
    assert str(hectares(13799)) == "14,000 ha"


def test_a_page_gets_the_template_and_what_it_names() -> None:
    said = Sentence("{n} of {what}", {"n": Quantity(3), "what": Sentence("water"), "unused": Quantity(math.nan)})
    assert sentence(said) == {"say": "{n} of {what}", "with": {"n": [3, 0, ""], "what": {"say": "water", "with": {}}}}
    of_kinds = say("{kind} {day} {far}", kind=Outcome.DRY, day=date(2025, 6, 30), far=Quantity(92.5, unit="cm"))
    # the half is rounded as in the files; a text of a record is no word of ours, whatever it says
    dry = {"say": "dry", "with": {}}
    assert sentence(of_kinds)["with"] == {"kind": dry, "day": {"day": "2025-06-30"}, "far": [92.0, 0, "cm"]}
    none = Sentence("")
    assert coded_sentences([said, none, said]) == {"words": [sentence(none), sentence(said)], "of": [1, 0, 1]}


def templates(said: Sentence) -> Iterator[str]:
    """The template of a sentence and of those in it; what only joins them needs no translation."""
    if not said.template.startswith("{part0}"):
        yield said.template
    for part in said.values.values():
        if isinstance(part, Sentence):
            yield from templates(part)


def all_sentences() -> Iterator[Sentence]:
    """Every sentence about a suggestion, a gap, a lost cell and a pool's basis, in each of its forms."""
    of_a_site: dict[str, tuple[Any, ...]] = {
        "committed": ("yes", "no"),
        "ec_gain": (0.1, math.nan),
        "gain_low": (0.01, math.nan),
        "robustness": (0.3, 0.7, 0.9),
        "forage_m": (0.0, 20.0),
        "consent": ("ask", "provisional"),
    }
    always = {"gain_high": 0.2, "assumed_share": 0.9, "sampled": "no", "not_allowed": ExclusionZone("school")}
    always |= {"occupancy_high": 0.9, "dead_wood_m": 0.0, "nearest_pool_m": 0.0}
    for values in itertools.product(*of_a_site.values()):
        row = suggestion(1, Settings(), **always, **dict(zip(of_a_site, values, strict=True)))
        yield from (reason(row), doubt(row))
    yield from map(lost, Lost)
    for why, n, as_lost, share in itertools.product(NotReached, (1, 2), (None, *Lost, ExclusionZone("road")), (0.5, 1)):
        gap = {"not_reached": why, "places_in_flight": n, "nearest_place_m": 600.0, "ground_ha": 0.5}
        for provisional in (True, False):
            yield gap_cause(gap | {"lost_as": as_lost, "lost_share": share, "provisional": provisional})
    for basis, n, since, around in itertools.product(PoolBasis, (0, 1, 2), (0, 4), ("", "forage_score")):
        if bool(n) == (basis not in (PoolBasis.NOT_SEARCHED, PoolBasis.EXPERT)):
            yield pool_basis(basis, n, 2025.0, since, around)


@pytest.mark.parametrize("language", [language for language in LANGUAGES if language != "en"])
def test_every_sentence_is_said_in_each_language(language: str) -> None:
    known = words(language)["sentences"]
    unsaid = {template for said in all_sentences() for template in templates(said) if template not in known}
    # a reason that no plan of a published page can give
    assert unsaid <= {str(Lost.CONSENT_GIVEN)}, unsaid
