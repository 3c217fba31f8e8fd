"""What a GIS finds beside the shapes: styles, titles, metadata, keys, a project, and the page's own colours.

The tables are held against the OGC GeoPackage standard 12-128 (annexes F.8 Metadata and F.9 Schema). Where the GIS
whose project is written is installed, it opens all of it and draws it.
"""

from __future__ import annotations

import io
import re
import shutil
import sqlite3
import subprocess
import textwrap
import zipfile
from dataclasses import replace
from pathlib import Path
from xml.etree.ElementTree import Element

import numpy as np
import pyogrio
import pytest
import rasterio
from defusedxml import ElementTree

from habitatmap.export.formats import RASTERS, cog_bytes
from habitatmap.export.geopackage import KEYS, LAYERS, NAMED_BY, write_geopackage
from habitatmap.export.looks import RASTER_LOOKS, class_labels, layer_looks
from habitatmap.export.manifest import files_in
from habitatmap.export.project import GROUPS, project_bytes
from habitatmap.export.styles import qml, raster_qml, raster_sld, sld
from habitatmap.export.tables import told_tables
from habitatmap.page.pictures import FIRST, classes_of
from habitatmap.read.hashes import fingerprint
from habitatmap.read.settings import Settings
from habitatmap.vocabulary import themes
from habitatmap.vocabulary.results import meanings
from tests.results import base_result, invented

SE = "{http://www.opengis.net/se}"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The files for GIS of a small real run."""
    made, result = tmp_path_factory.mktemp("gis"), base_result()
    write_geopackage(result, made / "habitatmap.gpkg")
    (made / "habitatmap.qgz").write_bytes(project_bytes(result))
    (made / "rasters").mkdir()
    for name, raster in result.rasters.items():
        (made / "rasters" / f"{name}.tif").write_bytes(cog_bytes(name, raster, result.grid, result.crs))
    return made


@pytest.fixture(scope="module")
def base(folder: Path) -> sqlite3.Connection:
    return sqlite3.connect(folder / "habitatmap.gpkg")


def project(content: bytes) -> Element:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert archive.namelist() == ["habitatmap.qgs"]
        return xml(archive.read("habitatmap.qgs").decode())


def xml(text: str) -> Element:
    found = ElementTree.fromstring(text, forbid_dtd=False)
    assert isinstance(found, Element)
    return found


# --- the tables of the standard

# 12-128 F.8 tables 23, 25 and F.9 tables 28, 30: columns in their order, and which may not be null
STANDARD = {
    "gpkg_metadata": "id! md_scope! md_standard_uri! mime_type! metadata!",
    "gpkg_metadata_reference": "reference_scope! table_name column_name row_id_value timestamp! md_file_id! "
    "md_parent_id",
    "gpkg_data_columns": "table_name! column_name! name title description mime_type constraint_name",
    "gpkg_data_column_constraints": "constraint_name! constraint_type! value min min_is_inclusive max max_is_inclusive "
    "description",
}


def test_tables_for_metadata_and_titles_are_those_of_the_standard(base: sqlite3.Connection) -> None:
    for table, columns in STANDARD.items():
        rows = base.execute(f"PRAGMA table_info({table})").fetchall()
        assert " ".join(name + "!" * needed for _, name, _, needed, *_ in rows) == columns
    extensions = set(base.execute("SELECT table_name, extension_name, scope FROM gpkg_extensions"))
    of = {table: "gpkg_metadata" if "metadata" in table else "gpkg_schema" for table in STANDARD}
    assert {(table, of[table], "read-write") for table in STANDARD} <= extensions
    assert base.execute("PRAGMA foreign_key_check").fetchall() == []
    assert base.execute("PRAGMA integrity_check").fetchall() == [("ok",)]


def test_every_column_has_its_title_and_what_stands_in_it(base: sqlite3.Connection) -> None:
    told = {(table, column): rest for table, column, *rest in base.execute("SELECT * FROM gpkg_data_columns")}
    for layer in LAYERS:
        columns = [name for _, name, *_ in base.execute(f"PRAGMA table_info({layer})") if name not in ("fid", "geom")]
        assert columns == list(meanings(layer))
        titles = [told[layer, column][0] for column in columns]
        assert len(set(titles)) == len(titles), "requirement of the standard: names are unique in a table"
        assert all(told[layer, column][2] for column in columns)
    assert told["pools", "forage_m"][:2] == ["Nearest good forage", "Nearest good forage"]


def test_metadata_are_for_the_file_and_for_each_layer(base: sqlite3.Connection) -> None:
    rows = base.execute("SELECT * FROM gpkg_metadata_reference").fetchall()
    assert {row[0] for row in rows} == {"geopackage", "table"}
    for scope, table, column, row, stamp, number, parent in rows:
        assert column is None
        assert row is None
        assert (table is None) == (scope == "geopackage")
        assert table is None or base.execute("SELECT 1 FROM gpkg_contents WHERE table_name = ?", (table,)).fetchone()
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", stamp)
        assert number != parent
    assert {row[1] for row in rows} == {None, *LAYERS}
    texts = [text for (text,) in base.execute("SELECT metadata FROM gpkg_metadata")]
    assert all("for the team" in text for text in texts)
    descriptions = dict(base.execute("SELECT table_name, description FROM gpkg_contents"))
    assert all("." in descriptions[layer] for layer in LAYERS)


# --- types and keys


def test_days_are_days(folder: Path, base: sqlite3.Connection) -> None:
    for layer, column in (("visits", "date"), ("pools", "consent_until"), ("places", "until")):
        types = {name: kind for _, name, kind, *_ in base.execute(f"PRAGMA table_info({layer})")}
        assert types[column] == "DATE", (layer, column)
    days = pyogrio.read_dataframe(folder / "habitatmap.gpkg", layer="visits")["date"]
    assert [str(day)[:10] for day in days] == ["2025-05-01", "2025-05-01", "2025-06-01"]


def test_what_names_a_row_of_another_layer_finds_it(base: sqlite3.Connection) -> None:
    assert base.execute("SELECT count(*) FROM links").fetchone() == (3,), "three pools, each linked with the others"
    for layer, column, other in NAMED_BY:
        keys = [key for (key,) in base.execute(f"SELECT {KEYS[other]} FROM {other}")]
        assert len(set(keys)) == len(keys)
        assert {key for (key,) in base.execute(f"SELECT {column} FROM {layer}")} <= set(keys)
    indexed = {sql for (sql,) in base.execute("SELECT sql FROM sqlite_master WHERE type = 'index' AND sql NOT NULL")}
    assert all(any(f'ON "{layer}" ("{column}")' in sql for sql in indexed) for layer, column in KEYS.items())
    place, x, y, names = base.execute("SELECT place, x, y, names FROM breeding_places").fetchone()
    assert (place, names) == (0, "pool A")
    assert base.execute("SELECT x, y FROM pools WHERE pool = 'A'").fetchone() == (x, y)


# --- styles


def test_every_layer_has_its_style(base: sqlite3.Connection) -> None:
    rows = base.execute(
        "SELECT f_table_name, f_geometry_column, styleQML, styleSLD, useAsDefault, update_time FROM layer_styles"
    ).fetchall()
    assert [row[0] for row in rows] == list(LAYERS)
    assert set(layer_looks(base_result().settings)) == {layer for layer, kind in LAYERS.items() if kind}
    for layer, column, as_qml, as_sld, default, day in rows:
        assert (column, default) == ("geom" if LAYERS[layer] else "", 1)
        assert day.startswith(base_result().figures.as_of.isoformat())
        style, sheet = xml(as_qml), xml(as_sld)
        used = {name for rule in style.iter("rule") for name in re.findall(r'"(\w+)"', rule.get("filter", ""))}
        used |= {text.get("fieldName", "") for text in style.iter("text-style")}
        assert used == {name.text for name in sheet.iter("{http://www.opengis.net/ogc}PropertyName")}
        assert used <= set(meanings(layer))
        named = {alias.get("field"): alias.get("name") for alias in style.iter("alias")}
        assert named == {column: one.heading for column, one in meanings(layer).items()}


def test_files_for_gis_have_no_colour_of_their_own() -> None:
    ours = {
        value.lower()
        for name in vars(themes)
        for value in re.findall(r"#[0-9a-f]{6}", repr(getattr(themes, name)), re.IGNORECASE)
    }
    assert len(ours) > 40
    seen = set()
    for name, look in layer_looks(Settings()).items():
        for red, green, blue in re.findall(r'"(\d+),(\d+),(\d+),\d+"', qml(look, {})):
            seen.add(f"#{int(red):02x}{int(green):02x}{int(blue):02x}")
        seen |= set(re.findall(r"#[0-9a-f]{6}", sld(name, look)))
    for theme in RASTER_LOOKS.values():
        seen |= set(re.findall(r"#[0-9a-f]{6}", raster_qml(theme) + raster_sld(theme)))
    assert seen <= ours
    assert {themes.SITE, themes.STYLES["gaps"].color, *themes.LEAF} <= seen


def test_the_likeliest_links_of_each_place_come_first() -> None:
    """0-1 (0.9) is the likeliest of 0 and 1; 0-2 (0.8) of 2; 1-2 (0.7) the second of both."""
    links = base_result().links.assign(from_place=[0, 0, 1], to_place=[1, 2, 2], probability=[0.9, 0.8, 0.7])
    assert told_tables(replace(base_result(), links=links))["links"]["rank"].tolist() == [1, 1, 2]
    assert told_tables(replace(base_result(), links=links[:0]))["links"]["rank"].tolist() == []


def test_links_and_trees_appear_as_one_comes_near() -> None:
    looks = layer_looks(Settings())
    assert not looks["links"].shown
    weak, others, likeliest = looks["links"].rules
    assert 0 < weak.nearer_than == others.nearer_than < likeliest.nearer_than <= 25_000
    assert looks["trees"].nearer_than


@pytest.mark.parametrize("name", sorted(RASTERS))
def test_rasters_have_the_classes_of_the_page(name: str) -> None:
    """Also on a break, where a value belongs to the class above."""
    theme = RASTER_LOOKS[name]
    values = np.array([0.0, *theme.breaks, *(b * 1.01 for b in theme.breaks), 1e4], dtype=np.float32)
    expected = [theme.colours[number - FIRST] for number in classes_of(values, theme.breaks)]
    items = [
        (float(item.get("value", "")), item.get("color"), item.get("label"))
        for item in xml(raster_qml(theme)).iter("item")
    ]
    assert [next(colour for top, colour, _ in items if value <= top) for value in values.tolist()] == expected
    assert [label for *_, label in items] == class_labels(theme)
    classes = xml(raster_sld(theme)).find(f".//{SE}Categorize")
    assert classes is not None
    colours = [one.text for one in classes.findall(f"{SE}Value")]
    breaks = [float(str(one.text)) for one in classes.findall(f"{SE}Threshold")]
    assert [colours[number] for number in np.digitize(values, np.float32(breaks))] == expected


def test_labels_of_classes_known_by_hand() -> None:
    assert class_labels(RASTER_LOOKS["forage_m"])[:2] == ["below 25 m", "25 m to 50 m"]
    assert class_labels(RASTER_LOOKS["occupancy"])[-1] == "75 % and more"
    assert class_labels(RASTER_LOOKS["dead_wood"])[0] == "below 0.05"


# --- the project


def test_the_project_names_files_beside_it_and_no_path(folder: Path) -> None:
    root = project((folder / "habitatmap.qgz").read_bytes())
    sources = {str(layer.findtext("id")): str(layer.findtext("datasource")) for layer in root.iter("maplayer")}
    assert len(sources) == len(LAYERS) + len(base_result().rasters)
    for source in sources.values():
        file, _, layer = source.partition("|layername=")
        assert file.startswith("./")
        assert (folder / file).exists()
        assert not layer or layer in pyogrio.list_layers(folder / file)[:, 0]
    tree = root.find("layer-tree-group")
    assert tree is not None
    assert {leaf.get("id"): leaf.get("source") for leaf in tree.iter("layer-tree-layer")} == sources
    assert root.findtext("properties/Paths/Absolute") == "false"
    whole = ElementTree.tostring(root, encoding="unicode")
    assert str(folder) not in whole
    assert not re.search(r'"/|file://|[A-Z]:\\', whole)


def test_points_lie_above_areas_and_areas_above_the_ground() -> None:
    order = [layer for group in GROUPS.values() for layer in group]
    kinds = [LAYERS[layer] for layer in order if LAYERS[layer]]
    first_area = kinds.index("MultiPolygon")
    assert "Point" in kinds[:first_area]
    assert "Point" not in kinds[first_area:]
    root = project(project_bytes(invented()))
    groups = [group.get("name") for group in root.findall("layer-tree-group/layer-tree-group")]
    assert groups == [*GROUPS, "Ground"]
    leaves = root.findall("layer-tree-group/layer-tree-group/layer-tree-layer")
    shown = [leaf.get("id") for leaf in leaves if leaf.get("checked") == "Qt::Checked"]
    assert [name for name in shown if str(name).removeprefix("habitatmap_") in RASTERS] == ["habitatmap_forage_season"]


def test_relations_name_columns_that_there_are() -> None:
    relations = list(project(project_bytes(invented())).iter("relation"))
    assert len(relations) == len(NAMED_BY)
    for relation in relations:
        pair = relation.find("fieldRef")
        assert pair is not None
        for layer, column in (("referencingLayer", "referencingField"), ("referencedLayer", "referencedField")):
            assert pair.get(column) in meanings(relation.get(layer, "").removeprefix("habitatmap_"))


def test_the_page_to_print_has_map_legend_scale_and_words() -> None:
    """Numbers of the program's kinds of items: page, map, label, legend, scale bar, picture."""
    page = project(project_bytes(invented())).find("Layouts/Layout")
    assert page is not None
    kinds = [item.get("type") for item in page.iter("LayoutItem")]
    assert sorted(set(map(str, kinds))) == ["65638", "65639", "65640", "65641", "65642", "65646"]
    words = " ".join(item.get("labelText", "") for item in page.iter("LayoutItem"))
    assert "for the team" in words
    assert "as of 2025-06-01" in words.lower()


def test_no_text_of_an_area_is_worked_out_as_an_expression() -> None:
    """The program works out what stands between [% and %] in a label."""
    made = invented(title="Town [% env('HOME') %]")
    page = project(project_bytes(replace(made, figures=replace(made.figures, credits=("[%1+1%]",)))))
    words = [item.get("labelText", "") for item in page.iter("LayoutItem")]
    assert any("env('HOME')" in text for text in words)
    assert not [text for text in words if "[%" in text]


def test_a_project_of_the_same_result_has_the_same_bytes() -> None:
    assert project_bytes(invented()) == project_bytes(invented())


# --- the real program

GIS = shutil.which("python3", path="/usr/bin:/usr/local/bin")
SCRIPT = """
    import os, sys
    os.environ["QT_QPA_PLATFORM"] = "offscreen"
    from qgis.core import *
    from qgis.PyQt.QtCore import QSize
    app = QgsApplication([], False); app.initQgis()
    project = QgsProject.instance()
    assert project.read(sys.argv[1] + "/habitatmap.qgz"), project.error()
    layers = project.mapLayers()
    print("layers", len(layers), sum(layer.isValid() for layer in layers.values()))
    print("relations", sum(one.isValid() for one in project.relationManager().relations().values()))
    print("system", project.crs().authid())
    pools = layers["habitatmap_pools"]
    print("alias", pools.attributeAlias(pools.fields().indexFromName("forage_m")))
    alone = QgsVectorLayer(sys.argv[1] + "/habitatmap.gpkg|layername=pools", "pools", "ogr")
    table = QgsVectorLayer(sys.argv[1] + "/habitatmap.gpkg|layername=visits", "visits", "ogr")
    print("table", table.attributeAlias(table.fields().indexFromName("larvae_low")))
    print("style", alone.renderer().type(), len(alone.renderer().rootRule().children()))
    page = project.layoutManager().printLayouts()[0]
    settings = QgsLayoutExporter.ImageExportSettings(); settings.dpi = 96
    QgsLayoutExporter(page).exportToImage(sys.argv[1] + "/page.png", settings)
"""


def test_an_outside_validator_finds_no_fault(folder: Path) -> None:
    """The validator of GDAL, which holds a file against each requirement of the standard."""
    module = "osgeo_utils.samples.validate_gpkg"
    if GIS is None or subprocess.run([GIS, "-c", f"import {module}"], capture_output=True, check=False).returncode:
        pytest.skip("needs GDAL's scripts")
    copied = shutil.copy(folder / "habitatmap.gpkg", folder / "validated.gpkg")
    run = subprocess.run(
        [GIS, "-m", module, "-k", "--extra", copied],
        capture_output=True,
        text=True,
        check=False,
        env={"PATH": "/usr/bin"},
    )
    assert (run.returncode, run.stdout) == (0, ""), run.stdout + run.stderr


def has_gis() -> bool:
    return (
        bool(GIS)
        and not subprocess.run([str(GIS), "-c", "import qgis.core"], capture_output=True, check=False).returncode
    )


@pytest.mark.slow
def test_the_program_itself_opens_and_draws_it(folder: Path) -> None:
    if not has_gis():
        pytest.skip("needs QGIS")
    before = {name: fingerprint(folder / name) for name in files_in(folder)}
    run = subprocess.run(
        [str(GIS), "-c", textwrap.dedent(SCRIPT), str(folder)],
        capture_output=True,
        text=True,
        check=False,
        env={"PATH": "/usr/bin:/bin", "HOME": str(folder)},
    )
    said = dict(line.split(" ", 1) for line in run.stdout.splitlines() if " " in line)
    total = len(LAYERS) + len(base_result().rasters)
    assert said["layers"] == f"{total} {total}", run.stderr
    assert said["relations"] == str(len(NAMED_BY))
    assert said["system"] == base_result().crs.to_string()
    assert said["alias"] == "Nearest good forage (m)"
    assert said["table"] == "Larvae low"
    assert said["style"] == "RuleRenderer 8"
    # a look changes nothing, or else the next run would keep the file under another name
    assert {name: fingerprint(folder / name) for name in before} == before
    with rasterio.open(folder / "page.png") as picture:
        drawn = set(map(tuple, picture.read()[:3].reshape(3, -1).T.tolist()))
    leaf = themes.LEAF[5]  # the meadow's 0.6
    for colour in (leaf, themes.OUTCOME_MARKS[None].fill, themes.INK):
        assert tuple(int(colour[i : i + 2], 16) for i in (1, 3, 5)) in drawn, colour
