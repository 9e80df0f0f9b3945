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


@dataclass(frozen=True, slots=True, eq=False)
class Arranged:
    """Tables that the checks share.

    Parameters
    ----------
    results : pandas.DataFrame
        Every value once: text columns as categories (missing is empty text), ``value, below,
        above, err, date_read, date_received, reading``, ``control`` True for control samples.
    controls : pandas.DataFrame
        Contract `tables.CONTROLS`, missing text empty, in time order per instrument, ``order``
        counts within assay, instrument, mode, role, standard and element.
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

    found = text.astype(str).str.extract(r"(\d+)\D*$", expand=False)
    return pd.to_numeric(found, errors="coerce").to_numpy(dtype=float)


def of_samples(results: pd.DataFrame, ids: Iterable[object]) -> np.ndarray:
    """Say which arranged results belong to the samples named."""
    column = results["sample_id"].cat
    wanted = column.categories.isin(different(ids))
    return np.asarray(wanted)[column.codes.to_numpy()]


def different(ids: Iterable[object]) -> list[str]:
    """Give the different ids as text, in order of appearance."""
    return list(dict.fromkeys(str(i) for i in ids))


def when(frame: pd.DataFrame) -> pd.Series:
    """Give the time of a reading, else the day the result came."""
    return frame["date_read"].fillna(frame["date_received"])


def blank_to_none(frame: pd.DataFrame) -> pd.DataFrame:
    """Turn empty text back into None, as the table contracts want it."""
    import pandas as pd

    out = frame.copy()
    for name in out.columns:
        if isinstance(out[name].dtype, pd.CategoricalDtype) or out[name].dtype == object:
            column = out[name].to_numpy(dtype=object)
            out[name] = pd.Series([None if v == "" else v for v in column], dtype=object)
    return out


def _controls(controls: pd.DataFrame) -> pd.DataFrame:
    import pandas as pd

    whole = set(CONTROLS) <= set(controls.columns)
    frame = controls[list(CONTROLS)] if whole else conform(controls, CONTROLS)
    frame = frame[frame["value"].notna().to_numpy()].reset_index(drop=True)
    text = {name: _filled(frame[name]) for name, kind in CONTROLS.items() if kind == "text"}
    frame = frame.assign(**text)
    number = reading_number(frame["reading"])
    # Codes instead of text: sorting 200,000 rows of text by nine keys takes seconds.
    keys = pd.DataFrame(
        {
            "assay": pd.factorize(frame["assay"], sort=True)[0],
            "instrument": pd.factorize(frame["instrument"], sort=True)[0],
            "when": when(frame).to_numpy(),
            "number": number,
            "batch": pd.factorize(frame["batch"], sort=True)[0],
            "sample_id": pd.factorize(frame["sample_id"], sort=True)[0],
            "element": pd.factorize(frame["element"], sort=True)[0],
            "value": frame["value"].to_numpy(),
        }
    )
    order = keys.sort_values(list(keys.columns), kind="stable", na_position="last").index
    frame = frame.iloc[order.to_numpy()].reset_index(drop=True)
    series = ["assay", "instrument", "mode", "role", "standard", "element"]
    frame["order"] = frame.groupby(series, sort=False).cumcount() + 1
    return frame


def _filled(column: pd.Series) -> pd.Series:
    import pandas as pd

    out = column.to_numpy(dtype=object, copy=True)
    out[column.isna().to_numpy()] = ""
    # Said to be object, else pandas 3 makes text of its own kind, slow in what follows.
    return pd.Series(out, dtype=object)


def _results(results: pd.DataFrame, controls: pd.DataFrame) -> pd.DataFrame:
    import pandas as pd

    data: dict[str, object] = {}
    for name in _CATEGORIES:
        codes, labels = pd.factorize(results[name], sort=False)
        names = np.append(np.asarray(labels, dtype=object).astype(str), "")
        # Missing (code -1) becomes the last label, the empty text.
        codes = np.where(codes < 0, len(names) - 1, codes)
        if "" in names[:-1]:
            known = {label: i for i, label in reversed(list(enumerate(names)))}
            codes = np.array([known[label] for label in names], dtype=codes.dtype)[codes]
            names = np.array(list(dict.fromkeys(names)), dtype=object)
        sort = np.argsort(names)
        place = np.empty(len(names), dtype=np.int32)
        place[sort] = np.arange(len(names), dtype=np.int32)
        data[name] = pd.Categorical.from_codes(place[codes], pd.Index(names[sort], dtype=object))
    for name in ("value", "err"):
        data[name] = results[name].to_numpy(dtype=float)
    for name in ("below", "above"):
        data[name] = results[name].to_numpy(dtype=bool)
    for name in ("date_read", "date_received"):
        data[name] = results[name].to_numpy()
    data["reading"] = results["reading"].to_numpy(dtype=object)
    frame = pd.DataFrame(data, index=pd.RangeIndex(len(results)))
    frame["control"] = of_samples(frame, controls["sample_id"])
    return frame[frame["value"].notna()].reset_index(drop=True)


def _limits(results: pd.DataFrame, analytes: pd.DataFrame) -> pd.DataFrame:
    import pandas as pd

    both = ["assay", "element"]
    seen = results.groupby(both, observed=True).size().rename("n").reset_index()
    under = results[results["below"]]
    usual = under.groupby(both, observed=True)["value"].median().rename("limit").reset_index()
    err = results[~results["below"]].groupby(both, observed=True)["err"]
    least = (3 * err.quantile(0.05)).rename("from_err").reset_index()
    frame = seen
    for more in (usual, least):
        frame = frame.merge(more, on=both, how="left", validate="1:1")
    for name in both:
        frame[name] = frame[name].astype(object)
    stated = (
        analytes.assign(stated=pd.to_numeric(analytes["limit_low"]))
        .groupby(both)["stated"].median().reset_index()
    )  # fmt: skip
    frame = frame.merge(stated, on=both, how="left", validate="1:1")
    limit = frame["limit"].fillna(frame["stated"]).fillna(frame["from_err"])
    return pd.DataFrame(
        {"assay": frame["assay"], "element": frame["element"], "limit": limit.astype(float)}
    )


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Give the rows of a table as dictionaries with text keys."""
    return [{str(k): v for k, v in row.items()} for row in frame.to_dict("records")]


def by_text(
    frame: pd.DataFrame, names: list[str]
) -> Iterator[tuple[tuple[str, ...], pd.DataFrame]]:
    """Go through the groups of one or more text columns in the order of their names."""
    for key, part in frame.groupby(names, sort=True):
        yield tuple(str(k) for k in key), part
