"""Headings in six languages: known ones are matched, near ones too, others are named and left alone."""

from __future__ import annotations

import pytest

from habitatmap.errors import InputError
from habitatmap.read.headings import ALIASES, fold, match_headings, unit_of
from habitatmap.read.place_by_content import with_place_by_content
from tests.read.tables import table


def names(kind: str, headings: str) -> dict[str, str]:
    found = match_headings(kind, [h.strip() for h in headings.split("|")])
    return {found.text[n]: n for n in found.at}


@pytest.mark.parametrize(
    ("kind", "headings", "expected"),
    [
        ("pools", "pool|x|y|uncertainty_m|set_out|removed|private|container|filling|volume_l|shade|host|note", None),
        ("visits", "pool|date|outcome|larvae|taxon|checked|action|observer|note", None),
        ("trees", "x|y|genus|species|diameter_cm|girth_cm|condition", None),
        ("land", "name|kind|consent|until|private", None),
        ("keep_away", "kind|distance_m", None),
        (
            "pools",
            "Name|Breitengrad|Längengrad|aufgestellt am|Gefäß|Volumen (l)|Bemerkungen",
            "pool lat lon set_out container volume_l note",
        ),
        (
            "pools",
            "Mare|Latitude|Longitude|posé le|Récipient|Ombre|Remarques",
            "pool lat lon set_out container shade note",
        ),
        ("pools", "Poel|Breedtegraad|Lengtegraad|geplaatst op|schaduw|Opmerkingen", "pool lat lon set_out shade note"),
        (
            "pools",
            "Charca|Latitud|Longitud|Fecha de colocación|Sombra|Observaciones",
            "pool lat lon set_out shade note",
        ),
        ("pools", "Allas|Leveysaste|Pituusaste|Asetettu|Varjo|Huomautus", "pool lat lon set_out shade note"),
        ("pools", "ID|Rechtswert|Hochwert|Genauigkeit (m)", "pool x y uncertainty_m"),
        ("pools", "pool id|Coordinates", "pool position"),
        ("visits", "Becken|Datum|Befund|Anzahl Larven|Beobachterin", "pool date outcome larvae observer"),
        ("visits", "Bassin|Date de visite|Résultat|Nombre de larves|Observateur", "pool date outcome larvae observer"),
        ("visits", "Poel|Datum|Uitkomst|Aantal larven|Waarnemer", "pool date outcome larvae observer"),
        ("visits", "Charca|Fecha|Resultado|Número de larvas|Observador", "pool date outcome larvae observer"),
        ("visits", "Allas|Pvm|Tulos|Toukkien määrä|Havainnoija", "pool date outcome larvae observer"),
        ("trees", "suku|laji|kokoluokka|geom", "genus species diameter_cm position"),
        ("trees", "Gattung|Art|Stammumfang in cm|Zustand", "genus species girth_cm condition"),
        ("trees", "Genre|Espèce|Circonférence (cm)|État", "genus species girth_cm condition"),
        ("trees", "Scientific Name|DBH [in]|Tree condition", "species diameter_cm condition"),
        (
            "pools",
            "N° de mare|Longitude (°E)|Latitude (°N)|Contenance (L)|Date d'installation|Privé (oui/non)",
            "pool lon lat volume_l set_out private",
        ),
        ("pools", "Poelnummer|Breedtegraad|Lengtegraad|Inhoud (l)|Datum plaatsing", "pool lat lon volume_l set_out"),
        ("pools", "Becken-Nr.|Inhalt|Inhalt (Liter)|X (UTM32)|Y (UTM32)", "pool filling volume_l x y"),
        ("pools", "Nombre de la charca|UTM X|UTM Y|Capacidad (l)", "pool x y volume_l"),
        ("pools", "Altaan nro|lon_wgs84|lat_wgs84|Asennuspäivämäärä", "pool lon lat set_out"),
        ("visits", "Pool #|date (dd/mm/yyyy)|Larvae (n)|Bem.", "pool date larvae note"),
        ("visits", "Becken|Datum (TT.MM.JJJJ)|Larven ja/nein|Kontrolliert von", "pool date larvae observer"),
        ("visits", "Charca|Fecha (dd/mm/aaaa)|Nº de larvas", "pool date larvae"),
        ("trees", "Girth (cm) at 1.3 m|Baumart (lat.)", "girth_cm species"),
        ("trees", "Circonférence à 1 m (cm)|Genre", "girth_cm genus"),
        ("trees", "Durchmesser (1,3 m)|Gattung", "diameter_cm genus"),
        ("trees", "StU in 1 m Höhe [cm]", "girth_cm"),
        ("land", "Name|Nutzung|Zustimmung|gültig bis|privat", "name kind consent until private"),
    ],
)
def test_known_headings(kind: str, headings: str, expected: str | None) -> None:
    given = headings.split("|")
    assert names(kind, headings) == dict(zip(given, (expected or " ".join(given)).split(), strict=True))


def test_near_headings_match_and_far_ones_are_named_with_the_nearest() -> None:
    found = match_headings("pools", ["pool", "lattitude", "longitde", "latutede", "favourite colour"])
    assert (found.at["lat"], found.how["lat"]) == (1, "near")
    assert (found.at["lon"], found.how["lon"]) == (2, "near")
    assert found.unmatched == {"latutede": "lat", "favourite colour": ""}
    assert "latutede (nearest: lat)" in found.describe()


@pytest.mark.parametrize(
    ("kind", "heading"),
    [
        ("pools", "altitude"),
        ("pools", "Höhe"),
        ("pools", "Name (host)"),
        ("pools", "longevity"),
        ("visits", "Wasserstand"),
        ("visits", "larvae 2024"),
        ("trees", "crown diameter"),
        ("trees", "Kronendurchmesser (m)"),
        ("trees", "tree height (m)"),
        ("trees", "Pflanzjahr"),
    ],
)
def test_headings_that_only_look_alike_are_left_alone(kind: str, heading: str) -> None:
    assert match_headings(kind, [heading]).at == {}


def test_numbers_in_headings_must_agree() -> None:
    assert "larvae" not in match_headings("visits", ["pool", "larvae count 2"]).at


def test_the_better_name_wins_and_the_other_is_reported() -> None:
    found = match_headings("pools", ["id", "pool name", "lat", "lon"])
    assert found.text["pool"] == "pool name"
    assert found.doubles == (("pool", "pool name", "id"),)


def test_area_toml_overrides() -> None:
    found = match_headings("pools", ["Kübel", "pool", "lat", "lon"], {"pool": "kübel"})
    assert found.at["pool"] == 0
    assert found.how["pool"] == "stated"
    assert match_headings("pools", ["lat", "lon"], {"pool": "Kübel"}).unused == ("pool",)
    assert match_headings("trees", ["dicke"], {"diameter": "dicke"}).at == {"diameter_cm": 0}
    with pytest.raises(InputError, match=r"\[columns.pools\] has pol.*nearest is pool"):
        match_headings("pools", ["a"], {"pol": "a"})


@pytest.mark.parametrize(
    ("heading", "unit"),
    [
        ("Umfang [cm]", "cm"),
        ("dbh_in", "in"),
        ("DBH (inches)", "in"),
        ("diameter", ""),
        ("Höhe in m", "m"),
        ("girth ft", "ft"),
        ("Girth (cm) at 1.3 m", "cm"),
        ("Umfang in cm (1 m Höhe)", "cm"),
        ("dbh at 1.3m (mm)", "mm"),
        ("Diameter op 1,3 m", ""),
        ("Volume (US gallons)", "us gal"),
        ("Volume in gallons", "gal"),
        ("volume_l", "l"),
    ],
)
def test_units(heading: str, unit: str) -> None:
    assert unit_of(heading) == unit


def test_folding() -> None:
    assert fold("  Stamm-Umfang_[cm] ") == "stamm umfang cm"
    assert fold("Größe") == "grosse"
    assert fold("Läpimitta") == "lapimitta"


def test_no_alias_stands_for_two_names_of_one_kind() -> None:
    for kind, columns in ALIASES.items():
        seen: dict[str, str] = {}
        for name, words in columns.items():
            for word in words:
                assert seen.setdefault(word, name) == name, f"{kind}: {word} is {seen[word]} and {name}"


@pytest.mark.parametrize(
    ("heading", "name"),
    [
        ("SCIENTIFIC", "species"),
        ("BOTANICAL_", "species"),
        ("LATIN_NAM", "species"),
        ("Nom_scient", "species"),
        ("COMMON_NAM", "common_name"),
        ("DIAMETER_B", "diameter_cm"),
        ("STAMMDURCH", "diameter_cm"),
        ("Stammumfan", "girth_cm"),
        ("CIRCONFERE", "girth_cm"),
        ("TREE_CONDI", "condition"),
    ],
)
def test_headings_that_a_shapefile_cut_to_ten_letters_are_known(heading: str, name: str) -> None:
    assert names("trees", heading) == {heading: name}


def test_a_cut_heading_that_may_be_two_is_neither() -> None:
    """GEOGRAPHIS may be either coordinate in German; a heading of nine letters was not cut."""
    assert match_headings("pools", ["GEOGRAPHIS"]).at == {}
    assert match_headings("trees", ["SCIENTIFI"]).at == {}


@pytest.mark.parametrize(
    ("kind", "headings", "expected"),
    [
        ("visits", "Pool [name on the lid]|Date|Outcome (see key)", "pool date outcome"),
        ("pools", "Site ID|Kaart", "pool position"),
        ("pools", "Station|Coordinates (lat, lon)", "pool position"),
        ("pools", "Nazwa zbiornika|Szerokość geograficzna|Długość geograficzna|Uwagi", "pool lat lon note"),
        ("visits", "Zbiornik|Data|Wynik|Liczba larw|Obserwator", "pool date outcome larvae observer"),
        ("visits", "Vasca|Data della visita|Esito|Numero di larve|Osservatore", "pool date outcome larvae observer"),
        ("visits", "Behållare|Datum|Utfall|Antal larver|Inventerare", "pool date outcome larvae observer"),
    ],
)
def test_brackets_of_any_words_and_more_languages(kind: str, headings: str, expected: str) -> None:
    assert names(kind, headings) == dict(zip(headings.split("|"), expected.split(), strict=True))


def test_a_bracket_is_not_left_away_where_two_columns_would_be_one() -> None:
    found = match_headings("visits", ["pool", "larvae (alive in the net)", "larvae (dead in the net)"])
    assert set(found.at) == {"pool"}
    found = match_headings("visits", ["pool", "date", "date (planned next)"])
    assert found.text["date"] == "date"


def test_places_are_found_by_content_in_one_column_only() -> None:
    cells = ["60.1712, 24.9415", "60.1812, 24.9515"]
    one = table("pool,aa,bb", *[(f"P{i}", cell, "by the gate") for i, cell in enumerate(cells)])
    heads = with_place_by_content(one, match_headings("pools", one.headings))
    assert (heads.at["position"], heads.how["position"]) == (1, "by content")
    two = table("pool,aa,bb", *[(f"P{i}", cell, cell) for i, cell in enumerate(cells)])
    assert "position" not in with_place_by_content(two, match_headings("pools", two.headings)).at
    photos = table("pool,photo", *[(f"P{i}", f"https://example.org/{i}.jpg") for i in range(3)])
    assert "position" not in with_place_by_content(photos, match_headings("pools", photos.headings)).at
