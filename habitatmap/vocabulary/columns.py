"""The columns of every kind of table, once: what a column is called, what stands in it, and what its cells may be.

The headings that people write over their columns are matched by this table, the workbooks of a new area and the
recording sheets are made from it, the frames of the readers have its types, and guide/columns.md is written from it.
To add a heading, write it behind the others of its name: small letters, no accents; it may not stand under two names.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from habitatmap.vocabulary.kinds import Kind
from habitatmap.vocabulary.terms import Condition, Consent, Outcome, YesNo

# the first cell of an example row
EXAMPLE = "example, not read"


class Entry(NamedTuple):
    """How a column looks where it is filled in by hand: in the workbook of a new area, and on a recording sheet."""

    heading: str = ""
    width: int = 0  # of a workbook's column, in characters
    example: str | float | datetime.date | None = None
    bounds: tuple[float, float] | None = None  # of a number
    listed: bool = False  # whether the names of the sheet of names are offered
    paper_cm: float = 0.0  # width on a recording sheet


NOT_FILLED_IN = Entry()


@dataclass(frozen=True)
class Column:
    """One column of one kind of table."""

    name: str
    help: str  # what stands in it, in a sentence
    headings: str = ""  # English; German; French; Dutch; Spanish; Finnish: the order of preference; "" = not matched
    dtype: str = ""  # in the frame that is read; "" = read into other columns
    values: tuple[str, ...] = ()  # what its cells may say, in our words
    strict: bool = False  # whether the workbook refuses any other word
    words_only: bool = False  # nothing is computed from it: a formula that failed there costs its words, not the row
    entry: Entry = NOT_FILLED_IN

    @property
    def is_date(self) -> bool:
        """Whether its cells are days."""
        return self.dtype.startswith("datetime")


PLACE = (
    Column(
        "x",
        "Metres east in the system of the area, or in one that [source_crs] states.",
        """x, easting, east, eastings, x coord, x coordinate, coord x, xcoord, point x, utm e, utm east, utm easting,
        utm x, e; rechtswert, ostwert, x koordinate, x wert; coordonnee x; x coordinaat, oosting; coordenada x; ita,
        itakoordinaatti, x koordinaatti""",
        "float64",
    ),
    Column(
        "y",
        "Metres north, as x.",
        """y, northing, north, northings, y coord, y coordinate, coord y, ycoord, point y, utm n, utm north, utm
        northing, utm y, n; hochwert, nordwert, y koordinate, y wert; coordonnee y; y coordinaat, noording; coordenada
        y; pohjoinen, pohjoiskoordinaatti, y koordinaatti""",
        "float64",
    ),
    Column(
        "lon",
        "In decimal degrees, such as 24.94152. Minus west of Greenwich.",
        """
        lon, longitude, long, lng, decimal longitude, gps longitude, gps lon, wgs84 lon, longitude wgs84, lon dd;
        langengrad, laengengrad, lange, geogr lange, geographische lange, ostliche lange; ; lengtegraad, lengte;
        longitud, longitud decimal; pituusaste, pituus""",
        entry=Entry("longitude", 12, 10.98765, (-180, 180)),
    ),
    Column(
        "lat",
        "In decimal degrees, such as 60.17121. Minus south of the equator.",
        """lat, latitude, decimal latitude, gps latitude, gps lat, wgs84 lat, latitude wgs84, lat dd; breitengrad,
        breite, geogr breite, geographische breite, nordliche breite; ; breedtegraad, breedte; latitud, latitud
        decimal; leveysaste, leveys""",
        entry=Entry("latitude", 12, 54.32101, (-90, 90)),
    ),
    Column(
        "position",
        "Both coordinates in one cell, a grid reference, or a shape as WKT, WKB or GeoJSON.",
        """
        position, coordinates, coordinate, coords, lat lon, latlon, lat long, lat lng, latitude longitude, lon lat,
        gps, gps position, gps coordinates, gps koordinaten, wkt, ewkt, wkb, geom, geometry, the geom, geojson,
        point, grid reference, grid ref, gridref, os grid reference, os grid ref, ngr, osgb, mgrs, location, grid,
        grid square, os grid, irish grid, irish grid reference, irish grid ref, utm, plus code, plus codes, pluscode,
        map link;
        koordinaten, koordinate, lage, geometrie; coordonnees, coordonnees gps, emplacement; coordinaten, locatie,
        positie; coordenadas, ubicacion, posicion; koordinaatit, sijainti, geometria""",
    ),
    Column(
        "system",
        "The reference system of this row's coordinates, such as EPSG:25832.",
        """
        geodetic datum, geodeticdatum, coordinate system, coordinate reference system, reference system, crs, epsg,
        epsg code, srid, srs, utm zone; koordinatensystem, bezugssystem; systeme de coordonnees; coordinatenstelsel;
        sistema de coordenadas, huso utm; koordinaattijarjestelma""",
    ),
    Column(
        "uncertainty_m",
        "How far off the place may be, in metres, as the telephone says it.",
        """
        uncertainty, accuracy, gps accuracy, horizontal accuracy, position accuracy, coordinate uncertainty,
        coordinate uncertainty in meters, coordinateuncertaintyinmeters, precision, gps precision, gps error;
        genauigkeit, messgenauigkeit, gps genauigkeit, unsicherheit; incertitude; nauwkeurigheid; exactitud,
        incertidumbre; tarkkuus, epavarmuus""",
        "float64",
        entry=Entry("accuracy (m)", 10, 5, (0, 100_000)),
    ),
)


def _placed(*kept: str) -> tuple[Column, ...]:
    """The columns that say where a row is, of which the frame keeps these."""
    return tuple(column if column.name in kept else replace(column, dtype="") for column in PLACE)


_NOTE = """note, notes, comment, comments, remark, remarks; bemerkung, bemerkungen, notiz, notizen, anmerkung,
        kommentar, anmerkungen, bem, anm; remarque, remarques, commentaire, commentaires, observations, obs, rem;
        opmerking, opmerkingen, notitie, opm; nota, notas, observaciones, comentario, comentarios; huomautus,
        huomautukset, huomio, kommentti, lisatieto, huom"""
_PRIVATE = """
        private, private land, private garden, on private land; privat, privatgrund, privatgarten, privatgelande;
        prive, terrain prive, jardin prive; privaat, particulier, prive grond; privado, terreno privado, jardin
        privado; yksityinen, yksityismaa, yksityispiha"""
# words for a pool, and what stands behind or before them in a heading of its name or number, by language
_POOL_WORDS = (
    ("pool, container, bucket", "name, id, no, nr, number, code, label, ref", "name of, number of, id of"),
    ("becken, behalter, tumpel, eimer, teich", "name, nr, nummer, id, code, bezeichnung, kennung", "name, nr, nummer"),
    ("mare, bassin, bac, seau", "nom, no, numero, id, code", "nom, n, no, numero, id, code, identifiant"),
    ("poel, emmer, bak", "naam, nr, nummer, id, code", "naam, nr, nummer"),
    ("charca, balsa, cubo", "nombre, no, numero, id, codigo", "nombre, n, no, numero, id, codigo"),
    ("allas, altaan, lammikko, lammikon, ampari, amparin", "nimi, nro, nr, numero, tunnus, id, koodi", "nro, nr"),
)
_ARTICLES = ("", " de", " de la", " du", " del", " der", " des", " van", " van de")


def _pool_names() -> str:
    """Headings such as Beckennummer, N° de mare, nombre de la charca; the words alone come first."""
    names = [
        "pool, becken, tumpel, eimer, mare, bassin, bac, poel, emmer, charca, balsa, cubo, allas, lammikko, ampari"
    ]
    for words, behind, before in ((w.split(", "), b.split(", "), f.split(", ")) for w, b, f in _POOL_WORDS):
        names += [f"{word}{gap}{end}" for word in words for end in behind for gap in (" ", "")]
        names += [f"{start}{article} {word}" for start in before for article in _ARTICLES for word in words]
    return f"{', '.join(names)}, bucket, behalternummer"


_POOL = _pool_names()
_FILE = (
    Column("file", "The file that the row was read from.", dtype="str"),
    Column("row", "The number of the row there, as a spreadsheet program shows it.", dtype="int64"),
)
_POSITION = replace(PLACE[4], help="The shape as WKT, WKB or GeoJSON, where the file has none of its own.")
_NAME = """
        name, id, label, code, number, nr, no; bezeichnung, nummer, kennung; nom, numero, identifiant; naam; nombre,
        codigo; nimi, tunnus"""
_KIND = """kind, type, land use, use, category, class; art, typ, nutzung, nutzungsart, kategorie; usage, utilisation,
        categorie; soort, gebruik; tipo, uso, categoria; tyyppi, kaytto, luokka, laji"""

COLUMNS: dict[Kind, tuple[Column, ...]] = {
    Kind.POOLS: (
        Column(
            "pool",
            "The pool's name, as it stands on the pool: P7, Library 2. Each name once.",
            f"{_POOL}; {_NAME}, site, station",
            "str",
            entry=Entry("pool", 20, EXAMPLE),
        ),
        *_placed("x", "y", "uncertainty_m"),
        Column(
            "set_out",
            "The day the pool was set out.",
            """
        set out, date set out, set out on, placed, date placed, placed on, installed, installed on, date installed,
        installation date, deployed, put out, established, start, start date, date of set out, set out date, set up,
        set up date, date out, date deployed, install date; aufgestellt, aufgestellt am, aufstelldatum, ausgebracht,
        ausgebracht am, datum aufgestellt, ausbringung, ausbringungsdatum, datum ausbringung, datum der ausbringung,
        aufstellung, datum der aufstellung, datum aufstellung; pose, pose le, installe, installe le, date de pose,
        date d installation, mise en place, date de mise en place, date mise en place, date pose, date installation;
        geplaatst, geplaatst op, plaatsingsdatum, uitgezet, datum plaatsing, datum geplaatst, plaatsing; colocado,
        colocada, instalado, instalada, fecha de colocacion, fecha de instalacion, fecha colocacion, fecha
        instalacion; asetettu, asennettu, asennuspaiva, sijoitettu, asetuspaiva, asennuspaivamaara, asennuspvm,
        asetettu pvm""",
            "datetime64[s]",
            entry=Entry("set out", 12, datetime.date(2024, 4, 2)),
        ),
        Column(
            "removed",
            "The day it was taken in for good. Blank while the pool stands.",
            """
        removed, date removed, removed on, taken in, retrieved, withdrawn, end, end date, removal date, date of
        removal; entfernt, entfernt am, abgebaut, abgebaut am, eingeholt, datum entfernt, abbau, abbaudatum; retire,
        retire le, enleve, enleve le, date de retrait; verwijderd, verwijderd op, weggehaald, datum verwijderd;
        retirado, retirada, fecha de retirada; poistettu, poistopaiva, poistopvm""",
            "datetime64[s]",
            entry=Entry("removed", 12, None),
        ),
        Column(
            "private",
            "yes where it stands in a garden or on other private ground.",
            _PRIVATE,
            "str",
            values=tuple(YesNo),
            strict=True,
            entry=Entry("private", 10, "no"),
        ),
        Column(
            "container",
            "A few centimetres of water can drown a small child: narrow, filled with litter, under a fixed grille.",
            """
        container, container type, vessel, type; gefass, gefäß, behalter, behaltertyp, typ; recipient, contenant;
        houder, bak; recipiente, tipo; astia, astian tyyppi""",
            "str",
            values=("bucket", "tub", "half barrel", "bottle", "bag", "other"),
            words_only=True,
            entry=Entry("container", 16, "bucket"),
        ),
        Column(
            "filling",
            "Leaf litter and rain water from the place itself; no pond water.",
            """
        filling, filled with, content, contents; fullung, inhalt; remplissage, contenu; vulling, inhoud; relleno,
        contenido; taytto, sisalto""",
            "str",
            words_only=True,
            entry=Entry("filling", 24, "beech litter, sticks"),
        ),
        Column(
            "volume_l",
            "How much the container holds, in litres.",
            """
        volume, litres, liters, volume litres, volume liters, capacity, gallons; volumen, liter, fassungsvermogen,
        inhalt l, inhalt liter, inhalt in l, inhalt in liter, fullmenge; volume en litres, contenance, capacite,
        contenu l, contenu litres; volume liter, inhoud l, inhoud liter, inhoud in liter; litros, capacidad,
        contenido l, contenido litros; tilavuus, litraa""",
            "float64",
            entry=Entry("volume (litres)", 10, 8, (0, 10_000)),
        ),
        Column(
            "shade",
            "How much of the day it lies in shade.",
            """
        shade, shading, shaded, light; schatten, beschattung; ombre, ombrage; schaduw, beschaduwing; sombra; varjo,
        varjoisuus""",
            "str",
            values=("open", "half", "full"),
            words_only=True,
            entry=Entry("shade", 10, "half"),
        ),
        Column(
            "host",
            "Who to ask. A private name or address stays within the team: it is on no public page.",
            """
        host, owner, landowner, contact, keeper; gastgeber, gastgeberin, besitzer, eigentumer, ansprechpartner;
        hote, proprietaire; gastheer, eigenaar; anfitrion, propietario; isanta, omistaja, yhteyshenkilo""",
            "str",
            words_only=True,
            entry=Entry("host", 20, None),
        ),
        Column(
            "note",
            "Anything else.",
            _NOTE,
            "str",
            words_only=True,
            entry=Entry("note", 40, "write your own pools below"),
        ),
        *_FILE,
    ),
    Kind.VISITS: (
        Column(
            "pool",
            "A name from the list of pools. Fill the list on the sheet Pool names.",
            f"{_POOL}, site, id",
            "str",
            entry=Entry("pool", 20, EXAMPLE, listed=True, paper_cm=2.0),
        ),
        *_placed(),
        Column(
            "date",
            "The day of the visit.",
            """date, visit date, date of visit, visited, visited on, survey date, event date, eventdate, day, date
        observed, observation date, date recorded, recorded on, check date, inspection date, date inspected,
        sampling date; datum, besuchsdatum, kontrolldatum, besucht am, tag, datum der kontrolle, datum kontrolle,
        kontrolle, kontrolle am, datum des besuchs, besuch, besuch am, begehung, begehungsdatum; date de visite,
        date de la visite, jour, date visite, date du controle, date de controle, date controle, date du passage,
        passage, date d observation, date observation; bezoekdatum, datum bezoek, dag, controledatum, datum
        controle, waarnemingsdatum, datum waarneming; fecha, fecha de visita, dia, fecha de la visita, fecha visita,
        fecha de observacion, fecha de control; paiva, pvm, paivamaara, kayntipaiva, kayntipvm, havaintopaiva,
        havaintopvm, tarkastuspaiva, paivays""",
            "datetime64[s]",
            entry=Entry("date", 12, datetime.date(2024, 6, 15), paper_cm=1.5),
        ),
        Column(
            "outcome",
            "none seen: searched, saw none. Dry, frozen, gone, not reached are no searches. Blank is not none seen.",
            """
        outcome, result, finding, findings, state, status, presence, occurrence status, seen; ergebnis, befund,
        resultat, zustand; constat, etat; resultaat, uitkomst, bevinding; resultado, hallazgo, estado; tulos,
        havainto, loydos""",
            "str",
            values=tuple(Outcome),
            strict=True,
            entry=Entry("outcome", 14, "none seen", paper_cm=3.2),
        ),
        Column(
            "larvae",
            "How many were seen. 10+ or 2-3 are read too. Blank where nobody counted.",
            """
        larvae, larvae count, larva count, larval count, number of larvae, no of larvae, n larvae, larvae seen,
        total larvae, count, individual count, number, larvae found, larvae present, presence of larvae, larvae yes
        no; larven, anzahl larven, larvenzahl, anzahl, larven anzahl, anzahl der larven, larven gesehen, larven
        gefunden, larven vorhanden, larven ja nein; larves, nombre de larves, nombre, nombre de larves vues, nb
        larves, nb de larves, larves vues, presence de larves, larves presentes; aantal larven, aantal, larven
        aanwezig, larven gezien; larvas, numero de larvas, cantidad, n de larvas, no de larvas, no larvas, num
        larvas, numero larvas, presencia de larvas, larvas presentes; toukat, toukkia, toukkien maara, toukkamaara,
        lukumaara, maara, toukkien lkm, toukkien lukumaara, lkm, kpl""",
            "float64",
            entry=Entry("larvae", 10, 0, (0, 10_000), paper_cm=1.0),
        ),
        Column(
            "taxon",
            "The species or group, where somebody named it, such as Eristalini.",
            """
        taxon, species, scientific name, scientificname; art; espece, nom scientifique; soort; especie; laji,
        taksoni""",
            "str",
            entry=Entry("taxon", 24, None, paper_cm=2.0),
        ),
        Column(
            "checked",
            "yes where somebody who knows the species saw it or a photo.",
            """
        checked, verified, confirmed, species checked, identified; gepruft, bestatigt, bestimmt; verifie, confirme;
        gecontroleerd, bevestigd; verificado, comprobado, confirmado; tarkistettu, vahvistettu""",
            "str",
            values=tuple(YesNo),
            strict=True,
            entry=Entry("checked", 10, "no", paper_cm=1.1),
        ),
        Column(
            "action",
            "What was done to the pool.",
            """
        action, action taken, actions, measure, done; massnahme, maßnahme, aktion, erledigt, massnahmen, aktionen;
        mesure, action menee, mesures; actie, maatregel, acties, maatregelen; accion, medida, acciones, medidas;
        toimenpide, toimi, toimenpiteet""",
            "str",
            values=("topped up", "refilled", "moved"),
            words_only=True,
            entry=Entry("action", 16, "topped up", paper_cm=2.0),
        ),
        Column(
            "observer",
            "Who visited. It is on no public page.",
            """
        observer, recorder, recorded by, surveyor, visited by, volunteer, by, who, observer name, name of observer,
        observed by, checked by, seen by; beobachter, beobachterin, erfasser, kartierer, melder, wer, name des
        beobachters, beobachter name, erfasst von, kontrolliert von; observateur, observatrice, qui, nom de l
        observateur, nom observateur; waarnemer, wie, naam waarnemer, naam van de waarnemer; observador,
        observadora, quien, nombre del observador, nombre observador; havainnoija, tekija, kuka, havainnoitsija,
        havaitsija, kavija, tarkastaja""",
            "str",
            words_only=True,
            entry=Entry("observer", 20, None, paper_cm=1.8),
        ),
        Column(
            "note",
            "Anything else. Wear gloves, wash your hands. No work under weak limbs.",
            _NOTE,
            "str",
            words_only=True,
            entry=Entry("note", 40, "write your own visits below", paper_cm=3.0),
        ),
        Column("larvae_low", "The least that the count may mean.", dtype="float64"),
        Column("larvae_high", "The most that the count may mean; infinite where it is open.", dtype="float64"),
        *_FILE,
    ),
    Kind.TREES: (
        *_placed("x", "y"),
        Column(
            "genus",
            "The genus, as a Latin or a common name.",
            "genus; gattung; genre; geslacht; genero; suku",
            "str",
        ),
        Column(
            "species",
            "The species, as a botanical or a common name.",
            """
        species, scientific name, scientificname, botanical name, latin name, taxon, tree species, epithet; art,
        baumart, art botanisch, botanischer name, lateinischer name, baumart lateinisch, baumart botanisch, art
        lateinisch, art wissenschaftlich, art bot, wissenschaftlicher name; espece, essence, nom latin, nom
        scientifique; soort, boomsoort, wetenschappelijke naam; especie, nombre cientifico; laji, puulaji,
        tieteellinen nimi""",
            "str",
        ),
        Column(
            "diameter_cm",
            "Diameter of the trunk at breast height, in centimetres unless the heading names a unit.",
            """
        diameter, dbh, trunk diameter, stem diameter, diameter at breast height, diameter breast height, size class,
        diameter class, dbh class, diameter range, stem diameter class, bhd klasse, durchmesserklasse,
        durchmesser klasse, bhd stufe, starkeklasse, classe de diametre, classe diametre, diameterklassen,
        stamdiameterklasse, clase de diametro, clase diametrica, lapimittaluokka;
        durchmesser, bhd, stammdurchmesser, brusthohendurchmesser, stammdurchmesser bhd; diametre, dhp, diametre du
        tronc; stamdiameter, diameterklasse; diametro, dap, diametro del tronco; lapimitta, rungon lapimitta,
        kokoluokka, rinnankorkeuslapimitta""",
            "float64",
        ),
        Column(
            "girth_cm",
            "Girth of the trunk at breast height; becomes a diameter.",
            """
        girth, circumference, trunk circumference, trunk girth, stem girth, girth at breast height, gbh, girth class,
        umfangklasse, umfangsklasse, classe de circonference, omtrekklasse, clase de perimetro; umfang,
        stammumfang, stu; circonference, circonference du tronc; omtrek, stamomtrek; perimetro, perimetro del
        tronco, circunferencia; ymparysmitta, rungon ymparysmitta""",
        ),
        Column(
            "condition",
            "Whether the tree is alive, or what it has left.",
            """
        condition, status, health, state, vitality, tree status, tree condition, life stage; zustand, vitalitat;
        etat, etat sanitaire, vitalite; toestand, conditie, vitaliteit; estado, condicion, estado fitosanitario;
        kunto, kuntoluokka, tila""",
            "str",
            values=tuple(Condition),
        ),
        Column(
            "felled",
            "The day it was felled; such a tree is set aside unless it left a stump or a log.",
            """
        felled, felled on, date felled, felling date, date of felling, removed, removed on, removal date, date removed,
        cut down on; gefallt, gefallt am, falldatum, fallungsdatum, entfernt am; abattu, abattu le, date d abattage;
        gekapt, gekapt op, kapdatum, geveld op, veldatum; talado, fecha de tala; kaadettu, kaatopaiva, poistopaiva""",
        ),
        *_FILE,
    ),
    Kind.LAND: (
        Column(
            "name",
            "The name of the land, such as that of a park.",
            f"""
        name, land name, site name, park name, site, park, place; flache, ort; lieu, parc; plaats, park naam; lugar,
        parque; paikka, puisto, {_NAME}""",
            "str",
        ),
        Column(
            "kind",
            "What the land is used for.",
            _KIND,
            "str",
        ),
        Column(
            "consent",
            "What its owner has said to a pool; blank: to be asked.",
            """
        consent, permission, agreement, agreed, allowed; zustimmung, erlaubnis, einverstandnis, genehmigung,
        einwilligung; accord,
        consentement, autorisation; toestemming; permiso, consentimiento, autorizacion; lupa, suostumus""",
            "str",
            values=(Consent.YES, Consent.ASK, Consent.NO),
        ),
        Column(
            "until",
            "The last day on which the consent holds.",
            """
        until, valid until, consent until, expires, expiry, expiry date; bis, gultig bis; jusqu au, valable jusqu
        au, expire; tot, geldig tot; hasta, valido hasta; asti, voimassa asti, voimassa""",
        ),
        Column("consent_note", "Why a consent counts as one to be asked for.", dtype="str"),
        Column(
            "private",
            "yes where it is private; blank: yes for gardens, homes and allotments, else no.",
            _PRIVATE,
            "str",
            values=tuple(YesNo),
        ),
        Column(
            "owner",
            "Who owns the land; not on any public page.",
            """
        owner, landowner, land owner, owned by, proprietor; eigentumer, eigentumerin, besitzer; proprietaire; eigenaar;
        propietario; proprietario; omistaja, maanomistaja""",
            "str",
        ),
        _POSITION,
        *_FILE,
    ),
    Kind.COMMITTED: (
        Column(
            "name",
            "The name of the site; it may be blank.",
            f"{_POOL}; {_NAME}, site, station, place",
            "str",
        ),
        *_placed("x", "y", "uncertainty_m"),
        Column(
            "private",
            "yes where it stands in a garden or on other private ground.",
            _PRIVATE,
            "str",
            values=tuple(YesNo),
            strict=True,
        ),
        Column("note", "Anything else.", _NOTE, "str", words_only=True),
        *_FILE,
    ),
    Kind.KEEP_AWAY: (
        Column(
            "kind",
            "What pools are kept away from, such as school, playground, water, road.",
            _KIND,
            "str",
        ),
        Column(
            "name",
            "A name; it is not kept.",
            _NAME,
        ),
        Column(
            "distance_m",
            "How far pools keep from it, in metres; blank: the default of its kind.",
            """
        distance, buffer, keep away, keep away distance; abstand, distanz; ; afstand; distancia; etaisyys""",
            "float64",
        ),
        _POSITION,
        *_placed()[:4],
        *_FILE,
    ),
}


def dtypes(kind: Kind) -> dict[str, str]:
    """The columns of a frame of this kind with their types, in order."""
    return {column.name: column.dtype for column in COLUMNS[kind] if column.dtype}


def filled_in(kind: Kind, names: str) -> Sequence[Column]:
    """The columns of these names (separated by blanks), in their order."""
    named = {column.name: column for column in COLUMNS[kind]}
    return [named[name] for name in names.split()]
