"""Surfaces of elements measured at few samples, helped by elements measured at all of them.

A laboratory sees one soil in eight; the portable instrument sees them all. Where the two go
together, the sparse element is a regression on the dense ones plus what the regression leaves,
which is kriged. The variance of both parts is added.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from geochem.model.finding import Finding
from geochem.stats.back_transform import chance_of_exceeding
from geochem.surfaces.element import Site, finish, interpolate
from geochem.surfaces.estimate import Checks, join_checks, kriged
from geochem.surfaces.pieces import Whole

if TYPE_CHECKING:
    import numpy.typing as npt

    from geochem.model.surface import Surface

    FloatArray = npt.NDArray[np.float64]

#: pairs a regression needs per helper, and the share of variance it must explain
_PAIRS, _WORTH = 15, 0.15


@dataclass(frozen=True, slots=True, eq=False)
class Helped:
    """The regression of a sparse element on dense ones.

    Parameters
    ----------
    helpers : tuple of str
        Elements that help.
    coefficients : ndarray, shape (1 + q,)
        Intercept and slopes, on logs.
    explained : float
        Share of the variance explained, left-out pairs. [-]
    predicted : ndarray, shape (n,)
        Regression at every sample that has the helpers; NaN elsewhere.
    n_pairs : int
        Samples with all of them.
    """

    helpers: tuple[str, ...]
    coefficients: FloatArray
    explained: float
    predicted: FloatArray
    n_pairs: int


def regress_on_helpers(
    sparse: FloatArray, dense: FloatArray, helpers: tuple[str, ...]
) -> Helped | str:
    """Explain a sparse element by dense ones.

    Parameters
    ----------
    sparse : ndarray, shape (n,)
        log10 of the sparse element; NaN where not measured.
    dense : ndarray, shape (n, q)
        log10 of the helpers.
    helpers : tuple of str
        Their symbols.

    Returns
    -------
    Helped or str
        The regression, or in a sentence why there is none: too few pairs, or it predicts left-out
        pairs hardly better than their mean.
    """
    complete = np.isfinite(dense).all(axis=1)
    pairs = complete & np.isfinite(sparse)
    n, least = int(pairs.sum()), _PAIRS * (1 + dense.shape[1])
    if n < least:
        return f"{n} samples have it and {', '.join(helpers)}; at least {least} are needed"
    design = np.column_stack([np.ones(n), dense[pairs]])
    y = sparse[pairs]
    inverse = np.linalg.pinv(design)
    coefficients = inverse @ y
    residual = y - design @ coefficients
    leverage = np.einsum("ij,ji->i", design, inverse)
    left_out = residual / np.maximum(1.0 - leverage, 1e-6)
    spread = float(np.sum((y - y.mean()) ** 2))
    explained = 1.0 - float(np.sum(left_out**2)) / spread if spread > 0 else 0.0
    if explained < _WORTH:
        return (
            f"{', '.join(helpers)} explain {max(explained, 0.0):.0%} of its variance at left-out "
            f"samples; at least {_WORTH:.0%} are needed"
        )
    predicted = np.full(len(sparse), np.nan)
    predicted[complete] = (
        np.column_stack([np.ones(complete.sum()), dense[complete]]) @ coefficients
    )
    return Helped(helpers, coefficients, explained, predicted, n)


def left_by(helped: Helped, sparse: FloatArray) -> FloatArray:
    """Give what the regression leaves at samples that have both; NaN elsewhere."""
    return sparse - helped.predicted


def helped_surface(
    site: Site,
    element: str,
    log: FloatArray,
    log_variance: FloatArray,
    helped: Helped,
    *,
    threshold: float = float("nan"),
) -> tuple[Surface | None, list[Finding]]:
    """Add the kriged regression and the kriged rest; keep it where it predicts better.

    Parameters
    ----------
    site : Site
        Samples, cells, options; the scale is the logarithm.
    element : str
        Sparse element.
    log, log_variance : ndarray, shape (n,)
        log10 of its values and their error variances.
    helped : Helped
        Regression on the dense elements.
    threshold : float, optional
        Chance of exceeding it is given. [mg/kg]

    Returns
    -------
    surface : Surface or None
        None when it predicts left-out samples no better than kriging the sparse element alone.
    findings : list of Finding
        What was done, with both errors.
    """
    rest = left_by(helped, log)
    trend, _, _ = interpolate(site, helped.predicted, None, f"{element} from its helpers")
    alone, _, _ = interpolate(site, log, log_variance, element)
    remainder, method, _ = interpolate(site, rest, log_variance, f"what is left of {element}")
    if trend is None or remainder is None or alone is None or method != "ordinary_kriging":
        return None, []
    names = ", ".join(helped.helpers)
    checks = _checks(site, trend, remainder)
    both, single = checks.table()["rmse"], alone.checks.table()["rmse"]
    words = (
        f"{site.medium}: {element} stands in {int(np.isfinite(log).sum())} of {len(log)} samples; "
        f"regression on {names} ({helped.explained:.0%} of the variance of left-out samples) and "
        f"kriging of the rest miss left-out samples by {both:.3g} (log10), {element} alone by "
        f"{single:.3g}"
    )
    if not both < single:
        return None, [
            Finding("surface-helpers-not-used", "note", f"{words}; it was kriged alone.")
        ]
    whole = replace(
        remainder, values=trend.values + remainder.values,
        variance=trend.variance + remainder.variance,
        lagrange=trend.lagrange + remainder.lagrange, checks=checks,
    )  # fmt: skip
    surface = finish(
        site, whole, np.power(10.0, whole.values), method, name=f"{element}_ppm", title=element,
        unit="mg/kg", scale="log10 of mg/kg; the surface is the local median",
    )  # fmt: skip
    if np.isfinite(threshold) and threshold > 0:
        chance = chance_of_exceeding(whole.values, whole.variance, float(np.log10(threshold)))
        surface = replace(surface, chance=site.grid.spread(chance), threshold=float(threshold))
    return (
        replace(surface, details={**surface.details, "helpers": helped.helpers}),
        [Finding("surface-helpers", "note", f"{words}; both were used.", element=element)],
    )


def _checks(site: Site, trend: Whole, remainder: Whole) -> Checks:
    """Leave out a sample from both parts at once: elsewhere neither is known."""
    dense = {p.name: e for p, e in trend.parts}
    parts = []
    for piece, rest in remainder.parts:
        base = dense.get(piece.name)
        if base is None:
            continue
        row = {tuple(p): i for i, p in enumerate(base.places.tolist())}
        own = np.array([row.get(tuple(p), -1) for p in rest.places.tolist()], dtype=np.intp)
        found = kriged(
            base.places, base.merged, base.error, rest.places, base.details["variogram"],
            site.options, own=own,
        )  # fmt: skip
        at = found.values, found.variance
        if len(rest.checks.true) != len(rest.places):
            continue
        true = rest.checks.true + base.merged[own]
        predicted = rest.checks.predicted + at[0]
        nothing = np.full(len(true), np.nan)
        parts.append(
            Checks(
                true, predicted, np.sqrt(rest.checks.deviation**2 + at[1]), nothing, nothing,
                nothing, nothing, np.full(len(true), np.median(true)), rest.checks.block_side,
            )
        )  # fmt: skip
    return join_checks(parts) if parts else remainder.checks
