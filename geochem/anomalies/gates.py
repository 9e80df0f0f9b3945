"""Which elements may count: what the source can be trusted with, and what the data can carry.

Portable XRF never decides on gold, platinum metals, mercury, tellurium or thallium, and on silver,
cadmium, antimony, tin, bismuth or selenium only above stated levels (`geochem.elements`), unless
a calibration to a laboratory passes, within its valid range. Laboratory values are never gated.

What lives here: one decision per medium and element, with its reason, and the mask of values that
may be used. What does not: scores.
Test to copy: `tests/anomalies/test_gates.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.elements import SYMBOLS, XRF_ABOVE, XRF_LIGHT, XRF_NEVER
from geochem.model.quality import Calibration
from geochem.model.tables import Values, value_column, values_of

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

#: more than this share below detection and an element does not count
MOST_BELOW = 0.95
#: fewer values in a medium and an element does not count
FEWEST_VALUES = 10


@dataclass(frozen=True, slots=True, eq=False)
class Gate:
    """Whether one element may count in one medium.

    Parameters
    ----------
    medium, element : str
        What it is about.
    open : bool
        May count.
    reason : str
        Why not, or on what condition; empty when there is nothing to say.
    assay, source : str
        Where the accepted value comes from; empty when not known.
    usable : ndarray of bool, shape (n_samples,)
        Values that may be used (rows of other media are False).
    """

    medium: str
    element: str
    open: bool
    reason: str
    assay: str
    source: str
    usable: npt.NDArray[np.bool_]


def decide(
    samples: pd.DataFrame,
    elements: Sequence[str],
    media: npt.NDArray[np.object_],
    analytes: pd.DataFrame,
    calibrations: Sequence[Calibration] = (),
) -> dict[tuple[str, str], Gate]:
    """Decide for each medium and element whether it may count.

    Parameters
    ----------
    samples : pandas.DataFrame
        Rows to judge, with accepted values.
    elements : sequence of str
        Elements and species with accepted values.
    media : ndarray of str, shape (n_samples,)
        Medium of each row.
    analytes : pandas.DataFrame
        Contract `tables.ANALYTES`: which assay is accepted per medium.
    calibrations : sequence of Calibration
        Those with verdict ``pass`` open a gate within their range.

    Returns
    -------
    dict of (medium, element) to Gate
        For every medium that occurs.
    """
    out: dict[tuple[str, str], Gate] = {}
    for element in elements:
        values = values_of(samples, element)
        for medium in sorted(set(media.tolist())):
            rows = media == medium
            assay, source = _accepted(analytes, medium, element)
            gate = _judge(samples, element, values, rows, assay, source, calibrations)
            out[medium, element] = Gate(medium, element, gate[0], gate[1], assay, source, gate[2])
    return out


def _judge(
    samples: pd.DataFrame,
    element: str,
    values: Values,
    rows: npt.NDArray[np.bool_],
    assay: str,
    source: str,
    calibrations: Sequence[Calibration],
) -> tuple[bool, str, npt.NDArray[np.bool_]]:
    nothing = np.zeros(len(samples), dtype=bool)
    known = rows & np.isfinite(values.value)
    n = int(known.sum())
    if element not in SYMBOLS:
        return False, "a species or a property, not an element that is scored", nothing
    if n < FEWEST_VALUES:
        return False, f"{n} values; at least {FEWEST_VALUES} are needed", nothing
    below = int((known & values.below).sum())
    if below > MOST_BELOW * n:
        return False, f"{100 * below / n:.0f} % of the values lie below detection", nothing
    seen = values.value[known & ~values.below]
    if seen.size and np.ptp(seen) == 0:
        return False, f"all {seen.size} detected values are the same number", nothing
    if source == "laboratory":
        return True, "", known
    return _xrf(samples, element, values, known, assay, source, calibrations)


def _xrf(
    samples: pd.DataFrame,
    element: str,
    values: Values,
    known: npt.NDArray[np.bool_],
    assay: str,
    source: str,
    calibrations: Sequence[Calibration],
) -> tuple[bool, str, npt.NDArray[np.bool_]]:
    nothing = np.zeros(len(samples), dtype=bool)
    restricted = element in XRF_NEVER or element in XRF_ABOVE or element in XRF_LIGHT
    if not restricted:
        return True, "", known
    passed = [
        c
        for c in calibrations
        if c.element == element and c.verdict == "pass" and (not assay or c.assay == assay)
    ]
    if passed:
        inside = _in_range(samples, element, values, passed)
        low, high = min(c.low for c in passed), max(c.high for c in passed)
        text = f"counts within the valid range of its calibration, {low:g} to {high:g} mg/kg"
        if (known & inside).sum() >= FEWEST_VALUES:
            return True, text, known & (inside | values.below)
        return False, f"fewer than {FEWEST_VALUES} values inside the calibrated range", nothing
    what = "portable XRF" if source else "a source that is not known, taken as portable XRF,"
    if element in XRF_ABOVE:
        level = XRF_ABOVE[element]
        high_enough = known & (values.value >= level) & ~values.below
        if high_enough.any():
            text = f"by {what} counts only from {level:g} mg/kg on"
            return True, text, high_enough | (known & values.below)
        return (
            False,
            f"{what} is not trusted with {element} below {level:g} mg/kg and no value reaches "
            "that; confirm by laboratory",
            nothing,
        )
    why = "too light" if element in XRF_LIGHT else "not decided"
    return False, f"{element} is {why} for {what} without a laboratory or a calibration", nothing


def _in_range(
    samples: pd.DataFrame, element: str, values: Values, passed: Sequence[Calibration]
) -> npt.NDArray[np.bool_]:
    """Say which values stand inside the range of a calibration, on the uncorrected scale."""
    inside = np.zeros(len(samples), dtype=bool)
    for c in passed:
        if value_column(element, c.assay) in samples.columns:
            raw = values_of(samples, element, c.assay)
            own = (raw.value >= c.low) & (raw.value <= c.high) & ~raw.below
            if c.samples is not None:
                own &= samples["sample_id"].isin(c.samples).to_numpy(dtype=bool)
            inside |= own
        else:  # only the corrected values are there: carry the range over the line
            ends = np.array([c.low, c.high])
            if c.log:
                ends = 10.0 ** (c.intercept + c.slope * np.log10(np.maximum(ends, 1e-12)))
            else:
                ends = c.intercept + c.slope * ends
            inside |= (values.value >= ends[0]) & (values.value <= ends[1]) & ~values.below
    return inside


def _accepted(analytes: pd.DataFrame, medium: str, element: str) -> tuple[str, str]:
    """Look up assay and source of the accepted value; empty where the table does not say."""
    if not len(analytes) or "element" not in analytes.columns:
        return "", ""
    mine = analytes[(analytes["element"] == element).to_numpy()]
    here = mine["medium"].isna() | (mine["medium"] == medium) | (mine["medium"] == "")
    mine = mine[here.to_numpy()]
    accepted = mine[mine["accepted"].to_numpy(dtype=bool)] if "accepted" in mine.columns else mine
    if len(accepted):
        row = accepted.iloc[0]
        return str(row["assay"] or ""), str(row["source"] or "")
    sources = sorted({str(s) for s in mine["source"].dropna()})
    return "", sources[0] if len(sources) == 1 else ""


def reasons(
    gates: dict[tuple[str, str], Gate], elements: Sequence[str]
) -> tuple[list[str], dict[str, str]]:
    """Part elements that count in at least one medium from those that count in none.

    Parameters
    ----------
    gates : dict
        From `decide`.
    elements : sequence of str
        In the order wanted.

    Returns
    -------
    open_elements : list of str
        May count somewhere.
    excluded : dict of str to str
        The others, with the reason (of each medium where they differ).
    """
    usable: list[str] = []
    excluded: dict[str, str] = {}
    for element in elements:
        mine = [g for (_, e), g in gates.items() if e == element]
        if any(g.open for g in mine):
            usable.append(element)
            continue
        texts = {g.reason for g in mine}
        excluded[element] = (
            mine[0].reason
            if len(texts) == 1
            else "; ".join(f"{g.medium}: {g.reason}" for g in mine)
        )
    return usable, excluded
