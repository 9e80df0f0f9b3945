"""Drift of standards: within each batch, over the campaign, and where the level changes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from geochem.elements import element_rank
from geochem.model.finding import Finding, name_some
from geochem.model.quality import DRIFT
from geochem.model.tables import conform
from geochem.quality.arrange import BATCH_KEY, by_text, records
from geochem.quality.limits import QualityLimits
from geochem.stats.drift import change_point, grouped_lines

if TYPE_CHECKING:
    import pandas as pd

Floats = npt.NDArray[np.float64]

_CHART = ["assay", "instrument", "mode", "element"]
#: batches needed to speak of the campaign
LEAST_BATCHES = 6
#: chance of a warning without drift, shared among the series of one assay
_ALARM = 0.05


def relative_readings(checks: pd.DataFrame) -> pd.DataFrame:
    """Give the judged readings of standards relative to their usual value.

    Parameters
    ----------
    checks : pandas.DataFrame
        From `check_standards`.

    Returns
    -------
    pandas.DataFrame
        Rows of `checks` with ``away`` (share of the usual value), ``weight`` (1 / variance) and
        ``hours`` since the first reading of the batch (NaN when only days are known).
    """
    rows = checks[(checks["judged"] & checks["own_z"].notna()).to_numpy(dtype=bool)]
    rows = rows.assign(
        away=rows["value"] / rows["centre"] - 1.0, weight=(rows["centre"] / rows["spread"]) ** 2
    )
    date = rows["date_read"]
    start = rows.groupby(BATCH_KEY, sort=False, observed=True)["date_read"].transform("min")
    hours = (date - start).dt.total_seconds() / 3600
    timed = (
        (date.dt.normalize() != date)
        .groupby([rows[k] for k in BATCH_KEY], observed=True)
        .transform("any")
    )
    return rows.assign(hours=hours.where(timed))


def find_drift(checks: pd.DataFrame, limits: QualityLimits) -> tuple[pd.DataFrame, list[Finding]]:
    """Fit the drift within every batch and over the campaign.

    Within a batch: a line through the relative readings of all standards, with the scatter pooled
    over the batches of an instrument. Over the campaign: a line and a change point through the
    means of the batches. A warning needs a change of `departure_warn_pct` and a p below 0.05
    divided by the number of series of the assay that were tried.

    Parameters
    ----------
    checks : pandas.DataFrame
        From `check_standards`.
    limits : QualityLimits
        ``departure_warn_pct``.

    Returns
    -------
    table : pandas.DataFrame
        Contract `DRIFT`; intervals are 90 %.
    findings : list of Finding
        One per assay and scope that warns.
    """
    import pandas as pd

    rows = relative_readings(checks)
    if rows.empty:
        return conform(pd.DataFrame(), DRIFT), []
    parts = [_within(rows, limits), _campaign(rows, limits)]
    table = conform(pd.concat([p for p in parts if len(p)] or parts, ignore_index=True), DRIFT)
    return table, _findings(table)


def _within(rows: pd.DataFrame, limits: QualityLimits) -> pd.DataFrame:
    import pandas as pd

    rows = rows[rows["hours"].notna()]
    if rows.empty:
        return pd.DataFrame(columns=list(DRIFT))
    key = [*BATCH_KEY, "element"]
    grouped = rows.groupby(key, sort=True, observed=True)
    group = grouped.ngroup().to_numpy()
    table = rows.assign(group=group).drop_duplicates("group").sort_values("group")[key]
    table = table.reset_index(drop=True)
    pool = table.groupby(_CHART, sort=True, observed=True).ngroup().to_numpy()
    lines = grouped_lines(
        group, rows["hours"].to_numpy(float), rows["away"].to_numpy(float),
        rows["weight"].to_numpy(float), pool,
    )  # fmt: skip
    change = 100 * lines.slope * lines.span
    half = 100 * lines.half_width() * lines.span
    p = lines.p_slope()
    table = table.assign(
        scope="batch", n=lines.n, span=lines.span, span_unit="h", change_pct=change,
        change_low=change - half, change_high=change + half, p=p,
    )  # fmt: skip
    table = table[np.isfinite(change)]
    return _judged(table, limits, "within the batch")


def _campaign(rows: pd.DataFrame, limits: QualityLimits) -> pd.DataFrame:
    import pandas as pd

    weighted = rows.assign(sum=rows["away"] * rows["weight"])
    batch = weighted.groupby([*_CHART, "batch"], sort=True, observed=True).agg(
        sum=("sum", "sum"), weight=("weight", "sum"), date=("date_read", "min")
    )
    batch["away"] = batch["sum"] / batch["weight"]
    batch = batch[batch["date"].notna()].reset_index()
    out: list[dict[str, object]] = []
    for key, part in by_text(batch, _CHART):
        if len(part) < LEAST_BATCHES or part["date"].nunique() < 3:
            continue
        part = part.sort_values(["date", "batch"], kind="stable")
        days = (part["date"] - part["date"].min()).dt.total_seconds().to_numpy(float) / 86400
        away = part["away"].to_numpy(float)
        # One bad batch is a matter of that batch: pulled in before the line is drawn.
        middle = float(np.median(away))
        reach = 3 * 1.4826 * float(np.median(np.abs(away - middle)))
        held = np.clip(away, middle - reach, middle + reach) if reach > 0 else away
        line = grouped_lines(np.zeros(len(days)), days, held, np.ones(len(days)), [0])
        span = float(line.span[0])
        change, half = 100 * float(line.slope[0]) * span, 100 * float(line.half_width()[0]) * span
        first, shift, p_break = change_point(away)
        out.append(
            {
                **dict(zip(_CHART, key, strict=True)), "scope": "campaign", "n": len(part),
                "span": span, "span_unit": "d", "change_pct": change, "change_low": change - half,
                "change_high": change + half, "p": float(line.p_slope()[0]),
                "break_at": part["date"].iloc[first], "break_pct": 100 * shift,
                "break_p": p_break,
            }
        )  # fmt: skip
    return _judged(pd.DataFrame(out, columns=list(DRIFT)), limits, "over the campaign")


def _judged(table: pd.DataFrame, limits: QualityLimits, words: str) -> pd.DataFrame:
    if table.empty:
        return table
    tried = (
        table.groupby("assay", observed=True)["element"].transform("size").to_numpy(dtype=float)
    )
    chance = _ALARM / tried
    p, change = table["p"].to_numpy(float), table["change_pct"].to_numpy(float)
    bad = (p < chance) & (np.abs(change) >= limits.departure_warn_pct)
    broke = np.zeros(len(table), dtype=bool)
    if "break_p" in table:
        size = np.abs(table["break_pct"].to_numpy(float))
        broke = (table["break_p"].to_numpy(float) < chance) & (size >= limits.departure_warn_pct)
    reasons: list[str | None] = []
    for row, slope, jump in zip(records(table), bad, broke, strict=True):
        said = []
        if slope:
            said.append(
                f"changes by {row['change_pct']:+.0f} % ({row['change_low']:+.0f} to "
                f"{row['change_high']:+.0f}) {words} of {row['span']:.1f} {row['span_unit']}"
            )
        if jump:
            said.append(
                f"level shifts by {row['break_pct']:+.0f} % from {row['break_at']:%Y-%m-%d}"
            )
        reasons.append("; ".join(said) or None)
    verdict = np.where(bad | broke, "warn", "pass").astype(object)
    return table.assign(verdict=verdict, reason=np.array(reasons, dtype=object))


def _findings(table: pd.DataFrame) -> list[Finding]:
    out: list[Finding] = []
    bad = table[table["verdict"] == "warn"].fillna({"instrument": "", "batch": ""})
    for (assay, instrument, scope), part in by_text(bad, ["assay", "instrument", "scope"]):
        rows = sorted(records(part), key=lambda r: (r["batch"], element_rank(r["element"])))
        named = [" ".join(x for x in (r["batch"], r["element"], r["reason"]) if x) for r in rows]
        where = f"{assay}{' / ' + instrument if instrument else ''}"
        when = "within batches" if scope == "batch" else "over the campaign"
        out.append(
            Finding(
                "standards-drift", "warning",
                f"{where}: standards drift {when}: {name_some(named)}. Let the instrument settle "
                f"and read standards more often; [quality] options = {{ drift = \"linear\" }} or "
                f"\"bracket\" corrects it and shows before and after.",
            )
        )  # fmt: skip
    return out
