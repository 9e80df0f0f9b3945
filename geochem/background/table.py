"""The long table of thresholds: one row per medium, domain, element and method."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.background.choice import choose, k_of
from geochem.background.ground import decluster, point_coordinates
from geochem.background.groups import group_names, text_column
from geochem.background.values import prepared_once
from geochem.elements import element_rank
from geochem.errors import WrongCall, unknown
from geochem.model import tables

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    from geochem.model.threshold import Threshold

    Array = npt.NDArray[np.float64]
    Mask = npt.NDArray[np.bool_]


def thresholds(
    samples: pd.DataFrame,
    elements: Sequence[str] | None = None,
    method: Any = "median_mad",
    options: Mapping[str, Any] | None = None,
    by: str | Sequence[str] | None = None,
) -> pd.DataFrame:
    """Find thresholds of many elements, for the whole of each medium or by groups.

    Every group stands for itself here: small ones are not pooled (`describe_background` does
    that). Of a table with point geometry the samples are declustered, so that infill does not
    lift the background; a plain table is used as it is.

    Parameters
    ----------
    samples : pandas.DataFrame or geopandas.GeoDataFrame
        A samples table: ``Cu_ppm`` and, when known, ``Cu_ppm_below`` and ``Cu_ppm_above``;
        `medium` is optional.
    elements : sequence of str, optional
        All that have a column, if not given.
    method : str or object, default "median_mad"
        A name, or a ready object such as ``MedianMad(k=3)``.
    options : mapping, optional
        Of a named method. None means the campaign's defaults: log10, and for median + k MAD both
        k = 2 (possible) and k = 3 (probable).
    by : str or sequence of str, optional
        Columns that name the domain; several are joined with ``" | "``.

    Returns
    -------
    pandas.DataFrame
        Contract `tables.THRESHOLDS`, sorted by medium, domain, element and k; values in mg/kg.
        `method` and `reason` say what was really used.

    Raises
    ------
    WrongCall
        If a column, a method or an option is unknown, or the method needs what is not there.

    Examples
    --------
    >>> import pandas as pd
    >>> x = [8, 9, 10, 10, 11, 12, 12, 13, 14, 15, 16, 18, 20, 25, 40, 150]
    >>> table = thresholds(pd.DataFrame({"Cu_ppm": x}))
    >>> table[["element", "k", "value", "n_beyond"]].round(3).values.tolist()
    [['Cu', 2.0, 32.248, 2], ['Cu', 3.0, 49.858, 1]]
    """
    chosen = choose(method, options)
    names = check_elements(samples, elements)
    medium = text_column(samples, "medium", missing="")
    domain = group_names(samples, by)
    xy = point_coordinates(samples)
    for m in chosen:
        check_needs(m, located=xy is not None)
    rows: list[dict[str, Any]] = []
    columns = {e: tables.values_of(samples, e) for e in names}
    assays = accepted_assays(samples, names)
    for one in sorted(set(medium)):
        here = medium == one
        weights = None
        if xy is not None:
            weights = np.full(len(samples), np.nan)
            weights[here] = decluster(xy[here])
        for group in sorted(set(domain[here])):
            part = here & (domain == group)
            for element in names:
                values = select(columns[element], part)
                records = fit_all(
                    chosen, values, None if xy is None else xy[part],
                    None if weights is None else weights[part],
                )  # fmt: skip
                rows += [
                    threshold_row(one, group, element, assays[one, element], record, values)
                    for record in records
                ]
    return finish(rows)


def select(values: tables.Values, part: Mask) -> tables.Values:
    """Take some samples of one element.

    Parameters
    ----------
    values : Values
        Of all samples.
    part : ndarray of bool, shape (n,)
        Which.

    Returns
    -------
    Values
        Of those.
    """
    return tables.Values(
        values.value[part], values.below[part], values.above[part], values.err[part]
    )


def check_elements(samples: pd.DataFrame, elements: Sequence[str] | None) -> list[str]:
    """Check the wanted elements against the table, by atomic number and each once.

    Parameters
    ----------
    samples : pandas.DataFrame
        A samples table.
    elements : sequence of str, optional
        None means all.

    Returns
    -------
    list of str
        Symbols and species.

    Raises
    ------
    WrongCall
        If one has no column.
    """
    there = tables.elements_of(samples)
    if elements is None:
        return there
    wanted = [elements] if isinstance(elements, str) else list(elements)
    for e in wanted:
        if e not in there:
            raise unknown("element", str(e), there)
    return sorted(dict.fromkeys(wanted), key=element_rank)


def check_needs(method: Any, *, located: bool) -> None:
    """Refuse a method that cannot do without coordinates when there are none."""
    if "coordinates" in getattr(method, "needs", ()) and not located:
        raise WrongCall(
            f"'{method.name}' needs coordinates; give samples with point geometry, or choose "
            "another method."
        )


def fit_all(
    methods: Iterable[Any], values: tables.Values, xy: Array | None, weights: Array | None
) -> list[Threshold]:
    """Fit every method to one group of one element; equal fall-backs are given once.

    Parameters
    ----------
    methods : iterable of objects with `fit`
        From `choice.choose`.
    values : Values
        Of the group.
    xy : ndarray, shape (n, 2), optional
        Easting, northing. [m]
    weights : ndarray, shape (n,), optional
        Declustering weights.

    Returns
    -------
    list of Threshold
        One or more.
    """
    chosen = list(methods)
    records: list[Threshold] = []
    for m, record in zip(chosen, fit_each(chosen, values, xy, weights), strict=True):
        replaced = record.method != getattr(m, "name", record.method)
        if replaced and records and record.method == records[-1].method:
            continue
        records.append(record)
    return records


def fit_each(
    methods: Iterable[Any], values: tables.Values, xy: Array | None, weights: Array | None
) -> list[Threshold]:
    """Fit every method to one group of one element.

    Parameters
    ----------
    methods, values, xy, weights
        As in `fit_all`.

    Returns
    -------
    list of Threshold
        One per method, fall-backs among them.
    """
    ok = np.isfinite(values.value)
    x = values.value[ok]
    given = {
        "below": values.below[ok], "above": values.above[ok],
        "coordinates": None if xy is None else xy[ok],
        "weights": None if weights is None else weights[ok],
    }  # fmt: skip
    with prepared_once():
        return [m.fit(x, **given) for m in methods]


def accepted_assays(
    samples: pd.DataFrame, elements: Sequence[str], analytes: pd.DataFrame | None = None
) -> dict[tuple[str, str], str | None]:
    """Say which assay the accepted values of each medium and element are taken from.

    Parameters
    ----------
    samples : pandas.DataFrame
        A samples table.
    elements : sequence of str
        Which.
    analytes : pandas.DataFrame, optional
        Contract `tables.ANALYTES`: it knows. Without it the assay that stands beside the accepted
        values and agrees with them everywhere is named.

    Returns
    -------
    dict of (medium, element) to str or None
        None where it is not known (calibrated values, no assay beside them).
    """
    medium = text_column(samples, "medium", missing="")
    if analytes is not None:
        accepted = analytes.loc[analytes["accepted"].astype(bool)]
        rows = zip(accepted["medium"], accepted["element"], accepted["assay"], strict=True)
        found: dict[tuple[str, str], str | None] = {}
        for one, element, assay in rows:
            found.setdefault((str(one), str(element)), None if assay is None else str(assay))
        return found
    return {
        (one, e): _agreeing_assay(samples.loc[medium == one], e)
        for one in sorted(set(medium)) for e in elements
    }  # fmt: skip


def _agreeing_assay(samples: pd.DataFrame, element: str) -> str | None:
    accepted = samples[tables.value_column(element)].to_numpy(dtype=float)
    for assay in tables.assays_of(samples, element):
        other = samples[tables.value_column(element, assay)].to_numpy(dtype=float)
        if np.array_equal(accepted, other, equal_nan=True) and np.isfinite(other).any():
            return assay
    return None


def count_beyond(record: Threshold, values: tables.Values) -> tuple[int, int]:
    """Count values beyond a threshold, and those of which it cannot be said.

    Parameters
    ----------
    record : Threshold
        In the unit of the values.
    values : Values
        Of the group.

    Returns
    -------
    beyond, undecided : int
        Detected (or over-range) values at or above it; limits above it.
    """
    if not np.isfinite(record.value):
        return 0, 0
    with np.errstate(invalid="ignore"):
        high = values.value >= record.value
        beyond = int((high & ~values.below).sum())
        undecided = int((values.below & (values.value > record.value)).sum())
        undecided += int((values.above & (values.value < record.value)).sum())
    return beyond, undecided


def threshold_row(
    medium: str, domain: str, element: str, assay: str | None, record: Threshold,
    values: tables.Values, note: str = "",
) -> dict[str, Any]:  # fmt: skip
    """Make one row of the table.

    Parameters
    ----------
    medium, domain, element : str
        What it is of.
    assay : str, optional
        Where the accepted values come from.
    record : Threshold
        As fitted.
    values : Values
        Of the group.
    note : str
        Sentence to add to the reason.

    Returns
    -------
    dict
        Columns of `tables.THRESHOLDS`.
    """
    beyond, undecided = count_beyond(record, values)
    sentences = [note] if note else []
    sentences += list(record.warnings)
    if undecided:
        sentences.append(
            f"{undecided} values are undecided: their limit leaves open on which side they lie."
        )
    return {
        "medium": medium, "domain": domain, "element": element, "assay": assay,
        "method": record.method, "k": k_of(record), "transform": record.transform, "sign": 1,
        "value": record.value, "low": record.low, "high": record.high, "n": record.n_used,
        "n_below": record.n_below, "n_beyond": beyond, "unit": "mg/kg",
        "reason": " ".join(sentences) or None,
    }  # fmt: skip


def finish(rows: list[dict[str, Any]]) -> pd.DataFrame:
    """Sort rows by medium, domain, element and k and give them the contract's columns."""
    import pandas as pd

    if not rows:
        return tables.empty(tables.THRESHOLDS)
    rows = sorted(
        rows,
        key=lambda r: (
            r["medium"], r["domain"], element_rank(r["element"]),
            r["k"] if np.isfinite(r["k"]) else 0.0,
        ),
    )  # fmt: skip
    return tables.conform(pd.DataFrame(rows), tables.THRESHOLDS)
