"""A threshold that the user chose, with the reason: it stands as given, whatever the values say."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.background.values import prepare
from geochem.errors import WrongCall
from geochem.model.threshold import Threshold

if TYPE_CHECKING:
    import numpy.typing as npt

NAME = "chosen"


class Chosen:
    """A value set by a person.

    Not in the registry of methods: it belongs to one element and comes from the campaign file,
    ``[background.element.Cu] value = 120, reason = "..."``.

    Parameters
    ----------
    value : float
        The threshold. [mg/kg]
    reason : str
        Why; recorded beside it.

    Examples
    --------
    >>> Chosen(120, "limit of the orientation survey").fit([80.0, 150.0]).value
    120.0
    """

    name = NAME
    summary = "a value set by the user, with the reason"
    reference = "chosen by the user"
    needs: tuple[str, ...] = ()

    def __init__(self, value: float, reason: str = "") -> None:
        self.value = value
        self.reason = reason

    def fit(
        self,
        values: npt.ArrayLike,
        *,
        below: npt.ArrayLike | None = None,
        above: npt.ArrayLike | None = None,
        coordinates: npt.ArrayLike | None = None,  # noqa: ARG002 - same call for all methods
        weights: npt.ArrayLike | None = None,
    ) -> Threshold:
        """Give the chosen value for these samples.

        Parameters
        ----------
        values, below, above, coordinates, weights : as in every method
            Only counted.

        Returns
        -------
        Threshold
            Without interval: a choice has none.

        Raises
        ------
        WrongCall
            If the value is not a positive number.
        """
        if not (np.isfinite(self.value) and self.value > 0):
            raise WrongCall(
                f"a chosen threshold must be a positive number of mg/kg, got {self.value!r}."
            )
        data = prepare(values, below, above, weights)
        nan = float("nan")
        why = self.reason.strip() or "no reason given"
        return Threshold(
            float(self.value), nan, nan, self.name, {"value": float(self.value)}, data.n,
            data.n_below, "none", self.reference,
            (f"Chosen by the user: {why.rstrip('.')}.",), details={"reason": self.reason.strip()},
        )  # fmt: skip
