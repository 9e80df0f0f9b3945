"""Which readings share one calibration line: by instrument, mode, date and kind of ground.

One line for all readings is the default. They are split, by what tells them apart best first,
where separate lines differ beyond chance and by more than matters, and every part has pairs enough;
readings of a part without pairs enough keep the common line.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from geochem.quality.calibration_fit import Fit, fit_line
from geochem.quality.limits import QualityLimits
from geochem.stats.regression import york

if TYPE_CHECKING:
    import pandas as pd

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

#: lines must differ by this much, and by chance no oftener than this, to stand alone (common
#: practice, no source)
LEAST_GAP = 0.10
CHANCE = 0.001
#: dates tried for a change at most
MOST_DATES = 12
#: what readings are split by, in the order in which ties are decided
FACTORS = ("instrument", "mode", "matrix", "date")


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """Readings that share a line.

    Parameters
    ----------
    rows : ndarray of bool, shape (n_pairs,)
        Pairs that the line is fitted to.
    samples : frozenset of str or None
        Samples that it corrects; None for all.
    instrument, mode, since, until, matrix : str
        What the group is; empty where it does not matter. Dates as YYYY-MM-DD, both included.
    lacking : str
        Why the line is a common one though lines differ; empty otherwise.
    wild : ndarray of bool, shape (n_used,), optional
        Which of the used pairs are far off the line, where it is known already.
    """

    rows: Flags
    samples: frozenset[str] | None = None
    instrument: str = ""
    mode: str = ""
    since: str = ""
    until: str = ""
    matrix: str = ""
    lacking: str = field(default="")
    wild: Flags | None = None


def split_pairs(
    pairs: pd.DataFrame,
    conditions: Mapping[str, Mapping[str, str]],
    limits: QualityLimits,
    *,
    every: frozenset[str] | None = None,
) -> list[Group]:
    """Give the finest groups of readings that need, and have pairs for, lines of their own.

    Parameters
    ----------
    pairs : pandas.DataFrame
        One element, from `collect_pairs`, with columns ``instrument, mode, matrix, date``.
    conditions : mapping of condition to mapping of sample id to str
        Of every sample that was read: ``instrument, mode, matrix, date``; empty text or no entry
        where it is not known or there are several.
    limits : QualityLimits
        ``calibration_pairs_provisional, per_instrument, calibration_dates``.
    every : frozenset of str, optional
        From `read_under`, where it is known already.

    Returns
    -------
    list of Group
        Together they hold every sample of `conditions` once; one group when one line serves all.
    """
    samples = read_under(conditions) if every is None else every
    whole = Group(np.ones(len(pairs), dtype=bool), samples)
    found = _split(whole, pairs, conditions, limits)
    if len(found) > 1:
        return found
    wild = found[0].wild if found[0].rows.all() else None
    return [replace(whole, samples=None, lacking=found[0].lacking, wild=wild)]


def read_under(conditions: Mapping[str, Mapping[str, str]]) -> frozenset[str]:
    """Give every sample of which a condition is known that lines may depend on."""
    return frozenset().union(*(conditions[f].keys() for f in FACTORS if f in conditions))


def _split(
    group: Group, pairs: pd.DataFrame, conditions: Mapping[str, Mapping[str, str]],
    limits: QualityLimits,
) -> list[Group]:  # fmt: skip
    used = pairs["used"].to_numpy(dtype=bool) & group.rows
    least = limits.calibration_pairs_provisional
    if used.sum() < 2 * least:
        return [group]
    data = pairs[used]
    x, y, x_err, y_err = (data[c].to_numpy(dtype=float) for c in ("x", "y", "x_err", "y_err"))
    labels = {f: data[f].to_numpy(dtype=object) for f in FACTORS if f in data}
    tries = [(f, code) for f, code in _ways(labels, least, limits) if len(set(code) - {""}) > 1]
    if not tries:
        return [group]
    best: tuple[float, str, npt.NDArray[np.object_]] | None = None
    common = fit_line(x, y, x_err, y_err, log_range=limits.calibration_log_range, extras=False)
    scaled = _scaled(x, y, x_err, y_err, log=common.log, extra=common.extra)
    dates = sum(f == "date" for f, _ in tries)
    if not limits.calibration_dates:
        tries = _likeliest_date(tries, scaled, common)
    for factor, code in tries:
        good = ~common.wild & (code != "")
        u, v, su, sv = (a[good] for a in scaled)
        chance, gap = _difference(u, v, su, sv, code[good], log=common.log)
        chance *= dates if factor == "date" and not limits.calibration_dates else 1
        forced = factor == "instrument" and limits.per_instrument
        if not forced and (chance >= CHANCE or gap <= LEAST_GAP):
            continue
        if best is None or (0.0 if forced else chance) < best[0]:
            best = 0.0 if forced else chance, factor, code
    if best is None:
        return [replace(group, wild=common.wild)]
    return _parts(group, best[1], best[2], pairs, conditions, limits)


def _ways(
    labels: Mapping[str, npt.NDArray[np.object_]], least: int, limits: QualityLimits
) -> list[tuple[str, npt.NDArray[np.object_]]]:
    """Give the ways to part the pairs; labels of parts with too few pairs are empty."""
    out: list[tuple[str, npt.NDArray[np.object_]]] = []
    for factor in FACTORS[:-1]:
        if factor in labels:
            code = labels[factor].copy()
            names, counts = np.unique(code.astype(str), return_counts=True)
            code[np.isin(code, names[counts < least])] = ""
            out.append((factor, code))
    day = labels.get("date")
    if day is None:
        return out
    known = np.array(sorted(set(day) - {""}), dtype=object)
    if limits.calibration_dates:
        cuts = [d for d in limits.calibration_dates if known.size and known[0] < d <= known[-1]]
    else:
        dated = np.sort(day[day != ""].astype(str))
        n = np.searchsorted(dated, known.astype(str))
        fair = known[(n >= 2 * least) & (len(dated) - n >= 2 * least)]
        cuts = list(fair[np.unique(np.linspace(0, len(fair) - 1, MOST_DATES).astype(int))]) if len(
            fair
        ) else []  # fmt: skip
    for cut in cuts:
        before = (day != "") & (day < cut)
        after = (day != "") & (day >= cut)
        if min(before.sum(), after.sum()) >= least:
            out.append(("date", np.select([before, after], ["<" + cut, cut], "").astype(object)))
    return out


def _scaled(
    x: Floats, y: Floats, x_err: Floats, y_err: Floats, *, log: bool, extra: float
) -> tuple[Floats, Floats, Floats, Floats]:
    if log:
        x_err, y_err = x_err / (x * np.log(10)), y_err / (y * np.log(10))
        x, y = np.log10(x), np.log10(y)
    more = extra if np.isfinite(extra) else 0.0
    return x, y, np.hypot(x_err, more), np.hypot(y_err, more)


def _likeliest_date(
    tries: list[tuple[str, npt.NDArray[np.object_]]],
    scaled: tuple[Floats, Floats, Floats, Floats], common: Fit,
) -> list[tuple[str, npt.NDArray[np.object_]]]:  # fmt: skip
    """Keep of the dates tried only the one over which the residuals change most."""
    u, v, su, sv = scaled
    away = (v - common.intercept - common.slope * u) / np.hypot(sv, common.slope * su)
    best, kept = -1.0, [t for t in tries if t[0] != "date"]
    last: list[tuple[str, npt.NDArray[np.object_]]] = []
    for factor, code in tries:
        if factor != "date":
            continue
        before = np.isin(code, [c for c in set(code.tolist()) if c.startswith("<")])
        early, late = before & ~common.wild, (code != "") & ~before & ~common.wild
        if min(early.sum(), late.sum()) < 3:
            continue
        change = abs(float(away[early].mean() - away[late].mean()))
        size = change / np.sqrt(1 / early.sum() + 1 / late.sum())
        if size > best:
            best, last = size, [(factor, code)]
    return kept + last


def _difference(
    u: Floats, v: Floats, su: Floats, sv: Floats, code: npt.NDArray[np.object_], *, log: bool
) -> tuple[float, float]:
    """Compare one line with a line for each part: chance (F test) and largest relative gap."""
    from scipy.stats import f as ratio_test

    names = sorted(set(code))
    if any(np.ptp(u[code == n]) == 0 or (code == n).sum() < 5 for n in names) or len(names) < 2:
        return 1.0, 0.0
    one = york(u, v, su, sv)
    parts = [york(u[code == n], v[code == n], su[code == n], sv[code == n]) for n in names]
    free = len(u) - 2 * len(names)
    apart = sum(p.chi2_reduced * (p.n - 2) for p in parts)
    together = one.chi2_reduced * (one.n - 2)
    more = 2 * (len(names) - 1)
    value = (together - apart) / more / (apart / free) if apart > 0 else 0.0
    chance = float(ratio_test.sf(max(value, 0.0), more, free))
    # Compared where all parts have pairs; a gap outside is one of extrapolation.
    low = max(float(np.quantile(u[code == n], 0.1)) for n in names)
    high = min(float(np.quantile(u[code == n], 0.9)) for n in names)
    at = np.linspace(low, high, 5) if high > low else np.array([(low + high) / 2])
    lines = np.array([p.at(at) for p in parts])
    spread = lines.max(axis=0) - lines.min(axis=0)
    gap = np.log(10) * spread if log else spread / np.abs(one.at(at))
    return chance, float(np.median(gap))


def _parts(
    group: Group, factor: str, code: npt.NDArray[np.object_], pairs: pd.DataFrame,
    conditions: Mapping[str, Mapping[str, str]], limits: QualityLimits,
) -> list[Group]:  # fmt: skip
    """Part a group, and each part again; what has no line of its own keeps the common one."""
    names = sorted(set(code) - {""})
    known = conditions.get(factor, {})
    samples = group.samples or frozenset()
    column = pairs[factor].to_numpy(dtype=object)
    out: list[Group] = []
    taken: set[str] = set()
    for name in names:
        if factor == "date":
            cut = name.removeprefix("<")
            early = name.startswith("<")
            rows = (column != "") & ((column < cut) if early else (column >= cut))
            mine = frozenset(
                s for s in samples if known.get(s) and (known[s] < cut) is early
            )  # fmt: skip
            days = sorted(known[s] for s in mine)
            part = replace(group, until=days[-1]) if early else replace(group, since=days[0])
        else:
            rows = column == name
            mine = frozenset(s for s in samples if known.get(s) == name)
            part = replace(
                group,
                instrument=name if factor == "instrument" else group.instrument,
                mode=name if factor == "mode" else group.mode,
                matrix=name if factor == "matrix" else group.matrix,
            )
        taken |= mine
        out += _split(
            replace(part, rows=group.rows & rows, samples=mine, wild=None),
            pairs,
            conditions,
            limits,
        )
    rest = samples - taken
    if rest:
        left = sorted({known.get(s, "") or "not known" for s in rest})
        why = f"lines differ by {factor}, and too few pairs tell that of {', '.join(left[:4])}"
        out.append(replace(group, samples=frozenset(rest), lacking=why))
    return out
