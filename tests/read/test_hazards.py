"""Steep and flooding ground from rasters: units stated or refused, cells without data not known and so not excluded."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from habitatmap.area import Area, open_area
from habitatmap.errors import InputError
from habitatmap.job import run
from habitatmap.vocabulary.terms import Hazard
from tests.areas import area_folder, class_table, write_area, write_raster

SLOPES = [[0, 10, 20, 21, 40, -9]]


def opened(folder: Path, toml: str, slopes: object = SLOPES, **files: object) -> Area:
    area = write_area(folder, np.ones((1, 6), np.uint8), class_table({1: 0.5}), toml=toml)
    write_raster(area / "steep.tif", slopes, nodata=-9, dtype="float32")
    for name, values in files.items():
        write_raster(area / f"{name}.tif", values)
    return open_area(area)


@pytest.mark.parametrize(
    ("toml", "steep"),
    [
        ('[siting]\nslope_unit = "degrees"', [0, 0, 0, 1, 1, 0]),
        ('[siting]\nslope_unit = "percent"', [0, 0, 0, 0, 1, 0]),  # 20 degrees are 36.4 %
        ('[siting]\nslope_unit = "degrees"\nsteeper_than_deg = 5', [0, 1, 1, 1, 1, 0]),
    ],
)
def test_ground_steeper_than_the_limit_is_steep(tmp_path: Path, toml: str, steep: list[int]) -> None:
    assert opened(tmp_path, toml).hazards[Hazard.STEEP].astype(int).tolist() == [steep]


def test_slopes_without_a_unit_are_refused_with_the_line_to_add(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r'steep.tif does not say the unit.*\[siting\] slope_unit = "degrees"'):
        opened(tmp_path, "")


def test_shapes_belong_into_keep_away(tmp_path: Path) -> None:
    area = area_folder(tmp_path, pools="pool,x,y\nA,500000,5400000\n", floods="kind,wkt\nfloods,POINT (1 1)\n")
    with pytest.raises(InputError, match=r"floods.csv is no raster; expected floods.tif, or the shapes in keep_away"):
        open_area(area)


def test_no_pool_is_planned_on_either(tmp_path: Path) -> None:
    toml = '[siting]\nslope_unit = "degrees"\n[plan]\nspacing_m = 10'
    result = run(opened(tmp_path, toml, floods=[[1, 0, 0, 1, 0, 0]]), public=False)
    lost = {reason: n for reason, n in result.figures.candidates.lost.items() if n}
    assert lost == {"excluded: floods": 2, "excluded: steep": 1}
    assert result.figures.candidates.left == 3
