"""The words in which people say what a visit came to, and the marks that stand for yes and no."""

from __future__ import annotations

from habitatmap.read.headings import fold
from habitatmap.vocabulary.terms import Outcome

# English; German; French; Dutch; Spanish; Finnish; Polish; Italian; Swedish; Portuguese
_WORDS = {
    Outcome.LARVAE: """larvae, larva, larvae seen, larvae found, larvae present, seen, found,
        present, detected, maggots,
        maggots seen, rat tailed maggots, rat tailed larvae, with larvae, positive, yes, true;
        larven, larve, larven gesehen, larven gefunden, larven vorhanden, mit larven, gesehen,
        gefunden, vorhanden, positiv, ja, nachweis; larves, larves vues, larves presentes, larves
        trouvees, vu, vue, vues, trouve, presence, presentes, oui; larven gezien, larven gevonden,
        larven aanwezig, gezien, gevonden, aanwezig; larvas, larvas vistas, con larvas, larvas
        presentes, visto, vistas, encontradas, presente, presentes, si; toukkia, toukat, toukka,
        toukkia nahty, toukkia loytyi, nahty, loytyi, kylla; larwy, sa larwy, z larwami, larwa,
        znaleziono, obecne, tak; larve viste, larve presenti, trovate, presenti, con larve, sì;
        larver, larver sedda, larver hittade, finns, sedda; sim, larvas vistas; あり, いた, 有, 有り, 幼虫あり""",
    Outcome.NONE_SEEN: """none seen, none, no larvae, no larvae seen, no larvae found,
        nothing seen, nothing, nothing found,
        not seen, water but no larvae, water but nothing in it, only water, nil, none found, absent,
        not detected, notdetected, not found, negative, no, false, zero; keine, keine larven, ohne
        befund, nichts drin, keine gesehen, keine larven gesehen, nichts, nichts gesehen, nichts
        gefunden, negativ, nein, kein nachweis; aucune, aucune larve, aucune vue, rien, rien vu,
        absence, absentes, non, pas de larves; geen, geen larven, geen gezien, niets, niets gezien,
        afwezig, nee; ninguna, ninguna vista, ninguna larva, sin larvas, nada, ausente, ausentes; ei
        toukkia, ei nahty, ei havaittu, ei mitaan, ei loytynyt, ei; brak, brak larw, bez larw, nie
        ma, nic, nie znaleziono, nie; nessuna, nessuna larva, niente, assenti, assente, nessuna
        vista, senza larve; inga, inga larver, inga sedda, inget, ingenting, nej; nenhuma, nenhuma
        larva, sem larvas, não; なし, いない, 無, 無し, 幼虫なし""",
    Outcome.DRY: """dry, dried out, dried up, bone dry, dry pool, no water; trocken, ausgetrocknet,
        vertrocknet, kein
        wasser; sec, seche, a sec, asseche, sans eau; droog, uitgedroogd, drooggevallen, geen water;
        seco, seca, sin agua; kuiva, kuivunut, ei vetta; suchy, sucho, sucha, wyschniety, wyschlo,
        bez wody, brak wody; secco, secca, asciutto, asciutta, senza acqua; torr, torrt, uttorkad,
        inget vatten; sem agua; 乾燥, 水なし, 干上がり""",
    Outcome.FROZEN: """frozen, frozen over, iced over, ice; gefroren, zugefroren, vereist,
        eis; gele, gelee, glace;
        bevroren, dichtgevroren, ijs; helado, helada, congelado, congelada, hielo; jaassa, jaatynyt,
        jaa; zamarzniety, zamarzniete, lod; gelato, gelata, ghiacciato, ghiaccio, congelato; frusen,
        fruset, is, isbelagd; 凍結""",
    Outcome.GONE: """gone, missing, pool is missing, pool missing, lost, removed, stolen, vanished, destroyed,
        disappeared; weg, verschwunden, fehlt, entfernt, gestohlen, verloren, zerstort; disparu,
        disparue, perdu, vole, detruit, absent du site, enleve; verdwenen, kwijt, gestolen,
        vernield; desaparecido, desaparecida, perdido, robado, destruido, falta; kadonnut, poissa,
        varastettu, havinnyt, tuhoutunut; zniknal, zniknelo, skradziony, zniszczony, brak zbiornika,
        usuniety; sparito, sparita, scomparso, rubato, distrutto, perso; borta, forsvunnen, stulen,
        forstord, saknas; 紛失, 消失""",
    Outcome.NOT_REACHED: """not reached, not visited, no access, not accessible, inaccessible,
        could not reach, locked, not
        checked, nobody home, skipped, didn t get there, did not get there, couldn t get there,
        could not get there, gate locked, not looked at, not looked, could not look, no time; nicht
        erreicht, nicht erreichbar, nicht besucht, kein zugang, nicht zuganglich, unzuganglich,
        verschlossen, nicht kontrolliert; non atteint, pas atteint, non visite, pas d acces,
        inaccessible, ferme; niet bereikt, niet bereikbaar, onbereikbaar, niet bezocht, geen
        toegang, ontoegankelijk, gesloten; no alcanzado, no visitado, sin acceso, inaccesible,
        cerrado; ei saavutettu, ei tavoitettu, ei kayty, ei paassyt, ei paasty, ei paasya, lukittu;
        nie dotarto, niedostepny, brak dostepu, nie odwiedzono; non raggiunto, non visitato,
        inaccessibile, chiuso; ej nadd, inte nadd, ej besokt, otillganglig""",
}
OUTCOME_WORDS = {fold(word): outcome for outcome, text in _WORDS.items() for word in text.replace(";", ",").split(",")}
# no water to some, no larvae to others
EMPTY = frozenset(map(fold, "empty leer vide leeg vacío vacio tyhjä pusty pusta puste vuoto vuota tom tomt".split()))
# words of a cell of larvae or a column of yes and no that say nothing about what was there
UNKNOWN = frozenset(
    {"", "?", "-", "na", "n a", "unknown", "unbekannt", "inconnu", "onbekend", "desconocido", "tuntematon"}
    | {"nieznany", "sconosciuto", "okand"}
)
# what stands for yes and for no in a column of marks: yes, ja, oui, si, kylla, tak, true; no, nein, faux, ei, false
YES_MARKS = frozenset([*"yjoskt+✓✔☑", "1"])
NO_MARKS = frozenset([*"nfe✗✘☒", "0"])
CROSS = "x"
