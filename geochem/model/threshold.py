"""`Threshold`: the value that separates background from anomaly, and how it was found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt


@dataclass(frozen=True, slots=True, eq=False)
class Threshold:
    """A threshold in the unit of its input.

    Parameters
    ----------
    value : float
        The threshold; NaN when the method could not give one (`warnings` says why).
    low, high : float
        90 % interval of `value`, NaN when not estimated.
    method : str
        Name of the method, as the registry knows it.
    parameters : mapping
        Options it was fitted with.
    n_used : int
        Values that went in, those below detection included.
    n_below : int
        How many of them were below detection.
    transform : {"none", "log10"}
        Scale on which the method worked.
    reference : str
        Publication, or ``"common practice, no source"``.
    warnings : tuple of str
        Sentences on assumptions that do not hold.
    local : ndarray, shape (n_samples,), optional
        Threshold per sample, where the method has one.
    details : mapping
        What a figure needs (fitted populations, plotting positions, location and scale, ...).
    """

    value: float
    low: float
    high: float
    method: str
    parameters: Mapping[str, Any]
    n_used: int
    n_below: int = 0
    transform: str = "none"
    reference: str = ""
    warnings: tuple[str, ...] = ()
    local: npt.NDArray[np.float64] | None = None
    details: Mapping[str, Any] = field(default_factory=dict)

    def __repr__(self) -> str:
        options = ", ".join(f"{k}={v!r}" for k, v in self.parameters.items())
        lines = [
            f"Threshold {self.value:.4g} (90 % interval {self.low:.4g} to {self.high:.4g})",
            f"  method     {self.method}({options}) on {self.transform} scale",
            f"  used       {self.n_used} values, {self.n_below} below detection",
        ]
        if self.reference:
            lines.append(f"  reference  {self.reference}")
        lines += [f"  warning    {w}" for w in self.warnings]
        return "\n".join(lines)
