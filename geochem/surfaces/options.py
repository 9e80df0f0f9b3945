"""Options of surfaces: what stands under ``[surfaces] options`` in the campaign file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from geochem.errors import WrongCall
from geochem.plugins import check_options, options_of
from geochem.stats.variogram_model import SHAPES


@dataclass(frozen=True, slots=True, kw_only=True)
class SurfaceOptions:
    """How surfaces are made; the defaults suit a first run.

    Parameters
    ----------
    transform : {"log", "normal_scores", "none"}
        Scale on which elements are interpolated.
    show : {"median", "mean"}
        What the surface shows: the local median, or the mean, which trusts the upper tail.
    kind : {"ordinary", "simple", "universal"}
        Of kriging.
    drift_order : int
        Of universal kriging: 1 a plane, 2 a bowl.
    estimator : {"matheron", "cressie_hawkins", "dowd"}
        Of the variogram: classical, or robust.
    models : list of str
        Shapes tried for the variogram.
    structures : int
        Nested structures of the variogram, 1 or 2.
    anisotropy : bool
        Look for a direction in which the ground resembles itself farther.
    nugget_share : float, optional
        Fixes the nugget as a share of the variance of the samples.
    max_range_m : float, optional
        Largest range parameter of the variogram. [m]
    neighbours, min_neighbours : int
        Samples of one estimate, at most and at least.
    max_distance_m : float, optional
        Samples farther away are not used. [m]
    sectors : int
        Equal sectors around a cell that share the neighbours.
    block : bool
        Estimate means of cells instead of values at their centres.
    by : str
        Layer whose polygons part the ground: variogram and neighbours of one unit only.
    chance : {"normal", "indicator"}
        How the chance of exceeding is found: normal errors on the scale of `transform`, or kriged
        indicators.
    simulations : int
        Conditional simulations per element; 0 for none.
    helpers : list of str
        Elements measured everywhere that help an element measured at few samples: regression on
        them, and kriging of what it leaves.
    log_ratios : list of str
        Elements interpolated together as isometric log-ratios, with the rest of the sample as
        last part.
    cover : {"mark", "mask", "ignore"}
        What happens to cells on transported cover (layer ``regolith``).
    """

    transform: Literal["log", "normal_scores", "none"] = "log"
    show: Literal["median", "mean"] = "median"
    kind: Literal["ordinary", "simple", "universal"] = "ordinary"
    drift_order: int = 1
    estimator: Literal["matheron", "cressie_hawkins", "dowd"] = "matheron"
    models: tuple[str, ...] = ("spherical", "exponential")
    structures: int = 1
    anisotropy: bool = False
    nugget_share: float | None = None
    max_range_m: float | None = None
    neighbours: int = 16
    min_neighbours: int = 1
    max_distance_m: float | None = None
    sectors: int = 1
    block: bool = False
    by: str = ""
    chance: Literal["normal", "indicator"] = "normal"
    simulations: int = 0
    helpers: tuple[str, ...] = ()
    log_ratios: tuple[str, ...] = ()
    cover: Literal["mark", "mask", "ignore"] = "mark"

    def __post_init__(self) -> None:
        """Refuse numbers that make no sense together."""
        if self.structures not in (1, 2):
            raise WrongCall(f"[surfaces] options: structures is {self.structures}; 1 or 2.")
        unknown = sorted(set(self.models) - set(SHAPES))
        if unknown or not self.models:
            raise WrongCall(
                f"[surfaces] options: models {', '.join(unknown) or 'none'}; allowed: "
                f"{', '.join(SHAPES)}."
            )
        if self.drift_order not in (1, 2):
            raise WrongCall(f"[surfaces] options: drift_order is {self.drift_order}; 1 or 2.")
        if self.neighbours < 1 or self.sectors < 1 or self.simulations < 0:
            raise WrongCall(
                "[surfaces] options: neighbours and sectors are at least 1, simulations not negative."
            )
        if self.nugget_share is not None and not 0 <= self.nugget_share <= 1:
            raise WrongCall(
                f"[surfaces] options: nugget_share is {self.nugget_share}; it lies in 0-1."
            )


def surface_options(given: Mapping[str, Any]) -> SurfaceOptions:
    """Make the options from a table of the campaign file.

    Parameters
    ----------
    given : mapping
        As it stands there.

    Returns
    -------
    SurfaceOptions
        Checked, defaults filled in.

    Raises
    ------
    WrongCall
        With the nearest name when an option is not known, or of the wrong kind.
    """
    return SurfaceOptions(**check_options("surfaces", options_of(SurfaceOptions), given))
