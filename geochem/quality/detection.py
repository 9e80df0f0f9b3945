"""Detection limits that the campaign's own controls support, against those stated or reported."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.elements import SYMBOLS, element_rank
from geochem.model.finding import Finding, name_some
from geochem.model.quality import DETECTION
from geochem.model.tables import conform
from geochem.quality.arrange import Arranged, blank_to_none, by_text, places
from geochem.quality.blanks import ROLES as BLANKS
from geochem.quality.limits import QualityLimits
from geochem.stats.detection_limits import blank_detection_limit, three_sigma
from geochem.stats.precision import method_detection_limit

if TYPE_CHECKING:
    import pandas as pd

_SERIES = ["assay", "instrument", "mode", "element"]
#: replicates from which a standard deviation is taken (40 CFR Part 136, Appendix B)
LEAST = 7
#: a low sample holds at most so many detection limits; the standard wants 1 to 5, up to 10 allowed
#: (40 CFR Part 136, Appendix B, from memory)
LOW_UP_TO = 10.0


def detection_limits(
    arranged: Arranged, analytes: pd.DataFrame, limits: QualityLimits
) -> tuple[pd.DataFrame, list[Finding]]:
    """Find detection limits from blanks, replicates of a low sample and counting errors.

    Blanks are instrument or pulp blanks, else all; ``<`` blanks have no number and give no
    standard deviation. The low sample is the standard or repeated blank nearest above detection.

    Parameters
    ----------
    arranged : Arranged
        Results and controls.
    analytes : pandas.DataFrame
        Contract `tables.ANALYTES`: the stated limits.
    limits : QualityLimits
        ``detection_warn_ratio``.

    Returns
    -------
    table : pandas.DataFrame
        Contract `DETECTION`; ``found`` is the largest of those the controls support. [mg/kg]
    findings : list of Finding
        Elements whose stated or reported limit is too good.
    """
    import pandas as pd

    table = _from_results(arranged)
    if table.empty:
        return conform(table, DETECTION), []
    stated = analytes.assign(stated=pd.to_numeric(analytes["limit_low"]))
    stated = stated.groupby(["assay", "element"], observed=True)["stated"].median().reset_index()
    table = table.merge(stated, on=["assay", "element"], how="left", validate="m:1")
    for more in (_from_blanks(arranged), _from_low(arranged)):
        table = table.merge(more, on=_SERIES, how="left", validate="1:1")
    supported = table[["from_counting", "blank_3s", "blank_mdl", "low_3s", "low_mdl"]].astype(
        float
    )
    table["found"] = supported.max(axis=1)
    claimed = table["stated"].fillna(table["reported"])
    own = table[["blank_3s", "blank_mdl", "low_3s", "low_mdl"]].astype(float).max(axis=1)
    ratio = own / claimed
    warn = (ratio > limits.detection_warn_ratio).to_numpy()
    verdict = np.where(ratio.isna(), "not judged", np.where(warn, "warn", "pass"))
    table["verdict"] = verdict.astype(object)
    reason = np.full(len(table), None, dtype=object)
    for i in np.flatnonzero(warn):
        reason[i] = (
            f"controls support {own.iloc[i]:.3g} ppm, {ratio.iloc[i]:.1f} x the "
            f"{'stated' if np.isfinite(table['stated'].iloc[i]) else 'reported'} limit of "
            f"{claimed.iloc[i]:.3g}"
        )
    silent = own.isna().to_numpy()
    reason[silent] = "fewer than 7 numeric blanks or replicates of a low sample"
    table["reason"] = reason
    table["rank"] = [element_rank(str(e)) for e in table["element"]]
    table = table.sort_values([*_SERIES[:3], "rank"], kind="stable")
    return conform(blank_to_none(table), DETECTION), (
        _findings(table[warn[table.index.to_numpy()]])
    )


def _from_results(arranged: Arranged) -> pd.DataFrame:
    import pandas as pd

    results = arranged.results
    below = results["below"].to_numpy(dtype=bool)
    value, err = results["value"].to_numpy(dtype=float), results["err"].to_numpy(dtype=float)
    rows: list[tuple[object, ...]] = []
    for key, at in places(results, _SERIES):
        under, counted = value[at[below[at]]], np.nan
        low = at[~below[at] & np.isfinite(err[at])]
        if len(low):
            # The error near nothing: the lowest tenth of detected values.
            near = low[value[low] <= np.quantile(value[low], 0.1)]
            three_s = 3 * float(np.median(err[near]))
            # Far above detection the error of counting says nothing about it.
            if float(np.median(value[near])) <= LOW_UP_TO * three_s:
                counted = three_s
        rows.append((*key, float(np.median(under)) if len(under) else np.nan, counted))
    out = pd.DataFrame(rows, columns=[*_SERIES, "reported", "from_counting"])
    for name in _SERIES:
        out[name] = out[name].astype(object)
    return out[out["element"].isin(SYMBOLS)].reset_index(drop=True)


def _from_blanks(arranged: Arranged) -> pd.DataFrame:
    import pandas as pd

    rows = arranged.controls[arranged.controls["role"].isin(BLANKS)]
    found: list[dict[str, object]] = []
    for key, part in by_text(rows, _SERIES):
        clean = part[part["role"].isin(["blank", "pulp_blank"])]
        part = clean if len(clean) >= LEAST else part
        # Different blanks hold different amounts: the one with most results.
        part = part[part["standard"] == part["standard"].value_counts(sort=False).idxmax()]
        value, real = part["value"].to_numpy(float), ~part["below"].to_numpy(dtype=bool)
        row: dict[str, object] = {**dict(zip(_SERIES, key, strict=True)), "n_blank": len(part)}
        if real.all() and len(part) >= LEAST:
            row["blank_3s"] = three_sigma(value)
        if len(part) >= LEAST:
            # A blank of natural material holds the element itself: only its scatter counts then.
            held = float(np.median(value)) > 3 * float(np.std(value, ddof=1)) and real.all()
            row["blank_mdl"] = (
                method_detection_limit(value) if held else blank_detection_limit(value, real)
            )
        found.append(row)
    return pd.DataFrame(found, columns=[*_SERIES, "n_blank", "blank_3s", "blank_mdl"])


def _from_low(arranged: Arranged) -> pd.DataFrame:
    import pandas as pd

    rows = arranged.with_limits(arranged.controls[arranged.controls["role"] == "standard"])
    found: list[dict[str, object]] = []
    usual = rows.groupby([*_SERIES, "standard"], sort=False, observed=True)["value"].transform(
        "median"
    )
    rows = rows[(usual <= LOW_UP_TO * rows["limit"]).to_numpy()]
    for key, part in by_text(rows, _SERIES):
        best: tuple[float, str, pd.DataFrame] | None = None
        for (name,), one in by_text(part, ["standard"]):
            level = float(one["value"].median())
            if (
                len(one) >= LEAST
                and not one["below"].any()
                and 0 < level <= LOW_UP_TO * float(one["limit"].median())
                and (best is None or level < best[0])
            ):
                best = (level, name, one)
        if best is None:
            continue
        value = best[2]["value"].to_numpy(float)
        # Between batches a standard also drifts: the scatter within batches is what counts.
        inside = value - best[2].groupby("batch", observed=True)["value"].transform(
            "mean"
        ).to_numpy(float)
        freedom = len(value) - best[2]["batch"].nunique()
        if freedom >= LEAST - 1:
            inside = inside * np.sqrt((len(value) - 1) / freedom)
            value = inside
        found.append(
            {
                **dict(zip(_SERIES, key, strict=True)), "n_low": len(value),
                "low_sample": best[1] or None, "low_3s": three_sigma(value),
                "low_mdl": method_detection_limit(value),
            }
        )  # fmt: skip
    return pd.DataFrame(found, columns=[*_SERIES, "n_low", "low_sample", "low_3s", "low_mdl"])


def _findings(bad: pd.DataFrame) -> list[Finding]:
    out: list[Finding] = []
    for (assay,), part in by_text(bad, ["assay"]):
        named = [f"{e} ({r})" for e, r in zip(part["element"], part["reason"], strict=True)]
        out.append(
            Finding(
                "detection-limit-optimistic", "note",
                f"{assay}: the stated detection limit is better than blanks and replicates "
                f"support for {name_some(list(dict.fromkeys(named)))}. Give limits = {{ ... }} in "
                f"the campaign file if values near it are to be treated as not detected.",
            )
        )  # fmt: skip
    return out
