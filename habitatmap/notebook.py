"""An area as a person works with it at a Python prompt or in a notebook: another plan, other settings."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import TypedDict, Unpack

from habitatmap import area as folder
from habitatmap.job import run
from habitatmap.read.settings import Settings, with_changes
from habitatmap.result import Result
from habitatmap.words.prompt import area_lines, area_table

Setting = str | float | datetime.date | Sequence[str] | Mapping[str, object] | None
# the tables and keys of area.toml that nothing depends on while a folder is read
AFTER_READING = frozenset("title language season near gap occupancy plan cautions rounds public sheets archive".split())


class Terms(TypedDict, total=False):
    """The keys of [plan] in area.toml but for `pools`."""

    spacing_m: float
    consent: Sequence[str]
    private: bool
    objective: str
    found_from: str
    years: int
    budget: float | None
    cost_per_site: float
    cost_by_kind: Mapping[str, float]
    cost_unit: str
    quota: Mapping[str, object]


@dataclass(frozen=True, repr=False)
class Area(folder.Area):
    """An area folder, read and checked: its tables, its settings, and plans made for it.

    `pools`, `trees`, `land`, `keep_away`, `paths`, `names` and `committed` are GeoDataFrames in the area's `crs`;
    `visits` has no places of its own. Lengths are metres. `committed_in`: the further file of committed sites, if any.
    """

    committed_in: Path | None = None

    def plan(self, pools: int | None = None, **terms: Unpack[Terms]) -> Result:
        """A plan, with keys of [plan] other than area.toml has them: `area.plan(pools=5, spacing_m=150)`.

        A number of pools stands in place of the budget of area.toml. What the stages before have found is taken again.
        Raises InputError with a sentence for each key or value that can't be.
        """
        changes: dict[str, Setting] = {f"plan__{key}": value for key, value in terms.items()}  # type: ignore[misc]
        if pools is not None:
            changes = {"plan__pools": pools, "plan__budget": None} | changes
        return run(self.with_settings(**changes), public=False)

    def with_settings(self, **changes: Setting) -> Area:
        """This area with other settings; this one stays as it is. `plan__pools=5` is the key pools of [plan]; None
        stands for the default. Where reading the folder depends on what has changed, such as cell_m, it is read anew.

        Raises InputError with a sentence for each key or value that can't be.
        """
        settings = with_changes(self.settings, changes)
        changed = {name for name in Settings.model_fields if getattr(settings, name) != getattr(self.settings, name)}
        if changed <= AFTER_READING and "as_of" not in changes:
            return folder.with_settings(self, settings)
        day = settings.as_of if "as_of" in changes else self.as_of
        return _opened(folder.open_area(self.folder, day, self.committed_in, settings), self.committed_in)

    def __repr__(self) -> str:
        return area_lines(self)

    def _repr_html_(self) -> str:
        return area_table(self)


def open_area(path: str | Path, as_of: datetime.date | None = None, committed: Path | None = None) -> Area:
    """Reads an area folder as of a day: `as_of`, else area.toml's, else today.

    `committed` is one more file of committed sites; where it was saved on the map page, the pools taken out there do
    not stand on that day (their visits still count for the estimate).
    Raises InputError (or its CrsError, LayerError) with one sentence where the folder cannot be used.
    """
    return _opened(folder.open_area(path, as_of, committed), committed)


def _opened(area: folder.Area, committed: Path | None) -> Area:
    return Area(**{one.name: getattr(area, one.name) for one in fields(area) if one.init}, committed_in=committed)
