"""What pools keep away from: play areas, schools, water, roads, buildings, of any shape, each with its distance."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence

import geopandas as gpd
import pandas as pd
from pyproj import CRS

from habitatmap.errors import InputError
from habitatmap.read.coordinates import read_number
from habitatmap.read.formats.cells import as_text
from habitatmap.read.formats.table import Stated, Table
from habitatmap.read.headings import fold, unit_of
from habitatmap.read.layers import keep_away_defaults, keep_away_kind
from habitatmap.read.ledger import Ledger
from habitatmap.read.shapes import frame_of, match_layers, read_shapes

COLUMNS = ["kind", "distance_m", "geometry", "file", "row"]
# the kind whose distance holds for whatever the table does not name
OTHER = "other"


def read_keep_away(
    tables: Sequence[Table], crs: CRS, stated: Stated, ledger: Ledger, own_distances: Mapping[str, float]
) -> gpd.GeoDataFrame:
    """Shapes with COLUMNS; distance_m is the row's own, else that of `own_distances`, else of layers/keep_away.csv.

    `own_distances` is [keep_away] of area.toml, metres by kind. A row without a kind is one of the kind "other".
    """
    defaults = keep_away_defaults()
    stated_m = {fold(keep_away_kind(kind)): metres for kind, metres in own_distances.items()}
    frames = []
    for table, heads in match_layers("keep_away", tables, stated, ledger):
        shapes = read_shapes(table, "keep_away", crs, stated, ledger, "any", heads)
        kinds = [as_text(cell) for cell in shapes.column(heads.at.get("kind"))]
        distances = shapes.column(heads.at.get("distance_m"))
        unit = unit_of(heads.text.get("distance_m", ""))
        metres = [_metres(cell, unit) for cell in distances]
        told = [None if m is None else f"{m:g} m" for m in metres]
        ledger.reading_of(table).sample(heads.text.get("distance_m", ""), distances, told)
        rows = []
        for file, row, given, distance, own in zip(shapes.files, shapes.numbers, kinds, distances, metres, strict=True):
            kind = keep_away_kind(given) if given else OTHER
            if own is None and as_text(distance):
                ledger.remark(
                    f'{file} row {row}: the distance "{as_text(distance)}" is no number of metres, '
                    "so the distance of its kind is used"
                )
            if own is None and fold(kind) not in stated_m and kind not in defaults:
                ledger.remark(
                    f'{file}: "{kind}" is no known kind to keep away from, so {defaults[OTHER]:g} m are kept; '
                    f'state its distance in area.toml: [keep_away] "{kind}" = ...'
                )
            by_kind = stated_m.get(fold(kind), defaults.get(kind, stated_m.get(OTHER, defaults[OTHER])))
            rows.append((kind, by_kind if own is None else own, file, row))
        ledger.accept_rows("keep_away", table, shapes.at)
        frames.append((pd.DataFrame(rows, columns=["kind", "distance_m", "file", "row"]), shapes.geometry))
    _check_stated(own_distances, [*defaults, *(kind for frame, _ in frames for kind in frame["kind"])], ledger)
    return frame_of(frames, COLUMNS, crs)


def _check_stated(own_distances: Mapping[str, float], kinds: Sequence[str], ledger: Ledger) -> None:
    """InputError for a kind under [keep_away] that is a slip of one there is; a word on one that is nowhere."""
    known = {fold(kind): kind for kind in kinds}
    for stated in own_distances:
        if fold(keep_away_kind(stated)) in known:
            continue
        if close := difflib.get_close_matches(fold(stated), known, n=1, cutoff=0.75):
            raise InputError(f"area.toml: [keep_away] {stated} is no kind there is; did you mean {known[close[0]]}?")
        ledger.remark(f"area.toml: [keep_away] {stated} changes nothing: keep_away has no row of this kind")


_IN_METRES = {"m": 1.0, "km": 1000.0, "ft": 0.3048, "cm": 0.01}


def _metres(cell: object, unit: str) -> float | None:
    """A distance of 0 m or more, None where the cell gives none. The cell's own unit counts before its heading's."""
    text = re.fullmatch(r"(.*?\d)\s*(km|m|ft|cm)\.?", cell.strip(), re.IGNORECASE) if isinstance(cell, str) else None
    number = read_number(text[1] if text else cell, "decimal")
    if number is None or number.value < 0:
        return None
    return number.value * _IN_METRES.get(text[2].lower() if text else unit, 1.0)
