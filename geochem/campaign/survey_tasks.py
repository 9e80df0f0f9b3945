"""The pieces of work of a survey run; each stands alone, so that any process can do it.

A task takes the description of the survey and small arrays, reads what it needs itself, and gives
small arrays back. The mathematics is that of every other run: `background.table` for thresholds,
`anomalies.univariate` for z and probability, `stats.robust` for location and scale.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.anomalies.univariate import ALL, Levels, probability_beyond, robust_z
from geochem.model.tables import Values
from geochem.read.survey_table import (
    Block,
    SurveyTable,
    element_columns,
    read_block,
    read_column,
    texts_as_codes,
    values_in,
)

if TYPE_CHECKING:
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

#: a part below detection enters the log-ratio as this share of its limit (Martin-Fernandez and
#: others 2003, Mathematical Geology 35:253-278: multiplicative simple replacement)
REPLACED_BY = 0.65


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """What a first pass over a block gives.

    Parameters
    ----------
    units : tuple of str
        Names of units that occur.
    bounds : ndarray, shape (4,)
        West, south, east, north of the usable positions, NaN without any. [m]
    unlocated : int
        Rows without a usable position.
    measured, below, refused : ndarray of int, shape (n_elements,)
        Values, those below detection, and zero or negative numbers.
    """

    units: tuple[str, ...]
    bounds: Array
    unlocated: int
    measured: npt.NDArray[np.int64]
    below: npt.NDArray[np.int64]
    refused: npt.NDArray[np.int64]


def unit_names(read: dict[str, Any], by: Sequence[str], rows: int) -> Any:
    """Join the columns that name the unit of a row."""
    import pyarrow as pa
    import pyarrow.compute as pc

    if not by:
        return pa.array([ALL] * rows)
    parts = [pc.fill_null(read[c], "") for c in by]
    return parts[0] if len(parts) == 1 else pc.binary_join_element_wise(*parts, " | ")


def look(table: SurveyTable, block: Block, by: tuple[str, ...]) -> Look:
    """Look at one block: units, extent, how much is measured and below detection.

    Parameters
    ----------
    table : SurveyTable
        The survey.
    block : Block
        Which piece.
    by : tuple of str
        Columns that name the unit.

    Returns
    -------
    Look
        Counts.
    """
    import pyarrow.compute as pc

    names = element_columns(table.elements)
    read = read_block(table, block, ["easting", "northing", *by, *names])
    x, y = read["easting"], read["northing"]
    ok = np.isfinite(x) & np.isfinite(y)
    bounds = np.full(4, np.nan)
    if ok.any():
        bounds = np.array([x[ok].min(), y[ok].min(), x[ok].max(), y[ok].max()])
    counts = []
    for element in table.elements:
        values = values_in(read, element, block.rows)
        known = np.isfinite(values.value)
        given = np.isfinite(read[f"{element}_ppm"])
        counts.append((known.sum(), values.below.sum(), (given & ~known).sum()))
    measured, below, refused = np.array(counts, dtype=np.int64).T
    units = pc.unique(unit_names(read, by, block.rows)).to_pylist() if by else [ALL]
    return Look(tuple(sorted(map(str, units))), bounds, int((~ok).sum()), measured, below, refused)


def log_means(
    table: SurveyTable, block: Block, by: tuple[str, ...], units: tuple[str, ...],
    parts: tuple[str, ...],
) -> tuple[npt.NDArray[np.int16], Array]:  # fmt: skip
    """Give the unit and the mean of the logarithms of the parts for each row of a block.

    Parameters
    ----------
    table, block, by
        As in `look`.
    units : tuple of str
        All names of units.
    parts : tuple of str
        Elements of the composition.

    Returns
    -------
    code : ndarray of int16, shape (rows,)
        Place of the row's unit in `units`.
    mean : ndarray, shape (rows,)
        Natural logarithm; NaN where a part is missing.
    """
    read = read_block(table, block, [*by, *_log_columns(parts)])
    total = np.full(block.rows, 0.0 if parts else np.nan)
    for part in parts:
        total += _log_in(read, part)
    return _unit_codes(read, by, units, block.rows), total / max(len(parts), 1)


def _unit_codes(
    read: dict[str, Any], by: tuple[str, ...], units: tuple[str, ...], rows: int
) -> npt.NDArray[np.int16]:
    if not by:
        return np.zeros(rows, dtype=np.int16)
    return texts_as_codes(unit_names(read, by, rows), units)


def _mean_log(values: dict[str, Values], parts: tuple[str, ...], rows: int) -> Array:
    """Give the mean of the logarithms of the parts; NaN where one is missing or there are none."""
    if not parts:
        return np.full(rows, np.nan)
    total = np.zeros(rows)
    for part in parts:
        total += _log(values[part])
    return total / len(parts)


def _log(values: Values) -> Array:
    return _logarithm(values.value, values.below)


@dataclass(frozen=True, slots=True, eq=False)
class ElementLevels:
    """Background of one element in every unit.

    Parameters
    ----------
    thresholds, backgrounds : list of dict
        Rows of the contracts `tables.THRESHOLDS` and `tables.BACKGROUNDS`; the unit ``all`` first.
    clr : ndarray, shape (n_units, 2)
        Median and scaled MAD of the centred log-ratio per unit; NaN for an element that is no part.
    """

    thresholds: list[dict[str, Any]]
    backgrounds: list[dict[str, Any]]
    clr: Array


def element_levels(
    table: SurveyTable, element: str, units: tuple[str, ...], scratch: Path, *, part: bool,
    medium: str, method: str, options: dict[str, Any] | None, min_n: int,
) -> ElementLevels:  # fmt: skip
    """Find exact medians, spreads and thresholds of one element, by unit and for all.

    Parameters
    ----------
    table : SurveyTable
        The survey.
    element : str
        Symbol.
    units : tuple of str
        All names of units.
    scratch : Path
        Folder with ``order.npy``, ``start.npy`` (rows sorted by unit) and ``mean.npy``.
    part : bool
        Whether it belongs to the composition.
    medium, method, options, min_n
        As `[background]` says; units with fewer values than `min_n` take the whole survey's.

    Returns
    -------
    ElementLevels
        One element.
    """
    from geochem.background.choice import choose

    chosen = choose(method, options)
    order = np.load(scratch / "order.npy", mmap_mode="r")
    start = np.load(scratch / "start.npy")
    read = {c: read_column(table, c) for c in element_columns([element]) if c in table.columns}
    values = _rows(values_in(read, element, table.n), order)
    del read
    out = ElementLevels([], [], np.full((len(units), 2), np.nan))
    _levels_of(out, values, ALL, medium, element, chosen)
    whole = out.backgrounds[0]
    if part:
        out.clr[:] = clr_levels(table, element, scratch)
    for k, unit in enumerate(units):
        here = slice(int(start[k]), int(start[k + 1]))
        own = _rows(values, here)
        if len(units) > 1 or unit != ALL:
            if int(np.isfinite(own.value).sum()) < min_n:
                out.backgrounds.append(
                    {**whole, "domain": unit, "pooled_with": ALL,
                     "reason": "too few values: background of the whole survey."}
                )  # fmt: skip
            else:
                _levels_of(out, own, unit, medium, element, chosen)
    return out


def clr_levels(table: SurveyTable, element: str, scratch: Path) -> Array:
    """Find exact median and scaled MAD of the centred log-ratio of one element by unit.

    Parameters
    ----------
    table, element, scratch
        As in `element_levels`.

    Returns
    -------
    ndarray, shape (n_units, 2)
        Median and scaled MAD, natural logarithm.
    """
    read = {c: read_column(table, c) for c in _log_columns([element]) if c in table.columns}
    order = np.load(scratch / "order.npy", mmap_mode="r")
    log = _log_in(read, element)
    log -= np.load(scratch / "mean.npy", mmap_mode="r")
    # every place is one: unchecked, taking is twice as fast
    return _by_unit(log.take(order, mode="wrap"), np.load(scratch / "start.npy"))


def _log_columns(elements: Sequence[str]) -> list[str]:
    return [f"{e}_ppm{s}" for e in elements for s in ("", "_below")]


def _log_in(read: dict[str, Any], element: str) -> Array:
    """Give the logarithms of columns that were read, without the rest of `values_in`."""
    return _logarithm(read[f"{element}_ppm"], read.get(f"{element}_ppm_below"))


def _logarithm(value: Array, below: npt.NDArray[np.bool_] | None) -> Array:
    """Give natural logarithms; a limit is replaced, what is missing is NaN."""
    if below is not None and below.any():
        value = np.where(below, REPLACED_BY * value, value)
    with np.errstate(invalid="ignore", divide="ignore"):
        out = np.asarray(np.log(value), dtype=float)
    zero = value == 0
    if zero.any():  # a missing value
        out[zero] = np.nan
    return out


def _by_unit(column: Array, start: npt.NDArray[np.int64]) -> Array:
    from geochem.stats.robust_columns import median_mad_runs

    return np.column_stack(median_mad_runs(column, start))


def _rows(values: Values, at: Any) -> Values:
    return Values(values.value[at], values.below[at], values.above[at], values.err[at])


def _levels_of(
    out: ElementLevels, values: Values, domain: str, medium: str, element: str, chosen: list[Any]
) -> None:
    from geochem.background.median_mad import MedianMad
    from geochem.background.table import fit_all, threshold_row

    if not np.isfinite(values.value).any():
        out.backgrounds.append(_background(medium, domain, element, None, values))
        return
    records = fit_all(chosen, values, None, None)
    base = next((r for r in records if np.isfinite(r.details.get("scale", np.nan))), None)
    if base is None or base.transform != "log10":
        base = fit_all([MedianMad(k=2.0, log=True)], values, None, None)[0]
    out.thresholds.extend(threshold_row(medium, domain, element, None, r, values) for r in records)
    out.backgrounds.append(_background(medium, domain, element, base, values))


def _background(
    medium: str, domain: str, element: str, base: Any, values: Values
) -> dict[str, Any]:
    details = {} if base is None else base.details
    return {
        "medium": medium, "domain": domain, "element": element, "assay": None,
        "location": details.get("location", np.nan), "scale": details.get("scale", np.nan),
        "method": None if base is None else base.method,
        "n": int(np.isfinite(values.value).sum()), "n_below": int(values.below.sum()),
        "pooled_with": None, "reason": None if base is None else " ".join(base.warnings) or None,
    }  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Sums over the cells of a coarse grid, for the map.

    Parameters
    ----------
    cell : ndarray of int, shape (n_cells,)
        Numbers of the cells that occur, rising.
    rows : ndarray of int, shape (n_cells,)
        Samples in each.
    measured, below, beyond : ndarray of int, shape (n_cells, n_elements)
        Values, those below detection, and those beyond the threshold of their unit.
    log_sum, highest : ndarray, shape (n_cells, n_elements)
        Sum of log10 of the values (limits where below detection), and the highest z.
    """

    cell: npt.NDArray[np.int64]
    rows: npt.NDArray[np.int64]
    measured: npt.NDArray[np.int64]
    below: npt.NDArray[np.int64]
    beyond: npt.NDArray[np.int64]
    log_sum: Array
    highest: Array


@dataclass(frozen=True, slots=True)
class Grid:
    """A coarse grid over the survey: lower left corner, side [m], columns."""

    west: float
    south: float
    side: float
    columns: int

    def cell_of(self, x: Array, y: Array) -> npt.NDArray[np.int64]:
        """Give the number of each position's cell, row by row from the lower left; -1 without one."""
        ok = np.isfinite(x) & np.isfinite(y)
        column = np.floor((np.where(ok, x, self.west) - self.west) / self.side)
        row = np.floor((np.where(ok, y, self.south) - self.south) / self.side)
        return np.where(ok, row * self.columns + column, -1).astype(np.int64)


def score_block(
    table: SurveyTable, block: Block, by: tuple[str, ...], units: tuple[str, ...],
    levels: dict[str, Array], parts: tuple[str, ...], grid: Grid, folder: Path,
) -> Cells:  # fmt: skip
    """Write z, probability and log-ratio of every value of a block; sum up its cells.

    Parameters
    ----------
    table, block, by, units
        As in `log_means`.
    levels : dict of str to ndarray, shape (n_units, 6)
        Per element: location, scale, threshold and its standard error on log10 scale, median and
        scale of the centred log-ratio.
    parts : tuple of str
        Elements of the composition.
    grid : Grid
        Of the map.
    folder : Path
        Where the part is written, as ``part-00001.parquet``.

    Returns
    -------
    Cells
        Of this block.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    ids = ["sample_id", "easting", "northing"]
    read = read_block(table, block, [*ids, *by, *element_columns(table.elements)])
    n = block.rows
    code = _unit_codes(read, by, units, n)
    values = {e: values_in(read, e, n) for e in table.elements}
    mean = _mean_log(values, parts, n)
    place = grid.cell_of(read["easting"], read["northing"])
    cell, of = np.unique(place, return_inverse=True)
    shape = (len(cell), len(table.elements))
    cells = Cells(
        cell, np.bincount(of, minlength=len(cell)), np.zeros(shape, np.int64),
        np.zeros(shape, np.int64), np.zeros(shape, np.int64), np.zeros(shape),
        np.full(shape, -np.inf),
    )  # fmt: skip
    columns: dict[str, Any] = {c: read[c] for c in ids}
    columns.update({c: read[c] for c in by})
    everywhere = np.ones(n, dtype=bool)
    for j, element in enumerate(table.elements):
        own, level = values[element], levels[element][code]
        at = Levels(level[:, 0], level[:, 1], level[:, 2], level[:, 3])
        z = robust_z(own, everywhere, at)
        columns[f"{element}_z"] = z.astype(np.float32)
        columns[f"{element}_p"] = probability_beyond(own, everywhere, at).astype(np.float32)
        if element in parts:
            clr = (_log(own) - mean - level[:, 4]) / np.where(level[:, 5] > 0, level[:, 5], np.nan)
            columns[f"{element}_clr_z"] = clr.astype(np.float32)
        _add(cells, j, of, own, z, at)
    pq.write_table(pa.table(columns), folder / f"part-{block.number + 1:05d}.parquet")
    return cells


def _add(
    cells: Cells, j: int, of: npt.NDArray[np.intp], values: Values, z: Array, at: Levels
) -> None:
    n = len(cells.cell)
    known = np.isfinite(values.value)
    log = np.log10(np.where(known, values.value, 1.0))
    cells.measured[:, j] = np.bincount(of[known], minlength=n)
    cells.below[:, j] = np.bincount(of[values.below], minlength=n)
    beyond = known & ~values.below & (log > at.threshold)
    cells.beyond[:, j] = np.bincount(of[beyond], minlength=n)
    cells.log_sum[:, j] = np.bincount(of, weights=np.where(known, log, 0.0), minlength=n)
    np.maximum.at(cells.highest[:, j], of, np.where(np.isfinite(z), z, -np.inf))
