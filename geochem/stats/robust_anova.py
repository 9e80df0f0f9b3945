"""Robust mean and scale by winsorising, and a nested analysis of variance built on them.

Some sites or analyses of any survey are wild; classical variance components follow them.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from geochem.errors import WrongCall

Floats = npt.NDArray[np.float64]

#: values further than this many robust SD are pulled in
CUT = 1.5
#: E[min(z^2, CUT^2)] of a standard normal
_BETA = 0.7784655


def huber_mean_scale(values: npt.ArrayLike, *, centre: float | None = None) -> tuple[float, float]:
    """Give the winsorised mean and standard deviation (Huber's proposal 2, cut at 1.5).

    Parameters
    ----------
    values : array_like, shape (n,)
        Finite, at least two.
    centre : float, optional
        Known mean (zero for differences); estimated when None.

    Returns
    -------
    mean, scale : float
        In the unit of the values; estimate normal data's mean and SD without bias.

    References
    ----------
    .. [1] Analytical Methods Committee 1989, Analyst 114:1693-1697; AMC Technical Brief 6, 2001.

    Examples
    --------
    >>> mean, scale = huber_mean_scale([4.5, 4.9, 5.6, 4.2, 6.2, 5.2, 9.9])
    >>> round(mean, 2), round(scale, 2)
    (5.39, 1.14)
    """
    x = np.asarray(values, dtype=float)
    if len(x) < 2 or not np.isfinite(x).all():
        raise WrongCall("a robust mean needs at least two finite values.")
    mean = float(np.median(x)) if centre is None else centre
    scale = 1.4826 * float(np.median(np.abs(x - mean)))
    if scale == 0.0:
        scale = float(np.sqrt(np.mean((x - mean) ** 2)))
    n = len(x)
    for _ in range(200):
        pulled = np.clip(x, mean - CUT * scale, mean + CUT * scale)
        new = float(pulled.mean()) if centre is None else centre
        freedom = n - 1 if centre is None else n
        wide = float(np.sqrt(((pulled - new) ** 2).sum() / freedom / _BETA))
        done = abs(new - mean) + abs(wide - scale) <= 1e-10 * max(wide, 1e-300)
        mean, scale = new, wide
        if done or scale == 0.0:
            break
    return mean, scale


def robust_pair_variance(differences: npt.ArrayLike) -> float:
    """Give the variance of one member of a pair from robustly weighed differences.

    Parameters
    ----------
    differences : array_like, shape (n,)
        Second less first, at least two.

    Returns
    -------
    float
        Half the squared robust scale of the differences about zero.
    """
    return huber_mean_scale(differences, centre=0.0)[1] ** 2 / 2


def robust_nested_anova(values: npt.ArrayLike) -> tuple[float, float, float]:
    """Split variance between sites, samples of a site and analyses, holding back wild values.

    Parameters
    ----------
    values : array_like, shape (n_sites, n_samples, n_analyses)
        Balanced, at least 2 of each; use logarithms.

    Returns
    -------
    sites, sampling, analysis : float
        Variance components; a negative estimate is set to zero.

    Raises
    ------
    WrongCall
        If the shape is wrong or a value is missing.

    References
    ----------
    .. [1] Ramsey, Thompson, Hale 1992, Journal of Geochemical Exploration 44:23-36 (robust
       analysis of variance of duplicated samples): each level's scale is that of the winsorised
       deviations from the level above. Worked example: Ramsey, Ellison, Rostron (eds.) 2019,
       Measurement uncertainty arising from sampling, 2nd edition, Eurachem, example A1.
    """
    x = np.asarray(values, dtype=float)
    if x.ndim != 3 or min(x.shape) < 2:
        raise WrongCall(
            f"values must have the shape (sites, samples, analyses) with at least 2 of each, "
            f"got {x.shape}."
        )
    if not np.isfinite(x).all():
        raise WrongCall("a balanced design has no gaps; leave out sites that lack a value.")
    _, b, c = x.shape
    analysis = _within(x.reshape(-1, c))
    by_sample = x.mean(axis=2)
    sample = _within(by_sample)
    site = _between(by_sample.mean(axis=1))
    return max(0.0, site - sample / b), max(0.0, sample - analysis / c), analysis


def _between(means: Floats) -> float:
    """Give the robust variance of site means; the lost degree of freedom is made good at the end.

    The cut then lies at 1.5 of the scale without it, as in the published example.
    """
    n = len(means)
    mean = float(np.median(means))
    scale = 1.4826 * float(np.median(np.abs(means - mean)))
    if scale == 0.0:
        scale = float(np.std(means))
    for _ in range(200):
        pulled = np.clip(means, mean - CUT * scale, mean + CUT * scale)
        new = float(pulled.mean())
        wide = float(np.sqrt(((pulled - new) ** 2).mean() / _BETA))
        done = abs(new - mean) + abs(wide - scale) <= 1e-10 * max(wide, 1e-300)
        mean, scale = new, wide
        if done or scale == 0.0:
            break
    return scale**2 * n / (n - 1)


def _within(rows: Floats) -> float:
    """Give the robust variance inside rows, from differences of neighbours that share none."""
    k = rows.shape[1]
    if k == 2:
        return robust_pair_variance(rows[:, 1] - rows[:, 0])
    away = (rows - rows.mean(axis=1, keepdims=True)) * np.sqrt(k / (k - 1))
    return huber_mean_scale(away.ravel(), centre=0.0)[1] ** 2
