"""Colours told apart by every eye, and marks that stand out from what they lie on.

Colour-blindness is simulated by colorspacious (Machado, Oliveira and Fernandes 2009, at full severity); differences are
distances in CAM02-UCS, in which about 1 is the least that can be seen side by side.
"""

from __future__ import annotations

import itertools
import re

import numpy as np
import pytest
from colorspacious import cspace_convert
from numpy.typing import NDArray

from habitatmap.page.document import asset, style_sheet
from habitatmap.vocabulary import themes
from habitatmap.vocabulary.terms import Outcome

EYES = ["", "protanomaly", "deuteranomaly", "tritanomaly"]
STEP, KIND = 5.0, 6.0  # least difference of neighbours on a ramp, and of any two kinds (expert judgement)


def rgb(colour: str) -> NDArray[np.float64]:
    return np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])


def seen(colour: str, eye: str) -> NDArray[np.float64]:
    """The colour as this eye sees it, in CAM02-UCS."""
    value = rgb(colour)
    if eye:
        value = np.clip(cspace_convert(value, {"name": "sRGB1+CVD", "cvd_type": eye, "severity": 100}, "sRGB1"), 0, 1)
    return np.asarray(cspace_convert(value, "sRGB1", "CAM02-UCS"))


def apart(a: str, b: str, eye: str) -> float:
    return float(np.linalg.norm(seen(a, eye) - seen(b, eye)))


def contrast(a: str, b: str) -> float:
    """Contrast ratio of the Web Content Accessibility Guidelines 2."""
    light = []
    for colour in (a, b):
        value = rgb(colour)
        light.append(float(np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4) @ LUMINANCE))
    return (max(light) + 0.05) / (min(light) + 0.05)


LUMINANCE = np.array([0.2126, 0.7152, 0.0722])


@pytest.mark.parametrize("eye", EYES)
def test_neighbours_on_a_ramp_differ_for_every_eye(eye: str) -> None:
    for theme in themes.THEMES:
        for a, b in itertools.pairwise(theme.colours):
            assert apart(a, b, eye) >= STEP, (theme.name, a, b)


@pytest.mark.parametrize("eye", EYES)
def test_kinds_of_ground_differ_for_every_eye(eye: str) -> None:
    kinds = [*themes.COVER, themes.COVER_OTHER, themes.WATER_COLOUR, themes.BUILDING_COLOUR]
    for a, b in itertools.combinations(kinds, 2):
        assert apart(a, b, eye) >= KIND, (a, b)


@pytest.mark.parametrize("eye", EYES)
def test_last_visits_differ_for_every_eye_where_their_shape_does_not(eye: str) -> None:
    others = re.findall(r'shape: "(\w+)", fill: "(#\w{6})", size: ([\d.]+)', asset("marks.js"))
    assert {shape for shape, *_ in others} == {"circle"}  # a pool's dial
    assert set(themes.OUTCOME_MARKS) == {*Outcome, None}
    marks = [*themes.OUTCOME_MARKS.values(), themes.TREE_MARK, themes.DOT]
    found = [*others, *((mark.shape, mark.fill, str(mark.size)) for mark in marks)]
    for (shape, fill, size), (other, colour, measure) in itertools.combinations(found, 2):
        same = shape == other and size == measure
        assert not same or apart(fill, colour, eye) >= 20, (fill, colour)


@pytest.mark.parametrize("eye", EYES)
def test_a_gap_that_stays_differs_from_the_reach_around_it(eye: str) -> None:
    gap = re.search(r'GAP_FILL = "(#\w{6})"', asset("what_if.js"))
    assert gap
    reach = next(theme for theme in themes.THEMES if theme.name == "reach_now")
    low = [c for c, at in zip(reach.colours, (0, *reach.breaks), strict=True) if at < 0.2]  # a gap is reached by less
    assert min(apart(gap[1], colour, eye) for colour in low) >= 10


def test_marks_stand_out_from_their_halo() -> None:
    lines = [style.color for style in themes.STYLES.values()]
    assert themes.SITE in style_sheet("app.css"), "suggestions on the page have the colour of those elsewhere"
    for colour in [*lines, "#20292b", "#a8321a", "#7b1e6d", "#0b5c6b"]:
        assert contrast(colour, "#ffffff") >= 3, colour


def test_names_can_be_read_on_their_halo() -> None:
    inks = re.findall(r'"(#\w{6})"', asset("background.js").split("fillStyle =")[1].split(";")[0])
    assert len(inks) == 3
    assert min(contrast(ink, "#ffffff") for ink in inks) >= 4.5


@pytest.mark.parametrize("look", ["light", "dark", "contrast"])
def test_text_of_each_look_can_be_read(look: str) -> None:
    css = style_sheet("app.css")
    block = css.split(":root {")[1] if look == "light" else css.split(f':root[data-look="{look}"] {{')[1]
    tone = dict(re.findall(r"--([\w-]+): (#\w{6})", block.split("}")[0]))
    for ink, ground in itertools.product(("ink", "quiet", "work", "warm"), ("sheet", "soft", "ground")):
        if ink in tone and ground in tone:
            assert contrast(tone[ink], tone[ground]) >= 4.5, (ink, ground)
    assert contrast(tone["ink"], tone["care"]) >= 4.5
    assert contrast(tone["strong-line"], tone.get("sheet", "#ffffff")) >= 3


def test_the_measures_can_fail() -> None:
    assert apart("#ff0000", "#00a000", "") > 30
    assert apart("#b05a00", "#6a7a00", "deuteranomaly") < apart("#b05a00", "#6a7a00", "") / 2
    assert contrast("#ffffff", "#000000") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)  # WCAG's own border case
