"""The record of one column of values, and the names of elements as users state them."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from geochem import units
from geochem.elements import OXIDES, SYMBOLS, oxide_factor
from geochem.errors import unknown
from geochem.model.finding import Finding
from geochem.read.headers import OTHERS, SPECIES, understand_header
from geochem.read.values import Parsed


@dataclass(slots=True, eq=False)
class AnalyteColumn:
    """One column of values.

    Parameters
    ----------
    index : int
        Of the column.
    element : str
        Symbol, species or quantity.
    unit : str
        As delivered or assumed; key of `units.FACTORS`, or of its own for `is_other`.
    factor : float
        To mg/kg of the element; 1 for `is_other`.
    is_other : bool
        LOI, pH, moisture, balance: keeps its unit.
    method : str, optional
        From the header or a row of methods.
    assumed : bool
        Whether the unit was assumed.
    limit_low, limit_high : float
        Of the table's own limit rows, in mg/kg (or the unit of its own); NaN if none.
    parsed : Parsed, optional
        Its cells, understood.
    error : int, optional
        Column of its errors.
    error_factor : float
        To mg/kg.
    error_sigma : float, optional
        How many sigma the errors are; None when that is not stated.
    error_relative : bool
        Errors are shares of the value.
    limit : int, optional
        Column of limits per row.
    limit_factor : float
        To mg/kg.
    qualifier, below, above : int, optional
        Columns of marks and of flags.
    oxide : str, optional
        As which it was given.
    factor_rows, unit_rows : ndarray, shape (n_rows,), optional
        Factor and unit of each row, where they differ.
    """

    index: int
    element: str
    unit: str
    factor: float
    is_other: bool = False
    method: str | None = None
    assumed: bool = False
    limit_low: float = float("nan")
    limit_high: float = float("nan")
    parsed: Parsed | None = None
    error: int | None = None
    error_factor: float = 1.0
    error_sigma: float | None = None
    error_relative: bool = False
    limit: int | None = None
    limit_factor: float = 1.0
    qualifier: int | None = None
    below: int | None = None
    above: int | None = None
    oxide: str | None = None
    factor_rows: npt.NDArray[np.float64] | None = None
    unit_rows: npt.NDArray[np.object_] | None = None


@dataclass(slots=True, eq=False)
class Found:
    """What `find_analytes` found."""

    analytes: list[AnalyteColumn] = field(default_factory=list)
    attached: dict[int, str] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)


def element_factor(unit: str, oxide: str | None) -> float:
    """Give the factor from a delivered unit to mg/kg of the element."""
    return units.factor(unit) * (oxide_factor(oxide) if oxide else 1.0)


def name_of_element(text: str) -> tuple[str, str | None]:
    """Read the name of an element that a user or a long table states: ``(element, oxide)``.

    Raises
    ------
    WrongCall
        If it is none.
    """
    word = text.strip()
    if word in SYMBOLS:
        return word, None
    if word in OXIDES:
        return OXIDES[word], word
    if word in SPECIES.values() or word in {name for name, _ in OTHERS.values()}:
        return word, None
    meaning = understand_header(word)
    if meaning is not None and meaning.kind in ("value", "other"):
        return meaning.element, meaning.oxide
    raise unknown("element", word, SYMBOLS)
