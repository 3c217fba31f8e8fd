"""Looks as style files: QML, which a common free GIS reads, and SLD (OGC Symbology Encoding 1.1), which others read.

Sizes of looks are pixels of a screen of 96 to the inch.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from xml.etree import ElementTree
from xml.etree.ElementTree import Element, SubElement

from PIL import ImageColor

from habitatmap.export.looks import Condition, Label, Look, Rule, class_labels
from habitatmap.vocabulary.themes import HALO, INK, UNKNOWN_COLOUR, PoolMark, Style, Theme

PIXEL_MM = 25.4 / 96
QML_VERSION = "3.22.0"
# shape -> name and turn (degrees) in QML, and in SLD
QML_SHAPES = {
    "circle": ("circle", 0),
    "square": ("square", 0),
    "down": ("triangle", 180),
    "up": ("triangle", 0),
    "diamond": ("diamond", 0),
    "cross": ("cross_fill", 45),
    "leaf": ("pentagon", 0),
}
SLD_SHAPES = QML_SHAPES | {"diamond": ("square", 45), "cross": ("cross", 45), "leaf": ("star", 0)}
SMALL = 3.0  # radius of a sign
TINT = 0.08  # how strong an area without hatching is filled
NOT_YET = 1e-6  # below a break: a value on it belongs to the class above, as on the page


def text_of(root: Element, doctype: str = "") -> str:
    """An element as a document."""
    ElementTree.indent(root, " ")
    return doctype + ElementTree.tostring(root, encoding="unicode") + "\n"


def rgba(colour: str, opacity: float = 1.0) -> str:
    """A colour as QML has it."""
    red, green, blue, *_ = ImageColor.getrgb(colour)
    return f"{red},{green},{blue},{round(255 * opacity)}"


# --- QML --------------------------------------------------------------------------------------------------------------


def qml(look: Look, aliases: Mapping[str, str]) -> str:
    """The look of a layer as QML, with what people call its columns."""
    root = Element("qgis", {"version": QML_VERSION, "styleCategories": "AllStyleCategories", **qml_attributes(look)})
    root.extend(qml_parts(look, aliases))
    return text_of(root, DOCTYPE)


DOCTYPE = "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n"


def qml_attributes(look: Look) -> dict[str, str]:
    """What stands in the head of a style, and of a layer of a project."""
    scaled = "1" if look.nearer_than else "0"
    return {
        "hasScaleBasedVisibilityFlag": scaled,
        "minScale": str(look.nearer_than or 100_000_000),
        "maxScale": "0",
        "labelsEnabled": "1" if look.label else "0",
    }


def qml_parts(look: Look, aliases: Mapping[str, str]) -> list[Element]:
    """The renderer of a look, its labels, and what people call the columns."""
    if not look.rules:
        return [alias_list(aliases)]
    renderer = Element("renderer-v2", {"type": "RuleRenderer", "forceraster": "0", "symbollevels": "0"})
    rules = SubElement(renderer, "rules", {"key": "all"})
    symbols = SubElement(renderer, "symbols")
    for number, rule in enumerate(look.rules):
        attributes = {"key": f"rule{number}", "symbol": str(number), "label": rule.label}
        if rule.where:
            attributes["filter"] = " AND ".join(map(_expression, rule.where))
        if rule.nearer_than:
            attributes |= {"scalemaxdenom": str(rule.nearer_than), "scalemindenom": "1"}
        SubElement(rules, "rule", attributes)
        symbols.append(_symbol(str(number), rule))
    named = [renderer, alias_list(aliases)]
    if look.label:
        shown = Element("previewExpression")
        shown.text = f'"{look.label.column}"'
        named += [_labels(look.label, look.rules[0].sign), shown]
    return named


def alias_list(aliases: Mapping[str, str]) -> Element:
    """What people call each column."""
    called = Element("aliases")
    for number, (column, alias) in enumerate(aliases.items(), 1):
        SubElement(called, "alias", {"field": column, "index": str(number), "name": alias})
    return called


def _expression(condition: Condition) -> str:
    column, sign, value = condition
    return f'"{column}" {sign} ' + (f"'{value}'" if isinstance(value, str) else f"{value:g}")


def _symbol(name: str, rule: Rule) -> Element:
    if isinstance(rule.sign, PoolMark):
        return _of_layers(name, "marker", _marker(rule.sign))
    if rule.sign.line:
        return _of_layers(name, "line", [_line(rule.sign)], rule.sign.opacity)
    return _of_layers(name, "fill", _area(rule.sign))


def _of_layers(name: str, kind: str, layers: Iterable[Element], opacity: float = 1.0) -> Element:
    symbol = Element("symbol", {"name": name, "type": kind, "alpha": f"{opacity:g}", "clip_to_extent": "1"})
    symbol.extend(layers)
    return symbol


def _layer(kind: str, **values: str | float) -> Element:
    layer = Element("layer", {"class": kind, "enabled": "1", "pass": "0", "locked": "0"})
    for key, value in values.items():
        SubElement(layer, "prop", {"k": key, "v": f"{value:.4g}" if isinstance(value, float) else str(value)})
    return layer


def _marker(mark: PoolMark) -> list[Element]:
    """A sign on its halo; a small one has none, as rows of them would be bands."""
    shape, turn = QML_SHAPES[mark.shape]
    size, rim = 2 * mark.size * PIXEL_MM, 1.5 * PIXEL_MM
    rims = [] if mark.size < SMALL else [(HALO, HALO, size + 2 * rim)]
    common: dict[str, str | float] = {"name": shape, "angle": turn, "size_unit": "MM", "outline_width_unit": "MM"}
    return [
        _layer("SimpleMarker", color=rgba(fill), outline_color=rgba(edge), size=wide, outline_width=rim / 2, **common)
        for fill, edge, wide in (*rims, (mark.fill, INK, size))
    ]


def _line(style: Style) -> Element:
    dash = {}
    if style.dashArray:
        steps = ";".join(f"{int(step) * PIXEL_MM:.3f}" for step in style.dashArray.split())
        dash = {"use_custom_dash": "1", "customdash": steps, "customdash_unit": "MM", "capstyle": "flat"}
    width = style.weight * PIXEL_MM
    return _layer("SimpleLine", line_color=rgba(style.color), line_width=width, line_width_unit="MM", **dash)


def _area(style: Style) -> list[Element]:
    """Hatching or a tint, below an outline on its halo."""
    parts: list[Element] = []
    for slope in style.hatch:
        part = _layer(
            "LinePatternFill",
            angle=45 * slope,
            distance=style.gap * PIXEL_MM / math.sqrt(2),
            distance_unit="MM",
        )
        hatch = _layer("SimpleLine", line_color=rgba(style.color, 0.5), line_width=PIXEL_MM, line_width_unit="MM")
        part.append(_of_layers("hatch", "line", [hatch]))
        parts.append(part)
    if not style.hatch and not style.plain:
        parts.append(_layer("SimpleFill", color=rgba(style.color, TINT), style="solid", outline_style="no"))
    halo = _layer(
        "SimpleLine", line_color=rgba(HALO, 0.6), line_width=(style.weight + 2.5) * PIXEL_MM, line_width_unit="MM"
    )
    return [*parts, halo, _line(style)]


def _labels(label: Label, sign: PoolMark | Style) -> Element:
    labelling = Element("labeling", {"type": "simple"})
    settings = SubElement(labelling, "settings")
    style = SubElement(
        settings,
        "text-style",
        {
            "fieldName": label.column,
            "isExpression": "0",
            "fontFamily": "Sans Serif",
            "fontSize": f"{label.size:g}",
            "fontSizeUnit": "Point",
            "fontWeight": "75" if label.inside else "50",
            "textColor": rgba(label.color),
            "textOpacity": "1",
        },
    )
    SubElement(
        style,
        "text-buffer",
        {
            "bufferDraw": "0" if label.inside else "1",
            "bufferSize": "0.8",
            "bufferSizeUnits": "MM",
            "bufferColor": rgba(HALO),
            "bufferOpacity": "1",
        },
    )
    SubElement(settings, "placement", {**_placement(label, sign), "distUnits": "MM", "priority": "5"})
    scale = {"scaleVisibility": "1", "scaleMax": str(label.nearer_than), "scaleMin": "0"} if label.nearer_than else {}
    SubElement(settings, "rendering", {"drawLabels": "1", "displayAll": "1" if label.inside else "0", **scale})
    return labelling


def _placement(label: Label, sign: PoolMark | Style) -> dict[str, str]:
    """Where a label stands, in the program's numbers: over a sign, beside it, along a line, in an area."""
    if label.inside:
        return {"placement": "1", "quadOffset": "4"}
    if isinstance(sign, PoolMark):
        return {"placement": "6", "dist": "1", "offsetType": "1"}
    return {"placement": "3", "placementFlags": "9"} if sign.line else {"placement": "4"}


def raster_qml(theme: Theme) -> str:
    """The look of a raster as QML."""
    root = Element("qgis", {"version": QML_VERSION, "styleCategories": "AllStyleCategories"})
    root.append(raster_pipe(theme))
    return text_of(root, DOCTYPE)


def raster_pipe(theme: Theme) -> Element:
    """The classes of a raster with their colours, as a style and a project hold them."""
    pipe = Element("pipe")
    renderer = SubElement(
        pipe,
        "rasterrenderer",
        {
            "type": "singlebandpseudocolor",
            "band": "1",
            "opacity": "1",
            "alphaBand": "-1",
            "nodataColor": rgba(UNKNOWN_COLOUR),
            "classificationMin": "0",
            "classificationMax": f"{theme.breaks[-1]:g}",
        },
    )
    shader = SubElement(
        SubElement(renderer, "rastershader"),
        "colorrampshader",
        {"colorRampType": "DISCRETE", "classificationMode": "1", "clip": "0"},
    )
    tops = [*(f"{value - NOT_YET:.6f}" for value in theme.breaks), "inf"]
    for top, colour, label in zip(tops, theme.colours, class_labels(theme), strict=True):
        SubElement(shader, "item", {"value": top, "color": colour, "alpha": "255", "label": label})
    return pipe


# --- SLD --------------------------------------------------------------------------------------------------------------

SLD, SE, OGC = "http://www.opengis.net/sld", "http://www.opengis.net/se", "http://www.opengis.net/ogc"
COMPARED = {"=": "PropertyIsEqualTo", ">=": "PropertyIsGreaterThanOrEqualTo", "<": "PropertyIsLessThan"}


def sld(name: str, look: Look) -> str:
    """The look of a layer as SLD."""
    root, styles = _sheet(name, "FeatureTypeStyle")
    for rule in look.rules:
        one = _rule(styles, rule.label, rule.where, min(filter(None, (rule.nearer_than, look.nearer_than)), default=0))
        _symbolizer(one, rule.sign)
    if look.label:
        one = _rule(styles, look.label.column, (), look.label.nearer_than or look.nearer_than)
        text = SubElement(one, f"{{{SE}}}TextSymbolizer")
        SubElement(SubElement(text, f"{{{SE}}}Label"), f"{{{OGC}}}PropertyName").text = look.label.column
        _parameters(text, "Font", {"font-size": f"{look.label.size / PIXEL_MM / 72 * 25.4:.1f}"})
        if look.label.inside:
            place = SubElement(SubElement(text, f"{{{SE}}}LabelPlacement"), f"{{{SE}}}PointPlacement")
            anchor = SubElement(place, f"{{{SE}}}AnchorPoint")
            for side in "XY":
                SubElement(anchor, f"{{{SE}}}AnchorPoint{side}").text = "0.5"
        else:
            halo = SubElement(text, f"{{{SE}}}Halo")
            SubElement(halo, f"{{{SE}}}Radius").text = "2"
            _parameters(halo, "Fill", {"fill": HALO})
        _parameters(text, "Fill", {"fill": look.label.color})
    return text_of(root)


def raster_sld(theme: Theme) -> str:
    """The look of a raster as SLD: a class holds its lower end."""
    root, styles = _sheet(theme.name, "CoverageStyle")
    one = SubElement(styles, f"{{{SE}}}Rule")
    SubElement(one, f"{{{SE}}}Name").text = theme.name
    table = SubElement(SubElement(one, f"{{{SE}}}RasterSymbolizer"), f"{{{SE}}}ColorMap")
    classes = SubElement(table, f"{{{SE}}}Categorize", {"fallbackValue": UNKNOWN_COLOUR})
    SubElement(classes, f"{{{SE}}}LookupValue").text = "Rasterdata"
    SubElement(classes, f"{{{SE}}}Value").text = theme.colours[0]
    for value, colour in zip(theme.breaks, theme.colours[1:], strict=True):
        SubElement(classes, f"{{{SE}}}Threshold").text = f"{value:g}"
        SubElement(classes, f"{{{SE}}}Value").text = colour
    return text_of(root)


def _sheet(name: str, kind: str) -> tuple[Element, Element]:
    for prefix, space in (("sld", SLD), ("se", SE), ("ogc", OGC)):
        ElementTree.register_namespace(prefix, space)
    root = Element(f"{{{SLD}}}StyledLayerDescriptor", {"version": "1.1.0"})
    layer = SubElement(root, f"{{{SLD}}}NamedLayer")
    SubElement(layer, f"{{{SE}}}Name").text = name
    style = SubElement(layer, f"{{{SLD}}}UserStyle")
    SubElement(style, f"{{{SE}}}Name").text = name
    return root, SubElement(style, f"{{{SE}}}{kind}")


def _rule(styles: Element, label: str, where: Sequence[Condition], nearer_than: int) -> Element:
    rule = SubElement(styles, f"{{{SE}}}Rule")
    SubElement(rule, f"{{{SE}}}Name").text = label
    if where:
        parent = SubElement(rule, f"{{{OGC}}}Filter")
        if len(where) > 1:
            parent = SubElement(parent, f"{{{OGC}}}And")
        for column, sign, value in where:
            compared = SubElement(parent, f"{{{OGC}}}{COMPARED[sign]}")
            SubElement(compared, f"{{{OGC}}}PropertyName").text = column
            SubElement(compared, f"{{{OGC}}}Literal").text = value if isinstance(value, str) else f"{value:g}"
    if nearer_than:
        SubElement(rule, f"{{{SE}}}MaxScaleDenominator").text = str(nearer_than)
    return rule


def _symbolizer(rule: Element, sign: PoolMark | Style) -> None:
    if isinstance(sign, PoolMark):
        shape, turn = SLD_SHAPES[sign.shape]
        graphic = SubElement(SubElement(rule, f"{{{SE}}}PointSymbolizer"), f"{{{SE}}}Graphic")
        mark = SubElement(graphic, f"{{{SE}}}Mark")
        SubElement(mark, f"{{{SE}}}WellKnownName").text = shape
        _parameters(mark, "Fill", {"fill": sign.fill})
        _parameters(mark, "Stroke", {"stroke": INK, "stroke-width": "1"})
        SubElement(graphic, f"{{{SE}}}Size").text = f"{2 * sign.size:g}"
        if turn:
            SubElement(SubElement(graphic, f"{{{SE}}}Rotation"), f"{{{OGC}}}Literal").text = str(turn)
        return
    symbol = SubElement(rule, f"{{{SE}}}{'LineSymbolizer' if sign.line else 'PolygonSymbolizer'}")
    if not sign.line and not sign.plain:
        _parameters(symbol, "Fill", {"fill": sign.color, "fill-opacity": f"{TINT:g}"})
    stroke = {"stroke": sign.color, "stroke-width": f"{sign.weight:g}", "stroke-opacity": f"{sign.opacity:g}"}
    _parameters(symbol, "Stroke", stroke | ({"stroke-dasharray": sign.dashArray} if sign.dashArray else {}))


def _parameters(parent: Element, kind: str, values: dict[str, str]) -> None:
    part = SubElement(parent, f"{{{SE}}}{kind}")
    for name, value in values.items():
        SubElement(part, f"{{{SE}}}SvgParameter", {"name": name}).text = value
