"""From readings of standards to one statement per batch and element.

Rule, stated because hundreds of checks are made: an element fails in a batch of portable XRF when
its standards together depart from those of the other batches by at least `departure_fail_pct` and
by more than a limit that lets a faultless batch fail in any of its key elements with chance
`family_alarm`; single readings beyond two or three standard deviations only warn. How small a fault
can be seen is a matter of how many standards a batch holds: `shows_pct`, said by `quality.power`.
In a laboratory batch the mean of the standards, or a single one, lies beyond that limit in units of
the certificate's SD.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from geochem.quality.arrange import BATCH_KEY, records
from geochem.quality.limits import QualityLimits
from geochem.stats.batch_departure import Departures, batch_departures

if TYPE_CHECKING:
    import pandas as pd

#: chance beyond three standard deviations, both sides
_THREE_S = 0.0026997961
#: standard deviations that 19 of 20 lie above
_NINETEEN = 1.6448536
#: a single key element is not failed on a chance larger than this
_LEAST = 0.01

_CHART = ["source", "assay", "instrument", "mode", "element"]
_KEY = [*BATCH_KEY, "element"]
_SOFT = "info|indic|provis"
#: rules that tell of slow drift or of a spread set too wide, not of one batch
_SLOW = {"10-x", "N2", "N3", "N4", "N7", "N8"}


def judge_departures(
    checks: pd.DataFrame, family: dict[str, int], limits: QualityLimits
) -> pd.DataFrame:
    """Judge each element of each batch by its standards.

    Parameters
    ----------
    checks : pandas.DataFrame
        From `check_standards`.
    family : dict of str to int
        Number of key elements per assay: how many chances a batch has to fail.
    limits : QualityLimits
        What warns and what fails.

    Returns
    -------
    pandas.DataFrame
        `BATCH_KEY`, ``element, n_standard, verdict, departure_pct, z, reason, n_clear, n_batches,
        shows_pct, enough``; `verdict` is ``unjudged`` when no standard is clear of the detection
        limit. `z` is that of the departure for portable XRF, the mean in SD of the certificate for
        a laboratory. `n_clear` readings are clear of it; they show an error of `shows_pct` in 95
        of 100 cases; `enough` of them would show `xrf_bias_pct`, NaN when no number would.
    """
    import pandas as pd

    columns = [
        *_KEY, "n_standard", "verdict", "departure_pct", "z", "reason", "n_clear", "n_batches",
        "shows_pct", "enough",
    ]  # fmt: skip
    if checks.empty:
        return pd.DataFrame(columns=columns)
    rows = checks.assign(
        chart=checks.groupby(_CHART, sort=True, observed=True).ngroup(),
        group=checks.groupby(_KEY, observed=True).ngroup(),
    )
    table = _departures(rows, family, limits)
    table = _own_verdicts(rows, table, limits)
    laboratory = table["source"] != "pxrf"
    if laboratory.any():
        table = pd.concat(
            [table[~laboratory], _laboratory(rows, table[laboratory].copy(), limits)]
        ).sort_index()
    return table[columns].reset_index(drop=True)


def _departures(rows: pd.DataFrame, family: dict[str, int], limits: QualityLimits) -> pd.DataFrame:
    """Give the departure of every batch and element from the own usual value, and its z."""
    from scipy.stats import t as student

    table = rows.drop_duplicates("group").set_index("group").sort_index()[[*_KEY, "chart"]]
    n, chart = len(table), table["chart"].to_numpy()
    good = (rows["judged"] & rows["own_z"].notna()).to_numpy(dtype=bool)
    at = rows["group"].to_numpy()[good]
    centre = rows["centre"].to_numpy()[good]
    relative = rows["value"].to_numpy()[good] / centre - 1
    own = rows["spread"].to_numpy()[good] / centre
    freedom = rows["freedom"].to_numpy()[good]
    standard = rows["standard"].cat.codes.to_numpy()[good]
    departure, se, degrees = np.full(n, np.nan), np.full(n, np.nan), np.ones(n)
    between = np.full(n, np.nan)
    weight = 1 / own**2
    by_chart = np.argsort(chart[at], kind="stable")
    edges = np.flatnonzero(np.diff(chart[at][by_chart])) + 1
    places = np.split(by_chart, edges) if len(at) else []

    def measured(here: npt.NDArray[np.intp], usual: float = np.nan) -> tuple[Any, Departures]:
        groups, code = np.unique(at[here], return_inverse=True)
        _, one_each, kind = np.unique(standard[here], return_index=True, return_inverse=True)
        return groups, batch_departures(
            relative[here], code, kind, own[here], n_batches=len(groups),
            spread_freedom=float(freedom[here][one_each].sum()),
            spread_floor=limits.spread_floor_pct / 100, usual_between=usual,
        )  # fmt: skip

    # Twice: elements of one instrument tell together how much its batches usually differ.
    first = [measured(here)[1] for here in places]
    series = table.groupby(_CHART[:-1], observed=True, dropna=False).ngroup().to_numpy()
    named = [int(series[at[here[0]]]) for here in places]
    for here, name in zip(places, named, strict=True):
        # The median of variances of few degrees of freedom lies below what they estimate.
        same = [
            float(np.median(f.between)) / (1 - 2 / (9 * (len(f.between) - 2))) ** 1.5
            for f, other in zip(first, named, strict=True)
            if other == name and len(f.between) >= 4
        ]
        usual = float(np.median(same)) if len(same) >= 3 else np.nan
        groups, found = measured(here, usual)
        departure[groups], se[groups], degrees[groups] = found.departure, found.se, found.freedom
        between[groups] = found.between
    # One wild reading among three or more is that reading's fault, not the batch's.
    wild = _most_extreme(at, relative / own, departure, n)
    rest = np.ones(len(at), dtype=bool)
    rest[wild] = False
    with np.errstate(divide="ignore", invalid="ignore"):
        whole = np.bincount(at, weight * relative, n) / np.bincount(at, weight, n)
        sums = np.bincount(at[rest], (weight * relative)[rest], n)
        others = departure - whole + sums / np.bincount(at[rest], weight[rest], n)
    m = table["assay"].map(family).fillna(1).clip(lower=1).to_numpy(dtype=float)
    chance = np.minimum(_LEAST, limits.family_alarm / m)
    fail_z = student.isf(chance / 2, degrees)
    clear = np.bincount(at, minlength=n)
    # More readings lessen all but the usual difference between batches, and tell the scatter better.
    n_batches = table.groupby("chart", observed=True)["batch"].transform("nunique")
    fixed = between**2 * (1 + 1 / n_batches.to_numpy(dtype=float))
    room = (limits.xrf_bias_pct / 100 / (student.isf(chance / 2, 2 * degrees) + _NINETEEN)) ** 2
    # A departure must also be large enough to matter before it fails.
    spare = max(limits.xrf_bias_pct - limits.departure_fail_pct, 0.0) / 100
    room = np.minimum(room, (spare / _NINETEEN) ** 2)
    with np.errstate(divide="ignore", invalid="ignore"):
        enough = np.where(room > fixed, np.ceil(clear * (se**2 - fixed) / (room - fixed)), np.nan)
    return table.assign(
        n_standard=np.bincount(rows["group"], minlength=n),
        n_batches=n_batches,
        m=m,
        departure_pct=100 * departure,
        without_extreme_pct=100 * np.where(np.isfinite(others), others, departure),
        z=departure / se,
        fail_z=fail_z,
        n_clear=clear,
        shows_pct=np.maximum(100 * fail_z * se, limits.departure_fail_pct) + 100 * _NINETEEN * se,
        enough=enough,
        warn_z=student.isf(_THREE_S / 2, degrees),
        bias=rows.groupby("group", observed=True)["bias_pct"].median(),
        lost=rows.groupby("group", observed=True)["lost"].mean(),
        all_named=_names(rows, n),
        named=_names(rows[good], n),
    )


def _own_verdicts(rows: pd.DataFrame, table: pd.DataFrame, limits: QualityLimits) -> pd.DataFrame:
    """Judge against the instrument's own usual values."""
    size, away = table["departure_pct"].abs(), table["z"].abs()
    without = table["without_extreme_pct"] * np.sign(table["departure_pct"])
    failed = (
        (away > table["fail_z"])
        & (size >= limits.departure_fail_pct)
        & (without >= np.maximum(size / 2, limits.departure_warn_pct))
    )
    undecided = failed & (table["n_batches"] == 2) & ~_certificate_decides(table, limits)
    moved = (away > table["warn_z"]) & (size >= limits.departure_warn_pct)
    biased = (table["n_batches"] == 1) & (table["bias"].abs() > limits.xrf_bias_pct)
    rang = _rules(rows).reindex(table.index).fillna("")
    state = np.select(
        [
            table["lost"] > 0.5, table["departure_pct"].isna(), undecided, failed, moved, biased,
            rang != "",
        ],
        ["lost", "unjudged", "undecided", "failed", "moved", "biased", "rang"],
        "pass",
    )  # fmt: skip
    words = {"lost": "fail", "failed": "fail", "unjudged": "unjudged", "pass": "pass"}
    reasons: list[str] = []
    for row, what, rules in zip(records(table), state, rang, strict=True):
        d, bias = row["departure_pct"], row["bias"]
        text = (
            f"reads {abs(d):.0f} % {'high' if d > 0 else 'low'} on {row['named']} "
            f"(z {row['z']:+.1f})"
        )
        if what == "lost":
            text = f"{row['all_named']} read below detection though certified well above it"
        elif what == "unjudged":
            text = "its standards lie near or under the detection limit"
        elif what == "undecided":
            text += "; of two batches that disagree it cannot be told which is off"
        elif what == "biased":
            text = (
                f"reads {abs(bias):.0f} % {'high' if bias > 0 else 'low'} against the certificate "
                f"of {row['named']}; with one batch it cannot be told whether this is constant"
            )
        elif what == "rang":
            text = f"run rule {rules} rang; the batch as a whole {text}"
        reasons.append(text)
    return table.assign(
        verdict=[words.get(s, "warn") for s in state], reason=np.array(reasons, dtype=object)
    )


def _laboratory(rows: pd.DataFrame, table: pd.DataFrame, limits: QualityLimits) -> pd.DataFrame:
    """Judge laboratory batches on the certificate; their own steadiness comes second."""
    from scipy.stats import norm

    mine = rows[rows["group"].isin(table.index)]
    sure = mine[mine["z"].notna()]
    by_group = sure.groupby("group", observed=True)["z"]
    mean, count = by_group.mean().reindex(table.index), by_group.size().reindex(table.index)
    extreme = sure.assign(size=sure["z"].abs()).sort_values("size", kind="stable")
    extreme = extreme.drop_duplicates("group", keep="last").set_index("group")
    worst = extreme["z"].reindex(table.index)
    usual = mean.groupby(table["chart"], observed=True).transform("median")
    limit = np.maximum(limits.reject_s, norm.isf(limits.family_alarm / table["m"] / 2))
    limit_one = np.maximum(
        limits.reject_s, norm.isf(limits.family_alarm / (table["m"] * count.fillna(1)) / 2)
    )
    # Constant: most batches lie as far off on the same side.
    steady = (
        (table["n_batches"] >= 3) & (usual.abs() > limits.warn_s)
        & ((mean - usual).abs() <= limits.warn_s)
    )  # fmt: skip
    soft = (
        mine["status"]
        .str.contains(_SOFT)
        .groupby(mine["group"], observed=True)
        .all()
        .reindex(table.index)
    )
    off_mean, off_one = mean.abs() > limit, worst.abs() > limit_one
    by_bias = _by_bias(mine, table, limits)
    named = _names(sure, int(rows["group"].max()) + 1)
    verdicts: list[str] = []
    reasons: list[str] = []
    for i, row in zip(table.index, records(table), strict=True):
        verdict, text = str(row["verdict"]), str(row["reason"])
        if row["lost"] > 0.5:
            pass
        elif not np.isfinite(mean[i]):
            verdict, text = by_bias[i]
        else:
            own, own_text = verdict, text
            verdict, text = "pass", f"{mean[i]:+.1f} SD from the certified value on {named[i]}"
            if off_one[i] and not off_mean[i]:
                one = extreme.loc[i]
                text = (
                    f"{one['standard']} ({one['sample_id']}) {worst[i]:+.1f} SD from the "
                    f"certified value"
                )
            if off_mean[i] or off_one[i]:
                verdict = "fail"
                if steady[i]:
                    verdict, text = "warn", f"{text}; constant in all batches: calibrate or level"
                if soft[i]:
                    verdict, text = "warn", f"{text}; information value"
            elif abs(mean[i]) > limits.warn_s:
                verdict = "warn"
            elif own in ("warn", "fail") and row["n_batches"] >= 3:
                verdict, text = "warn", f"{text}; against its other batches it {own_text}"
        verdicts.append(verdict)
        reasons.append(text)
    z = mean.where(mean.notna(), table["z"])
    return table.assign(verdict=verdicts, reason=np.array(reasons, dtype=object), z=z)


def _by_bias(
    mine: pd.DataFrame, table: pd.DataFrame, limits: QualityLimits
) -> dict[int, tuple[str, str]]:
    """Judge laboratory batches whose certificate gives no usable SD, by bias in per cent."""
    fair = mine[mine["judged"] & (mine["digestion_note"] == "") & mine["bias_pct"].notna()]
    bias = fair.groupby("group", observed=True)["bias_pct"].median().reindex(table.index)
    named = _names(fair, int(mine["group"].max()) + 1)
    notes = mine[mine["digestion_note"] != ""].drop_duplicates("group").set_index("group")
    mismatch = notes["digestion_note"].reindex(table.index)
    out: dict[int, tuple[str, str]] = {}
    for i, row in zip(table.index, records(table), strict=True):
        own = str(row["verdict"])
        if np.isfinite(bias[i]):
            text = f"bias {bias[i]:+.0f} % on {named[i]}; the certificate gives no usable SD"
            constant = own == "pass" and row["n_batches"] >= 3
            over = abs(bias[i]) > 2 * limits.laboratory_bias_pct
            verdict = "pass"
            if abs(bias[i]) > limits.laboratory_bias_pct:
                verdict = "fail" if over and not constant else "warn"
            out[int(i)] = verdict, text
            continue
        why = mismatch[i] if isinstance(mismatch[i], str) else "no certified value"
        # Only its own steadiness is known.
        out[int(i)] = "warn" if own == "fail" else own, f"{row['reason']} ({why})"
    return out


def _most_extreme(
    at: npt.NDArray[np.intp],
    z: npt.NDArray[np.float64],
    departure: npt.NDArray[np.float64],
    n: int,
) -> npt.NDArray[np.intp]:
    """Find the reading that drives each departure, where the group has three or more."""
    toward = z * np.sign(departure[at])
    order = np.lexsort((toward, at))
    last = np.flatnonzero(np.append(np.diff(at[order]) != 0, True)) if len(at) else order
    found = order[last]
    return found[np.bincount(at, minlength=n)[at[found]] >= 3]


def _certificate_decides(table: pd.DataFrame, limits: QualityLimits) -> npt.NDArray[np.bool_]:
    """Say whether of two batches only the other one agrees with the certified values."""
    fine = table["bias"].abs() <= limits.xrf_bias_pct
    others_fine = fine.groupby(table["chart"], observed=True).transform("sum") - fine
    return ((table["bias"].abs() > limits.xrf_bias_pct) & (others_fine > 0)).to_numpy()


def _rules(rows: pd.DataFrame) -> pd.Series:
    """Name the run rules that rang in each batch."""
    rang = rows[rows["rules"] != ""]
    joined = rang.groupby("group", observed=True)["rules"].agg(" ".join)
    return joined.map(lambda text: ", ".join(sorted(set(str(text).split()) - _SLOW)))


def _names(rows: pd.DataFrame, n: int) -> npt.NDArray[np.object_]:
    """Name the standards of each group: ``STD-A x 2, STD-B``."""
    out = np.full(n, "", dtype=object)
    counts = (
        rows.groupby(["group", "standard"], sort=True, observed=True)
        .size()
        .rename("n")
        .reset_index()
    )
    for group, standard, n_here in counts.to_numpy(dtype=object):
        text = f"{standard} x {n_here}" if n_here > 1 else str(standard)
        out[group] = f"{out[group]}, {text}" if out[group] else text
    return out
