"""Tables of visits -> one checked frame. A blank outcome, a dry or a missing pool is never "none seen"."""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import suppress

import numpy as np
import pandas as pd
from pyproj import CRS

from habitatmap.errors import CrsError
from habitatmap.errors.why import Reason, Why
from habitatmap.geo.crs import WGS84
from habitatmap.read.conflicts import alike_visits, visits_elsewhere
from habitatmap.read.coordinates import NO_PLACE, Point, Refusal
from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.headings import fold
from habitatmap.read.ledger import Ledger
from habitatmap.read.points import Places, points_of
from habitatmap.read.rows import PLACE_COLUMNS, Columns, Draft, close, gather, open_drafts, set_repeats_aside, shaped
from habitatmap.read.values import Count, name_key, name_of, nearest_name, read_counts
from habitatmap.vocabulary.columns import dtypes
from habitatmap.vocabulary.kinds import Kind
from habitatmap.vocabulary.terms import Outcome

VISITS = dtypes(Kind.VISITS)

# English; German; French; Dutch; Spanish; Finnish
_WORDS = {
    Outcome.LARVAE: """larvae, larva, larvae seen, larvae found, larvae present, seen, found, present, detected,
        maggots, maggots seen, rat tailed maggots, rat tailed larvae, with larvae, positive, yes, true;
        larven, larve, larven gesehen, larven gefunden, larven vorhanden, mit larven,
        gesehen, gefunden, vorhanden, positiv, ja, nachweis;
        larves, larves vues, larves presentes, larves trouvees, vu, vue, vues, trouve, presence,
        presentes, oui; larven gezien, larven gevonden, larven aanwezig,
        gezien, gevonden, aanwezig;
        larvas, larvas vistas, con larvas, larvas presentes, visto, vistas, encontradas, presente, presentes, si;
        toukkia, toukat, toukka, toukkia nahty, toukkia loytyi, nahty, loytyi, kylla""",
    Outcome.NONE_SEEN: """none seen, none, no larvae, no larvae seen, no larvae found, nothing seen, nothing, nothing
        found, not seen,
        none found, absent, not detected, notdetected, not found, negative, no, false, zero;
        keine, keine larven, keine gesehen, keine larven gesehen, nichts, nichts gesehen, nichts gefunden,
        negativ, nein,
        kein nachweis; aucune, aucune larve, aucune vue, rien, rien vu, absence, absentes, non, pas de larves;
        geen, geen larven, geen gezien, niets, niets gezien, afwezig, nee;
        ninguna, ninguna vista, ninguna larva, sin larvas, nada, ausente, ausentes;
        ei toukkia, ei nahty, ei havaittu, ei mitaan, ei loytynyt, ei""",
    Outcome.DRY: """dry, dried out, dried up, dry pool, no water, empty; trocken, ausgetrocknet, vertrocknet, kein
        wasser, leer;
        sec, seche, a sec, asseche, sans eau, vide; droog, uitgedroogd, drooggevallen, geen water, leeg;
        seco, seca, sin agua, vacio; kuiva, kuivunut, ei vetta, tyhja""",
    Outcome.FROZEN: """frozen, frozen over, iced over, ice; gefroren, zugefroren, vereist, eis; gele, gelee, glace;
        bevroren, dichtgevroren, ijs;
        helado, helada, congelado, congelada, hielo; jaassa, jaatynyt, jaa""",
    Outcome.GONE: """gone, missing, lost, removed, stolen, vanished, destroyed, disappeared; weg, verschwunden, fehlt,
        entfernt,
        gestohlen, verloren, zerstort; disparu, disparue, perdu, vole, detruit, absent du site, enleve;
        verdwenen, kwijt, gestolen, vernield; desaparecido, desaparecida, perdido, robado, destruido, falta;
        kadonnut, poissa, varastettu, havinnyt, tuhoutunut""",
    Outcome.NOT_REACHED: """not reached, not visited, no access, not accessible, inaccessible, could not reach, locked,
        not checked,
        nobody home, skipped; nicht erreicht, nicht erreichbar, nicht besucht, kein zugang,
        nicht zuganglich, unzuganglich, verschlossen,
        nicht kontrolliert; non atteint, pas atteint, non visite, pas d acces, inaccessible, ferme;
        niet bereikt, niet bereikbaar, onbereikbaar, niet bezocht, geen toegang, ontoegankelijk, gesloten;
        no alcanzado, no visitado, sin acceso,
        inaccesible, cerrado; ei saavutettu, ei tavoitettu, ei kayty, ei paassyt, ei paasty, ei paasya, lukittu""",
}
OUTCOME_WORDS = {fold(word): outcome for outcome, text in _WORDS.items() for word in text.replace(";", ",").split(",")}
# words of a cell of larvae or a column of yes and no that say nothing about what was there
_UNKNOWN = frozenset(
    {"", "?", "-", "na", "n a", "unknown", "unbekannt", "inconnu", "onbekend", "desconocido", "tuntematon"}
)


def read_visits(
    tables: Sequence[Table], pools: pd.DataFrame, stated: Stated, ledger: Ledger, crs: CRS | None = None
) -> pd.DataFrame:
    """Visits as `VISITS` has them, ordered by pool, date, file and row; pool names as the frame `pools` writes them.

    `crs` is the system of the pools' x and y: with it, coordinates of the visits themselves are compared with them.
    `larvae` is a number only where the count is exact; its bounds are larvae_low and larvae_high (inf = open).
    Visits after the day of the run are no fault.
    """
    drafts = open_drafts(Kind.VISITS, tables, stated, ledger)
    lost = {name_key(entry.about) for entry in ledger.entries("pools")} - set(map(name_key, pools["pool"])) - {""}
    columns = [_columns(draft, pools, lost, _own_places(draft, stated, crs)) for draft in drafts]
    frame = set_repeats_aside(gather(drafts, columns), drafts)
    close(drafts)
    _tell_early(frame, pools, ledger)
    alike_visits(frame, drafts, ledger)
    visits_elsewhere(frame, pools, ledger)
    return shaped(frame, VISITS, ("pool", "date", "file", "row"))


def _tell_early(frame: pd.DataFrame, pools: pd.DataFrame, ledger: Ledger) -> None:
    """Remarks on visits before their pool was set out or after it was removed: a date may be of another year."""
    if frame.empty:
        return
    dates, known = pd.to_datetime(frame["date"]), pools.drop_duplicates("pool").set_index("pool")
    for wrong, what in (
        (dates < frame["pool"].map(known["set_out"]), "before their pool was set out"),
        (dates > frame["pool"].map(known["removed"]), "after their pool was removed"),
    ):
        if wrong.any():
            first = frame[wrong].iloc[0]
            ledger.remark(
                f"{wrong.sum()} visits are dated {what} (for instance {first['pool']}, "
                f"{first['file']} row {first['row']}); check both dates"
            )


def _own_places(draft: Draft, stated: Stated, crs: CRS | None) -> Places:
    """The visits' own coordinates in the system of the pools; NaN where there are none."""
    points: list[Point | Refusal] = [NO_PLACE] * len(draft.table)
    if crs is not None and any(draft.has(name) for name in PLACE_COLUMNS):
        # a visit needs no place of its own, so that metres of an unknown system are no fault
        with suppress(CrsError):
            points = points_of(draft.table, draft.headings, stated)
    return Places.of(points, crs or WGS84)


def _columns(draft: Draft, pools: pd.DataFrame, lost: set[str], own: Places) -> Columns:
    """The columns of one table. `lost`: keys of pools that were set aside; `own`: the visits' own places."""
    given = [name_of(cell) for cell in draft.cells("pool")]
    names = {name_key(name): name for name in pools["pool"]}
    for at, name in enumerate(given):
        if not name:
            draft.refuse(at, "pool", "", Why.NO_POOL)
        elif name_key(name) in lost:
            draft.refuse(at, "pool", name, Why.POOL_ASIDE)
        elif name_key(name) not in names:
            near = _near(name, list(names.values()), own.x[at], own.y[at], pools)
            draft.refuse(at, "pool", name, Why.UNKNOWN_POOL.of(near=near))
    dates = draft.dates("date")
    for at, date in enumerate(dates):
        if date is None:  # a date that cannot be read is told already
            draft.refuse(at, "date", "", Why.NO_DATE)
    counts = read_counts(draft.cells("larvae"))
    unread = [
        count is None and fold(as_text(cell)) not in OUTCOME_WORDS
        for count, cell in zip(counts, draft.cells("larvae"), strict=True)
    ]
    draft.tell_unread("larvae", unread, "the count is not known")
    known = [count or Count(math.nan, math.nan, math.nan) for count in counts]
    return {
        "pool": [names.get(name_key(name), name) for name in given],
        "date": dates,
        "checked": draft.yes_or_no("checked"),
        "outcome": _outcomes(draft, counts),
        "larvae": [count.exact for count in known],
        "larvae_low": [count.low for count in known],
        "larvae_high": [count.high for count in known],
        "_x": own.x,
        "_y": own.y,
        "_off": own.uncertainty_m,
        **{name: draft.texts(name) for name in ("taxon", "action", "observer", "note")},
    }


def _near(name: str, known: Sequence[str], x: float, y: float, pools: pd.DataFrame) -> str:
    """What may be meant by a name that no pool has: the most alike one, and the pool nearest to the visit's place."""
    alike = nearest_name(name, known)
    said = f"; the nearest is {alike}" if alike else ""
    if len(pools) and np.isfinite(x):
        apart = np.hypot(pools["x"].to_numpy() - x, pools["y"].to_numpy() - y)
        at = int(np.argmin(apart))
        said += f"; its coordinates lie {apart[at]:.0f} m from {pools['pool'].iloc[at]}"
    return said


def _outcomes(draft: Draft, counts: Sequence[Count | None]) -> list[str]:
    """The outcome of each row; rows without a clear one are set aside."""
    cells = draft.cells("outcome")
    if not draft.has("outcome"):
        # a column "larvae: yes or no" says dry and gone as well
        cells = [c if as_text(c) and fold(as_text(c)) in OUTCOME_WORDS else None for c in draft.cells("larvae")]
    digits = {as_text(c) for c in cells if c is not None and as_text(c).replace(".", "").isdigit()}
    seen_or_not = digits <= {"0", "1"} and len(digits) == 2
    outcomes = []
    for at, (cell, larvae, count) in enumerate(zip(cells, draft.cells("larvae"), counts, strict=True)):
        # a 0 beside a blank outcome may be what the form had there, a word such as none was written by somebody
        in_words = isinstance(larvae, str) and not any(c.isdigit() for c in larvae)
        outcome, fault = _outcome(cell, count, seen_or_not, stated=draft.has("outcome") and not in_words)
        if fault:
            column = "outcome" if cell is not None or larvae is None else "larvae"
            draft.refuse(at, column, cell if column == "outcome" else larvae, fault)
        outcomes.append(outcome or "")
    return outcomes


def _outcome(
    cell: object, count: Count | None, seen_or_not: bool, stated: bool
) -> tuple[Outcome | None, Reason | None]:
    """An outcome, or None and why there is none. `stated`: whether a 0 alone is no outcome, as there is a column."""
    text = as_text(cell).strip()
    outcome: Outcome | None
    if isinstance(cell, bool):
        outcome = Outcome.LARVAE if cell else Outcome.NONE_SEEN
    elif text.isdigit():
        if not seen_or_not:
            return None, Why.CODED_OUTCOME
        outcome = Outcome.LARVAE if text == "1" else Outcome.NONE_SEEN
    elif text and fold(text) not in _UNKNOWN:
        outcome = None if "?" in text else OUTCOME_WORDS.get(fold(text))
        if not outcome:
            return None, Why.ODD_OUTCOME
    elif count is None:
        return None, Why.NO_OUTCOME
    elif count.low >= 1:
        return Outcome.LARVAE, None
    elif count.high == 0:
        return (None, Why.NO_OUTCOME) if stated else (Outcome.NONE_SEEN, None)
    else:
        return None, Why.DOUBTFUL_COUNT
    if count is not None:
        wrong = count.high == 0 if outcome is Outcome.LARVAE else count.low >= 1
        if wrong:
            number = as_text(count.exact) or f"at least {as_text(count.low)}"
            return None, Why.CONTRADICTION.of(outcome=outcome, count=number)
    return outcome, None
