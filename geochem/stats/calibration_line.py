"""Which calibrations apply to one element, and what they make of values, limits and errors."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
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
    calibrations: Iterable[Calibration], element: str, assay: str, instruments: Sequence[str]
) -> dict[str, Calibration] | None:
    """Choose a calibration for every instrument, all toward one reference.

    Parameters
    ----------
    calibrations : iterable of Calibration
        Those with another verdict than pass or provisional are not used.
    element, assay : str
        What is corrected.
    instruments : sequence of str
        Those in use; empty text for unknown.

    Returns
    -------
    dict of str to Calibration or None
        By instrument; None when one of them has no calibration toward the same reference:
        corrected and uncorrected values are not mixed.
    """
    mine = [
        c for c in calibrations
        if c.element == element and c.assay == assay and c.verdict in USABLE
    ]  # fmt: skip
    mine.sort(key=lambda c: (USABLE.index(c.verdict), -c.n, c.reference_assay, c.instrument))
    # toward one reference only: another digestion would be another quantity
    for reference in dict.fromkeys(c.reference_assay for c in mine):
        best: dict[str, Calibration] = {}
        for c in mine:
            if c.reference_assay == reference:
                best.setdefault(c.instrument, c)
        chosen = {s: best.get(s) or best.get("") for s in instruments}
        found = {s: c for s, c in chosen.items() if c is not None}
        if len(found) == len(chosen):
            return found
    return None


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
