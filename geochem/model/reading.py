"""What readers return: tables with their analytes, the dialect that was found, and findings."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from geochem.model.finding import Finding

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True)
class Dialect:
    """How a file was understood.

    Parameters
    ----------
    encoding, separator, decimal : str
        Separator is empty for a workbook.
    sheet : str, optional
        Of a workbook.
    header_row : int
        Row of the (last) header, as a spreadsheet shows it.
    thousands : str
        Thousands separator that was removed, or empty.
    """

    encoding: str
    separator: str
    decimal: str
    sheet: str | None = None
    header_row: int = 1
    thousands: str = ""


@dataclass(frozen=True, slots=True)
class ColumnMeaning:
    """How one column was understood; the fields of `inspect --json`.

    Parameters
    ----------
    name : str
        Header as delivered.
    read_as : str
        ``id, x, y, value, error, unit, time, ... `` a column name of the contract, or
        ``"ignored"``.
    element, unit : str, optional
        For values and errors.
    factor : float, optional
        Multiply by it to get mg/kg of the element.
    n, below, above, missing : int
        Readings, limits and missing cells.
    low, high : float, optional
        Range of the readings as delivered.
    suspicion : str
        A sentence, or empty.
    """

    name: str
    read_as: str
    element: str | None = None
    unit: str | None = None
    factor: float | None = None
    n: int = 0
    below: int = 0
    above: int = 0
    missing: int = 0
    low: float | None = None
    high: float | None = None
    suspicion: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class FieldLogRead:
    """A field log that was read.

    Parameters
    ----------
    frame : pandas.DataFrame
        Contract `tables.FIELD_LOG`, further columns of the file after them as text.
    dialect : Dialect
        How the file was understood.
    columns : tuple of ColumnMeaning
        Every column.
    findings : tuple of Finding
        What was noticed.
    """

    frame: pd.DataFrame
    dialect: Dialect
    columns: tuple[ColumnMeaning, ...]
    findings: tuple[Finding, ...] = field(default=())


@dataclass(frozen=True, slots=True, eq=False)
class AssayRead:
    """Readings or laboratory results that were read.

    Parameters
    ----------
    results : pandas.DataFrame
        Contract `tables.RESULTS`.
    roles : pandas.DataFrame
        ``sample_id, role, parent, standard`` where the table itself says so (may be empty).
    analytes : pandas.DataFrame
        Contract `tables.ANALYTES`, `medium` empty.
    dialect : Dialect
        How the (first) file was understood.
    columns : tuple of ColumnMeaning
        Every column.
    findings : tuple of Finding
        What was noticed.
    depths : dict of str to (float, float)
        Ids of one known depth: from, to, -1 where open. [m]
    """

    results: pd.DataFrame
    roles: pd.DataFrame
    analytes: pd.DataFrame
    dialect: Dialect
    columns: tuple[ColumnMeaning, ...]
    findings: tuple[Finding, ...] = field(default=())
    depths: dict[str, tuple[float, float]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class StandardsRead:
    """Certified values that were read.

    Parameters
    ----------
    frame : pandas.DataFrame
        Contract `tables.STANDARDS`.
    findings : tuple of Finding
        What was noticed.
    """

    frame: pd.DataFrame
    findings: tuple[Finding, ...] = field(default=())
