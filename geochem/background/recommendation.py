"""Which of the compared thresholds to take, by stated rules, with the reason in one sentence."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from geochem.background.values import MAX_BELOW, MIN_DISTINCT
from geochem.stats.robust import medcouple

if TYPE_CHECKING:
    import pandas as pd

    from geochem.model.tables import Values
    from geochem.model.threshold import Threshold

#: |medcouple| of log10 values up to which they pass for symmetric
SYMMETRIC = 0.2
#: an upper population counts with so many samples, so far above the background (in its spreads)
LEAST_IN_UPPER, APART = 15, 2.0
#: share of equal values from which on quartiles jump between steps of rounding
COARSE = 0.1
#: a second population with this share is another kind of background (`population_warnings`)
TWO_KINDS = 0.3

_USUAL = "median + 2 MAD, log"
_PLOT = "probability plot"


def recommend(
    table: pd.DataFrame, records: Mapping[str, Threshold], values: Values
) -> tuple[str, str]:
    """Recommend one row of a comparison.

    The rules, in this order (ours, after Reimann, Filzmoser & Garrett 2005, Sci. Total Environ.
    346:1-16, and Sinclair 1974, J. Geochem. Explor. 3:129-149):

    1. more than 40 % below detection or fewer than ten distinct values: the percentile of the
       censored fit, which every robust method falls back on;
    2. one background population (no other holds 30 %) and, clear of it, an upper one of at least
       15 samples whose mean lies two spreads above it: the probability plot;
    3. more than a tenth of the detected values are equal: the probability plot, which allows for
       rounding;
    4. log10 values that pass for symmetric: median + 2 MAD on log10;
    5. else Tukey's fence on log10 or, where more than a tenth lies beyond it, median + 2 MAD.

    Parameters
    ----------
    table : pandas.DataFrame
        Contract `tables.COMPARISON`.
    records : mapping of str to Threshold
        By label.
    values : Values
        What was compared.

    Returns
    -------
    label, reason : str
        Empty label when no method gave a threshold.
    """
    labels = table["label"].tolist()
    usable = table.loc[np.isfinite(table["value"].to_numpy(dtype=float)), "label"].tolist()
    if not usable:
        return "", "No method gives a threshold: " + (
            "every value is below detection." if values.below.any() else "there are no values."
        )
    ok = np.isfinite(values.value)
    share = float(values.below[ok].mean()) if ok.any() else 0.0
    seen = values.value[ok & ~values.below & (values.value > 0)]
    first = _USUAL if _USUAL in usable else usable[0]
    if share > MAX_BELOW or np.unique(seen).size < MIN_DISTINCT:
        what = (
            f"{100 * share:.0f} % of the values are below detection" if share > MAX_BELOW
            else f"there are only {np.unique(seen).size} distinct detected values"
        )  # fmt: skip
        return first, (
            f"{what[:1].upper()}{what[1:]}, so quartiles and MAD are not valid; the percentile of "
            "the censored lognormal fit stands in their place."
        )
    plot = records.get(_PLOT)
    if plot is not None and _PLOT in usable:
        words = _clear_upper(plot)
        if words:
            return _PLOT, words
        shares = [p["weight"] for p in plot.details.get("populations") or []]
        if len(shares) > 1 and sorted(shares)[-2] >= TWO_KINDS and first == _USUAL:
            return _USUAL, (
                "The values are of two kinds (populations of "
                f"{' and '.join(f'{100 * s:.0f} %' for s in sorted(shares)[:-3:-1])}): divide them "
                "by rock unit or the like first; until then the robust rule is the least misleading."
            )
    tie = float(np.unique(seen, return_counts=True)[1].max() / seen.size)
    if tie > COARSE and _PLOT in usable and plot is not None and plot.method == "probability_plot":
        return _PLOT, (
            f"The values are rounded so coarsely ({100 * tie:.0f} % are equal) that quartiles jump "
            "from step to step; the fit of populations allows for rounding."
        )
    skew = medcouple(np.log10(seen))
    usual = records.get(_USUAL)
    if abs(skew) <= SYMMETRIC and _USUAL in usable and usual is not None:
        return _USUAL, (
            f"Log10 values are close to symmetric (medcouple {skew:.2f}) and no separate upper "
            "population shows, so the robust rule holds and resists what is anomalous."
        )
    fence = "Tukey fence, log"
    if fence in usable:
        beyond = float(table.loc[[labels.index(fence)], "share"].iloc[0])
        if beyond <= 0.1:
            return fence, (
                f"Log10 values are skewed (medcouple {skew:.2f}) without a separate population; "
                f"the fence flags {100 * beyond:.1f} %, few enough for it to hold."
            )
    return first, (
        f"Log10 values are skewed (medcouple {skew:.2f}) and many lie far out; median and MAD "
        "resist up to half of them."
    )


def _clear_upper(plot: Threshold) -> str:
    """Say in a sentence that there is an upper population clear of the background; else empty."""
    populations = list(plot.details.get("populations") or [])
    place = int(plot.details.get("background", 0))
    if plot.method != "probability_plot" or place + 1 >= len(populations):
        return ""
    own, upper = populations[place], populations[place + 1 :]
    if max(p["weight"] for i, p in enumerate(populations) if i != place) >= TWO_KINDS:
        return ""  # two kinds of background: their divide is no threshold
    for p in upper:
        apart = (p["mean"] - own["mean"]) / own["sd"]
        held = p["weight"] * plot.n_used
        if held >= LEAST_IN_UPPER and apart >= APART:
            return (
                f"The probability plot shows an upper population of about {held:.0f} samples, its "
                f"median {10 ** (p['mean'] - own['mean']):.2g} times the background's; the 99th "
                "percentile of the background parts them."
            )
    return ""
