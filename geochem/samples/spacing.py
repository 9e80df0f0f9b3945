"""How far apart the samples are: one `Spacing` per medium and grid."""

from __future__ import annotations

from typing import TYPE_CHECKING

from geochem.errors import WrongCall
from geochem.model.layers import Spacing

if TYPE_CHECKING:
    import geopandas as gpd


def measure_spacings(samples: gpd.GeoDataFrame) -> tuple[Spacing, ...]:
    """Measure line spacing, station spacing and line direction of every grid.

    Samples with ``use = "context"`` are left out. Several samples at one place (depths, horizons)
    count once. See `geochem.stats.spacing.measure_grid` for how it is done and when a pattern
    counts as irregular.

    Parameters
    ----------
    samples : geopandas.GeoDataFrame
        A samples table in a projected CRS in metres.

    Returns
    -------
    tuple of Spacing
        Sorted by medium and grid; empty for a table without rows. Of a group with a single place
        all lengths are NaN.

    Raises
    ------
    WrongCall
        If the table has no geometry.
    """
    import numpy as np

    from geochem.stats.spacing import measure_grid

    if not len(samples):
        return ()
    if "geometry" not in samples.columns:
        raise WrongCall("measure_spacings needs located samples: a table with a geometry column.")
    use = np.ones(len(samples), dtype=bool)
    if "use" in samples.columns:
        use = (samples["use"] != "context").to_numpy(dtype=bool)
    lost = samples.geometry.is_empty | samples.geometry.isna()
    use = use & ~lost.to_numpy(dtype=bool)
    x, y = samples.geometry.x.to_numpy()[use], samples.geometry.y.to_numpy()[use]

    def words(column: str) -> list[str]:
        if column not in samples.columns:
            return [""] * int(use.sum())
        return ["" if v is None or v != v else str(v) for v in samples[column].to_numpy()[use]]

    keys = list(zip(words("medium"), words("grid"), strict=True))
    found = []
    for key in sorted(set(keys)):
        here = np.array([k == key for k in keys])
        grid = measure_grid(x[here], y[here])
        found.append(
            Spacing(
                medium=key[0],
                grid=key[1],
                n=grid.n,
                nearest=grid.nearest,
                line_spacing=grid.line_spacing,
                station_spacing=grid.station_spacing,
                azimuth=grid.azimuth,
                regular=grid.regular,
                area_km2=grid.area / 1e6,
            )
        )
    return tuple(found)
