"""The page as a text: its policy, its data, its pictures. Nothing here needs a browser."""

from __future__ import annotations

import base64
import io
import json
import re
import subprocess
import sys
import zlib
from dataclasses import replace
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
from PIL import Image
from pyproj import CRS, Transformer
from shapely.geometry import LineString, box

from habitatmap.errors import HabitatmapError
from habitatmap.geo import leaflet
from habitatmap.geo.grid import Grid
from habitatmap.page import document as figure
from habitatmap.page import map_page, public_page
from habitatmap.page.background import SORTS
from habitatmap.page.coding import Writer
from habitatmap.page.names import names
from habitatmap.page.payload import _streets_in
from habitatmap.page.pictures import OUTSIDE, WebMap
from habitatmap.privacy import FEWEST_PRIVATE
from habitatmap.vocabulary.themes import FORAGE_BREAKS, THEMES
from habitatmap.words.page_words import WORDS
from tests.browser.town import CELL, CRS_CODE, NORTH, WEST, blurred, nothing_in_it, square, town


def block(page: str, name: str) -> Any:
    """A block's data, inflated where it is packed."""
    found = re.search(rf'<script type="([^"]+)" id="{name}"([^>]*)>(.*?)</script>', page, re.S)
    assert found, f"no block {name}"
    if "data-packed" not in found[2]:
        return json.loads(found[3])
    plain = zlib.decompress(base64.b64decode(found[3]))
    return json.loads(plain) if "json" in found[2] else plain


def all_text(page: str) -> str:
    """The page with its packed blocks laid open."""
    packed = re.findall(r'<script type="text/plain" id="([^"]+)" data-packed="json">', page)
    return page + "".join(json.dumps(block(page, name), ensure_ascii=False, separators=(",", ":")) for name in packed)


def test_the_policy_allows_no_unsafe_thing(team_html: str) -> None:
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]+)"', team_html)
    assert policy
    assert "unsafe" not in policy[1]
    assert policy[1].startswith("default-src 'none'; script-src 'sha256-")
    assert "http" not in policy[1]


def test_two_builds_give_the_same_bytes(team_html: str) -> None:
    assert map_page(town()) == team_html


def test_another_hash_seed_gives_the_same_bytes(team_html: str) -> None:
    code = "import sys; from tests.browser.town import nothing_in_it, town; from habitatmap.page import map_page;"
    code += "sys.stdout.buffer.write(map_page(town()).encode())"
    run = subprocess.run([sys.executable, "-c", code], env={"PYTHONHASHSEED": "7"}, capture_output=True, check=True)
    assert run.stdout.decode() == team_html


def test_the_plan_of_the_page_is_the_plan(team_html: str) -> None:
    result = town()
    rows = block(team_html, "plan")
    assert [row["rank"] for row in rows] == result.plan["rank"].tolist()
    assert [row["place"]["with"]["name"] for row in rows] == result.plan["place"].tolist()
    assert np.allclose([row["gain"] for row in rows], result.plan["gain"], rtol=1e-5)


def test_a_suggestion_on_private_ground_has_no_point(team_html: str) -> None:
    rows = [row for row in block(team_html, "plan") if row["private"]]
    assert len(rows) == 2
    assert all(row["at"] is None and row["xy"] is None for row in rows)


def test_a_zone_without_a_shape_is_not_drawn() -> None:
    result = town()
    zones = result.zones.assign(geometry=result.zones.geometry.where(result.zones["private"] == "no", None))
    for row in block(map_page(replace(result, zones=zones)), "plan"):
        assert bool(row["zone"]) is not row["private"]


def test_hosts_and_observers_stay_out(team_html: str) -> None:
    assert "Secretname" not in all_text(team_html)


def test_pools_lie_where_they_lie(team_html: str) -> None:
    pools, frame = block(team_html, "pools"), town().pools
    lon, lat = Transformer.from_crs(3035, 4326, always_xy=True).transform(frame["x"], frame["y"])
    assert np.allclose(np.cumsum(pools["x"]) / 1e5, lon, atol=6e-6)
    assert np.allclose(np.cumsum(pools["y"]) / 1e5, lat, atol=6e-6)


def test_an_area_across_the_180th_meridian_is_refused_with_a_way_out() -> None:
    """Taveuni in Fiji lies on both sides: a web map would be drawn round the world."""
    crs = CRS.from_epsg(32701)  # UTM 1S, which begins at 180 degrees
    across = Grid.covering(176_000, 8_134_000, 188_000, 8_146_000, 10.0)
    with pytest.raises(HabitatmapError, match=r"180th meridian.*cut it there into two areas"):
        WebMap.of(across, crs)
    assert WebMap.of(Grid.covering(188_000, 8_134_000, 190_000, 8_136_000, 10.0), crs).width > 100


@pytest.mark.parametrize("side_m", [400, 1900, 9000])
def test_the_map_begins_with_the_outline_of_the_area_and_not_with_all_data(side_m: int) -> None:
    """Land cover often reaches kilometres beyond the boundary, and sites would crowd in the middle of it."""
    outline = box(WEST + 60, NORTH - 60 - side_m, WEST + 60 + side_m, NORTH - 60)
    shown = box(*outline.bounds).intersection(box(WEST, NORTH - 200 * CELL, WEST + 200 * CELL, NORTH))
    result = replace(town(), boundary=outline)
    ((south, west), (north, east)) = block(map_page(result), "facts")["bounds"]
    ways = Transformer.from_crs(3035, 4326, always_xy=True).transform_bounds(*shown.bounds)
    assert (west, south, east, north) == pytest.approx(ways, abs=1e-6)
    whole = block(map_page(replace(town(), boundary=None)), "facts")["bounds"]
    assert whole == block(map_page(town()), "themes")["bounds"]


@pytest.mark.parametrize("cell", [(3, 3), (10, 180), (111, 30), (140, 90), (199, 199), (199, 0), (75, 60)])
def test_a_cell_falls_on_its_pixel(cell: tuple[int, int]) -> None:
    """One marked block of 3 x 3 cells: the pixel under its middle has its colour, pixels 60 m off do not."""
    result = town()
    marked = np.zeros((200, 200), dtype=np.float32)
    row, col = cell
    marked[max(0, row - 1) : row + 2, max(0, col - 1) : col + 2] = 1.0
    result.rasters["dead_wood"] = marked
    themes = block(map_page(result), "themes")
    theme = next(one for one in themes["pictures"] if one["name"] == "dead_wood")
    image = np.asarray(Image.open(io.BytesIO(base64.b64decode(theme["url"].split(",")[1]))).convert("RGB"))
    ((south, west), (north, east)) = themes["bounds"]
    to_web = Transformer.from_crs(4326, 3857, always_xy=True)
    (left, right), (bottom, top) = to_web.transform([west, east], [south, north])

    def colour(x: float, y: float) -> str:
        px, py = Transformer.from_crs(3035, 3857, always_xy=True).transform(x, y)
        j, i = int((px - left) / (right - left) * image.shape[1]), int((top - py) / (top - bottom) * image.shape[0])
        return "#" + "".join(f"{v:02x}" for v in image[i, j])

    x, y = WEST + (col + 0.5) * CELL, NORTH - (row + 0.5) * CELL
    assert colour(x, y) == theme["colours"][-1]
    inward = 60 if col < 100 else -60
    assert colour(x + inward, y) == theme["colours"][0]


def test_a_raster_without_a_value_shows_as_not_known() -> None:
    result = town()
    result.rasters["occupancy"] = np.full_like(result.rasters["occupancy"], np.nan)
    names = [one["name"] for one in block(map_page(result), "themes")["pictures"]]
    assert "occupancy" not in names
    assert "forage_season" in names


def test_no_picture_has_more_than_eight_classes(team_html: str) -> None:
    for theme in block(team_html, "themes")["pictures"]:
        assert len(theme["colours"]) <= 8


def test_ramps_go_evenly_from_light_to_dark() -> None:
    """Lightness alone tells the classes apart: so does a grey print, and an eye of any kind of colour-blindness."""
    for theme in THEMES:
        light = [_luminance(colour) ** (1 / 3) for colour in theme.colours]
        steps = -np.diff(light)
        assert (steps > 0.04).all(), theme.name
        assert len(theme.colours) == len(theme.breaks) + 1


def _luminance(colour: str) -> float:
    """Relative luminance as the Web Content Accessibility Guidelines 2 define it."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_ten_thousand_pools_stay_under_a_megabyte() -> None:
    assert len(map_page(town(pools=10_000)).encode()) < 1_000_000


def test_every_word_is_used_and_every_used_word_is_there() -> None:
    # a page inside another that does not name its encoding would run another script than the one that is allowed
    assert figure.own_script().isascii()
    sources = figure.own_script() + figure.asset("skeleton.html")
    groups = ("consent.", "consent_long.", "outcome.", "flag.", "privacy.", "theme.", "unit.", "meaning.")
    built = (
        *groups,
        "mark.",
        "ground_",
        "as_of",
        "kind_",
        "look.",
        "name.",
        "near.",
        "assumptions",
        "how_many",
        "pools_by.",
        "month_",
        "try_",
    )  # keys that are put together, or used in Python
    called = set(re.findall(r'words\.([a-z_0-9]+)|say\("([a-z_0-9.]+)"|words\["([a-z_0-9.]+)"\]', sources))
    missing = {key for found in called for key in found if key and not key.endswith((".", "_")) and key not in WORDS}
    missing -= {"includes", "sentences"}  # a list's own method; what other rooms say
    assert not missing
    for key in WORDS:
        stem = re.sub(r"_(head|one)$", "", key)
        assert key.startswith(built) or stem in sources, key


# ------------------------------------------------------------------------------------------------------ public page


def test_the_public_page_holds_no_private_place() -> None:
    result = town()
    page = all_text(public_page(result, blurred(result)))
    lon, lat = Transformer.from_crs(3035, 4326, always_xy=True).transform(result.pools["x"], result.pools["y"])
    for x, y in zip(lon, lat, strict=True):
        assert f"{round(x * 1e5)},{round(y * 1e5)}" not in page
    for word in ("Secretname", "Pool 1", "private 1", "Wend Park", "3 searches"):
        assert word not in page
    for name in ("pools", "land", "links", "trees", "keep-away"):
        assert f'id="{name}"' not in page


def test_the_public_page_shows_public_suggestions_only() -> None:
    result = town()
    rows = block(public_page(result, blurred(result)), "plan")
    assert [row["rank"] for row in rows] == list(range(1, 9))
    assert not any(row["private"] for row in rows)
    assert "Orchard Row" not in {row["place"]["with"]["name"] for row in rows}


def test_a_private_pool_moved_within_its_square_changes_no_byte() -> None:
    result, moved = town(), town()
    side = result.settings.public.blur_m
    private = moved.pools["private"] == "yes"
    for axis in ("x", "y"):
        corner = np.floor(moved.pools.loc[private, axis] / side) * side
        moved.pools.loc[private, axis] = corner + 0.1234 * side
    assert public_page(result, blurred(result)) == public_page(moved, blurred(moved))


def test_a_square_with_few_gardens_does_not_count_them() -> None:
    result = town(pools=60)
    private = ["yes", "yes", "no", "no", "no", "no"]
    pools = result.pools.iloc[:6].assign(x=WEST + 500.0, y=NORTH - 500.0, flag="", private=private)
    result = replace(result, pools=pools)
    cells = block(public_page(result, blurred(result)), "cells")
    assert [cell["n"] for cell in cells] == [4]
    result = replace(result, pools=pools.iloc[:4])
    assert block(public_page(result, blurred(result)), "cells") == []
    assert FEWEST_PRIVATE == 3


def test_a_public_page_needs_the_blurred_result() -> None:
    with pytest.raises(ValueError, match="blurred"):
        public_page(town())


# --------------------------------------------------------------------------------------------------- odd results


def test_an_area_with_nothing_in_it_still_has_a_page() -> None:
    result = nothing_in_it()
    page = map_page(result)
    assert block(page, "themes")["pictures"] == []
    assert block(page, "facts")["reach"]["now"] is None
    assert public_page(result, result)


def test_a_wrong_leaflet_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(leaflet.LEAFLET_SHA256, "leaflet.js", "0" * 64)
    with pytest.raises(HabitatmapError, match=r"Leaflet 1\.9\.4"):
        leaflet.leaflet()


def test_json_in_a_script_is_inert() -> None:
    hostile = "</script><!-- & \u2028 \ud800"
    text = figure.json_for_script([hostile])
    assert not re.search("[<>&\u2028\ud800]", text)
    assert json.loads(text) == [hostile]
    with pytest.raises(ValueError):
        figure.json_for_script(float("nan"))


def test_shown_text_is_as_written_but_for_what_can_not_be_shown() -> None:
    assert figure.shown("a\u202eb\u2066c") == "abc"
    assert figure.shown("x\ud800\x00y") == "x\ufffd\ufffdy"
    assert figure.shown("{{7*7}} </script> 'é' 🪵") == "{{7*7}} </script> 'é' 🪵"


# ------------------------------------------------------------------------------------------------------- background


def test_each_pixel_goes_through_the_year_as_its_cell_does(team_html: str) -> None:
    result = town()
    year, of = block(team_html, "months"), block(team_html, "month-of")
    number = np.frombuffer(of[: len(of) // 2], np.uint8) + 256 * np.frombuffer(of[len(of) // 2 :], np.uint8).astype(int)
    frame = WebMap.of(result.grid, result.crs)
    assert (year["width"], year["height"]) == (frame.width, frame.height)
    shown = np.array(year["profiles"])[number].reshape(frame.height, frame.width, 12)
    july = frame.classes(result.forage_months[6], FORAGE_BREAKS)
    inside = shown[..., 6] != OUTSIDE
    assert inside.mean() > 0.9
    assert (shown[..., 6][inside] == july[inside]).all()
    assert year["lean"] == 9
    assert (year["first"], year["last"]) == (3, 10)


def test_a_name_stands_on_the_straightest_stretch_and_reads_from_the_left() -> None:
    paths = gpd.GeoDataFrame(
        {"name": ["Long Street", "Long Street", "", "Brook"], "kind": ["primary", "primary", "residential", "stream"]},
        geometry=[
            LineString([(0, 0), (-300, 300)]),
            LineString([(0, 0), (50, 0)]),
            LineString([(0, 0), (9, 9)]),
            LineString([(0, 0), (0, 100)]),
        ],
        crs=CRS_CODE,
    )
    land = gpd.GeoDataFrame(
        {"name": ["Green", "Somebody's"], "private": ["no", "yes"]}, geometry=[square(0, 0, 50)] * 2, crs=CRS_CODE
    )
    found = names(paths, land, SORTS, Writer(CRS.from_epsg(CRS_CODE)))
    assert found["text"] == ["Green", "Brook", "Long Street"]
    assert found["sort"] == ["land", "water", "main"]
    assert found["room_m"] == [100, 100, 424]
    assert found["turn"] == [0, -90, 45]
    cut = names(paths.assign(name="x" * 10_000), land, SORTS, Writer(CRS.from_epsg(CRS_CODE)))
    assert max(map(len, cut["text"])) == 40


def test_a_gap_names_its_streets_longest_first() -> None:
    paths = gpd.GeoDataFrame(
        {"name": ["Short", "Long", "Long", "", "Far", "Touching"], "kind": "residential"},
        geometry=[
            LineString([(0, 0), (8, 0)]),
            LineString([(0, 2), (6, 2)]),
            LineString([(0, 4), (6, 4)]),
            LineString([(-9, 1), (9, 1)]),
            LineString([(50, 50), (60, 60)]),
            LineString([(10, 10), (20, 20)]),
        ],
        crs=CRS_CODE,
    )
    assert _streets_in(np.array([square(0, 0, 10), square(500, 0, 1)]), paths) == [["Long", "Short"], []]
    assert _streets_in(np.array([square(0, 0, 10)]), paths[:0]) == [[]]
