"""Land: whose ground it is, and whether a pool may stand on it.

A doubt is never read as a yes: a blank or unreadable consent, and one that has run out, mean that somebody must ask.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Sequence

import geopandas as gpd
import pandas as pd
import shapely
from pyproj import CRS

from habitatmap.read.consent_words import consent_of, word_of
from habitatmap.read.dates import read_dates
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.headings import fold
from habitatmap.read.ledger import Ledger, some
from habitatmap.read.rows import Columns, Draft, close, layer
from habitatmap.read.shapes import read_layers
from habitatmap.read.values import yes_no
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
    tables: Sequence[Table], crs: CRS, stated: Stated, ledger: Ledger, as_of: datetime.date
) -> gpd.GeoDataFrame:
    """Polygons of land with the columns of `LAND`: consent is yes, ask or no as of that day, private yes or no.

    Rows without a polygon are set aside. Raises CrsError where a layer does not say its reference system.
    """
    drafts = read_layers(Kind.LAND, tables, crs, stated, ledger, "polygons")
    land = layer(drafts, [_columns(draft, as_of) for draft in drafts], LAND, crs)
    close(drafts)
    _tell_unstated(drafts, ledger)
    _tell_overlaps(land, ledger)
    return land


def _columns(draft: Draft, as_of: datetime.date) -> Columns:
    """The columns of one table; what is not clear about a row that is used is remarked."""
    cells = draft.cells("consent")
    untils = read_dates(draft.cells("until"), draft.heading("until"))
    draft.sample("until", [until.isoformat() if isinstance(until, datetime.date) else None for until in untils])
    draft.sample("consent", [None if (word := word_of(cell)) in ("", "unread") else word for cell in cells])
    consents = [consent_of(cell, until, as_of) for cell, until in zip(cells, untils, strict=True)]
    kinds, said = draft.texts("kind"), [yes_no(cell) for cell in draft.cells("private")]
    for at in draft.kept:
        where, (_, note) = f"{draft.table.file_of(at)} row {draft.table.numbers[at]}", consents[at]
        if note and word_of(cells[at]):
            draft.ledger.remark(f"{where}: {note}, so somebody must ask")
        if said[at] is None:
            text = draft.texts("private")[at]
            draft.ledger.remark(f'{where}: private is "{text}", read as blank; write yes or no')
    return {
        "name": draft.texts("name"),
        "kind": kinds,
        "consent": [consent for consent, _ in consents],
        "consent_note": [note for _, note in consents],
        "private": [word or ("yes" if is_home_ground(kind) else "no") for word, kind in zip(said, kinds, strict=True)],
        "owner": draft.texts("owner"),
    }


def _tell_unstated(drafts: Sequence[Draft], ledger: Ledger) -> None:
    """Tells how many pieces of land state no consent, file by file."""
    given: dict[str, list[bool]] = defaultdict(list)
    for draft in drafts:
        for at in draft.kept:
            given[draft.table.file_of(at)].append(word_of(draft.cells("consent")[at]) != "")
    for file, stating in sorted(given.items()):
        if not all(stating):
            unstated = len(stating) - sum(stating)
            ledger.tell(f"{file}: {unstated} of {len(stating)} pieces of land state no consent, so somebody must ask")


def _tell_overlaps(land: gpd.GeoDataFrame, ledger: Ledger) -> None:
    """Remarks on ground that two rows claim with different consent; whoever counts it takes the stricter one."""
    one, other = shapely.STRtree(land.geometry).query(land.geometry, predicate="intersects")
    consent, shapes = land["consent"].to_numpy(), land.geometry.to_numpy()
    differ = (one < other) & (consent[one] != consent[other])
    one, other = one[differ], other[differ]
    area = shapely.area(shapely.intersection(shapes[one], shapes[other]))
    shared = area >= SHARED_M2
    found = [
        f"{_called(land.iloc[i])} and {_called(land.iloc[j])}, {m2 / 1e4:.2g} ha"
        for i, j, m2 in zip(one[shared], other[shared], area[shared], strict=True)
    ]
    if found:
        ledger.remark(
            f"land: {len(found)} overlaps of land with different consent ({some(found)}); the stricter one counts there"
        )


def _called(land: pd.Series) -> str:
    """Name, consent and row of a piece of land: `Park (land.gpkg row 1): yes`."""
    return f"{land['name']} ({land['file']} row {land['row']}): {land['consent']}".lstrip()


def is_home_ground(kind: str) -> bool:
    """Whether a kind of land is private unless said otherwise: gardens, homes and allotments, in several languages."""
    words = set(fold(kind).split())
    return bool(words & HOME) and not words & PUBLIC
