"""Ways along paths, on nets small enough to walk with a finger."""

from __future__ import annotations

import networkx as nx
import numpy as np
import pytest
import shapely
from shapely import LineString, MultiLineString

from habitatmap.fieldwork.footpaths import along_paths, straight_lines

# a square of 100 m with a crossing line that shares no corner with it
SQUARE = LineString([(0, 0), (100, 0), (100, 100), (0, 100), (0, 0)])
ACROSS = LineString([(50, -50), (50, 150)])


def test_a_square_by_hand() -> None:
    found = along_paths([0, 100, 50], [0, 100, 120], [SQUARE, ACROSS], within_m=50)
    # round the square 200; to the top: 50 to the crossing line, 100 up along it, 20 beyond
    np.testing.assert_allclose(found.distances, [[0, 200, 170], [200, 0, 70], [170, 70, 0]], atol=1e-6)
    assert found.by_path.sum() == 6
    line = found.line(0, 2)
    assert LineString(line).length == pytest.approx(170)
    np.testing.assert_allclose(line[[0, -1]], [[0, 0], [50, 120]])
    np.testing.assert_allclose(found.line(2, 0), line[::-1])


def test_the_bits_off_the_path_count() -> None:
    found = along_paths([10, 90], [5, -8], [LineString([(0, 0), (100, 0)])], within_m=50)
    assert found.distances[0, 1] == pytest.approx(5 + 80 + 8)
    np.testing.assert_allclose(found.line(0, 1), [[10, 5], [10, 0], [90, 0], [90, -8]])


def test_straight_where_paths_do_not_help() -> None:
    lines = [LineString([(0, 0), (100, 0)]), LineString([(0, 500), (100, 500)])]
    found = along_paths([0, 0, 5, 50], [0, 500, 10, 300], lines, within_m=100)
    assert found.distances[0, 1] == 500  # no path leads over
    assert found.off_path.tolist() == [False, False, False, True]
    assert found.distances[3, 1] == pytest.approx(np.hypot(50, 200))  # too far from any
    assert not found.by_path[3].any()
    near = along_paths([0, 8], [40, 40], lines, within_m=100)
    assert near.distances[0, 1] == 8  # two pools side by side in a meadow: nobody walks back to the path
    np.testing.assert_allclose(near.line(0, 1), [[0, 40], [8, 40]])


def test_no_paths_at_all() -> None:
    for found in (
        straight_lines([0, 3], [0, 4]),
        along_paths([0, 3], [0, 4], [], 100),
        along_paths([], [], [SQUARE], 100),
    ):
        assert not found.by_path.any()
    assert straight_lines([0, 3], [0, 4]).distances[0, 1] == 5
    far = along_paths([0, 3], [0, 4], [LineString([(9e5, 0), (9e5, 10)])], 100)
    assert far.distances[0, 1] == 5


def test_pools_on_one_spot_and_parallel_ways() -> None:
    lines = MultiLineString([[(0, 0), (50, 60), (100, 0)], [(0, 0), (100, 0)]]).geoms
    found = along_paths([0, 100, 100], [0, 0, 0], list(lines), 50)
    np.testing.assert_allclose(found.distances, [[0, 100, 100], [100, 0, 0], [100, 0, 0]], atol=1e-6)


@pytest.mark.parametrize("seed", range(3))
def test_as_a_slow_obvious_net_says(seed: int) -> None:
    """A lattice of streets, pools on its corners: networkx on the corners gives the same metres."""
    draw = np.random.default_rng(seed)
    streets = nx.grid_2d_graph(8, 8)
    kept = [edge for edge in streets.edges if draw.random() < 0.75]
    lines = [LineString([(100 * a, 100 * b), (100 * c, 100 * d)]) for (a, b), (c, d) in kept]
    graph = nx.Graph(kept)
    corners = sorted(max(nx.connected_components(graph), key=len))
    chosen = [corners[i] for i in draw.choice(len(corners), 12, replace=False)]
    found = along_paths([100.0 * a for a, _ in chosen], [100.0 * b for _, b in chosen], lines, 10)
    for i, a in enumerate(chosen):
        for j, b in enumerate(chosen):
            assert found.distances[i, j] == pytest.approx(100 * nx.shortest_path_length(graph, a, b), abs=1e-4)
            if i != j:
                assert shapely.length(LineString(found.line(i, j))) == pytest.approx(found.distances[i, j], abs=1e-4)
