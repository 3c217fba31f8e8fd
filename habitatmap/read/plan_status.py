"""The state of suggested sites (plan_status.xlsx): the plan as work in hand, written by `map` and read back by it.

An agreed site stays in the plan, refused ground and a site that was given up leave it, and a site that was set out is a
pool: the one of pools.* that stands in its zone or close by, else one of its own.
"""

from __future__ import annotations

import datetime
import hashlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from habitatmap.errors.why import Why
from habitatmap.geo.crs import WGS84, transform
from habitatmap.privacy import SQUARE_M, uncertainty_m
from habitatmap.read.dates import read_dates
from habitatmap.read.days_out import out_from
from habitatmap.read.earlier_sites import COLUMNS as OF_REGISTER
from habitatmap.read.files import read_tables
from habitatmap.read.formats.table import Renamed, Stated, Table
from habitatmap.read.ledger import Ledger, in_row, some
from habitatmap.read.pools import POOLS
from habitatmap.read.rows import Draft, close, open_drafts, shaped
from habitatmap.read.site_words import state_of
from habitatmap.read.values import name_key, name_of
from habitatmap.sentences import Quantity, Sentence, say
from habitatmap.vocabulary.kinds import Kind
from habitatmap.vocabulary.terms import SiteState, YesNo

COLUMNS = ["id", "place", "state", "date", "by", "note", "private", "x", "y", "file", "row"]
# a pool that was out for longer than this before the day of the state is another one (expert judgement)
SET_OUT_WITHIN_DAYS = 31
NEAR_SITE_M = 50.0  # a pool that was moved a little when it was installed (expert judgement: half the usual spacing)


class Site(NamedTuple):
    """A site and its state. `date` None: nobody said; x, y in metres, on private land the middle of its square."""

    id: str
    place: str
    state: SiteState
    date: datetime.date | None
    private: bool
    x: float
    y: float
    zone: BaseGeometry
    file: str
    row: int

    @property
    def where(self) -> Sentence:
        """File and row for a person."""
        return in_row(self.file, self.row)

    @property
    def ground(self) -> BaseGeometry:
        """Its zone; where that is not known, its square on private land, else a metre about its place."""
        if self.zone.geom_type != "Point":
            return self.zone
        return self.zone.buffer(SQUARE_M / 2, cap_style="square") if self.private else self.zone.buffer(1.0)


def sites_in(status: gpd.GeoDataFrame, *states: SiteState) -> list[Site]:
    """The sites of a frame of `read_plan_status` that are in one of the states."""
    rows = status[status["state"].isin(states)]
    return [
        Site(
            id=str(row["id"]),
            place=str(row["place"]),
            state=SiteState(row["state"]),
            date=None if pd.isna(row["date"]) else row["date"].date(),
            private=row["private"] == YesNo.YES,
            x=float(row["x"]),
            y=float(row["y"]),
            zone=row["geometry"],
            file=str(row["file"]),
            row=int(row["row"]),
        )
        for row in rows.to_dict("records")
    ]


def no_status(crs: CRS) -> gpd.GeoDataFrame:
    """The states of an area where nobody has written any."""
    return gpd.GeoDataFrame({name: [] for name in COLUMNS}, geometry=[], crs=crs)


def read_plan_status(
    tables: Sequence[Table], crs: CRS, stated: Stated, ledger: Ledger, register: gpd.GeoDataFrame
) -> gpd.GeoDataFrame:
    """COLUMNS of the sites that somebody keeps a state of, and their zones as shapes in `crs` (x, y in metres, of the
    site or of the middle of its square), in the order of their ids.

    `register`: as `read.earlier_sites` reads it. A site that it lacks is known by its own row; its zone is then its
    point. Rows without a known id or state, and second rows of a site, leave for the ledger.
    """
    drafts = open_drafts(Kind.PLAN_STATUS, tables, stated, ledger)
    known = {name_key(str(one)): at for at, one in enumerate(register["id"])}
    rows: dict[str, _Row] = {}
    for draft in drafts:
        draft.about = [name_of(cell) for cell in draft.cells("id")]
        places, days = _places(draft, crs), _days(draft)
        states = [state_of(cell) for cell in draft.cells("state")]
        draft.sample("state", [state and Sentence(state) for state in states])
        texts = {name: draft.texts(name) for name in ("place", "by", "note")}
        private = [word == YesNo.YES for word in draft.yes_or_no("private")]
        for at in draft.kept:
            own, state = draft.about[at], states[at]
            place = known.get(name_key(own))
            if not own:
                draft.refuse(at, "id", "", Why.NO_SITE_ID)
            elif place is None and not math.isfinite(places[at][0]):
                draft.refuse(at, "id", own, Why.SITE_UNKNOWN)
            elif state is None:
                draft.refuse(at, "state", draft.cells("state")[at], Why.ODD_STATE)
            else:
                one = None if place is None else register.iloc[place]
                x, y = places[at] if one is None else (float(one["x"]), float(one["y"]))
                cells = {
                    "id": own if one is None else str(one["id"]),
                    "state": state.value,
                    "date": days[at],
                    **{name: told[at] for name, told in texts.items()},
                    "private": str(one["private"]) if one is not None else "yes" if private[at] else "no",
                    "x": x,
                    "y": y,
                    "file": draft.table.file_of(at),
                    "row": draft.table.numbers[at],
                    "geometry": one["geometry"] if one is not None else shapely.Point(x, y),
                }
                row = _Row(draft, at, cells)
                key = name_key(own)
                rows[key] = _which_counts(rows[key], row) if key in rows else row
    rows = {key: row for key, row in rows.items() if row.at not in row.draft.aside}
    close(drafts)
    if not rows:
        return no_status(crs)
    found = sorted((row.cells for row in rows.values()), key=lambda row: (len(str(row["id"])), str(row["id"])))
    frame = gpd.GeoDataFrame(found, columns=[*COLUMNS, "geometry"], geometry="geometry", crs=crs)
    return frame.assign(date=pd.to_datetime(frame["date"]).astype("datetime64[s]"))


@dataclass(frozen=True)
class _Row:
    draft: Draft
    at: int
    cells: Mapping[str, object]

    @property
    def is_touched(self) -> bool:
        """Whether somebody wrote something in it."""
        said = self.cells
        return said["state"] != SiteState.TO_ASK or bool(said["date"] or said["by"] or said["note"])

    @property
    def where(self) -> dict[str, object]:
        return {"row": self.draft.table.numbers[self.at], "file": self.draft.table.file_of(self.at)}

    def refuse(self, why: Why, by: _Row) -> None:
        """Sets it aside because of another row of its site."""
        told = why.of(**by.where, other=Sentence(str(by.cells["state"])))
        self.draft.refuse(self.at, "id", self.cells["id"], told)


def _which_counts(first: _Row, second: _Row) -> _Row:
    """The one of two rows for one site that counts: the one with the later date. The other is set aside; both are,
    where they differ and no date tells."""
    if first.at in first.draft.aside:
        second.refuse(Why.SITE_DISPUTED, first)
        return first
    one, other = first.cells["date"], second.cells["date"]
    if isinstance(one, datetime.date) and isinstance(other, datetime.date) and one != other:
        kept, gone = (first, second) if one > other else (second, first)
        gone.refuse(Why.SITE_TWICE, kept)
    elif first.cells["state"] == second.cells["state"] or not (first.is_touched and second.is_touched):
        kept, gone = (second, first) if not first.is_touched else (first, second)
        gone.refuse(Why.SITE_AGAIN, kept)
    else:
        kept = first
        first.refuse(Why.SITE_DISPUTED, second)
        second.refuse(Why.SITE_DISPUTED, first)
    return kept


def _places(draft: Draft, crs: CRS) -> list[tuple[float, float]]:
    """x, y in metres of each row, NaN where it has none."""
    lon, lat = (np.array([_number(cell) for cell in draft.cells(name)], dtype=float) for name in ("lon", "lat"))
    x, y = transform(lon, lat, WGS84, crs)
    good = np.isfinite(x) & np.isfinite(y)
    return list(zip(np.where(good, x, math.nan).tolist(), np.where(good, y, math.nan).tolist(), strict=True))


def _number(cell: object) -> float:
    try:
        return float(str(cell).replace(",", "."))
    except ValueError:
        return math.nan


def _days(draft: Draft) -> list[datetime.date | None]:
    """The days of the states; what is no day is told, and the state counts without one."""
    cells = draft.cells("date")
    read = read_dates(cells, draft.heading("date"), draft.table.day_zero)
    days = [day if isinstance(day, datetime.date) else None for day in read]
    draft.sample("date", days)
    lost = [
        say('row {row} "{cell}": {why}', row=draft.row_of(at), cell=draft.texts("date")[at][:40], why=why.reason)
        for at in draft.kept
        if isinstance(why := read[at], Why)
    ]
    if lost:
        told = "a state counts without its date where nobody can tell the day (write it as 2027-03-31): {cells}"
        draft.remark(say(told, cells=some(lost)))
    return days


def with_lost_sites(register: gpd.GeoDataFrame, status: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The register with the sites that only plan_status.xlsx knows, so that no id is given a second time."""
    lost = status[~status["id"].isin(register["id"])]
    if lost.empty:
        return register
    told = lost.assign(suggested=YesNo.NO.value)[[*OF_REGISTER, "geometry"]]
    return gpd.GeoDataFrame(pd.concat([register, told], ignore_index=True) if len(register) else told, crs=register.crs)


def digest_of(path: Path) -> str | None:
    """A hash of what somebody wrote in a list of states, whatever rows `map` has added; None where nobody wrote
    anything that a map goes by. InputError where it can't be read."""
    said = []
    for draft in open_drafts(Kind.PLAN_STATUS, read_tables(path), Stated(), Ledger()):
        rows = zip(draft.texts("id"), draft.cells("state"), draft.texts("state"), draft.texts("date"), strict=True)
        for own, cell, text, day in rows:
            state = state_of(cell)
            if state is not SiteState.TO_ASK or day:
                said.append((own, state.value if state else text, day))
    return hashlib.sha256(repr(sorted(said)).encode()).hexdigest() if said else None


# --- sites that were set out -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class SetOut:
    """`pools`: with those that are known from plan_status.xlsx alone; `names`: by which visits call the others."""

    pools: pd.DataFrame
    names: Sequence[Renamed]


def pools_set_out(status: gpd.GeoDataFrame, pools: pd.DataFrame, up: NDArray[np.bool_], ledger: Ledger) -> SetOut:
    """Every site that was set out is a pool: the one of this name, else the nearest that stands in its zone or, on open
    land, no farther than NEAR_SITE_M from it and nearer than to any other (`up`, by row of `pools`) and was not out
    long before; else it is added, under the id of the site.

    Its place is then that of the site as far as it is known, and its uncertainty reaches the edge of the zone.
    """
    new: list[dict[str, object]] = []
    names, taken = list[Renamed](), set[int]()
    keys = [name_key(str(name)) for name in pools["pool"]]
    xy = pools[["x", "y"]].to_numpy(float)
    out, points = out_from(pools), shapely.points(xy)
    nearest = status["id"].to_numpy()[cKDTree(status[["x", "y"]].to_numpy(float)).query(np.nan_to_num(xy))[1]]
    for site in sites_in(status, SiteState.SET_OUT):
        if name_key(site.id) in keys:
            taken.add(keys.index(name_key(site.id)))
            continue
        far = np.hypot(*(xy - (site.x, site.y)).T)
        beside = (far <= NEAR_SITE_M) & (nearest == site.id) & (not site.private)
        there = shapely.intersects(site.ground, points) | beside
        fits = up & there
        if site.date is not None:
            earliest = pd.Timestamp(site.date) - pd.Timedelta(days=SET_OUT_WITHIN_DAYS)
            # the pool of a site is its own when it is lost, too; without a date it may be one of before the plan
            fits = there & np.where(up, ~(out < earliest), out >= earliest)
        fits[list(taken)] = False
        if fits.any():
            at = int(np.flatnonzero(fits)[np.argmin(far[fits])])
            taken.add(at)
            pool, file = str(pools["pool"].iloc[at]), str(pools["file"].iloc[at])
            names.append(Renamed(name_key(site.id), pool, None))
            told = IS_PRIVATE_POOL if site.private else IS_POOL
            metres = Quantity(float(far[at]), 0, "m")
            ledger.tell(say(told, site=site.id, row=site.where, pool=pool, file=file, far=metres))
        else:
            new.append(_as_pool(site))
            ledger.remark(say(NEW_PRIVATE_POOL if site.private else NEW_POOL, site=site.id, row=site.where))
    if new:
        blank = {name: "" if kind == "str" else None for name, kind in POOLS.items()}
        added = shaped(pd.DataFrame([blank | row for row in new]), POOLS)
        both = pd.concat([pools, added], ignore_index=True) if len(pools) else added
        pools = both.sort_values(["pool", "x", "y"], kind="stable", ignore_index=True)
    return SetOut(pools, names)


IS_POOL = "{site} was set out ({row}), and it is the pool {pool} of {file}, {far} from the suggested place."
IS_PRIVATE_POOL = "{site} was set out ({row}), and it is the pool {pool} of {file}, the nearest in its zone."
NEW_POOL = (
    "{site} was set out ({row}), and no pool of pools.* stands there: it counts as a pool of this name at the "
    "suggested place. Add it to pools.* with its exact place."
)
NEW_PRIVATE_POOL = (
    "{site} was set out ({row}), and no pool of pools.* stands in its zone: it counts as a pool of this name in the "
    "middle of its square. Add it to pools.* with its exact place."
)


def tell_agreed(status: gpd.GeoDataFrame, pools: pd.DataFrame, up: NDArray[np.bool_], ledger: Ledger) -> None:
    """Remarks on agreed sites on open land in whose zone a pool stands already: most likely it is theirs."""
    points = shapely.points(pools[["x", "y"]].to_numpy(float))
    for site in sites_in(status, SiteState.AGREED):
        there = np.flatnonzero(up & shapely.intersects(site.ground, points))
        if len(there) and not site.private:
            told = "{site} is agreed ({row}), and the pool {pool} stands in its zone; if it is that one, write set out"
            ledger.remark(say(told, site=site.id, row=site.where, pool=str(pools["pool"].iloc[there[0]])))


def _as_pool(site: Site) -> dict[str, object]:
    """What is known of a pool of which there is nothing but the site."""
    corners = shapely.get_coordinates(site.ground)
    reach = float(np.hypot(corners[:, 0] - site.x, corners[:, 1] - site.y).max())
    return {
        "pool": site.id,
        "x": site.x,
        "y": site.y,
        "uncertainty_m": round(max(reach, uncertainty_m(SQUARE_M) if site.private else 0.0), 1),
        **dict.fromkeys(("set_out", "set_out_first", "set_out_last"), site.date),
        "private": YesNo.YES.value if site.private else YesNo.NO.value,
        "file": site.file,
        "row": site.row,
    }
