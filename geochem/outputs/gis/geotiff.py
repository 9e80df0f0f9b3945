"""Surfaces as cloud-optimised GeoTIFF."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from geochem.model.surface import Surface

NODATA = -9999.0


def write_surface(surface: Surface, crs: str, title: str, folder: Path) -> list[Path]:
    """Write one surface with its uncertainty, chance of exceeding and cover as further bands.

    Parameters
    ----------
    surface : Surface
        Values and, where there is one, deviation.
    crs, title : str
        Working CRS, title of the campaign.
    folder : Path
        Where to.

    Returns
    -------
    list of Path
        One file, and ``<name>_simulated.tif`` where there are simulations.
    """
    bands = [("estimate", surface.unit, surface.values)]
    if surface.deviation is not None:
        bands.append(("standard deviation", "on the scale of estimation", surface.deviation))
    if surface.chance is not None:
        above = f"share, above {surface.threshold:.6g} {surface.unit}"
        bands.append(("chance of exceeding", above, surface.chance))
    if surface.covered is not None:
        cover = np.where(np.isfinite(surface.values), surface.covered.astype(float), np.nan)
        bands.append(("transported cover", "1 covered, 0 not", cover))
    written = [_write(folder / f"{surface.name}.tif", bands, surface, crs, title)]
    if surface.simulated:
        titles = {"chance": "share of simulations above the threshold"}
        several = [
            (titles.get(k, f"{k[1:]}th percentile of simulations"),
             "share" if k == "chance" else surface.unit, v)
            for k, v in surface.simulated.items() if np.isfinite(v).any()
        ]  # fmt: skip
        written.append(
            _write(folder / f"{surface.name}_simulated.tif", several, surface, crs, title)
        )
    return written


def _write(
    path: Path,
    bands: list[tuple[str, str, npt.NDArray[np.float64]]],
    surface: Surface,
    crs: str,
    title: str,
) -> Path:
    import rasterio
    from rasterio.transform import from_origin

    rows, columns = surface.values.shape
    with rasterio.open(
        path,
        "w",
        driver="COG",
        height=rows,
        width=columns,
        count=len(bands),
        dtype="float32",
        crs=crs,
        transform=from_origin(surface.west, surface.north, surface.cell, surface.cell),
        nodata=NODATA,
        compress="DEFLATE",
        overview_resampling="AVERAGE",  # the default, cubic, overshoots: below zero, shares above 1
    ) as grid:
        for number, (words, unit, values) in enumerate(bands, 1):
            filled = np.where(np.isfinite(values), values, NODATA).astype("float32")
            grid.write(filled, number)
            grid.set_band_description(number, f"{surface.title}: {words}")
            grid.set_band_unit(number, unit)
        grid.update_tags(
            TITLE=title,
            METHOD=surface.method,
            REFERENCE=surface.reference,
            SAMPLES=str(surface.n_used),
            SCALE=str(surface.details.get("scale", "")),
            CAUTION="Interpolated screening data; not a resource.",
        )
    return path
