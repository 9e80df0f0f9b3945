"""Which of the samples read in camp go to the laboratory: about one in ten, not at random.

A calibration is as sure as its pairs are spread: samples are taken evenly across the range of each
sought element, and more where decisions fall (near thresholds, on targets), and some in every unit.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from geochem.errors import DataRefused, WrongCall
from geochem.model.finding import Finding
from geochem.model.tables import values_of

if TYPE_CHECKING:
    import pandas as pd

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

#: shares of the choice that each purpose has a claim to; a sample may serve several
CLAIMS: dict[str, float] = {"range": 0.5, "threshold": 0.2, "unit": 0.15, "target": 0.15}

#: a calibration needs so many pairs (10 to 20 are provisional): common practice, no source
LEAST_PAIRS = 20
#: a value within this of the threshold counts as near: a factor of 1.6 [log10]
_NEAR = 0.2
#: classes of equal width on log10 across the range of an element
_CLASSES = 10


@dataclass(frozen=True, slots=True, eq=False)
class Chosen:
    """Samples for the laboratory.

    Parameters
    ----------
    table : pandas.DataFrame
        ``sample_id, medium, purpose, reason``, sorted by `sample_id`.
    counts : mapping of str to int
        Samples per purpose.
    read : int
        Samples that were read and could be chosen from, those already sent included.
    findings : tuple of Finding
        What was noticed.
    """

    table: pd.DataFrame
    counts: Mapping[str, int]
    read: int
    findings: tuple[Finding, ...] = field(default=())


def choose_for_laboratory(
    samples: pd.DataFrame,
    elements: Sequence[str],
    *,
    assay: str | None = None,
    share: float = 0.1,
    number: int | None = None,
    thresholds: pd.DataFrame | None = None,
    unit: str | None = None,
    members: pd.DataFrame | None = None,
    already: Iterable[str] = (),
    seed: int = 1,
) -> Chosen:
    """Choose about one in ten of the samples that were read.

    Parameters
    ----------
    samples : pandas.DataFrame
        A samples table; those with a value of a sought element count as read.
    elements : sequence of str
        Sought elements that the instrument reads.
    assay : str, optional
        Whose values decide; default: the accepted ones.
    share : float, default 0.1
        Of the samples that were read, per medium; at least 20 of the commonest medium.
    number : int, optional
        So many in all, instead of a share.
    thresholds : pandas.DataFrame, optional
        Contract `tables.THRESHOLDS`; the rows of domain ``all`` decide what is near.
    unit : str, optional
        Column of rock units or domains.
    members : pandas.DataFrame, optional
        ``target, sample_id``.
    already : iterable of str
        Sent before: they count, and are not sent again.
    seed : int, default 1
        Of the choice among equals.

    Returns
    -------
    Chosen
        With the reason for every sample.

    Raises
    ------
    WrongCall
        If share or number cannot be used.
    DataRefused
        If no sample was read.
    """
    import pandas as pd

    if number is None and not 0 < share <= 1:
        raise WrongCall(f"the share for the laboratory must lie between 0 and 1, got {share}.")
    if number is not None and number < 1:
        raise WrongCall(f"at least one sample must be chosen, got {number}.")
    ordered = samples.sort_values("sample_id").reset_index(drop=True)
    logs = {e: _log_values(ordered, e, assay) for e in elements}
    read = np.zeros(len(ordered), dtype=bool)
    for element in elements:
        read |= np.isfinite(values_of(ordered, element, _known(ordered, element, assay)).value)
    if not read.any():
        raise DataRefused(
            "no sample has a reading of "
            f"{', '.join(elements) or 'a sought element'}, so there is nothing to choose from for "
            "the laboratory; name elements that the instrument reads in [targets] seek."
        )
    sent = np.isin(ordered["sample_id"].to_numpy(dtype=object), list(already))
    rng = np.random.default_rng(seed)
    media = ordered["medium"].fillna("").to_numpy(dtype=object)
    present = sorted({m for m, r in zip(media, read, strict=True) if r})
    commonest = max(present, key=lambda m: int((media[read] == m).sum()))
    purposes: list[tuple[int, str, str]] = []
    shares = _shared_out(
        {m: int((read & ~sent & (media == m)).sum()) for m in present}, number
    ) if number is not None else {}  # fmt: skip
    for medium in present:
        here = read & (media == medium)
        wanted = shares.get(medium, 0) if number is not None else _wanted(
            here, sent, share, commonest=medium == commonest
        )  # fmt: skip
        if wanted:
            limits = _limits(thresholds, medium, elements)
            purposes += _choose(
                ordered, here & ~sent, here & sent, wanted, logs, limits, unit, members, rng
            )
    table = pd.DataFrame(
        [
            (ordered["sample_id"].iat[i], media[i] or None, purpose, reason)
            for i, purpose, reason in sorted(purposes)
        ],
        columns=["sample_id", "medium", "purpose", "reason"],
    )
    counts = {p: int((table["purpose"] == p).sum()) for p in CLAIMS}
    return Chosen(table, counts, int(read.sum()), _noticed(table, ordered, logs, sent & read))


def _known(samples: pd.DataFrame, element: str, assay: str | None) -> str | None:
    return assay if assay is not None and f"{element}_ppm__{assay}" in samples.columns else None


def _log_values(samples: pd.DataFrame, element: str, assay: str | None) -> Floats:
    """Give log10, NaN where there is no number to calibrate with: missing, below, above."""
    values = values_of(samples, element, _known(samples, element, assay))
    usable = (values.value > 0) & ~values.below & ~values.above
    return np.where(usable, np.log10(np.where(usable, values.value, 1.0)), np.nan)


def _wanted(here: Flags, sent: Flags, share: float, *, commonest: bool) -> int:
    n = int(here.sum())
    wanted = max(1, math.floor(share * n + 0.5))
    if commonest:
        wanted = max(wanted, min(LEAST_PAIRS, n))
    wanted -= int((here & sent).sum())
    return max(0, min(wanted, int((here & ~sent).sum())))


def _shared_out(free: Mapping[str, int], number: int) -> dict[str, int]:
    """Share a number among media by what is free in each; largest remainders first."""
    total = sum(free.values())
    number = min(number, total)
    exact = {m: number * n / total for m, n in free.items()} if total else {}
    given = {m: math.floor(x) for m, x in exact.items()}
    order = sorted(exact, key=lambda m: (given[m] - exact[m], m))
    for medium in order[: number - sum(given.values())]:
        given[medium] += 1
    return given


def _limits(
    thresholds: pd.DataFrame | None, medium: str, elements: Sequence[str]
) -> dict[str, float]:
    if thresholds is None or not len(thresholds):
        return {}
    rows = thresholds.loc[
        (thresholds["medium"].fillna("") == medium)
        & (thresholds["domain"] == "all")
        & thresholds["element"].isin(list(elements))
        & (thresholds["value"] > 0)
    ]
    # k = 2, the lowest, is where the first decision falls
    low = rows.sort_values(["element", "value"]).drop_duplicates("element")
    return {str(e): math.log10(v) for e, v in zip(low["element"], low["value"], strict=True)}


def _choose(
    samples: pd.DataFrame, free: Flags, sent: Flags, wanted: int, logs: Mapping[str, Floats],
    limits: Mapping[str, float], unit: str | None, members: pd.DataFrame | None,
    rng: np.random.Generator,
) -> list[tuple[int, str, str]]:  # fmt: skip
    """Fill the claims in turn; what a claim cannot fill goes to the range."""
    left = free.copy()
    chosen: list[tuple[int, str, str]] = []
    mine = free | sent

    def take(row: int, purpose: str, reason: str) -> None:
        left[row] = False
        chosen.append((row, purpose, reason))

    on_target = _target_of(samples, members)
    quota = {p: math.floor(s * wanted) for p, s in CLAIMS.items() if p != "range"}
    for target in sorted({t for t in on_target[left] if t}):
        # the middle of an outline decides: highest first
        rows = np.flatnonzero(left & (on_target == target))
        each = max(1, quota["target"] // max(len({t for t in on_target[free] if t}), 1))
        for row in rows[np.argsort(-_highest(logs, rows), kind="stable")][:each]:
            if sum(p == "target" for _, p, _ in chosen) < quota["target"]:
                take(int(row), "target", f"on target {target}")
    if unit is not None and unit in samples.columns:
        units = samples[unit].fillna("").astype(str).to_numpy(dtype=object)
        names = sorted(set(units[mine]))
        each = max(1, quota["unit"] // max(len(names), 1))
        for name in names:
            rows = np.flatnonzero(left & (units == name))
            for row in rng.permutation(rows)[:each]:
                if sum(p == "unit" for _, p, _ in chosen) < quota["unit"]:
                    take(int(row), "unit", f"{unit}: {name or 'not mapped'}")
    if limits:
        each = max(1, quota["threshold"] // len(limits))
        for element, limit in sorted(limits.items()):
            away = np.abs(logs[element] - limit)
            rows = np.flatnonzero(left & (away <= _NEAR))
            for row in rng.permutation(rows)[:each]:
                if sum(p == "threshold" for _, p, _ in chosen) < quota["threshold"]:
                    take(int(row), "threshold", f"near the threshold of {element}")
    served = np.zeros(len(samples), dtype=bool)
    served[[row for row, _, _ in chosen]] = True
    for row, reason in _across(left, served | sent, wanted - len(chosen), logs, rng):
        take(row, "range", reason)
    return chosen[:wanted]


def _across(
    left: Flags, served: Flags, wanted: int, logs: Mapping[str, Floats], rng: np.random.Generator
) -> list[tuple[int, str]]:
    """Take samples so that the classes of every element fill evenly, scarcest class first."""
    left, served = left.copy(), served.copy()
    classes = {}
    for element in sorted(logs):
        known = logs[element][(left | served) & np.isfinite(logs[element])]
        if len(known):
            edges = np.linspace(known.min(), known.max() + 1e-9, _CLASSES + 1)
            classes[element] = np.where(
                np.isfinite(logs[element]), np.digitize(logs[element], edges[1:-1]), -1
            )
    picked: list[tuple[int, str]] = []
    while len(picked) < wanted and left.any():
        best: tuple[int, int, str, int] | None = None
        for element, number in classes.items():
            for c in range(_CLASSES):
                if (left & (number == c)).any():
                    # the ends first among equals: they carry the slope
                    rank = (int((served & (number == c)).sum()), min(c, _CLASSES - 1 - c))
                    if best is None or rank < best[:2]:
                        best = (*rank, element, c)
        if best is None:
            row = int(rng.choice(np.flatnonzero(left)))
            reason = "to fill the number"
        else:
            _, _, element, c = best
            row = int(rng.choice(np.flatnonzero(left & (classes[element] == c))))
            reason = f"range of {element}, part {c + 1} of {_CLASSES}"
        left[row], served[row] = False, True
        picked.append((row, reason))
    return picked


def _target_of(samples: pd.DataFrame, members: pd.DataFrame | None) -> npt.NDArray[np.object_]:
    if members is None or not len(members):
        return np.full(len(samples), "", dtype=object)
    first = members.sort_values(["sample_id", "target"]).drop_duplicates("sample_id")
    known = dict(zip(first["sample_id"], first["target"], strict=True))
    return np.array([known.get(i, "") for i in samples["sample_id"]], dtype=object)


def _highest(logs: Mapping[str, Floats], rows: npt.NDArray[np.intp]) -> Floats:
    """Rank rows by their highest element, each in its own spread."""
    best = np.full(len(rows), -np.inf)
    for values in logs.values():
        known = values[np.isfinite(values)]
        if len(known) > 1 and known.std() > 0:
            z = (values[rows] - np.median(known)) / known.std()
            best = np.fmax(best, z)
    return best


def _noticed(
    table: pd.DataFrame, samples: pd.DataFrame, logs: Mapping[str, Floats], sent: Flags
) -> tuple[Finding, ...]:
    found = []
    if sent.any():
        found.append(
            Finding(
                "dispatch-already",
                "note",
                f"{int(sent.sum())} samples were sent before; they count toward the share and are "
                "not chosen again.",
            )
        )
    sending = np.isin(samples["sample_id"].to_numpy(dtype=object), table["sample_id"]) | sent
    for element, values in sorted(logs.items()):
        usable = int((np.isfinite(values) & sending).sum())
        if usable < LEAST_PAIRS:
            found.append(
                Finding(
                    "dispatch-few-pairs",
                    "warning",
                    f"{element}: only {usable} of the samples sent have a reading above the limit; "
                    f"a calibration needs {LEAST_PAIRS} pairs.",
                    element=element,
                )
            )
    return tuple(found)


def spread_of(chosen: Chosen, samples: pd.DataFrame, element: str) -> dict[str, Any]:
    """Say how much of the range of an element the choice covers. [share of the log10 range]."""
    logs = _log_values(samples, element, None)
    sending = np.isin(samples["sample_id"].to_numpy(dtype=object), chosen.table["sample_id"])
    known, mine = logs[np.isfinite(logs)], logs[sending & np.isfinite(logs)]
    whole = float(np.ptp(known)) if len(known) else 0.0
    return {
        "element": element,
        "n": len(mine),
        "covered": float(np.ptp(mine)) / whole if whole and len(mine) else 0.0,
    }
