"""The keys of a campaign file, as data: what each table knows, its kind, default and meaning.

The reader of campaign files, the commented file that `geochem new` writes and the reference in
DEVELOPERS.md are all made from this one list. To add a key: one line here, and its use in
`wiring.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a table.

    Parameters
    ----------
    kind : str
        ``text``, ``whole``, ``number``, ``flag``, ``date``, ``texts`` (one text or a list),
        ``table`` (free keys), ``numbers`` (table of numbers), ``text or table``,
        ``whole or list``.
    meaning : str
        One line for people.
    default : object
        Used when the key is not given.
    choices : tuple of str
        Allowed texts; empty when any.
    required : bool
        Refused when missing.
    """

    kind: str
    meaning: str
    default: Any = None
    choices: tuple[str, ...] = ()
    required: bool = False


TABLE_KEYS: dict[str, Key] = {
    "columns": Key("table", "which header is which column, for example { id = 'Sample ID' }", {}),
    "sheet": Key("text", "sheet of a workbook, or layer of a vector file"),
    "separator": Key("text", "between cells, when it is not recognised"),
    "decimal": Key("text", "decimal mark", choices=(".", ",")),
    "encoding": Key("text", "of a text file, for example 'cp1252'"),
    "header_rows": Key(
        "whole or list", "how many header rows there are, or a list of the rows that hold them"
    ),
}

CONTROL_NAMES = Key(
    "table", "names of controls, for example { \"STD-*\" = \"standard\", \"*-D\" = "
    "\"field_duplicate\" }", {},
)  # fmt: skip

TOP: dict[str, Key] = {
    "title": Key("text", "stands on every page", required=True),
    "crs": Key("text", "working CRS: projected, metres, for example 'EPSG:32735'", required=True),
    "seed": Key("whole", "of every random step", 1),
    "prepared_by": Key("text", "name on the report", ""),
    "qualified_person": Key(
        "text", "competent / qualified person, if public release is meant", ""
    ),
    "report_date": Key("text", "date on the report", ""),
}

SAMPLES: dict[str, Key] = {
    "path": Key("texts", "file, list of files or pattern", required=True),
    "name": Key("text", "of this table, for messages"),
    "medium": Key(
        "text", "when the file has no such column: soil, stream sediment, rock, till ..."
    ),
    "grid": Key("text", "name of the sampling grid"),
    "stage": Key("text", "reconnaissance, infill ..."),
    "use": Key("text", "full, or context: shown, not used", "full", choices=("full", "context")),
    "crs": Key("text", "of the coordinates in the file; default: the campaign's"),
    "local_grid": Key(
        "text",
        "table of control points (local_x, local_y, easting, northing): the coordinates "
        "are those of a local grid",
    ),
    "controls": CONTROL_NAMES,
    **TABLE_KEYS,
}

ASSAYS: dict[str, Key] = {
    "path": Key("texts", "file, list of files or pattern", required=True),
    "source": Key(
        "text", "portable XRF or laboratory", choices=("pxrf", "laboratory"), required=True
    ),
    "name": Key("text", "of the assay; needed when two tables share a source"),
    "sigma": Key("number", "at how many sigma the error columns are given (1, 2 or 3)"),
    "batch": Key("text", "when the file has no such column"),
    "laboratory": Key("text", "who analysed"),
    "method": Key("text", "of analysis"),
    "digestion": Key(
        "text", "how much of the sample was dissolved",
        choices=("total", "near-total", "partial", "weak", "unknown"),
    ),
    "fraction_um": Key("number", "what was sampled, finer than this [um]"),
    "limits": Key("numbers", "detection limits [ppm], for example { Cu = 8 }", {}),
    "received": Key("date", "when the results came"),
    "analytes": Key("table", "overrides what was understood of a column", {}),
    "controls": CONTROL_NAMES,
    **TABLE_KEYS,
}  # fmt: skip

STANDARDS: dict[str, Key] = {
    "path": Key("texts", "file: standard, element, certified, sd, unit", required=True),
    **TABLE_KEYS,
}

LAYER: dict[str, Key] = {
    "path": Key("text", "any local file GDAL reads", required=True),
    "field": Key("text", "column that names a polygon"),
}

QUALITY: dict[str, Key] = {
    "prefer": Key("texts", "assays in order of preference for the accepted value", []),
    "key_elements": Key("texts", "elements a batch is judged on; default: those that count", []),
    "options": Key("table", "limits of the quality checks", {}),
}

COMPOSITION: dict[str, Key] = {
    "elements": Key("texts", "parts of the composition; default: all that qualify", []),
    "max_below": Key("number", "an element above this share below detection is left out", 0.3),
    "replacement": Key(
        "text",
        "how values behind limits are replaced",
        "regression",
        choices=("regression", "logratio_em", "lognormal", "simple"),
    ),
    "draws": Key("whole", "sets of values behind limits, for the uncertainty", 5),
    "indices": Key("texts", "further columns: CIA, CIW, PIA, AI, CCPI", []),
    "ratios": Key("texts", "further columns: ratios by mass, for example ['Rb/Sr']", []),
    "balances": Key("table", "further columns: name = { over = ['K'], under = ['Na', 'Ca'] }", {}),
    "enrichment": Key("texts", "elements compared with the upper crust", []),
    "enrichment_reference": Key("text", "element that stays put, for enrichment", "Al"),
}

BACKGROUND: dict[str, Key] = {
    "method": Key("text", "threshold method, see `geochem plugins`", "median_mad"),
    "options": Key("table", "options of the method, for example { k = 2 }", {}),
    "by": Key("texts", "columns that separate domains, for example ['geology']", []),
    "min_n": Key("whole", "samples a domain needs to stand alone", 30),
    "level_by": Key(
        "texts",
        "columns whose groups are brought to one level; [] for none",
        ["instrument", "batch"],
    ),
    "level_from": Key(
        "texts",
        "evidence for levelling: standards, duplicates, ground",
        ["standards", "duplicates"],
    ),
    "pin_stage": Key("text", "stage whose samples alone make the background"),
    "contact_m": Key("number", "samples so close to a mapped contact are flagged [m]"),
    "groups": Key("whole", "so many groups of like composition as domains, without a map"),
    "guidelines": Key("text", "table of guideline values: element, value, unit, source"),
    "compare": Key("whole", "leading elements whose thresholds are compared by every method", 1),
    "element": Key(
        "table", "another method or value for one element: [background.element.Au]", {}
    ),
}

ELEMENT_BACKGROUND: dict[str, Key] = {
    "value": Key("number", "threshold chosen for this element, before any method [ppm]"),
    "values": Key("numbers", "the same by medium: { soil = 120, rock = 300 } [ppm]", {}),
    "method": Key("text", "threshold method for this element; default: the campaign's"),
    "options": Key("table", "its options", {}),
    "on": Key("texts", "robust regression on these elements or columns comes off first", []),
    "window": Key("whole", "median of so many samples around comes off first"),
    "reason": Key("text", "why; recorded", ""),
}

ANOMALIES: dict[str, Key] = {
    "elements": Key("texts", "elements worked on; default: all with accepted values", []),
    "grouping": Key(
        "text",
        "how anomalous samples are grouped",
        "mixtures",
        choices=("mixtures", "k_means", "density"),
    ),
    "options": Key("table", "of grouping: { most = 7, smallest = 8, contiguity = 0.0 }", {}),
}

SURFACES: dict[str, Key] = {
    "elements": Key("texts", "elements to interpolate; default: the sought or leading ones", []),
    "method": Key(
        "text", "how", "ordinary_kriging", choices=("ordinary_kriging", "inverse_distance")
    ),
    "max_cells": Key("whole", "cells of one grid at most", 30000),
    "above": Key("numbers", "{ Cu = 120 }: chance of exceeding [ppm]; default: the threshold", {}),
    "options": Key("table", "scale, variogram, neighbourhood; see DEVELOPERS.md", {}),
}

TARGETS: dict[str, Key] = {
    "wanted": Key("whole", "at most so many targets; a cap, never a quota", 10),
    "seek": Key("texts", "elements sought, for example ['Cu', 'Au']", []),
    "association": Key("text or table", "a preset by name, or a table of signed weights"),
    "presets": Key(
        "text", "file of your own associations instead of the presets, like associations.toml"
    ),
    "max_spacing_m": Key("number", "coarser sampling gives no outlines [m]", 2000.0),
    "ranker": Key("text", "ranking method, see `geochem plugins`", "weighted_criteria"),
    "weights": Key("numbers", "weights of the ranking criteria", {}),
    "follow_up": Key("numbers", "{ samples = , days = } at most for follow-up samples", {}),
}

PLANNING: dict[str, Key] = {
    "layout": Key(
        "text", "new points on the ground inside boundary, outside keep_out",
        choices=(
            "square", "rectangular", "staggered", "lines", "ridges", "streams", "stratified",
        ),
    ),
    "line_spacing": Key("number", "across the lines [m]"),
    "station_spacing": Key("number", "along the lines [m]"),
    "azimuth": Key("number", "of the lines, clockwise [degrees]; needs north"),
    "north": Key("text", "from which north azimuths count", choices=("grid", "true", "magnetic")),
    "declination": Key("number", "magnetic from true north, east positive [degrees]"),
    "origin": Key("numbers", "{ easting = , northing = } a place the grid goes through", {}),
    "follow": Key("text", "layer whose lines ridges or streams follow; default: that name"),
    "prefix": Key("text", "of planned ids", "P"),
    "body": Key(
        "numbers", "{ length = , width = , azimuth = } smallest body not to be missed [m]", {}
    ),
    "probability": Key("number", "wanted chance of a point inside body; gives the spacing"),
    "ratio": Key("number", "line over station spacing when they are found from probability", 1.0),
    "halo": Key(
        "table", "{ contrast = , scatter = , error_pct = , k = , decay = , least = } how body shows",
        {},
    ),
    "cost": Key("numbers", "{ sample = , assay = , day = }", {}),
    "points_per_day": Key("whole", "points that a crew takes in a day", 40),
    "start": Key("numbers", "{ easting = , northing = } where the day's walk begins", {}),
    "controls": Key("numbers", "blind controls per sample by role, { standard = 0.05, ... }", {}),
    "standards": Key("texts", "names of standards in stock; default: those of [standards]", []),
    "id_prefix": Key("text", "of issued sample ids; default: that of the field log, else S"),
    "batch": Key("whole", "ids analysed together, in random order", 40),
    "mass": Key(
        "numbers", "{ mineral_share = , mineral_density = , grain_um = , top_size_mm = , error_pct = }"
        " for the least sample mass", {},
    ),
    "dispatch_share": Key("number", "share of read samples that go to a laboratory; 0 for none", 0.1),
    "dispatch_number": Key("whole", "so many samples instead of a share"),
    "dispatch_controls": Key("numbers", "blind controls per sample sent, by role", {}),
    "umpire": Key("number", "share of samples sent that a second laboratory checks", 0.05),
    "unit": Key("text", "column of units that the dispatch must cover", "geology"),
    "orientation": Key(
        "table", "{ column = , over = , background = } marks samples of an orientation survey", {}
    ),
    "labels": Key("flag", "draw labels with QR codes (extra 'plan')", default=False),
}  # fmt: skip

PLAN: dict[str, Key] = {
    "path": Key("text", "planned points: planned_id, easting, northing", required=True),
}

DISPATCH: dict[str, Key] = {
    "path": Key("text", "sent to the laboratory: sample_id, laboratory, job, sent", required=True),
}

OUTPUTS: dict[str, Key] = {
    "renderers": Key("texts", "what is written; default: everything", []),
    "options": Key("table", "options of a renderer: [outputs.options.map]", {}),
    "postgis": Key("text", "database to write into too, without password: 'host= dbname= user='"),
    "postgis_schema": Key("text", "schema of that database", "geochem"),
}


@dataclass(frozen=True, slots=True)
class TableKeys:
    """One table of the campaign file.

    Parameters
    ----------
    keys : dict of str to Key
        What it knows.
    many : bool
        Whether it is an array of tables.
    """

    keys: dict[str, Key]
    many: bool = field(default=False)


TABLES: dict[str, TableKeys] = {
    "samples": TableKeys(SAMPLES, many=True),
    "assays": TableKeys(ASSAYS, many=True),
    "standards": TableKeys(STANDARDS),
    "quality": TableKeys(QUALITY),
    "composition": TableKeys(COMPOSITION),
    "background": TableKeys(BACKGROUND),
    "anomalies": TableKeys(ANOMALIES),
    "surfaces": TableKeys(SURFACES),
    "targets": TableKeys(TARGETS),
    "planning": TableKeys(PLANNING),
    "plan": TableKeys(PLAN),
    "dispatch": TableKeys(DISPATCH),
    "outputs": TableKeys(OUTPUTS),
}
