"""Departure of standards over the campaign, with the lines within batches that drift."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.outputs.figures.layout import (
    WIDE_BOX,
    Caption,
    chart_boxes,
    finished,
    new_page,
    place,
)  # fmt: skip
from geochem.outputs.figures.style import ACCENT, INK, PAPER, RAMP, literal, styled

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from geochem.model.bundle import CampaignInfo


def drift_series(drift: pd.DataFrame) -> list[tuple[str, str, str]]:
    """List (assay, instrument, element), those that drift most clearly first."""
    rows = drift[drift["scope"] == "campaign"].fillna({"instrument": ""})
    bad = drift[drift["verdict"] == "warn"].fillna({"instrument": ""})
    key = ["assay", "instrument", "element"]
    score = rows.assign(p=rows[["p", "break_p"]].min(axis=1)).groupby(key)["p"].min()
    warned = bad.groupby(key).size()
    names = sorted(set(score.index) | set(warned.index))
    return sorted(
        ((str(a), str(i), str(e)) for a, i, e in names),
        key=lambda k: (-int(warned.get(k, 0)), float(score.get(k, 1.0)), k),
    )


def _rows(frame: pd.DataFrame) -> list[Any]:
    return list(frame.itertuples())


@styled
def draw_drift_series(
    standards: pd.DataFrame,
    drift: pd.DataFrame,
    series: tuple[str, str, str],
    *,
    ax: Axes | None = None,
) -> Axes:
    """Draw the readings of all standards of one element relative to their usual values.

    Parameters
    ----------
    standards, drift : pandas.DataFrame
        `model.quality.STANDARD_CHECKS` and `DRIFT`.
    series : (assay, instrument, element)
        Which.
    ax : Axes, optional
        Where to draw; a new page when None.

    Returns
    -------
    Axes
        The chart.
    """
    ax = place(new_page(), (0.9, 1.1, 7.9, 3.9)) if ax is None else ax
    assay, instrument, element = series
    rows = standards[
        (standards["assay"] == assay) & (standards["element"] == element)
        & (standards["instrument"].fillna("") == instrument) & standards["used"].astype(bool)
        & standards["centre"].notna() & standards["date_read"].notna()
    ]  # fmt: skip
    away = 100 * (rows["value"] / rows["centre"] - 1).to_numpy(dtype=float)
    start = rows["date_read"].min()
    day = ((rows["date_read"] - start).dt.total_seconds() / 86400).to_numpy(dtype=float)
    reach = max(float(np.quantile(np.abs(away), 0.98)) * 1.2 if len(away) else 5.0, 5.0)
    ax.axhline(0, color=INK, lw=0.8)
    ax.plot(day, np.clip(away, -reach, reach), "o", ms=2.4, mfc=RAMP[3], mec=PAPER, mew=0.3,
            gid="readings")  # fmt: skip
    mine = drift[
        (drift["assay"] == assay) & (drift["element"] == element)
        & (drift["instrument"].fillna("") == instrument) & (drift["verdict"] == "warn")
    ]  # fmt: skip
    for row in _rows(mine[mine["scope"] == "batch"]):
        here = (rows["batch"].fillna("") == (row.batch or "")).to_numpy()
        if here.any():
            middle = float(np.mean(away[here]))
            ends = [day[here].min(), day[here].max()]
            ax.plot(ends, [middle - row.change_pct / 2, middle + row.change_pct / 2],
                    color=ACCENT, lw=1.6, gid="drift within a batch")  # fmt: skip
    for row in _rows(mine[mine["scope"] == "campaign"]):
        if row.break_at == row.break_at:
            at = (row.break_at - start).total_seconds() / 86400
            ax.axvline(at, color=ACCENT, lw=1.0, ls="--", gid="change point")
    ax.set_ylim(-1.05 * reach, 1.05 * reach)
    ax.grid(visible=True, axis="y")
    ax.set_ylabel("from usual [%]", labelpad=1)
    ax.set_xlabel("days", labelpad=1)
    where = f", {instrument}" if instrument else ""
    ax.set_title(literal(f"{element} ({assay}{where})", 44), pad=3)
    return ax


@styled
def draw_drift(
    standards: pd.DataFrame,
    drift: pd.DataFrame,
    *,
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
) -> Figure:
    """Draw the six series that drift most clearly.

    Parameters
    ----------
    standards, drift : pandas.DataFrame
        As in `draw_drift_series`.
    info, caption
        As in `draw_samples`.

    Returns
    -------
    Figure
        A page.
    """
    page = new_page()
    chosen = drift_series(drift)[:6]
    boxes = chart_boxes(len(chosen), min(2, len(chosen) or 1), WIDE_BOX, inner=(0.7, 0.55))
    for series, box in zip(chosen, boxes, strict=True):
        draw_drift_series(standards, drift, series, ax=place(page, box))
    n = int((drift["verdict"] == "warn").sum())
    words = (
        f"Readings relative to the usual value of each standard; {n} of {len(drift)} series "
        "drift. Thick: drift within a batch; dashed: change of level."
    )
    return finished(page, "Drift of standards", words, info=info, caption=caption)
