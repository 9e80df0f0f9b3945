"""Background that changes from sample to sample: with iron, with altitude, over the ground.

A drift is a shift of log10 values per sample. Thresholds and scores are made of what is left when
it is taken off, and each sample's own threshold is the usual one times its shift. Off unless it is
asked for element by element: a regression takes away what mineralisation and scavenger share.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall, unknown
from geochem.model import tables
from geochem.model.finding import Finding

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    from geochem.background.choice import OwnChoice

    Array = npt.NDArray[np.float64]

#: samples per predictor that a regression needs
_PER_PREDICTOR = 20


@dataclass(frozen=True, slots=True, eq=False)
class Drift:
    """Shift of the background of one element.

    Parameters
    ----------
    shift : ndarray, shape (n_samples,)
        Of log10 values, median zero; zero where it is not known.
    words : str
        What it is, in a sentence.
    findings : tuple of Finding
        What was noticed.
    """

    shift: Array
    words: str
    findings: tuple[Finding, ...] = ()


def regression_drift(
    samples: pd.DataFrame, element: str, on: Sequence[str], *, excluded: Sequence[str] = ()
) -> Drift:
    """Regress log10 values of an element on others, robustly.

    Parameters
    ----------
    samples : pandas.DataFrame
        Of one medium.
    element : str
        Symbol.
    on : sequence of str
        Elements (log10 of them is used) and numeric columns such as ``elevation``, organic matter
        or a balance (used as they are).
    excluded : sequence of str
        Elements of the association that is sought: a predictor among them is left out, with a
        finding, because the regression would take the anomaly away.

    Returns
    -------
    Drift
        Fitted value less its median. Limits enter as they are.

    Raises
    ------
    WrongCall
        If a predictor is unknown, or is the element itself.

    References
    ----------
    .. [1] Huber 1981, Robust Statistics, Wiley (M-estimation of regression); Rose, Hawkes & Webb
       1979, Geochemistry in Mineral Exploration, Academic Press (scavenging by Fe and Mn oxides).
    """
    there = tables.elements_of(samples)
    columns = [str(c) for c in samples.columns if "_ppm" not in str(c) and c != "geometry"]
    findings: list[Finding] = []
    kept: list[str] = []
    predictors: list[Array] = []
    for name in dict.fromkeys([on] if isinstance(on, str) else on):
        if name == element:
            raise WrongCall(f"{element} cannot be regressed on itself; name other predictors.")
        if name in excluded:
            findings.append(
                Finding(
                    "predictor-left-out", "warning",
                    f"{element}: {name} belongs to the association that is sought and was left out "
                    "of the regression, which would take the anomaly away.", element=element,
                )
            )  # fmt: skip
            continue
        if name in there:
            v = tables.values_of(samples, name).value
            with np.errstate(divide="ignore", invalid="ignore"):
                predictors.append(np.where(v > 0, np.log10(v), np.nan))
        elif name in columns:
            import pandas as pd

            predictors.append(pd.to_numeric(samples[name], errors="coerce").to_numpy(dtype=float))
        else:
            raise unknown("predictor", str(name), [*there, *columns])
        kept.append(str(name))
    n = len(samples)
    values = tables.values_of(samples, element)
    if not kept:
        return Drift(np.zeros(n), "", tuple(findings))
    x = np.column_stack(predictors)
    with np.errstate(divide="ignore", invalid="ignore"):
        y = np.where(values.value > 0, np.log10(values.value), np.nan)
    ok = np.isfinite(x).all(axis=1) & np.isfinite(y)
    if ok.sum() < _PER_PREDICTOR * len(kept) + 10 or values.below[ok].mean() > 0.2:
        why = (
            f"{int(ok.sum())} samples have all values" if values.below[ok].mean() <= 0.2
            else f"{100 * values.below[ok].mean():.0f} % of its values are below detection"
        )  # fmt: skip
        findings.append(
            Finding(
                "regression-not-made", "warning",
                f"{element}: no regression on {', '.join(kept)} was made, {why}; the plain "
                "background is used.", element=element,
            )
        )  # fmt: skip
        return Drift(np.zeros(n), "", tuple(findings))
    from geochem.stats.robust_regression import huber_regression

    fit = huber_regression(x[ok], y[ok])
    shift = np.zeros(n)
    usual = float(np.median(fit.fitted))
    shift[ok] = fit.fitted - usual
    lost = int((~ok & np.isfinite(y)).sum())
    words = (
        f"Robust regression of log10 {element} on {', '.join(kept)} takes {100 * fit.explained:.0f} "
        f"% of the spread; the threshold holds at the median of {' and '.join(kept)}, each sample "
        "has its own."
    )
    if lost:
        words += f" {lost} samples lack a predictor and keep the plain background."
    return Drift(shift, words, tuple(findings))


def window_drift(values: tables.Values, xy: Array | None, element: str, neighbours: int) -> Drift:
    """Take the median of the nearest samples as the background of each.

    Parameters
    ----------
    values : Values
        Of one medium.
    xy : ndarray, shape (n, 2) or None
        Easting, northing. [m]
    element : str
        For the words.
    neighbours : int
        Samples in the window.

    Returns
    -------
    Drift
        Local median of log10 values less the median of them.

    Raises
    ------
    WrongCall
        If there are no coordinates or fewer than ten samples make a window.
    """
    from geochem.stats.moving_window import local_median

    if xy is None:
        raise WrongCall("a moving window needs coordinates; give samples with point geometry.")
    if neighbours < 10:
        raise WrongCall(f"a window needs ten samples or more, got {neighbours!r}.")
    shift = np.zeros(len(values.value))
    ok = np.isfinite(values.value) & (values.value > 0) & np.isfinite(xy).all(axis=1)
    if ok.sum() < 2 * neighbours:
        found = Finding(
            "window-not-made", "warning",
            f"{element}: {int(ok.sum())} samples are fewer than two windows of {neighbours}; the "
            "plain background is used.", element=element,
        )  # fmt: skip
        return Drift(shift, "", (found,))
    around = local_median(np.log10(values.value[ok]), xy[ok], neighbours)
    shift[ok] = around - float(np.median(around))
    return Drift(
        shift,
        f"Measured against the median of the {neighbours} nearest samples; the threshold holds "
        "where that is usual, each sample has its own.",
    )


def drift_of(
    samples: pd.DataFrame, element: str, own: OwnChoice, xy: Array | None, excluded: Sequence[str]
) -> Drift | None:
    """Make the drift that is asked for of one element in one medium.

    Parameters
    ----------
    samples : pandas.DataFrame
        Of that medium.
    element : str
        Symbol.
    own : OwnChoice
        With `on` or `window`.
    xy : ndarray, shape (n, 2) or None
        Easting, northing. [m]
    excluded : sequence of str
        As in `regression_drift`.

    Returns
    -------
    Drift or None
        None when none is asked for, or the threshold itself was chosen.
    """
    if own.value is not None or not (own.on or own.window):
        return None
    if own.on:
        return regression_drift(samples, element, own.on, excluded=excluded)
    return window_drift(tables.values_of(samples, element), xy, element, own.window)


def without_drift(values: tables.Values, drift: Drift | None) -> tables.Values:
    """Bring values to what they would be where the background is usual."""
    if drift is None:
        return values
    by = 10.0**-drift.shift
    return tables.Values(values.value * by, values.below, values.above, values.err * by)
