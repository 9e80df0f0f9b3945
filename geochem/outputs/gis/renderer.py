"""Writes the GeoPackage, exchange files, styles and grids of the result folder."""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from geochem.coordinates import WGS84, transform_frame
from geochem.model import tables as contract
from geochem.model.finding import findings_frame
from geochem.outputs.gis.attribute_rows import insert_rows
from geochem.outputs.gis.contours import contour_polygons
from geochem.outputs.quality_tables import quality_points
from geochem.outputs.text_cells import printable

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

    from geochem.model.bundle import Bundle


class GisRenderer:
    """GeoPackage with styles, GeoJSON and GPX in WGS 84, one GeoTIFF per surface."""

    name = "gis"
    summary = "GeoPackage with tables and SLD styles; GeoJSON and GPX; surfaces as GeoTIFF"
    formats = ("gpkg", "geojson", "gpx", "sld", "tif")
    #: needs no file that another renderer writes
    reads_folder = False

    def render(
        self,
        bundle: Bundle,
        folder: Path,
        *,
        results_table: bool = True,
        geoparquet: Literal["auto", "always", "never"] = "auto",
    ) -> list[Path]:
        """Write the layers.

        Parameters
        ----------
        bundle : Bundle
            Records of a run.
        folder : Path
            Result folder.
        results_table : bool, default True
            Put the long table of all values into the GeoPackage.
        geoparquet : {"auto", "always", "never"}, default "auto"
            Write samples, anomalies and values as Parquet too; "auto" is from 50,000 samples on.

        Returns
        -------
        list of Path
            What was written.
        """
        pieces = self.pieces(bundle, folder, results_table=results_table, geoparquet=geoparquet)
        return [path for piece in pieces for path in piece()]

    def pieces(
        self,
        bundle: Bundle,
        folder: Path,
        *,
        results_table: bool = True,
        geoparquet: Literal["auto", "always", "never"] = "auto",
    ) -> list[Callable[[], list[Path]]]:
        """Give `render` in pieces that several processes can share.

        Parameters
        ----------
        bundle, folder, results_table, geoparquet
            As in `render`.

        Returns
        -------
        list of callable
            Each writes some files and gives them; the longest first.
        """
        from geochem.outputs.gis.parquet import write_geoparquet

        folder = Path(folder)
        path = folder / "campaign.gpkg"
        return [
            lambda: [write_geopackage(bundle, path, results_table=results_table)],
            lambda: write_geoparquet(bundle, folder, geoparquet),
            lambda: self._small_files(bundle, folder),
        ]

    def _small_files(self, bundle: Bundle, folder: Path) -> list[Path]:
        from geochem.outputs.gis.geotiff import write_surface
        from geochem.outputs.gis.styles import write_styles

        report = bundle.targets
        written = write_styles(bundle, folder / "styles")
        targets = contract_frame(report.targets, contract.TARGETS)
        written.append(write_geojson(targets, folder / "targets.geojson"))
        written.append(write_gpx(_target_points(targets), folder / "targets.gpx"))
        written.append(write_gpx(_follow_up_points(report.follow_up), folder / "follow_up.gpx"))
        if bundle.surfaces:
            (folder / "surfaces").mkdir(exist_ok=True)
        for surface in bundle.surfaces:
            written += write_surface(
                surface, bundle.info.crs, bundle.info.title, folder / "surfaces"
            )
        return written


def contract_frame(frame: gpd.GeoDataFrame, columns: dict[str, str]) -> gpd.GeoDataFrame:
    """Put contract columns first and in order, with their kinds; keep geometry and CRS.

    Parameters
    ----------
    frame : geopandas.GeoDataFrame
        A layer.
    columns : dict of str to str
        A contract of `geochem.model.tables`.

    Returns
    -------
    geopandas.GeoDataFrame
        A new frame.
    """
    import geopandas as gpd

    flat = contract.conform(frame.drop(columns=frame.geometry.name), columns, extra=True)
    return gpd.GeoDataFrame(flat, geometry=frame.geometry.to_numpy(), crs=frame.crs)


def write_geopackage(bundle: Bundle, path: Path, *, results_table: bool = True) -> Path:
    """Write the layers and tables of one run.

    The file is made in a local temporary folder (SQLite on network drives is fragile), set to
    journal mode DELETE, checked, and then moved.

    Parameters
    ----------
    bundle : Bundle
        Records of a run.
    path : Path
        ``campaign.gpkg``.
    results_table : bool, default True
        Include every single value.

    Returns
    -------
    Path
        The file.
    """
    import pyogrio

    survey, report = bundle.survey, bundle.targets
    layers: dict[str, gpd.GeoDataFrame] = {
        "samples": sample_layer(survey.samples),
        "anomalies": bundle.evidence.anomalies,
        "association_probability": place_layer(bundle),
        "targets": contract_frame(report.targets, contract.TARGETS),
        "follow_up": contract_frame(report.follow_up, contract.FOLLOW_UP),
        "holes": contract_frame(report.holes, contract.HOLES),
        "leads": report.leads,
        "contours": contour_polygons(bundle.surfaces, survey.samples.crs),
    }
    attribute_tables: dict[str, pd.DataFrame] = {}
    if bundle.catchments is not None:
        layers["catchments"] = bundle.catchments.frame
        attribute_tables["catchment_decay"] = bundle.catchments.decay
        attribute_tables["catchment_rocks"] = bundle.catchments.rocks
    points = ("samples", "anomalies", "association_probability", "follow_up", "holes")
    kinds = dict.fromkeys(points, "Point")
    attribute_tables |= {
        "controls": survey.controls,
        "analytes": survey.analytes,
        "thresholds": bundle.thresholds,
        "findings": findings_frame(bundle.findings),
    }
    attribute_tables |= {k: v for k, v in quality_points(bundle.quality).items() if len(v)}
    if results_table:
        attribute_tables["results"] = survey.results
    with tempfile.TemporaryDirectory() as name, _without_waiting():
        made = Path(name) / path.name
        for layer, frame in layers.items():
            _append(frame, made, layer, kinds.get(layer, "Unknown"))
        for table, rows in attribute_tables.items():
            flat = plain_kinds(rows)
            pyogrio.write_dataframe(flat.head(0), made, layer=table, **geopackage_options(made))
            insert_rows(flat, made, table)
        _check_database(made)
        shutil.move(made, path)  # a copy only where it lies on another disk
    return path


@contextmanager
def _without_waiting() -> Iterator[None]:
    """Let GDAL not wait for the disk after each layer: the file moves when it is whole."""
    import pyogrio

    name = "OGR_SQLITE_SYNCHRONOUS"
    before = pyogrio.get_gdal_config_option(name)
    pyogrio.set_gdal_config_options({name: "OFF"})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({name: before})


def place_layer(bundle: Bundle) -> gpd.GeoDataFrame:
    """Put the probabilities of places on the map.

    Parameters
    ----------
    bundle : Bundle
        Records of a run.

    Returns
    -------
    geopandas.GeoDataFrame
        `TargetReport.places` at its samples, in their order.
    """
    import geopandas as gpd
    import pandas as pd

    samples, places = bundle.survey.samples, bundle.targets.places
    if places is None:
        places = contract.empty(contract.PLACES)
    at = pd.Index(samples["sample_id"]).get_indexer(pd.Index(places["sample_id"]))
    return gpd.GeoDataFrame(places, geometry=samples.geometry.to_numpy()[at], crs=samples.crs)


def sample_layer(samples: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Leave in the accepted value and its flag; drop errors, assays and empty columns.

    Parameters
    ----------
    samples : geopandas.GeoDataFrame
        A samples table.

    Returns
    -------
    geopandas.GeoDataFrame
        A view of its columns.
    """
    out = []
    for column in map(str, samples.columns):
        if "_ppm__" in column or column.endswith(("_ppm_err", "_ppm_above")):
            continue
        if column in contract.SAMPLES and column != "sample_id" and samples[column].isna().all():
            continue
        out.append(column)
    return samples[out]


def geopackage_options(path: Path) -> dict[str, Any]:
    """Give the options with which pyogrio makes or extends a GeoPackage.

    Parameters
    ----------
    path : Path
        May be missing.

    Returns
    -------
    dict
        Version 1.3 of the standard: older programs warn about files of the newest one.
    """
    if path.exists():
        return {"driver": "GPKG", "append": True}
    return {"driver": "GPKG", "dataset_options": {"VERSION": "1.3"}}


def _append(frame: Any, path: Path, layer: str, geometry_type: str) -> None:
    import pyogrio

    frame = plain_kinds(frame)
    options: dict[str, Any] = {"layer": layer, **geopackage_options(path)}
    if not len(frame):
        options["geometry_type"] = "Polygon" if geometry_type == "Unknown" else geometry_type
    elif geometry_type == "Unknown":
        options["promote_to_multi"] = True
    pyogrio.write_dataframe(frame, path, **options)


def plain_kinds(frame: Any) -> Any:
    """Make every column of a kind that GDAL knows: nullable whole numbers, texts, dates.

    Parameters
    ----------
    frame : pandas.DataFrame
        Not changed.

    Returns
    -------
    pandas.DataFrame
        A new frame.
    """
    import numpy as np
    import pandas as pd

    out = frame.copy(deep=False)
    for name in frame.columns:
        column = frame[name]
        if str(column.dtype) == "geometry":
            continue
        if column.dtype == object and not len(column.dropna()):
            out[name] = pd.Series([None] * len(column), dtype=object, index=column.index)
        elif str(column.dtype) in {"Int64", "Int32"} and len(column) and column.isna().any():
            out[name] = column.to_numpy(dtype=float, na_value=np.nan)
    return out


def _check_database(path: Path) -> None:
    connection = sqlite3.connect(path)
    try:
        connection.execute("PRAGMA journal_mode=DELETE")
        (verdict,) = connection.execute("PRAGMA integrity_check").fetchone()
    finally:
        connection.close()
    if verdict != "ok":
        raise OSError(f"the GeoPackage came out damaged ({verdict}); check the disk and run again")


def write_geojson(frame: gpd.GeoDataFrame, path: Path) -> Path:
    """Write a layer as GeoJSON (RFC 7946: WGS 84, seven decimals; heights stay as they are).

    Parameters
    ----------
    frame : geopandas.GeoDataFrame
        Any CRS.
    path : Path
        File.

    Returns
    -------
    Path
        The file.
    """
    import pyogrio
    import shapely

    moved, _ = transform_frame(frame, WGS84)
    if frame.has_z.any():
        xyz = shapely.get_coordinates(frame.geometry.to_numpy(), include_z=True)
        xyz[:, :2] = shapely.get_coordinates(moved.geometry.to_numpy())
        raised = shapely.force_3d(moved.geometry.to_numpy())
        moved = moved.set_geometry(list(shapely.set_coordinates(raised, xyz)), crs=WGS84)
    pyogrio.write_dataframe(
        plain_kinds(moved),
        path,
        driver="GeoJSON",
        geometry_type=None if len(moved) else "Polygon",
        layer_options={"RFC7946": "YES", "COORDINATE_PRECISION": "7"},
    )
    return path


def write_gpx(points: gpd.GeoDataFrame, path: Path) -> Path:
    """Write waypoints that a handheld reads: WGS 84, name first.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        Columns ``name, cmt, desc, sym``.
    path : Path
        File.

    Returns
    -------
    Path
        The file.
    """
    import pyogrio

    moved, _ = transform_frame(points, WGS84)
    pyogrio.write_dataframe(
        moved,
        path,
        driver="GPX",
        layer="waypoints",
        geometry_type="Point",
        dataset_options={"GPX_USE_EXTENSIONS": "NO"},
    )
    return path


def _waypoints(names: list[str], texts: list[str], xy: Any, symbol: str, crs: Any) -> Any:
    import geopandas as gpd
    import numpy as np

    xy = np.asarray(xy, dtype=float).reshape(-1, 2)
    columns = {
        "name": [_printable(n) for n in names],
        "cmt": [_printable(t)[:200] for t in texts],
        "desc": [_printable(t) for t in texts],
        "sym": [symbol] * len(names),
    }
    return gpd.GeoDataFrame(
        columns, geometry=gpd.points_from_xy(xy[:, 0], xy[:, 1]), crs=crs
    ).astype(dict.fromkeys(columns, object))


def _printable(text: object) -> str:
    """Leave out characters that XML 1.0 does not allow."""
    return printable(text, instead="")


def _target_points(targets: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    texts = [
        f"rank {row.rank}: {row.elements}; {row.next_step or ''}" for row in targets.itertuples()
    ]
    return _waypoints(
        targets["target"].tolist(), texts, targets[["easting", "northing"]], "Flag", targets.crs
    )


def _follow_up_points(points: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    ordered = points.sort_values(["order", "point"], kind="stable")
    texts = [f"{row.target}: {row.purpose}" for row in ordered.itertuples()]
    return _waypoints(
        ordered["point"].tolist(), texts, ordered[["easting", "northing"]], "Waypoint", points.crs
    )
