"""Visible criteria of a target, each scaled to 0-1 by a stated rule.

What lives here: one function that turns the facts of an outline into rows
``criterion, value, scaled, spread, statement``. What does not: weights and ranks
(`weighted_criteria`). `spread` is the standard deviation of `scaled` in the rank simulation.
To add a criterion: a row here, its default weight in `WeightedCriteria.rank`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geochem.targets.surroundings import FAR_DRILLED, FAR_WORKINGS, Surroundings
from geochem.targets.zoning import Zoning

#: usual size of a halo of a type that is not known, least and most [km2]
ANY_SIZE = (0.1, 1.5)
#: slope up to which soil stays where it was made, and from which it says little of what is below
#: [degrees]; distance from a road or track that is near, and that is far [m]. Common practice.
GENTLE, STEEP = 10.0, 35.0
NEAR_ROAD, FAR_ROAD = 500.0, 5000.0


@dataclass(frozen=True, slots=True)
class Criterion:
    """One criterion of one target.

    Parameters
    ----------
    criterion : str
        Name; also the name of its weight.
    value : float
        As measured; NaN when unknown.
    scaled : float
        0-1; NaN when it cannot be judged at all, then it has no part in the score.
    spread : float
        Uncertainty of `scaled`. [-]
    statement : str
        The rule and the value in a sentence.
    """

    criterion: str
    value: float
    scaled: float
    spread: float
    statement: str


def _ramp(value: float, low: float, high: float) -> float:
    return float(np.clip((value - low) / (high - low), 0.0, 1.0))


def judge(
    *,
    strength: float,
    noise: float,
    anomalous_share: float,
    samples: int,
    elements: int,
    sent: int,
    confirmed: int,
    area_km2: float,
    n_open: int,
    around: Surroundings,
    margin: float = float("nan"),
    rival: str = "",
    zoning: Zoning | None = None,
    size_km2: tuple[float, float] | None = None,
) -> list[Criterion]:
    """Judge one target.

    Parameters
    ----------
    strength, noise : float
        Highest filtered score and its standard deviation. [-]
    anomalous_share : float
        Share of samples with an association score of at least one. [-]
    samples, elements : int
        Samples inside; elements beyond threshold.
    sent, confirmed : int
        Laboratory values inside; those beyond background.
    area_km2 : float
        Of the outline. [km2]
    n_open : int
        Sides that reach the edge of sampling.
    around : Surroundings
        Layers, rock chips, cover, quality.
    margin : float
        How much better a rival explains the summit than any association (logarithm); NaN unknown.
    rival : str
        The rival in words.
    zoning : Zoning, optional
        Which elements lie in the order of the type.
    size_km2 : (float, float), optional
        Usual size of the type sought. [km2]

    Returns
    -------
    list of Criterion
        Always the same criteria in the same order.
    """
    nan = float("nan")
    out = [
        Criterion(
            "strength",
            strength,
            _ramp(strength, 2.0, 10.0),
            # what barren ground itself adds or hides there is one more standard deviation
            float(np.hypot(noise, 1.0)) / 8.0,
            f"The filtered association score reaches {strength:.1f} standard deviations of barren "
            "ground (0 at 2, 1 at 10).",
        ),
        Criterion(
            "coherence",
            anomalous_share,
            _ramp(anomalous_share, 0.2, 0.9),
            float(np.sqrt(max(anomalous_share * (1 - anomalous_share), 0.02) / samples)) / 0.7,
            f"{100 * anomalous_share:.0f} % of the {samples} samples have an association score of "
            "at least one (0 at 20 %, 1 at 90 %).",
        ),
        Criterion(
            "support",
            float(elements),
            _ramp(elements, 0.0, 4.0),
            0.08,
            f"{elements} elements lie beyond k = 2 (1 from four on).",
        ),
    ]
    if sent:
        share = confirmed / sent
        lab = Criterion(
            "laboratory",
            share,
            _ramp(share, 0.0, 0.5),
            float(np.sqrt(max(share * (1 - share), 0.05) / sent)),
            f"{confirmed} of {sent} samples with laboratory values lie beyond background "
            "(1 from half on).",
        )
    else:
        lab = Criterion(
            "laboratory", nan, 0.4, 0.2, "No laboratory value inside: counted as 0.4, not known."
        )
    out.append(lab)
    out.append(_zoning(zoning))
    least, most = size_km2 or ANY_SIZE
    away = max(np.log10(least / area_km2), np.log10(area_km2 / most), 0.0) if area_km2 > 0 else 1.0
    sought = "the type" if size_km2 else "any type"
    out.append(
        Criterion(
            "size",
            area_km2,
            _ramp(1.0 - away, 0.0, 1.0),
            0.05,
            f"{area_km2:.2f} km2 (usual for {sought}: {least:g} to {most:g} km2, there 1; 0 ten "
            "times beyond).",
        )
    )
    known = around.quality is not None
    out.append(
        Criterion(
            "quality",
            around.quality if around.quality is not None else nan,
            around.quality if around.quality is not None else 0.5,
            0.1 if known else 0.2,
            f"Batches of its elements: mean verdict {around.quality:.2f} (pass 1, warn 0.5, "
            "fail 0)."
            if around.quality is not None
            else "Quality of its batches was not checked: counted as 0.5.",
        )
    )
    out.append(
        Criterion(
            "closed",
            float(n_open),
            _ramp(4.0 - n_open, 0.0, 4.0),
            0.05,
            f"{n_open} sides reach the edge of sampling (1 when none).",
        )
    )
    chips = (
        Criterion(
            "rock_chips",
            float(around.chips_high),
            1.0 if around.chips_high else 0.2,
            0.15,
            f"{around.chips_high} of {around.chips} rock chips are far above the crust "
            "(1 when any, 0.2 when none).",
        )
        if around.chips
        else Criterion("rock_chips", nan, 0.4, 0.15, "No rock chip inside: counted as 0.4.")
    )
    out.append(chips)
    out.append(_distance("drilled", around.drilled, FAR_DRILLED, "drilled hole"))
    out.append(
        Criterion("cover", nan, nan, 0.0, "Regolith is not known.")
        if around.transported is None
        else Criterion(
            "cover",
            around.transported,
            1.0 - around.transported,
            0.1,
            f"{100 * around.transported:.0f} % of the samples lie on transported cover.",
        )
    )
    known_rival = bool(np.isfinite(margin))
    out.append(
        Criterion(
            "explanation",
            -margin,
            _ramp(-margin, -2.0, 4.0) if known_rival else nan,
            # a log-likelihood ratio has about twice its mean as variance
            float(np.sqrt(2.0 * max(abs(margin), 0.5))) / 6.0 if known_rival else 0.0,
            f"The association explains the ground exp({-margin:.1f}) times as well as {rival} "
            "(0 at exp(-2), 1 from exp(4) on)."
            if known_rival
            else "What else may explain it is not known.",
        )
    )
    out.append(_distance("workings", around.workings, FAR_WORKINGS, "old working"))
    out.append(_slope(around))
    out.append(
        Criterion(
            "keep_out",
            around.keep_out,
            1.0 - around.keep_out,
            0.0,
            f"{100 * around.keep_out:.0f} % of the outline lies inside keep-out.",
        )
    )
    out.append(_access(around))
    return out


def _zoning(zoning: Zoning | None) -> Criterion:
    if zoning is None or zoning.judged < 2:
        return Criterion(
            "zoning", float("nan"), float("nan"), 0.0,
            "Too few elements are known in and around it to judge their order.",
        )  # fmt: skip
    share = zoning.share
    return Criterion(
        "zoning", share, share,
        float(np.sqrt(max(share * (1 - share), 0.05) / zoning.judged)),
        f"{round(share * zoning.judged)} of {zoning.judged} elements lie as in a halo of its type "
        f"({zoning}; 1 when all).",
    )  # fmt: skip


def _slope(around: Surroundings) -> Criterion:
    if around.slope is None:
        return Criterion("slope", float("nan"), float("nan"), 0.0, "The slope is not known.")
    return Criterion(
        "slope", around.slope, 1.0 - _ramp(around.slope, GENTLE, STEEP), 0.1,
        f"The ground slopes {around.slope:.0f} degrees toward {around.downhill:.0f} (1 up to "
        f"{GENTLE:g}, 0 from {STEEP:g} on: soil creeps downslope).",
    )  # fmt: skip


def _access(around: Surroundings) -> Criterion:
    if around.road is None:
        return Criterion(
            "access", float("nan"), float("nan"), 0.0, "No layer tells of roads or tracks."
        )
    return Criterion(
        "access", around.road, 1.0 - _ramp(around.road, NEAR_ROAD, FAR_ROAD), 0.05,
        f"The nearest road or track is {around.road:.0f} m away (1 up to {NEAR_ROAD:.0f} m, 0 from "
        f"{FAR_ROAD:.0f} m on).",
    )  # fmt: skip


def _distance(name: str, metres: float | None, far: float, what: str) -> Criterion:
    if metres is None:
        return Criterion(name, float("nan"), float("nan"), 0.0, f"No layer tells of any {what}.")
    return Criterion(
        name,
        metres,
        _ramp(metres, 0.0, far),
        0.05,
        f"The nearest {what} is {metres:.0f} m away (0 inside, 1 from {far:.0f} m on).",
    )
