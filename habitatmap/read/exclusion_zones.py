"""What pools keep away from: play areas, schools, water, roads, buildings, of any shape, each with its distance.

Ground where no pool can stand at all (layers/siting.csv: a pitch, a car park) has no distance but 0 m unless one is
stated.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence

import geopandas as gpd
from pyproj import CRS

from habitatmap.errors import InputError
from habitatmap.read.coordinates import read_number
from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.headings import fold, unit_of
from habitatmap.read.layers import keep_away_defaults, keep_away_kind, land_use
from habitatmap.read.ledger import Ledger, in_row
from habitatmap.read.rows import Columns, close, layer
from habitatmap.read.shapes import read_layers
from habitatmap.sentences import exact, say
from habitatmap.vocabulary.columns import dtypes
from habitatmap.vocabulary.kinds import Kind
from habitatmap.vocabulary.terms import Siting

ZONES = dtypes(Kind.KEEP_AWAY)
# the kind whose distance holds for whatever the table does not name
OTHER = "other"


def read_keep_away(
    tables: Sequence[Table], crs: CRS, stated: Stated, ledger: Ledger, own_distances: Mapping[str, float]
) -> gpd.GeoDataFrame:
    """Shapes with the columns of `ZONES`.

    distance_m is the row's own, else that of `own_distances`, else of layers/keep_away.csv, else 0 for a kind of land
    that layers/siting.csv excludes. `own_distances` is [keep_away] of area.toml, metres by kind. A row without a kind
    is one of the kind "other".
    """
    defaults = keep_away_defaults()
    stated_m = {fold(zone_kind(kind)): metres for kind, metres in own_distances.items()}
    drafts = read_layers(Kind.KEEP_AWAY, tables, crs, stated, ledger)
    columns: list[Columns] = []
    for draft in drafts:
        kinds = [zone_kind(text) if text else OTHER for text in draft.texts("kind")]
        defaults |= {kind: 0.0 for kind in kinds if is_excluded(kind)}
        own = [_metres(cell, unit_of(draft.heading("distance_m"))) for cell in draft.cells("distance_m")]
        draft.sample("distance_m", [None if metres is None else f"{metres:g} m" for metres in own])
        metres_m: list[float] = []
        for at, (kind, metres) in enumerate(zip(kinds, own, strict=True)):
            by_kind = stated_m.get(fold(kind), defaults.get(kind, stated_m.get(OTHER, defaults[OTHER])))
            metres_m.append(by_kind if metres is None else metres)
            if metres is not None or at in draft.aside:
                continue
            if text := as_text(draft.cells("distance_m")[at]):
                told = '{row}: the distance "{word}" is no number of metres, so the distance of its kind is used'
                where = in_row(draft.table.file_of(at), draft.table.numbers[at])
                ledger.remark(say(told, row=where, word=text))
            if fold(kind) not in stated_m and kind not in defaults:
                told = (
                    '{file}: "{kind}" is no known kind of exclusion zone, so {far} are kept; state its distance in '
                    'area.toml: [keep_away] "{kind}" = ...'
                )
                ledger.remark(say(told, file=draft.table.file_of(at), kind=kind, far=exact(defaults[OTHER], "m")))
        columns.append({"kind": kinds, "distance_m": metres_m})
    close(drafts)
    zones = layer(drafts, columns, ZONES, crs)
    _check_stated(own_distances, [*defaults, *zones["kind"]], ledger)
    return zones


def zone_kind(name: str) -> str:
    """The kind of a row by any of its names: one to keep away from, else ground where no pool can stand."""
    kind = keep_away_kind(name)
    use = land_use(name)
    return use.kind if kind not in keep_away_defaults() and use.siting is Siting.EXCLUDED else kind


def is_excluded(kind: str) -> bool:
    """Whether a kind of zone is ground where no pool can stand, rather than something to keep away from."""
    return kind not in keep_away_defaults() and land_use(kind).siting is Siting.EXCLUDED


def _check_stated(own_distances: Mapping[str, float], kinds: Sequence[str], ledger: Ledger) -> None:
    """InputError for a kind under [keep_away] that is a slip of one there is; a word on one that is nowhere."""
    known = {fold(kind): kind for kind in kinds}
    for stated in own_distances:
        if fold(zone_kind(stated)) in known:
            continue
        if close := difflib.get_close_matches(fold(stated), known, n=1, cutoff=0.75):
            raise InputError(f"area.toml: [keep_away] {stated} is no kind there is; did you mean {known[close[0]]}?")
        told = "area.toml: [keep_away] {kind} changes nothing: keep_away has no row of this kind"
        ledger.remark(say(told, kind=stated))


_IN_METRES = {"m": 1.0, "km": 1000.0, "ft": 0.3048, "cm": 0.01}


def _metres(cell: object, unit: str) -> float | None:
    """A distance of 0 m or more, None where the cell gives none. The cell's own unit counts before its heading's."""
    text = re.fullmatch(r"(.*?\d)\s*(km|m|ft|cm)\.?", cell.strip(), re.IGNORECASE) if isinstance(cell, str) else None
    number = read_number(text[1] if text else cell, "decimal")
    if number is None or number.value < 0:
        return None
    return number.value * _IN_METRES.get(text[2].lower() if text else unit, 1.0)
