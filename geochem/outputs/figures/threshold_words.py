"""Names of threshold methods as legends say them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from geochem.outputs.wording import figure

if TYPE_CHECKING:
    from geochem.model.threshold import Threshold


def method_words(record: Threshold) -> str:
    """Name the method of a threshold as a geologist does."""
    k = record.parameters.get("k")
    if record.method == "median_mad" and k is not None:
        return f"median + {figure(k)} MAD" + (
            " of log values" if record.transform == "log10" else ""
        )
    if record.method == "chosen":
        return "chosen by the user"
    name = record.method.replace("_", " ")
    return name if k is None else f"{name}, k = {figure(k)}"
