"""Surfaces as cloud-optimised GeoTIFF."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from geochem.model.surface import Surface

NODATA = -9999.0


def write_surface(surface: Surface, crs: str, title: str, folder: Path) -> list[Path]:
    """Write one surface, its uncertainty as second band.

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
        One file.
    """
    import rasterio
    from rasterio.transform import from_origin

    bands = [("estimate", surface.unit, surface.values)]
    if surface.deviation is not None:
        bands.append(("standard deviation", "on the scale of estimation", surface.deviation))
    path = folder / f"{surface.name}.tif"
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
            CAUTION="Interpolated screening data; not a resource.",
        )
    return [path]
