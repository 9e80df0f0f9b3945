"""The file of one layer: its points with their ids go in, the answer and its style come out.

Nothing of the input is lost on the way: a new column whose name the layer has already gets a
number, names that a format cannot hold are shortened, and the style follows them.
"""

from __future__ import annotations

import os
import re
import shutil
import warnings
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geochem.campaign.layer_work import LayerAnswer, LayerWork
from geochem.errors import DataRefused, WrongCall
from geochem.model.finding import Finding, name_some

if TYPE_CHECKING:
    import xml.etree.ElementTree as ET

    import geopandas as gpd

#: what an output may be, by its ending
DRIVERS = {
    ".gpkg": "GPKG", ".geojson": "GeoJSON", ".json": "GeoJSON", ".shp": "ESRI Shapefile",
    ".fgb": "FlatGeobuf",
}  # fmt: skip
#: bytes that a dBASE file has for the name of a column
_DBASE_NAME = 10
#: and for a text
_DBASE_TEXT = 254
_SHORTENED = "ESRI Shapefile"
#: what the steps of a run read
WORKED_ON = "layer.gpkg"


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
    if os.path.exists(text):  # noqa: PTH110 - says no to what no path can be, where pathlib raises
        return text, None
    head, colon, tail = text.rpartition(":")
    if not colon or len(head) < 2 or "/" in tail or "\\" in tail:
        return text, None
    return head, tail or None


@dataclass(frozen=True, slots=True, eq=False)
class PointLayer:
    """A layer of points, as it was given.

    Parameters
    ----------
    path : Path
        Its file.
    layer : str
        Its name.
    frame : geopandas.GeoDataFrame
        Its features.
    ids : list of str
        One for each feature: those of its column of sample ids where that names every feature and
        no two alike, else numbers from 1.
    id_column : str or None
        That column.
    """

    path: Path
    layer: str
    frame: gpd.GeoDataFrame
    ids: list[str]
    id_column: str | None


def open_layer(text: str) -> PointLayer:
    """Open the points and find out what each is called.

    Parameters
    ----------
    text : str
        ``path`` or ``path:layer``.

    Returns
    -------
    PointLayer
        With at least one feature.

    Raises
    ------
    WrongCall
        If there is no such layer.
    DataRefused
        If the file cannot be used, or says no CRS.
    """
    from geochem.read.vector_table import open_points

    name, layer = split_layer(text)
    frame, layer = open_points(name, layer, example="{file}:{layer}")
    place = Path(name)
    if frame.crs is None:
        raise DataRefused(
            f"'{place.name}' says no CRS; save it with the one of its coordinates (a shapefile "
            "needs its .prj) and try again."
        )
    ids, column = _ids(place, layer)
    return PointLayer(place, layer, frame, ids, column)


def _ids(place: Path, layer: str) -> tuple[list[str], str | None]:
    from geochem.read.columns import plan_columns
    from geochem.read.ids import row_ids
    from geochem.read.vector_table import read_vector
    from geochem.samples.normal_form import normal_form

    table = read_vector(place, sheet=layer)
    column = plan_columns(table, "field_log").columns.get("id")
    if column is not None:
        ids = row_ids(table, column)[0].tolist()
        if None not in ids and len({normal_form(i) for i in ids}) == len(ids):
            return ids, table.names[column]
    width = len(str(len(table)))
    return [f"{i + 1:0{width}d}" for i in range(len(table))], None


def as_campaign(
    given: PointLayer,
    folder: Path,
    shared: Mapping[str, Any],
    tell: Callable[[str, int, int], None],
) -> LayerWork:
    """Put the points where the steps of a run read them.

    Parameters
    ----------
    given : PointLayer
        The points.
    folder : Path
        A temporary one.
    shared : mapping
        Shared options, ``crs`` among them.
    tell : callable
        Told each step.

    Returns
    -------
    LayerWork
        For an operation.

    Raises
    ------
    WrongCall
        If the working CRS is not projected in metres.
    """
    import pyogrio

    from geochem.coordinates import name_of, read_crs, transform_frame, working_crs

    if not shared.get("crs") and not given.frame.crs.is_projected:
        raise WrongCall(
            f"the layer is in {name_of(given.frame.crs)}, which is not projected in metres; give "
            "one to work in, for example --option crs=EPSG:32735."
        )
    projected = working_crs(read_crs(shared.get("crs") or given.frame.crs))
    moved, _ = transform_frame(given.frame, projected)
    if given.id_column is not None:
        moved = moved.drop(columns=given.id_column)
    named, geopackage = _as_named(moved, "GPKG")
    key = _free("feature", named.columns)
    path = folder / WORKED_ON
    pyogrio.write_dataframe(
        _plain(named.assign(**{key: given.ids})), path, layer="layer", **geopackage
    )
    code = projected.to_authority()
    crs = f"{code[0]}:{code[1]}" if code else projected.to_wkt()
    return LayerWork(path, key, given.path.stem, crs, shared, tell)


def _free(name: str, taken: Iterable[Any], longest: int | None = None) -> str:
    """Give the name, shortened and numbered until no other is equal to it in any case."""
    used = {str(t).casefold() for t in taken}
    number = 0
    while True:
        tail = f"_{number}" if number else ""
        head = name
        while longest is not None and len((head + tail).encode()) > longest:
            head = head[:-1].rstrip()
        if (head + tail).casefold() not in used:
            return head + tail
        number += 1


def _as_named(frame: gpd.GeoDataFrame, driver: str) -> tuple[gpd.GeoDataFrame, dict[str, Any]]:
    """Name columns as a format can hold them; give the options with which it is written."""
    taken: list[str] = []
    for name in frame.columns:
        if name != frame.geometry.name:
            taken.append(
                _free(str(name).strip(), taken, _DBASE_NAME if driver == _SHORTENED else None)
            )
    geometry = _free("geometry", taken)
    named = frame.rename_geometry(geometry) if geometry != frame.geometry.name else frame.copy()
    named.columns = [*_around(named, taken)]
    how: dict[str, Any] = {"driver": driver}
    if driver == "FlatGeobuf" and (frame.geometry.isna() | frame.geometry.is_empty).any():
        how["layer_options"] = {"SPATIAL_INDEX": "NO"}  # its index has no place for them
    if driver == "GPKG":
        how["layer_options"] = {"FID": _free("fid", taken), "GEOMETRY_NAME": _free("geom", taken)}
    return named, how


def _around(frame: gpd.GeoDataFrame, names: list[str]) -> Iterable[str]:
    left = iter(names)
    for column in frame.columns:
        yield str(column) if column == frame.geometry.name else next(left)


def _plain(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    from geochem.outputs.gis.renderer import plain_kinds
    from geochem.read.vector_table import unnested

    out = plain_kinds(frame)
    for name in out.columns:
        if out[name].dtype == object:
            out[name] = [unnested(v) for v in out[name]]
    return out


def write_answer(
    answer: LayerAnswer, given: PointLayer, work: LayerWork, goal: Path, layer: str, folder: Path
) -> tuple[int, Path, list[Finding]]:
    """Make the file and its style aside, and move them when whole.

    Parameters
    ----------
    answer : LayerAnswer
        Of an operation.
    given : PointLayer
        The input.
    work : LayerWork
        Its campaign.
    goal, layer : Path, str
        Where to.
    folder : Path
        A temporary one.

    Returns
    -------
    rows : int
        Features written; 0 for a grid.
    style : Path
        The style document.
    findings : list of Finding
        Names that became others.
    """
    findings: list[Finding] = []
    style, rows = answer.style(layer), 0
    renamed: dict[str, str] = {}
    if answer.surface is not None:
        from geochem.outputs.gis.geotiff import write_surface

        write_surface(replace(answer.surface, name="made"), work.crs, "one layer", folder)
    else:
        shapes = answer.shapes
        if shapes is None:
            shapes, renamed = _beside(given, answer.columns)
        rows = len(shapes)
        made = folder / f"made{goal.suffix.lower()}"
        if goal.suffix.lower() == ".gpkg" and goal.exists():
            shutil.copyfile(goal, made)
        driver = DRIVERS[goal.suffix.lower()]
        if driver == _SHORTENED:
            findings += _cut_texts(shapes, goal.name)
        shortened = _write(shapes, made, driver, layer)
        renamed = {new: shortened.get(name, name) for new, name in renamed.items()} | shortened
        changed = {a: b for a, b in renamed.items() if a != b}
        _rename_in_style(style, changed)
        if changed:
            names = name_some([f"{a[:60]} is {b[:60]}" for a, b in changed.items()])
            findings.append(
                Finding(
                    "columns-renamed", "warning",
                    f"{len(changed)} columns have another name in '{goal.name}', as theirs is taken "
                    f"or too long there: {names}.", goal.name,
                )
            )  # fmt: skip
    for piece in sorted(folder.glob("made.*")):
        _move(piece, goal.with_suffix(piece.suffix))
    return rows, _write_style(style, goal, layer), findings


def _beside(given: PointLayer, columns: Any) -> tuple[gpd.GeoDataFrame, dict[str, str]]:
    """Put the new columns beside the old ones; give the names that they got."""
    names: dict[str, str] = {}
    taken = [str(c) for c in given.frame.columns]
    for name in columns.columns:
        names[name] = _free(name, taken)
        taken.append(names[name])
    new = columns.reindex(given.ids).rename(columns=names)
    new.index = given.frame.index
    out = given.frame.copy()
    for name in new.columns:
        out[name] = new[name]
    return out, names


def _write(shapes: gpd.GeoDataFrame, made: Path, driver: str, layer: str) -> dict[str, str]:
    """Write the layer; give the names that the format made others."""
    import pyogrio

    from geochem.outputs.gis.renderer import geopackage_options, write_geojson

    named, how = _as_named(shapes, driver)
    plain = _plain(named)
    if driver == "GeoJSON":
        write_geojson(plain, made)
    else:
        if driver == "GPKG":
            how = {**geopackage_options(made), **how}
        with warnings.catch_warnings():
            # what a shapefile cannot hold is told by `write_answer`; dates with a time become text
            for words in ("Field .* created as", "Normalized/laundered", "Value .* truncated"):
                warnings.filterwarnings("ignore", words, RuntimeWarning)
            pyogrio.write_dataframe(
                plain, made, layer=layer, geometry_type=None if len(plain) else "Polygon",
                **{**how, "append": False},
            )  # fmt: skip
    given = [str(c) for c in shapes.columns if c != shapes.geometry.name]
    written = pyogrio.read_info(made, layer=layer if driver == "GPKG" else None)["fields"]
    return {a: str(b) for a, b in zip(given, written, strict=True) if a != b}


def _cut_texts(shapes: gpd.GeoDataFrame, file: str) -> list[Finding]:
    """Say which texts of a shapefile are cut."""
    cut = []
    for name in shapes.columns:
        texts = [v for v in shapes[name] if isinstance(v, str)]
        if any(len(t.encode()) > _DBASE_TEXT for t in texts):
            cut.append(f"{name}"[:60])
    if not cut:
        return []
    return [
        Finding(
            "texts-cut", "warning",
            f"a shapefile holds {_DBASE_TEXT} bytes of a text: longer ones of {name_some(cut)} are "
            "cut; choose .gpkg to keep them.", file,
        )
    ]  # fmt: skip


def check_not_open(goal: Path) -> None:
    """Refuse a database that another program is writing: its journal would not fit any more.

    Parameters
    ----------
    goal : Path
        May be missing.

    Raises
    ------
    DataRefused
        If a journal with content stands beside it.
    """
    for ending in ("-wal", "-journal"):
        beside = goal.with_name(goal.name + ending)
        if beside.exists() and beside.stat().st_size:
            raise DataRefused(
                f"'{goal.name}' is open in another program, which has changes of its own in "
                f"'{beside.name}'; close it there, or choose another file."
            )


def _move(piece: Path, target: Path) -> None:
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        shutil.copyfile(piece, part)
        part.replace(target)
    except OSError as error:
        raise DataRefused(
            f"'{target}' cannot be written ({error.strerror}); close it in other programs, and "
            "check the disk and that you may write there."
        ) from error
    finally:
        part.unlink(missing_ok=True)


def _rename_in_style(style: ET.Element, names: Mapping[str, str]) -> None:
    for element in style.iter("{http://www.opengis.net/ogc}PropertyName"):
        element.text = names.get(element.text or "", element.text)


def _write_style(style: ET.Element, goal: Path, layer: str) -> Path:
    from geochem.outputs.gis.styles import write_style

    alone = goal.suffix.lower() != ".gpkg"
    path = (
        goal.with_suffix(".sld")
        if alone
        else goal.with_name(f"{goal.stem}-{re.sub(r'[^A-Za-z0-9_.-]', '_', layer)}.sld")
    )
    return write_style(style, path)
