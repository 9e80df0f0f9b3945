"""Nested analysis of variance: how much of the spread is ground, sampling and analysis."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from geochem.errors import WrongCall


@dataclass(frozen=True, slots=True)
class NestedVariance:
    """Variance components of a balanced three-level design.

    Parameters
    ----------
    sites, sampling, analysis : float
        Variance components; a negative estimate is set to zero. [unit of the values, squared]
    sums, freedoms, means : tuple of float
        Sums of squares, degrees of freedom and mean squares in the same order.
    f_sites, p_sites, f_sampling, p_sampling : float
        F ratios and their upper tail.
    """

    sites: float
    sampling: float
    analysis: float
    sums: tuple[float, float, float]
    freedoms: tuple[int, int, int]
    means: tuple[float, float, float]
    f_sites: float
    p_sites: float
    f_sampling: float
    p_sampling: float

    @property
    def shares_pct(self) -> tuple[float, float, float]:
        """Shares of the total variance: sites, sampling, analysis. [%]."""
        total = self.sites + self.sampling + self.analysis
        if total == 0:
            return (float("nan"),) * 3
        return (
            100 * self.sites / total,
            100 * self.sampling / total,
            100 * self.analysis / total,
        )


def nested_anova(values: npt.ArrayLike) -> NestedVariance:
    """Split variance between sites, between duplicates of a site and between their analyses.

    Use logarithms of concentrations unless their errors do not grow with them.

    Parameters
    ----------
    values : array_like, shape (n_sites, n_samples, n_analyses)
        Balanced: every site has the same number of samples (at least 2), every sample the same
        number of analyses (at least 2).

    Returns
    -------
    NestedVariance
        Components, shares and F tests.

    Raises
    ------
    WrongCall
        If the shape is wrong or a value is missing.

    References
    ----------
    .. [1] Garrett 1969, Economic Geology 64:568-569; Ramsey, Thompson, Hale 1992, Journal of
       Geochemical Exploration 44:23-36 (sampling and analysis together should stay under 20 % of
       the total, analysis under 4 %; from memory).
    """
    from scipy.stats import f

    x = np.asarray(values, dtype=float)
    if x.ndim != 3 or min(x.shape) < 2:
        raise WrongCall(
            f"values must have the shape (sites, samples, analyses) with at least 2 of each, "
            f"got {x.shape}."
        )
    if not np.isfinite(x).all():
        raise WrongCall("a balanced design has no gaps; leave out sites that lack a value.")
    a, b, c = x.shape
    by_sample = x.mean(axis=2)
    by_site = by_sample.mean(axis=1)
    sums = (
        float(b * c * ((by_site - x.mean()) ** 2).sum()),
        float(c * ((by_sample - by_site[:, None]) ** 2).sum()),
        float(((x - by_sample[:, :, None]) ** 2).sum()),
    )
    freedoms = (a - 1, a * (b - 1), a * b * (c - 1))
    site, sample, analysis = (s / d for s, d in zip(sums, freedoms, strict=True))
    with np.errstate(divide="ignore", invalid="ignore"):
        f_site = float(np.divide(site, sample))
        f_sample = float(np.divide(sample, analysis))
    return NestedVariance(
        max(0.0, (site - sample) / (b * c)), max(0.0, (sample - analysis) / c), analysis,
        sums, freedoms, (site, sample, analysis),
        f_site, float(f.sf(f_site, freedoms[0], freedoms[1])),
        f_sample, float(f.sf(f_sample, freedoms[1], freedoms[2])),
    )  # fmt: skip
