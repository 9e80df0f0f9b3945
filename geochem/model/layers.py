"""`Layer` and `Spacing`: what lies around the samples, and how far apart they are."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    import geopandas as gpd


@dataclass(frozen=True, slots=True, eq=False)
class Layer:
    """One vector layer in the campaign CRS.

    Parameters
    ----------
    name : str
        Name in the campaign file: ``geology``, ``boundary``, ``keep_out``, ``regolith``,
        ``catchments``, ``streams``, ``structures``, ``workings``, ``access``, ``drilled`` or any
        other.
    frame : geopandas.GeoDataFrame
        Valid geometries in the campaign CRS.
    field : str, optional
        Column whose text names a polygon.
    path : Path
        Where it came from.
    """

    name: str
    frame: gpd.GeoDataFrame
    field: str | None
    path: Path


@dataclass(frozen=True, slots=True, eq=False)
class Layers:
    """All layers of a campaign; `image` and `elevation` are paths of rasters.

    Parameters
    ----------
    vector : dict of str to Layer
        By name.
    image, elevation : Path, optional
        Georeferenced rasters.
    """

    vector: dict[str, Layer] = field(default_factory=dict)
    image: Path | None = None
    elevation: Path | None = None

    def get(self, name: str) -> gpd.GeoDataFrame | None:
        """Give the frame of a vector layer.

        Parameters
        ----------
        name : str
            Of the layer.

        Returns
        -------
        geopandas.GeoDataFrame or None
            None when there is no such layer.
        """
        layer = self.vector.get(name)
        return None if layer is None else layer.frame


@dataclass(frozen=True, slots=True)
class Spacing:
    """Measured geometry of one sampling grid (one medium, one grid name).

    Parameters
    ----------
    medium, grid : str
        What it describes; `grid` is empty when the log names none.
    n : int
        Samples at different places.
    nearest : float
        Median distance to the nearest other sample; of a regular grid the station spacing. [m]
    line_spacing, station_spacing : float
        Across and along the lines; both equal `nearest` when irregular. [m]
    azimuth : float
        Direction of the lines, degrees clockwise from grid north, 0-180; NaN when irregular.
    regular : bool
        Whether samples stand on recognisable lines.
    area_km2 : float
        Area covered: samples times line spacing times station spacing. [km2]
    """

    medium: str
    grid: str
    n: int
    nearest: float
    line_spacing: float
    station_spacing: float
    azimuth: float
    regular: bool
    area_km2: float
