"""Styles for the layers of the GeoPackage as OGC Styled Layer Descriptor 1.0.0 (02-070)."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from geochem.model.tables import values_of
from geochem.outputs.text_cells import printable
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
        _add(rule, "Name", f"{element} {_class_words(low, high)} {unit}")
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


def graded_style(layer: str, title: str, column: str, limits: list[float]) -> ET.Element:
    """Make a graded style of points for one number.

    Parameters
    ----------
    layer, title, column : str
        Name of the layer, title of the style, name of the attribute.
    limits : list of float
        Class limits, rising.

    Returns
    -------
    xml.etree.ElementTree.Element
        The document.
    """
    root, types = _document(layer, title)
    edges = [None, *limits, None]
    for i, (low, high) in enumerate(pairwise(edges)):
        rule = _add(types, "Rule")
        _add(rule, "Name", f"{column} {_class_words(low, high)}".strip())
        bounds = []
        if low is not None:
            bounds.append(("PropertyIsGreaterThanOrEqualTo", low))
        if high is not None:
            bounds.append(("PropertyIsLessThan", high))
        if bounds:
            where = _add(rule, "ogc:Filter")
            where = where if len(bounds) == 1 else _add(where, "ogc:And")
            for kind, limit in bounds:
                _compare(where, kind, column, f"{limit:g}")
        _point(rule, "circle", 4 + 2 * i, _PURPLE[min(i, len(_PURPLE) - 1)], "#2b2b2b")
    return root


def _class_words(low: float | None, high: float | None) -> str:
    if low is None:
        return "all" if high is None else f"under {high:g}"
    return f"{low:g} and more" if high is None else f"{low:g} to {high:g}"


def flag_style(layer: str, title: str, column: str, words: tuple[str, str]) -> ET.Element:
    """Make a style of points for a flag.

    Parameters
    ----------
    layer, title, column : str
        Name of the layer, title of the style, name of the attribute.
    words : (str, str)
        What true and false mean.

    Returns
    -------
    xml.etree.ElementTree.Element
        The document.
    """
    root, types = _document(layer, title)
    for value, name, size, fill in (
        ("false", words[1], 4, _PURPLE[0]),
        ("true", words[0], 8, _PURPLE[4]),
    ):
        rule = _add(types, "Rule")
        _add(rule, "Name", name)
        _compare(_add(rule, "ogc:Filter"), "PropertyIsEqualTo", column, value)
        _point(rule, "circle", size, fill, "#2b2b2b")
    return root


#: distinct for most readers (Okabe and Ito 2008)
_DISTINCT = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#e69f00", "#56b4e9", "#f0e442")


def category_style(layer: str, title: str, column: str, names: Mapping[int, str]) -> ET.Element:
    """Make a style of points for numbered groups.

    Parameters
    ----------
    layer, title, column : str
        Name of the layer, title of the style, name of the attribute.
    names : mapping of int to str
        What each number means.

    Returns
    -------
    xml.etree.ElementTree.Element
        The document.
    """
    root, types = _document(layer, title)
    for i, (number, name) in enumerate(sorted(names.items())):
        rule = _add(types, "Rule")
        _add(rule, "Name", f"{number}: {name}")
        _compare(_add(rule, "ogc:Filter"), "PropertyIsEqualTo", column, str(number))
        _point(rule, "circle", 7, _DISTINCT[i % len(_DISTINCT)], "#2b2b2b")
    rule = _add(types, "Rule")
    _add(rule, "Name", "in no group")
    _add(_add(_add(rule, "ogc:Filter"), "ogc:PropertyIsNull"), "ogc:PropertyName", column)
    _point(rule, "circle", 3, "#dddddd", "#777777")
    return root


def raster_style(layer: str, title: str, limits: list[float]) -> ET.Element:
    """Make a style of a grid.

    Parameters
    ----------
    layer, title : str
        Name of the layer, title of the style.
    limits : list of float
        Values that get a colour, rising; between them colours are blended.

    Returns
    -------
    xml.etree.ElementTree.Element
        The document.
    """
    root, types = _document(layer, title)
    rule = _add(types, "Rule")
    _add(rule, "Name", title)
    colours = _add(_add(rule, "RasterSymbolizer"), "ColorMap")
    for i, limit in enumerate(limits or [0.0]):
        colour = _PURPLE[min(i, len(_PURPLE) - 1)]
        _add(
            colours, "ColorMapEntry", None, color=colour, quantity=f"{limit:g}", label=f"{limit:g}"
        )
    return root


def polygon_style(layer: str, title: str, label: str, colour: str, dash: str) -> ET.Element:
    """Make a style of outlines.

    Parameters
    ----------
    layer, title, label : str
        Name of the layer, title of the style, attribute that is written.
    colour, dash : str
        Of the line; lengths of dashes and gaps, empty for a full line.

    Returns
    -------
    xml.etree.ElementTree.Element
        The document.
    """
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
        "targets": polygon_style("targets", "Targets, for follow-up", "target", "#b5391c", ""),
        "leads": polygon_style("leads", "Leads: too few samples", "lead", "#8a6d3b", "4 3"),
        "follow_up": _point_style("follow_up", "Follow-up samples", "triangle", 8, "#1c7a6b"),
        "holes": _point_style("holes", "Proposed holes", "square", 9, "#1f3d7a"),
        "anomalies": _point_style("anomalies", "Samples with scores", "circle", 5, "#a676bd"),
        "association_probability": graded_style(
            "association_probability", "Probability that an association exceeds its background",
            "probability", [0.1, 0.3, 0.5, 0.8],
        ),
    }  # fmt: skip
    samples = bundle.survey.samples
    for element in bundle.evidence.elements:
        values = values_of(samples, element)
        known = values.value[np.isfinite(values.value) & ~values.below]
        if not len(known):
            continue
        unit, divisor = shown_unit(element, float(np.quantile(known, 0.95)))
        limits, _ = class_limits(known / divisor)
        documents[f"samples_{element}"] = element_style(element, limits, unit, divisor)
    return [write_style(root, folder / f"{name}.sld") for name, root in documents.items()]


def write_style(root: ET.Element, path: Path) -> Path:
    """Write a style document.

    Parameters
    ----------
    root : xml.etree.ElementTree.Element
        From one of the functions above.
    path : Path
        Where to.

    Returns
    -------
    Path
        The file.
    """
    ET.register_namespace("", _SLD)
    ET.register_namespace("ogc", _OGC)
    for element in root.iter():
        # XML 1.0 allows no control characters, whatever an attribute of a layer holds
        element.text = None if element.text is None else printable(element.text, instead="")
    ET.indent(root)
    ET.ElementTree(root).write(path, encoding="utf-8", xml_declaration=True)
    return path
