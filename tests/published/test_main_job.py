"""The whole command on areas whose forage score has a closed form on the plane.

Source: closed forms of the 2-D exponential kernel (project FACTS 10.1 and 10.2, each found by two integrals): habitat
that fills the half-plane beyond distance d of a point has the share (1/pi) int_{x > d/a} x K1(x) dx; a disc of radius
R around it 1 - (1 + R/a) exp(-R/a).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from habitatmap.cli.main import house
from tests.areas import centre, class_table, write_area

CELLS, MIDDLE = 161, 80
ROWS, COLS = np.indices((CELLS, CELLS))
EAST_OF_25_M = COLS >= MIDDLE + 3  # the edge runs 25 m east of the middle cell's centre
DISC_200_M = np.hypot(ROWS - MIDDLE, COLS - MIDDLE) * 10 <= 200


@pytest.mark.parametrize(
    ("habitat", "scale_m", "expected"),
    [
        pytest.param(EAST_OF_25_M, 100.0, 0.422370043, id="half-plane d/a=0.25"),
        pytest.param(EAST_OF_25_M, 50.0, 0.352019967, id="half-plane d/a=0.5"),
        pytest.param(DISC_200_M, 100.0, 0.593994150, id="disc R/a=2"),
        pytest.param(COLS >= 0, 100.0, 1.0, id="habitat everywhere"),
    ],
)
def test_forage_score_at_the_pool_is_the_closed_form(
    tmp_path: Path, habitat: np.ndarray, scale_m: float, expected: float
) -> None:
    area = write_area(
        tmp_path / "plane",
        np.where(habitat, 2, 1).astype(np.uint8),
        class_table({1: 0.0, 2: 1.0}),
        pools=[("middle", *centre(MIDDLE, MIDDLE))],
        toml=f"[flight]\nforage_median_m = {scale_m * 1.678346990}\n[plan]\npools = 1\n",
    )
    done = CliRunner().invoke(house, ["-q", "map", str(area)], catch_exceptions=False)
    assert done.exit_code == 0
    pools = pd.read_csv(area / "out" / "pools.csv")
    # cells of 10 m against a plane: below 0.2 % from a/h = 3 on (FACTS 10.3), a little more at an edge
    assert pools["forage_score"].iloc[0] == pytest.approx(expected, abs=0.002)
