"""What a file of the corpus must give back, and the comparison of that truth with what an area made of the file."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from math import hypot, isnan
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from pyproj import Transformer

from habitatmap import open_area
from habitatmap.errors import InputError

AREA_TOML = 'title = "Corpus"\nas_of = 2025-06-30\n'
GERMANY = "EPSG:25832"
KINDS = ("pools", "visits", "trees", "land", "keep_away")
# the keys of a true row that are no columns: where it lies, and how large its polygon is
PLACE = ("at", "xy", "area_m2", "or_aside")


@dataclass(frozen=True)
class Between:
    """A value that is right anywhere between two bounds."""

    low: float
    high: float

    def __eq__(self, other: object) -> bool:
        return isinstance(other, (int, float)) and self.low <= other <= self.high

    __hash__ = None  # type: ignore[assignment]


@dataclass(frozen=True)
class NoneOf:
    """A value that is right as long as it is none of these."""

    wrong: tuple[Any, ...]

    def __eq__(self, other: object) -> bool:
        return other not in self.wrong

    __hash__ = None  # type: ignore[assignment]


@dataclass(frozen=True)
class Days:
    """A day that is known to lie between two: any of them, or none where the record keeps the two ends themselves.

    `or_missing`: nothing of it need be known.
    """

    first: str
    last: str
    or_missing: bool = False

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, pd.Timestamp) or other is pd.NaT:
            return self.or_missing and pd.isna(other)
        return pd.Timestamp(self.first) <= other <= pd.Timestamp(self.last)

    def spans(self, row: Mapping[str, Any], column: str) -> bool:
        """Whether a row without the day itself has its two ends within these."""
        ends = row.get(f"{column}_first"), row.get(f"{column}_last")
        return pd.isna(row[column]) and pd.Timestamp(self.first) <= ends[0] <= ends[1] <= pd.Timestamp(self.last)

    __hash__ = None  # type: ignore[assignment]


@dataclass(frozen=True)
class Case:
    """A folder of files, and of one kind of record the true rows and those that no one could read.

    `rows`: each accepted record, only the columns that matter; "at" is (lon, lat), "xy" metres in the area's system,
    "area_m2" a polygon's size; None means not given; "or_aside" a row number: it may be read so, or be set aside.
    `aside`: what a spreadsheet calls the row, or (file, row), and a word that its reason or remedy must hold.
    `may`: rows that are no records; they may be read and set aside, or passed over.
    `refused`: a word of the sentence that refuses the folder; it must name the file too.
    `says`: a word that the remarks must hold.
    """

    name: str
    files: Mapping[str, bytes]
    kind: str
    rows: Sequence[Mapping[str, Any]] = ()
    aside: Mapping[Any, str] = field(default_factory=dict)
    may: Sequence[int] = ()
    refused: str | None = None
    crs: str | None = GERMANY
    toml: str = ""
    says: str = ""
    within_m: float = 1.0

    @property
    def sent(self) -> str:
        """The file that the case is about."""
        return next(name for name in self.files if name.lower().startswith(self.kind))


def write(case: Case, folder: Path) -> None:
    """Writes the case's area folder."""
    crs = f'crs = "{case.crs}"\n' if case.crs else ""
    (folder / "area.toml").write_text(AREA_TOML + crs + case.toml, encoding="utf-8")
    for name, content in case.files.items():
        (folder / name).write_bytes(content)


def hold(case: Case, folder: Path) -> None:
    """Opens the folder and holds truth against what came out; says what differs."""
    write(case, folder)
    if case.refused is not None:
        with pytest.raises(InputError, match=re.escape(case.sent)) as refusal:
            open_area(folder)
        assert case.refused.lower() in str(refusal.value).lower()
        return
    area = open_area(folder)
    area.ledger.check()
    left = area.ledger.frame()
    left = left[left["row"].notna()]  # a file or a sheet of which nothing is used has no row
    told = left.to_string(max_colwidth=None)
    accepted = getattr(area, case.kind)
    to_metres = _to_metres(area.crs.to_epsg())

    found = accepted.to_dict("records")
    free = set(left.loc[left["file"].str.startswith(case.kind), "row"].astype(int)) - set(case.aside)
    free &= {truth["or_aside"] for truth in case.rows if "or_aside" in truth}
    rows = [truth for truth in case.rows if truth.get("or_aside") not in free]
    for truth in rows:
        hit = next((row for row in found if _same(truth, row, to_metres, case.within_m)), None)
        assert hit is not None, f"not found: {truth}\nleft over: {found}\nset aside:\n{told}"
        found.remove(hit)
    assert not found, f"nobody wrote: {found}\nset aside:\n{told}"

    wanted = {(key if isinstance(key, tuple) else (case.kind, key)): word for key, word in case.aside.items()}
    passed_over = 0
    for row in left.to_dict("records"):
        if str(row["file"]).lower().startswith(case.kind) and int(row["row"]) in {*case.may, *free}:
            passed_over += 1
            continue
        key = next((k for k in wanted if str(row["file"]).lower().startswith(k[0]) and k[1] == int(row["row"])), None)
        assert key is not None, f"set aside without need: {row}"
        sentence = " ".join(str(row[c]) for c in ("column", "value", "reason", "remedy"))
        assert wanted.pop(key).lower() in sentence.lower(), row
    assert not wanted, f"not set aside: {wanted}"

    count = area.ledger.counts()[case.kind]
    ours = passed_over + sum(1 for key in case.aside if not isinstance(key, tuple) or key[0].startswith(case.kind))
    assert count == {"read": len(rows) + ours, "accepted": len(rows), "set_aside": ours}
    unused = [f"{one.file} {one.sheet}: {one.why.reason}" for one in area.ledger.unused]
    remarks = [*area.ledger.remarks, *unused]
    assert case.says.lower() in " ".join([*map(str, area.notes), *map(str, remarks)]).lower(), (area.notes, remarks)


@cache
def _to_metres(epsg: int) -> Transformer:
    return Transformer.from_crs(4326, epsg, always_xy=True)


def _same(truth: Mapping[str, Any], row: Mapping[str, Any], to_metres: Transformer, within_m: float) -> bool:
    if "at" in truth or "xy" in truth:
        x, y = truth["xy"] if "xy" in truth else to_metres.transform(*truth["at"])
        if not hypot(row["x"] - x, row["y"] - y) <= within_m:
            return False
    if "area_m2" in truth and not abs(row["geometry"].area - truth["area_m2"]) <= 0.01 * truth["area_m2"] + 0.01:
        return False
    return all(
        _equal(value, row[column]) or (isinstance(value, Days) and value.spans(row, column))
        for column, value in truth.items()
        if column not in PLACE
    )


def _equal(wanted: Any, got: Any) -> bool:
    if wanted is None:
        return got is None or got == "" or got is pd.NaT or (isinstance(got, float) and isnan(got))
    if isinstance(got, pd.Timestamp) and not isinstance(wanted, Days):
        return bool(got == pd.Timestamp(wanted))
    if isinstance(wanted, float):
        return bool(wanted == got) or bool(abs(got - wanted) <= 1e-6 * max(1.0, abs(wanted)))
    return bool(wanted == got)
