"""Which calibrations apply to one element, and what they make of values, limits and errors."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

import numpy as np

from geochem.model.tables import Values

if TYPE_CHECKING:
    import numpy.typing as npt

    from geochem.model.quality import Calibration

    Floats = npt.NDArray[np.float64]


#: the calibration verdicts that may be used, the better first
USABLE = ("pass", "provisional")


def calibrations_for(
    calibrations: Iterable[Calibration],
    element: str,
    assay: str,
    sample_ids: npt.ArrayLike,
    read: Mapping[str, npt.ArrayLike] | None = None,
) -> list[tuple[Calibration, npt.NDArray[np.bool_]]] | None:
    """Give every value its own calibration line, all toward one reference.

    Parameters
    ----------
    calibrations : iterable of Calibration
        Those with another verdict than pass or provisional are not used.
    element, assay : str
        What is corrected.
    sample_ids : array_like of str, shape (n,)
        Of the values.
    read : mapping of str to array_like of str, shape (n,), optional
        ``instrument, mode, day`` (YYYY-MM-DD) of the values, as far as known: for controls, whose
        names no line holds. A control that fits several lines has none.

    Returns
    -------
    list of (Calibration, ndarray of bool) or None
        Lines and the values they are for; None when a value has no line toward the same
        reference: corrected and uncorrected values are not mixed.
    """
    ids = np.asarray(sample_ids, dtype=object)
    mine = [
        c for c in calibrations
        if c.element == element and c.assay == assay and c.verdict in USABLE
    ]  # fmt: skip
    mine.sort(key=lambda c: (USABLE.index(c.verdict), -c.n, c.reference_assay, c.group))
    # toward one reference only: another digestion would be another quantity
    for reference in dict.fromkeys(c.reference_assay for c in mine):
        lines = [c for c in mine if c.reference_assay == reference]
        left = np.ones(len(ids), dtype=bool)
        found: list[tuple[Calibration, npt.NDArray[np.bool_]]] = []
        for line in lines:
            rows = left.copy()
            if line.samples is not None:
                rows &= np.fromiter((i in line.samples for i in ids), dtype=bool, count=len(ids))
            left &= ~rows
            found.append((line, rows))
        if left.any() and read is not None:
            fits = np.array([_fits(line, read, len(ids)) for line in lines])
            alone = left & (fits.sum(axis=0) == 1)
            found = [
                (line, rows | (alone & f)) for (line, rows), f in zip(found, fits, strict=True)
            ]
            left &= ~alone
        if not left.any():
            return [(line, rows) for line, rows in found if rows.any()]
    return None


def _fits(
    line: Calibration, read: Mapping[str, npt.ArrayLike], n: int
) -> npt.NDArray[np.bool_]:  # fmt: skip
    """Say for which readings a line can be, by instrument, mode and day."""
    out = np.full(n, not line.matrix)
    for what, wanted in (("instrument", line.instrument), ("mode", line.mode)):
        if wanted and what in read:
            out &= np.asarray(read[what], dtype=object) == wanted
    if "day" in read and (line.since or line.until):
        day = np.asarray(read["day"], dtype=object).astype(str)
        out &= (day >= line.since) & ((day <= line.until) if line.until else True)
    return out


def apply_calibration(values: Values, calibration: Calibration) -> Values:
    """Correct values and limits; the error takes in that of the line.

    Linear: ``y = a + b x`` with ``var(y) = b^2 var(x) + var(a) + x^2 var(b) + 2 x cov(a, b)``
    (first-order propagation, JCGM 100:2008, section 5.2); on log10 scale likewise. A limit stays a
    limit and is corrected too. A line with a negative intercept can push a small value to zero or
    under it: such a value becomes a limit, three standard errors high.

    Parameters
    ----------
    values : Values
        One entry per sample. [mg/kg]
    calibration : Calibration
        Whatever its verdict: the caller decides.

    Returns
    -------
    Values
        New arrays; an unknown error stays unknown.
    """
    x, below, above, err = values
    a, b = calibration.intercept, calibration.slope
    var_a, var_b, cov = (
        calibration.intercept_se**2,
        calibration.slope_se**2,
        calibration.covariance,
    )
    if calibration.log:
        with np.errstate(divide="ignore", invalid="ignore"):
            u = np.log10(x)
            y = 10.0 ** (a + b * u)
            line = np.maximum(var_a + u**2 * var_b + 2.0 * u * cov, 0.0)
            shot = (b * err / (x * np.log(10.0))) ** 2
            y_err = y * np.log(10.0) * np.sqrt(shot + line)
        return Values(y, below.copy(), above.copy(), np.where(below | above, np.nan, y_err))
    y = a + b * x
    line = np.maximum(var_a + x**2 * var_b + 2.0 * x * cov, 0.0)
    y_err = np.sqrt((b * err) ** 2 + line)
    # with an unknown shot error the line's own is the least that is known
    floor = 3.0 * np.sqrt(np.where(np.isfinite(err), (b * err) ** 2, 0.0) + line)
    floor = np.where(floor > 0, floor, np.abs(b) * np.abs(x))
    sunk = np.isfinite(y) & (y <= 0)
    y = np.where(sunk, floor, y)
    below = below | (sunk & ~above)
    return Values(y, below, above.copy(), np.where(below | above, np.nan, y_err))
