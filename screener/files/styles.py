"""Map styles stored in the GeoPackage by the open convention: a table `layer_styles` with QML and SLD texts.

A desktop GIS that knows the convention opens the layers with the default style and offers the others. Classes, colours
and words are those of the report (`screener.report.colouring`), so that both legends say the same. QML carries the
patterns too; SLD (1.0.0) has plain colours. Texts depend on the data only.
"""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from screener.columns import Column
from screener.labels import label_with_unit
from screener.report.colouring import LotClass, View, view
from screener.report.text import plain

if TYPE_CHECKING:
    import pandas as pd

GEOMETRY = "geom"
LOT_STYLES = ("package", "exposure", "kzt", "status")
"""Styles of the lots by the report's views; the first that the layer has a column for is the default."""
HAIRLINE = (61, 74, 87)
HATCHES = {1: "b_diagonal", 2: "dense6", 3: "diagonal_x", 4: "horizontal", 5: "vertical", 6: "f_diagonal", 7: "cross"}
"""The report's patterns by their names in QML."""
FAINT_PATTERN, FAINT_HATCH = 8, "b_diagonal"
LABEL_SCALE = 6000  # lots are labelled from 1:6,000 on, where a label fits
ROSE = "affine_transform($geometry, 0.98 * x(start_point($geometry)), 0.98 * y(start_point($geometry)), 0, 0.02, 0.02)"
"""A lot's wedges shrunk about their apex to a fiftieth: roses that fit on their lots, long where rough ground is."""
PROBLEM_KINDS = {
    "overlap": ("#a32a1b", "lots that share ground"),
    "gap": ("#b8860b", "slivers of ground between lots"),
    "repeated": ("#6a3d9a", "lots with one id"),
    "shape": ("#3d4a57", "shapes that were mended, left out or look odd"),
    "place": ("#1f6fb2", "lots off the rasters or far from the others"),
}
PROBLEM_EDGE_MM = 0.8
"""Outlines so wide that a sliver of an inch is seen at every scale."""
CREST_MARKS = {"ridge": ("triangle", "#3d4a57"), "escarpment": ("square", "#a32a1b"), "hill": ("circle", "#0a6a70")}


@dataclass(frozen=True)
class LayerStyle:
    """One row of `layer_styles`."""

    layer: str
    name: str
    qml: str
    sld: str
    default: bool
    description: str


@dataclass(frozen=True)
class _Class:
    """One class of a style: words of the legend, the condition in QML's and in SLD's language, and how it is drawn."""

    words: str
    condition: str
    filters: tuple[tuple[str, str, str], ...]  # SLD comparison, column, value; none: whatever is left
    colour: str
    alpha: float = 1.0
    hatch: str = ""
    hatch_alpha: float = 0.38
    mark: str = ""  # shape of a point; blank for areas
    drawn_as: str = ""  # QML only: expression of the geometry to draw in place of the feature's own
    edge_mm: float = 0.2  # width of an area's outline


def layer_styles(layer: str, frame: pd.DataFrame, columns: Sequence[Column]) -> list[LayerStyle]:
    """The styles of one map layer, the default first; none for a layer that is not known."""
    if layer == "lots":
        return _lot_styles(frame, columns)
    if layer == "exposure_sectors" and "exposure" in frame:
        words = {"B": "B: rough ground", "C": "C: open ground", "D": "D: water or flat open ground", "?": "not known"}
        named = {c.value: c.colour for c in view(_every_letter(), "exposure").classes}
        classes = [
            _Class(w, _is("exposure", k), (("Equal", "exposure", k),), named.get(k, "#dddddd"), 0.55)
            for k, w in words.items()
            if k in named or k == "?"
        ]
        small = [replace(c, alpha=0.9, drawn_as=ROSE) for c in classes]
        return [
            _style(layer, "exposure roses", small, columns, True, "letter by wind direction, fetch at 1/50"),
            _style(layer, "exposure by direction", classes, columns, False, "letter by wind direction, fetch in full"),
        ]
    if layer == "lot_problems" and "kind" in frame:
        present = set(frame["kind"])
        classes = [
            _Class(words, _is("kind", kind), (("Equal", "kind", kind),), colour, 0.35, edge_mm=PROBLEM_EDGE_MM)
            for kind, (colour, words) in PROBLEM_KINDS.items()
            if kind in present
        ]
        return [_style(layer, "problems of lots", classes, columns, True, "what is wrong with lots, where it is")]
    if layer == "terrain_crests" and "form" in frame:
        classes = [
            _Class(form, _is("form", form), (("Equal", "form", form),), colour, mark=mark)
            for form, (mark, colour) in CREST_MARKS.items()
        ]
        return [_style(layer, "terrain forms", classes, columns, True, "crests that raise Kzt")]
    return []


def _every_letter() -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame({"exposure": ["B", "C", "D"]})


def _lot_styles(frame: pd.DataFrame, columns: Sequence[Column]) -> list[LayerStyle]:
    out: list[LayerStyle] = []
    for key in LOT_STYLES:
        found = view(frame, key)
        if found.column in frame:
            name = "by " + (found.name if found.key == "kzt" else found.name.lower())
            classes = [_of_lots(found, kind) for kind in found.classes]
            out.append(_style("lots", name, classes, columns, not out, found.explains))
    return out


def _of_lots(found: View, kind: LotClass) -> _Class:
    hatch = HATCHES.get(kind.pattern, "") or (FAINT_HATCH if kind.pattern == FAINT_PATTERN else "")
    words = f"{kind.mark} = {kind.words}" if kind.mark and kind.words not in (kind.mark,) else kind.words
    if kind.words.startswith(f"{kind.mark}:"):
        words = kind.words
    condition, filters = _range(found.column, kind) if found.numbers else _category(found.column, kind)
    faint = kind.pattern == FAINT_PATTERN
    return _Class(words, condition, filters, kind.colour, 1.0, hatch, 0.22 if faint else 0.38)


def _category(column: str, kind: LotClass) -> tuple[str, tuple[tuple[str, str, str], ...]]:
    if not kind.value:
        return f'"{column}" IS NULL', (("Null", column, ""),)
    return _is(column, kind.value), (("Equal", column, kind.value),)


def _range(column: str, kind: LotClass) -> tuple[str, tuple[tuple[str, str, str], ...]]:
    if math.isnan(kind.low):
        return f'"{column}" IS NULL', (("Null", column, ""),)
    low, high = _exactly(kind.low), _exactly(kind.high)
    condition, filters = f'"{column}" >= {low}', [("AtLeast", column, low)]
    if math.isfinite(kind.high):
        condition += f' AND "{column}" < {high}'
        filters.append(("Below", column, high))
    return condition, tuple(filters)


def _exactly(value: float) -> str:
    """The shortest text that reads back as this very number: a limit may lie just beside a value."""
    return repr(float(value)).removesuffix(".0")


def _is(column: str, value: str) -> str:
    quoted = plain(value).replace("\\", "\\\\").replace("'", "''")
    return f"\"{column}\" = '{quoted}'"


def _style(
    layer: str, name: str, classes: Sequence[_Class], columns: Sequence[Column], default: bool, description: str
) -> LayerStyle:
    labelled = layer == "lots"
    return LayerStyle(
        layer,
        name,
        _qml(classes, columns, labelled),
        _sld(layer, name, classes),
        default,
        f"{description}; colours as in report.html",
    )


# --- QML ----------------------------------------------------------------------------------------------------------


def _qml(classes: Sequence[_Class], columns: Sequence[Column], labelled: bool) -> str:
    """Rules with symbols, field names for people, and lot numbers as labels from the scale at which they fit."""
    root = ET.Element("qgis", version="3.22.0", styleCategories="Symbology|Labeling|Fields")
    root.set("labelsEnabled", "1" if labelled else "0")
    renderer = ET.SubElement(root, "renderer-v2", type="RuleRenderer", symbollevels="0", forceraster="0")
    rules = ET.SubElement(renderer, "rules", key="{all}")
    symbols = ET.SubElement(renderer, "symbols")
    for n, kind in enumerate(classes):
        ET.SubElement(
            rules, "rule", key=f"{{class-{n}}}", filter=kind.condition, symbol=str(n), label=plain(kind.words)
        )
        symbols.append(_symbol(n, kind))
    if labelled:
        root.append(_labels())
    aliases = ET.SubElement(root, "aliases")
    for n, column in enumerate(columns):
        ET.SubElement(aliases, "alias", index=str(n), field=plain(column.name), name=plain(label_with_unit(column)))
    ET.SubElement(root, "previewExpression").text = '"lot_id"' if labelled else ""
    return _text(root, '<!DOCTYPE qgis PUBLIC "http://mrcc.com/qgis.dtd" "SYSTEM">\n')


def _symbol(number: int, kind: _Class) -> ET.Element:
    area = not kind.mark
    symbol = ET.Element(
        "symbol", name=str(number), type="fill" if area else "marker", alpha="1", clip_to_extent="1", force_rhr="0"
    )
    outline = {"outline_style": "solid", "outline_width": f"{kind.edge_mm:g}", "outline_width_unit": "MM"}
    if area:
        edge = _rgba(HAIRLINE, 1.0) if kind.alpha == 1.0 else _rgba(_rgb(kind.colour), 1.0)
        solid = {"color": _rgba(_rgb(kind.colour), kind.alpha), "style": "solid", "outline_color": edge, **outline}
        symbol.append(_layer("SimpleFill", solid))
        if kind.hatch:
            ink = {"color": _rgba((0, 0, 0), kind.hatch_alpha), "style": kind.hatch, "outline_style": "no"}
            symbol.append(_layer("SimpleFill", ink))
    else:
        mark = {
            "name": kind.mark,
            "color": _rgba(_rgb(kind.colour), 1.0),
            "size": "2.6",
            "size_unit": "MM",
            "outline_color": "255,255,255,255",
        }
        symbol.append(_layer("SimpleMarker", {**mark, **outline}))
    return _drawn_as(number, symbol, kind.drawn_as) if kind.drawn_as else symbol


def _drawn_as(number: int, inner: ET.Element, expression: str) -> ET.Element:
    """A symbol that draws the geometry of an expression by another symbol."""
    outer = ET.Element("symbol", name=str(number), type="fill", alpha="1", clip_to_extent="1", force_rhr="0")
    layer = _layer("GeometryGenerator", {"SymbolType": "Fill", "geometryModifier": expression, "units": "MapUnit"})
    inner.set("name", f"@{number}@0")
    layer.append(inner)
    outer.append(layer)
    return outer


def _layer(kind: str, properties: dict[str, str]) -> ET.Element:
    """A symbol layer with its properties in both ways that readers of QML know."""
    layer = ET.Element("layer", {"class": kind, "enabled": "1", "locked": "0", "pass": "0"})
    options = ET.SubElement(layer, "Option", type="Map")
    for name, value in properties.items():
        ET.SubElement(options, "Option", name=name, value=value, type="QString")
    for name, value in properties.items():
        ET.SubElement(layer, "prop", k=name, v=value)
    return layer


def _labels() -> ET.Element:
    labeling = ET.Element("labeling", type="simple")
    settings = ET.SubElement(labeling, "settings")
    ET.SubElement(
        settings,
        "text-style",
        fieldName="lot_id",
        isExpression="0",
        fontSize="7",
        fontSizeUnit="Point",
        textColor="22,32,43,255",
        textOpacity="1",
    )
    ET.SubElement(settings, "placement", placement="1", centroidInside="1", centroidWhole="1")
    ET.SubElement(settings, "rendering", scaleVisibility="1", scaleMin="0", scaleMax=str(LABEL_SCALE), drawLabels="1")
    return labeling


# --- SLD ----------------------------------------------------------------------------------------------------------

_OGC = {
    "Equal": "PropertyIsEqualTo",
    "AtLeast": "PropertyIsGreaterThanOrEqualTo",
    "Below": "PropertyIsLessThan",
    "Null": "PropertyIsNull",
}


def _sld(layer: str, name: str, classes: Sequence[_Class]) -> str:
    """Styled Layer Descriptor 1.0.0 (OGC 02-070), from memory of its elements and their order."""
    root = ET.Element(
        "StyledLayerDescriptor",
        {
            "version": "1.0.0",
            "xmlns": "http://www.opengis.net/sld",
            "xmlns:ogc": "http://www.opengis.net/ogc",
            "xmlns:xlink": "http://www.w3.org/1999/xlink",
        },
    )
    named = ET.SubElement(root, "NamedLayer")
    ET.SubElement(named, "Name").text = layer
    style = ET.SubElement(named, "UserStyle")
    ET.SubElement(style, "Name").text = name
    drawn = ET.SubElement(style, "FeatureTypeStyle")
    for n, kind in enumerate(classes):
        rule = ET.SubElement(drawn, "Rule")
        ET.SubElement(rule, "Name").text = f"class {n + 1}"
        ET.SubElement(rule, "Title").text = plain(kind.words)
        rule.append(_filter(kind.filters))
        rule.append(_area(kind) if not kind.mark else _point(kind))
    return _text(root, "")


def _filter(filters: Sequence[tuple[str, str, str]]) -> ET.Element:
    wanted = ET.Element("ogc:Filter")
    into = wanted if len(filters) == 1 else ET.SubElement(wanted, "ogc:And")
    for comparison, column, value in filters:
        test = ET.SubElement(into, f"ogc:{_OGC[comparison]}")
        ET.SubElement(test, "ogc:PropertyName").text = column
        if comparison != "Null":
            ET.SubElement(test, "ogc:Literal").text = plain(value)
    return wanted


def _area(kind: _Class) -> ET.Element:
    symbolizer = ET.Element("PolygonSymbolizer")
    _parameters(symbolizer, "Fill", [("fill", kind.colour), ("fill-opacity", f"{kind.alpha:g}")])
    edge = "#{:02x}{:02x}{:02x}".format(*HAIRLINE) if kind.alpha == 1.0 else kind.colour
    _parameters(symbolizer, "Stroke", [("stroke", edge), ("stroke-width", f"{2.5 * kind.edge_mm:g}")])
    return symbolizer


def _point(kind: _Class) -> ET.Element:
    symbolizer = ET.Element("PointSymbolizer")
    graphic = ET.SubElement(symbolizer, "Graphic")
    mark = ET.SubElement(graphic, "Mark")
    ET.SubElement(mark, "WellKnownName").text = kind.mark
    _parameters(mark, "Fill", [("fill", kind.colour)])
    _parameters(mark, "Stroke", [("stroke", "#ffffff"), ("stroke-width", "0.5")])
    ET.SubElement(graphic, "Size").text = "8"
    return symbolizer


def _parameters(parent: ET.Element, name: str, values: Iterable[tuple[str, str]]) -> None:
    element = ET.SubElement(parent, name)
    for key, value in values:
        ET.SubElement(element, "CssParameter", name=key).text = value


def _text(root: ET.Element, before: str) -> str:
    ET.indent(root, " ")
    return before + ET.tostring(root, encoding="unicode") + "\n"


def _rgb(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def _rgba(rgb: tuple[int, int, int], alpha: float) -> str:
    return ",".join(str(part) for part in (*rgb, round(255 * alpha)))
