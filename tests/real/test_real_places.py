"""Real places from end to end: Helsinki's centre (a raster with a legend of its own, an extract) and Kotka (no tree).

Sources, licences and known defects stand in the README beside the data (OpenStreetMap: ODbL; CORINE:
Finnish Environment Institute). Nothing of it is copied into this repository.
"""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import osmium
import pandas as pd
import pytest
import rasterio
import shapely
from click.testing import CliRunner
from osmium.geom import WKBFactory

from habitatmap.cli.main import commands
from habitatmap.read.layers import load_class_table
from tests.beside import FOLDER

HELSINKI = FOLDER / "data" / "real" / "helsinki"
pytestmark = pytest.mark.skipif(not HELSINKI.is_dir(), reason="the real data do not lie beside the checkout")


def invoke(*words: str | Path) -> None:
    done = CliRunner().invoke(commands, ["-q", *map(str, words)])
    assert done.exit_code == 0, f"{done.output}\n{done.exception!r}"


def mapped(area: Path) -> dict:  # type: ignore[type-arg]
    invoke("map", area)
    held = subprocess.run([sys.executable, FOLDER / "contract", area / "out"], capture_output=True, text=True)
    assert held.returncode == 0, held.stdout
    return json.loads((area / "out" / "summary.json").read_text(encoding="utf-8"))


def inferred_legend(path: Path) -> Path:
    """The legend that was inferred for this raster, as a class table of the area's own."""
    with (HELSINKI / "land_cover_legend_inferred.csv").open(encoding="utf-8") as f:
        rows = [(r["value"], r["name"], f"corine:{r['clc_level3']}") for r in csv.DictReader(f)]
    with path.open("w", encoding="utf-8", newline="") as f:
        csv.writer(f).writerows([("code", "label", "like"), *rows])
    return path


# map tags of ground on which no pool can stand, as the extract itself has them
EXCLUDED = (
    *(("leisure", use) for use in ("pitch", "track", "stadium", "marina", "swimming_pool")),
    *(("landuse", use) for use in ("construction", "railway", "quarry", "landfill", "garages", "military", "port")),
    *(
        ("amenity", "parking"),
        ("amenity", "fuel"),
        ("man_made", "quay"),
        ("man_made", "pier"),
        ("aeroway", "aerodrome"),
    ),
)


def excluded_ground(pbf: Path) -> gpd.GeoDataFrame:
    """The areas with such tags, read with osmium alone."""
    shapes, found = WKBFactory(), []
    for thing in osmium.FileProcessor(str(pbf)).with_areas():
        if not thing.is_area():
            continue
        tags = dict(thing.tags)
        uses = [f"{key}={value}" for key, value in EXCLUDED if tags.get(key) == value]
        uses += ["building"] * ("building" in tags) + ["road area"] * ("highway" in tags and tags.get("area") == "yes")
        if uses:
            found.append((uses[0], shapely.from_wkb(shapes.create_multipolygon(thing))))
    return gpd.GeoDataFrame({"use": [use for use, _ in found]}, geometry=[shape for _, shape in found], crs=4326)


def assert_pools_can_stand(area: Path, pbf: Path) -> None:
    """No site lies in a land use where none can, or within 5 m of a building."""
    plan = pd.read_csv(area / "out" / "plan.csv")
    crs = gpd.read_file(area / "land.gpkg").crs
    ground = excluded_ground(pbf).to_crs(crs)
    sites = gpd.GeoSeries(gpd.points_from_xy(plan["lon"], plan["lat"]), crs=4326).to_crs(crs)
    assert len(sites)
    for place, site in zip(plan["place"], sites, strict=True):
        metres = ground.distance(site)
        near = ground[(metres <= 0) | (ground["use"].eq("building") & (metres < 4.9))]
        assert near.empty, (place, near["use"].tolist())


def assert_much_forage_is_said(area: Path, summary: dict) -> None:  # type: ignore[type-arg]
    """The classes with more than 15 % of the forage, by cell centres in the polygons of land_cover.gpkg, are told."""
    cover = gpd.read_file(area / "land_cover.gpkg")
    with rasterio.open(area / "out" / "rasters" / "forage_season.tif") as raster:
        forage, at = raster.read(1), raster.transform
    row, col = np.nonzero(~np.isnan(forage))
    centres = gpd.GeoSeries(gpd.points_from_xy(at.c + at.a * (col + 0.5), at.f + at.e * (row + 0.5)), crs=cover.crs)
    inside = centres.within(gpd.read_file(area / "boundary.gpkg").union_all())
    cells = gpd.GeoDataFrame({"forage": forage[row, col]}, geometry=centres)[inside]
    by_class = cells.sjoin(cover, predicate="within").groupby("class")["forage"].sum() / cells["forage"].sum()
    labels = load_class_table("osm").set_index("code")["label"]
    much = {labels[code]: share for code, share in by_class.items() if share > 0.15}
    said = {one["class"]: one["share"] for one in summary["dominant"]}
    assert said == pytest.approx(much, abs=0.01)  # a centre on an edge may fall to either side


def assert_places_can_be_said(area: Path) -> None:
    """No site and no unnamed land is called by its kind alone: each is told by a name of the extract."""
    plan, land = pd.read_csv(area / "out" / "plan.csv"), pd.read_csv(area / "out" / "places.csv")
    frames = [gpd.read_file(path) for name in ("names", "land", "paths") if (path := area / f"{name}.gpkg").exists()]
    names = {name for frame in frames for name in frame["name"].dropna() if name}
    kinds = {str(kind).casefold() for kind in land["kind"]}
    assert plan["id"].tolist() == [f"S{rank}" for rank in plan["rank"]]
    for place in [*plan["place"], *land["place"], *pd.read_csv(area / "out" / "ask_first.csv")["place"]]:
        assert place.casefold() not in kinds
        assert any(name in place for name in names), place


def test_helsinki(tmp_path: Path) -> None:
    area = tmp_path / "helsinki"
    pbf, raster = HELSINKI / "helsinki.osm.pbf", HELSINKI / "land_cover_corine20m.tif"
    legend = inferred_legend(tmp_path / "legend.csv")
    invoke("new", area, "--osm", pbf, "--land-cover", raster, "--classes", legend)
    summary = mapped(area)
    assert summary["crs"] == "EPSG:3067"
    assert summary["intake"]["trees"]["read"] == 649  # natural=tree nodes, counted with osmium (README)
    assert summary["plan"]["pools"] == 10
    assert summary["candidates"]["lost"]["keep-away: playground"] > 0
    assert any("OpenStreetMap" in credit for credit in summary["credits"])
    assert summary["candidates"]["lost"]["excluded: pitch"] > 0
    assert summary["candidates"]["lost"]["excluded: railway area"] > 0
    assert summary["forage_in_reach"]["with_plan"] > 0.3  # of the ground that the extract tells of, not of all 20 km2
    assert any("cells of 20 m" in note for note in summary["notes"])
    assert_pools_can_stand(area, pbf)
    assert_places_can_be_said(area)


@pytest.mark.slow
@pytest.mark.parametrize("pbf", ["helsinki/helsinki.osm.pbf", "liechtenstein/liechtenstein.osm.pbf"])
def test_by_map_tags_alone(pbf: str, tmp_path: Path) -> None:
    area, extract = tmp_path / "place", HELSINKI.parent / pbf
    invoke("new", area, "--osm", extract)
    summary = mapped(area)
    assert_pools_can_stand(area, extract)
    assert_places_can_be_said(area)
    assert_much_forage_is_said(area, summary)


def test_kotka_has_no_tree(tmp_path: Path) -> None:
    area = tmp_path / "kotka"
    pbf = HELSINKI / "kotka.osm.pbf"
    invoke("new", area, "--osm", pbf)
    summary = mapped(area)
    assert_pools_can_stand(area, pbf)
    assert_places_can_be_said(area)
    assert_much_forage_is_said(area, summary)
    assert summary["intake"]["trees"] == {"read": 0, "accepted": 0, "set_aside": 0}
    assert any("trees" in sentence.lower() for sentence in summary["missing"])
    assert summary["plan"]["pools"] > 0
