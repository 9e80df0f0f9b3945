"""The laboratory view: jobs sent and back, and whether what read high came back high."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.elements import element_rank
from geochem.outputs.figures.layout import Caption, finished, new_page, place
from geochem.outputs.figures.style import ACCENT, INK, RAMP, literal, styled

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from geochem.model.bundle import CampaignInfo


@styled
def draw_laboratory(
    jobs: pd.DataFrame,
    hits: pd.DataFrame,
    *,
    info: CampaignInfo | None = None,
    caption: Caption | None = None,
) -> Figure:
    """Draw returned and outstanding samples by job, and hit rates by element.

    Parameters
    ----------
    jobs, hits : pandas.DataFrame
        `model.quality.JOBS` and `HITS`.
    info, caption
        As in `draw_samples`.

    Returns
    -------
    Figure
        A page.
    """
    page = new_page()
    left = place(page, (1.25, 1.0, 2.75, 4.0))
    shown = jobs.tail(20).iloc[::-1]
    at = np.arange(len(shown))
    back = shown["n_returned"].fillna(0).to_numpy(dtype=float)
    out = shown["n_outstanding"].fillna(0).to_numpy(dtype=float)
    left.barh(at, back, color=RAMP[2], gid="returned", label="back")
    some = out > 0
    left.barh(at[some], out[some], left=back[some], color="none", edgecolor=ACCENT, hatch="///",
              gid="outstanding", label="outstanding")  # fmt: skip
    rows: list[Any] = list(shown.itertuples())
    for k, row in enumerate(rows):
        days = (
            row.waiting_days if out[k] and np.isfinite(row.waiting_days) else (row.turnaround_days)
        )
        if days == days:
            left.text(
                0.02 * max(back.max(), out.max(), 1), k, f"{days:.0f} d", size=7, va="center"
            )
    left.set_yticks(at, [literal(str(j or "no name"), 18) for j in shown["job"]])
    left.set_xlabel("samples", labelpad=1)
    left.set_title("Jobs: turnaround or waiting", pad=3)
    if len(shown):
        left.legend(loc="lower right", fontsize=7, frameon=False)
    right = place(page, (4.75, 1.0, 4.5, 4.0))
    known = hits[hits["n_high"].fillna(0) > 0]
    counts = known.groupby(["medium", "assay", "reference_assay"], dropna=False)["n_high"].sum()
    if len(counts):
        best: Any = counts.sort_index().idxmax()
        medium, assay, reference = best
        same = known["medium"].eq(medium) if isinstance(medium, str) else known["medium"].isna()
        known = known[same & (known["assay"] == assay) & (known["reference_assay"] == reference)]
        known = known.sort_values("element", key=lambda s: s.map(lambda e: element_rank(e)[0]))
        x = np.arange(len(known))
        rate = known["hit_rate_pct"].to_numpy(dtype=float)
        right.vlines(x, known["hit_low_pct"], known["hit_high_pct"], color=RAMP[3], lw=1.2)
        right.plot(x, rate, "o", ms=5, color=RAMP[5], gid="hit rate")
        marks: list[Any] = list(known.itertuples())
        for k, row in enumerate(marks):
            right.text(k, 103, f"{row.n_confirmed}/{row.n_high}", size=6.5, ha="center",
                       rotation=90, va="bottom")  # fmt: skip
        right.set_xticks(x, known["element"].tolist())
        right.set_title(literal(f"{assay} high, high in {reference}", 50), pad=3)
    right.axhline(60, color=INK, lw=0.6, ls=":")
    right.set_ylim(0, 125)
    right.set_yticks([0, 20, 40, 60, 80, 100])
    right.set_ylabel("hit rate [%]", labelpad=1)
    words = (
        "Left: samples back and outstanding by job. Right: share of high readings that the "
        "laboratory found high too, 90 % interval, with the counts above."
    )
    return finished(page, "Laboratory", words, info=info, caption=caption)
