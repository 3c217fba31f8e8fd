"""Names of containers and fillings: writings of one thing are proposed as one, different things never."""

from __future__ import annotations

import time

import pytest

from habitatmap.practice.similar_names import similar_names


def written(pools: dict[str, int]) -> list[str]:
    return [name for name, n in pools.items() for _ in range(n)]


def test_the_commonest_name_is_proposed_with_the_pools_of_each() -> None:
    names = written({"emmer 10 l": 2, "emmer": 9, "ton": 4, "emmer (zwart)": 3, "": 5})
    found = similar_names(names)
    assert [(one.proposed, one.names) for one in found] == [
        ("emmer", {"emmer": 9, "emmer (zwart)": 3, "emmer 10 l": 2}),
    ]
    assert similar_names(names[::-1]) == found  # the order of the rows changes nothing
    assert similar_names([]) == similar_names(["emmer", "ton", ""]) == []


@pytest.mark.parametrize(
    ("one", "other"),
    [
        # English
        ("bucket", "Bucket"),
        ("bucket", "buckets"),
        ("bucket", "bukcet"),
        ("bucket", "bucket (10 L)"),
        ("bucket", "10-litre bucket"),
        ("bucket", "bucket, dark green"),
        ("plastic bucket", "bucket (plastic)"),
        ("oak leaf", "oak leaves"),
        ("leaves and sticks", "leaves, sticks"),
        ("half barrel", "half-barrel"),
        # Dutch
        ("emmer", "emmer (zwart)"),
        ("emmer", "Emmer 10 l"),
        ("emmer", "emmers"),
        ("emmer", "emer"),
        ("emmer", "emmer ca. 5,5 liter"),
        ("bak", "bakken"),
        ("beukenblad", "beukenbladeren"),
        ("eikenblad", "eiken blad"),
        ("regenton", "regenton (grijs, 200 l)"),
        # German
        ("Eimer", "Eimer 12 Liter"),
        ("Eimer", "Eimer (schwarz)"),
        ("Kübel", "Kubel"),
        ("Kübel", "Kuebel"),
        ("Fass", "Fässer"),
        ("Fass", "Faß"),
        ("Blatt", "Blätter"),
        ("Eichenlaub", "Eichnlaub"),
        ("Topf Ø 30 cm", "Topf"),
        # Finnish
        ("ämpäri", "Ampari"),
        ("ämpäri", "ämpärit"),
        ("ämpäri", "10 litran ämpäri"),
        ("saavi", "saavi (musta)"),
        ("tammenlehti", "tammenlethi"),
    ],
)
def test_writings_of_one_thing(one: str, other: str) -> None:
    (found,) = similar_names([one, one, other])
    (swapped,) = similar_names([one, other, other])
    assert (found.proposed, found.names) == (one, {one: 2, other: 1})
    assert (swapped.proposed, swapped.names) == (other, {other: 2, one: 1})


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("pot 1", "pot 2"),
        ("pot 1", "pot"),
        ("pot 1", "pot 1 2"),
        ("pot A", "pot B"),
        ("model IIa", "model IIb"),
        ("emmerA", "emmerB"),
        ("plastic bucket", "metal bucket"),
        ("plastic bucket", "bucket"),
        ("bucket (plastic)", "bucket (metal)"),
        ("zwarte emmer", "witte emmer"),
        ("oak leaves", "beech leaves"),
        ("oak leaves", "leaves"),
        ("alder leaves", "elder leaves"),
        ("large bucket", "small bucket"),
        ("glass", "grass"),
        ("Eichenlaub", "Eschenlaub"),
        ("Eiche", "Esche"),
        ("Tonne", "Tanne"),
        ("Wanne", "Tanne"),
        ("Topf", "Torf"),
        ("Linde", "Rinde"),
        ("beukenblad", "berkenblad"),
        ("beuk", "berk"),
        ("savi", "saavi"),
        ("koivunlehti", "tammenlehti"),
    ],
)
def test_different_things_are_never_proposed_as_one(one: str, other: str) -> None:
    assert similar_names([one, one, other]) == []


def test_a_slip_between_two_names_belongs_to_neither() -> None:
    assert similar_names(["Eiche", "Eiche", "Esche", "Esche", "Eche"]) == []


def test_a_name_that_is_true_of_all_is_proposed() -> None:
    """A bucket of 20 l is not called "bucket 10 l", nor a white one black."""
    (sizes,) = similar_names(written({"bucket 10 l": 5, "bucket 20 l": 2}))
    assert sizes.proposed == "bucket"
    (with_plain,) = similar_names(written({"Bucket 10 l": 5, "bucket 20 l": 2, "buckets": 1}))
    assert with_plain.proposed == "buckets"
    (colours,) = similar_names(written({"Eimer (schwarz)": 5, "Eimer (weiß)": 2}))
    assert colours.proposed == "Eimer"
    (same,) = similar_names(written({"bucket 10 l": 5, "bucket (10 litres)": 2}))
    assert same.proposed == "bucket 10 l"


def test_hostile_and_long_names_take_no_time() -> None:
    start = time.perf_counter()
    found = similar_names(["(" * 5000, "1" * 5000 + " l", "x " * 3000, *(f"pot {i}" for i in range(3000))])
    assert found == []
    assert time.perf_counter() - start < 5
