"""What people write for the state of a suggested site, in the languages of the workbooks."""

from __future__ import annotations

from functools import cache

from habitatmap.read.consent_words import word_of
from habitatmap.read.formats.cells import as_text
from habitatmap.read.headings import fold
from habitatmap.vocabulary.catalogues import LANGUAGES, word_in
from habitatmap.vocabulary.terms import SiteState

# English; German; French; Dutch. Without accents.
_ALSO = {
    SiteState.TO_ASK: "ask, open, new, todo; fragen, anfragen, offen, neu; demander, ouvert; vragen, open, nieuw",
    SiteState.ASKED: "requested, pending; angefragt, gefragt; demande, demandee, en attente; gevraagd, aangevraagd",
    SiteState.AGREED: "yes, granted, approved, consented, accepted; ja, erlaubt, genehmigt, zugestimmt, einverstanden; "
    "oui, accorde, accordee, accepte, d accord; akkoord, toegestaan, toegezegd",
    SiteState.REFUSED: "no, denied, declined; nein, verweigert, verboten; non, refuse, interdit; nee, "
    "verboden, afgewezen",
    SiteState.SET_OUT: "installed, done, in place; installiert, ausgebracht, steht, erledigt; installe, pose, "
    "en place, fait; geinstalleerd, uitgezet, staat, klaar",
    SiteState.GIVEN_UP: "dropped, abandoned, cancelled, withdrawn; verworfen, gestrichen; abandonne, annule; "
    "opgegeven, vervallen",
}


@cache
def _words() -> dict[str, SiteState]:
    also = {fold(word): state for state, words in _ALSO.items() for word in words.replace(";", ",").split(",")}
    return also | {fold(word_in(language, state)): state for language in LANGUAGES for state in SiteState}


def state_of(cell: object) -> SiteState | None:
    """The state that a cell says, "to ask" for a blank one; None where it says none of them, or asks."""
    text = as_text(cell).strip()
    if not text:
        return SiteState.TO_ASK
    if "?" in text:
        return None
    said = {"yes": SiteState.AGREED, "no": SiteState.REFUSED}  # in whichever of the languages of consents
    return _words().get(fold(text)) or (said.get(word_of(text)) if len(fold(text)) > 1 else None)
