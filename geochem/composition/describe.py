"""Robust description of the composition of one medium: parts, clr, principal components, distance."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.elements import SYMBOLS, element_rank
from geochem.model import tables
from geochem.model.evidence import Composition
from geochem.model.finding import Finding, name_some
from geochem.stats.logratio import clr_rows, drawn_clr, ilr_rows, pivot_rows

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    Array = npt.NDArray[np.float64]

#: a part that is missing in more samples than this leaves
_MAX_MISSING = 0.3
#: share of rows in the subset of the robust covariance
_ALPHA = 0.75


def describe_composition(
    samples: pd.DataFrame,
    elements: Sequence[str],
    *,
    medium: str,
    max_below: float = 0.3,
    replacement: str = "regression",
    draws: int = 5,
    seed: int = 1,
) -> tuple[Composition | None, tuple[Finding, ...]]:
    """Describe the samples of one medium as compositions.

    Parts are the elements that are detected often enough; loss on ignition and other species that
    are no elements never enter. A sample that lacks one of the parts is left out and named: no
    value is made up for what was not measured. Values below detection are replaced under their
    limits by regression on the other parts.

    Parameters
    ----------
    samples : pandas.DataFrame
        A samples table; rows of other media are left aside (without a column `medium`, all are
        taken).
    elements : sequence of str
        Candidates.
    medium : str
        Which samples.
    max_below : float, default 0.3
        Largest share below detection that a part may have. [-]
    replacement : {"regression", "logratio_em", "lognormal", "simple"}, default "regression"
        How values behind limits are replaced, see `replace_below`.
    draws : int, default 5
        Further sets of values behind limits, for the uncertainty of what is derived from them;
        none with ``"lognormal"`` and ``"simple"``.
    seed : int, default 1
        Of the robust covariance and the draws.

    Returns
    -------
    Composition or None
        None with fewer than three parts, or fewer samples than 20 or three per coordinate.
    findings : tuple of Finding
        What was left out, and why.

    References
    ----------
    .. [1] Filzmoser, Hron & Reimann 2009, Principal component analysis for compositional data with
       outliers, Environmetrics 20:621-632; Filzmoser & Hron 2008, Outlier detection for
       compositional data using robust methods, Math. Geosci. 40:233-248.
    """
    from geochem.composition.replacement import replace_below

    findings: list[Finding] = []
    here = _rows(samples, medium)
    frame = samples.loc[here]
    ids = _ids(frame)
    order = np.argsort(ids.astype(str), kind="stable")
    names = sorted(dict.fromkeys(elements), key=element_rank)
    values = {e: tables.values_of(frame, e) for e in names if f"{e}_ppm" in frame.columns}
    dropped = _drop(values, names, max_below)
    parts, complete = _complete(values, [e for e in names if e not in dropped], dropped)
    _tell(medium, dropped, len(frame), findings)
    n, p = int(complete.sum()), len(parts)
    if p < 3 or n < max(20, 3 * (p - 1)):
        findings.append(
            Finding(
                "composition-not-described", "note",
                f"{medium}: {n} complete samples of {p} parts are too few for log-ratios; at least "
                f"three parts and {max(20, 3 * max(p - 1, 0))} samples are needed. Single elements "
                "are used instead.",
            )
        )  # fmt: skip
        return None, tuple(findings)
    order = order[complete[order]]
    if n < len(frame):
        lost = sorted(str(i) for i in ids[~complete])
        findings.append(
            Finding(
                "composition-incomplete", "note",
                f"{medium}: {len(lost)} samples lack at least one of {', '.join(parts)} and are "
                f"not in the composition ({name_some(lost)}).",
            )
        )  # fmt: skip
    x = np.column_stack([values[e].value for e in parts])[order]
    low = np.column_stack([values[e].below for e in parts])[order]
    high = np.column_stack([values[e].above for e in parts])[order]
    if high.any():
        findings.append(
            Finding(
                "composition-over-range", "note",
                f"{medium}: {int(high.any(axis=1).sum())} samples have a value over range; it "
                "entered the composition as a value over its limit that the other parts suggest.",
            )
        )  # fmt: skip
    if replacement == "logratio_em" and (low | high).any(axis=0).all():
        replacement = "regression"
        findings.append(
            Finding(
                "composition-no-reference", "note",
                f"{medium}: no part is detected in every sample, so log-ratio EM has nothing to "
                "divide by; values behind limits were replaced by regression of logarithms.",
            )
        )  # fmt: skip
    number = draws if replacement in ("regression", "logratio_em") else 0
    done = replace_below(x, low, high, method=replacement, draws=number, seed=seed)
    constant = [
        e for e, column in zip(parts, done.values.T, strict=True) if _tied(column) > 1 - _ALPHA / 2
    ]
    z = ilr_rows(done.values, pivot_rows(p))
    robust = _robust(z, seed)
    if isinstance(robust, str):
        who = f" Look at {', '.join(constant)}: most of its values are equal." if constant else ""
        findings.append(
            Finding(
                "composition-singular", "warning",
                f"{medium}: no robust covariance of the composition: {robust}{who}",
            )
        )  # fmt: skip
        return None, tuple(findings)
    location, covariance, distance, cut, details = robust
    loadings, explained = _components(covariance, p)
    scores = (z - location) @ pivot_rows(p) @ loadings
    if n < 5 * (p - 1):
        findings.append(
            Finding(
                "composition-distance-rough", "note",
                f"{medium}: {n} samples for {p - 1} coordinates are few; robust distances are "
                "rough and flag too many.",
            )
        )  # fmt: skip
    details |= {
        "replacement": done.method, "replacement_reference": done.reference,
        "replaced_of": dict(zip(parts, done.share_of.tolist(), strict=True)),
        "left_out": len(frame) - n, "robust_location_ilr": location, "draws": len(done.draws),
        "robust_covariance_ilr": covariance,
        "reference": "Filzmoser, Hron & Reimann 2009, Environmetrics 20:621-632",
    }  # fmt: skip
    clr = clr_rows(done.values)
    change = np.log(done.draws / done.values[done.row, done.part])
    details |= _spread_of_draws(
        clr, done.row, done.part, change, location, covariance, loadings, distance > cut, cut
    )
    return (
        Composition(
            medium, ids[order], tuple(parts), dropped, done.share, clr, loadings, scores,
            explained, distance, cut, details, done.row, done.part, change, done.centre, done.spread,
        ),
        tuple(findings),
    )  # fmt: skip


def _spread_of_draws(
    clr: Array, row: npt.NDArray[np.intp], part: npt.NDArray[np.intp], change: Array,
    location: Array, covariance: Array, loadings: Array, far: npt.NDArray[np.bool_], cut: float,
) -> dict[str, Any]:  # fmt: skip
    """Say how much scores and distances change from draw to draw of the replaced values."""
    spread = np.zeros((len(clr), min(2, loadings.shape[1])))
    if not len(change):
        return {"score_sd": spread, "distance_undecided": 0}
    touched, place = np.unique(row, return_inverse=True)
    basis = pivot_rows(clr.shape[1])
    precision = np.linalg.inv(covariance)
    scores, beyond = [], []
    for one in change:
        z = drawn_clr(clr[touched], place, part, one) @ basis.T - location
        scores.append(z @ basis @ loadings[:, : spread.shape[1]])
        beyond.append(np.sqrt(np.einsum("ij,jk,ik->i", z, precision, z)) > cut)
    spread[touched] = np.std(scores, axis=0, ddof=1) if len(change) > 1 else 0.0
    share = np.mean(beyond, axis=0)
    undecided = (share > 0) & (share < 1) | (share.round() != far[touched])
    return {"score_sd": spread, "distance_undecided": int(undecided.sum())}


def _rows(samples: pd.DataFrame, medium: str) -> npt.NDArray[np.bool_]:
    if "medium" not in samples.columns:
        return np.ones(len(samples), dtype=bool)
    return (samples["medium"].fillna("").astype(str) == medium).to_numpy(dtype=bool)


def _ids(frame: pd.DataFrame) -> npt.NDArray[np.object_]:
    if "sample_id" in frame.columns:
        return frame["sample_id"].to_numpy(dtype=object)
    return np.array([str(i) for i in frame.index], dtype=object)


def _drop(
    values: dict[str, tables.Values], names: Sequence[str], max_below: float
) -> dict[str, str]:
    """Say which elements cannot be parts, and why."""
    dropped: dict[str, str] = {}
    for e in names:
        if e not in values:
            dropped[e] = "not measured"
            continue
        v = values[e]
        ok = np.isfinite(v.value)
        n = int(ok.sum())
        if e not in SYMBOLS:
            dropped[e] = "not an element"
        elif n == 0 or 1 - n / len(ok) > _MAX_MISSING:
            dropped[e] = f"missing in {100 * (1 - n / max(len(ok), 1)):.0f} % of the samples"
        elif v.below[ok].mean() > max_below:
            dropped[e] = f"{100 * v.below[ok].mean():.0f} % of its values are below detection"
        elif (v.value[ok] <= 0).any():
            dropped[e] = f"{int((v.value[ok] <= 0).sum())} of its values are zero or negative"
        elif np.unique(v.value[ok & ~v.below]).size < 3:
            dropped[e] = "it has fewer than three different values"
    return dropped


def _complete(
    values: dict[str, tables.Values], parts: list[str], dropped: dict[str, str]
) -> tuple[list[str], npt.NDArray[np.bool_]]:
    """Keep the parts that leave at least seven in ten samples complete."""
    parts = list(parts)
    while True:
        if not parts:
            n = len(next(iter(values.values())).value) if values else 0
            return parts, np.zeros(n, dtype=bool)
        there = np.column_stack([np.isfinite(values[e].value) for e in parts])
        complete = np.asarray(there.all(axis=1))
        if complete.mean() >= 1 - _MAX_MISSING or there.all(axis=0).all():
            return parts, complete
        worst = parts[int(np.argmin(there.sum(axis=0)))]
        missing = 1 - float(there[:, parts.index(worst)].mean())
        dropped[worst] = f"missing in {100 * missing:.0f} % of the samples"
        parts.remove(worst)


def _tell(medium: str, dropped: dict[str, str], n: int, findings: list[Finding]) -> None:
    if not dropped or not n:
        return
    listed = [f"{e} ({why})" for e, why in dropped.items()]
    findings.append(
        Finding(
            "composition-parts-left-out", "note",
            f"{medium}: not in the composition: {name_some(listed, 12)}.",
        )
    )  # fmt: skip


def _tied(column: Array) -> float:
    _, counts = np.unique(column, return_counts=True)
    return float(counts.max() / column.size)


def _robust(z: Array, seed: int) -> str | tuple[Array, Array, Array, float, dict[str, Any]]:
    """Robust centre and covariance on ilr, or why not."""
    from geochem.stats.mcd import mcd, mcd_obstacles

    reasons = mcd_obstacles(z, _ALPHA)
    if reasons:
        return " ".join(reasons)
    try:
        found = mcd(z, alpha=_ALPHA, seed=seed)
    except np.linalg.LinAlgError:
        return "too many samples lie in one plane."
    details = {
        "covariance": f"minimum covariance determinant, {found.h} of {len(z)} samples, reweighted",
        "cut": "root of the 97.5 % quantile of chi-square: 2.5 % of barren samples lie beyond",
        "log_determinant": found.log_determinant,
    }
    return found.location, found.covariance, found.distance, found.cut, details


def _components(covariance: Array, p: int) -> tuple[Array, Array]:
    """Principal components of the ilr covariance, brought back to clr; largest loading positive."""
    values, vectors = np.linalg.eigh(covariance)
    order = np.argsort(values)[::-1]
    values, vectors = values[order], vectors[:, order]
    loadings = pivot_rows(p).T @ vectors
    # ties between loadings of equal size are broken by the first part
    top = np.argmax(np.round(np.abs(loadings), 9), axis=0)
    loadings = loadings * np.sign(loadings[top, np.arange(loadings.shape[1])])
    return loadings, values / values.sum()
