"""Limits that a cell does not state, and errors whose sigma level nobody stated.

A bare ``<LOD`` takes, in this order: the limit of the table or the campaign; three times the
row's one-sigma error; the lowest detected value of the same instrument and mode; else it is
missing and a finding names it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from geochem.model.finding import Finding
from geochem.read.values import Kind

LEVELS = (1.0, 2.0, 3.0)
#: a level is only chosen with at least so many errors at or near the limit
MIN_ERRORS = 3


@dataclass(slots=True, eq=False)
class ValueBlock:
    """The values of one column of one file, in mg/kg (or the unit of its own).

    Parameters
    ----------
    element : str
        Symbol, species or quantity.
    name : str
        Header as delivered.
    file : str
        Of the file.
    rows : ndarray of int, shape (n,)
        Row numbers.
    value, err : ndarray, shape (n,)
        `err` as delivered level, in mg/kg.
    kind : ndarray of uint8, shape (n,)
        `Kind`.
    sigma : float, optional
        Level of `err` where the header or the user states it.
    limit : float
        Of the table or the campaign; NaN if none.
    row_limit : ndarray, shape (n,), optional
        Limit of each row, where the table has a column of them.
    inferred : ndarray of bool, shape (n,)
        Set where a limit was inferred.
    group : ndarray of int, shape (n,)
        Instrument and mode.
    columns : dict
        Everything else of the rows (ids, raw text ...), for the results table.
    """

    element: str
    name: str
    file: str
    rows: npt.NDArray[np.int64]
    value: npt.NDArray[np.float64]
    err: npt.NDArray[np.float64]
    kind: npt.NDArray[np.uint8]
    sigma: float | None
    limit: float
    row_limit: npt.NDArray[np.float64] | None
    inferred: npt.NDArray[np.bool_]
    group: npt.NDArray[np.int64]
    columns: dict[str, Any]


def settle_sigma(
    blocks: Sequence[ValueBlock], sigma: float | None, assay: str
) -> tuple[float, list[Finding]]:
    """Choose the level of errors that state none.

    The level (1, 2 or 3) is taken whose limit, three times the one-sigma error at or near the
    limit, agrees best with the lowest detected values.

    Parameters
    ----------
    blocks : sequence of ValueBlock
        All columns of the assay.
    sigma : float, optional
        What the user says.
    assay : str
        For the finding.

    Returns
    -------
    level : float
        1, 2 or 3 (or what the user says).
    findings : list of Finding
        Which level was taken, when it was not stated.
    """
    unstated = [b for b in blocks if b.sigma is None and np.isfinite(b.err).any()]
    if sigma is not None or not unstated:
        return (sigma if sigma is not None else 1.0), []
    logs: list[float] = []
    for block in unstated:
        detected = (block.kind == Kind.READING) & (block.value > 0)
        if detected.sum() < MIN_ERRORS:
            continue
        values = np.sort(block.value[detected])
        lowest = float(np.median(values[: max(3, len(values) // 50)]))
        good = np.isfinite(block.err) & (block.err > 0)
        at = good & ((block.kind == Kind.BARE_BELOW) | (block.kind == Kind.BELOW))
        if at.sum() < MIN_ERRORS:
            continue
        logs.append(float(np.log(3.0 * np.median(block.err[at]) / lowest)))
    file = unstated[0].file
    names = ", ".join(b.element for b in unstated[:5])
    if not logs:
        return 1.0, [
            Finding(
                "sigma-assumed", "warning",
                f"the errors of assay '{assay}' ({names}) state no sigma level and nothing in the "
                "table shows it; they were taken as one sigma. State `sigma` for the assay.",
                file,
            )
        ]  # fmt: skip
    # log of (limit at level k / lowest detected) = log - log k
    misfit = {k: float(np.median(np.abs(np.array(logs) - np.log(k)))) for k in LEVELS}
    level = min(LEVELS, key=lambda k: (round(misfit[k], 6), k))
    return level, [
        Finding(
            "sigma-chosen", "warning",
            f"the errors of assay '{assay}' ({names}) state no sigma level; they were taken as "
            f"{level:.0f} sigma, because three times the one-sigma error then agrees best with "
            f"the lowest detected values of {len(logs)} elements. State `sigma` to be sure.", file,
        )
    ]  # fmt: skip


def settle_limits(blocks: Sequence[ValueBlock]) -> list[Finding]:
    """Give every bare ``<LOD`` its limit, in the order of this module; changes the blocks.

    Parameters
    ----------
    blocks : sequence of ValueBlock
        All columns of one assay; `err` is one standard uncertainty by now.

    Returns
    -------
    list of Finding
        Where limits were inferred or could not be found.
    """
    findings = []
    lowest: dict[tuple[str, int], float] = {}
    for block in blocks:
        detected = (block.kind == Kind.READING) & (block.value > 0)
        if detected.any():
            for group in np.unique(block.group[detected]).tolist():
                key = (block.element, group)
                least = float(block.value[detected & (block.group == group)].min())
                lowest[key] = min(lowest.get(key, np.inf), least)
    guessed: dict[str, int] = {}
    none: dict[str, int] = {}
    for block in blocks:
        bare = block.kind == Kind.BARE_BELOW
        if not bare.any():
            continue
        limit = np.full(len(bare), np.nan)
        if block.row_limit is not None:
            limit = block.row_limit.copy()
        limit = np.where(np.isfinite(limit) & (limit > 0), limit, block.limit)
        by_error = 3.0 * block.err
        take = ~np.isfinite(limit) & np.isfinite(by_error) & (by_error > 0)
        limit[take] = by_error[take]
        open_ = bare & ~np.isfinite(limit)
        for group in np.unique(block.group[open_]).tolist():
            known = lowest.get((block.element, group))
            where = open_ & (block.group == group)
            if known is None:
                none[block.element] = none.get(block.element, 0) + int(where.sum())
                continue
            limit[where] = known
            block.inferred[where] = True
            guessed[block.element] = guessed.get(block.element, 0) + int(where.sum())
        settled = bare & np.isfinite(limit)
        block.value[settled] = limit[settled]
        block.kind[settled] = Kind.BELOW
        block.kind[bare & ~settled] = Kind.NOT_ANALYSED
    file = blocks[0].file if blocks else None
    if guessed:
        findings.append(
            Finding(
                "limit-inferred", "warning",
                f"{sum(guessed.values())} cells say only that the value is below detection; no "
                "limit or error is known for them, so that the lowest detected value of the same "
                f"instrument and mode was taken as limit ({_named(guessed)}). State `limits` for "
                "the assay.", file,
            )
        )  # fmt: skip
    if none:
        findings.append(
            Finding(
                "limit-unknown", "warning",
                f"{sum(none.values())} cells say only that the value is below detection, and "
                f"nothing tells the limit ({_named(none)}); they count as missing. State `limits` "
                "for the assay.", file,
            )
        )  # fmt: skip
    return findings


def _named(counts: dict[str, int]) -> str:
    parts = [f"{e} {n}" for e, n in counts.items()]
    return ", ".join(parts[:8]) + (f" and {len(parts) - 8} more" if len(parts) > 8 else "")
