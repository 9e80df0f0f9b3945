"""What the standards of a batch cannot show: a pass without enough readings proves little."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from geochem.elements import element_rank
from geochem.model.finding import Finding, name_some
from geochem.quality.arrange import by_text
from geochem.quality.limits import QualityLimits

if TYPE_CHECKING:
    import pandas as pd


def say_blind(departures: pd.DataFrame, limits: QualityLimits) -> pd.DataFrame:
    """Add to the reason of batches that pass what their standards could not have shown.

    Parameters
    ----------
    departures : pandas.DataFrame
        From `judge_departures`.
    limits : QualityLimits
        ``xrf_bias_pct``: an error of this size must show.

    Returns
    -------
    pandas.DataFrame
        With other reasons.
    """
    blind = _blind(departures, limits) & (departures["verdict"] == "pass").to_numpy()
    reason = departures["reason"].to_numpy(dtype=object).copy()
    for i in np.flatnonzero(blind):
        n, shows = int(departures["n_clear"].iloc[i]), departures["shows_pct"].iloc[i]
        reason[i] = (
            f"{reason[i]}; {n} reading{'s' if n > 1 else ''} of standards would show an error "
            f"only from {shows:.0f} % on"
        )
    return departures.assign(reason=reason)


def power_findings(
    departures: pd.DataFrame, keys: Mapping[str, frozenset[str]], limits: QualityLimits
) -> list[Finding]:
    """Say which key elements the standards of a usual batch are too few for.

    Parameters
    ----------
    departures : pandas.DataFrame
        From `judge_departures`.
    keys : mapping of assay to frozenset of str
        Key elements.
    limits : QualityLimits
        ``xrf_bias_pct``.

    Returns
    -------
    list of Finding
        One per assay and instrument of portable XRF.
    """
    both = zip(departures["assay"], departures["element"], strict=True)
    keyed = np.array([e in keys.get(a, ()) for a, e in both], dtype=bool)
    known = (departures["source"] == "pxrf") & departures["shows_pct"].notna()
    rows = departures[known.to_numpy(dtype=bool) & keyed]
    out: list[Finding] = []
    for (assay, instrument), part in by_text(rows, ["assay", "instrument"]):
        usual = part.groupby("element", observed=True)[
            ["n_clear", "n_batches", "shows_pct", "enough"]
        ].median()
        poor = usual[usual["shows_pct"] > limits.xrf_bias_pct]
        if poor.empty:
            continue
        order = sorted(poor.index, key=element_rank)
        named = [f"{e} (from {poor['shows_pct'][e]:.0f} % on)" for e in order]
        n, n_batches = int(poor["n_clear"].median()), int(poor["n_batches"].max())
        # Beyond a dozen the readings are not what is lacking.
        more = poor["enough"].where(poor["enough"] <= 12)
        able = [e for e in order if np.isfinite(more[e])]
        advice = []
        if able:
            most = int(np.ceil(more[able].max()))
            whom = "" if len(able) == len(order) else f" for {name_some(able)}"
            advice.append(f"read {most} in a batch{whom}")
        if len(able) < len(order):
            rest = [e for e in order if e not in able]
            advice.append(
                f"for {name_some(rest)} longer readings, a richer standard or more batches to "
                f"compare with (there are {n_batches}) are needed"
            )
        where = f"{assay}{' / ' + instrument if instrument else ''}"
        out.append(
            Finding(
                "standards-too-few", "warning",
                f"{where}: {n} reading{'s' if n != 1 else ''} of standards in a batch cannot show "
                f"an error of {limits.xrf_bias_pct:g} % of {name_some(named)}; "
                f"{'; '.join(advice)}. A batch that passes may be off by less than that.",
                element=order[0] if len(order) == 1 else None,
            )
        )  # fmt: skip
    return out


def _blind(departures: pd.DataFrame, limits: QualityLimits) -> np.ndarray:
    shows = departures["shows_pct"].to_numpy(dtype=float)
    return (departures["source"] == "pxrf").to_numpy() & (shows > limits.xrf_bias_pct)
