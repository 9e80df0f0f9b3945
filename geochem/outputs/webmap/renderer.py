"""`MapRenderer`: writes ``map.html``."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from geochem.errors import WrongCall
from geochem.model.bundle import Bundle


class MapRenderer:
    """The interactive map: one file that opens without network."""

    name = "map"
    summary = "interactive map in one HTML file that opens without network"
    formats = ("html",)
    #: needs no file that another renderer writes
    reads_folder = False

    def render(
        self, bundle: Bundle, folder: Path, *, aggregate_above: int = 200_000
    ) -> list[Path]:
        """Write ``map.html``.

        Parameters
        ----------
        bundle : Bundle
            All records of a run.
        folder : Path
            Existing folder to write into.
        aggregate_above : int, default 200000
            With more samples than this, a symbol stands for all samples of a square cell, with
            their largest value, and the page says so.

        Returns
        -------
        list of Path
            ``[folder / "map.html"]``.

        Raises
        ------
        WrongCall
            If `aggregate_above` is not positive.
        """
        if aggregate_above < 1:
            raise WrongCall(
                f"aggregate_above is {aggregate_above}; it is a number of samples, 1 or more."
            )
        from geochem.outputs.webmap.page import CampaignMap

        data = map_data(bundle, aggregate_above=aggregate_above)
        text = CampaignMap(data, title=f"{bundle.info.title} - map").page()
        path = Path(folder) / "map.html"
        path.write_text(text, encoding="utf-8", newline="\n")
        return [path]


def map_data(bundle: Bundle, *, aggregate_above: int = 200_000) -> dict[str, Any]:
    """Collect what the page shows as JSON values.

    Parameters
    ----------
    bundle : Bundle
        All records of a run.
    aggregate_above : int, default 200000
        As in `MapRenderer.render`.

    Returns
    -------
    dict
        Title block, samples, elements, associations, layers, surfaces and targets.
    """
    from geochem.outputs.webmap.catchment_layer import layers_with_yield
    from geochem.outputs.webmap.element_values import (
        association_entries,
        element_entries,
        first_element,
        further_entries,
        place_entry,
    )
    from geochem.outputs.webmap.geography import wgs84_polynomial
    from geochem.outputs.webmap.points import points_of
    from geochem.outputs.webmap.sample_rows import sample_entry, verdict_entries, zones_of
    from geochem.outputs.webmap.surface_image import chance_entry, surface_entry
    from geochem.outputs.webmap.target_entries import target_entries
    from geochem.outputs.webmap.vector_layers import layer_entries

    points = points_of(bundle, aggregate_above)
    extent = _extent(bundle, points.easting, points.northing)
    origin = (1000.0 * float(extent[0] // 1000), 1000.0 * float(extent[1] // 1000))
    zones, _ = zones_of(points)
    elements = element_entries(bundle, points, zones)
    elements += further_entries(bundle, points, zones)
    shown = {e["symbol"]: (e["divisor"], e["unit"]) for e in elements}
    info = bundle.info
    crs = bundle.survey.samples.crs
    image = bundle.layers.image
    asked = bundle.settings.get("surfaces", {}).get("above", {})
    return {
        "info": {
            "title": info.title,
            "crs": info.crs,
            "crs_name": info.crs_name,
            "convergence": None if np.isnan(info.convergence) else round(info.convergence, 3),
            "date": info.report_date or info.clock.strftime("%Y-%m-%d"),
            "until": str(info.until) if info.until else "",
            "run": info.clock.strftime("%Y-%m-%d %H:%M"),
            "prepared_by": info.prepared_by,
            "qualified_person": info.qualified_person,
            "version": info.version,
            "seed": info.seed,
            "method": method_words(bundle.settings),
            "n": len(bundle.survey.samples),
            "unlocated": len(bundle.survey.unlocated),
            "findings": len(bundle.findings),
        },
        "progress": _progress(bundle.progress),
        "spacings": _spacings(bundle),
        "origin": list(origin),
        "extent": [round(v, 1) for v in extent],
        "wgs84": wgs84_polynomial(crs if crs is not None else info.crs, extent),
        "samples": sample_entry(bundle, points, origin),
        "verdicts": verdict_entries(bundle),
        "elements": elements,
        "first_element": first_element(bundle, elements),
        "associations": association_entries(bundle, points),
        "places": place_entry(bundle, points),
        "groups": _groups(bundle),
        "decisions": _decisions(bundle),
        "layers": layer_entries(layers_with_yield(bundle), origin, extent),
        "surfaces": [
            *(surface_entry(s, shown) for s in bundle.surfaces),
            *(
                chance_entry(s, shown)
                for s in bundle.surfaces
                if s.chance is not None and s.name.split("_ppm")[0] in asked
            ),
        ],
        **_picture(image, info.crs, extent),
        **target_entries(bundle, points, origin),
    }


def method_words(settings: Mapping[str, Any]) -> str:
    """Say in words how thresholds were set.

    Parameters
    ----------
    settings : mapping
        The checked campaign file.

    Returns
    -------
    str
        For the title block.

    Examples
    --------
    >>> method_words({"background": {"method": "percentile", "options": {"q": 97.5}}})
    'thresholds: percentile (q 97.5)'
    """
    background = settings.get("background", {}) or {}
    given = background.get("method") or "median_mad"
    method = " and ".join(map(str, given)) if isinstance(given, list | tuple) else str(given)
    options = dict(background.get("options") or {})
    by = background.get("by") or []
    per = f", per {' and '.join([by] if isinstance(by, str) else map(str, by))}" if by else ""
    if method == "median_mad":
        scale = "log10 values" if options.get("log", True) else "raw values"
        return f"thresholds: median + {options.get('k', 2):g} MAD of {scale}{per}"
    words = ", ".join(f"{k.replace('_', ' ')} {v}" for k, v in options.items())
    return f"thresholds: {method.replace('_', ' ')}{f' ({words})' if words else ''}{per}"


def _extent(bundle: Bundle, x: Any, y: Any) -> tuple[float, float, float, float]:
    """Give west, south, east, north of the samples, targets and proposals; at least 100 m."""
    boxes = [[x.min(), y.min(), x.max(), y.max()]] if len(x) else []
    report = bundle.targets
    boxes += [
        frame.total_bounds
        for frame in (report.targets, report.leads, report.follow_up, report.holes)
        if len(frame)
    ]
    boundary = bundle.layers.get("boundary")
    if not boxes and boundary is not None and len(boundary):
        boxes = [boundary.total_bounds]
    if not boxes:
        return 0.0, 0.0, 1000.0, 1000.0
    array = np.array(boxes, dtype=float)
    west, south = np.nanmin(array[:, :2], axis=0)
    east, north = np.nanmax(array[:, 2:], axis=0)
    grow = max(0.0, 50.0 - max(east - west, north - south) / 2)
    return float(west - grow), float(south - grow), float(east + grow), float(north + grow)


def _progress(progress: Mapping[str, Any]) -> list[list[str]]:
    from geochem.outputs.webmap.target_entries import plain

    words = {
        "planned": "planned", "collected": "collected", "located": "with a position",
        "read": "read", "sent": "sent to a laboratory", "at_laboratory": "at the laboratory",
        "outstanding": "not back from the laboratory", "returned": "back from the laboratory",
        "previous": "previous run",
    }  # fmt: skip
    found = [(word, plain(progress.get(key))) for key, word in words.items()]
    return [[word, str(value)] for word, value in found if value is not None]


def _spacings(bundle: Bundle) -> list[str]:
    made = []
    for s in bundle.spacings:
        name = f"{s.medium} {s.grid}".strip()
        if s.regular:
            made.append(
                f"{name}: {s.n} places, lines {s.line_spacing:.0f} m apart, stations "
                f"{s.station_spacing:.0f} m"
            )
        elif np.isfinite(s.nearest):
            made.append(f"{name}: {s.n} places, about {s.nearest:.0f} m apart")
    return made


def _picture(
    image: Path | None, crs: str, extent: tuple[float, float, float, float]
) -> dict[str, Any]:
    from geochem.outputs.webmap.surface_image import picture_entry

    if image is None:
        return {"picture": None, "picture_note": ""}
    picture, note = picture_entry(image, crs, extent)
    return {"picture": picture, "picture_note": note}


def _decisions(bundle: Bundle) -> dict[str, Any]:
    """Give the decisions that this run obeyed, so that the page starts from them."""
    given = bundle.decisions
    return {
        "file": str(given.get("file", "")),
        "others": list(given.get("others", [])),
        "elements": {str(k): dict(v) for k, v in given.get("elements", {}).items()},
        "targets": {str(k): dict(v) for k, v in given.get("targets", {}).items()},
    }


def _groups(bundle: Bundle) -> list[dict[str, Any]]:
    from geochem.outputs.webmap.target_entries import plain

    clusters = bundle.evidence.clusters
    if not {"group", "driving"} <= set(clusters.columns):
        return []
    several = "medium" in clusters.columns and clusters["medium"].nunique() > 1
    return [
        {
            "group": plain(row.group),
            "driving": plain(row.driving) or "background",
            "medium": str(row.medium) if several else "",
        }
        for row in clusters.itertuples(index=False)
        if plain(row.group) is not None
    ]
