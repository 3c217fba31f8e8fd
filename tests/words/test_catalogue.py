"""The languages: nothing untranslated, nothing left over, the same figures in the same sentence."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from importlib.resources import files
from itertools import combinations

import geopandas as gpd
import pandas as pd
import pytest
from babel.messages.pofile import read_po

from habitatmap.page.tornado import tornado_words
from habitatmap.plan.candidates import ExcludedUse, ExclusionZone, Lost
from habitatmap.plan.gaps import NotReached
from habitatmap.plan.outlook import Strategy
from habitatmap.plan.robustness import ENDS, Assumption
from habitatmap.plan.served_robustness import FAR, ORIGINS
from habitatmap.privacy import street_or_zone
from habitatmap.read.class_proof import Contradiction
from habitatmap.read.land_cover import CoverDoubt
from habitatmap.read.layers import keep_away_defaults, land_uses, layers_folder, load_class_table
from habitatmap.read.settings import Settings
from habitatmap.result.figures import Dominant
from habitatmap.survey.codes import PoolBasis
from habitatmap.vocabulary.catalogues import LABEL
from habitatmap.vocabulary.note import note
from habitatmap.vocabulary.terms import Basis, Hazard, Siting
from habitatmap.vocabulary.where import Direction, Part, Where
from habitatmap.words.bases import COVARIATES, pool_basis
from habitatmap.words.catalogue import LANGUAGES, SENTENCE, catalogue, words
from habitatmap.words.cautions import general_cautions, site_caution
from habitatmap.words.gaps import gap_cause
from habitatmap.words.headline import MISSING
from habitatmap.words.how_many import ENOUGH, ENOUGH_ONE, NOT_YET, READING
from habitatmap.words.inputs import MATTERS
from habitatmap.words.land_cover import cover_doubts, kinds_of_land
from habitatmap.words.page_words import WORDS
from habitatmap.words.plan import POOLS
from habitatmap.words.reasons import doubt, reason
from habitatmap.words.sentences import Sentence
from habitatmap.words.served import AGAINST, AT_ONCE, FROM, LIMIT, NO_PLAN, TWO_AT_ONE, UP_TO, WITH, WITH_ONE
from habitatmap.words.where import told_where
from tests.demo import DEMO

OTHERS = [language for language in LANGUAGES if language != "en"]


def entries(language: str) -> list[tuple[str, str, str]]:
    """Context, English and translation of each entry of a catalogue."""
    with (files("habitatmap.words") / "locale" / f"{language}.po").open("rb") as file:
        return [(str(m.context), str(m.id), str(m.string)) for m in read_po(file, locale=language) if m.id]


def fields(text: str) -> list[str]:
    return sorted(re.findall(r"\{\w+\}", text))


@pytest.mark.parametrize("language", OTHERS)
def test_no_word_is_untranslated(language: str) -> None:
    found = {(context, english) for context, english, text in entries(language) if text}
    untranslated = [key for key, english in WORDS.items() if (key, english) not in found]
    assert len(untranslated) == 0, untranslated


@pytest.mark.parametrize("language", OTHERS)
def test_no_entry_is_left_over(language: str) -> None:
    stale = [c for c, english, _ in entries(language) if c not in (SENTENCE, LABEL) and WORDS.get(c) != english]
    assert stale == []


@pytest.mark.parametrize("language", OTHERS)
def test_each_translation_has_the_figures_of_its_english(language: str) -> None:
    for context, english, text in entries(language):
        assert fields(text) == fields(english), (context, text)


def test_all_catalogues_have_the_same_sentences() -> None:
    found = [{(c, english) for c, english, _ in entries(language)} for language in OTHERS]
    assert found[0] == found[1] == found[2]


def test_a_change_of_the_english_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(WORDS, "close", "Shut")
    assert words("de")["close"] == "Shut"
    assert ("close", "Shut") not in {(c, english) for c, english, _ in entries("de")}


def sentences(text: str) -> list[str]:
    """As the page's script takes a text apart."""
    return re.split(r"(?<=[.!?]) (?=[A-Z])", text)


@pytest.mark.parametrize("language", OTHERS)
def test_cautions_and_what_is_missing_are_said_in_each_language(language: str) -> None:
    known = words(language)["sentences"]
    said = list(MISSING.values())
    for mosquitoes in ("reported", "not assessed", "none reported"):
        settings = Settings.model_validate({"cautions": {"mosquitoes": mosquitoes}})
        said += general_cautions(settings)
        for consent in ("yes", "ask", "provisional"):
            said += [site_caution({"consent": consent, "private": private}, settings) for private in ("yes", "no")]
    unsaid = {part for text in said for part in sentences(text) if part not in known and text not in known}
    assert len(unsaid) == 0, unsaid


def templates(said: Sentence) -> Iterator[str]:
    """The templates of a sentence and of those that stand in it, without those that only put sentences together."""
    if not re.fullmatch(r"(\{part\d+\}\W*)+", said.template):
        yield said.template
    for value in said.values.values():
        if isinstance(value, Sentence):
            yield from templates(value)


SUGGESTIONS = [
    {"gain": 0.01, "cumulative": 0.5, "served_open": 0.01, "served_closed": 0.02, "occupancy_expected": 0.4}
    | {"forage_m": far, "dead_wood_m": far}
    | {"nearest_pool_m": far, "gain_low": low, "gain_high": low, "ec_gain": ec, "committed": committed}
    | {"consent": consent, "robustness": share, "assumed_share": 0.9, "sampled": "no", "not_allowed": lost_as}
    | {"occupancy_low": 0.1, "occupancy_high": 0.9, "also_ask": "the parish; the water authority"}
    for far, low, ec, committed, consent, share, lost_as in (
        (0.0, math.nan, math.nan, "yes", "ask", 0.3, ExclusionZone("school")),
        (20.0, 0.005, 0.1, "no", "provisional", 0.7, Lost.WATER),
        (20.0, math.nan, 0.1, "no", "yes", 0.3, Lost.WATER),
        (20.0, 0.005, math.nan, "no", "yes", 0.7, Lost.WATER),
    )
]
GAPS = [
    {"not_reached": not_reached, "places_in_flight": n, "nearest_place_m": 600.0, "provisional": provisional}
    | {"lost_as": lost_as, "lost_share": share, "ground_ha": 1.5}
    for not_reached in NotReached
    for n in (1, 2)
    for provisional in (False, True)
    for lost_as in (None, ExclusionZone("school"), ExcludedUse("pitch"), *map(ExcludedUse, Hazard), *Lost)
    for share in (0.8, 1.0)
]


NEVER_SEARCHED = (PoolBasis.STATED, PoolBasis.NOT_SEARCHED, PoolBasis.EXPERT)
BASES = [(n, basis) for basis in PoolBasis for n in ((0,) if basis in NEVER_SEARCHED else (1, 2))]
SURROUNDINGS = [" ".join(some) for n in range(4) for some in combinations(COVARIATES, n)]


@pytest.mark.parametrize("language", OTHERS)
def test_reasons_doubts_and_causes_are_said_in_each_language(language: str) -> None:
    rows = [
        {"assumption": name, "level": level, "kept": 0.5}
        for name in Assumption
        for level in ("low", *ENDS, *ORIGINS.values(), FAR)
    ]
    told = [*map(reason, SUGGESTIONS), *map(doubt, SUGGESTIONS), *map(gap_cause, GAPS)]
    told += [pool_basis(basis, n, 2025.0, n - 1, near) for n, basis in BASES for near in SURROUNDINGS]
    told += [line for some in (rows, rows[:5]) if (line := tornado_words(some))]
    unsaid = {template for said in told for template in templates(said)} - words(language)["sentences"].keys()
    assert unsaid == set()


@pytest.mark.parametrize("language", OTHERS)
def test_what_is_likely_served_is_said_in_each_language(language: str) -> None:
    told = [Sentence(template) for template in (WITH, WITH_ONE, UP_TO, NO_PLAN, LIMIT, AT_ONCE, TWO_AT_ONE)]
    told += [Sentence(template) for pair in AGAINST.values() for template in pair]
    told += [Sentence(POOLS[rule]) for rule in (Strategy.RANDOM, Strategy.EVEN, Strategy.HIGHEST)]
    told += [*FROM.values(), Sentence("{low} to {high}")]
    unsaid = {template for said in told for template in templates(said)} - words(language)["sentences"].keys()
    assert unsaid == set()


@pytest.mark.parametrize(("near", "said"), [("Avenue Foch", "d’Avenue Foch"), ("Mill Lane", "de Mill Lane")])
def test_french_elides(near: str, said: str) -> None:
    place = told_where(Where("park", near=near, near_m=3.0))
    assert catalogue("fr").say(place) == f"Parc, à côté {said}"


def kinds_of_our_own() -> set[str]:
    """The kinds of land that we write ourselves: of map tags, and those on which a pool may stand after asking."""
    tags = pd.read_csv(layers_folder() / "osm.csv", dtype=str)["land"].dropna()
    return {*tags, *(use.kind for use in land_uses().values() if use.siting is Siting.ASK)}


@pytest.mark.parametrize("language", OTHERS)
def test_where_a_site_lies_is_said_in_each_language(language: str) -> None:
    grounds = [(Part.MIDDLE, None), *((part, wind) for part in (Part.SIDE, Part.END) for wind in Direction)]
    told = [Where("grass", "Elm Park", False, *ground, near="Mill", near_m=30.0) for ground in grounds]
    told += [Where("grass", "Old Town", True, near="Mill", near_m=30.0, towards=wind) for wind in Direction]
    told += [Where("grass", near="Mill", near_m=3.0), Where("grass"), Where(near="Mill", private=True)]
    told += [street_or_zone(0.0, 0.0, gpd.GeoDataFrame({"name": []}, geometry=[]), kind) for kind in ("garden", "")]
    told += [Where(kind) for kind in kinds_of_our_own()]
    unsaid = {template for said in told for template in templates(told_where(said))}
    assert unsaid - words(language)["sentences"].keys() == set()


@pytest.mark.parametrize("language", OTHERS)
def test_what_inputs_are_worth_is_said_in_each_language(language: str) -> None:
    assert set(MATTERS) <= words(language)["sentences"].keys()


@pytest.mark.parametrize("language", OTHERS)
def test_how_many_are_enough_is_said_in_each_language(language: str) -> None:
    assert {ENOUGH, ENOUGH_ONE, NOT_YET, READING.template} <= words(language)["sentences"].keys()


@pytest.mark.parametrize("language", OTHERS)
def test_reasons_against_a_site_are_said_in_each_language(language: str) -> None:
    known = words(language)["sentences"]
    uses = {use.kind: use for use in land_uses().values()}.values()
    kinds = [use.kind for use in uses if use.siting is Siting.EXCLUDED]
    asks = [use.ask for use in uses if use.siting is Siting.ASK]
    for word in [*Lost, *keep_away_defaults(), *kinds, *asks]:
        assert word in known, word


@pytest.mark.parametrize("language", OTHERS)
def test_kinds_of_land_with_much_forage_are_said_in_each_language(language: str) -> None:
    dominant = tuple(Dominant("Park", 0.3, str(basis)) for basis in Basis)
    told = kinds_of_land(dominant)
    assert told
    assert set(templates(told)) <= words(language)["sentences"].keys()


COVER_DOUBTS = [
    note(CoverDoubt.BY_VALUES, file="a.tif", table="corine"),
    note(
        CoverDoubt.CONTRADICTED, file="a.tif", table="corine", share=0.1, against=[Contradiction("1", 0.1, "Park", "B")]
    ),
    note(CoverDoubt.UNMATCHED, table="corine", share=0.1, values=["7"]),
    note(CoverDoubt.ONE_CLASS, label="Park", share=0.95),
    note(CoverDoubt.COARSE, file="a.tif", cells_m=100.0, cell_m=10.0),
    note(CoverDoubt.PLACES_ON_WATER, share=0.4, places=50),
]


@pytest.mark.parametrize("language", OTHERS)
def test_doubts_about_land_cover_are_said_in_each_language(language: str) -> None:
    assert [doubt.code for doubt in COVER_DOUBTS] == list(CoverDoubt)
    told = {template for said in cover_doubts(COVER_DOUBTS) for template in templates(said)}
    assert told <= words(language)["sentences"].keys()


@pytest.mark.parametrize("language", OTHERS)
def test_classes_of_land_cover_are_said_in_each_language(language: str) -> None:
    """Alone and within a sentence."""
    tables = [load_class_table(name) for name in ("osm", "worldcover", "corine", DEMO / "classes.csv")]
    labels = {str(label) for table in tables for label in table["label"]}
    assert len(labels) > 150
    said = catalogue(language).sentences
    assert {word for label in labels for word in (label, label.lower())} - said.keys() == set()
    assert said["tree cover"] == {"de": "Baumbestand", "fr": "couvert arboré", "nl": "bomen"}[language]
