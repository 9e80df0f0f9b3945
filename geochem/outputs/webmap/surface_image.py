"""Surfaces and local pictures as images that stand inside the page."""

from __future__ import annotations

import base64
import struct
import zlib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.outputs.classes import class_limits
from geochem.units import factor, read_unit

if TYPE_CHECKING:
    import numpy.typing as npt

    from geochem.model.surface import Surface

#: cool grey-green, light to dark: apart from the warm ramp of the samples
RAMP = ("#eef3f1", "#cfdfda", "#a9c6bf", "#7ea79f", "#52857d", "#2b625b", "#0f413c")
#: the same for the dark scheme, dark to light
DARK_RAMP = ("#17211f", "#1d312e", "#264741", "#34655d", "#4a897f", "#76b3a8", "#bfe5dc")
#: lines over transported cover, in the light and the dark scheme; brown: in neither ramp
HATCH = ("#5b4636", "#d9c3a8")
#: picture points of a cell side where lines are drawn, and from one line to the next
_FINER, _APART = 3, 9
_LONGEST_SIDE = 1600


def surface_entry(
    surface: Surface, shown: Mapping[str, tuple[float, str]] = MappingProxyType({})
) -> dict[str, Any]:
    """Make the picture, the legend and the place of a surface.

    Parameters
    ----------
    surface : Surface
        First row northernmost; NaN outside. Concentrations when its unit is one.
    shown : mapping of str to (float, str), optional
        Per element what mg/kg is divided by, and the unit that is shown.

    Returns
    -------
    dict
        ``name, title, unit, method, medium, n, cell, limits, colours, dark_colours, hatch, bounds``
        (west, south, east, north in metres) and ``png`` (data URI, in the light scheme). `hatch`:
        colours of the lines over transported cover in both schemes, empty without.
    """
    values = np.asarray(surface.values, dtype=float)
    known = np.isfinite(values)
    unit, title = surface.unit, surface.title
    given = read_unit(surface.unit) if surface.unit else None
    if given is not None:
        element = surface.name.split("_ppm")[0]
        divisor, unit = shown.get(element, (1.0, "ppm"))
        values = values * factor(given) / divisor
        title = title if title != element else f"{element}, {surface.medium}"
    if given is not None and known.any() and values[known].min() > 0:
        limits, _ = class_limits(values[known], (10.0, 25.0, 50.0, 75.0, 90.0, 97.5))
    elif _is_share(values[known]):
        limits = [0.05, 0.1, 0.25, 0.5, 0.75, 0.9]
    else:
        limits = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0]
    pick = np.round(np.linspace(0, len(RAMP) - 1, len(limits) + 1)).astype(int)
    colours = [RAMP[i] for i in pick]
    dark = [DARK_RAMP[i] for i in pick]
    index = np.where(known, 1 + np.searchsorted(limits, values, side="right"), 0)
    rows, cols = values.shape
    hatched = surface.covered is not None and bool((surface.covered & known).any())
    if hatched:
        index = np.kron(index, np.ones((_FINER, _FINER), dtype=index.dtype))
        covered = np.kron(surface.covered & known, np.ones((_FINER, _FINER), dtype=bool))
        row, column = np.indices(index.shape)
        index[covered & ((row + column) % _APART == 0)] = len(colours) + 1
    return {
        "name": surface.name,
        "title": title,
        "unit": unit,
        "method": surface.method.replace("_", " "),
        "medium": surface.medium,
        "n": surface.n_used,
        "cell": surface.cell,
        "limits": limits,
        "colours": colours,
        "dark_colours": dark,
        "hatch": list(HATCH) if hatched else [],
        "bounds": [
            surface.west,
            surface.north - rows * surface.cell,
            surface.west + cols * surface.cell,
            surface.north,
        ],
        "png": palette_png(index.astype(np.uint8), [*colours, HATCH[0]] if hatched else colours),
    }


def chance_entry(
    surface: Surface, shown: Mapping[str, tuple[float, str]] = MappingProxyType({})
) -> dict[str, Any]:
    """Make the picture of the chance that a surface exceeds its threshold.

    Parameters
    ----------
    surface : Surface
        With a chance.
    shown : mapping of str to (float, str), optional
        As in `surface_entry`, for the threshold.

    Returns
    -------
    dict
        As `surface_entry`.
    """
    assert surface.chance is not None
    divisor, unit = shown.get(surface.name.split("_ppm")[0], (1.0, "ppm"))
    words = f"{surface.title}: chance of more than {surface.threshold / divisor:.4g} {unit}"
    return surface_entry(
        replace(
            surface, name=f"{surface.name}_chance", title=words, unit="", values=surface.chance
        )
    )


def _is_share(values: npt.NDArray[np.float64]) -> bool:
    return bool(len(values)) and values.min() >= 0 and values.max() <= 1


def palette_png(index: npt.NDArray[np.uint8], colours: list[str]) -> str:
    """Write a palette picture; index 0 is transparent, index i is ``colours[i - 1]``.

    Parameters
    ----------
    index : ndarray of uint8, shape (n_rows, n_cols)
        First row on top.
    colours : list of str
        ``#rrggbb``.

    Returns
    -------
    str
        A data URI of a PNG picture (W3C recommendation, 2nd edition: chunks IHDR, PLTE, tRNS,
        IDAT, IEND).
    """

    def chunk(kind: bytes, body: bytes) -> bytes:
        check = zlib.crc32(kind + body)
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", check)

    rows, cols = index.shape
    lines = np.zeros((rows, cols + 1), dtype=np.uint8)  # each line starts with filter type 0
    lines[:, 1:] = index
    palette = b"\0\0\0" + b"".join(bytes.fromhex(c[1:]) for c in colours)
    png = (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", struct.pack(">IIBBBBB", cols, rows, 8, 3, 0, 0, 0))
        + chunk(b"PLTE", palette)
        + chunk(b"tRNS", b"\0")
        + chunk(b"IDAT", zlib.compress(lines.tobytes(), 9))
        + chunk(b"IEND", b"")
    )
    return "data:image/png;base64," + base64.b64encode(png).decode("ascii")


def picture_entry(
    path: Path, crs: Any, extent: tuple[float, float, float, float]
) -> tuple[dict[str, Any] | None, str]:
    """Read a georeferenced picture, shrunk, in the campaign CRS.

    Parameters
    ----------
    path : Path
        Any raster that rasterio reads, with one or three bands; of MBTiles (picture tiles in a
        SQLite file, EPSG:3857) the zoom level that fits is read.
    crs : any
        Campaign CRS.
    extent : tuple of float
        West, south, east, north of the map; the picture is cut to it. [m]

    Returns
    -------
    dict or None
        ``bounds, png``; None when the picture cannot be placed.
    str
        What the reader should know: why there is no picture, or how far it was shrunk.
    """
    import rasterio
    from rasterio.enums import ColorInterp
    from rasterio.errors import RasterioError
    from rasterio.vrt import WarpedVRT

    try:
        with (
            rasterio.open(path) as source,
            WarpedVRT(
                source, crs=str(crs), add_alpha=ColorInterp.alpha not in source.colorinterp
            ) as warped,
        ):
            west, south = max(extent[0], warped.bounds.left), max(extent[1], warped.bounds.bottom)
            east, north = min(extent[2], warped.bounds.right), min(extent[3], warped.bounds.top)
            if west >= east or south >= north:
                return None, f"The picture {path.name} lies outside the samples and is not shown."
            window = warped.window(west, south, east, north)
            shrink = max(window.width, window.height, _LONGEST_SIDE) / _LONGEST_SIDE
            shape = (max(1, int(window.height / shrink)), max(1, int(window.width / shrink)))
            colour = [1, 2, 3] if source.count >= 3 else [1, 1, 1]
            bands = warped.read(colour, window=window, out_shape=(3, *shape))
            alpha = warped.dataset_mask(window=window, out_shape=shape)
    except (RasterioError, OSError, ValueError) as error:
        said = str(error).splitlines()[0][:120] if str(error) else type(error).__name__
        return None, f"The picture {path.name} cannot be shown: {said}."
    if not alpha.any():
        return None, f"The picture {path.name} is empty where the samples lie; it is not shown."
    if bands.dtype != np.uint8:
        seen = bands[:, alpha > 0]
        low, high = np.percentile(seen, [2, 98]) if seen.size else (0.0, 1.0)
        bands = np.clip((bands - low) / max(high - low, 1e-9) * 255, 0, 255).astype(np.uint8)
    pixel = (east - west) / shape[1]
    note = f"Picture {path.name}: pixels of {pixel:.3g} m."
    if shrink > 1.05:
        note = f"{note[:-1]}, shrunk {shrink:.1f} times to stand inside this page."
    return {"bounds": [west, south, east, north], "png": _coded(bands, alpha)}, note


def _coded(bands: npt.NDArray[np.uint8], alpha: npt.NDArray[np.uint8]) -> str:
    """Write JPEG, or WebP where the picture does not fill its frame."""
    from io import BytesIO

    from PIL import Image

    whole = bool((alpha > 0).all())
    stacked = bands if whole else np.concatenate([bands, alpha[None].astype(np.uint8)])
    stream = BytesIO()
    picture = Image.fromarray(np.moveaxis(stacked, 0, -1))
    picture.save(stream, "JPEG" if whole else "WEBP", quality=80)
    kind = "jpeg" if whole else "webp"
    return f"data:image/{kind};base64," + base64.b64encode(stream.getvalue()).decode("ascii")
