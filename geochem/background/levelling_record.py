"""What levelling did, as rows of its record and as findings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.elements import element_rank
from geochem.model.background import Levelling
from geochem.model.finding import Finding, name_some

if TYPE_CHECKING:
    import numpy.typing as npt

    from geochem.model import tables
    from geochem.stats.levelling import Shifts

    Floats = npt.NDArray[np.float64]
    Flags = npt.NDArray[np.bool_]

#: two-sided 90 %
_Z90 = 1.6448536269514722
#: share of the variance from which removing it is a warning, and of that what follows the ground [%]
_MUCH, _REGIONAL = 10.0, 50.0


def group_rows(
    column: str, assay: str, element: str, labels: list[str], found: Shifts, kinds: Any,
    weight: Floats, levelled: Flags, reasons: list[str], medians: Floats | None,
) -> list[dict[str, Any]]:  # fmt: skip
    """Give one row of `LEVELLING_GROUPS` per group that has samples."""
    words = ("standards", "duplicates", "duplicates taken anew", "ground")
    out = []
    for i, label in enumerate(labels):
        if not weight[i] > 0:
            continue
        shift, error = (found.shift[i], found.error[i]) if levelled[i] else (0.0, 0.0)
        raw, raw_error = found.raw[i], found.raw_error[i]
        said = ", ".join(f"{n} {w}" for n, w in zip(kinds[i], words, strict=True) if n)
        out.append(
            {
                "column": column, "assay": assay, "group": label, "element": element,
                "n_samples": round(float(weight[i])),
                "median_before": np.nan if medians is None else medians[i, 0],
                "median_after": np.nan if medians is None else medians[i, 1],
                "n_evidence": int(kinds[i].sum()),
                "evidence": said or None, "found": 10.0**-raw,
                "found_low": 10.0 ** (-raw - _Z90 * raw_error),
                "found_high": 10.0 ** (-raw + _Z90 * raw_error),
                "factor": 10.0**-shift,
                "factor_low": 10.0 ** (-shift - _Z90 * error),
                "factor_high": 10.0 ** (-shift + _Z90 * error), "levelled": bool(levelled[i]),
                "reason": reasons[i] or None,
            }
        )  # fmt: skip
    return out


def element_row(
    column: str, xy: Floats, assay: str, element: str, found: Shifts, v: tables.Values, detected: Flags,
    moved: Floats, levelled: Flags, reasons: list[str], *, n: int,
) -> dict[str, Any]:  # fmt: skip
    """Give the row of `LEVELLING_ELEMENTS`."""
    log = np.log10(v.value[detected])
    before = float(np.var(log)) if log.size > 1 else np.nan
    after = float(np.var(log - moved[detected])) if log.size > 1 else np.nan
    main = found.tied == 0
    ratio = float(np.nanmax(found.ratio)) if np.isfinite(found.ratio).any() else np.nan
    between = found.between[main & np.isfinite(found.between)]
    return {
        "column": column, "assay": assay, "element": element, "groups": len(levelled),
        "n": n, "between_pct": 100 * (10 ** float(between[0]) - 1) if between.size else np.nan,
        "likelihood_ratio": ratio, "variance_before": before, "variance_after": after,
        "removed_pct": 100 * (1 - after / before) if before > 0 else np.nan,
        "regional_pct": _regional(xy, moved, detected) if levelled.any() else np.nan,
        "levelled": bool(levelled.any()),
        "reason": None if levelled.any() else max(set(reasons), key=lambda r: (reasons.count(r), r)),
    }  # fmt: skip


def _regional(xy: Floats, moved: Floats, rows: Flags) -> float:
    """Say how much of what was removed follows the position: a quadratic surface, in per cent."""
    keep = rows & np.isfinite(xy).all(axis=1)
    if keep.sum() < 20 or np.ptp(moved[keep]) == 0:
        return float("nan")
    p = xy[keep] - xy[keep].mean(axis=0)
    p = p / np.maximum(p.std(axis=0), 1e-9)
    x, y = p.T
    surface = np.column_stack([np.ones(len(x)), x, y, x * x, x * y, y * y])
    z = moved[keep] - moved[keep].mean()
    rest = z - surface @ np.linalg.lstsq(surface, z, rcond=None)[0]
    return 100 * float(1 - rest.var() / z.var())


def levelling_findings(record: Levelling) -> list[Finding]:
    """Say what was levelled, refused and what to look at."""
    out: list[Finding] = []
    groups, elements = record.groups, record.elements
    for column in record.by:
        rows = elements[(elements["column"] == column).to_numpy()]
        mine = groups[(groups["column"] == column).to_numpy()]
        if rows.empty:
            out.append(
                Finding(
                    "levelling-one-group", "note",
                    f"all accepted values of each assay have the same {column} or none; there was "
                    "nothing to level.",
                )
            )  # fmt: skip
            continue
        done = rows[rows["levelled"].to_numpy()]
        if len(done):
            most = done.sort_values(["removed_pct", "element"], ascending=[False, True])
            named = [
                f"{e} {r:.1f} %" for e, r in zip(most["element"], most["removed_pct"], strict=True)
            ]
            out.append(
                Finding(
                    "levelled", "note",
                    f"{len(done)} of {len(rows)} elements were levelled by {column} on "
                    f"{' and '.join(record.evidence)}; variance of log10 values removed: "
                    f"{name_some(named, 8)}. Other elements do not differ beyond chance or have "
                    "no evidence.",
                )
            )  # fmt: skip
        out += [_much(column, row) for row in done.to_dict("records") if _is_much(row)]
        untied = mine[~mine["levelled"].to_numpy() & mine["found"].isna().to_numpy()]
        if len(untied) == len(mine):
            out.append(
                Finding(
                    "levelling-refused", "warning",
                    f"nothing was levelled by {column}: no two groups have enough of "
                    f"{' or '.join(record.evidence)} in common. Read the same standards, or some "
                    "samples again, in every group.",
                )
            )  # fmt: skip
        elif len(untied):
            names = sorted({str(g) for g in untied["group"]})
            lacking = sorted({str(e) for e in untied["element"]}, key=element_rank)
            out.append(
                Finding(
                    "levelling-partial", "note",
                    f"some groups of {column} have too little of {' or '.join(record.evidence)} in "
                    f"common with the others for {name_some(lacking, 6)}; there they stay as they "
                    f"were: {name_some(names)}.",
                )
            )  # fmt: skip
    return out


def _is_much(row: Any) -> bool:
    return row["removed_pct"] >= _MUCH or (
        row["removed_pct"] >= 2 and row["regional_pct"] >= _REGIONAL
    )


def _much(column: Any, row: Any) -> Finding:
    where = ""
    if row["regional_pct"] >= _REGIONAL:
        where = (
            f" {row['regional_pct']:.0f} % of what was removed follows the position on the ground: "
            "it may be a real regional change."
        )
    return Finding(
        "levelling-large", "warning",
        f"levelling {row['element']} by {column} removed {row['removed_pct']:.0f} % of the variance "
        f"of its logarithms.{where} Look at the figure of the groups before and after.",
        element=str(row["element"]),
    )  # fmt: skip
