"""Whether a tree record stands, lies or is none: words of six languages."""

from __future__ import annotations

from collections.abc import Sequence

from habitatmap.read.formats.cells import as_text, each_once
from habitatmap.read.headings import fold
from habitatmap.read.rows import Draft
from habitatmap.sentences import count, say
from habitatmap.vocabulary.terms import Condition

# English; German; French; Dutch; Spanish; Finnish
_CONDITIONS = {
    Condition.LIVING: """living, alive, live, good, fair, poor, healthy, excellent, very good, moderate, critical,
        damaged, declining, young, mature,
        veteran, over mature, semi mature, ancient; lebend, lebendig, vital, gut, gesund, mittel, schlecht, geschadigt;
        vivant, bon, moyen, mauvais, sain; levend, goed, matig, slecht, redelijk; vivo, viva, bueno, buena,
        regular, malo, sano;
        elava, hyva, tyydyttava, huono, terve, elossa""",
    Condition.DEAD: """dead, dead tree, standing dead, snag, dead standing, shaft; tot, abgestorben, totholz, stehendes
        totholz,
        abgangig tot;
        mort, arbre mort, morte, chandelle; dood, dode boom, afgestorven; muerto, muerta, arbol muerto, seco;
        kuollut, pystykuollut, kelo""",
    Condition.STUMP: """stump, tree stump, stub; stumpf, baumstumpf, stubben; souche; stronk, boomstronk, stobbe; tocon;
        kanto""",
    Condition.LOG: """log, fallen, fallen log, fallen dead, lying dead, lying dead wood, windthrow, fallen tree;
        liegend, liegendes totholz, stamm liegend, umgesturzt;
        tronc au sol, couche, bois mort au sol; liggend, omgevallen, liggend dood hout; caido, tronco caido, arbol
        caido;
        maapuu, kaatunut, makaava""",
    Condition.NO_TREE: """vacant, vacant site, vacant planting site, planting site, empty, empty pit, empty tree pit,
        removed, felled,
        cut down, gone, no tree, missing, retired, unsuitable, unsuitable site, not suitable, not city planted, stump
        removed, stump ground, stump grinding done, tree removed, removed tree, proposed, proposed site, proposed
        planting site, potential planting site, potential site, new planting site, planting space, planting location,
        future planting, future planting site, to be planted, available site, empty site, empty planting site, site
        only, no tree present; leer, leerer standort, gefallt, entfernt, baum fehlt, fehlt,
        nachpflanzung geplant, leerstandort, standort leer, leere baumscheibe, fehlstelle, baumlucke, zu pflanzen,
        pflanzstandort, nicht mehr vorhanden, stubben entfernt, stumpf entfernt, baumstumpf entfernt, stubben gefrast;
        vide, emplacement vide, abattu, supprime, enleve, emplacement libre, fosse vide,
        a planter, a replanter, arbre abattu, arbre absent, souche arrachee, souche enlevee, dessouche;
        leeg, lege plantplaats, gekapt, geveld, verwijderd, gerooid, lege boomspiegel, leeg plantvak, te planten,
        stobbe verwijderd, stronk verwijderd, stobbe gefreesd, boom ontbreekt;
        vacio, alcorque vacio, talado, eliminado, marra, plaza vacia, plaza libre,
        por plantar, tocon retirado, tocon eliminado; tyhja, tyhja paikka, istutuspaikka, kanto poistettu,
        poistettu, kaadettu, puuttuu""",
}
CONDITION_WORDS = {fold(w): name for name, text in _CONDITIONS.items() for w in text.replace(";", ",").split(",")}
# "vacant site, small" says what "vacant site" says
_BEGINS_NO_TREE = tuple(
    f"{words} "
    for words, means in CONDITION_WORDS.items()
    if means is Condition.NO_TREE and (words == "vacant" or words.endswith(" site"))
)
# words of a cell that says nothing of a tree
UNDEFINED = frozenset(
    fold(w)
    for w in """määrittelemättä, unknown, undefined, not known, not determined, unidentified, other, various,
    none, na, n/a, ?, -,
    unbekannt, unbestimmt, nicht bestimmt, sonstige, inconnu, indéterminé, non défini, autre, onbekend, onbepaald,
    overig,
    desconocido, sin determinar, otro, tuntematon, muu, sp, spp, spec, species, indet,
    tree, baum, arbre, boom, árbol, puu""".split(",")
) | {""}


# the columns that may say what has become of a tree: some registers write it where the species should stand
WHERE_IT_STANDS = ("condition", "site_type", "species", "genus", "common_name")


def condition_of(cell: object) -> Condition | None:
    """The condition that a cell names, None where it names none."""
    text = fold(as_text(cell))
    if text in CONDITION_WORDS:
        return CONDITION_WORDS[text]
    return Condition.NO_TREE if text.startswith(_BEGINS_NO_TREE) else None


def read_conditions(draft: Draft) -> list[str]:
    """A `Condition`, or "" where none is known, for each row, from its condition, else from its name."""
    said, *names = (draft.cells(name) for name in WHERE_IT_STANDS)
    found: list[str] = [condition or "" for condition in each_once(condition_of, said)]
    unread = each_once(lambda cell: cell is not None and not condition_of(cell) and not _says_nothing(cell), said)
    unknown = [as_text(cell) for cell, odd in zip(said, unread, strict=True) if odd]
    # the name that says it counts first
    gone: list[Sequence[Condition | None]] = [each_once(condition_of, cells) for cells in names]
    for conditions in reversed(gone):
        both = zip(conditions, found, strict=True)
        found = [word if word and word is not Condition.LIVING else before for word, before in both]
    if unknown:
        words = ", ".join(dict.fromkeys(unknown[:100]).keys())[:120]
        told = "unknown words for the condition of {trees} ({words}); these trees count as of unknown condition"
        draft.remark(say(told, trees=count(len(unknown), "tree"), words=words))
    return found


def _says_nothing(cell: object) -> bool:
    return fold(as_text(cell)) in UNDEFINED
