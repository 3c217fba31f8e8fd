"""habitatmap.qgz: the layers and rasters of a result as a project of a common free GIS, with a page to print.

A zip with one XML file, which names the other files by their place beside it. It is for the team.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence
from xml.etree.ElementTree import Element, SubElement

from pyproj import CRS

from habitatmap.export.formats import RASTERS, visible
from habitatmap.export.geopackage import FOR_THE_TEAM, KEYS, LAYERS, NAMED_BY, aliases_of
from habitatmap.export.looks import RASTER_LOOKS, Look, layer_looks
from habitatmap.export.styles import (
    DOCTYPE,
    QML_VERSION,
    alias_list,
    qml_attributes,
    qml_parts,
    raster_pipe,
    rgba,
    text_of,
)
from habitatmap.result import Result
from habitatmap.vocabulary.results import TABLES
from habitatmap.vocabulary.themes import INK

# groups from the top of the map down: points lie above areas, areas above the ground
GROUPS = {
    "Plan and pools": ("plan", "pools"),
    "Trees": ("trees",),
    "Network": ("breeding_places", "links"),
    "Areas": ("zones", "gaps", "places", "exclusion_zones", "boundary"),
    "Streets": ("paths",),
    "Tables": ("visits", "candidates_lost"),
}
GROUND = "Ground"
FIRST_GROUND = "forage_season"
# what the legend on paper holds; the rest is plain from its names
IN_LEGEND = ("plan", "pools", "trees", "zones", "gaps", "places", "boundary", FIRST_GROUND)
# the page to print (A4, mm): the map, and the column for legend and scale beside it
PAGE, MAP, COLUMN = (297.0, 210.0), (10.0, 22.0, 205.0, 170.0), 220.0
MAP_ID = "{00000000-0000-4000-8000-000000000001}"
# of the legend: part, size in points, room above in mm
FONTS = (("title", 11, 0.0), ("group", 10, 2.0), ("subgroup", 9, 2.0), ("symbol", 8, 0.6), ("symbolLabel", 8, 0.6))
MARGIN = 1.05  # how much more than the area the map shows


def project_bytes(result: Result) -> bytes:
    """The project. Same result, same bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(zipfile.ZipInfo("habitatmap.qgs"), text_of(_project(result), DOCTYPE), zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _project(result: Result) -> Element:
    title, looks = visible(result.title), layer_looks(result.settings)
    rasters = [name for name in RASTERS if name in result.rasters]
    root = Element("qgis", {"version": QML_VERSION, "projectname": title})
    SubElement(root, "title").text = title
    SubElement(root, "projectCrs").append(_system(result.crs))
    root.append(_tree(looks, rasters))
    SubElement(root, "relations").extend(_relations())
    canvas = SubElement(root, "mapcanvas", {"name": "theMapCanvas"})
    SubElement(canvas, "units").text = "meters"
    canvas.append(_extent("extent", _bounds(result, 4 / 3)))
    SubElement(canvas, "destinationsrs").append(_system(result.crs))
    layers = SubElement(root, "projectlayers")
    layers.extend(_vector(name, looks.get(name), result) for name in LAYERS)
    layers.extend(_raster(name, result.crs) for name in rasters)
    root.append(_properties())
    SubElement(root, "Layouts").append(_page(result))
    return root


def _properties() -> Element:
    """Files are named by their place beside the project, and all is drawn in its system."""
    properties = Element("properties")
    for part, name, kind, value in (
        ("Paths", "Absolute", "bool", "false"),
        ("SpatialRefSys", "ProjectionsEnabled", "int", "1"),
    ):
        SubElement(SubElement(properties, part), name, {"type": kind}).text = value
    return properties


def _system(crs: CRS) -> Element:
    """The reference system, as a project writes it."""
    system, authority = Element("spatialrefsys"), crs.to_authority()
    SubElement(system, "wkt").text = crs.to_wkt()
    SubElement(system, "authid").text = ":".join(authority) if authority else ""
    SubElement(system, "description").text = crs.name
    SubElement(system, "geographicflag").text = "false"
    return system


def _bounds(result: Result, wide: float) -> tuple[float, float, float, float]:
    """West, south, east, north of the area with a margin, `wide` times as wide as high."""
    west, south, east, north = result.boundary.bounds if result.boundary is not None else result.grid.bounds
    high = MARGIN * max(north - south, (east - west) / wide)
    x, y = (west + east) / 2, (south + north) / 2
    return x - high * wide / 2, y - high / 2, x + high * wide / 2, y + high / 2


def _extent(tag: str, bounds: Sequence[float]) -> Element:
    extent = Element(tag)
    for name, value in zip(("xmin", "ymin", "xmax", "ymax"), bounds, strict=True):
        SubElement(extent, name).text = f"{value:.3f}"
    return extent


# --- layers -----------------------------------------------------------------------------------------------------------


def _tree(looks: Mapping[str, Look], rasters: Sequence[str]) -> Element:
    """The layers in their groups; of the rasters one is shown at a time."""
    tree = Element("layer-tree-group")
    for group, names in GROUPS.items():
        branch = SubElement(tree, "layer-tree-group", {"name": group, "checked": "Qt::Checked", "expanded": "1"})
        branch.extend(_leaf(name, name not in looks or looks[name].shown) for name in names)
    alone = {"mutually-exclusive": "1", "mutually-exclusive-child": str(_first(rasters))}
    branch = SubElement(tree, "layer-tree-group", {"name": GROUND, "checked": "Qt::Checked", "expanded": "1", **alone})
    branch.extend(_leaf(name, at == _first(rasters)) for at, name in enumerate(rasters))
    return tree


def _first(rasters: Sequence[str]) -> int:
    return rasters.index(FIRST_GROUND) if FIRST_GROUND in rasters else 0


def _leaf(name: str, shown: bool) -> Element:
    checked = "Qt::Checked" if shown else "Qt::Unchecked"
    leaf = {"id": _id(name), "name": _title(name), "checked": checked, "expanded": "0", "source": _source(name)}
    return Element("layer-tree-layer", leaf | {"providerKey": "gdal" if name in RASTERS else "ogr"})


def _id(name: str) -> str:
    """An id that is long enough for the program to leave it alone."""
    return f"habitatmap_{name}"


def _title(name: str) -> str:
    return RASTERS[name][0] if name in RASTERS else TABLES[name].title


def _source(name: str) -> str:
    return f"./rasters/{name}.tif" if name in RASTERS else f"./habitatmap.gpkg|layername={name}"


def _layer(name: str, crs: CRS | None, about: str, **attributes: str) -> Element:
    layer = Element("maplayer", attributes)
    SubElement(layer, "id").text = _id(name)
    SubElement(layer, "datasource").text = _source(name)
    SubElement(layer, "layername").text = _title(name)
    SubElement(layer, "abstract").text = about
    if crs is not None:
        SubElement(layer, "srs").append(_system(crs))
    SubElement(layer, "provider", {"encoding": "UTF-8"}).text = "gdal" if name in RASTERS else "ogr"
    return layer


def _vector(name: str, look: Look | None, result: Result) -> Element:
    """A layer of the GeoPackage; one without a look is a table."""
    about = f"{TABLES[name].about} {FOR_THE_TEAM}"
    if look is None:
        layer = _layer(name, None, about, type="vector", geometry="No geometry")
        layer.append(alias_list(aliases_of(name)))
        return layer
    kind = str(LAYERS[name]).removeprefix("Multi").removesuffix("String")
    layer = _layer(name, result.crs, about, type="vector", geometry=kind, **qml_attributes(look))
    layer.extend(qml_parts(look, aliases_of(name)))
    return layer


def _raster(name: str, crs: CRS) -> Element:
    text, unit = RASTERS[name]
    layer = _layer(name, crs, f"{text} ({unit}). {FOR_THE_TEAM}", type="raster")
    layer.append(raster_pipe(RASTER_LOOKS[name]))
    return layer


def _relations() -> list[Element]:
    """Which column of a layer names a row of another."""
    relations = []
    for layer, column, other in NAMED_BY:
        ends = {"referencingLayer": _id(layer), "referencedLayer": _id(other), "strength": "Association"}
        relation = Element("relation", {"id": f"{layer}_{column}", "name": f"{layer}: {column}", **ends})
        key = KEYS[other]
        SubElement(relation, "fieldRef", {"referencingField": column, "referencedField": key})
        relations.append(relation)
    return relations


# --- the page to print ------------------------------------------------------------------------------------------------


def _page(result: Result) -> Element:
    """An A4 page: title, map, legend, scale, north and credits."""
    page = Element("Layout", {"name": "Plan", "units": "mm", "printResolution": "200"})
    sheets = SubElement(page, "PageCollection")
    sheets.append(_item(65638, (0, 0, *PAGE)))
    picture = _item(65639, MAP, uuid=MAP_ID, followPreset="false", keepLayerSet="false", frame="true")
    bounds = dict(zip(("xmin", "ymin", "xmax", "ymax"), _bounds(result, MAP[2] / MAP[3]), strict=True))
    SubElement(picture, "Extent", {name: f"{value:.3f}" for name, value in bounds.items()})
    page.append(picture)
    page.append(_words(f"{result.title}: plan for pools", (10, 8, 277, 12), 16))
    below = [f"As of {result.figures.as_of}. {FOR_THE_TEAM}", *result.credits]
    page.append(_words(" ".join(below), (10, 194, 277, 10), 8))
    page.append(_legend(result))
    page.append(
        _item(
            65646,
            (COLUMN, 178, 60, 12),
            mapUuid=MAP_ID,
            style="Single Box",
            unitType="meters",
            unitLabel="m",
            numMapUnitsPerScaleBarUnit="1",
            numSegments="2",
            numSegmentsLeft="0",
            numUnitsPerSegment=str(_step(bounds["xmax"] - bounds["xmin"])),
            height="2",
            boxContentSpace="1",
            labelBarSpace="1",
        )
    )
    north = ":/images/north_arrows/layout_default_north_arrow.svg"
    page.append(_item(65640, (COLUMN + 58, 160, 12, 14), file=north, mapUuid=MAP_ID, northMode="0", mode="0"))
    return page


def _step(width_m: float) -> int:
    """Half of the scale bar: a round number of metres, about an eighth of the map."""
    return max((n * 10**power for power in range(1, 6) for n in (1, 2, 5) if n * 10**power <= width_m / 8), default=10)


def _item(kind: int, at: Sequence[float], /, **attributes: str) -> Element:
    x, y, width, height = at
    place = f"{x:g},{y:g},mm"
    size = {"position": place, "positionOnPage": place, "size": f"{width:g},{height:g},mm", "referencePoint": "0"}
    shown = {"visibility": "1", "opacity": "1", "background": "false", "frame": "false"}
    return Element("LayoutItem", {"type": str(kind), **size, **shown, **attributes})


def _words(text: str, frame: Sequence[float], points: int) -> Element:
    # what stands between [% and %] would be worked out as an expression
    text = visible(text).replace("[%", "[ %")
    item = _item(65641, frame, labelText=text, halign="1", valign="32", htmlState="0", marginX="0", marginY="0")
    item.append(_font("LabelFont", points))
    item.append(_style(points))
    return item


def _font(tag: str, points: float) -> Element:
    """A font as earlier versions of the program read it; later ones read `_style`."""
    return Element(tag, {"description": f"Sans Serif,{points:g},-1,5,50,0,0,0,0,0", "style": ""})


def _style(points: float) -> Element:
    look = {
        "fontFamily": "Sans Serif",
        "fontSize": f"{points:g}",
        "fontSizeUnit": "Point",
        "textColor": rgba(INK),
    }
    return Element("text-style", {**look, "textOpacity": "1", "fontWeight": "50"})


def _legend(result: Result) -> Element:
    """Signs of what the map shows, and the colours of the ground."""
    item = _item(
        65642,
        (COLUMN, 22, 70, 130),
        map_uuid=MAP_ID,
        title="",
        columnCount="1",
        resizeToContents="1",
        symbolWidth="6",
        symbolHeight="3",
        wrapChar="",
        fontColor=INK,
        boxSpace="0",
        legendFilterByAtlas="0",
    )
    styles = SubElement(item, "styles")
    for name, size, top in FONTS:
        look = {"name": name, "marginTop": f"{top:g}", "marginLeft": "2", "alignment": "1", "indent": "0"}
        style = SubElement(styles, "style", look)
        style.append(_font("styleFont", size))
        style.append(_style(size))
    tree = SubElement(item, "layer-tree-group")
    there = [name for name in IN_LEGEND if name not in RASTERS or name in result.rasters]
    for name in there:
        leaf = _leaf(name, shown=True)
        if name in RASTERS:  # without the line that names the band
            order = ",".join(str(number + 1) for number in range(len(RASTER_LOOKS[name].colours)))
            kept = SubElement(SubElement(leaf, "customproperties"), "Option", {"type": "Map"})
            SubElement(kept, "Option", {"name": "legend/node-order", "type": "QString", "value": order})
        tree.append(leaf)
    return item
