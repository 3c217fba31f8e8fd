"""The words that people head their columns with, in six languages; `headings.py` says how they are compared.

To add one, write it behind the others of its name: small letters, no accents; it may not stand under two names.
"""

from __future__ import annotations

# English; German; French; Dutch; Spanish; Finnish. The order within a name is the order of preference.
_PLACE = {
    "x": """x, easting, east, eastings, x coord, x coordinate, coord x, xcoord, point x, utm e, utm east, utm easting,
        utm x, e; rechtswert, ostwert, x koordinate, x wert; coordonnee x; x coordinaat, oosting; coordenada x; ita,
        itakoordinaatti, x koordinaatti""",
    "y": """y, northing, north, northings, y coord, y coordinate, coord y, ycoord, point y, utm n, utm north, utm
        northing, utm y, n; hochwert, nordwert, y koordinate, y wert; coordonnee y; y coordinaat, noording; coordenada
        y; pohjoinen, pohjoiskoordinaatti, y koordinaatti""",
    "lon": """
        lon, longitude, long, lng, decimal longitude, gps longitude, gps lon, wgs84 lon, longitude wgs84, lon dd;
        langengrad, laengengrad, lange, geogr lange, geographische lange, ostliche lange; ; lengtegraad, lengte;
        longitud, longitud decimal; pituusaste, pituus""",
    "lat": """lat, latitude, decimal latitude, gps latitude, gps lat, wgs84 lat, latitude wgs84, lat dd; breitengrad,
        breite, geogr breite, geographische breite, nordliche breite; ; breedtegraad, breedte; latitud, latitud
        decimal; leveysaste, leveys""",
    "position": """
        position, coordinates, coordinate, coords, lat lon, latlon, lat long, lat lng, latitude longitude, lon lat,
        gps, gps position, gps coordinates, gps koordinaten, wkt, ewkt, wkb, geom, geometry, the geom, geojson,
        point, grid reference, grid ref, gridref, os grid reference, os grid ref, ngr, osgb, mgrs, location, grid,
        grid square, os grid, irish grid, irish grid reference, irish grid ref, utm, plus code, plus codes, pluscode,
        map link;
        koordinaten, koordinate, lage, geometrie; coordonnees, coordonnees gps, emplacement; coordinaten, locatie,
        positie; coordenadas, ubicacion, posicion; koordinaatit, sijainti, geometria""",
    "system": """
        geodetic datum, geodeticdatum, coordinate system, coordinate reference system, reference system, crs, epsg,
        epsg code, srid, srs, utm zone; koordinatensystem, bezugssystem; systeme de coordonnees; coordinatenstelsel;
        sistema de coordenadas, huso utm; koordinaattijarjestelma""",
    "uncertainty_m": """
        uncertainty, accuracy, gps accuracy, horizontal accuracy, position accuracy, coordinate uncertainty,
        coordinate uncertainty in meters, coordinateuncertaintyinmeters, precision, gps precision, gps error;
        genauigkeit, messgenauigkeit, gps genauigkeit, unsicherheit; incertitude; nauwkeurigheid; exactitud,
        incertidumbre; tarkkuus, epavarmuus""",
}
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
_NAME = """
        name, id, label, code, number, nr, no; bezeichnung, nummer, kennung; nom, numero, identifiant; naam; nombre,
        codigo; nimi, tunnus"""
_KIND = """kind, type, land use, use, category, class; art, typ, nutzung, nutzungsart, kategorie; usage, utilisation,
        categorie; soort, gebruik; tipo, uso, categoria; tyyppi, kaytto, luokka, laji"""

WORDS: dict[str, dict[str, str]] = {
    "pools": {
        "pool": f"{_POOL}; {_NAME}, site, station",
        **_PLACE,
        "set_out": """
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
        "removed": """
        removed, date removed, removed on, taken in, retrieved, withdrawn, end, end date, removal date, date of
        removal; entfernt, entfernt am, abgebaut, abgebaut am, eingeholt, datum entfernt, abbau, abbaudatum; retire,
        retire le, enleve, enleve le, date de retrait; verwijderd, verwijderd op, weggehaald, datum verwijderd;
        retirado, retirada, fecha de retirada; poistettu, poistopaiva, poistopvm""",
        "private": _PRIVATE,
        "container": """
        container, container type, vessel, type; gefass, gefäß, behalter, behaltertyp, typ; recipient, contenant;
        houder, bak; recipiente, tipo; astia, astian tyyppi""",
        "filling": """
        filling, filled with, content, contents; fullung, inhalt; remplissage, contenu; vulling, inhoud; relleno,
        contenido; taytto, sisalto""",
        "volume_l": """
        volume, litres, liters, volume litres, volume liters, capacity, gallons; volumen, liter, fassungsvermogen,
        inhalt l, inhalt liter, inhalt in l, inhalt in liter, fullmenge; volume en litres, contenance, capacite,
        contenu l, contenu litres; volume liter, inhoud l, inhoud liter, inhoud in liter; litros, capacidad,
        contenido l, contenido litros; tilavuus, litraa""",
        "shade": """
        shade, shading, shaded, light; schatten, beschattung; ombre, ombrage; schaduw, beschaduwing; sombra; varjo,
        varjoisuus""",
        "host": """
        host, owner, landowner, contact, keeper; gastgeber, gastgeberin, besitzer, eigentumer, ansprechpartner;
        hote, proprietaire; gastheer, eigenaar; anfitrion, propietario; isanta, omistaja, yhteyshenkilo""",
        "note": _NOTE,
    },
    "visits": {
        "pool": f"{_POOL}, site, id",
        **_PLACE,
        "date": """date, visit date, date of visit, visited, visited on, survey date, event date, eventdate, day, date
        observed, observation date, date recorded, recorded on, check date, inspection date, date inspected,
        sampling date; datum, besuchsdatum, kontrolldatum, besucht am, tag, datum der kontrolle, datum kontrolle,
        kontrolle, kontrolle am, datum des besuchs, besuch, besuch am, begehung, begehungsdatum; date de visite,
        date de la visite, jour, date visite, date du controle, date de controle, date controle, date du passage,
        passage, date d observation, date observation; bezoekdatum, datum bezoek, dag, controledatum, datum
        controle, waarnemingsdatum, datum waarneming; fecha, fecha de visita, dia, fecha de la visita, fecha visita,
        fecha de observacion, fecha de control; paiva, pvm, paivamaara, kayntipaiva, kayntipvm, havaintopaiva,
        havaintopvm, tarkastuspaiva, paivays""",
        "outcome": """
        outcome, result, finding, findings, state, status, presence, occurrence status, seen; ergebnis, befund,
        resultat, zustand; constat, etat; resultaat, uitkomst, bevinding; resultado, hallazgo, estado; tulos,
        havainto, loydos""",
        "larvae": """
        larvae, larvae count, larva count, larval count, number of larvae, no of larvae, n larvae, larvae seen,
        total larvae, count, individual count, number, larvae found, larvae present, presence of larvae, larvae yes
        no; larven, anzahl larven, larvenzahl, anzahl, larven anzahl, anzahl der larven, larven gesehen, larven
        gefunden, larven vorhanden, larven ja nein; larves, nombre de larves, nombre, nombre de larves vues, nb
        larves, nb de larves, larves vues, presence de larves, larves presentes; aantal larven, aantal, larven
        aanwezig, larven gezien; larvas, numero de larvas, cantidad, n de larvas, no de larvas, no larvas, num
        larvas, numero larvas, presencia de larvas, larvas presentes; toukat, toukkia, toukkien maara, toukkamaara,
        lukumaara, maara, toukkien lkm, toukkien lukumaara, lkm, kpl""",
        "taxon": """
        taxon, species, scientific name, scientificname; art; espece, nom scientifique; soort; especie; laji,
        taksoni""",
        "checked": """
        checked, verified, confirmed, species checked, identified; gepruft, bestatigt, bestimmt; verifie, confirme;
        gecontroleerd, bevestigd; verificado, comprobado, confirmado; tarkistettu, vahvistettu""",
        "action": """
        action, action taken, actions, measure, done; massnahme, maßnahme, aktion, erledigt, massnahmen, aktionen;
        mesure, action menee, mesures; actie, maatregel, acties, maatregelen; accion, medida, acciones, medidas;
        toimenpide, toimi, toimenpiteet""",
        "observer": """
        observer, recorder, recorded by, surveyor, visited by, volunteer, by, who, observer name, name of observer,
        observed by, checked by, seen by; beobachter, beobachterin, erfasser, kartierer, melder, wer, name des
        beobachters, beobachter name, erfasst von, kontrolliert von; observateur, observatrice, qui, nom de l
        observateur, nom observateur; waarnemer, wie, naam waarnemer, naam van de waarnemer; observador,
        observadora, quien, nombre del observador, nombre observador; havainnoija, tekija, kuka, havainnoitsija,
        havaitsija, kavija, tarkastaja""",
        "note": _NOTE,
    },
    "trees": {
        **_PLACE,
        "genus": "genus; gattung; genre; geslacht; genero; suku",
        "species": """
        species, scientific name, scientificname, botanical name, latin name, taxon, tree species, epithet; art,
        baumart, art botanisch, botanischer name, lateinischer name, baumart lateinisch, baumart botanisch, art
        lateinisch, art wissenschaftlich, art bot, wissenschaftlicher name; espece, essence, nom latin, nom
        scientifique; soort, boomsoort, wetenschappelijke naam; especie, nombre cientifico; laji, puulaji,
        tieteellinen nimi""",
        "diameter_cm": """
        diameter, dbh, trunk diameter, stem diameter, diameter at breast height, diameter breast height, size class,
        diameter class, dbh class, diameter range, stem diameter class, bhd klasse, durchmesserklasse,
        durchmesser klasse, bhd stufe, starkeklasse, classe de diametre, classe diametre, diameterklassen,
        stamdiameterklasse, clase de diametro, clase diametrica, lapimittaluokka;
        durchmesser, bhd, stammdurchmesser, brusthohendurchmesser, stammdurchmesser bhd; diametre, dhp, diametre du
        tronc; stamdiameter, diameterklasse; diametro, dap, diametro del tronco; lapimitta, rungon lapimitta,
        kokoluokka, rinnankorkeuslapimitta""",
        "girth_cm": """
        girth, circumference, trunk circumference, trunk girth, stem girth, girth at breast height, gbh, girth class,
        umfangklasse, umfangsklasse, classe de circonference, omtrekklasse, clase de perimetro; umfang,
        stammumfang, stu; circonference, circonference du tronc; omtrek, stamomtrek; perimetro, perimetro del
        tronco, circunferencia; ymparysmitta, rungon ymparysmitta""",
        "condition": """
        condition, status, health, state, vitality, tree status, tree condition, life stage; zustand, vitalitat;
        etat, etat sanitaire, vitalite; toestand, conditie, vitaliteit; estado, condicion, estado fitosanitario;
        kunto, kuntoluokka, tila""",
        "felled": """
        felled, felled on, date felled, felling date, date of felling, removed, removed on, removal date, date removed,
        cut down on; gefallt, gefallt am, falldatum, fallungsdatum, entfernt am; abattu, abattu le, date d abattage;
        gekapt, gekapt op, kapdatum, geveld op, veldatum; talado, fecha de tala; kaadettu, kaatopaiva, poistopaiva""",
    },
    "land": {
        "name": f"""
        name, land name, site name, park name, site, park, place; flache, ort; lieu, parc; plaats, park naam; lugar,
        parque; paikka, puisto, {_NAME}""",
        "kind": _KIND,
        "consent": """
        consent, permission, agreement, agreed, allowed; zustimmung, erlaubnis, einverstandnis, genehmigung,
        einwilligung; accord,
        consentement, autorisation; toestemming; permiso, consentimiento, autorizacion; lupa, suostumus""",
        "until": """
        until, valid until, consent until, expires, expiry, expiry date; bis, gultig bis; jusqu au, valable jusqu
        au, expire; tot, geldig tot; hasta, valido hasta; asti, voimassa asti, voimassa""",
        "private": _PRIVATE,
        "owner": """
        owner, landowner, land owner, owned by, proprietor; eigentumer, eigentumerin, besitzer; proprietaire; eigenaar;
        propietario; proprietario; omistaja, maanomistaja""",
        "position": _PLACE["position"],
    },
    "committed": {
        "name": f"{_POOL}; {_NAME}, site, station, place",
        **_PLACE,
        "private": _PRIVATE,
        "note": _NOTE,
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
