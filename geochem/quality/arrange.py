"""Results and controls put in order once, so that every check works on the same compact tables."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.model.tables import CONTROLS, conform

if TYPE_CHECKING:
    import pandas as pd

    from geochem.model.survey import Survey

#: what names one batch of one assay on one instrument
BATCH_KEY = ["source", "assay", "instrument", "mode", "batch"]

_CATEGORIES = ["sample_id", *BATCH_KEY, "element"]
#: text of controls that becomes categories, and columns that no check looks at
_NAMES = {*_CATEGORIES, "role", "parent", "standard", "digestion", "prep_batch"}
_UNUSED = {"seconds", "method", "raw", "unit_given", "file", "row", "limit_inferred"}


@dataclass(frozen=True, slots=True, eq=False)
class Arranged:
    """Tables that the checks share.

    Parameters
    ----------
    results : pandas.DataFrame
        Every value once: text columns as categories (missing is empty text), ``value, below,
        above, err, date_read, date_received, reading``, ``control`` True for control samples.
    controls : pandas.DataFrame
        As `tables.CONTROLS` without what no check needs, missing text empty, names as categories,
        in time order per instrument; ``order`` counts within assay, instrument, mode, role,
        standard and element.
    limits : pandas.DataFrame
        ``assay, element, limit``: usual detection limit [mg/kg], one row each.
    """

    results: pd.DataFrame
    controls: pd.DataFrame
    limits: pd.DataFrame

    def with_limits(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Add the column ``limit`` to rows that name an assay and an element."""
        return frame.merge(self.limits, on=["assay", "element"], how="left", validate="m:1")


def arrange(survey: Survey) -> Arranged:
    """Put results and controls of a survey in order.

    Parameters
    ----------
    survey : Survey
        Not changed.

    Returns
    -------
    Arranged
        Ordered by time, reading number, id and value: never by the order of rows in a file.
    """
    controls = _controls(survey.controls)
    results = _results(survey.results, controls)
    return Arranged(results, controls, _limits(results, survey.analytes))


def reading_number(text: pd.Series) -> np.ndarray:
    """Give the digits of reading names as numbers, NaN when there are none."""
    import pandas as pd

    codes, names = pd.factorize(text.to_numpy(dtype=object), use_na_sentinel=False)
    found = pd.Series(names).astype(str).str.extract(r"(\d+)\D*$", expand=False)
    return pd.to_numeric(found, errors="coerce").to_numpy(dtype=float)[codes]


def of_samples(results: pd.DataFrame, ids: Iterable[object]) -> np.ndarray:
    """Say which arranged results belong to the samples named."""
    column = results["sample_id"].cat
    wanted = column.categories.isin(different(ids))
    return np.asarray(wanted)[column.codes.to_numpy()]


def different(ids: Iterable[object]) -> list[str]:
    """Give the different ids as text, in order of appearance."""
    import pandas as pd

    # Categories and arrays give their different values faster than a walk through all of them.
    if isinstance(ids, (pd.Series, pd.Categorical)):
        ids = ids.unique()
    elif isinstance(ids, np.ndarray):
        ids = pd.unique(ids)
    return list(dict.fromkeys(str(i) for i in ids))


def when(frame: pd.DataFrame) -> pd.Series:
    """Give the time of a reading, else the day the result came."""
    return frame["date_read"].fillna(frame["date_received"])


def blank_to_none(frame: pd.DataFrame) -> pd.DataFrame:
    """Turn empty text back into None, as the table contracts want it."""
    import pandas as pd

    data: dict[str, object] = {}
    for name in frame.columns:
        column = frame[name]
        if isinstance(column.dtype, pd.CategoricalDtype):
            labels = np.full(len(column.cat.categories) + 1, None, dtype=object)
            labels[:-1] = column.cat.categories.to_numpy(dtype=object)
            labels[labels == ""] = None
            data[name] = pd.Series(labels[column.cat.codes.to_numpy()], dtype=object)
        elif column.dtype == object:
            values = column.to_numpy(dtype=object, copy=True)
            values[values == ""] = None
            data[name] = pd.Series(values, dtype=object)
        else:
            data[name] = column.to_numpy() if column.dtype.kind in "fibM" else column.array
    return pd.DataFrame(data, columns=frame.columns, index=pd.RangeIndex(len(frame)))


def _controls(controls: pd.DataFrame) -> pd.DataFrame:
    import pandas as pd

    whole = set(CONTROLS) <= set(controls.columns)
    frame = controls if whole else conform(controls, CONTROLS)
    frame = frame[frame["value"].notna().to_numpy()]
    data: dict[str, Any] = {}
    for name in CONTROLS:
        if name in _NAMES:
            data[name] = categories(frame[name])
        elif name not in _UNUSED:
            data[name] = frame[name].to_numpy()
    data["reading"] = frame["reading"].to_numpy(dtype=object, copy=True)
    data["reading"][frame["reading"].isna().to_numpy()] = ""
    # Said to be object, else pandas 3 makes text of its own kind, slow in what follows.
    data["reading"] = pd.Series(data["reading"], dtype=object)
    out = pd.DataFrame(data, index=pd.RangeIndex(len(frame)))
    # Codes instead of text: sorting 200,000 rows of text by nine keys takes seconds.
    keys = (
        data["assay"].codes, data["instrument"].codes, when(out).to_numpy(),
        reading_number(out["reading"]), data["batch"].codes, data["sample_id"].codes,
        data["element"].codes, out["value"].to_numpy(),
    )  # fmt: skip
    order = pd.DataFrame(dict(enumerate(keys)))
    order = order.sort_values(list(order.columns), kind="stable", na_position="last")
    out = out.iloc[order.index.to_numpy()].reset_index(drop=True)
    series = ["assay", "instrument", "mode", "role", "standard", "element"]
    out["order"] = out.groupby(series, sort=False, observed=True).cumcount() + 1
    return out


def categories(column: pd.Series) -> pd.Categorical:
    """Give text as sorted categories, missing as empty text; runs of one text are read once."""
    import pandas as pd

    values = column.to_numpy(dtype=object)
    n = len(values)
    starts = np.flatnonzero(np.append(True, values[1:] != values[:-1])) if n else np.arange(0)
    runs = len(starts) < n / 3
    codes, labels = pd.factorize(values[starts] if runs else values, sort=False)
    if runs:
        codes = np.repeat(codes, np.diff(np.append(starts, n)))
    names = np.append(np.asarray(labels, dtype=object).astype(str), "")
    # Missing (code -1) becomes the last label, the empty text.
    codes = np.where(codes < 0, len(names) - 1, codes)
    unique, place = np.unique(names, return_inverse=True)
    return pd.Categorical.from_codes(
        place.astype(np.int32)[codes], pd.Index(unique.astype(object), dtype=object)
    )


def _results(results: pd.DataFrame, controls: pd.DataFrame) -> pd.DataFrame:
    import pandas as pd

    data: dict[str, object] = {name: categories(results[name]) for name in _CATEGORIES}
    for name in ("value", "err"):
        data[name] = results[name].to_numpy(dtype=float)
    for name in ("below", "above"):
        data[name] = results[name].to_numpy(dtype=bool)
    for name in ("date_read", "date_received"):
        data[name] = results[name].to_numpy()
    data["reading"] = results["reading"].to_numpy(dtype=object)
    frame = pd.DataFrame(data, index=pd.RangeIndex(len(results)))
    frame["control"] = of_samples(frame, controls["sample_id"])
    known = frame["value"].notna()
    return frame if known.all() else frame[known].reset_index(drop=True)


def _limits(results: pd.DataFrame, analytes: pd.DataFrame) -> pd.DataFrame:
    import pandas as pd

    both = ["assay", "element"]
    below = results["below"].to_numpy(dtype=bool)
    value, err = results["value"].to_numpy(dtype=float), results["err"].to_numpy(dtype=float)
    rows: list[tuple[str, str, float, float]] = []
    for (assay, element), at in places(results, both):
        under, errors = value[at[below[at]]], err[at[~below[at]]]
        errors = errors[np.isfinite(errors)]
        usual = float(np.median(under)) if len(under) else np.nan
        least = 3 * float(np.quantile(errors, 0.05)) if len(errors) else np.nan
        rows.append((assay, element, usual, least))
    frame = pd.DataFrame(rows, columns=[*both, "limit", "from_err"])
    for name in both:
        frame[name] = frame[name].astype(object)
    stated = (
        analytes.assign(stated=pd.to_numeric(analytes["limit_low"]))
        .groupby(both, observed=True)["stated"].median().reset_index()
    )  # fmt: skip
    frame = frame.merge(stated, on=both, how="left", validate="1:1")
    limit = frame["limit"].fillna(frame["stated"]).fillna(frame["from_err"])
    return pd.DataFrame(
        {"assay": frame["assay"], "element": frame["element"], "limit": limit.astype(float)}
    )


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Give the rows of a table as dictionaries with text keys."""
    names = [str(name) for name in frame.columns]
    columns = [frame[name].tolist() for name in frame.columns]
    return [dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True)]


def places(frame: pd.DataFrame, names: list[str]) -> Iterator[tuple[tuple[str, ...], np.ndarray]]:
    """Go through the groups of several columns of categories: names, and places of the rows.

    In the order of the names, rows in theirs. Codes are joined and sorted as short whole numbers:
    on millions of rows much faster than grouping by several columns.
    """
    joint = np.zeros(len(frame), dtype=np.int64)
    labels = []
    for name in names:
        column = frame[name].cat
        labels.append(column.categories.astype(str).tolist())
        joint = joint * (len(labels[-1]) + 1) + column.codes.to_numpy()
    found, code = _dense(joint)
    order = np.argsort(code, kind="stable")
    ends = np.cumsum(np.bincount(code, minlength=len(found))).tolist()
    for i, at in enumerate(np.split(order, ends[:-1]) if len(found) else []):
        key, left = [], int(found[i])
        for several in reversed(labels):
            left, k = divmod(left, len(several) + 1)
            key.append(several[k])
        yield tuple(reversed(key)), at


def _dense(joint: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the different values, and the number of each row's in the shortest type that holds it."""
    if len(joint) and joint.max() < 4 * len(joint) + 1000:
        seen = np.bincount(joint) > 0
        found = np.flatnonzero(seen)
        code = (np.cumsum(seen) - 1)[joint]
    else:
        found, code = np.unique(joint, return_inverse=True)
    short = np.int16 if len(found) < np.iinfo(np.int16).max else np.int64
    return found, code.astype(short)


def by_text(
    frame: pd.DataFrame, names: list[str]
) -> Iterator[tuple[tuple[str, ...], pd.DataFrame]]:
    """Go through the groups of one or more text columns in the order of their names."""
    for key, part in frame.groupby(names, sort=True, observed=True):
        yield tuple(str(k) for k in key), part
