"""Guideline values: limits that an authority or a company set, from the user's own table."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from geochem.background.values import prepare
from geochem.elements import SYMBOLS
from geochem.errors import DataRefused, WrongCall
from geochem.model.threshold import Threshold
from geochem.units import factor

if TYPE_CHECKING:
    import numpy.typing as npt

NAME = "guideline"
_COLUMNS = ("element", "value", "unit", "source")


class Guideline:
    """A value from the user's table of guidelines.

    Not in the registry of methods: it belongs to one element. It says what is allowed or usual
    somewhere, not what is unusual here.

    Parameters
    ----------
    value : float
        The guideline. [mg/kg]
    source : str
        Who set it, and when.

    Examples
    --------
    >>> Guideline(12.0, "our own soil guideline").fit([5.0, 30.0]).value
    12.0
    """

    name = NAME
    summary = "a value from the user's table of guidelines"
    reference = "the user's table"
    needs: tuple[str, ...] = ()

    def __init__(self, value: float, source: str = "") -> None:
        self.value = value
        self.source = source

    def fit(
        self,
        values: npt.ArrayLike,
        *,
        below: npt.ArrayLike | None = None,
        above: npt.ArrayLike | None = None,
        coordinates: npt.ArrayLike | None = None,  # noqa: ARG002 - same call for all methods
        weights: npt.ArrayLike | None = None,
    ) -> Threshold:
        """Give the guideline for these samples.

        Parameters
        ----------
        values, below, above, coordinates, weights : as in every method
            Only counted.

        Returns
        -------
        Threshold
            Without interval; `reference` is the source in the table.

        Raises
        ------
        WrongCall
            If the value is not a positive number.
        """
        if not (np.isfinite(self.value) and self.value > 0):
            raise WrongCall(f"a guideline must be a positive number of mg/kg, got {self.value!r}.")
        data = prepare(values, below, above, weights)
        nan = float("nan")
        source = self.source.strip()
        warnings = () if source else ("The table does not say who set this guideline.",)
        return Threshold(
            float(self.value), nan, nan, self.name, {"value": float(self.value)}, data.n,
            data.n_below, "none", source or self.reference, warnings,
        )  # fmt: skip


def read_guidelines(path: str | Path) -> dict[str, Guideline]:
    """Read a table of guidelines.

    Parameters
    ----------
    path : str or Path
        Text table with the columns element, value, unit and, if known, source.

    Returns
    -------
    dict of str to Guideline
        By element; in mg/kg.

    Raises
    ------
    DataRefused
        With one sentence per fault: a column is missing, a symbol or unit is unknown, a value is
        no positive number, an element comes twice.
    """
    path = Path(path)
    if not path.is_file():
        raise DataRefused(f"{path.name}: the table of guidelines is not there ({path}).")
    text = path.read_text(encoding="utf-8-sig", errors="replace")
    first = text.partition("\n")[0]
    separator = max(";\t,", key=first.count)
    rows = list(csv.DictReader(text.splitlines(), delimiter=separator))
    header = {str(name).strip().lower(): name for name in (rows[0] if rows else {}) if name}
    missing = [c for c in _COLUMNS[:3] if c not in header]
    if missing:
        raise DataRefused(
            f"{path.name}: guidelines need the columns {', '.join(_COLUMNS)}; "
            f"missing: {', '.join(missing)}."
        )
    found: dict[str, Guideline] = {}
    faults: list[str] = []
    for i, row in enumerate(rows, start=2):
        cell = {c: str(row.get(header.get(c, ""), "") or "").strip() for c in _COLUMNS}
        where = f"{path.name}, row {i}: "
        if not any(cell.values()):
            continue
        if cell["element"] not in SYMBOLS:
            faults.append(f"{where}'{cell['element']}' is no element symbol.")
            continue
        if cell["element"] in found:
            faults.append(f"{where}{cell['element']} has a guideline already; keep one.")
            continue
        try:
            number = float(cell["value"].replace(",", ".") if separator != "," else cell["value"])
            value = number * factor(cell["unit"] or "mg/kg")
        except (ValueError, WrongCall) as error:
            faults.append(
                f"{where}'{cell['value']} {cell['unit']}' is no concentration ({error})."
            )
            continue
        if not (np.isfinite(value) and value > 0):
            faults.append(f"{where}a guideline must be a positive number, got '{cell['value']}'.")
            continue
        found[cell["element"]] = Guideline(float(value), cell["source"])
    if faults:
        raise DataRefused(faults)
    return found


def guideline_for(element: str, guidelines: Mapping[str, Guideline] | None) -> Guideline:
    """Give the guideline of an element.

    Raises
    ------
    WrongCall
        If there is none.
    """
    if not guidelines or element not in guidelines:
        raise WrongCall(
            f"there is no guideline for {element}; give a table in [background] guidelines with a "
            "row for it, or choose another method."
        )
    return guidelines[element]
