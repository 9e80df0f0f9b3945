"""Surfaces of elements measured at few samples, helped by elements measured at all of them.

A laboratory sees one soil in eight; the portable instrument sees them all. Where the two go
together, the sparse element is a regression on the dense ones plus what the regression leaves,
which is kriged. The variance of both parts is added.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

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
    predicted[complete] = np.column_stack([np.ones(complete.sum()), dense[complete]]) @ coefficients
    return Helped(helpers, coefficients, explained, predicted, n)


def left_by(helped: Helped, sparse: FloatArray) -> FloatArray:
    """Give what the regression leaves at samples that have both; NaN elsewhere."""
    return sparse - helped.predicted


