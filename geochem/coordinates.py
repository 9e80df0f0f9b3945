"""Change of coordinate reference system, with the operation and its accuracy said.

PROJ may fall back to a "ballpark" change that ignores the datum, without a word; here that is
never allowed. Order is always easting, northing (or longitude, latitude).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from geochem.errors import DataRefused, WrongCall

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy as np
    import numpy.typing as npt

WGS84 = "EPSG:4326"


@dataclass(frozen=True, slots=True)
class Change:
    """A change of CRS that was made.

    Parameters
    ----------
    operation : str
        What PROJ used.
    accuracy_m : float
        Its stated accuracy, NaN when not stated, 0 within one datum. [m]
    """

    operation: str
    accuracy_m: float

    @property
    def sentence(self) -> str:
        """Operation and accuracy in words."""
        if self.accuracy_m != self.accuracy_m:
            return f"{self.operation}; its accuracy is not stated"
        if self.accuracy_m == 0:
            return f"{self.operation}; no change of datum"
        return f"{self.operation}; stated accuracy {self.accuracy_m:g} m"


def read_crs(text: Any) -> Any:
    """Understand a CRS.

    Parameters
    ----------
    text : str or pyproj.CRS
        For example ``"EPSG:32735"``.

    Returns
    -------
    pyproj.CRS
        The CRS.

    Raises
    ------
    WrongCall
        If it is none.
    """
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        return CRS.from_user_input(text)
    except CRSError:
        raise WrongCall(
            f"'{text}' is no coordinate reference system; write for example 'EPSG:32735' "
            "(UTM zone 35 south on WGS 84)."
        ) from None


def change_coordinates(
    x: npt.ArrayLike, y: npt.ArrayLike, source: Any, goal: Any
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64], Change]:
    """Transform points between two CRS, never by a ballpark operation.

    Parameters
    ----------
    x, y : array_like, shape (n,)
        Easting and northing, or longitude and latitude, in `source`.
    source, goal : str or pyproj.CRS
        From and to.

    Returns
    -------
    x, y : ndarray, shape (n,)
        In `goal`; infinite where PROJ has no answer.
    change : Change
        Operation and accuracy.

    Raises
    ------
    DataRefused
        If only a ballpark operation is left on this machine.
    """
    import numpy as np
    from pyproj import Transformer
    from pyproj.exceptions import ProjError

    source, goal = read_crs(source), read_crs(goal)
    x, y = np.atleast_1d(np.asarray(x, float)), np.atleast_1d(np.asarray(y, float))
    if source == goal:
        return x.copy(), y.copy(), Change("none needed", 0.0)
    try:
        transformer = Transformer.from_crs(source, goal, always_xy=True, allow_ballpark=False)
        new_x, new_y = transformer.transform(x, y)
    except ProjError:
        new_x = new_y = None
    if new_x is None or (len(x) and not np.isfinite(new_x).any() and np.isfinite(x).any()):
        raise DataRefused(
            f"no change from {source.name} to {goal.name} of known accuracy is possible on this "
            "machine for these positions; deliver the coordinates in the campaign's CRS."
        )
    used = transformer
    if len(x):  # after a transform PROJ knows which of several operations it took
        try:
            used = transformer.get_last_used_operation()
        except ProjError:
            used = transformer
    accuracy = used.accuracy
    same_datum = source.geodetic_crs == goal.geodetic_crs
    value = 0.0 if same_datum else (float(accuracy) if accuracy and accuracy >= 0 else np.nan)
    return np.asarray(new_x), np.asarray(new_y), Change(used.description, value)


def change_frame(frame: gpd.GeoDataFrame, goal: Any) -> tuple[gpd.GeoDataFrame, Change]:
    """Transform a layer, never by a ballpark operation.

    Parameters
    ----------
    frame : geopandas.GeoDataFrame
        With a CRS.
    goal : str or pyproj.CRS
        To.

    Returns
    -------
    frame : geopandas.GeoDataFrame
        A new frame in `goal`.
    change : Change
        Operation and accuracy.

    Raises
    ------
    DataRefused
        As in `change_coordinates`.
    """
    import numpy as np
    import shapely

    goal = read_crs(goal)
    if frame.crs == goal or frame.empty:
        return frame.set_crs(goal, allow_override=True), Change("none needed", 0.0)
    shapes = frame.geometry.to_numpy()
    xy = shapely.get_coordinates(shapes)
    x, y, change = change_coordinates(xy[:, 0], xy[:, 1], frame.crs, goal)
    moved = shapely.set_coordinates(shapely.force_2d(shapes).copy(), np.column_stack([x, y]))
    return frame.set_geometry(list(moved), crs=goal), change
