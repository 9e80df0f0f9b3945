"""What several groups read alike: standards, samples read again, neighbouring ground."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.model import tables
from geochem.stats.calibration_line import apply_calibration, calibrations_for

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    from geochem.model.quality import Calibration
    from geochem.model.survey import Survey

    Floats = npt.NDArray[np.float64]
    Ints = npt.NDArray[np.int64]

#: kinds of evidence, in the order in which they are believed
EVIDENCE = ("standards", "duplicates", "ground")
#: roles whose material is that of the parent, and those taken or split anew
_SAME = ("repeat", "reread", "pulp_duplicate", "umpire")
_ANEW = ("coarse_duplicate", "field_duplicate")
_KIND = {"standards": 0, "duplicates": 1, "duplicates anew": 2, "ground": 3}
#: a value whose error is larger than this share of it says little about a factor [-]
_MAX_ERROR = 0.2
#: media whose samples stand for the ground they lie on
_GROUND = ("soil", "till")
#: neighbours lie within so many nearest distances; blocks of ground are so wide
_REACH, _BLOCK = 2.5, 6.0
#: steps between groups that lie among each other cancel at least to this share of their length [-]
_ONE_WAY = 0.5
#: blocks of ground that a group must share with others
LEAST_BLOCKS = 5


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """Pairs of neighbours in different groups, within one medium and unit.

    Parameters
    ----------
    first, second : ndarray of int, shape (n_pairs,)
        Places of the samples.
    group, other : ndarray of int, shape (n_pairs,)
        Their groups.
    block : ndarray of int, shape (n_pairs,)
        Piece of ground and pair of groups.
    """

    first: Ints
    second: Ints
    group: Ints
    other: Ints
    block: Ints


def read_again(
    survey: Survey,
    columns: Sequence[str],
    evidence: Sequence[str],
    calibrations: Iterable[Calibration],
) -> pd.DataFrame:
    """List what was read in several groups, on the scale of the accepted values.

    Parameters
    ----------
    survey : Survey
        After the accepted values were chosen.
    columns : sequence of str
        Columns of results that name groups.
    evidence : sequence of str
        Of `EVIDENCE`.
    calibrations : iterable of Calibration
        As the accepted values were corrected with.

    Returns
    -------
    pandas.DataFrame
        ``assay, element, what, kind, log, variance, batch`` and the columns asked for: one row per
        result; `log` is log10 of the value, `variance` that of `log` from the stated error.
    """
    import pandas as pd

    taken = survey.analytes.loc[survey.analytes["accepted"], ["assay", "element", "calibrated"]]
    taken = taken.groupby(["assay", "element"], sort=True)["calibrated"].any().reset_index()
    keep = list(dict.fromkeys(
        ["sample_id", "assay", "element", "value", "below", "above", "err", "instrument", "mode",
         "batch", "date_read", *columns]
    ))  # fmt: skip
    parts = []
    controls = survey.controls
    if "standards" in evidence and len(controls):
        mine = controls[(controls["role"] == "standard").to_numpy()]
        name = mine["standard"].fillna(mine["sample_id"]) + "|" + mine["mode"].fillna("")
        parts.append(_columns(mine, keep).assign(what=name, kind=_KIND["standards"]))
    if "duplicates" in evidence:
        parts += _duplicates(survey, keep)
    if not parts:
        parts = [_columns(survey.results.iloc[:0], keep).assign(what=None, kind=0)]
    frame = pd.concat(parts, ignore_index=True)
    frame = frame.merge(taken, on=["assay", "element"], how="inner", validate="m:1")
    frame = _calibrated(frame, list(calibrations))
    value, err = frame["value"].to_numpy(float), frame["err"].to_numpy(float)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(np.isfinite(err), err / value, 0.0)
        log = np.log10(value)
    use = np.isfinite(log) & (share <= _MAX_ERROR)
    use &= ~frame["below"].to_numpy(bool) & ~frame["above"].to_numpy(bool)
    frame = frame.assign(log=log, variance=(share / np.log(10.0)) ** 2)
    texts = list(dict.fromkeys(["assay", "element", "what", "batch", *columns]))
    frame = frame.loc[use, [*texts, "kind", "log", "variance"]].reset_index(drop=True)
    return frame.assign(**{c: pd.Categorical(frame[c].fillna("").astype(str)) for c in texts})


def _columns(frame: pd.DataFrame, keep: list[str]) -> pd.DataFrame:
    there = [c for c in keep if c in frame.columns]
    return frame[there].assign(**{c: None for c in keep if c not in there})


def _duplicates(survey: Survey, keep: list[str]) -> list[pd.DataFrame]:
    """Give results of samples that were read more than once, and of their duplicates."""
    controls, results = survey.controls, survey.results
    roles = controls[["sample_id", "role", "parent"]].drop_duplicates("sample_id")
    roles = roles[roles["parent"].notna() & roles["role"].isin([*_SAME, *_ANEW])]
    parent = dict(zip(roles["sample_id"], roles["parent"], strict=True))
    of_controls = set(controls["sample_id"]) - set(parent)
    routine = results[~results["sample_id"].isin(of_controls).to_numpy()]
    twice = routine.duplicated(["sample_id", "assay", "element"], keep=False).to_numpy()
    ids = set(routine.loc[twice, "sample_id"]) | set(parent) | set(parent.values())
    routine = routine[routine["sample_id"].isin(ids).to_numpy()]
    own = routine["sample_id"].to_numpy(dtype=object)
    what = np.array([parent.get(i, i) for i in own], dtype=object)
    anew = set(roles.loc[roles["role"].isin(_ANEW), "sample_id"])
    again = np.array([i in anew for i in own], dtype=bool)
    frame = _columns(routine, keep).assign(what=what)
    first = frame[~again].assign(kind=_KIND["duplicates"])
    # a sample split or taken anew: the parent stands beside it in a block of its own
    parents = {parent[i] for i in anew}
    beside = again | np.array([w in parents for w in what], dtype=bool)
    second = frame[beside].assign(kind=_KIND["duplicates anew"])
    return [first, second.assign(what=second["what"] + "|anew")]


def _calibrated(frame: pd.DataFrame, calibrations: list[Calibration]) -> pd.DataFrame:
    """Correct readings as the accepted values were."""
    import pandas as pd

    fixed = frame["calibrated"].to_numpy(dtype=bool)
    if not fixed.any() or not calibrations:
        return frame
    columns = {c: frame[c].to_numpy(copy=True) for c in ("value", "below", "above", "err")}
    serial = frame["instrument"].fillna("").to_numpy(dtype=object)
    ids = frame["sample_id"].to_numpy(dtype=object)
    places: Any = frame[fixed].groupby(["assay", "element"]).indices
    for (assay, element), at in places.items():
        rows = np.flatnonzero(fixed)[at]
        read = {"instrument": serial[rows]}
        if "mode" in frame.columns:
            read["mode"] = frame["mode"].fillna("").to_numpy(dtype=object)[rows]
        if "date_read" in frame.columns:
            day = pd.to_datetime(frame["date_read"]).dt.strftime("%Y-%m-%d").fillna("")
            read["day"] = day.to_numpy(dtype=object)[rows]
        lines = calibrations_for(calibrations, element, assay, ids[rows], read)
        if lines is None:
            # an instrument that read controls only: its readings say nothing here
            columns["value"][rows] = np.nan
            continue
        for calibration, hit in lines:
            mine = rows[hit]
            given = tables.Values(*(columns[c][mine] for c in ("value", "below", "above", "err")))
            # the error of the line is common to all readings: only that of the shot counts
            line = apply_calibration(given, calibration)
            outside = (given.value < 0.9 * calibration.low) | (
                given.value > 1.1 * calibration.high
            )
            steep = line.value / given.value if calibration.log else 1.0
            columns["err"][mine] = np.abs(calibration.slope * steep) * given.err
            columns["value"][mine] = np.where(outside, np.nan, line.value)
            columns["below"][mine] = line.below
    return frame.assign(**columns)


def neighbours(samples: pd.DataFrame, xy: Floats, group: Ints) -> Ground:
    """Pair neighbours of different groups that lie in one medium, horizon, regolith and unit.

    Parameters
    ----------
    samples : pandas.DataFrame
        Located samples.
    xy : ndarray, shape (n, 2)
        Easting, northing. [m]
    group : ndarray of int, shape (n,)
        -1 where unknown.

    Returns
    -------
    Ground
        Each pair once; groups that lie side by side give none.
    """
    from scipy.spatial import cKDTree

    names = [c for c in ("medium", "horizon", "regolith", "geology") if c in samples.columns]
    label = samples[names].fillna("").astype(str).agg("|".join, axis=1).to_numpy(dtype=object)
    _, unit = np.unique(label.astype(str), return_inverse=True)
    able = (group >= 0) & samples["medium"].isin(_GROUND).to_numpy()
    able &= np.isfinite(xy).all(axis=1)
    found: list[tuple[Any, ...]] = []
    for medium in sorted(set(samples.loc[able, "medium"])):
        rows = np.flatnonzero(able & (samples["medium"] == medium).to_numpy())
        if len(rows) < 10:
            continue
        k = min(13, len(rows))
        away, near = cKDTree(xy[rows]).query(xy[rows], k=k)
        nearest = float(np.median(away[:, 1]))
        if not nearest > 0:
            continue
        i, j = np.repeat(rows, k - 1), rows[near[:, 1:]].ravel()
        close = (away[:, 1:].ravel() <= _REACH * nearest) & (away[:, 1:].ravel() > 0)
        keep = close & (unit[i] == unit[j]) & (group[i] != group[j])
        pairs = np.unique(np.sort(np.column_stack([i, j])[keep], axis=1), axis=0)
        swap = group[pairs[:, 0]] > group[pairs[:, 1]]
        pairs[swap] = pairs[swap][:, ::-1]
        cell = np.floor(xy[pairs].mean(axis=1) / (_BLOCK * nearest)).astype(np.int64)
        found += [
            (*p, int(unit[p[0]]), *c) for p, c in zip(pairs.tolist(), cell.tolist(), strict=True)
        ]
    if not found:
        none = np.zeros(0, dtype=np.int64)
        return Ground(none, none, none, none, none)
    table = np.array(found, dtype=np.int64)
    a, b = group[table[:, 0]], group[table[:, 1]]
    table = table[~_side_by_side(xy[table[:, 1]] - xy[table[:, 0]], a, b)]
    a, b = group[table[:, 0]], group[table[:, 1]]
    _, block = np.unique(np.column_stack([a, b, table[:, 2:]]), axis=0, return_inverse=True)
    return Ground(table[:, 0], table[:, 1], a, b, block.ravel())


def _side_by_side(step: Floats, a: Ints, b: Ints) -> npt.NDArray[np.bool_]:
    """Mark pairs of groups that meet along a border instead of lying among each other.

    All steps from one group to the other then point the same way, and a step of the values there
    cannot be told from a real change of the ground.
    """
    _, pair = np.unique(a * (int(b.max(initial=0)) + 1) + b, return_inverse=True)
    length = np.bincount(pair, np.hypot(step[:, 0], step[:, 1]))
    across = np.hypot(np.bincount(pair, step[:, 0]), np.bincount(pair, step[:, 1]))
    return np.asarray((across > _ONE_WAY * length)[pair])


def ground_rows(ground: Ground, log: Floats) -> tuple[Floats, Ints, Ints, Floats]:
    """Give value, block, group and variance of what neighbours say of one element.

    Per block of ground and pair of groups the median difference, set half above and half below
    zero; groups that share fewer than `LEAST_BLOCKS` blocks with others give nothing.
    """
    none = np.zeros(0)
    difference = log[ground.second] - log[ground.first]
    ok = np.isfinite(difference)
    if not ok.any():
        return none, none.astype(int), none.astype(int), none
    order = np.lexsort((difference[ok], ground.block[ok]))
    d, block = difference[ok][order], ground.block[ok][order]
    number, start, n = np.unique(block, return_index=True, return_counts=True)
    middle = (d[start + (n - 1) // 2] + d[start + n // 2]) / 2
    within = float((1.4826 * np.median(np.abs(d - np.repeat(middle, n)))) ** 2)
    a, b = ground.group[ok][order][start], ground.other[ok][order][start]
    shared = np.bincount(np.concatenate([a, b]))
    enough = (shared[a] >= LEAST_BLOCKS) & (shared[b] >= LEAST_BLOCKS)
    middle, a, b, number, n = (q[enough] for q in (middle, a, b, number, n))
    return (
        np.concatenate([-middle / 2, middle / 2]), np.tile(number, 2), np.concatenate([a, b]),
        np.tile(within / n / 2, 2),
    )  # fmt: skip
