"""Two seasons compared: what changed between them, and why the headline did.

Both folders are read by today's method, and one input after another is taken from the new season in place of the old
one. What is swapped are frames and rasters, each read and checked in its own folder.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS
from pyproj.exceptions import CRSError

from habitatmap.area import Area, area_of
from habitatmap.changes.causes import Cause, Headline, split
from habitatmap.changes.comparison import Comparison, Side, Visits
from habitatmap.changes.pools import Change, Why, as_known, changes_of_pools, renames
from habitatmap.changes.since import Since
from habitatmap.changes.sites import State, counts, elsewhere, what_became_of_sites
from habitatmap.errors import InputError
from habitatmap.export.season import Season, altered, kept_seasons, season_of
from habitatmap.geo.crs import transform
from habitatmap.geo.engine import one_blas_thread
from habitatmap.habitat.score import score_habitat
from habitatmap.job import (
    choose_sites,
    likely_places,
    reach_by_simulation,
    reach_now,
    survey_pools,
    where_pools_may_stand,
    years_ahead,
)
from habitatmap.read.earlier_sites import FOLDER as OUT
from habitatmap.read.earlier_sites import read_earlier_sites
from habitatmap.read.files import read_tables
from habitatmap.read.folder import area_folder
from habitatmap.read.formats.cells import as_text
from habitatmap.read.hashes import hash_of_layers, hash_of_program
from habitatmap.read.intake import take_in
from habitatmap.read.layers import layers_of
from habitatmap.read.pools import standing
from habitatmap.read.readings import read_readings
from habitatmap.read.settings import Settings, read_settings
from habitatmap.result import Result
from habitatmap.result.assembly import versions
from habitatmap.result.findings import Places, Proposal, Reach, Survey
from habitatmap.result.tables import interval
from habitatmap.survey.seasons import seasons
from habitatmap.vocabulary.kinds import Kind
from habitatmap.vocabulary.terms import Outcome, SiteState, YesNo

# keys of area.toml that say how a folder is read: they go with its files, the others are settings of the method
OF_READING = ("title", "crs", "as_of", "land_cover", "source_crs", "encoding", "columns", "units", "credits")
# what changes no figure: those of people, notes, and other commands'
NO_FIGURE = ("language", "rounds", "sheets", "archive", "public", "cautions")
NO_MATTER = ("file", "row", "note", "host", "photo", "observer", "geometry", "action")
SEARCHED = (Outcome.LARVAE, Outcome.NONE_SEEN)

Say = Callable[[int, int], None]  # so many runs are done, of so many


@dataclass(frozen=True)
class Folder:
    """One of the two: an area folder, and the season that it is, None for today's area."""

    path: Path
    season: Season | None
    settings: Settings

    @classmethod
    def of(cls, path: Path) -> Folder:
        """The folder at a path. Raises InputError where it is none."""
        return cls(area_folder(path), season_of(path), read_settings(path))

    @property
    def name(self) -> str:
        """The season's name, "" where it is today's area."""
        return self.season.name if self.season else ""

    @cached_property
    def summary(self) -> Mapping[str, object]:
        """The figures that its map left, empty where it has none that can be read."""
        try:
            found = json.loads((self.path / OUT / "summary.json").read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return {}
        return found if isinstance(found, dict) else {}

    @property
    def crs(self) -> CRS | None:
        """The reference system of its map; None where nobody knows."""
        try:
            return CRS(str(self.summary.get("crs")))
        except CRSError:
            return None

    def in_system(self, places: pd.DataFrame, crs: CRS) -> tuple[np.ndarray, np.ndarray]:
        """x and y of places of its map in another system; NaN where nobody knows."""
        x, y = places["x"].to_numpy(float), places["y"].to_numpy(float)
        return (x * np.nan, y * np.nan) if self.crs is None else transform(x, y, self.crs, crs)

    @property
    def kept(self) -> Headline | None:
        """The headline that was kept."""
        if self.season is None:
            return None
        reach, occupancy = (_part(self.summary, name) for name in ("forage_in_reach", "occupancy"))
        return Headline(_figure(reach, "now"), _figure(reach, "with_plan"), _figure(occupancy, "estimate"))

    @property
    def is_of_today(self) -> bool:
        """Whether its map was made by the program and the libraries of today."""
        if self.season is None:
            return True
        record = self.season.record
        return record.get("program") == hash_of_program() and record.get("versions") == versions()


@dataclass(frozen=True)
class Run:
    """What the stages up to the plan found in an area, real or put together."""

    area: Area
    survey: Survey
    places: Places
    reach: Reach
    ends: tuple[float, float]
    """The middle 95 % of forage in reach now."""
    proposal: Proposal
    surface: np.ndarray

    @property
    def headline(self) -> Headline:
        """Its figures. With no plan there is none with it."""
        figures = self.survey.known.figures
        with_plan = self.proposal.selection.with_plan if len(self.proposal.sites) else self.reach.now
        return Headline(float(self.reach.now), float(with_plan), float(figures.estimate))


def read_both(old: Path, new: Path) -> Both:
    """A kept season, and another one or an area of today, read and held against each other.

    Raises InputError where `old` is no kept season, where it is of a later day than `new`, or where a folder can't be
    read.
    """
    first, last = Folder.of(old), Folder.of(new)
    if first.season is None:
        raise InputError(
            f"{old} is no kept season; expected one that was kept before, such as AREA/seasons/2025 (habitatmap freeze "
            "keeps one)"
        )
    both = Both(first, last)
    if both.old.as_of > both.new.as_of:
        raise InputError(
            f"{first.name} is of {both.old.as_of}, after {last.name or last.path} ({both.new.as_of}): give the earlier "
            "season first"
        )
    return both


def compare(both: Both, say: Say = lambda _done, _of: None) -> Comparison:
    """What changed from one to the other; `say` is told how many of the calculations are done."""
    first, last = both.folders[False], both.folders[True]
    changed = tuple(both.changed())
    of = max(2 * len(changed), 1 + len(changed))
    done = 0
    # of the sets in between only the figures are kept: a run holds rasters
    ends: dict[frozenset[Cause], Run] = {}

    def run_with(causes: frozenset[Cause]) -> Run:
        nonlocal done
        found = both.run(causes)
        done += 1
        say(done, of)
        return found

    for causes in (frozenset[Cause](), frozenset(changed)):
        ends[causes] = ends.get(causes) or run_with(causes)
    before, after = ends[frozenset()], ends[frozenset(changed)]
    forward, backward = split(changed, lambda causes: (ends.get(causes) or run_with(causes)).headline)
    pools = changes_of_pools(
        both.old.pools, both.new.pools, both.stands[False], both.stands[True], both.old.as_of, both.said
    )
    sites = _what_became(both, after, pools)
    visits = {side: _known_visits(area) for side, area in ((False, both.old), (True, both.new))}
    sides = [_side(first, before, visits[False], both.old), _side(last, after, visits[True], both.new)]
    fresh, lost = _differing_visits(visits[False], visits[True], both.names)
    return Comparison(
        title=both.new.title,
        old=sides[0],
        new=sides[1],
        pools=pools,
        sites=sites,
        elsewhere=elsewhere(sites, _set_out_since(pools)),
        new_visits=fresh,
        lost_visits=lost,
        changed=changed,
        forward=forward,
        backward=backward,
        method=_method(sides),
    )


def _method(sides: list[Side]) -> Headline:
    """What today's method gives for what was kept, less what was kept: of the old season as a gain, of the new one as a
    loss, so that kept figures and causes add up."""
    parts = [side.figures.less(side.kept) if side.kept else Headline(0.0, 0.0, 0.0) for side in sides]
    return parts[0].less(parts[1])


class Both:
    """Two folders, read in every mixture of inputs, layers and settings that is asked for."""

    def __init__(self, old: Folder, new: Folder) -> None:
        self.folders = {False: old, True: new}
        self.crs: str | None = None
        self.differ = {
            Cause.LAYERS: self._layers(False) != self._layers(True),
            Cause.SETTINGS: _of_method(old.settings) != _of_method(new.settings),
        }
        self._read: dict[tuple[bool, bool, bool], Area] = {}
        self.new = self.area(True, True, True)
        self.old = self.area(False, False, False)
        if self.old.crs != self.new.crs:
            self.crs = self.new.crs.to_string()
            self._read.clear()
            self.new, self.old = self.area(True, True, True), self.area(False, False, False)
        self.stands = {side: standing(a.pools, a.visits, a.as_of) for side, a in ((False, self.old), (True, self.new))}
        self.said = _renamed(new.path, self.new)
        stood, stand, day = self.stands[False], self.stands[True], self.old.as_of
        self.names = renames(self.old.pools, self.new.pools, stood, stand, day, self.said)

    def area(self, inputs: bool, layers: bool, settings: bool) -> Area:
        """The folder of one side (True: the new one), with the layers and the settings of another."""
        key = (inputs, layers and self.differ[Cause.LAYERS], settings and self.differ[Cause.SETTINGS])
        if key not in self._read:
            own, other = self.folders[inputs], self.folders[settings]
            said = {name: getattr(own.settings, name) for name in OF_READING}
            mixed = other.settings.model_copy(update=said)
            if self.crs is not None:
                mixed = mixed.model_copy(update={"crs": self.crs})
            day = own.season.as_of if own.season else None
            with layers_of(self.folders[layers].path):
                intake = take_in(own.path, None, mixed)
                if intake.faults:
                    raise intake.faults[0]
                self._read[key] = area_of(intake, day)
        return self._read[key]

    def changed(self) -> list[Cause]:
        """What differs between the two, in the stated order; inputs are held against each other as the layers and the
        settings of the new one read them."""
        a, b = self.area(False, True, True), self.new
        parts: dict[Cause, bool] = {
            Cause.POOLS: not _same(self._pools(False, self.new), self._pools(True, self.new)),
            Cause.VISITS: a.as_of != b.as_of or not _same(_known_visits(a), _known_visits(b)),
            Cause.CONSENT: not (_same(a.land, b.land, shapes=True) and _same(_states(a), _states(b))),
            Cause.LAND_COVER: not _same_cover(a, b),
            Cause.TREES: not (_same(a.trees, b.trees) and a.inventoried == b.inventoried),
            Cause.OTHER: not (
                _same(a.keep_away, b.keep_away, shapes=True)
                and _same(a.committed, b.committed)
                and _same(a.paths, b.paths, shapes=True)
            ),
            **self.differ,
        }
        return [cause for cause in Cause if parts.get(cause)]

    def run(self, new: frozenset[Cause]) -> Run:
        """The stages up to the plan, with these causes as in the new season and the others as in the old one."""
        layers, settings = Cause.LAYERS in new, Cause.SETTINGS in new

        def of(cause: Cause) -> Area:
            return self.area(cause in new, layers, settings)

        base, visits, other = of(Cause.LAND_COVER), of(Cause.VISITS), of(Cause.OTHER)
        trees, land = of(Cause.TREES), of(Cause.CONSENT)
        pools = self._pools(Cause.POOLS in new, visits)
        given = _named_as(visits.visits, self.names, Cause.POOLS in new, Cause.VISITS in new)
        searched = given[(given["outcome"] != Outcome.GONE) & given["pool"].isin(set(pools["pool"]))]
        area = replace(
            base,
            as_of=visits.as_of,
            pools=pools,
            visits=searched.reset_index(drop=True),
            land=land.land,
            plan_status=land.plan_status,
            trees=trees.trees,
            inventoried=trees.inventoried,
            keep_away=other.keep_away,
            paths=other.paths,
            names=other.names,
            committed=other.committed,
            earlier_sites=other.earlier_sites,
            has=_has(of),
        )
        with layers_of(self.folders[layers].path):
            return _run(area)

    def _pools(self, side: bool, told: Area) -> gpd.GeoDataFrame:
        """The pools of one side as known on its day, so that the same ones stand on the day of `told`."""
        own = self.new if side else self.old
        return as_known(own.pools, self.stands[side], own.as_of, told.as_of)

    def _layers(self, side: bool) -> str:
        with layers_of(self.folders[side].path):
            return hash_of_layers()


@one_blas_thread()
def _run(area: Area) -> Run:
    habitat = score_habitat(area)
    survey = survey_pools(area, habitat)
    places = likely_places(area, survey)
    reach = reach_now(area, habitat, survey, places)
    allowed = where_pools_may_stand(area, habitat, survey)
    ahead = years_ahead(area, habitat, survey, places)
    proposal = choose_sites(area, habitat, survey, places, allowed, ahead, reach)
    simulated = reach_by_simulation(area, habitat, survey, places, reach, proposal.sites.iloc[:0])
    ends = interval(simulated.now, reach.now)
    return Run(area, survey, places, reach, ends, proposal, reach.surface(habitat.season))


# --- what is the same ------------------------------------------------------------------------------------------------


def _same(a: pd.DataFrame, b: pd.DataFrame, shapes: bool = False) -> bool:
    """Whether two frames hold the same rows, but for what changes no figure."""
    plain = [frame.drop(columns=[*NO_MATTER], errors="ignore").reset_index(drop=True) for frame in (a, b)]
    if not pd.DataFrame(plain[0]).equals(pd.DataFrame(plain[1])):
        return False
    return not shapes or bool(a.geometry.reset_index(drop=True).geom_equals(b.geometry.reset_index(drop=True)).all())


def _same_cover(a: Area, b: Area) -> bool:
    if a.grid != b.grid or a.boundary != b.boundary or (a.land_cover is None) != (b.land_cover is None):
        return False
    if a.hazards.keys() != b.hazards.keys() or any((a.hazards[k] != b.hazards[k]).any() for k in a.hazards):
        return False
    if a.land_cover is None or b.land_cover is None:
        return True
    return bool((a.land_cover.classes == b.land_cover.classes).all()) and a.land_cover.table.equals(b.land_cover.table)


def _of_method(settings: Settings) -> dict[str, object]:
    """The settings that shape figures; those that say how files are read go with the files."""
    said = settings.model_dump()
    return {name: part for name, part in said.items() if name not in (*OF_READING, *NO_FIGURE)}


def _has(of: Callable[[Cause], Area]) -> frozenset[Kind]:
    """The kinds of input that a mixture holds."""
    kinds = {
        Cause.POOLS: (Kind.POOLS,),
        Cause.VISITS: (Kind.VISITS,),
        Cause.CONSENT: (Kind.LAND, Kind.CONSENT, Kind.PLAN_STATUS),
        Cause.TREES: (Kind.TREES, Kind.INVENTORIED),
        Cause.OTHER: (Kind.KEEP_AWAY, Kind.PATHS, Kind.NAMES, Kind.COMMITTED, Kind.ADDRESSES),
    }
    named = {kind for some in kinds.values() for kind in some}
    rest = {kind for kind in of(Cause.LAND_COVER).has if kind not in named}
    return frozenset(rest | {kind for cause, some in kinds.items() for kind in some if kind in of(cause).has})


# --- names, visits, sites --------------------------------------------------------------------------------------------


def _renamed(folder: Path, area: Area) -> dict[str, str]:
    """Old name -> new name of pools, as readings.xlsx and the column old_name say."""
    said = {one.old: one.new for one in read_readings(folder).names if one.old and one.new}
    given = area.pools["old_name"].astype(str)
    return said | {old: new for old, new in zip(given, area.pools["pool"], strict=True) if old}


def _named_as(visits: pd.DataFrame, names: Mapping[str, str], new_pools: bool, new_visits: bool) -> pd.DataFrame:
    """The visits with the names that their pools have on the side of the pools."""
    if new_pools == new_visits or not names:
        return visits
    change = names if new_pools else {new: old for old, new in names.items()}
    return visits.assign(pool=visits["pool"].map(lambda name: change.get(name, name)))


def _known_visits(area: Area) -> pd.DataFrame:
    """The visits that count on the day of an area."""
    return area.visits[area.visits["date"] <= pd.Timestamp(area.as_of)].reset_index(drop=True)


def _differing_visits(old: pd.DataFrame, new: pd.DataFrame, names: Mapping[str, str]) -> tuple[int, int]:
    """How many visits only the new list has, and how many only the old one."""
    what = ["pool", "date", "outcome", "larvae", "taxon"]
    counted = [
        frame.assign(pool=frame["pool"].map(lambda name: names.get(name, name)))[what]
        .astype(str)
        .value_counts(dropna=False)
        for frame in (old, new)
    ]
    before, after = counted[0].align(counted[1], fill_value=0)
    return int((after - before).clip(lower=0).sum()), int((before - after).clip(lower=0).sum())


def _counted(visits: pd.DataFrame) -> Visits:
    return Visits(
        len(visits),
        int(visits["outcome"].isin(SEARCHED).sum()),
        int((visits["outcome"] == Outcome.LARVAE).sum()),
    )


def _side(folder: Folder, run: Run, visits: pd.DataFrame, area: Area) -> Side:
    season = folder.season
    told = season.record.get("versions") if season else versions()
    return Side(
        name=folder.name,
        as_of=area.as_of,
        version=str(told.get("habitatmap", "")) if isinstance(told, Mapping) else "",
        figures=run.headline,
        low=run.ends[0],
        high=run.ends[1],
        kept=None if (kept := folder.kept) is None else _filled(kept, run.headline),
        same_program=folder.is_of_today,
        altered=tuple(altered(folder.path)) if season else (),
        occupancy=run.survey.known.figures,
        seasons=seasons(run.survey.known),
        visits=_counted(visits),
        standing=pd.DataFrame(run.area.pools.loc[run.survey.standing, ["pool", "x", "y"]]).reset_index(drop=True),
        grid=run.area.grid,
        reach=run.surface,
    )


def _states(area: Area) -> gpd.GeoDataFrame:
    """The sites of which somebody wrote a state, other than that somebody must be asked."""
    status = area.plan_status
    return status[status["state"] != SiteState.TO_ASK].drop(columns=["place", "by"])


STATES = {
    SiteState.ASKED: State.ASKED,
    SiteState.AGREED: State.AGREED,
    SiteState.REFUSED: State.REFUSED,
    SiteState.SET_OUT: State.SET_OUT,
    SiteState.GIVEN_UP: State.GIVEN_UP,
}


def _filled(kept: Headline, figures: Headline) -> Headline:
    """The figures that were kept; where one can't be read, what today's method gives for it."""
    return Headline(*(b if math.isnan(a) else a for a, b in zip(kept, figures, strict=True)))


def _set_out_since(pools: pd.DataFrame) -> pd.DataFrame:
    """The pools that were set out since: pool, x, y."""
    fresh = pools[(pools["change"] == Change.GAINED) & (pools["why"] != Why.STANDS_AGAIN)]
    return fresh[["pool", "x", "y"]].reset_index(drop=True)


def _what_became(both: Both, after: Run, pools: pd.DataFrame) -> pd.DataFrame:
    """The old plan, site by site."""
    x, y = after.area.grid.centre(after.proposal.sites["row"], after.proposal.sites["col"])
    suggested = pd.DataFrame({"x": x, "y": y})
    return _sites_became(both.folders[False], both.new, suggested, pools)


def _sites_became(kept: Folder, today: Area, suggested: pd.DataFrame, pools: pd.DataFrame) -> pd.DataFrame:
    """What became of a kept plan by today's lists and today's plan (`suggested`: x, y)."""
    register, _ = read_earlier_sites(kept.path, today.crs)
    register = register[register["suggested"] == YesNo.YES]
    about = _kept_plan(kept.path).reindex(register["id"].astype(str))
    x, y = kept.in_system(register, today.crs)
    sites = gpd.GeoDataFrame(
        {
            "rank": pd.to_numeric(about["rank"]).to_numpy(),
            "id": register["id"].astype(str).to_numpy(),
            "place": about["place"].fillna("").to_numpy(),
            "consent": about["consent"].fillna("").to_numpy(),
            "private": register["private"].to_numpy(),
            "x": x,
            "y": y,
        },
        geometry=list(register.geometry),
        crs=today.crs,
    ).sort_values("rank", kind="stable")
    said = today.plan_status
    told = {str(site): STATES[SiteState(s)] for site, s in zip(said["id"], said["state"], strict=True) if s in STATES}
    within_m = kept.settings.plan.spacing_m / 2
    return what_became_of_sites(
        sites.reset_index(drop=True), _set_out_since(pools), today.land, suggested, within_m, told
    )


# --- since the last kept season --------------------------------------------------------------------------------------


def since_last_season(result: Result) -> Since | None:
    """What changed from the last season that the area keeps to a map of today, by what was kept; None where no season
    is kept, or what was kept can't be read. Nothing is calculated anew."""
    area, plan = result.findings.area, result.findings.proposal.sites
    earlier = [one for one in kept_seasons(area.folder) if one.as_of <= area.as_of]
    if not earlier:
        return None
    kept = Folder.of(earlier[-1].folder)
    pools = _kept_pools(kept, area)
    if pools is None or kept.kept is None:
        return None
    stood, stands = (pools["standing"] == YesNo.YES).to_numpy(), result.findings.survey.standing
    changed = changes_of_pools(pools, area.pools, stood, stands, earlier[-1].as_of, _renamed(area.folder, area))
    x, y = area.grid.centre(plan["row"], plan["col"])
    sites = _sites_became(kept, area, pd.DataFrame({"x": x, "y": y}), changed)
    return Since(
        name=kept.name,
        as_of=earlier[-1].as_of,
        pools={change: int((changed["change"] == change).sum()) for change in Change},
        sites=counts(list(sites["state"])),
        before=kept.kept.now,
        now=float(result.figures.forage_in_reach.now),
    )


def _kept_pools(kept: Folder, area: Area) -> pd.DataFrame | None:
    """pool, x, y (m, as in `area`), uncertainty_m, standing of a kept pools.csv; None where it can't be read."""
    path, columns = kept.path / OUT / "pools.csv", ["pool", "x", "y", "uncertainty_m", "standing"]
    try:
        table = read_tables(path)[0]
        at = [list(table.headings).index(name) for name in columns]
    except (InputError, OSError, IndexError, ValueError):
        return None
    frame = pd.DataFrame([[row[i] for i in at] for row in table.rows], columns=columns)
    for name in columns[1:4]:
        frame[name] = pd.to_numeric(frame[name].astype(str).str.replace(",", "."), errors="coerce")
    frame["x"], frame["y"] = kept.in_system(frame, area.crs)
    return frame.assign(pool=frame["pool"].map(as_text), standing=frame["standing"].map(as_text))


def _kept_plan(folder: Path) -> pd.DataFrame:
    """rank, place and consent of each site of a kept plan.csv, by its id; empty where there is none."""
    columns = ["rank", "place", "consent"]
    path = folder / OUT / "plan.csv"
    found = read_tables(path) if path.is_file() else []
    rows = found[0].rows if found else []
    heads = list(found[0].headings) if found else []
    if not {"id", *columns} <= set(heads):
        return pd.DataFrame(columns=columns)
    cells = {name: [as_text(row[heads.index(name)]) for row in rows] for name in ("id", *columns)}
    return pd.DataFrame(cells).set_index("id")


# --- figures ---------------------------------------------------------------------------------------------------------


def _part(summary: Mapping[str, object], name: str) -> Mapping[str, object]:
    part = summary.get(name)
    return part if isinstance(part, Mapping) else {}


def _figure(part: Mapping[str, object], name: str) -> float:
    value = part.get(name)
    return float(value) if isinstance(value, int | float) else math.nan
