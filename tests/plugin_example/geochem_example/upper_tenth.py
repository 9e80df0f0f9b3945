"""The value that a stated share of the samples exceeds."""

from typing import Annotated

import numpy as np

from geochem.model.threshold import Threshold
from geochem.plugins import Bounds


class UpperTenth:
    """Take the value that a stated share of the samples exceeds.

    Parameters
    ----------
    share : float, default 0.1
        Share above the threshold. [-]
    """

    name = "upper_tenth"
    summary = "value exceeded by a stated share of the samples"
    reference = "common practice, no source"
    needs = ()

    def __init__(self, share: Annotated[float, Bounds(0.001, 0.5)] = 0.1) -> None:
        self.share = share

    def fit(self, values, *, below=None, above=None, coordinates=None, weights=None) -> Threshold:
        values = np.asarray(values, dtype=float)
        known = values[np.isfinite(values)]
        value = float(np.quantile(known, 1 - self.share)) if len(known) else float("nan")
        return Threshold(
            value,
            float("nan"),
            float("nan"),
            self.name,
            {"share": self.share},
            len(known),
            reference=self.reference,
            warnings=() if len(known) else ("no value: no threshold",),
        )
