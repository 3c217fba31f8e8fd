"""Land: whose ground it is, and whether a pool may stand on it.

A doubt is never read as a yes: a blank or unreadable consent, and one that has run out, mean that somebody must ask.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence

import geopandas as gpd
import pandas as pd
import shapely
from pyproj import CRS

from habitatmap.read.consent_words import NOT_STATED, consent_of
from habitatmap.read.consents import Agreed, Consents, agreed_in, memory_of
from habitatmap.read.formats.cells import each_once
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.headings import fold
from habitatmap.read.land_ids import land_ids
from habitatmap.read.ledger import Ledger, in_row, some
from habitatmap.read.rows import OBJECT, Columns, Draft, close, layer
from habitatmap.read.shapes import read_layers
from habitatmap.read.values import name_of, yes_no
from habitatmap.sentences import Sentence, count, hectares, say
from habitatmap.vocabulary.columns import dtypes
from habitatmap.vocabulary.kinds import Kind

LAND = dtypes(Kind.LAND)

# neighbours' outlines share a sliver often enough; ground of less than this is not told (common practice, no source)
SHARED_M2 = 10.0

# words of a kind of land that is somebody's home ground; a word of the second set beside them opens it to all
HOME = set(
    """garden gardens home homes house houses residential yard backyard allotment allotments;
    garten hausgarten privatgarten vorgarten wohnen wohngebiet wohnflache hof kleingarten schrebergarten
    kleingartenanlage; jardin jardins maison maisons residentiel potager; tuin tuinen woning volkstuin volkstuinen;
    huerto huertos casa casas residencial; giardino giardini orto orti;
    piha pihat puutarha siirtolapuutarha palstaviljely asuinalue; tradgard tradgardar koloni have haver hage hager;
    ogrod ogrody""".replace(";", " ").split()
)
PUBLIC = set(
    """public botanical botanic community municipal city zoological; offentlich offentlicher botanischer stadtischer
    gemeinschaftsgarten stadtgarten; publics publique botanique; openbaar; publico botanico; pubblico pubblici;
    julkinen kasvitieteellinen; offentlig""".replace(";", " ").split()
)


def read_land(
    tables: Sequence[Table],
    crs: CRS,
    stated: Stated,
    ledger: Ledger,
    as_of: datetime.date,
    consents: Sequence[Table] = (),
) -> gpd.GeoDataFrame:
    """Polygons of land with the columns of `LAND`: consent is yes, ask or no as of that day, private yes or no.

    consents: the tables of the list of consents, whose entries count before those of `tables`. Rows without a polygon
    are set aside. Raises CrsError where a layer does not say its reference system.
    """
    drafts = read_layers(Kind.LAND, tables, crs, stated, ledger, "polygons")
    listed = Consents.read(consents, stated, ledger)
    said = [agreed_in(draft) for draft in drafts]
    kept = [(draft, at) for draft in drafts for at in draft.kept]
    own = [_id(draft, at) for draft, at in kept]
    shapes = [shape for draft, at in kept if (shape := draft.shapes[at]) is not None]
    ids, moved = land_ids(own, shapes, lambda i: kept[i][0].words(kept[i][1]), crs, listed.rows)
    listed.rename(moved)
    by_draft = [agreed[at] for draft, agreed in zip(drafts, said, strict=True) for at in draft.kept]
    counts = listed.over(ids, by_draft, [(draft.table.file_of(at), draft.table.numbers[at]) for draft, at in kept])
    each = iter(zip(ids, counts, strict=True))
    columns = [
        _columns(draft, agreed, {at: next(each) for at in draft.kept}, as_of)
        for draft, agreed in zip(drafts, said, strict=True)
    ]
    land = layer(drafts, columns, LAND, crs)
    close(drafts)
    shared = sum(bool(one) and one != made for one, made in zip(own, ids, strict=True))
    if shared:
        told = "{land} had the id of another piece and got one made from its place"
        ledger.tell(say(told, land=count(shared, "piece of land", "pieces of land")))
    _tell_unstated(land, ledger)
    _tell_overlaps(land, ledger)
    return land


def _id(draft: Draft, at: int) -> str:
    """The id that a file gives a row, "" where it gives none."""
    return name_of(draft.cells("id")[at])


def _columns(
    draft: Draft, said: Sequence[Agreed], kept: Mapping[int, tuple[str, Agreed]], as_of: datetime.date
) -> Columns:
    """The columns of one table, which says `said`; by position of the rows that are kept, the id and what counts.

    What is not clear about a row that is used is remarked.
    """
    counts = [kept[at][1] if at in kept else one for at, one in enumerate(said)]
    pairs = [(one.texts["consent"], one.until) for one in counts]
    each = {pair: consent_of(*pair, as_of) for pair in dict.fromkeys(pairs)}
    consents = [each[pair] for pair in pairs]
    kinds, private = draft.texts("kind"), each_once(yes_no, draft.cells("private"))
    for at in draft.kept:
        note = consents[at][1]
        if private[at] is not None and not note:
            continue
        where = in_row(draft.table.file_of(at), draft.table.numbers[at])
        as_said = all(counts[at].texts[name] == said[at].texts[name] for name in ("consent", "until"))
        if note and said[at].texts["consent"] and as_said:
            draft.ledger.remark(say("{row}: {why}, so somebody must ask", row=where, why=note))
        if private[at] is None:
            told = '{row}: private is "{word}", read as blank; write yes or no'
            draft.ledger.remark(say(told, row=where, word=draft.texts("private")[at]))
    # a file that calls its land by numbers alone calls it so, but for the numbers of a map extract
    named = "name" if draft.has("name") or fold(draft.heading("id")) == OBJECT else "id"
    return {
        "id": [kept[at][0] if at in kept else "" for at in range(len(said))],
        "name": draft.texts(named),
        "kind": kinds,
        "consent": [consent for consent, _ in consents],
        "consent_note": [note for _, note in consents],
        "until": [one.until if isinstance(one.until, datetime.date) else None for one in counts],
        "private": [
            word or ("yes" if home else "no")
            for word, home in zip(private, each_once(lambda kind: is_home_ground(str(kind)), kinds), strict=True)
        ],
        **{name: [one.texts[name] for one in counts] for name in ("owner", "contact", "condition", "note")},
        "said": [memory_of(one.texts) for one in said],
    }


def _tell_unstated(land: gpd.GeoDataFrame, ledger: Ledger) -> None:
    """Tells how many pieces of land state no consent, file by file."""
    for file, rows in land.groupby("file", sort=True):
        if unstated := int((rows["consent_note"] == NOT_STATED).sum()):
            told = "{file}: {n} of {of} pieces of land state no consent, so somebody must ask"
            ledger.tell(say(told, file=str(file), n=unstated, of=len(rows)))


def _tell_overlaps(land: gpd.GeoDataFrame, ledger: Ledger) -> None:
    """Remarks on ground that two rows claim with different consent; whoever counts it takes the stricter one."""
    one, other = shapely.STRtree(land.geometry).query(land.geometry, predicate="intersects")
    consent, shapes = land["consent"].to_numpy(), land.geometry.to_numpy()
    differ = (one < other) & (consent[one] != consent[other])
    one, other = one[differ], other[differ]
    area = shapely.area(shapely.intersection(shapes[one], shapes[other]))
    shared = area >= SHARED_M2
    found = [
        say(
            "{one} and {other}, {area}", one=_called(land.iloc[i]), other=_called(land.iloc[j]), area=hectares(m2 / 1e4)
        )
        for i, j, m2 in zip(one[shared], other[shared], area[shared], strict=True)
    ]
    if found:
        told = "land with different consent overlaps in {places} ({pairs}); the stricter consent counts there"
        ledger.remark(say(told, places=count(len(found), "place"), pairs=some(found)))


def _called(land: pd.Series) -> Sentence:
    """Name, consent and row of a piece of land: `Park (land.gpkg row 1): yes`."""
    told = "{name} ({row}): {consent}" if land["name"] else "{row}: {consent}"
    row, consent = in_row(land["file"], land["row"]), Sentence(land["consent"])
    return say(told, name=land["name"], row=row, consent=consent)


def is_home_ground(kind: str) -> bool:
    """Whether a kind of land is private unless said otherwise: gardens, homes and allotments, in several languages."""
    words = set(fold(kind).split())
    return bool(words & HOME) and not words & PUBLIC
