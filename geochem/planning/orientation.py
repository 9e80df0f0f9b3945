"""Orientation survey: which fraction, horizon and digestion shows the target best."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from geochem.errors import WrongCall
from geochem.model.finding import Finding
from geochem.model.tables import assays_of, values_of

if TYPE_CHECKING:
    import pandas as pd

COLUMNS = [
    "medium", "element", "assay", "digestion", "fraction_um", "horizon", "n_over",
    "n_background", "below_pct", "median_over", "median_background", "contrast", "separation",
    "above_background", "rank",
]  # fmt: skip

#: fewer samples on either side say nothing
_LEAST = 3


def compare_contrast(
    samples: pd.DataFrame,
    over: Sequence[bool | None],
    *,
    elements: Sequence[str] | None = None,
    analytes: pd.DataFrame | None = None,
) -> tuple[pd.DataFrame, tuple[Finding, ...]]:
    """Compare samples over known mineralisation with background, per way of sampling.

    A large contrast of medians is no use when both sides scatter; ways are ranked by the chance
    that a sample over mineralisation reads higher than one from background (ties count half),
    then by separation.

    Parameters
    ----------
    samples : pandas.DataFrame
        A samples table with `medium`, and `fraction_um` and `horizon` where they were varied.
    over : sequence of bool or None, shape (n_samples,)
        True over mineralisation, False over background, None elsewhere.
    elements : sequence of str, optional
        Default: all with a value.
    analytes : pandas.DataFrame, optional
        Contract `tables.ANALYTES`: names the digestion of an assay.

    Returns
    -------
    table : pandas.DataFrame
        One row per medium, element, assay, fraction and horizon, best first per medium and
        element. `contrast` is median over / median background; `separation` the difference of
        medians of log10 in robust standard deviations; `above_background` the chance described
        above. Medians in mg/kg; values below detection count as their limit.
    findings : tuple of Finding
        What was left out.

    Raises
    ------
    WrongCall
        If `over` has another length or names only one side.
    """
    import pandas as pd

    from geochem.stats.robust import mad

    if len(over) != len(samples):
        raise WrongCall(f"'over' has {len(over)} entries for {len(samples)} samples.")
    yes = np.array([side is not None and bool(side) for side in over], dtype=bool)
    no = np.array([side is not None and not side for side in over], dtype=bool)
    if not yes.any() or not no.any():
        raise WrongCall(
            "an orientation survey needs samples over mineralisation and over background; only "
            f"{int(yes.sum())} and {int(no.sum())} are marked."
        )
    groups = _ways(samples)
    known = [c[:-4] for c in samples.columns if str(c).endswith("_ppm")]
    rows, thin = [], 0
    for element in elements or known:
        for assay in (*assays_of(samples, element),) or (None,):
            values = values_of(samples, element, assay)
            usable = np.isfinite(values.value) & (values.value > 0)
            for key, here in groups.items():
                a, b = here & yes & usable, here & no & usable
                if a.sum() < _LEAST or b.sum() < _LEAST:
                    thin += int(a.any() or b.any())
                    continue
                log = np.log10(values.value)
                middle = float(np.median(log[a])), float(np.median(log[b]))
                spread = np.sqrt(0.5 * (mad(log[a]) ** 2 + mad(log[b]) ** 2))
                either = a | b
                rows.append(
                    {
                        "medium": key[0], "element": element, "assay": assay or "accepted",
                        "digestion": _digestion(analytes, assay, element),
                        "fraction_um": key[1], "horizon": key[2], "n_over": int(a.sum()),
                        "n_background": int(b.sum()),
                        "below_pct": 100.0 * float(values.below[either].mean()),
                        "median_over": 10 ** middle[0], "median_background": 10 ** middle[1],
                        "contrast": 10 ** (middle[0] - middle[1]),
                        "separation": (middle[0] - middle[1]) / spread if spread > 0 else np.nan,
                        "above_background": _above(
                            values.value[a], values.below[a], values.value[b], values.below[b]
                        ),
                    }
                )  # fmt: skip
    table = pd.DataFrame(rows, columns=COLUMNS)
    by = ["medium", "element", "above_background", "separation"]
    table = table.sort_values(
        [*by, "assay", "horizon"], ascending=[True, True, False, False, True, True], kind="stable"
    ).reset_index(drop=True)
    table["rank"] = table.groupby(["medium", "element"]).cumcount() + 1
    findings = []
    if thin:
        findings.append(
            Finding(
                "orientation-thin",
                "note",
                f"{thin} ways of sampling have fewer than {_LEAST} samples on one side and are not "
                "compared.",
            )
        )
    return table, tuple(findings)


def _ways(samples: pd.DataFrame) -> dict[tuple[str, float, str], npt.NDArray[np.bool_]]:
    """Group samples by medium, fraction and horizon."""
    n = len(samples)

    def column(name: str) -> list[Any]:
        return list(samples[name]) if name in samples.columns else [None] * n

    keys = [
        ("" if m is None or m != m else str(m), float("nan") if f is None else float(f),
         "" if h is None or h != h else str(h))
        for m, f, h in zip(column("medium"), column("fraction_um"), column("horizon"), strict=True)
    ]  # fmt: skip
    # NaN is not equal to itself: group by text
    texts = np.array([repr(k) for k in keys], dtype=object)
    found = {repr(k): k for k in keys}
    return {found[t]: texts == t for t in sorted(found)}


def _digestion(analytes: pd.DataFrame | None, assay: str | None, element: str) -> str:
    if analytes is None or assay is None:
        return ""
    mine = analytes.loc[(analytes["assay"] == assay) & (analytes["element"] == element)]
    named = mine["digestion"].dropna()
    return str(named.iloc[0]) if len(named) else ""


def _above(
    a: npt.NDArray[np.float64],
    a_below: npt.NDArray[np.bool_],
    b: npt.NDArray[np.float64],
    b_below: npt.NDArray[np.bool_],
) -> float:
    """Give the chance that one of a is higher than one of b; what is not known counts half."""
    higher = (a[:, None] > b[None, :]) & ~a_below[:, None]
    lower = (a[:, None] < b[None, :]) & ~b_below[None, :]
    return float((higher + 0.5 * ~(higher | lower)).mean())
