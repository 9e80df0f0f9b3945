"""Styles for the layers of the GeoPackage as OGC Styled Layer Descriptor 1.0.0 (02-070)."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from geochem.model.tables import values_of
from geochem.units import shown_unit

if TYPE_CHECKING:
    from geochem.model.bundle import Bundle

_SLD = "http://www.opengis.net/sld"
_OGC = "http://www.opengis.net/ogc"
_PURPLE = ("#e7dcef", "#c9a9d8", "#a676bd", "#824a9c", "#5b2674", "#35104a")


def _add(parent: ET.Element, tag: str, text: str | None = None, **attributes: str) -> ET.Element:
    namespace, _, name = tag.rpartition(":")
    space = _OGC if namespace == "ogc" else _SLD
    child = ET.SubElement(parent, f"{{{space}}}{name}", attributes)
    child.text = text
    return child


def _document(layer: str, title: str) -> tuple[ET.Element, ET.Element]:
    root = ET.Element(f"{{{_SLD}}}StyledLayerDescriptor", {"version": "1.0.0"})
    named = _add(root, "NamedLayer")
    _add(named, "Name", layer)
    style = _add(named, "UserStyle")
    _add(style, "Title", title)
    return root, _add(style, "FeatureTypeStyle")


def _css(parent: ET.Element, **values: str) -> None:
    for name, value in values.items():
        _add(parent, "CssParameter", value, name=name.replace("_", "-"))


def _point(rule: ET.Element, mark: str, size: float, fill: str | None, line: str) -> None:
    graphic = _add(_add(rule, "PointSymbolizer"), "Graphic")
    shape = _add(graphic, "Mark")
    _add(shape, "WellKnownName", mark)
    if fill is not None:
        _css(_add(shape, "Fill"), fill=fill)
    _css(_add(shape, "Stroke"), stroke=line, stroke_width="0.6")
    _add(graphic, "Size", f"{size:g}")


def _compare(parent: ET.Element, kind: str, column: str, value: str) -> None:
    test = _add(parent, f"ogc:{kind}")
    _add(test, "ogc:PropertyName", column)
    _add(test, "ogc:Literal", value)


def element_style(element: str, limits: list[float], unit: str, divisor: float) -> ET.Element:
    """Make a graded style for one element of the samples layer.

    Parameters
    ----------
    element : str
        Symbol.
    limits : list of float
        Class limits in the shown unit, rising.
    unit, divisor : str, float
        From `units.shown_unit`.

    Returns
    -------
    xml.etree.ElementTree.Element
        The document.
    """
    root, types = _document("samples", f"{element} ({unit}), graded")
    column, flag = f"{element}_ppm", f"{element}_ppm_below"
    rule = _add(types, "Rule")
    _add(rule, "Name", f"{element} below detection")
    _compare(_add(rule, "ogc:Filter"), "PropertyIsEqualTo", flag, "true")
    _point(rule, "cross", 4, None, "#777777")
    edges = [None, *limits, None]
    for i, (low, high) in enumerate(pairwise(edges)):
        rule = _add(types, "Rule")
        if low is None:
            words = "all" if high is None else f"under {high:g}"
        else:
            words = f"{low:g} and more" if high is None else f"{low:g} to {high:g}"
        _add(rule, "Name", f"{element} {words} {unit}")
        both = _add(_add(rule, "ogc:Filter"), "ogc:And")
        _compare(both, "PropertyIsEqualTo", flag, "false")
        _compare(
            both,
            "PropertyIsGreaterThanOrEqualTo",
            column,
            f"{0 if low is None else low * divisor:g}",
        )
        if high is not None:
            _compare(both, "PropertyIsLessThan", column, f"{high * divisor:g}")
        colour = _PURPLE[min(i, len(_PURPLE) - 1)]
        _point(rule, "circle", 4 + 2 * i, colour, "#2b2b2b")
    return root


def _polygon_style(layer: str, title: str, label: str, colour: str, dash: str) -> ET.Element:
    root, types = _document(layer, title)
    rule = _add(types, "Rule")
    _add(rule, "Name", title)
    polygon = _add(rule, "PolygonSymbolizer")
    fill = _add(polygon, "Fill")
    _css(fill, fill=colour, fill_opacity="0.12")
    stroke = _add(polygon, "Stroke")
    _css(stroke, stroke=colour, stroke_width="2")
    if dash:
        _css(stroke, stroke_dasharray=dash)
    text = _add(rule, "TextSymbolizer")
    _add(_add(text, "Label"), "ogc:PropertyName", label)
    _css(_add(text, "Fill"), fill="#1a1a1a")
    return root


def _point_style(layer: str, title: str, mark: str, size: float, colour: str) -> ET.Element:
    root, types = _document(layer, title)
    rule = _add(types, "Rule")
    _add(rule, "Name", title)
    _point(rule, mark, size, colour, "#1a1a1a")
    return root


def write_styles(bundle: Bundle, folder: Path) -> list[Path]:
    """Write one style per layer, and one per counted element for the samples.

    Parameters
    ----------
    bundle : Bundle
        Records of a run.
    folder : Path
        ``styles``; made when missing.

    Returns
    -------
    list of Path
        The files.
    """
    from geochem.outputs.classes import class_limits

    folder.mkdir(exist_ok=True)
    documents = {
        "targets": _polygon_style("targets", "Targets, for follow-up", "target", "#b5391c", ""),
        "leads": _polygon_style("leads", "Leads: too few samples", "lead", "#8a6d3b", "4 3"),
        "follow_up": _point_style("follow_up", "Follow-up samples", "triangle", 8, "#1c7a6b"),
        "holes": _point_style("holes", "Proposed holes", "square", 9, "#1f3d7a"),
        "anomalies": _point_style("anomalies", "Samples with scores", "circle", 5, "#a676bd"),
    }
    samples = bundle.survey.samples
    for element in bundle.evidence.elements:
        values = values_of(samples, element)
        known = values.value[np.isfinite(values.value) & ~values.below]
        if not len(known):
            continue
        unit, divisor = shown_unit(element, float(np.quantile(known, 0.95)))
        limits, _ = class_limits(known / divisor)
        documents[f"samples_{element}"] = element_style(element, limits, unit, divisor)
    written = []
    ET.register_namespace("", _SLD)
    ET.register_namespace("ogc", _OGC)
    for name, root in documents.items():
        path = folder / f"{name}.sld"
        ET.indent(root)
        ET.ElementTree(root).write(path, encoding="utf-8", xml_declaration=True)
        written.append(path)
    return written
