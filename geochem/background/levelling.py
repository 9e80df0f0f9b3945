"""Levelling: accepted values of instruments, batches, laboratories ... brought to a common level.

Only on evidence: standards and samples that several groups read, or neighbouring samples of one
medium and rock unit. Where there is none, nothing is levelled and the record says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.background.levelling_evidence import (
    EVIDENCE,
    Ground,
    ground_rows,
    neighbours,
    read_again,
)
from geochem.background.levelling_names import without_namesakes
from geochem.background.levelling_record import element_row, group_rows, levelling_findings
from geochem.elements import element_rank
from geochem.errors import WrongCall, unknown
from geochem.model import tables
from geochem.model.background import LEVELLING_ELEMENTS, LEVELLING_GROUPS, Levelling
from geochem.model.finding import Finding
from geochem.stats.levelling import Shifts, group_shifts

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    from geochem.model.quality import Calibration
    from geochem.model.survey import Survey

    Floats = npt.NDArray[np.float64]
    Flags = npt.NDArray[np.bool_]
    Ints = npt.NDArray[np.int64]

#: standards count within so many times the range of the samples (2nd to 98th percentile)
_ROOM = 2.0
_METHOD = (
    "additive shifts of log10 values by robust weighted least squares over everything that groups "
    "have in common, drawn toward zero by the variance between groups; left alone unless groups "
    "differ beyond chance"
)
_REFERENCE = (
    "Huber 1981, Robust Statistics, Wiley; Efron & Morris 1975, J. Am. Stat. Assoc. 70:311-319; "
    "DerSimonian & Laird 1986, Controlled Clinical Trials 7:177-188"
)


@dataclass(frozen=True, slots=True, eq=False)
class _Read:
    """Which row of the samples each result counts for (-1: none), and of which assay it is."""

    place: Ints
    assay: Ints
    assays: list[str]


@dataclass(frozen=True, slots=True, eq=False)
class _Work:
    """What one column of groups needs."""

    column: str
    frame: pd.DataFrame
    read: _Read
    xy: Floats
    on_ground: bool
    chance: float


def level_survey(
    survey: Survey,
    by: str | Sequence[str],
    *,
    evidence: Sequence[str] = ("standards", "duplicates"),
    calibrations: Iterable[Calibration] = (),
    chance: float = 0.01,
) -> tuple[Survey, Levelling, tuple[Finding, ...]]:
    """Bring the accepted values of groups to a common level.

    A value is multiplied by the factor of its group (several readings: the mean of their
    factors' logarithms), a limit likewise; flags never change. The weighted mean of the groups'
    shifts is zero, so that the level of the survey stays. Columns are worked through in order:
    what the first leaves is levelled by the second.

    Parameters
    ----------
    survey : Survey
        With accepted values; not changed.
    by : str or sequence of str
        Columns of results (``instrument, batch, mode, method, digestion, file``) or of samples
        (``grid, stage, crew``...) that name groups.
    evidence : sequence of str, default ("standards", "duplicates")
        ``standards`` that several groups read; ``duplicates``: repeats, rereads and duplicates in
        different groups; ``ground``: medians of neighbours of one medium and rock unit.
    calibrations : iterable of Calibration, optional
        Those that the accepted values were corrected with.
    chance : float, default 0.01
        Of levelling an element whose groups do not differ (likelihood ratio). [-]

    Returns
    -------
    survey : Survey
        Accepted columns of ``samples`` and ``unlocated`` levelled, the error enlarged by that of
        the factor; results and per-assay columns as they were.
    levelling : Levelling
        Every group and element that was looked at.
    findings : tuple of Finding
        What was levelled, refused, and what to look at.

    Raises
    ------
    WrongCall
        If a column or a kind of evidence is unknown.
    """
    import pandas as pd

    columns = [by] if isinstance(by, str) else list(by)
    for kind in evidence:
        if kind not in EVIDENCE:
            raise unknown("evidence for levelling", str(kind), EVIDENCE)
    if not 0 < chance < 1:
        raise WrongCall(f"chance must lie between 0 and 1, got {chance!r}.")
    known = [
        *("instrument", "batch", "mode", "method", "digestion", "file"),
        *(c for c in survey.samples.columns if "_ppm" not in str(c) and "__" not in str(c)),
    ]
    for column in columns:
        if column not in known:
            raise unknown("column for levelling", str(column), [str(c) for c in known])
    table = pd.DataFrame(survey.samples.drop(columns="geometry"))
    n = len(table)
    if len(survey.unlocated):
        table = pd.concat([table, survey.unlocated], ignore_index=True)
    xy = np.full((len(table), 2), np.nan)
    xy[:n] = np.column_stack([survey.samples.geometry.x, survey.samples.geometry.y])
    of_results = [c for c in columns if c in survey.results.columns]
    shots = read_again(survey, of_results, evidence, calibrations)
    shots, namesakes = without_namesakes(shots, of_results)
    read = _read_for(survey, table)
    changed: dict[str, Any] = {}
    groups: list[dict[str, Any]] = []
    elements: list[dict[str, Any]] = []
    for column in columns:
        work = _Work(
            column, table.assign(**changed), read, xy, "ground" in evidence, chance
        )  # fmt: skip
        for assay in sorted({str(a) for a in survey.analytes["assay"].dropna()}):
            done, shots, rows, said = _level_assay(survey, work, assay, shots)
            changed.update(done)
            groups += rows
            elements += said
    record = Levelling(
        tables.conform(pd.DataFrame(groups, columns=list(LEVELLING_GROUPS)), LEVELLING_GROUPS),
        tables.conform(pd.DataFrame(elements, columns=list(LEVELLING_ELEMENTS)), LEVELLING_ELEMENTS),
        tuple(columns), tuple(evidence), _METHOD, _REFERENCE,
    )  # fmt: skip
    out = survey
    if changed:
        out = replace(
            survey,
            samples=survey.samples.assign(**{k: v[:n] for k, v in changed.items()}),
            unlocated=survey.unlocated.assign(**{k: v[n:] for k, v in changed.items()})
            if len(survey.unlocated)
            else survey.unlocated,
        )
    return out, record, (*namesakes, *levelling_findings(record))


def _level_assay(
    survey: Survey, work: _Work, assay: str, shots: pd.DataFrame
) -> tuple[dict[str, Any], pd.DataFrame, list[dict[str, Any]], list[dict[str, Any]]]:
    """Level the accepted values that come from one assay."""
    taken = survey.analytes
    taken = taken[(taken["accepted"] & (taken["assay"] == assay)).to_numpy(dtype=bool)]
    names = sorted(set(taken["element"]), key=element_rank)
    share, labels = _membership(survey, work, assay)
    if not names or len(labels) < 2:
        return {}, shots, [], []
    ground = None
    if work.on_ground:
        group_of = np.full(len(work.frame), -1, dtype=np.int64)
        whole = share.tocoo()
        only = whole.data >= 1 - 1e-9
        group_of[whole.row[only]] = whole.col[only]
        ground = neighbours(work.frame, work.xy, group_of)
    media = work.frame["medium"].fillna("").to_numpy(dtype=object)
    mine = (shots["assay"] == assay).to_numpy(dtype=bool)
    changed: dict[str, Any] = {}
    rows: list[dict[str, Any]] = []
    said: list[dict[str, Any]] = []
    log = shots["log"].to_numpy(dtype=float, copy=True)
    shot_element = shots["element"].cat.codes.to_numpy()
    code_of = {str(e): i for i, e in enumerate(shots["element"].cat.categories)}
    shot_group = np.full(len(shots), -1, dtype=np.int64)
    if work.column in shots.columns:
        of = shots[work.column].cat
        number = np.array([*(_at(labels, str(c)) for c in of.categories), -1], dtype=np.int64)
        shot_group = number[of.codes.to_numpy()]
    means = _means(shots, mine & (shot_group >= 0), log, shot_group)
    places = means.groupby("element").indices
    nothing = np.zeros(0, dtype=np.intp)
    for element in names:
        here = np.isin(media, [m or "" for m in taken.loc[taken["element"] == element, "medium"]])
        v = tables.values_of(work.frame, element)
        here &= np.isfinite(v.value)
        weight = np.asarray(share[here].sum(axis=0)).ravel()
        detected = here & ~v.below & ~v.above & (v.value > 0)
        values = np.where(detected, np.log10(np.where(detected, v.value, 1.0)), np.nan)
        evidence = _like_samples(means.iloc[places.get(code_of.get(element, -1), nothing)], values)
        found, kinds = _solve(evidence, weight, ground, values)
        levelled, reason = _decide(found, weight, work.chance)
        shift = np.where(levelled, np.nan_to_num(found.shift), 0.0)
        error = np.where(levelled, np.nan_to_num(found.error), 0.0)
        moved = np.asarray(share @ shift).ravel() * here
        medians = _medians(share, detected, v.value, moved) if levelled.any() else None
        rows += group_rows(
            work.column, assay, element, labels, found, kinds, weight, levelled, reason, medians
        )
        said.append(
            element_row(
                work.column, work.xy, assay, element, found, v, detected, moved, levelled, reason,
                n=int(here.sum()),
            )
        )  # fmt: skip
        if not levelled.any():
            continue
        factor = 10.0**-moved
        name = tables.value_column(element)
        spread = np.log(10.0) * np.asarray(share @ error).ravel() * v.value * factor
        changed[name] = v.value * factor
        changed[f"{name}_err"] = np.where(moved != 0, np.hypot(v.err * factor, spread), v.err)
        at = np.flatnonzero(mine & (shot_group >= 0) & (shot_element == code_of.get(element, -1)))
        log[at] -= shift[shot_group[at]]
    return changed, shots.assign(log=log), rows, said


def _medians(share: Any, detected: Flags, value: Floats, moved: Floats) -> Floats:
    """Give the medians of detected values of each group, before and after."""
    whole = share.tocoo()
    only = (whole.data >= 1 - 1e-9) & detected[whole.row]
    row, column = whole.row[only], whole.col[only]
    out = np.full((share.shape[1], 2), np.nan)
    log = np.log10(value[row])
    for k, y in enumerate((log, log - moved[row])):
        order = np.lexsort((y, column))
        groups, start, n = np.unique(column[order], return_index=True, return_counts=True)
        ordered = y[order]
        out[groups, k] = 10 ** ((ordered[start + (n - 1) // 2] + ordered[start + n // 2]) / 2)
    return out


def _membership(survey: Survey, work: _Work, assay: str) -> tuple[Any, list[str]]:
    """Give the share of each sample's readings that each group has, and the groups' names."""
    import pandas as pd
    from scipy.sparse import coo_array

    rows = len(work.frame)
    if work.column in survey.results.columns:
        if assay not in work.read.assays:
            return coo_array((rows, 0)).tocsr(), []
        part = np.flatnonzero(work.read.assay == work.read.assays.index(assay))
        place, names = work.read.place[part], survey.results[work.column].iloc[part]
    else:
        place, names = np.arange(rows), work.frame[work.column]
    code, labels = pd.factorize(names.to_numpy(dtype=object), sort=True)
    ok = (place >= 0) & (code >= 0)
    counts = coo_array(
        (np.ones(int(ok.sum())), (place[ok], code[ok])), shape=(rows, len(labels))
    ).tocsr()
    total = np.asarray(counts.sum(axis=1)).ravel()
    counts.data = counts.data / np.repeat(total, np.diff(counts.indptr))
    return counts, [str(x) for x in labels]


def _at(labels: list[str], label: str) -> int:
    return labels.index(label) if label in labels else -1


def _read_for(survey: Survey, table: pd.DataFrame) -> _Read:
    """Find the sample that each result counts for: repeats their parent's."""
    import pandas as pd

    results, controls = survey.results, survey.controls
    ids = pd.Index(table["sample_id"])
    one, read = pd.factorize(results["sample_id"].to_numpy(dtype=object))
    again = controls[controls["role"].isin(["repeat", "reread"]).to_numpy()]
    again = again[["sample_id", "role", "parent"]].drop_duplicates("sample_id")
    parent = dict(zip(again["sample_id"], again["parent"], strict=True))
    second = set(again.loc[again["role"] == "reread", "sample_id"])
    replaced = {parent[i] for i in second}
    target = np.array([parent.get(i, i) for i in read], dtype=object)
    place = np.asarray(ids.get_indexer(target), dtype=np.int64)
    gone = np.array([t in replaced and i not in second for i, t in zip(read, target, strict=True)])
    place = np.append(np.where(gone.astype(bool), -1, place), -1)
    assay, names = pd.factorize(results["assay"].to_numpy(dtype=object), sort=True)
    return _Read(place[one], assay, [str(a) for a in names])


def _means(shots: pd.DataFrame, use: Flags, log: Floats, group: Ints) -> pd.DataFrame:
    """Average what one group read of one thing in one batch: such readings share an error."""
    import pandas as pd

    # codes follow the sorted names: grouping by them is quick and in a stable order
    codes = {
        c: shots[c].cat.codes.to_numpy(dtype=np.int64)[use] for c in ("element", "what", "batch")
    }
    frame = pd.DataFrame(
        {
            **codes, "kind": shots["kind"].to_numpy(dtype=np.int64)[use], "group": group[use],
            "log": log[use], "variance": shots["variance"].to_numpy()[use], "n": 1.0,
        }
    )  # fmt: skip
    keys = ["element", "kind", "what", "group", "batch"]
    means = frame.groupby(keys, sort=True)[["log", "variance", "n"]].sum().reset_index()
    n = means["n"].to_numpy(dtype=float)
    return means.assign(log=means["log"] / n, variance=means["variance"] / n**2)


def _like_samples(means: pd.DataFrame, values: Floats) -> pd.DataFrame:
    """Leave out standards far from what samples hold: there a factor need not be theirs."""
    known = values[np.isfinite(values)]
    if not known.size:
        return means.iloc[:0]
    low, high = np.quantile(known, [0.02, 0.98])
    room = np.log10(_ROOM)
    log = means["log"].to_numpy(dtype=float)
    far = (log < low - room) | (log > high + room)
    return means[~far]


def _solve(
    means: pd.DataFrame, weight: Floats, ground: Ground | None, values: Floats
) -> tuple[Shifts, Any]:
    """Put all evidence of one element together; also give how much of each kind a group has."""
    count = len(weight)
    y = means["log"].to_numpy(dtype=float)
    v = means["variance"].to_numpy(dtype=float)
    g, k = means["group"].to_numpy(dtype=np.int64), means["kind"].to_numpy(dtype=np.int64)
    _, b = np.unique(4 * means["what"].to_numpy(dtype=np.int64) + k, return_inverse=True)
    if ground is not None:
        more_y, more_b, more_g, more_v = ground_rows(ground, values)
        b = np.concatenate([b, more_b + (b.max() + 1 if b.size else 0)])
        y, g = np.concatenate([y, more_y]), np.concatenate([g, more_g])
        v, k = np.concatenate([v, more_v]), np.concatenate([k, np.full(len(more_y), 3)])
    b, g, k = b.astype(np.int64), g.astype(np.int64), k.astype(np.int64)
    found = group_shifts(y, b, g, n_groups=count, variance=v, kind=k, weights=weight)
    groups_in = np.bincount(np.unique(b * count + g) // count, minlength=1)
    shared = groups_in[b] > 1
    kinds = np.zeros((count, 4), dtype=int)
    np.add.at(kinds, (g[shared], k[shared]), 1)
    return found, kinds


def _decide(found: Shifts, weight: Floats, chance: float) -> tuple[Flags, list[str]]:
    """Say which groups are levelled, and of each why or why not."""
    from scipy.special import chdtri

    # a variance cannot be negative: half the distribution stands at zero
    needed = float(chdtri(1, 2 * chance)) if chance < 0.5 else 0.0
    levelled = np.isfinite(found.shift) & (found.ratio > needed)
    reasons = []
    for i in range(len(weight)):
        if found.tied[i] < 0:
            reasons.append("nothing that it read was read by another group")
        elif not np.isfinite(found.shift[i]):
            reasons.append("too little in common to know the error of a factor")
        elif not levelled[i]:
            reasons.append("the groups do not differ beyond chance")
        elif found.tied[i] > 0:
            reasons.append("levelled among those it is tied to, not to the others")
        else:
            reasons.append("")
    return levelled, reasons
