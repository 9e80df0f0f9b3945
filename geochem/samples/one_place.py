"""Several samples at one place: a resample replaces, everything else is another sample."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.model.finding import Finding, name_some

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

#: positions closer than this are one place [m]
SAME_PLACE = 0.1
#: what makes two samples of one place different samples
_DIFFERENT = (
    "medium", "grid", "line", "station", "kind", "horizon", "depth_from", "depth_to", "fraction_um",
)  # fmt: skip
#: several pieces of rock from one outcrop are several samples
_MEDIA = ("soil", "till", "stream_sediment", "stream sediment", "vegetation")


def judge_places(
    samples: pd.DataFrame, x: npt.ArrayLike, y: npt.ArrayLike
) -> tuple[npt.NDArray[np.bool_], tuple[Finding, ...]]:
    """Find samples that were taken again later at the same place.

    The same place, station, medium, horizon, depth and size fraction with different dates is a
    resample: the newest counts. Without dates that differ nobody can tell; both stay, with a finding.

    Parameters
    ----------
    samples : pandas.DataFrame
        Contract `tables.SAMPLES`, routine samples.
    x, y : array_like, shape (n_samples,)
        Positions; NaN where there is none. [m]

    Returns
    -------
    replaced : ndarray of bool, shape (n_samples,)
        True where a newer sample of the same place exists.
    findings : tuple of Finding
        ``resampled``, ``same-place``.
    """
    replaced = np.zeros(len(samples), dtype=bool)
    east, north = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    asked = np.isfinite(east) & np.isfinite(north)
    asked &= samples["medium"].isin(_MEDIA).to_numpy(dtype=bool)
    asked &= (samples["use"] != "context").to_numpy(dtype=bool) if "use" in samples else True
    rows = np.flatnonzero(asked)
    if rows.size < 2:
        return replaced, ()
    table = samples.iloc[rows][[*_DIFFERENT, "date", "sample_id"]].reset_index(drop=True)
    table["x"] = np.round(east[rows] / SAME_PLACE)
    table["y"] = np.round(north[rows] / SAME_PLACE)
    keys = ["x", "y", *_DIFFERENT]
    several = table.duplicated(keys, keep=False)
    if not several.any():
        return replaced, ()
    table = table.loc[several]
    group = table.groupby(keys, dropna=False, sort=False)
    newest = group["date"].transform("max")
    oldest = group["date"].transform("min")
    dated = table["date"].notna() & (newest > oldest)
    old = dated & (table["date"] < newest)
    findings = []
    if old.any():
        ids = sorted(table.loc[old, "sample_id"])
        replaced[rows[table.index[old]]] = True
        findings.append(
            Finding(
                "resampled", "warning",
                f"{len(ids)} samples were taken again later at the same place; the newest counts "
                f"and the older ones are shown only: {name_some(ids)}.",
                column="date", sample_id=ids[0],
            )
        )  # fmt: skip
    left = table.loc[~old]
    unsure = left.loc[left.duplicated(keys, keep=False)]
    if len(unsure):
        ids = sorted(unsure["sample_id"])
        findings.append(
            Finding(
                "same-place", "note",
                f"{len(ids)} samples share place, medium, horizon and depth with another of no "
                f"earlier date; all are used: {name_some(ids)}. If some are duplicates, give them "
                "the role field_duplicate and their parent.",
                column="x", sample_id=ids[0],
            )
        )  # fmt: skip
    return replaced, tuple(findings)
