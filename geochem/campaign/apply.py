"""`apply`: one operation on one layer of any vector file, for desktop hosts."""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geochem import plugins
from geochem.campaign.on_layers import LayerAnswer, LayerWork, check_element
from geochem.campaign.operations import ON_LAYERS, Operation
from geochem.errors import DataRefused, WrongCall, unknown
from geochem.model.finding import Finding

if TYPE_CHECKING:
    import geopandas as gpd

#: what an output may be, by its ending
DRIVERS = {
    ".gpkg": "GPKG", ".geojson": "GeoJSON", ".json": "GeoJSON", ".shp": "ESRI Shapefile",
    ".fgb": "FlatGeobuf",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Applied:
    """What an operation on a layer gave.

    Parameters
    ----------
    path, style : Path
        The file with the answer, the style document beside it.
    layer : str
        Name of the layer.
    rows : int
        Features written; 0 for a grid.
    findings : tuple of Finding
        Warnings and errors about the data.
    """

    path: Path
    style: Path
    layer: str
    rows: int
    findings: tuple[Finding, ...]


def apply(
    operation: str,
    layer: str,
    out: str,
    options: Mapping[str, Any] | None = None,
    *,
    progress: Callable[[str, int, int], None] | None = None,
) -> Applied:
    """Carry out one operation on one layer.

    Parameters
    ----------
    operation : str
        Name, see `operations.ON_LAYERS`.
    layer : str
        ``path`` or ``path:layer`` of points, a local file.
    out : str
        ``path`` or ``path:layer``; a new file, or a GeoPackage that gets the layer.
    options : mapping, optional
        Of the operation.
    progress : callable, optional
        Told each step: title, done, total.

    Returns
    -------
    Applied
        Where the answer stands.

    Raises
    ------
    WrongCall
        If the operation, an option or a path is wrong.
    DataRefused
        If the layer cannot be used; nothing is written.
    """
    chosen = next((o for o in ON_LAYERS if o.name == operation), None)
    if chosen is None:
        raise unknown("operation", operation, [o.name for o in ON_LAYERS])
    given = plugins.check_options(operation, chosen.options(), options or {})
    _check_required(chosen, given)
    tell = progress or (lambda *_: None)
    goal, goal_layer = _goal(out, chosen)
    with tempfile.TemporaryDirectory(prefix="geochem-") as name:
        frame, work = _open(layer, Path(name), given, tell)
        named = [given["element"]] if "element" in given else given.get("elements") or []
        check_element(work, named)
        own = {k: v for k, v in given.items() if k not in {"medium", "source", "crs", "seed"}}
        answer: LayerAnswer = chosen.load()(work, **own)
        rows = _write(answer, frame, work, goal, goal_layer, Path(name))
        style = _write_style(answer, goal, goal_layer)
    tell("Done", 1, 1)
    return Applied(goal, style, goal_layer, rows, tuple(work.findings))


def _check_required(operation: Operation, given: Mapping[str, Any]) -> None:
    import inspect

    for option in operation.options():
        if option.default is inspect.Parameter.empty and option.name not in given:
            raise WrongCall(
                f"'{operation.name}' needs the option '{option.name}', for example "
                f"--option {option.name}=Cu."
            )


def split_layer(text: str) -> tuple[str, str | None]:
    r"""Part ``path:layer``; a drive letter is no path.

    Parameters
    ----------
    text : str
        As given.

    Returns
    -------
    path : str
        Before the last colon that can be one.
    layer : str or None
        Behind it.

    Examples
    --------
    >>> split_layer("C:\\soil.gpkg:samples"), split_layer("soil.gpkg"), split_layer("C:/a.shp")
    (('C:\\soil.gpkg', 'samples'), ('soil.gpkg', None), ('C:/a.shp', None))
    """
    if Path(text).exists():
        return text, None
    head, colon, tail = text.rpartition(":")
    if not colon or len(head) < 2 or "/" in tail or "\\" in tail:
        return text, None
    return head, tail or None


def _goal(out: str, operation: Operation) -> tuple[Path, str]:
    text, layer = split_layer(out)
    path = Path(text)
    raster = operation.outputs == ("raster",)
    allowed = [".tif"] if raster else list(DRIVERS)
    if path.suffix.lower() not in allowed:
        raise WrongCall(
            f"--out is '{out}'; '{operation.name}' writes a file that ends with "
            f"{', '.join(allowed)}."
        )
    if not path.parent.is_dir():
        raise WrongCall(f"--out is '{out}'; there is no folder '{path.parent}'.")
    return path, layer or (path.stem if path.suffix.lower() != ".gpkg" else operation.name)


def _open(
    text: str, folder: Path, options: Mapping[str, Any], tell: Callable[[str, int, int], None]
) -> tuple[gpd.GeoDataFrame, LayerWork]:
    """Read the layer and put its points, numbered, where the steps of a run read them."""
    import geopandas as gpd
    import pyogrio
    from pyproj import CRS

    from geochem.coordinates import transform_frame
    from geochem.read.source_file import check_local

    name, layer = split_layer(text)
    place = check_local(name)
    try:
        there = [str(row[0]) for row in pyogrio.list_layers(place) if row[1] is not None]
        if layer is not None and layer not in there:
            raise unknown(f"layer of '{place.name}'", layer, there)
        if layer is None and len(there) > 1:
            raise WrongCall(
                f"'{place.name}' has {len(there)} layers: {', '.join(there)}. Name one, for "
                f"example {place.name}:{there[0]}."
            )
        frame = gpd.read_file(place, layer=layer if layer is not None else there[0])
    except (WrongCall, DataRefused):
        raise
    except Exception as error:  # the driver library raises many kinds
        raise DataRefused(
            f"'{place.name}' cannot be read as a layer ({str(error)[:120]})."
        ) from error
    kinds = sorted(set(frame.geom_type.dropna()))
    if not kinds or not set(kinds) <= {"Point", "MultiPoint"}:
        raise DataRefused(
            f"'{place.name}' holds {', '.join(kinds) or 'no features'}; points are needed."
        )
    if frame.crs is None:
        raise DataRefused(f"'{place.name}' says no CRS; give its file one and try again.")
    wanted = options.get("crs") or frame.crs.srs
    projected = CRS.from_user_input(wanted)
    if not projected.is_projected or projected.axis_info[0].unit_name != "metre":
        raise WrongCall(
            f"the layer is in '{projected.name}', which is not projected in metres; give one to "
            "work in, for example --option crs=EPSG:32735."
        )
    moved, _ = transform_frame(frame, projected)
    moved["feature"] = [f"{i:07d}" for i in range(len(frame))]
    path = folder / "layer.gpkg"
    pyogrio.write_dataframe(moved, path, layer="layer", driver="GPKG")
    code = projected.to_authority()
    work = LayerWork(
        path, f"{code[0]}:{code[1]}" if code else projected.to_wkt(),
        options.get("medium", "soil"), options.get("source", "laboratory"),
        options.get("seed", 1), tell,
    )  # fmt: skip
    return frame, work


def _write(
    answer: LayerAnswer, frame: gpd.GeoDataFrame, work: LayerWork, goal: Path, layer: str,
    folder: Path,
) -> int:  # fmt: skip
    """Make the file aside and move it when whole; give the number of features."""
    import pyogrio

    from geochem.outputs.gis.geotiff import write_surface
    from geochem.outputs.gis.renderer import geopackage_options, plain_kinds

    made = folder / f"made{goal.suffix.lower()}"
    rows = 0
    if answer.surface is not None:
        from dataclasses import replace

        write_surface(replace(answer.surface, name="made"), work.crs, "one layer", folder)
    else:
        shapes = answer.shapes
        if shapes is None:
            numbered = frame.assign(feature=[f"{i:07d}" for i in range(len(frame))])
            clash = [c for c in answer.columns.columns if c in frame.columns and c != "feature"]
            numbered = numbered.drop(columns=clash)
            shapes = numbered.merge(
                answer.columns, on="feature", how="left", validate="one_to_one"
            ).drop(columns="feature")
        rows = len(shapes)
        if goal.exists() and goal.suffix.lower() == ".gpkg":
            shutil.copyfile(goal, made)
        driver = DRIVERS[goal.suffix.lower()]
        how = geopackage_options(made) if driver == "GPKG" else {"driver": driver}
        pyogrio.write_dataframe(
            plain_kinds(shapes), made, layer=layer, geometry_type=None if rows else "Polygon",
            **{**how, "append": False},
        )  # fmt: skip
    for piece in sorted(folder.glob("made.*")):
        target = goal.with_suffix(piece.suffix)
        part = target.with_name(f".{target.name}.{os.getpid()}.part")
        try:
            shutil.copyfile(piece, part)
            part.replace(target)
        finally:
            part.unlink(missing_ok=True)
    return rows


def _write_style(answer: LayerAnswer, goal: Path, layer: str) -> Path:
    from geochem.outputs.gis.styles import write_style

    alone = goal.suffix.lower() != ".gpkg"
    path = (
        goal.with_suffix(".sld")
        if alone
        else goal.with_name(f"{goal.stem}-{re.sub(r'[^A-Za-z0-9_.-]', '_', layer)}.sld")
    )
    return write_style(answer.style(layer), path)


def parse_options(operation: str, texts: list[str]) -> dict[str, Any]:
    """Understand ``k=v`` texts by the kinds of an operation's options.

    Parameters
    ----------
    operation : str
        Name.
    texts : list of str
        As given on the command line; lists with commas.

    Returns
    -------
    dict
        Values by name.

    Raises
    ------
    WrongCall
        If a text has no ``=``, or its value is not of the option's kind.

    Examples
    --------
    >>> parse_options("threshold", ["element=Cu", "k=2.5", "by=geology,regolith"])
    {'element': 'Cu', 'k': 2.5, 'by': ['geology', 'regolith']}
    """
    chosen = next((o for o in ON_LAYERS if o.name == operation), None)
    if chosen is None:
        raise unknown("operation", operation, [o.name for o in ON_LAYERS])
    kinds = {o.name: o.kind for o in chosen.options()}
    given: dict[str, Any] = {}
    for text in texts:
        name, sign, value = text.partition("=")
        if not sign:
            raise WrongCall(f"--option takes name=value, got '{text}'.")
        kind = kinds.get(name, "str")
        if kind.startswith("list of "):
            parts = [p.strip() for p in value.split(",") if p.strip()]
            given[name] = [_value(name, kind[8:], p) for p in parts]
        else:
            given[name] = _value(name, kind, value)
    return given


def _value(name: str, kind: str, text: str) -> Any:
    try:
        if kind == "int":
            return int(text)
        if kind == "float":
            return float(text)
    except ValueError:
        raise WrongCall(f"option '{name}' must be {kind}, got '{text}'.") from None
    if kind == "bool":
        words = {"true": True, "yes": True, "1": True, "false": False, "no": False, "0": False}
        if text.lower() not in words:
            raise WrongCall(f"option '{name}' must be true or false, got '{text}'.")
        return words[text.lower()]
    return text


def applied_lines(done: Applied) -> list[str]:
    """Say what was written.

    Parameters
    ----------
    done : Applied
        Of `apply`.

    Returns
    -------
    list of str
        Lines for the terminal.
    """
    what = f"{done.rows} features, layer {done.layer}" if done.rows else "written"
    lines = [f"{done.path}: {what}", f"{done.style}: its style"]
    lines += [f"  {f.severity}: {f.message}" for f in done.findings[:10]]
    return lines
