"""Start a campaign folder: a commented campaign file, blank sheets, or both filled from files."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from geochem.anomalies.presets import presets_text
from geochem.campaign.keys import TABLES, TOP, Key
from geochem.errors import DataRefused, GeochemError

_VECTOR = {".gpkg", ".geojson", ".json", ".shp", ".kml", ".fgb", ".gml"}
_WORKBOOKS = {".xlsx", ".xlsm", ".xls", ".xlsb", ".ods"}
#: columns that are worth writing down, so that the user sees what was taken for what
_SHOWN = ("id", "x", "y", "mgrs", "latlon", "zone", "hemisphere", "medium", "role", "parent",
          "standard", "batch", "instrument", "mode", "time", "analyte", "value", "unit")  # fmt: skip
_LAYER_NAMES = (
    "geology", "boundary", "keep_out", "regolith", "catchments", "streams", "elevation",
    "structures", "workings", "access", "drilled", "image",
)  # fmt: skip

_FIELD_LOG = (
    "sample_id,medium,grid,line,station,easting,northing,date,crew,role,parent,standard,"
    "horizon,depth_from,depth_to,fraction_um,regolith,lithology,prep_batch,prep_order,sieve_um,"
    "powder_ml,die_mm,die_fill,mill,moisture_pct,notes\n"
)
_READINGS = "Sample,Instrument,Mode,Time,Batch,Cu ppm,Cu +/-,Zn ppm,Zn +/-,As ppm,As +/-\n"
_STANDARDS = "standard,element,certified,sd,unit,method,kind_of_sd,status\n"


@dataclass(frozen=True, slots=True)
class Started:
    """A campaign that was started.

    Parameters
    ----------
    campaign_file : Path
        The campaign file.
    messages : tuple of str
        What was understood of each file, and what is left to fill in.
    """

    campaign_file: Path
    messages: tuple[str, ...]


def start_campaign(folder: str | Path, sources: Sequence[str | Path] = ()) -> Started:
    """Start a campaign folder.

    Parameters
    ----------
    folder : str or Path
        Made when missing; an existing campaign file is never overwritten.
    sources : sequence of path, optional
        Tables and layers; they are named in the campaign file where they are, not copied.

    Returns
    -------
    Started
        The file and what to do next.

    Raises
    ------
    DataRefused
        If the folder has a campaign file, or a source does not exist.
    """
    folder = Path(folder)
    target = folder / "campaign.toml"
    if target.exists():
        raise DataRefused(
            f"{target} exists and is not overwritten; give another folder, or edit that file."
        )
    missing = [str(s) for s in sources if not Path(s).is_file()]
    if missing:
        raise DataRefused(f"there is no file {', '.join(missing)}.")
    folder.mkdir(parents=True, exist_ok=True)
    if not sources:
        for name, text in (
            ("field_log.csv", _FIELD_LOG),
            ("readings.csv", _READINGS),
            ("standards.csv", _STANDARDS),
        ):
            if not (folder / name).exists():
                (folder / name).write_text(text, encoding="utf-8")
        found = _Found()
        found.samples = [_Table("field_log.csv", {}, {})]
        found.assays = [_Table("readings.csv", {"source": "pxrf"}, {})]
        found.standards = _Table("standards.csv", {}, {})
        messages = ["wrote blank sheets field_log.csv, readings.csv and standards.csv"]
    else:
        found = _Found()
        messages = [_place(found, Path(s), folder) for s in sources]
        if not found.samples and found.assays:
            first = found.assays[0]
            kept = {k: v for k, v in first.keys.items() if k in ("sheet", "decimal")}
            found.samples = [_Table(first.path, kept, {})]
            messages.append(
                "no field log among the files: positions are expected in the first table"
            )
        if not found.samples:
            messages.append("no table of samples among the files: fill in [[samples]]")
    if found.crs is None:
        messages.append("fill in 'crs': the working CRS, projected, in metres")
    elif found.crs_from:
        messages.append(
            f"'crs' is {found.crs}, the UTM zone of the positions in {found.crs_from}; change it "
            "if the campaign works in another one"
        )
    presets = folder / "associations.toml"
    if not presets.exists():
        presets.write_text(presets_text(), encoding="utf-8")
        messages.append(
            "wrote associations.toml, the presets of deposit types: to work with your own, edit it "
            "and name it in [targets] presets"
        )
    for table in found.samples:
        messages += [f"{table.path}: give '{k}' ({why})" for k, why in table.hints.items()]
    target.write_text(_campaign_text(folder, found), encoding="utf-8")
    return Started(target, tuple(messages))


@dataclass(slots=True)
class _Table:
    """One table, and the keys that were understood of it."""

    path: str
    keys: dict[str, Any]
    hints: dict[str, str]


class _Found:
    """What the files turned out to be."""

    def __init__(self) -> None:
        self.samples: list[_Table] = []
        self.assays: list[_Table] = []
        self.standards: _Table | None = None
        self.layers: dict[str, tuple[str, str | None]] = {}
        self.crs: str | None = None
        self.crs_from: str = ""


def _place(found: _Found, source: Path, folder: Path) -> str:
    name = _relative(source, folder)
    ending = source.suffix.lower()
    if ending in _VECTOR and not _is_table_of_points(source):
        return _place_layer(found, source, name)
    sheets: list[str | None] = [None]
    if ending in _WORKBOOKS:
        try:
            titles = _sheets(source)
        except Exception as error:
            reason = str(error) if isinstance(error, GeochemError) else "cannot be opened"
            return f"{source.name}: left out, {reason}"
        if len(titles) > 1:
            sheets = list(titles)
    return "; ".join(_place_table(found, source, name, sheet) for sheet in sheets)


def _sheets(source: Path) -> list[str]:
    if source.suffix.lower() in {".xlsx", ".xlsm"}:
        from openpyxl import load_workbook

        book = load_workbook(source, read_only=True)
        try:
            return list(book.sheetnames)
        finally:
            book.close()
    try:
        from python_calamine import CalamineWorkbook
    except ImportError:
        raise DataRefused(
            'it needs the extra: pip install "geochem[workbooks]", or save it as .xlsx'
        ) from None
    return list(CalamineWorkbook.from_path(source).sheet_names)


def _is_table_of_points(source: Path) -> bool:
    """Say whether a vector file holds points with sample ids and values, or with media."""
    from geochem.read.inspection import inspect_table

    seen = inspect_table(source)
    kinds = {c.read_as for c in seen.columns}
    return "id" in kinds and bool({"medium", "value", "horizon", "role"} & kinds)


def _place_table(found: _Found, source: Path, name: str, sheet: str | None) -> str:
    from geochem.read.inspection import inspect_table

    label = source.name + (f" ({sheet})" if sheet else "")
    try:
        seen = inspect_table(source, sheet=sheet)
    except GeochemError as error:
        return f"{label}: left out, {error}"
    refused = next((f.message for f in seen.findings if f.severity == "error"), None)
    if refused is not None:
        return f"{label}: left out, {refused}"
    read_as = {c.read_as: c.name for c in reversed(seen.columns) if c.name}
    keys: dict[str, Any] = {"sheet": sheet} if sheet else {}
    if {"standard", "certified"} <= set(read_as):
        found.standards = _Table(name, keys, {})
        return f"{label}: certified values of standards"
    if seen.dialect is not None and seen.dialect.decimal == ",":
        keys["decimal"] = ","
    codes = {f.code for f in seen.findings}
    said: list[str] = []
    if {"x", "y"} <= set(read_as) or {"mgrs", "latlon"} & set(read_as):
        found.samples.append(_field_log(found, source, name, sheet, keys, read_as, codes, said))
    values = [c for c in seen.columns if c.read_as == "value"]
    if values or {"analyte", "value"} <= set(read_as):
        errors = any(c.read_as == "error" for c in seen.columns)
        xrf = errors or bool({"instrument", "mode", "seconds", "reading"} & set(read_as))
        shown = {
            k: read_as[k]
            for k in _SHOWN
            if k in read_as and k not in ("x", "y", "medium") and (k != "value" or not values)
        }
        mine = {"source": "pxrf" if xrf else "laboratory", **keys, "columns": shown}
        hints = {"sigma": "errors state no level: 1, 2 or 3"} if "sigma-assumed" in codes else {}
        found.assays.append(_Table(name, mine, hints))
        said.append(
            f"{'portable-XRF readings' if xrf else 'laboratory results'} ({len(values)} columns)"
        )
    return f"{label}: {' and '.join(said) or 'no samples or values recognised; left out'}"


def _field_log(
    found: _Found,
    source: Path,
    name: str,
    sheet: str | None,
    keys: dict[str, Any],
    read_as: dict[str, str],
    codes: set[str],
    said: list[str],
) -> _Table:
    shown = {
        k: read_as[k]
        for k in _SHOWN
        if k in read_as and k not in ("analyte", "value", "unit", "batch", "instrument", "mode")
    }
    if source.suffix.lower() in {".gpx", *_VECTOR}:
        shown = {k: v for k, v in shown.items() if k not in ("x", "y")}
    hints = {}
    if "crs-not-stated" in codes:
        hints["crs"] = "the coordinates look like degrees: say on which datum"
    if "medium" not in read_as:
        hints["medium"] = "the table does not say it"
    said.append("field log")
    if found.crs is None:
        found.crs = _working_crs(source, sheet)
        found.crs_from = source.name if found.crs else ""
    return _Table(name, {**keys, "columns": shown}, hints)


def _working_crs(source: Path, sheet: str | None) -> str | None:
    """Give the UTM zone of positions whose CRS the file itself states; None when it does not."""
    import numpy as np

    from geochem.coordinates import degrees_of, read_crs
    from geochem.read.field_log import read_field_log

    try:
        frame = read_field_log(source, sheet=sheet).frame
        stated = frame.loc[frame["crs"].notna() & frame["x"].notna() & frame["y"].notna()]
        if not len(stated):
            return None
        crs = read_crs(stated["crs"].mode().iloc[0])
    except GeochemError:
        return None
    if crs.is_projected:
        code = crs.to_authority()
        return f"{code[0]}:{code[1]}" if code else None
    here = stated.loc[stated["crs"] == stated["crs"].mode().iloc[0]]
    lon, lat = degrees_of(here["x"].to_numpy(dtype=float), here["y"].to_numpy(dtype=float), crs)
    if not np.isfinite(lon).any() or crs.to_epsg() != 4326:
        return None
    zone = int((float(np.nanmedian(lon)) + 180) // 6) % 60 + 1
    return f"EPSG:{(32700 if float(np.nanmedian(lat)) < 0 else 32600) + zone}"


def _place_layer(found: _Found, source: Path, name: str) -> str:
    import pyogrio

    try:
        info = pyogrio.read_info(source)
    except Exception:
        return f"{source.name}: cannot be opened as a vector layer; left out"
    stem = source.stem.lower()
    layer = next((k for k in _LAYER_NAMES if k in stem), stem.replace(" ", "_"))
    texts = [
        str(f)
        for f, t in zip(info["fields"], info["dtypes"], strict=True)
        if str(t) in {"object", "str", "string"}
    ]
    polygons = "Polygon" in str(info["geometry_type"])
    needs_field = polygons and layer not in {"boundary", "keep_out"}
    found.layers[layer] = (name, texts[0] if texts and needs_field else None)
    crs = info.get("crs")
    if crs and found.crs is None:
        from pyproj import CRS

        if CRS.from_user_input(crs).is_projected:
            found.crs = str(crs)
    return f"{source.name}: layer {layer}"


def _relative(source: Path, folder: Path) -> str:
    import os

    try:
        return Path(os.path.relpath(source.resolve(), folder.resolve())).as_posix()
    except ValueError:  # another drive on Windows
        return source.resolve().as_posix()


def _quote(text: str) -> str:
    return "'" + text + "'" if "'" not in text else '"' + text.replace("\\", "/") + '"'


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)  # its escapes are those of TOML
    if isinstance(value, list):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_value(v)}" for k, v in value.items()) + " }"
    return "" if value is None else str(value)


def _comment(keys: dict[str, Key], given: set[str]) -> list[str]:
    """List the keys that are not given, as comments with their meaning."""
    lines = []
    for name, key in keys.items():
        if name in given:
            continue
        choices = f" ({', '.join(key.choices)})" if key.choices else ""
        shown = _value(key.default) if key.default not in (None, "", [], {}) else "..."
        lines.append(f"# {name} = {shown}".ljust(42) + f"# {key.meaning}{choices}")
    return lines


def _table_text(table: _Table, kind: str | None) -> list[str]:
    """Write the keys of one table, then those that are left to the user as comments."""
    lines = [f"path = {_quote(table.path)}"]
    given = {"path"}
    for key, value in table.keys.items():
        if value in (None, {}, ""):
            continue
        lines.append(f"{key} = {_value(value)}")
        given.add(key)
    for key, why in table.hints.items():
        lines.append(f"# {key} = ...".ljust(42) + f"# TO FILL IN: {why}")
        given.add(key)
    return [*lines, *(_comment(TABLES[kind].keys, given) if kind else [])]


def _campaign_text(folder: Path, found: _Found) -> str:
    title = folder.resolve().name.replace("_", " ")
    crs = f'"{found.crs}"' if found.crs else '""'
    lines = [
        "# Campaign file. Paths are relative to this file; text after # is for people.",
        "",
        f"title = {_quote(title)}",
        f"crs = {crs}".ljust(42) + '# working CRS: projected, metres, like "EPSG:32735"',
        *_comment(TOP, {"title", "crs"}),
    ]
    for table in found.samples:
        lines += ["", "[[samples]]", *_table_text(table, "samples")]
    names: dict[str, int] = {}
    for table in found.assays:
        source = table.keys["source"]
        names[source] = names.get(source, 0) + 1
        number = names[source]
        name = {"pxrf": "xrf", "laboratory": "lab"}[source] + (str(number) if number > 1 else "")
        table.keys = {"source": source, "name": name, **table.keys}
        lines += ["", "[[assays]]", *_table_text(table, "assays")]
    if found.standards:
        lines += ["", "[standards]", *_table_text(found.standards, None)]
    lines += ["", "[layers]"]
    for layer, (path, field) in found.layers.items():
        column = f", field = {_quote(field)}" if field else ""
        lines.append(f"{layer} = {{ path = {_quote(path)}{column} }}")
    if not found.layers:
        lines += [
            '# geology = { path = "geology.gpkg", field = "unit" }',
            '# boundary = "licence.geojson"',
            '# keep_out = "no_go.geojson"',
        ]
    for name in ("quality", "background", "targets", "surfaces", "planning", "outputs"):
        lines += ["", f"[{name}]", *_comment(TABLES[name].keys, set())]
    return "\n".join(lines) + "\n"
