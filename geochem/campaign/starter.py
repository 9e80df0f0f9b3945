"""Start a campaign folder: a commented campaign file, blank sheets, or both filled from files."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from geochem.campaign.keys import TABLES, TOP, Key
from geochem.errors import DataRefused, GeochemError

_VECTOR = {".gpkg", ".geojson", ".json", ".shp", ".kml", ".fgb"}
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
        found = _Found(samples=[("field_log.csv", None)], assays=[("readings.csv", "pxrf", None)])
        found.standards = "standards.csv"
        messages = ["wrote blank sheets field_log.csv, readings.csv and standards.csv"]
    else:
        found = _Found()
        messages = [_place(found, Path(s), folder) for s in sources]
        if not found.samples and found.assays:
            found.samples = [(found.assays[0][0], None)]
            messages.append(
                "no field log among the files: positions are expected in the first table"
            )
        if not found.samples:
            messages.append("no table of samples among the files: fill in [[samples]]")
    if found.crs is None:
        messages.append("fill in 'crs': the working CRS, projected, in metres")
    target.write_text(_campaign_text(folder, found), encoding="utf-8")
    return Started(target, tuple(messages))


class _Found:
    """What the files turned out to be."""

    def __init__(
        self,
        samples: list[tuple[str, str | None]] | None = None,
        assays: list[tuple[str, str, str | None]] | None = None,
    ) -> None:
        self.samples = samples or []
        self.assays = assays or []
        self.standards: str | None = None
        self.layers: dict[str, tuple[str, str | None]] = {}
        self.crs: str | None = None


def _place(found: _Found, source: Path, folder: Path) -> str:
    name = _relative(source, folder)
    if source.suffix.lower() in _VECTOR:
        return _place_layer(found, source, name)
    sheets: list[str | None] = [None]
    if source.suffix.lower() in {".xlsx", ".xlsm"}:
        from openpyxl import load_workbook

        try:
            book = load_workbook(source, read_only=True)
        except Exception:
            return f"{source.name}: cannot be opened as a workbook; left out"
        if len(book.sheetnames) > 1:
            sheets = list(book.sheetnames)
        book.close()
    return "; ".join(_place_table(found, source, name, sheet) for sheet in sheets)


def _place_table(found: _Found, source: Path, name: str, sheet: str | None) -> str:
    from geochem.read.inspection import inspect_table

    label = source.name + (f" ({sheet})" if sheet else "")
    try:
        seen = inspect_table(source, sheet=sheet)
    except GeochemError as error:
        return f"{label}: left out, {error}"
    kinds = {c.read_as for c in seen.columns}
    headers = {c.name.strip().lower() for c in seen.columns}
    if {"standard", "certified"} <= headers:
        found.standards = name
        return f"{label}: certified values of standards"
    located = {"x", "y"} <= kinds
    values = [c for c in seen.columns if c.read_as == "value"]
    said = []
    if located:
        found.samples.append((name, sheet))
        said.append("field log")
    if len(values) >= 1 or {"analyte", "value"} <= kinds:
        errors = any(c.read_as == "error" for c in seen.columns)
        xrf = errors or bool({"instrument", "mode", "seconds", "reading"} & kinds)
        found.assays.append((name, "pxrf" if xrf else "laboratory", sheet))
        said.append(
            f"{'portable-XRF readings' if xrf else 'laboratory results'} ({len(values)} columns)"
        )
    return f"{label}: {' and '.join(said) or 'no samples or values recognised; left out'}"


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
        return f'"{value}"'
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
    for path, sheet in found.samples:
        lines += ["", "[[samples]]", f"path = {_quote(path)}"]
        given = {"path"}
        if sheet:
            lines.append(f"sheet = {_quote(sheet)}")
            given.add("sheet")
        lines += _comment(TABLES["samples"].keys, given)
    names: dict[str, int] = {}
    for path, source, sheet in found.assays:
        names[source] = names.get(source, 0) + 1
        number = names[source]
        name = {"pxrf": "xrf", "laboratory": "lab"}[source] + (str(number) if number > 1 else "")
        lines += [
            "", "[[assays]]", f"path = {_quote(path)}", f'source = "{source}"', f'name = "{name}"',
        ]  # fmt: skip
        given = {"path", "source", "name"}
        if sheet:
            lines.append(f"sheet = {_quote(sheet)}")
            given.add("sheet")
        lines += _comment(TABLES["assays"].keys, given)
    if found.standards:
        lines += ["", "[standards]", f"path = {_quote(found.standards)}"]
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
