"""What people write for a consent, and what it means on a day: a doubt is never read as a yes."""

from __future__ import annotations

import datetime

from habitatmap.errors.why import Why
from habitatmap.read.formats.cells import as_text
from habitatmap.read.headings import fold
from habitatmap.sentences import Sentence, say

# English; German; French; Dutch; Spanish and Portuguese; Italian; Finnish; Scandinavian; Polish. Without accents.
YES = set(
    """yes y true 1 ok x granted given agreed approved allowed signed; ja j erteilt erlaubt zugestimmt genehmigt
    bewilligt; oui o vrai accorde autorise signe; akkoord toegestaan verleend;
    si s sim verdadero concedido permitido autorizado;
    concesso;
    kylla k myonnetty sallittu; godkand godkendt; tak zgoda""".replace(";", " ").split()
)
NO = set(
    """no n false 0 refused denied never withdrawn forbidden; nein verweigert abgelehnt verboten widerrufen;
    non faux refuse interdit; nee geweigerd verboden; nao falso denegado rechazado prohibido; negato rifiutato;
    ei kielletty evatty; nej avslag nei; nie odmowa""".replace(";", " ").split()
)
ASK = set(
    """ask asked pending unknown open maybe tbd todo requested; anfragen angefragt fragen offen unbekannt unklar
    ausstehend; demander demande attente inconnu; vragen gevraagd aangevraagd onbekend;
    preguntar pendiente desconocido; chiedere;
    kysy kysyttava kysytty auki; fraga sporg; zapytac""".replace(";", " ").split()
)
# behind a yes: a condition, or that it is over; behind a no: that somebody minds nothing, or said nothing
IN_DOUBT = set(
    """if unless provided providing but except only subject when after once until principle revoked withdrawn expired
    cancelled died sold moved lapsed; wenn falls sofern aber nur erst ausser bis vorbehalt bedingung grundsatzlich
    abgelaufen verkauft verstorben; si sauf mais seulement apres jusqu jusque condition conditions principe expire
    vendu decede revoque retire; mits maar tenzij behalve alleen vanaf tot voorwaarde verlopen ingetrokken verkocht
    overleden""".replace(";", " ").split()
)
NO_WHAT = set("objection objections problem problems issue issues concern concerns answer reply response".split())

NOT_STATED = Sentence("consent not stated")


def consent_of(given: object, until: datetime.date | Why | None, as_of: datetime.date) -> tuple[str, Sentence]:
    """("yes" | "ask" | "no", why it is an "ask"): a yes that ran out before `as_of`, or may have, is none."""
    word = word_of(given)
    if word == "":
        return "ask", NOT_STATED
    if word == "unread":
        return "ask", say('consent "{word}" is neither yes, ask nor no', word=as_text(given))
    if word == "yes" and isinstance(until, datetime.date) and until < as_of:
        return "ask", say("consent expired {day}", day=until)
    if word == "yes" and isinstance(until, Why):
        return "ask", say("until which day the consent holds is not clear: {why}", why=until.reason)
    return word, Sentence("")


def word_of(given: object) -> str:
    """ "yes", "no", "ask", "" for a blank cell, or "unread"; by the first word, where none behind it casts doubt."""
    text = as_text(given)
    words = fold(text).split()
    if not words or words in (["na"], ["n", "a"]):
        return "ask" if "?" in text else "" if words or not text.strip(" -_./\u2013\u2014") else "unread"
    if "?" in text or (words[0] in YES and any(word in NO and word not in YES for word in words[1:])):
        return "ask"  # a question, or "yes/no" of a form that nobody filled in
    said = {meaning for meaning, known in (("yes", YES), ("no", NO), ("ask", ASK)) if words[0] in known}
    said |= {"ask"} if "ask" not in said and any(w in ASK for w in words) else set()
    if "ask" in said:
        return "ask"
    doubtful = {"yes": IN_DOUBT, "no": NO_WHAT}
    if any(word in doubtful[meaning] for meaning in said for word in words[1:]):
        return "unread"
    return said.pop() if len(said) == 1 else "unread"
