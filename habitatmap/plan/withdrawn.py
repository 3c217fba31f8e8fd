"""The ground that suggested sites lost: what was refused and what was given up (plan_status.xlsx).

Where the consent of a piece of land was still to be asked for, a refusal takes all of it; where its owner had agreed to
pools already, there or by agreeing to another site, the refusal is about this place, and its zone leaves. On private
land, where hosts are sought, the private plots of the zone leave. A site that is given up takes its zone and no more.
"""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from habitatmap.geo.grid import Grid
from habitatmap.geo.masks import cells_in
from habitatmap.plan.candidates import Lost
from habitatmap.read.plan_status import Site, sites_in
from habitatmap.vocabulary.terms import Consent, SiteState, YesNo

Bools = NDArray[np.bool_]

COLUMNS = ["owner", "name", "place", "kind", "consent", "private"]


def refused_land(status: gpd.GeoDataFrame, land: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """COLUMNS and shapes of the refused ground, as `consent_priorities` takes land to ask for: `owner` the ids of its
    sites, `place` what to call it. `land` has kind, consent, private and place."""
    found: dict[bytes, list[Site]] = {}
    shapes: dict[bytes, tuple[BaseGeometry, int]] = {}
    agreed = sites_in(status, SiteState.AGREED, SiteState.SET_OUT)
    for site in sites_in(status, SiteState.REFUSED):
        shape, at = _refused(site, land, agreed)
        if not shape.is_empty:
            found.setdefault(shape.wkb, []).append(site)
            shapes[shape.wkb] = shape, at
    rows = []
    for key, sites in found.items():
        at = shapes[key][1]
        named = at >= 0 and land["place"].iloc[at]
        rows.append(
            {
                "owner": ", ".join(site.id for site in sites),
                "name": "",
                "place": land["place"].iloc[at] if named else sites[0].place,
                "kind": str(land["kind"].iloc[at]) if at >= 0 else "",
                "consent": Consent.ASK.value,
                "private": YesNo.YES.value if any(site.private for site in sites) else YesNo.NO.value,
            }
        )
    table = gpd.GeoDataFrame(rows, columns=COLUMNS, geometry=[shapes[key][0] for key in found], crs=land.crs)
    return table.astype({"place": object})


def withdrawn_ground(
    status: gpd.GeoDataFrame, land: gpd.GeoDataFrame, grid: Grid, *, refused: bool = True
) -> dict[Lost, Bools]:
    """The cells (rows, cols) that were refused or given up, by reason; none for a reason that no site has. Without
    `refused`, as if nobody had refused."""
    agreed = sites_in(status, SiteState.AGREED, SiteState.SET_OUT)
    shapes = {
        Lost.REFUSED: [_refused(one, land, agreed)[0] for one in sites_in(status, SiteState.REFUSED)]
        if refused
        else [],
        Lost.GIVEN_UP: [_zone(one, land) for one in sites_in(status, SiteState.GIVEN_UP)],
    }
    return {reason: cells_in(ground, grid) for reason, ground in shapes.items() if ground}


def on_land_asked(register: gpd.GeoDataFrame, status: gpd.GeoDataFrame, land: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The register of sites, the zones of those that somebody was asked for cut to that person's land, as the question
    was about no other."""
    shapes = register.geometry.copy()
    for site in sites_in(status, SiteState.ASKED):
        on = _on(land, site)
        for at in np.flatnonzero(register["id"] == site.id):
            if len(on) and not site.private:
                shapes.iloc[at] = shapely.intersection(shapes.iloc[at], land.geometry.iloc[on[0]])
    return register.set_geometry(shapes)


def _on(land: gpd.GeoDataFrame, site: Site) -> NDArray[np.int64]:
    """The rows of `land` that a site lies on."""
    return np.sort(land.sindex.query(shapely.Point(site.x, site.y), predicate="intersects"))


def _refused(site: Site, land: gpd.GeoDataFrame, agreed: Sequence[Site]) -> tuple[BaseGeometry, int]:
    """The ground that a refusal takes, and the row of `land` where it is a whole piece of land, else -1.

    agreed: sites on whose land somebody said yes to a pool.
    """
    if not site.private:
        for at in _on(land, site):
            shape = land.geometry.iloc[at]
            yes = land["consent"].iloc[at] == Consent.YES
            if not yes and not any(shape.intersects(shapely.Point(one.x, one.y)) for one in agreed):
                return shape, int(at)
    return _zone(site, land), -1


def _zone(site: Site, land: gpd.GeoDataFrame) -> BaseGeometry:
    """The zone of a site; on private land its private plots, where there is a list of land."""
    if not site.private or land.empty:
        return site.ground
    plots = land.geometry[(land["private"] == YesNo.YES).to_numpy()]
    within = plots.iloc[np.sort(plots.sindex.query(site.ground, predicate="intersects"))]
    return shapely.intersection(shapely.union_all(within.to_numpy()), site.ground) if len(within) else site.ground
