"""Pieces of ground that are interpolated on their own, and the estimates put together.

A piece is a whole medium, or with the option ``by`` the polygons of one name: its own variogram,
its own samples, a hard border.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.errors import WrongCall
from geochem.model.finding import Finding
from geochem.surfaces.estimate import Checks, Estimate, estimate, join_checks
from geochem.surfaces.grid import Grid, names_at
from geochem.surfaces.options import SurfaceOptions

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt

    from geochem.model.layers import Layers

    FloatArray = npt.NDArray[np.float64]
    BoolArray = npt.NDArray[np.bool_]

#: places a surface needs
LEAST = 30


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """One piece of ground.

    Parameters
    ----------
    name : str
        Of the polygons; empty for the whole medium.
    samples : ndarray of bool, shape (n_samples,)
        Samples on it.
    cells : ndarray of bool, shape (n_shown,)
        Shown cells on it.
    """

    name: str
    samples: BoolArray
    cells: BoolArray


@dataclass(frozen=True, slots=True, eq=False)
class Whole:
    """Estimates of all pieces put together.

    Parameters
    ----------
    values, variance, lagrange : ndarray, shape (n_shown,)
        NaN on pieces without an estimate.
    checks : Checks
        Of all pieces.
    parts : tuple of (Piece, Estimate)
        What was estimated.
    missing : tuple of str
        Names of pieces with too few samples.
    """

    values: FloatArray
    variance: FloatArray
    lagrange: FloatArray
    checks: Checks
    parts: tuple[tuple[Piece, Estimate], ...]
    missing: tuple[str, ...]

    @property
    def n_used(self) -> int:
        """Different places used."""
        return sum(e.n_used for _, e in self.parts)

    @property
    def details(self) -> dict[str, Any]:
        """Details of the largest piece, with the variograms of all."""
        _, largest = max(self.parts, key=lambda p: p[1].n_used)
        found = dict(largest.details)
        if len(self.parts) > 1:
            found["variograms"] = {p.name: e.details.get("variogram") for p, e in self.parts}
        return found


def pieces_of(
    samples: gpd.GeoDataFrame, grid: Grid, layers: Layers, by: str
) -> tuple[tuple[Piece, ...], tuple[Finding, ...]]:
    """Part samples and cells by a polygon layer.

    Parameters
    ----------
    samples : geopandas.GeoDataFrame
        Of one medium, with the column that the layer made.
    grid : Grid
        Shown cells.
    layers : Layers
        Of the campaign.
    by : str
        Name of a layer; empty for no parting.

    Returns
    -------
    pieces : tuple of Piece
        By name.
    findings : tuple of Finding
        Why nothing was parted.

    Raises
    ------
    WrongCall
        If the layer is not among those given.
    """
    n_cells = int(grid.shown.sum())
    whole = Piece("", np.ones(len(samples), dtype=bool), np.ones(n_cells, dtype=bool))
    if not by:
        return (whole,), ()
    layer = layers.vector.get(by)
    if layer is None or by not in samples.columns:
        raise WrongCall(
            f"[surfaces] options: by = '{by}' is no polygon layer of this campaign; layers: "
            f"{', '.join(sorted(layers.vector)) or 'none'}."
        )
    at_sample = np.array([str(v) for v in samples[by]], dtype=object)
    at_cell = names_at(grid.centres, layer.frame, layer.field)
    return tuple(
        Piece(name, at_sample == name, at_cell == name) for name in sorted(set(at_cell.tolist()))
    ), ()


def estimate_pieces(
    pieces: Sequence[Piece],
    xy: FloatArray,
    z: FloatArray,
    grid: Grid,
    *,
    method: str,
    options: SurfaceOptions,
    error_variance: FloatArray | None,
    seed: int,
) -> Whole | None:
    """Estimate every piece that has samples enough.

    Parameters
    ----------
    pieces : sequence of Piece
        Of one medium.
    xy, z : ndarray, shape (n, 2), (n,)
        Samples and values on the scale of interpolation.
    grid : Grid
        Wanted cells.
    method, options, error_variance, seed
        As in `estimate`.

    Returns
    -------
    Whole or None
        None when no piece has samples enough.
    """
    centres = grid.centres
    n = len(centres)
    out = np.full((3, n), np.nan)
    done: list[tuple[Piece, Estimate]] = []
    missing = []
    for piece in pieces:
        mine = piece.samples & np.isfinite(z)
        if not piece.cells.any():
            continue
        if len(np.unique(xy[mine], axis=0)) < LEAST:
            missing.append(piece.name)
            continue
        found = estimate(
            xy[mine], z[mine], centres[piece.cells], method=method, options=options,
            cell=grid.cell, seed=seed,
            error_variance=None if error_variance is None else error_variance[mine],
        )  # fmt: skip
        out[:, piece.cells] = found.values, found.variance, found.lagrange
        done.append((piece, found))
    if not done:
        return None
    return Whole(
        out[0], out[1], out[2], join_checks([e.checks for _, e in done]), tuple(done),
        tuple(missing),
    )  # fmt: skip
