"""Names of groups of samples, from one column or several."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import unknown

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

#: how several columns of `by` are joined to one domain name
JOIN = " | "
NOT_STATED = "not stated"


def text_column(samples: pd.DataFrame, name: str, missing: str) -> npt.NDArray[np.object_]:
    """Take a column as text, with a word for missing values.

    Parameters
    ----------
    samples : pandas.DataFrame
        Any table.
    name : str
        A column that may be absent.
    missing : str
        Word for an absent column or value.

    Returns
    -------
    ndarray of str, shape (n,)
        Text.
    """
    out = np.full(len(samples), missing, dtype=object)
    if name in samples.columns:
        raw = samples[name]
        keep = raw.notna().to_numpy()
        out[keep] = [str(v) for v in raw[keep]]
    return out


def group_names(samples: pd.DataFrame, by: str | Sequence[str] | None) -> npt.NDArray[np.object_]:
    """Name the group of every sample.

    Parameters
    ----------
    samples : pandas.DataFrame
        A samples table.
    by : str or sequence of str, optional
        Columns.

    Returns
    -------
    ndarray of str, shape (n,)
        ``"all"`` when nothing is asked for.

    Raises
    ------
    WrongCall
        If a column is not there.
    """
    if by is None or (not isinstance(by, str) and not len(by)):
        return np.full(len(samples), "all", dtype=object)
    columns = [by] if isinstance(by, str) else list(by)
    allowed = [str(c) for c in samples.columns if "_ppm" not in str(c) and c != "geometry"]
    for c in columns:
        if c not in samples.columns:
            raise unknown("column in 'by'", str(c), allowed)
    parts = [text_column(samples, c, missing=NOT_STATED) for c in columns]
    out = np.empty(len(samples), dtype=object)
    out[:] = [JOIN.join(row) for row in zip(*parts, strict=True)]
    return out
