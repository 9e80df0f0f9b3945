"""A share and its interval."""

from __future__ import annotations

import math

from geochem.errors import WrongCall


def wilson_interval(hits: int, n: int, *, confidence: float = 0.9) -> tuple[float, float]:
    """Give the interval of a share that also holds for few cases and for none or all of them.

    Parameters
    ----------
    hits, n : int
        So many of so many.
    confidence : float, default 0.9
        Between 0 and 1.

    Returns
    -------
    low, high : float
        Between 0 and 1; the whole range when there is no case.

    Raises
    ------
    WrongCall
        If a count is not possible.

    References
    ----------
    .. [1] Wilson 1927, Probable inference, the law of succession, and statistical inference,
       Journal of the American Statistical Association 22:209-212.

    Examples
    --------
    >>> low, high = wilson_interval(0, 10, confidence=0.95)
    >>> round(low, 3), round(high, 3)
    (0.0, 0.278)
    """
    if not (0 <= hits <= n and 0 < confidence < 1):
        raise WrongCall(f"{hits} of {n} at {confidence} is no share with a confidence.")
    if n == 0:
        return 0.0, 1.0
    from scipy.special import ndtri

    z = float(ndtri(0.5 + confidence / 2))
    p = hits / n
    middle = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    return max(0.0, middle - half), min(1.0, middle + half)
