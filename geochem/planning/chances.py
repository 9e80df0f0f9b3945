"""What a layout finds and what it costs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall
from geochem.stats.detection_chance import Decay, detection_probability
from geochem.stats.hit_probability import (
    Pattern,
    hit_probability,
    simulated_hit_probability,
    spacing_for_probability,
)

if TYPE_CHECKING:
    import pandas as pd

    from geochem.planning.ground import Ground
    from geochem.planning.layouts import Layout

#: layouts whose points are a lattice: the chance is exact
LATTICES: dict[str, Pattern] = {
    "square": "rectangular", "rectangular": "rectangular", "staggered": "staggered",
}  # fmt: skip

_BODIES = 20_000


@dataclass(frozen=True, slots=True)
class Body:
    """The smallest body, or halo, that the survey must not miss.

    Parameters
    ----------
    length, width : float
        On the surface. [m]
    azimuth : float, optional
        Of the length, from grid north; unknown when not given. [degrees]
    """

    length: float
    width: float
    azimuth: float | None = None


@dataclass(frozen=True, slots=True)
class Halo:
    """How well the body shows in the samples.

    Parameters
    ----------
    contrast : float
        Median in its middle over background median. [-]
    scatter : float
        Standard deviation of log10 of the background. [-]
    error_pct : float
        Relative standard uncertainty of a value. [%]
    k : float
        Threshold, in standard deviations above the background's middle.
    decay : {"exponential", "linear", "none"}
        How the excess of log10 fades toward the edge.
    least : int
        Samples that must exceed.
    """

    contrast: float
    scatter: float = 0.2
    error_pct: float = 10.0
    k: float = 2.0
    decay: Decay = "exponential"
    least: int = 1


@dataclass(frozen=True, slots=True)
class Chance:
    """How surely a layout meets and sees a body.

    Parameters
    ----------
    hit : float
        Probability that a point lies inside. [-]
    how : str
        Exact, mean of exact values over all directions, or simulated.
    hit_on_ground, hit_on_ground_se : float
        Simulated on the ground as it is, edges and keep-out counted: bodies whose middle lies on
        the ground.
    seen : float
        Probability that enough samples inside exceed the threshold; NaN when not asked for or the
        layout is no grid.
    """

    hit: float
    how: str
    hit_on_ground: float
    hit_on_ground_se: float
    seen: float


def layout_chance(
    layout: Layout, ground: Ground, body: Body, halo: Halo | None = None, *, seed: int = 1
) -> Chance:
    """Say how surely a layout meets a body, and sees its halo.

    Parameters
    ----------
    layout : Layout
        From `layouts.lay_out`.
    ground : Ground
        It stands on.
    body : Body
        To be met.
    halo : Halo, optional
        To be seen.
    seed : int, default 1
        Of the simulation.

    Returns
    -------
    Chance
        Probabilities.
    """
    _check(body)
    a, b = body.length / 2, body.width / 2
    on_ground, error = simulated_hit_probability(
        layout.points[["easting", "northing"]].to_numpy(), ground.scattered(_BODIES, seed=seed),
        a, b, azimuth=body.azimuth, seed=seed,
    )  # fmt: skip
    pattern = LATTICES.get(layout.kind)
    if pattern is None:
        return Chance(on_ground, "simulated", on_ground, error, math.nan)
    angle = None if body.azimuth is None else layout.grid_azimuth - body.azimuth
    hit = hit_probability(
        a, b, line_spacing=layout.line_spacing, station_spacing=layout.station_spacing,
        pattern=pattern, angle=angle,
    )  # fmt: skip
    how = "exact" if angle is not None or a == b else "exact, mean over all directions"
    seen = math.nan
    if halo is not None:
        seen = _seen(body, halo, layout.line_spacing, layout.station_spacing, pattern, angle)
    return Chance(hit, how, on_ground, error, seen)


def _seen(
    body: Body, halo: Halo, line: float, station: float, pattern: Pattern, angle: float | None
) -> float:
    return detection_probability(
        body.length / 2, body.width / 2, line_spacing=line, station_spacing=station,
        contrast=halo.contrast, scatter=halo.scatter,
        error=halo.error_pct / 100.0 / math.log(10.0), k=halo.k, decay=halo.decay,
        least=halo.least, pattern=pattern, angle=angle,
    )  # fmt: skip


def spacing_for(
    body: Body,
    probability: float,
    *,
    kind: str = "square",
    ratio: float = 1.0,
    grid_azimuth: float = 0.0,
) -> tuple[float, float]:
    """Find the widest grid that meets a body with a stated probability, rounded down to metres.

    Parameters
    ----------
    body : Body
        To be met.
    probability : float
        Wanted.
    kind : str
        A layout; those that are no lattice are reckoned as a rectangular grid.
    ratio : float, default 1
        Line over station spacing.
    grid_azimuth : float, default 0
        Of the lines, from grid north; counts when the body's direction is known. [degrees]

    Returns
    -------
    line_spacing, station_spacing : float
        Whole metres (tenths below 10 m).
    """
    _check(body)
    angle = None if body.azimuth is None else grid_azimuth - body.azimuth
    exact = spacing_for_probability(
        probability, body.length / 2, body.width / 2, ratio=1.0 if kind == "square" else ratio,
        pattern=LATTICES.get(kind, "rectangular"), angle=angle,
    )  # fmt: skip
    line, station = (math.floor(s) if s >= 10 else math.floor(10 * s) / 10 for s in exact)
    return float(line), float(station)


def trade_off(
    area_km2: float,
    body: Body,
    *,
    kind: str,
    line_spacing: float,
    station_spacing: float,
    grid_azimuth: float = 0.0,
    halo: Halo | None = None,
    cost: dict[str, float] | None = None,
    per_day: int = 40,
) -> pd.DataFrame:
    """Set chance against cost for grids wider and narrower than the one chosen.

    Parameters
    ----------
    area_km2 : float
        Allowed ground. [km2]
    body : Body
        To be met.
    kind : str
        A layout; those that are no lattice are reckoned as a rectangular grid.
    line_spacing, station_spacing : float
        Of the chosen layout. [m]
    grid_azimuth : float
        Of the lines. [degrees]
    halo : Halo, optional
        To be seen.
    cost : mapping, optional
        ``sample, assay, day`` in any currency; missing ones count nothing.
    per_day : int, default 40
        Points that a crew takes in a day.

    Returns
    -------
    pandas.DataFrame
        ``line_spacing, station_spacing, points, days, cost, hit, seen, chosen``, widest first.
    """
    import pandas as pd

    _check(body)
    prices = {"sample": 0.0, "assay": 0.0, "day": 0.0, **(cost or {})}
    pattern = LATTICES.get(kind, "rectangular")
    angle = None if body.azimuth is None else grid_azimuth - body.azimuth
    rows = []
    for factor in sorted({*np.round(np.geomspace(0.4, 2.5, 9), 2), 1.0}, reverse=True):
        line, station = factor * line_spacing, factor * station_spacing
        points = max(1, round(area_km2 * 1e6 / (line * station)))
        days = math.ceil(points / per_day)
        rows.append(
            {
                "line_spacing": round(line, 1),
                "station_spacing": round(station, 1),
                "points": points,
                "days": days,
                "cost": points * (prices["sample"] + prices["assay"]) + days * prices["day"],
                "hit": hit_probability(
                    body.length / 2, body.width / 2, line_spacing=line, station_spacing=station,
                    pattern=pattern, angle=angle,
                ),
                "seen": math.nan
                if halo is None
                else _seen(body, halo, line, station, pattern, angle),
                "chosen": factor == 1.0,
            }
        )  # fmt: skip
    return pd.DataFrame(rows)


def _check(body: Body) -> None:
    if not (body.length >= body.width > 0):
        raise WrongCall(
            "the body's length and width must be above zero and the length the larger one; got "
            f"length = {body.length:g}, width = {body.width:g} m."
        )
