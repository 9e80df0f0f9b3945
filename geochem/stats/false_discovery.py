"""False-discovery control: how many of the flagged places are flagged by chance.

What lives here: Benjamini-Hochberg adjusted p-values that pass missing ones through.
Test to copy: `tests/stats/test_false_discovery.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np

from geochem.errors import WrongCall

if TYPE_CHECKING:
    import numpy.typing as npt


def adjusted_p(p: npt.ArrayLike, method: Literal["bh", "by"] = "bh") -> npt.NDArray[np.float64]:
    """Adjust p-values for the number of tests so that a cut at q holds the false-discovery rate q.

    Parameters
    ----------
    p : array_like, any shape
        p-values in 0-1; NaN is a test that was not made and does not count.
    method : {"bh", "by"}, default "bh"
        Benjamini-Hochberg (independent or positively dependent tests) or Benjamini-Yekutieli
        (any dependence).

    Returns
    -------
    ndarray, shape as `p`
        Adjusted p-values, NaN where `p` is NaN.

    Raises
    ------
    WrongCall
        If a p-value lies outside 0-1 or the method is not known.

    References
    ----------
    Benjamini, Y. and Hochberg, Y. 1995. Controlling the false discovery rate. Journal of the Royal
    Statistical Society B 57:289-300.
    Benjamini, Y. and Yekutieli, D. 2001. Annals of Statistics 29:1165-1188.

    Examples
    --------
    >>> adjusted_p([0.01, 0.02, float("nan"), 0.9]).round(4).tolist()
    [0.03, 0.03, nan, 0.9]
    """
    from scipy.stats import false_discovery_control

    raw = np.asarray(p, dtype=float)
    if method not in ("bh", "by"):
        raise WrongCall(f"unknown method '{method}'; possible: bh, by.")
    known = np.isfinite(raw)
    if ((raw[known] < 0) | (raw[known] > 1)).any():
        raise WrongCall("p-values must lie between 0 and 1.")
    out = np.full(raw.shape, np.nan)
    if known.any():
        out[known] = false_discovery_control(raw[known], method=method)
    return out


def rejected(
    p: npt.ArrayLike, rate: float = 0.10, method: Literal["bh", "by"] = "bh"
) -> npt.NDArray[np.bool_]:
    """Say which tests stand out at a false-discovery rate.

    Parameters
    ----------
    p : array_like, any shape
        p-values; NaN is never rejected.
    rate : float, default 0.10
        Tolerated share of false ones among those that stand out.
    method : {"bh", "by"}, default "bh"
        As in `adjusted_p`.

    Returns
    -------
    ndarray of bool, shape as `p`
        True where the test stands out.

    Raises
    ------
    WrongCall
        As `adjusted_p`.
    """
    with np.errstate(invalid="ignore"):
        return adjusted_p(p, method) <= rate
