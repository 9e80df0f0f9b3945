"""Table contracts: names, order and kind of the columns that steps and other people rely on."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, NamedTuple

from geochem.elements import element_rank

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt
    import pandas as pd

# kinds: "text" (object of str, None where missing), "number" (float64, NaN where missing),
# "flag" (bool, never missing), "count" (Int64), "date" (datetime64[ns], NaT where missing)

#: the truth, long: one row per value; nothing is merged
RESULTS: dict[str, str] = {
    "sample_id": "text", "assay": "text", "source": "text", "batch": "text", "instrument": "text",
    "mode": "text", "reading": "text", "seconds": "number", "method": "text",
    "digestion": "text", "element": "text", "value": "number", "below": "flag", "above": "flag",
    "limit_inferred": "flag", "err": "number", "unit_given": "text", "raw": "text",
    "date_read": "date", "date_received": "date", "file": "text", "row": "count",
}  # fmt: skip

#: the results of control samples with what they are, long
CONTROLS: dict[str, str] = {
    "sample_id": "text", "role": "text", "parent": "text", "standard": "text",
    "prep_batch": "text", "prep_order": "number",
    **{k: v for k, v in RESULTS.items() if k != "sample_id"},
}  # fmt: skip

#: per assay, element and medium; `medium` is empty until the samples are joined
ANALYTES: dict[str, str] = {
    "assay": "text", "source": "text", "element": "text", "medium": "text", "name": "text",
    "unit_given": "text", "factor": "number", "limit_low": "number", "limit_high": "number",
    "method": "text", "digestion": "text", "fraction_um": "number", "n": "count",
    "n_below": "count", "n_above": "count", "trust": "text", "accepted": "flag",
    "calibrated": "flag",
}  # fmt: skip

#: the field log and what is joined to it (before the element columns)
SAMPLES: dict[str, str] = {
    "sample_id": "text", "medium": "text", "kind": "text", "grid": "text", "line": "text",
    "station": "text", "planned_id": "text", "horizon": "text", "depth_from": "number",
    "depth_to": "number", "fraction_um": "number", "regolith": "text", "lithology": "text",
    "alteration": "text", "elevation": "number", "accuracy_m": "number", "date": "date",
    "crew": "text", "parent": "text", "standard": "text", "role": "text", "prep_batch": "text",
    "prep_order": "number", "sieve_um": "number", "powder_ml": "number", "die_mm": "number",
    "die_fill": "number", "binder_pct": "number", "mill": "text", "moisture_pct": "number",
    "notes": "text",
}  # fmt: skip

#: what a field log is read into: SAMPLES, the position as given, and where it came from.
#: `x`, `y` are numbers in `crs` (degrees or metres); `time` and `received` are kept as dates.
FIELD_LOG: dict[str, str] = {
    **SAMPLES, "x": "number", "y": "number", "crs": "text", "stage": "text", "use": "text",
    "received": "date", "file": "text", "row": "count",
}  # fmt: skip

#: certified values of standards, mg/kg
STANDARDS: dict[str, str] = {
    "standard": "text", "element": "text", "certified": "number", "sd": "number",
    "unit_given": "text", "method": "text", "digestion": "text", "kind_of_sd": "text",
    "n": "number", "status": "text", "matrix": "text", "file": "text", "row": "count",
}  # fmt: skip

THRESHOLDS: dict[str, str] = {
    "medium": "text", "domain": "text", "element": "text", "assay": "text", "method": "text",
    "k": "number", "transform": "text", "sign": "count", "value": "number", "low": "number",
    "high": "number", "n": "count", "n_below": "count", "n_beyond": "count", "unit": "text",
    "reason": "text",
}  # fmt: skip

#: thresholds of one element by every method (internal, not a contract)
COMPARISON: dict[str, str] = {
    "label": "text", "method": "text", "value": "number", "low": "number", "high": "number",
    "n": "count", "n_above": "count", "share": "number", "scale": "text", "interval": "text",
    "valid": "flag", "reference": "text", "warning": "text",
}  # fmt: skip

#: background of one element in one domain: what z is measured against (internal, not a contract)
BACKGROUNDS: dict[str, str] = {
    "medium": "text", "domain": "text", "element": "text", "assay": "text", "location": "number",
    "scale": "number", "method": "text", "n": "count", "n_below": "count", "pooled_with": "text",
    "reason": "text",
}  # fmt: skip

QUALITY: dict[str, str] = {
    "source": "text", "assay": "text", "instrument": "text", "mode": "text", "batch": "text",
    "element": "text", "key_element": "flag", "n_standard": "count", "n_blank": "count",
    "n_duplicate": "count", "verdict": "text", "trust": "text", "action": "text",
    "reason": "text",
}  # fmt: skip

#: `geometry` follows
TARGETS: dict[str, str] = {
    "target": "text", "rank": "count", "rank_low": "count", "rank_high": "count",
    "previous_rank": "count", "first_seen": "text", "status": "text", "score": "number",
    "probability": "number", "data_confidence": "text", "lab_confirmed": "flag",
    "medium": "text", "elements": "text", "association": "text", "contrast": "number",
    "peak": "number", "peak_element": "text", "samples": "count", "lines": "count",
    "open_sides": "text", "area_ha": "number", "easting": "number", "northing": "number",
    "evidence_for": "text", "evidence_against": "text", "next_step": "text",
}  # fmt: skip

#: the fixed columns; `<El>_z` and `<El>_p` per counted element come before `group`
ANOMALIES: dict[str, str] = {
    "sample_id": "text", "medium": "text", "domain": "text", "easting": "number",
    "northing": "number", "group": "count",
}  # fmt: skip

FOLLOW_UP: dict[str, str] = {
    "point": "text", "target": "text", "kind": "text", "line": "text", "order": "count",
    "easting": "number", "northing": "number", "purpose": "text",
}  # fmt: skip

#: what is known of the place of every sample that was judged
PLACES: dict[str, str] = {
    "sample_id": "text", "medium": "text", "association": "text", "strength": "number",
    "probability": "number", "stands_out": "flag",
}  # fmt: skip

HOLES: dict[str, str] = {
    "hole": "text", "target": "text", "easting": "number", "northing": "number",
    "elevation": "number", "azimuth": "number", "north": "text", "dip": "number",
    "length": "number", "purpose": "text", "status": "text", "reason": "text",
}  # fmt: skip

ROLES = (
    "routine", "standard", "blank", "coarse_blank", "pulp_blank", "field_duplicate",
    "coarse_duplicate", "pulp_duplicate", "repeat", "reread", "umpire",
)  # fmt: skip

#: the four columns that an accepted value always has
SUFFIXES = ("_ppm", "_ppm_below", "_ppm_above", "_ppm_err")


class Values(NamedTuple):
    """The accepted values of one element as arrays, one entry per sample.

    Parameters
    ----------
    value : ndarray, shape (n_samples,)
        Values, limits where flagged, NaN where missing. [mg/kg]
    below, above : ndarray of bool, shape (n_samples,)
        The value is a lower, an upper limit.
    err : ndarray, shape (n_samples,)
        One standard uncertainty, NaN where unknown. [mg/kg]
    """

    value: npt.NDArray[np.float64]
    below: npt.NDArray[np.bool_]
    above: npt.NDArray[np.bool_]
    err: npt.NDArray[np.float64]

    @property
    def relative_error(self) -> npt.NDArray[np.float64]:
        """Standard error over value, at most 1; 10 % where it is not known.

        The 10 % are common practice, no source.

        Examples
        --------
        >>> import numpy as np
        >>> no = np.zeros(3, dtype=bool)
        >>> values = Values(np.array([10.0, 10.0, 1.0]), no, no, np.array([0.5, np.nan, 4.0]))
        >>> values.relative_error.tolist()
        [0.05, 0.1, 1.0]
        """
        import numpy as np

        with np.errstate(divide="ignore", invalid="ignore"):
            share = self.err / self.value
        return np.clip(np.where(np.isfinite(share), share, 0.1), 0.0, 1.0)


def value_column(element: str, assay: str | None = None) -> str:
    """Name the column of an element, accepted or of one assay.

    Parameters
    ----------
    element : str
        Symbol or species.
    assay : str, optional
        One assay instead of the accepted value.

    Returns
    -------
    str
        Name of a column of a samples table.

    Examples
    --------
    >>> value_column("Cu"), value_column("Cu", "lab_4a")
    ('Cu_ppm', 'Cu_ppm__lab_4a')
    """
    return f"{element}_ppm" if assay is None else f"{element}_ppm__{assay}"


def elements_of(samples: pd.DataFrame) -> list[str]:
    """List the elements that a samples table has accepted values of, by atomic number.

    Parameters
    ----------
    samples : pandas.DataFrame
        A samples table.

    Returns
    -------
    list of str
        Symbols and species.
    """
    found = [str(c)[:-4] for c in samples.columns if str(c).endswith("_ppm")]
    return sorted(found, key=element_rank)


def assays_of(samples: pd.DataFrame, element: str) -> list[str]:
    """List the assays that stand beside the accepted value of an element.

    Parameters
    ----------
    samples : pandas.DataFrame
        A samples table.
    element : str
        Symbol or species.

    Returns
    -------
    list of str
        Sorted.
    """
    start = f"{element}_ppm__"
    ends = ("_below", "_above", "_err")
    return sorted(
        str(c)[len(start) :]
        for c in samples.columns
        if str(c).startswith(start) and not str(c).endswith(ends)
    )


def laboratory_assays(analytes: pd.DataFrame) -> set[str]:
    """Name the assays that come from a laboratory.

    Parameters
    ----------
    analytes : pandas.DataFrame
        Contract `ANALYTES`.

    Returns
    -------
    set of str
        Names of assays.
    """
    return set(analytes.loc[analytes["source"] == "laboratory", "assay"].dropna())


def values_of(samples: pd.DataFrame, element: str, assay: str | None = None) -> Values:
    """Take one element out of a samples table as arrays.

    Parameters
    ----------
    samples : pandas.DataFrame
        A samples table; missing flag columns count as False, a missing error as NaN.
    element : str
        Symbol or species.
    assay : str, optional
        One assay instead of the accepted value.

    Returns
    -------
    Values
        Copies; a value that is missing is NaN with both flags False.

    Raises
    ------
    WrongCall
        If there is no such element.
    """
    import numpy as np

    from geochem.errors import unknown

    column = value_column(element, assay)
    if column not in samples.columns:
        raise unknown("element column", column, [value_column(e) for e in elements_of(samples)])
    n = len(samples)

    def flag(suffix: str) -> npt.NDArray[np.bool_]:
        name = column + suffix
        if name not in samples.columns:
            return np.zeros(n, dtype=bool)
        return samples[name].to_numpy(dtype=bool, copy=True)

    err = column + "_err"
    return Values(
        samples[column].to_numpy(dtype=float, copy=True),
        flag("_below"),
        flag("_above"),
        samples[err].to_numpy(dtype=float, copy=True)
        if err in samples.columns
        else np.full(n, np.nan),
    )


def empty(columns: dict[str, str]) -> pd.DataFrame:
    """Make a table without rows that has all columns of a contract.

    Parameters
    ----------
    columns : dict of str to str
        One of the contracts of this module.

    Returns
    -------
    pandas.DataFrame
        No rows.
    """
    import pandas as pd

    return conform(pd.DataFrame(), columns)


def conform(frame: pd.DataFrame, columns: dict[str, str], *, extra: bool = False) -> pd.DataFrame:
    """Give a table the columns, order and kinds of a contract; add the missing ones empty.

    Parameters
    ----------
    frame : pandas.DataFrame
        Any rows; not changed.
    columns : dict of str to str
        One of the contracts of this module.
    extra : bool, default False
        Keep columns that the contract does not name, after the others.

    Returns
    -------
    pandas.DataFrame
        A new table with a RangeIndex.
    """
    import numpy as np
    import pandas as pd

    n = len(frame)
    data: dict[str, object] = {}
    for name, kind in columns.items():
        given = frame[name] if name in frame.columns else None
        if kind == "number":
            data[name] = (
                pd.to_numeric(given).to_numpy(dtype=float)
                if given is not None
                else np.full(n, np.nan)
            )
        elif kind == "flag":
            data[name] = (
                given.astype(object).eq(other=True).to_numpy(dtype=bool)
                if given is not None
                else np.zeros(n, dtype=bool)
            )
        elif kind == "count":
            data[name] = (
                pd.array(
                    pd.to_numeric(given).to_numpy(dtype=float, na_value=np.nan), dtype="Int64"
                )
                if given is not None
                else pd.array([pd.NA] * n, dtype="Int64")
            )
        elif kind == "date":
            data[name] = (
                pd.to_datetime(given).to_numpy(dtype="datetime64[ns]")
                if given is not None
                else np.full(n, np.datetime64("NaT"), dtype="datetime64[ns]")
            )
        else:
            column = np.full(n, None, dtype=object)
            if given is not None:
                raw = given.to_numpy(dtype=object)
                keep = ~pd.isna(raw)
                texts = pd.api.types.infer_dtype(raw, skipna=True) == "string"
                column[keep] = raw[keep] if texts else [str(v) for v in raw[keep]]
            data[name] = pd.Series(column, dtype=object)
    out = pd.DataFrame(data, columns=list(columns), index=pd.RangeIndex(n))
    if extra:
        for name in frame.columns:
            if name not in columns:
                out[name] = frame[name].to_numpy()
    return out


def columns_of(contract: dict[str, str], *more: Iterable[str]) -> list[str]:
    """List the column names of a contract, then any others.

    Parameters
    ----------
    contract : dict of str to str
        One of the contracts of this module.
    *more : iterable of str
        Further names.

    Returns
    -------
    list of str
        In order.
    """
    return [*contract, *(name for names in more for name in names)]
