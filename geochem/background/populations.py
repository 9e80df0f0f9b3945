"""What a fitted mixture means for a threshold: background, edges, mixed field, plot positions."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.stats.mixture import background_population, crossing
from geochem.stats.probability_positions import probability_positions
from geochem.stats.robust import weighted_quantile

if TYPE_CHECKING:
    from geochem.background.values import Prepared
    from geochem.stats.mixture import MixtureFit


def describe_populations(data: Prepared, fit: MixtureFit) -> dict[str, Any]:
    """Give the details that figures and tables need of a mixture.

    Parameters
    ----------
    data : Prepared
        Values on the scale of the fit.
    fit : MixtureFit
        Populations, ordered by mean.

    Returns
    -------
    dict
        ``location, scale`` of the background population; ``populations`` (weight, mean, sd each,
        scale of the fit); ``background`` (its place); ``lower_edge`` (1st percentile of the next
        higher population), ``upper_edge`` (99th of the background), ``mixed_field`` (between
        them) and ``intersection`` (equally likely), in the unit of the values, NaN when there is
        no higher population; plot positions ``log10, probability, normal_score, below``.
    """
    nan = float("nan")
    place = background_population(fit)
    upper = place + 1
    edge = data.back(float(fit.mean[place] + 2.326347874 * fit.sd[place]))
    lower, meeting = nan, nan
    if upper < fit.k:
        lower = data.back(float(fit.mean[upper] - 2.326347874 * fit.sd[upper]))
        meeting = data.back(crossing(fit, place, upper))
    points = probability_positions(data.x, below=data.below, weights=data.weights)
    return {
        "location": float(fit.mean[place]),
        "scale": float(fit.sd[place]),
        "populations": [
            {"weight": float(p), "mean": float(m), "sd": float(s)}
            for p, m, s in zip(fit.weight, fit.mean, fit.sd, strict=True)
        ],
        "background": place,
        "lower_edge": lower,
        "upper_edge": edge,
        "mixed_field": (min(lower, edge), max(lower, edge)) if upper < fit.k else (nan, nan),
        "intersection": meeting,
        "log10": points.values,
        "probability": points.probability,
        "normal_score": points.normal_score,
        "below": points.values < -float("inf"),
        "bic": dict(fit.bic_of),
        "interval": data.how("large-sample, from the scores of the values"),
    }


def likeness(data: Prepared) -> float:
    """Say how much wider intervals of populations are because neighbours are alike.

    Parameters
    ----------
    data : Prepared
        Values on the scale of the fit; a limit stands for its value.

    Returns
    -------
    float
        Quadratic mean of the factors for the shares above the three quartiles; one without
        coordinates. [-]
    """
    if data.ground is None:
        return 1.0
    cuts = weighted_quantile(data.x, [0.25, 0.5, 0.75], data.weights)
    factors = [data.wider(data.x > c) for c in cuts]
    return float(np.sqrt(np.mean(np.square(factors))))


def population_warnings(fit: MixtureFit) -> list[str]:
    """Say when the background population is in doubt.

    Parameters
    ----------
    fit : MixtureFit
        Populations, ordered by mean.

    Returns
    -------
    list of str
        Sentences.
    """
    place = background_population(fit)
    large = [i for i in range(fit.k) if i != place and fit.weight[i] >= 0.3]
    if large:
        shares = ", ".join(f"{100 * fit.weight[i]:.0f} %" for i in sorted([place, *large]))
        return [
            f"Populations hold {shares} of the values: the background may be of two kinds; "
            "divide it by rock unit or the like."
        ]
    return []
