"""Which column is which: common headings in six languages, near matches, and what area.toml states.

A heading is first looked up as it is (case, accents, punctuation and a unit in brackets do not matter), then by
likeness. One that fits nothing is reported with its nearest, never used.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from rapidfuzz import fuzz, process

from habitatmap.coordinates import without_system
from habitatmap.errors import InputError

# a likeness of 90 of 100 matched no wrong heading in trials; looser measures did
LIKE_ENOUGH = 90.0
SHORTEST_LIKE = 5

# English; German; French; Dutch; Spanish; Finnish. The order within a name is the order of preference.
_PLACE = {
    "x": """x, easting, east, eastings, x coord, x coordinate, coord x, xcoord, point x, utm e, utm east, utm
        easting, e;
        rechtswert, ostwert, x koordinate, x wert; coordonnee x; x coordinaat, oosting; coordenada x;
        ita, itakoordinaatti, x koordinaatti""",
    "y": """y, northing, north, northings, y coord, y coordinate, coord y, ycoord, point y, utm n, utm north, utm
        northing, n;
        hochwert, nordwert, y koordinate, y wert; coordonnee y; y coordinaat, noording; coordenada y;
        pohjoinen, pohjoiskoordinaatti, y koordinaatti""",
    "lon": """lon, longitude, long, lng, decimal longitude, gps longitude, gps lon, wgs84 lon, longitude wgs84, lon dd;
        langengrad, laengengrad, lange, geogr lange, geographische lange, ostliche lange; ; lengtegraad, lengte;
        longitud, longitud decimal; pituusaste, pituus""",
    "lat": """lat, latitude, decimal latitude, gps latitude, gps lat, wgs84 lat, latitude wgs84, lat dd;
        breitengrad, breite, geogr breite, geographische breite, nordliche breite; ; breedtegraad, breedte;
        latitud, latitud decimal; leveysaste, leveys""",
    "position": """position, coordinates, coordinate, coords, lat lon, latlon, lat long, lat lng, latitude
        longitude, lon lat,
        gps, gps position, gps coordinates, gps koordinaten, wkt, ewkt, wkb, geom, geometry, the geom, geojson, point,
        grid reference, grid ref, gridref, os grid reference, os grid ref, ngr, osgb, mgrs, location;
        koordinaten, koordinate, lage, geometrie; coordonnees, coordonnees gps, emplacement;
        coordinaten, locatie, positie; coordenadas, ubicacion, posicion; koordinaatit, sijainti, geometria""",
    "system": """geodetic datum, geodeticdatum, coordinate system, coordinate reference system, reference system, crs,
        epsg, epsg code, srid, srs, utm zone;
        koordinatensystem, bezugssystem; systeme de coordonnees; coordinatenstelsel; sistema de coordenadas, huso utm;
        koordinaattijarjestelma""",
    "uncertainty_m": """uncertainty, accuracy, gps accuracy, horizontal accuracy, position accuracy, coordinate
        uncertainty,
        coordinate uncertainty in meters, coordinateuncertaintyinmeters, precision, gps precision, gps error;
        genauigkeit, messgenauigkeit, gps genauigkeit, unsicherheit; incertitude; nauwkeurigheid;
        exactitud, incertidumbre; tarkkuus, epavarmuus""",
}
_NOTE = """note, notes, comment, comments, remark, remarks;
    bemerkung, bemerkungen, notiz, notizen, anmerkung, kommentar;
    remarque, remarques, commentaire, commentaires; opmerking, opmerkingen, notitie;
    nota, notas, observaciones, comentario, comentarios; huomautus, huomautukset, huomio, kommentti, lisatieto"""
_PRIVATE = """private, private land, private garden, on private land; privat, privatgrund, privatgarten, privatgelande;
    prive, terrain prive, jardin prive; privaat, particulier, prive grond; privado, terreno privado, jardin privado;
    yksityinen, yksityismaa, yksityispiha"""
_POOL = """pool, pool name, pool id, pool no, pool number, pool nr, pool code, poolname, poolid, container id, bucket;
    becken, beckenname, becken nr, beckennummer, behalternummer, tumpel, eimer, eimer nr;
    mare, bassin, nom du bassin, bac; poel, poelnaam, poel nr, emmer; charca, nombre de la charca, balsa, cubo;
    allas, altaan nimi, altaan tunnus, lammikko, ampari"""
_NAME = """
    name, id, label, code, number, nr, no; bezeichnung, nummer, kennung; nom, numero, identifiant; naam; nombre,
    codigo; nimi, tunnus"""
_KIND = """kind, type, land use, use, category, class; art, typ, nutzung, nutzungsart, kategorie; usage, utilisation,
    categorie; soort, gebruik; tipo, uso, categoria; tyyppi, kaytto, luokka, laji"""

_ALIASES: dict[str, dict[str, str]] = {
    "pools": {
        "pool": f"{_POOL}; {_NAME}, site, station",
        **_PLACE,
        "set_out": """set out, date set out, set out on, placed, date placed, placed on, installed, installed on,
            date installed, installation date, deployed, put out, established, start, start date;
            aufgestellt, aufgestellt am, aufstelldatum, ausgebracht, ausgebracht am, datum aufgestellt;
            pose, pose le, installe, installe le, date de pose, date d installation, mise en place;
            geplaatst, geplaatst op, plaatsingsdatum, uitgezet; colocado, colocada, instalado, instalada,
            fecha de colocacion, fecha de instalacion; asetettu, asennettu, asennuspaiva, sijoitettu, asetuspaiva""",
        "removed": """removed, date removed, removed on, taken in, retrieved, withdrawn, end, end date;
            entfernt, entfernt am, abgebaut, abgebaut am, eingeholt; retire, retire le, enleve, enleve le, date de
            retrait;
            verwijderd, verwijderd op, weggehaald; retirado, retirada, fecha de retirada; poistettu, poistopaiva""",
        "private": _PRIVATE,
        "container": """container, container type, vessel, type; gefass, gefäß, behalter, behaltertyp, typ;
            recipient, contenant; houder, bak; recipiente, tipo; astia, astian tyyppi""",
        "filling": """filling, filled with, content, contents; fullung, inhalt; remplissage, contenu; vulling, inhoud;
            relleno, contenido; taytto, sisalto""",
        "volume_l": """
            volume, litres, liters, volume litres, volume liters; volumen, liter, fassungsvermogen; volume en
            litres; volume liter; litros; tilavuus, litraa""",
        "shade": """
            shade, shading, shaded, light; schatten, beschattung; ombre, ombrage; schaduw, beschaduwing; sombra;
            varjo, varjoisuus""",
        "host": """host, owner, landowner, contact, keeper; gastgeber, gastgeberin, besitzer, eigentumer,
            ansprechpartner;
            hote, proprietaire; gastheer, eigenaar; anfitrion, propietario; isanta, omistaja, yhteyshenkilo""",
        "note": _NOTE,
    },
    "visits": {
        "pool": f"{_POOL}, site, id",
        **_PLACE,
        "date": """date, visit date, date of visit, visited, visited on, survey date, event date, eventdate, day;
            datum, besuchsdatum, kontrolldatum, besucht am, tag; date de visite, date de la visite, jour;
            bezoekdatum, datum bezoek, dag; fecha, fecha de visita, dia; paiva, pvm, paivamaara, kayntipaiva""",
        "outcome": """outcome, result, finding, findings, state, status, presence, occurrence status, seen;
            ergebnis, befund, resultat, zustand; constat, etat; resultaat, uitkomst, bevinding;
            resultado, hallazgo, estado; tulos, havainto, loydos""",
        "larvae": """larvae, larvae count, larva count, larval count, number of larvae, no of larvae, n larvae,
            larvae seen,
            total larvae, count, individual count, number; larven, anzahl larven, larvenzahl, anzahl;
            larves, nombre de larves, nombre; aantal larven, aantal; larvas, numero de larvas, cantidad;
            toukat, toukkia, toukkien maara, toukkamaara, lukumaara, maara""",
        "taxon": """taxon, species, scientific name, scientificname; art; espece, nom scientifique; soort; especie;
            laji, taksoni""",
        "checked": """checked, verified, confirmed, species checked, identified; gepruft, bestatigt, bestimmt;
            verifie, confirme; gecontroleerd, bevestigd; verificado, comprobado, confirmado; tarkistettu,
            vahvistettu""",
        "action": """action, action taken, actions, measure, done; massnahme, maßnahme, aktion, erledigt; mesure,
            action menee;
            actie, maatregel; accion, medida; toimenpide, toimi""",
        "observer": """observer, recorder, recorded by, surveyor, visited by, volunteer, by, who;
            beobachter, beobachterin, erfasser, kartierer, melder, wer; observateur, observatrice, qui;
            waarnemer, wie; observador, observadora, quien; havainnoija, tekija, kuka""",
        "note": _NOTE,
    },
    "trees": {
        **_PLACE,
        "genus": "genus; gattung; genre; geslacht; genero; suku",
        "species": """species, scientific name, scientificname, botanical name, latin name, taxon, tree species,
            epithet;
            art, baumart, art botanisch, botanischer name, lateinischer name; espece, essence, nom latin, nom
            scientifique;
            soort, boomsoort, wetenschappelijke naam; especie, nombre cientifico; laji, puulaji, tieteellinen nimi""",
        "diameter_cm": """diameter, dbh, trunk diameter, stem diameter, diameter at breast height, diameter breast
            height,
            size class; durchmesser, bhd, stammdurchmesser, brusthohendurchmesser; diametre, dhp, diametre du tronc;
            stamdiameter, diameterklasse; diametro, dap, diametro del tronco; lapimitta, rungon lapimitta,
            kokoluokka""",
        "girth_cm": """girth, circumference, trunk circumference, trunk girth, stem girth, girth at breast height, gbh;
            umfang, stammumfang; circonference, circonference du tronc; omtrek, stamomtrek;
            perimetro, perimetro del tronco, circunferencia; ymparysmitta, rungon ymparysmitta""",
        "condition": """condition, status, health, state, vitality, tree status, tree condition, life stage;
            zustand, vitalitat; etat, etat sanitaire, vitalite; toestand, conditie, vitaliteit;
            estado, condicion, estado fitosanitario; kunto, kuntoluokka, tila""",
    },
    "land": {
        "name": f"""name, land name, site name, park name, site, park, place; flache, ort; lieu, parc; plaats, park
            naam; lugar, parque; paikka, puisto, {_NAME}""",
        "kind": _KIND,
        "consent": """consent, permission, agreement, agreed, allowed; zustimmung, erlaubnis, einverstandnis,
            genehmigung;
            accord, consentement, autorisation; toestemming; permiso, consentimiento, autorizacion; lupa, suostumus""",
        "until": """until, valid until, consent until, expires, expiry, expiry date; bis, gultig bis;
            jusqu au, valable jusqu au, expire; tot, geldig tot; hasta, valido hasta; asti, voimassa asti, voimassa""",
        "private": _PRIVATE,
        "position": _PLACE["position"],
    },
    "keep_away": {
        "kind": _KIND,
        "name": _NAME,
        "distance_m": """
            distance, buffer, keep away, keep away distance; abstand, distanz; ; afstand; distancia; etaisyys""",
        "position": _PLACE["position"],
        "x": _PLACE["x"],
        "y": _PLACE["y"],
        "lon": _PLACE["lon"],
        "lat": _PLACE["lat"],
    },
}

_UNITS = {
    "mm": "mm", "cm": "cm", "centimetre": "cm", "centimeter": "cm", "m": "m", "metre": "m", "metres": "m", "meter": "m",
    "meters": "m", "km": "km", "in": "in", "inch": "in", "inches": "in", "zoll": "in", "ft": "ft", "feet": "ft",
    "foot": "ft", "l": "l", "litre": "l", "litres": "l", "liter": "l", "liters": "l",
}  # fmt: skip


@lru_cache(maxsize=20_000)  # columns repeat their words
def fold(text: str) -> str:
    """A heading without case, accents, punctuation, doubled spaces: `Stamm-Umfang [cm]` becomes `stamm umfang cm`."""
    plain = unicodedata.normalize("NFKD", text.replace("ß", "ss").casefold())
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    return " ".join(re.sub(r"[^\w]+|_", " ", plain).split())


def unit_of(heading: str) -> str:
    """The unit a heading names ("cm", "m", "mm", "in", "ft", "km", "l"), "" where it names none."""
    last = fold(heading).split()[-1:] or [""]
    return _UNITS.get(last[0], "")


def _bare(heading: str) -> str:
    """A folded heading without the reference system that it names, and without a unit at its end."""
    words = fold(without_system(heading)).split()
    if len(words) > 1 and words[-1] in _UNITS:
        words = words[:-2] if len(words) > 2 and words[-2] == "in" else words[:-1]
    return " ".join(words)


ALIASES: dict[str, dict[str, tuple[str, ...]]] = {
    kind: {
        name: tuple(dict.fromkeys([fold(name), *(fold(a) for a in re.split(r"[,;]", text) if a.strip())]))
        for name, text in names.items()
    }
    for kind, names in _ALIASES.items()
}
KNOWN = frozenset(alias for names in ALIASES.values() for aliases in names.values() for alias in aliases)
# a table has one column under such a heading; where there are two, there are two tables
_KEYS = frozenset(alias for name in ("pool", "x", "lon", "position") for alias in ALIASES["pools"][name])


def is_known(heading: object, also: Iterable[str] = ()) -> bool:
    """Whether a cell reads like a heading of any kind of table; `also`: headings that area.toml states, folded."""
    return isinstance(heading, str) and (fold(heading) in KNOWN or _bare(heading) in KNOWN or fold(heading) in also)


def tells_records_apart(heading: object) -> bool:
    """Whether a cell is the heading of names or places, which a table of records has once."""
    return isinstance(heading, str) and (fold(heading) in _KEYS or _bare(heading) in _KEYS)


@dataclass(frozen=True)
class Headings:
    """What was matched. `at`: our name -> column number; `how`: our name -> "stated", "exact" or "near"."""

    at: dict[str, int]
    how: dict[str, str]
    text: dict[str, str]  # our name -> the file's own heading
    unmatched: dict[str, str] = field(default_factory=dict)  # heading -> nearest of our names, or ""
    doubles: tuple[tuple[str, str, str], ...] = ()  # our name, the heading used, another that fits as well
    unused: tuple[str, ...] = ()  # names stated in area.toml whose heading this table lacks

    def describe(self) -> str:
        """One line for a person: which heading was read as what, and what was left alone."""
        used = ", ".join(f"{self.text[n]} = {n}" for n in self.at if fold(self.text[n]) != fold(n))
        same = ", ".join(n for n in self.at if fold(self.text[n]) == fold(n))
        left = ", ".join(f"{h} (nearest: {n})" if n else h for h, n in self.unmatched.items())
        parts = [p for p in (same, used) if p]
        return f"read {', '.join(parts) or 'no column'}" + (f"; not used: {left}" if left else "")


def match_headings(kind: str, headings: Sequence[str], overrides: Mapping[str, str] | None = None) -> Headings:
    """Matches the headings of one table of this kind ("pools", "visits", "trees", "land" or "keep_away").

    overrides: our name -> the file's heading, as `[columns.KIND]` of area.toml states them; InputError where it
    states a name we do not know.
    """
    aliases = ALIASES[kind]
    folded = [fold(h) for h in headings]
    bare = [_bare(h) for h in headings]
    at: dict[str, int] = {}
    how: dict[str, str] = {}
    unused: list[str] = []
    taken: set[int] = set()

    def take(name: str, column: int, way: str) -> None:
        at[name], how[name] = column, way
        taken.add(column)

    for stated, heading in (overrides or {}).items():
        name = _our_name(kind, stated)
        column = next((i for i, h in enumerate(folded) if h == fold(heading) and i not in taken), None)
        if column is None:
            unused.append(name)
        else:
            take(name, column, "stated")

    doubles: list[tuple[str, str, str]] = []
    wanted = {name: words for name, words in aliases.items() if name not in at}
    # a heading that is the first choice of one name is not taken as the last choice of another
    ranked = sorted(
        (words.index(text), list(aliases).index(name), i, name)
        for name, words in wanted.items()
        for i, text in enumerate(b if b in words else f for b, f in zip(bare, folded, strict=True))
        if text in words
    )
    for _rank, _order, column, name in ranked:
        if column in taken:
            continue
        if name in at:
            doubles.append((name, headings[at[name]], headings[column]))
        else:
            take(name, column, "exact")
    taken |= {i for i, h in enumerate(headings) if any(h == other for _, _, other in doubles)}

    for i, text in enumerate(bare):
        if i in taken or len(text) < SHORTEST_LIKE:
            continue
        close = {name for name, words in aliases.items() if _likeness(text, words) >= LIKE_ENOUGH}
        if len(close) == 1 and not close & at.keys():
            take(close.pop(), i, "near")

    left = {
        h: _nearest(b, aliases) for i, (h, b) in enumerate(zip(headings, bare, strict=True)) if i not in taken and h
    }
    order = [n for n in aliases if n in at]
    return Headings(
        at={n: at[n] for n in order},
        how={n: how[n] for n in order},
        text={n: headings[at[n]] for n in order},
        unmatched=left,
        doubles=tuple(doubles),
        unused=tuple(unused),
    )


def _our_name(kind: str, stated: str) -> str:
    """The name of ours that a key of `[columns.KIND]` means."""
    for name, _words in ALIASES[kind].items():
        if stated == name or fold(stated) == fold(name):
            return name
    for name in ALIASES[kind]:
        # `diameter = "..."` is as clear as `diameter_cm = "..."`
        if fold(stated) == _bare(name):
            return name
    near = process.extractOne(fold(stated), [fold(n) for n in ALIASES[kind]], scorer=fuzz.ratio)
    hint = f"; the nearest is {list(ALIASES[kind])[near[2]]}" if near else ""
    raise InputError(f"area.toml: [columns.{kind}] has {stated}, but there is no such column{hint}")


def _likeness(text: str, words: Sequence[str]) -> float:
    """The best ratio (0-100) with any alias whose digits are the same."""
    digits = re.findall(r"\d+", text)
    alike = [w for w in words if len(w) >= SHORTEST_LIKE and re.findall(r"\d+", w) == digits]
    best = process.extractOne(text, alike, scorer=fuzz.ratio)
    return best[1] if best else 0.0


def _nearest(text: str, aliases: Mapping[str, Sequence[str]]) -> str:
    """Our name whose aliases are nearest to a heading that was not matched, "" where none is even similar."""
    scores = {name: _likeness(text, words) for name, words in aliases.items()}
    best = max(scores, key=lambda n: scores[n])
    return best if scores[best] >= 70.0 else ""
