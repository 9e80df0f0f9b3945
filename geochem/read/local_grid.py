"""A local grid (baseline and cut lines) brought to map coordinates through control points.

Two or more points whose local and map coordinates are both known fix shift, rotation and one
scale; with more than two they are fitted by least squares and every residual is shown. A grid laid
out by compass and tape is a rotated one, so that nothing freer is fitted: a bad control point then
shows instead of bending the map.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from geochem.errors import DataRefused
from geochem.model.finding import Finding
from geochem.read.open_table import open_table
from geochem.read.synonyms import squeeze
from geochem.read.values import Kind, parse_column

Floats = npt.NDArray[np.float64]

#: column -> headers, squeezed
_COLUMNS: dict[str, tuple[str, ...]] = {
    "local_x": ("localx", "localeasting", "localeast", "gridx", "grideasting", "gride", "x"),
    "local_y": ("localy", "localnorthing", "localnorth", "gridy", "gridnorthing", "gridn", "y"),
    "easting": ("easting", "east", "mapx", "utme", "eastingm"),
    "northing": ("northing", "north", "mapy", "utmn", "northingm"),
}
#: a residual above this is worth a warning; pegs are laid out to a few metres [m]
LARGE_RESIDUAL = 10.0
#: so far from one the scale says that a length was measured wrongly (common practice, no source)
LARGE_SCALE = 0.03


@dataclass(frozen=True, slots=True, eq=False)
class LocalGrid:
    """A fitted local grid.

    Parameters
    ----------
    scale : float
        Map metres per grid metre.
    rotation : float
        Azimuth of grid north, clockwise from map north. [degrees]
    shift : tuple of float
        Map coordinates of the grid's origin. [m]
    residuals : ndarray, shape (n_points,)
        Distance of each control point from where the fit puts it. [m]
    """

    scale: float
    rotation: float
    shift: tuple[float, float]
    residuals: Floats

    def to_map(self, x: npt.ArrayLike, y: npt.ArrayLike) -> tuple[Floats, Floats]:
        """Bring local coordinates to the map.

        Parameters
        ----------
        x, y : array_like
            Local coordinates. [m]

        Returns
        -------
        easting, northing : ndarray
            [m]
        """
        angle = -np.radians(self.rotation)
        c, s = self.scale * np.cos(angle), self.scale * np.sin(angle)
        x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
        return c * x - s * y + self.shift[0], s * x + c * y + self.shift[1]


def fit_grid(local: npt.ArrayLike, mapped: npt.ArrayLike) -> LocalGrid:
    """Fit shift, rotation and scale to control points by least squares.

    Parameters
    ----------
    local, mapped : array_like, shape (n_points, 2)
        The same points in both systems. [m]

    Returns
    -------
    LocalGrid
        The fit.

    Raises
    ------
    DataRefused
        If there are fewer than two points, they are all at one place, or a mirrored grid would fit
        much better (then the two local coordinates are exchanged).

    References
    ----------
    Horn B. K. P., Hilden H. M., Negahdaripour S. (1988): Closed-form solution of absolute
    orientation using orthonormal matrices. JOSA A 5, 1127-1135 (here in the plane).

    Examples
    --------
    >>> grid = fit_grid([[0, 0], [0, 100]], [[5000, 8000], [5100, 8000]])
    >>> round(grid.rotation, 6), round(grid.scale, 6)
    (90.0, 1.0)
    """
    a, b = np.asarray(local, dtype=float), np.asarray(mapped, dtype=float)
    if len(a) < 2 or np.ptp(a, axis=0).max() == 0 or np.ptp(b, axis=0).max() == 0:
        raise DataRefused(
            f"a local grid needs two or more control points at different places; {len(a)} came."
        )
    grid = _fit(a, b)
    if len(a) > 2:
        mirrored = _fit(a[:, ::-1], b)
        here, there = float(np.sqrt(np.mean(grid.residuals**2))), float(
            np.sqrt(np.mean(mirrored.residuals**2))
        )  # fmt: skip
        if there < 0.2 * here and here > LARGE_RESIDUAL:
            raise DataRefused(
                "the control points of the local grid fit only when its two coordinates are "
                f"exchanged (residuals {there:.1f} m instead of {here:.1f} m); exchange them, or "
                "correct the signs."
            )
    return grid


def _fit(a: Floats, b: Floats) -> LocalGrid:
    za, zb = a[:, 0] + 1j * a[:, 1], b[:, 0] + 1j * b[:, 1]
    ca, cb = za.mean(), zb.mean()
    turn = np.vdot(za - ca, zb - cb) / np.vdot(za - ca, za - ca)
    shift = cb - turn * ca
    residuals = np.abs(turn * za + shift - zb)
    rotation = float(-np.degrees(np.angle(turn)) % 360.0)
    return LocalGrid(float(abs(turn)), rotation, (float(shift.real), float(shift.imag)), residuals)


def read_local_grid(path: str | Path) -> tuple[LocalGrid, list[Finding]]:
    """Read a table of control points and fit the grid.

    Parameters
    ----------
    path : str or Path
        Columns ``local_x, local_y, easting, northing``; one row per control point.

    Returns
    -------
    LocalGrid
        The fit.
    list of Finding
        Scale, rotation and the residual of every point.

    Raises
    ------
    DataRefused
        If columns are missing, or fewer than two points are whole.
    """
    table = open_table(path)
    names = [squeeze(n) for n in table.names]
    found: dict[str, int] = {}
    for key, words in _COLUMNS.items():
        hit = next((names.index(w) for w in words if w in names), None)
        if hit is None or hit in found.values():
            raise DataRefused(
                f"'{table.file}' has no column {key}; a table of control points needs "
                f"{', '.join(_COLUMNS)}."
            )
        found[key] = hit
    numbers = {}
    for key, i in found.items():
        parsed = parse_column(table.columns[i])
        numbers[key] = np.where(parsed.kind == Kind.READING, parsed.number, np.nan)
    whole = np.all([np.isfinite(v) for v in numbers.values()], axis=0)
    local = np.column_stack([numbers["local_x"], numbers["local_y"]])[whole]
    mapped = np.column_stack([numbers["easting"], numbers["northing"]])[whole]
    try:
        grid = fit_grid(local, mapped)
    except DataRefused as refusal:
        raise DataRefused(f"'{table.file}': {refusal}") from None
    shown = ", ".join(
        f"row {r} {d:.1f} m"
        for r, d in zip(table.rows[whole].tolist(), grid.residuals, strict=True)
    )
    bad = float(grid.residuals.max()) > LARGE_RESIDUAL or abs(grid.scale - 1) > LARGE_SCALE
    exact = " Two points fit exactly whatever they are: give a third to see errors." if (
        len(local) == 2
    ) else ""  # fmt: skip
    findings = [
        *table.findings,
        Finding(
            "local-grid", "warning" if bad else "note",
            f"local grid from {len(local)} control points of '{table.file}': grid north at "
            f"{grid.rotation:.2f} degrees from map north, scale {grid.scale:.5f}, residuals "
            f"{shown}.{exact}"
            + (" Check the control points: a residual or the scale is large." if bad else ""),
            table.file,
        ),
    ]  # fmt: skip
    if not whole.all():
        findings.append(
            Finding(
                "control-point-not-read", "warning",
                f"{int((~whole).sum())} control points of '{table.file}' are not whole and were "
                f"not used: rows {', '.join(str(r) for r in table.rows[~whole][:5].tolist())}.",
                table.file, int(table.rows[~whole][0]),
            )
        )  # fmt: skip
    return grid, findings
