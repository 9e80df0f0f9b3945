"""`Threshold`: the value that separates background from anomaly, and how it was found.

`Comparison`: what all methods say of one element.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt
    import pandas as pd


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


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """Thresholds of one element by every method, side by side.

    Parameters
    ----------
    element, medium, domain : str
        What was compared.
    table : pandas.DataFrame
        Contract `tables.COMPARISON`, one row per method and variant, as they came.
    records : mapping of str to Threshold
        By the `label` of the table.
    agreement : float
        Mean over pairs of valid methods of the share of samples flagged by both among those
        flagged by either; 1 when all flag the same. [-]
    spread : float
        Highest by lowest value of the valid methods. [-]
    recommended : str
        Label of the recommended row; empty when none can be.
    reason : str
        Why, in one sentence.
    chosen, chosen_reason : str
        Label of the user's choice and why; empty when none was made.
    values, below, weights : ndarray, shape (n_samples,)
        What was compared, sorted; mg/kg.
    unit : str
        Of values and thresholds.
    """

    element: str
    medium: str
    domain: str
    table: pd.DataFrame
    records: Mapping[str, Threshold]
    agreement: float
    spread: float
    recommended: str
    reason: str
    chosen: str
    chosen_reason: str
    values: npt.NDArray[np.float64]
    below: npt.NDArray[np.bool_]
    weights: npt.NDArray[np.float64]
    unit: str = "mg/kg"

    def __repr__(self) -> str:
        columns = ["label", "value", "low", "high", "n", "n_above", "share", "scale"]
        lines = [
            f"{self.element}: thresholds by {len(self.table)} methods [{self.unit}]",
            self.table[columns].to_string(index=False, float_format=lambda v: f"{v:.4g}"),
            f"agreement    {self.agreement:.2f} of the flagged samples; highest by lowest value "
            f"{self.spread:.2g}",
        ]
        if self.recommended:
            lines.append(f"recommended  {self.recommended}: {self.reason}")
        if self.chosen:
            lines.append(f"chosen       {self.chosen}: {self.chosen_reason}")
        return "\n".join(lines)
