"""The threats of guide/privacy.md, each tried; the list of the guide and these tests go together."""

from __future__ import annotations

import base64
import io
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from PIL import Image

import habitatmap
from habitatmap.area import Area
from habitatmap.export.archive import archive_of
from habitatmap.export.formats import csv_text
from habitatmap.page import map_page, public_page
from habitatmap.paper.pictures import pictures
from habitatmap.privacy import Threat, is_private
from habitatmap.reports.council import report_html
from habitatmap.result import Result
from tests.areas import CRS, area_folder
from tests.demo import demo_area, demo_result

TESTS = Path(__file__).parent
GUIDE = TESTS.parent / "habitatmap" / "guide" / "privacy.md"
CANARY = "Zzyzx-Canary"


def public_products(result: Result) -> dict[str, bytes]:
    given = archive_of(result.findings.area)
    tables = csv_text(given.events) + csv_text(given.occurrences)
    pages = {"public_map.html": public_page(result).encode(), "darwin_core.zip": tables.encode()}
    return pages | dict(pictures(result))


def private_numbers(area: Area) -> np.ndarray:
    return np.flatnonzero(is_private(area.pools, area.land))


def test_every_threat_stands_in_the_guide_and_names_a_test_that_exists() -> None:
    """The names of the list, and its column "tested by" against the functions of the files it names."""
    text = GUIDE.read_text(encoding="utf-8")
    rows = re.findall(r"^\| `(\w+)` \| .+ \| .+ \| `tests/([\w/]+\.py)::(\w+)` \|$", text, re.MULTILINE)
    assert [name for name, _, _ in rows] == list(Threat)
    for _, file, function in rows:
        source = (TESTS / file).read_text(encoding="utf-8")
        assert f"def {function}(" in source, f"{file} has no {function}"


@pytest.fixture(scope="module")
def joined() -> list[Result]:
    """The demo town with a canary for every name, host, observer and note, and one more garden, here or there in its
    square."""
    area = demo_area()
    at, side = private_numbers(area), area.settings.public.blur_m
    crowded = (area.pools.loc[at, ["x", "y"]] // side).value_counts().index[0]
    pools, land = area.pools.copy(), area.land.copy()
    renamed = {name: f"{CANARY}-pool-{i}" for i, name in enumerate(pools.loc[at, "pool"])}
    pools["pool"] = pools["pool"].replace(renamed)
    for column in ("host", "note"):
        pools[column] = f"{CANARY}-{column}"
    visits = area.visits.assign(
        pool=area.visits["pool"].replace(renamed), observer=f"{CANARY}-observer", note=f"{CANARY}-note"
    )
    hidden = land["private"] == "yes"
    assert hidden.any()
    land.loc[hidden, "name"] = f"{CANARY}-land"
    for column in ("id", "owner", "contact", "condition", "note", "consent_note", "said"):
        land[column] = [f"{CANARY}-{column}-{i}" for i in range(len(land))]
    made = []
    for share in (0.13, 0.86):
        x, y = (crowded[0] + share) * side, (crowded[1] + share / 2) * side
        new = pools.loc[[at[0]]].assign(pool=f"{CANARY}-joined", x=x, y=y, private="yes")
        every = pd.concat([pools, new]).sort_values(["pool", "x", "y"], ignore_index=True)
        made.append(habitatmap.run(replace(area, pools=every, visits=visits, land=land)))
    return made


def test_no_name_host_or_note_reaches_a_public_product(joined: list[Result]) -> None:
    for name, content in public_products(joined[0]).items():
        assert CANARY.encode() not in content, name
    assert CANARY in "".join(joined[0].pools["pool"])  # so that the canary was there to be found


def test_two_seasons_differ_by_the_square_and_not_by_the_garden(joined: list[Result]) -> None:
    """A garden that joins changes the public products alike, wherever in its square it lies."""
    one, other = map(public_products, joined)
    before = public_products(demo_result())
    assert one == other
    assert before["public_map.html"] != one["public_map.html"]  # the count of the square tells that somebody joined


def test_a_private_pool_moved_within_its_square_changes_no_public_byte(joined: list[Result]) -> None:
    """The whole job, on the demo town."""
    here, there = joined
    assert public_page(here) == public_page(there)
    assert list(pictures(here)) == list(pictures(there))
    assert map_page(here) != map_page(there)  # so that the move did matter


def test_pictures_inside_public_products_hold_no_more_than_pixels() -> None:
    """No EXIF, no text chunk: where and by what a picture was taken stays out."""
    products = public_products(demo_result())
    inside = [
        base64.b64decode(found)
        for content in products.values()
        for found in re.findall(rb"data:image/(?:webp|png);base64,([A-Za-z0-9+/=]+)", content)
    ]
    inside += [content for name, content in products.items() if name.endswith(".png")]
    assert len(inside) > 10
    for content in inside:
        with Image.open(io.BytesIO(content)) as picture:
            picture.load()
            assert not picture.getexif()
            assert not {
                key
                for key in picture.info
                if key not in ("loop", "background", "dpi", "timestamp", "duration", "transparency")
            }


def test_the_report_shows_no_pool() -> None:
    """It is for the committee, and even so no pool and no surface about pools is on it."""
    result = demo_result()
    page = report_html(result)
    for row in result.pools.itertuples():
        assert f">{row.pool}<" not in page
        assert f"{row.x:.0f}" not in page


def test_an_area_of_one_sheet_keeps_its_gardens_too(tmp_path: Path) -> None:
    """Without any raster the frame itself is made of places: of the blurred ones. One garden is known by its address
    alone, which is in no public product."""
    made = []
    for i, (dx, dy) in enumerate([(0, 0), (371, -402)]):
        places = [(500_420, 5_400_510), (500_700, 5_400_800), (500_450, 5_400_450)]
        places += [(503_501, 5_402_502), (503_503, 5_402_504)]
        rows = [f"P{k},{x},{y}," for k, (x, y) in enumerate(places)]
        folder = area_folder(
            tmp_path / str(i),
            f'title = "One sheet"\ncrs = "{CRS}"\nas_of = 2025-07-01\n',
            pools="\n".join(["pool,x,y,address", *rows, f"P5,,,{CANARY} Road 7"]) + "\n",
            addresses=f"street,house_number,x,y\n{CANARY} Road,7,{503_500 + dx},{5_402_500 + dy}\n",
        )
        area = habitatmap.open_area(folder)
        assert area.pools["x"].tolist()[5] == 503_500 + dx
        made.append(public_products(habitatmap.run(area)))
    assert made[0] == made[1]
    assert not any(CANARY.encode() in content for content in made[0].values())
