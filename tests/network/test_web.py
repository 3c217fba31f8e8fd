"""The network's figures and lines on small maps, by hand."""

from __future__ import annotations

import math
from dataclasses import asdict

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray
from pyproj import CRS

from habitatmap.geo.flight import FlightKernel
from habitatmap.geo.grid import Grid
from habitatmap.network import web
from habitatmap.network.places import breeding_places
from habitatmap.network.web import CostliestLoss, Web, describe_network
from habitatmap.read.settings import FlightSettings, Settings

GRID = Grid(left=0, top=1000, cell_m=10, rows=100, cols=300)
FLIGHT = FlightSettings(link_m=1000, merge_m=30, dispersal_median_m=500)
UTM = CRS.from_epsg(32635)
HALF = np.full(GRID.shape, 0.5)


def reach(d_m: float) -> float:
    return float(FlightKernel(500).reach_weight(d_m))


def network(
    pools: list[tuple[float, float]], sites: list[tuple[float, float]], access: NDArray[np.float64] = HALF
) -> Web:
    """Pools with p = 0.4, and suggested sites with p = 0.5, at x and distance y below the top."""
    frame = pd.DataFrame({"pool": [f"P{k}" for k in range(len(pools))]}).assign(
        x=[x for x, _ in pools], y=[1000 - y for _, y in pools]
    )
    trees = pd.DataFrame({"x": np.empty(0), "y": np.empty(0)})
    counted = np.ones(len(pools), bool)
    places = breeding_places(frame, counted, np.full(len(pools), 0.4), trees, [], GRID, Settings(flight=FLIGHT))
    new = pd.DataFrame({"x": [x for x, _ in sites], "y": [1000 - y for _, y in sites]}, dtype=float)
    row, col = GRID.cell_of(new["x"], new["y"])
    return describe_network(places, new.assign(row=row, col=col, p=0.5), access, FLIGHT, UTM)


def test_figures_and_lines_of_two_pools_and_a_far_one() -> None:
    found = network([(5, 5), (605, 5), (2505, 5)], [])
    figures = found.figures
    assert (figures.places, figures.components, figures.links, figures.cut_places) == (3, 2, 1, 0)
    assert figures.ec_now == pytest.approx(math.sqrt(3 * 0.2**2 + 2 * 0.2**2 * reach(600)))
    assert figures.ec_with_plan == figures.ec_now
    assert figures.ec_standard_error == 0
    assert figures.link_m == 1000
    (line,) = found.links.to_dict("records")
    assert (line["from_place"], line["to_place"], line["length_m"]) == (0, 1, 600)
    assert line["probability"] == pytest.approx(reach(600))
    assert list(line["geometry"].coords) == [(5, 995), (605, 995)]
    assert found.links.crs == UTM


def test_of_very_many_links_those_are_drawn_that_best_paths_need(monkeypatch: pytest.MonkeyPatch) -> None:
    pools = [(5 + 100 * at, 5) for at in range(8)]
    every = network(pools, [])
    monkeypatch.setattr(web, "MOST_LINES", 27)
    some = network(pools, [])
    assert every.figures == some.figures
    assert every.figures.links == len(every.links) == 28
    # of places in a row no best path skips a place for nothing, but it may once one is lost
    apart = (some.links["to_place"] - some.links["from_place"]).tolist()
    assert 0 < len(apart) < 28
    assert apart.count(1) == 7
    both = every.links.merge(some.links, on=["from_place", "to_place"])
    assert both["probability_x"].to_numpy() == pytest.approx(both["probability_y"].to_numpy())


def test_the_costliest_loss_may_be_a_stepping_stone_of_little_weight() -> None:
    access = HALF.copy()
    access[0, 50] = 0.4  # of the pool in the middle, whose own weight is therefore the least
    loss = network([(5, 5), (505, 5), (1005, 5)], [], access).figures.costliest_loss
    side, middle, k = 0.2, 0.16, reach(500)
    flux, stepping = 4 * side * middle * k, 2 * side**2 * (k * k - reach(1000))
    whole = 2 * side**2 + middle**2 + flux + 2 * side**2 * k * k
    percent = 100 * (middle**2 + flux + stepping) / whole
    assert loss == CostliestLoss("pool P1", 1, 505.0, 995.0, pytest.approx(percent), False)


def test_a_costliest_loss_names_all_its_members() -> None:
    loss = network([(5, 5), (5, 15), (605, 5)], []).figures.costliest_loss
    assert loss is not None
    assert (loss.place, loss.place_number, loss.x, loss.y) == ("pool P0, pool P1", 0, 5.0, 990.0)


def test_without_it_the_network_falls_apart() -> None:
    loss = network([(5, 5), (805, 5), (1605, 5)], []).figures.costliest_loss
    assert loss is not None
    assert loss.place == "pool P1"
    assert loss.cuts_the_network


def test_a_suggestion_joins_the_pool_it_merges_with() -> None:
    # 20 m apart they are one breeding place: p = 1 - 0.6 x 0.5, access 0.5
    assert network([(5, 5)], [(25, 5)]).figures.ec_with_plan == pytest.approx(0.7 * 0.5)
    # 600 m apart they are two
    apart = math.sqrt(0.2**2 + 0.25**2 + 2 * 0.2 * 0.25 * reach(600))
    assert network([(5, 5)], [(605, 5)]).figures.ec_with_plan == pytest.approx(apart)


def test_nothing_known_is_not_zero() -> None:
    nowhere = network([], []).figures
    assert nowhere.places == 0
    assert math.isnan(nowhere.ec_now)
    assert nowhere.costliest_loss is None
    blind = network([(5, 5)], [(605, 5)], np.full(GRID.shape, np.nan)).figures
    assert math.isnan(blind.ec_now)
    assert math.isnan(blind.ec_with_plan)
    assert blind.costliest_loss is None
    idle = network([(5, 5)], [], np.zeros(GRID.shape)).figures
    assert idle.ec_now == 0
    assert idle.costliest_loss is None


def test_every_figure_has_its_name_in_the_summary() -> None:
    figures = asdict(network([(5, 5), (605, 5)], []).figures)
    expected = "places components links ec_now ec_with_plan ec_standard_error cut_places link_m weight link_probability"
    assert list(figures) == [*expected.split(), "costliest_loss"]
    assert figures["costliest_loss"]["place"] == "pool P0"
