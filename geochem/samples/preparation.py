"""What the field log says about the preparation, against the usual practice of pressed powders.

The limits are common practice, no source: powder sieved at 250 micrometres; at least 5 mL of it,
7 to 10 mL are better (the heavy elements' lines come from deeper); a die at least half filled, or
emptied, filled up and pressed again; moisture said above 5 %. A mill of
tungsten carbide leaves W and Co in the powder, a steel one Fe, Cr, Mn and Ni, a zirconia one Zr.
Binder dilutes; what matters is that it is always the same. What powder, moisture and binder do to
each element is said by quality control; here they are only marked at the sample.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np

from geochem.elements import MILLS
from geochem.model.finding import Finding, Severity, name_some

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    Flags = npt.NDArray[np.bool_]

SIEVE_UM = 250.0
POWDER_ML = 5.0
POWDER_BETTER_ML = 7.0
DIE_FILL = 0.5
MOIST_PCT = 5.0
#: two binder contents that differ by less count as the same [%]
BINDER_SAME_PCT = 1.0


def check_preparation(
    field_log: pd.DataFrame,
) -> tuple[npt.NDArray[np.object_], tuple[Finding, ...]]:
    """Flag samples whose preparation departs from the usual practice.

    Parameters
    ----------
    field_log : pandas.DataFrame
        Columns ``sample_id sieve_um powder_ml die_fill binder_pct mill moisture_pct``; `die_fill`
        is a share, numbers above 1 are taken as per cent.

    Returns
    -------
    flags : ndarray of object, shape (n_samples,)
        Short words joined by semicolons; None where nothing is wrong or nothing is known.
    findings : tuple of Finding
        One per kind of issue, with the ids.

    Examples
    --------
    >>> import pandas as pd
    >>> log = pd.DataFrame({"sample_id": ["A1", "A2"], "sieve_um": [250.0, 500.0],
    ...     "powder_ml": [8.0, 3.0], "die_fill": [1.0, 0.4], "binder_pct": [0.0, 0.0],
    ...     "mill": [None, None], "moisture_pct": [2.0, 25.0]})
    >>> check_preparation(log)[0][1]
    'sieved at 500 um; powder 3 mL; die 40 % filled; moisture 25 %'
    """
    n = len(field_log)
    ids = field_log["sample_id"].to_numpy(dtype=object)
    words: list[list[str]] = [[] for _ in range(n)]
    findings: list[Finding] = []

    def issue(
        hit: Flags, code: str, severity: Severity, sentence: str, column: str, flag: list[str]
    ) -> None:
        if not hit.any():
            return
        mark(hit, flag)
        named = ids[hit].tolist()
        findings.append(
            Finding(
                code, severity, f"{len(named)} samples {sentence}: {name_some(named)}.",
                column=column, sample_id=str(named[0]),
            )
        )  # fmt: skip

    def mark(hit: Flags, flag: list[str]) -> None:
        for i in np.flatnonzero(hit):
            words[i].append(flag[i])

    def numbers(column: str) -> npt.NDArray[np.float64]:
        return field_log[column].to_numpy(dtype=float)

    sieve = numbers("sieve_um")
    issue(
        sieve > SIEVE_UM * 1.05, "sieve-coarse", "warning",
        f"were pressed from powder coarser than {SIEVE_UM:g} micrometres (grains add scatter)",
        "sieve_um", [f"sieved at {v:g} um" for v in sieve],
    )  # fmt: skip
    powder = numbers("powder_ml")
    mark(powder < POWDER_ML, [f"powder {v:g} mL" for v in powder])
    mark((powder >= POWDER_ML) & (powder < POWDER_BETTER_ML), ["powder just enough"] * n)
    fill = numbers("die_fill")
    fill = np.where(fill > 1.0, fill / 100.0, fill)
    issue(
        fill < DIE_FILL, "die-underfilled", "warning",
        "were pressed in a die less than half filled; empty it, add powder and press again",
        "die_fill", [f"die {100 * v:.0f} % filled" for v in fill],
    )  # fmt: skip
    moisture = numbers("moisture_pct")
    mark(moisture > MOIST_PCT, [f"moisture {v:g} %" for v in moisture])
    binder = numbers("binder_pct")
    known = binder[np.isfinite(binder)]
    if known.size:
        usual = float(np.median(known))
        mark(np.abs(binder - usual) > BINDER_SAME_PCT, [f"binder {v:g} %" for v in binder])
    findings += _mills(field_log, ids, words)
    flags = np.full(n, None, dtype=object)
    for i, said in enumerate(words):
        if said:
            flags[i] = "; ".join(said)
    return flags, tuple(findings)


def _mills(
    field_log: pd.DataFrame, ids: npt.NDArray[np.object_], words: list[list[str]]
) -> list[Finding]:
    findings = []
    text = [None if m is None or m != m else str(m).casefold() for m in field_log["mill"]]
    for pattern, kind, elements in MILLS:
        hit = [i for i, t in enumerate(text) if t and re.search(pattern, t)]
        if not hit:
            continue
        for i in hit:
            words[i].append(f"mill may add {' '.join(elements)}")
        named = [ids[i] for i in hit]
        findings.append(
            Finding(
                "mill-contaminates", "warning",
                f"{len(named)} samples were milled in {kind}, which adds {', '.join(elements)}; "
                f"do not trust these elements there: {name_some(named)}.",
                column="mill", sample_id=str(named[0]),
            )
        )  # fmt: skip
    return findings
