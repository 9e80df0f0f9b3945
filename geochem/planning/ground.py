"""The ground on which samples may be planned: inside the boundary, outside what is kept out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from geochem.errors import DataRefused, WrongCall

if TYPE_CHECKING:
    import geopandas as gpd

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """Where samples may be planned.

    Parameters
    ----------
    shape : shapely.Polygon or shapely.MultiPolygon
        Allowed ground, working CRS.
    crs : object
        The working CRS.
    boundary_km2, kept_out_km2 : float
        Area inside the boundary, and how much of it is kept out. [km2]
    """

    shape: Any
    crs: Any
    boundary_km2: float
    kept_out_km2: float

    @property
    def area_km2(self) -> float:
        """Allowed area. [km2]."""
        return float(self.shape.area) / 1e6

    @property
    def middle(self) -> tuple[float, float]:
        """A place that stands for the ground: the middle of its box."""
        west, south, east, north = self.shape.bounds
        return (west + east) / 2, (south + north) / 2

    def holds(self, xy: Floats) -> npt.NDArray[np.bool_]:
        """Say which places lie on the ground (or on its edge)."""
        import shapely

        shapely.prepare(self.shape)
        return np.asarray(shapely.intersects_xy(self.shape, xy[:, 0], xy[:, 1]), dtype=bool)

    def scattered(self, n: int, *, seed: int = 1) -> Floats:
        """Give about n places spread evenly over the ground; shape (m, 2), never empty."""
        west, south, east, north = self.shape.bounds
        share = self.shape.area / max((east - west) * (north - south), 1e-9)
        rng = np.random.default_rng(seed)
        box = rng.uniform((west, south), (east, north), (int(n / max(share, 1e-3)) + 16, 2))
        inside = box[self.holds(box)]
        if len(inside):
            return inside
        point = self.shape.representative_point()
        return np.array([[point.x, point.y]])


def sampling_ground(
    boundary: gpd.GeoDataFrame, keep_out: gpd.GeoDataFrame | None = None
) -> Ground:
    """Cut what must not be entered out of the licence.

    Parameters
    ----------
    boundary : geopandas.GeoDataFrame
        Polygons in the working CRS: projected, metres.
    keep_out : geopandas.GeoDataFrame, optional
        Polygons in the same CRS. Lines and points have no area and keep nothing out.

    Returns
    -------
    Ground
        What is left.

    Raises
    ------
    WrongCall
        If a layer has no CRS, is in degrees, or the two differ.
    DataRefused
        If the boundary is no area, its numbers look like degrees, or nothing is left.
    """
    import shapely

    from geochem.coordinates import working_crs

    known = _checked_crs(boundary, "boundary")
    working_crs(known)
    inside = _areas(boundary)
    if inside.is_empty:
        raise DataRefused(
            "the boundary holds no polygon, so nothing can be planned in it; draw it as a polygon "
            "(a closed line is not enough)."
        )
    west, south, east, north = inside.bounds
    if not np.isfinite([west, south, east, north]).all():
        raise DataRefused(
            "the boundary has positions that are not finite numbers after conversion: its file "
            "states another CRS than its numbers are in; save it again with the right CRS."
        )
    if max(abs(west), abs(east)) <= 360 and max(abs(south), abs(north)) <= 90:
        raise DataRefused(
            f"the boundary runs from {west:.4f}, {south:.4f} to {east:.4f}, {north:.4f}: these are "
            f"degrees, but its file says {known.name}, in metres. Give the file its true CRS "
            "(EPSG:4326 for GPS degrees); it is then converted."
        )
    allowed = inside
    if keep_out is not None and len(keep_out):
        if not _checked_crs(keep_out, "keep_out").equals(known):
            raise WrongCall("boundary and keep_out are in different CRS; convert one of them.")
        allowed = shapely.difference(inside, _areas(keep_out))
        allowed = _polygons(allowed)
    if allowed.is_empty or allowed.area <= 0:
        raise DataRefused(
            "nothing is left of the boundary after keep_out is cut away; check that both layers "
            "are the ones meant and that keep_out is not the inverse."
        )
    return Ground(
        allowed, known, float(inside.area) / 1e6, float(inside.area - allowed.area) / 1e6
    )


def _checked_crs(frame: gpd.GeoDataFrame, name: str) -> Any:
    if frame.crs is None:
        raise WrongCall(f"the layer {name} states no CRS; say in which its coordinates are.")
    if frame.crs.is_geographic:
        raise WrongCall(
            f"the layer {name} is in degrees ({frame.crs.name}); spacings are in metres. Convert it "
            "to the campaign CRS first (a campaign file does that by itself)."
        )
    return frame.crs


def _areas(frame: gpd.GeoDataFrame) -> Any:
    import shapely

    shapes = [s for s in frame.geometry if s is not None and not s.is_empty]
    return _polygons(shapely.union_all([shapely.make_valid(s) for s in shapes]))


def _polygons(shape: Any) -> Any:
    """Leave out lines and points."""
    import shapely

    parts = [p for p in shapely.get_parts(shape, return_index=False) if p.geom_type == "Polygon"]
    nested = [
        q
        for p in shapely.get_parts(shape)
        if p.geom_type in ("MultiPolygon", "GeometryCollection")
        for q in shapely.get_parts(p)
        if q.geom_type == "Polygon"
    ]
    return shapely.union_all([*parts, *nested]) if parts or nested else shapely.Polygon()
