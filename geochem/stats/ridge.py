"""Linear regression held back by a penalty (ridge), with the penalty by generalised validation.

References: Hoerl and Kennard 1970, Technometrics 12:55-67; Golub, Heath and Wahba 1979,
Technometrics 21:215-223 (penalty).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

#: penalties tried, as multiples of the number of rows
PENALTIES = tuple(float(v) for v in np.geomspace(1e-4, 10.0, 16))


@dataclass(frozen=True, slots=True, eq=False)
class Ridge:
    """A fitted line in many columns.

    Parameters
    ----------
    centre, scale : ndarray, shape (p,)
        Of the columns.
    coefficient : ndarray, shape (p,)
        Of standardised columns.
    intercept : float
        Mean of the response.
    penalty : float
        Added to the eigenvalues.
    """

    centre: FloatArray
    scale: FloatArray
    coefficient: FloatArray
    intercept: float
    penalty: float

    def predict(self, x: npt.ArrayLike) -> FloatArray:
        """Predict rows, shape (n, p)."""
        z = (np.asarray(x, dtype=float) - self.centre) / self.scale
        return np.asarray(self.intercept + z @ self.coefficient)


def ridge(x: npt.ArrayLike, y: npt.ArrayLike, penalty: float | None = None) -> Ridge:
    """Fit a response to standardised columns.

    Parameters
    ----------
    x : array_like, shape (n, p)
        Without gaps.
    y : array_like, shape (n,)
        Response.
    penalty : float, optional
        Default: the one of `PENALTIES` with the best generalised cross-validation.

    Returns
    -------
    Ridge
        The fit.

    Raises
    ------
    WrongCall
        If shapes do not fit or there are fewer than three rows.
    """
    a, b = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if a.ndim != 2 or b.shape != (len(a),) or len(a) < 3:
        raise WrongCall(
            f"x of shape (n, p) and y of shape (n,), n at least 3, are needed; got {a.shape} and "
            f"{b.shape}."
        )
    n = len(a)
    centre, scale = a.mean(axis=0), a.std(axis=0)
    scale = np.where(scale > 0, scale, 1.0)
    u, s, v = np.linalg.svd((a - centre) / scale, full_matrices=False)
    middle = float(b.mean())
    along = u.T @ (b - middle)
    rest = float(((b - middle) ** 2).sum() - (along**2).sum())
    best = penalty
    if best is None:
        found = np.inf
        for share in PENALTIES:
            shrink = s**2 / (s**2 + share * n)
            left = float((((1 - shrink) * along) ** 2).sum()) + max(rest, 0.0)
            criterion = left / max(n - 1 - shrink.sum(), 1e-9) ** 2
            if criterion < found * (1 - 1e-9):
                best, found = share * n, criterion
    assert best is not None
    size = s**2 + best
    coefficient = v.T @ np.divide(s * along, size, out=np.zeros_like(s), where=size > 0)
    return Ridge(centre, scale, coefficient, middle, float(best))
