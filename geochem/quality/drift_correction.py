"""Drift correction of portable XRF by its standards: an explicit option, with before and after.

A batch and element is corrected only where its standards depart from their usual value beyond
chance and where predicting each standard from the others comes closer than leaving it as read;
elsewhere a correction would only add the noise of the standards.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from geochem.model.finding import Finding, name_some
from geochem.model.quality import DRIFT_CORRECTION
from geochem.model.tables import STANDARDS, conform, value_column
from geochem.quality.arrange import BATCH_KEY, arrange, blank_to_none, categories, places
from geochem.quality.drift import relative_readings
from geochem.quality.limits import QualityLimits
from geochem.quality.standards import check_standards
from geochem.stats.drift import bracket, grouped_lines, left_out_brackets, left_out_line

if TYPE_CHECKING:
    import pandas as pd

    from geochem.model.survey import Survey

Floats = npt.NDArray[np.float64]

_KEY = [*BATCH_KEY, "element"]
_CHART = ["assay", "instrument", "mode", "element"]
#: hours and departures between which to interpolate, their error, when the hours began
_Model = tuple[Floats, Floats, float, Any]
#: standards read within this time are one bracket [h]
GAP_H = 0.17
#: chance of correcting a batch and element that does not drift
_CHANCE = 0.01


def correct_drift(
    survey: Survey, standards: pd.DataFrame, limits: QualityLimits
) -> tuple[Survey, pd.DataFrame, list[Finding]]:
    """Correct readings by the standards read in the same batch.

    ``linear``: a straight line through the departures of all standards of the batch; ``bracket``:
    between the standards before and after. Every value, limit and error is divided by one plus
    the departure at its time; the error takes in that of the correction.

    Parameters
    ----------
    survey : Survey
        Not changed.
    standards : pandas.DataFrame
        Contract `tables.STANDARDS`; may be empty: drift is measured against the usual values.
    limits : QualityLimits
        ``drift``: "linear" or "bracket"; anything else corrects nothing.

    Returns
    -------
    survey : Survey
        With corrected ``results``, ``controls`` and per-assay columns; ``raw`` stays as delivered.
    table : pandas.DataFrame
        Contract `DRIFT_CORRECTION`: root-mean-square departure of the standards from their usual
        value before and after [%], after from the standards that were left out in turn.
    findings : list of Finding
        What was corrected.

    References
    ----------
    .. [1] Correction between bracketing standards: common practice, no source; leaving out in
       turn: Stone 1974, Journal of the Royal Statistical Society B 36:111-147.
    """
    import pandas as pd

    empty = conform(pd.DataFrame(), DRIFT_CORRECTION)
    if limits.drift not in ("linear", "bracket"):
        return survey, empty, []
    checks, _ = check_standards(arrange(survey), conform(standards, STANDARDS), limits)
    rows = relative_readings(checks) if len(checks) else checks
    rows = rows[(rows["source"] == "pxrf") & rows["hours"].notna()] if len(rows) else rows
    if rows.empty:
        return survey, empty, [
            Finding(
                "drift-not-corrected", "warning",
                "a drift correction was asked for, but no standards with times of reading are "
                "clear of the detection limit; nothing was corrected.",
            )
        ]  # fmt: skip
    table, models = _models(rows, limits.drift)
    done = table[table["corrected"]]
    if len(done):
        survey = _apply(survey, done, models)
    return survey, conform(blank_to_none(table), DRIFT_CORRECTION), [_finding(table, limits.drift)]


def _models(rows: pd.DataFrame, method: str) -> tuple[pd.DataFrame, dict[tuple[str, ...], _Model]]:
    import pandas as pd
    from scipy.stats import f

    rows = rows.sort_values([*_KEY, "hours", "sample_id"], kind="stable")
    group = rows.groupby(_KEY, sort=True, observed=True).ngroup().to_numpy()
    table = rows.assign(group=group).drop_duplicates("group")[_KEY].reset_index(drop=True)
    pool = table.groupby(_CHART, sort=True, observed=True).ngroup().to_numpy()
    time, away = rows["hours"].to_numpy(float), rows["away"].to_numpy(float)
    weight = rows["weight"].to_numpy(float)
    lines = grouped_lines(group, time, away, weight, pool)
    with np.errstate(divide="ignore", invalid="ignore"):
        size = (lines.level / lines.level_se) ** 2 + (lines.slope / lines.slope_se) ** 2
        chance = f.sf(size / 2, 2, lines.freedom)
    edges = np.searchsorted(group, np.arange(len(table) + 1))
    before, after = np.full(len(table), np.nan), np.full(len(table), np.nan)
    reasons: list[str] = []
    models: dict[tuple[str, ...], _Model] = {}
    for k in range(len(table)):
        at = slice(edges[k], edges[k + 1])
        t, y = time[at], away[at]
        before[k] = 100 * float(np.sqrt(np.mean(y**2)))
        if len(t) < 3 or not (np.diff(t) > GAP_H).any():
            reasons.append("fewer than three standards, or all at one time")
            continue
        guess = left_out_line(t, y) if method == "linear" else left_out_brackets(t, y, GAP_H)
        after[k] = 100 * float(np.sqrt(np.mean(((1 + y) / (1 + guess) - 1) ** 2)))
        if not chance[k] < _CHANCE:
            reasons.append("no drift beyond chance")
        elif not after[k] < before[k]:
            reasons.append("the standards do not come closer")
        else:
            reasons.append("")
            if method == "linear":
                ends = np.array([t.min(), t.max()])
                y = lines.level[k] + lines.slope[k] * (ends - lines.middle[k])
                t = ends
            key = tuple(str(v) for v in table.loc[k, _KEY])
            row = rows.iloc[edges[k]]
            start = row["date_read"] - pd.Timedelta(hours=float(row["hours"]))
            models[key] = (t, y, float(lines.level_se[k]), start)
    done = np.array([r == "" for r in reasons])
    return (
        table.assign(
            method=method, n=lines.n, before_pct=before, after_pct=after, corrected=done,
            reason=np.array(reasons, dtype=object),
        ),
        models,
    )  # fmt: skip


def _apply(
    survey: Survey,
    done: pd.DataFrame,
    models: dict[tuple[str, ...], _Model],
) -> Survey:
    results, factors = _corrected(survey.results, done, models)
    controls, _ = _corrected(survey.controls, done, models)
    return replace(
        survey,
        results=results,
        controls=controls,
        samples=_wide(survey.samples, factors),
        unlocated=_wide(survey.unlocated, factors),
    )


def _corrected(
    frame: pd.DataFrame,
    done: pd.DataFrame,
    models: dict[tuple[str, ...], _Model],
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Give the table with corrected values, and factor and error of every value touched."""
    import pandas as pd

    keep = frame["batch"].fillna("").isin(set(done["batch"])).to_numpy()
    keep = keep & frame["element"].isin(set(done["element"])).to_numpy()
    at = np.flatnonzero(keep)
    some = frame.iloc[at][[*_KEY, "sample_id", "date_read"]]
    some = some.assign(**{k: categories(some[k]) for k in _KEY})
    factor, spread = np.ones(len(at)), np.zeros(len(at))
    for key, place in places(some, _KEY):
        model = models.get(key)
        if model is None:
            continue
        t, y, error, start = model
        hours = (some["date_read"].iloc[place] - start).dt.total_seconds() / 3600
        when = hours.fillna(float(t.mean())).to_numpy(dtype=float)
        factor[place] = 1.0 / (1.0 + bracket(t, y, when, 0.0))
        spread[place] = error
    value, err = frame["value"].to_numpy(float, copy=True), frame["err"].to_numpy(float, copy=True)
    value[at] *= factor
    err[at] = np.where(
        factor == 1.0, err[at], np.hypot(err[at] * factor, np.where(spread, spread, 0) * value[at])
    )
    touched = some[["assay", "element", "sample_id"]].assign(factor=factor, spread=spread)
    touched = touched[touched["factor"] != 1.0]
    return frame.assign(value=value, err=err), pd.DataFrame(touched)


def _wide(frame: pd.DataFrame, factors: pd.DataFrame) -> pd.DataFrame:
    """Scale the per-assay columns by the mean factor of each sample's shots."""
    if factors.empty or frame.empty:
        return frame
    means = factors.groupby(["assay", "element", "sample_id"], sort=True, observed=True)[
        ["factor", "spread"]
    ].mean()
    columns: dict[str, Floats] = {}
    for key, part in means.groupby(level=["assay", "element"], sort=True):
        name = value_column(str(key[1]), str(key[0]))
        if name not in frame.columns:
            continue
        mine = part.droplevel(["assay", "element"]).reindex(frame["sample_id"])
        factor = mine["factor"].fillna(1.0).to_numpy()
        value = frame[name].to_numpy(dtype=float) * factor
        columns[name] = value
        if name + "_err" in frame.columns:
            err = frame[name + "_err"].to_numpy(dtype=float) * factor
            columns[name + "_err"] = np.hypot(err, mine["spread"].fillna(0.0).to_numpy() * value)
    return frame.assign(**columns)


def _finding(table: pd.DataFrame, method: str) -> Finding:
    done = table[table["corrected"]]
    if done.empty:
        return Finding(
            "drift-not-corrected", "note",
            f"a {method} drift correction was asked for; no batch drifts beyond chance, so "
            f"nothing was corrected.",
        )  # fmt: skip
    named = [
        f"{b or 'no batch'} {e} {x:.1f} to {y:.1f} %"
        for b, e, x, y in zip(
            done["batch"], done["element"], done["before_pct"], done["after_pct"], strict=True
        )
    ]
    return Finding(
        "drift-corrected", "warning",
        f"{len(done)} of {len(table)} batches and elements were corrected for drift ({method}); "
        f"departure of the standards before and after: {name_some(named)}.",
    )  # fmt: skip
