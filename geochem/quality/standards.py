"""Standards: every reading on its chart, and whether a batch departs.

Portable XRF is judged on its own usual value: a constant bias is mended by calibration, a batch
that departs from the other batches is not. A laboratory is judged on the certificate.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from geochem.elements import element_rank
from geochem.model.finding import Finding, name_some
from geochem.model.quality import STANDARD_CHECKS
from geochem.model.tables import conform
from geochem.quality.arrange import Arranged, blank_to_none, by_text, categories, records, when
from geochem.quality.certificates import match_certificates, normal_name
from geochem.quality.limits import QualityLimits
from geochem.stats.control_chart import expected_false_alarms, nelson, own_chart, westgard

if TYPE_CHECKING:
    import pandas as pd

#: rows of one chart
SERIES = ["source", "assay", "instrument", "mode", "standard", "element"]


def check_standards(
    arranged: Arranged, standards: pd.DataFrame, limits: QualityLimits
) -> tuple[pd.DataFrame, list[Finding]]:
    """Put every reading of a standard on its chart.

    Parameters
    ----------
    arranged : Arranged
        Controls in time order.
    standards : pandas.DataFrame
        Contract `tables.STANDARDS`.
    limits : QualityLimits
        What warns and what fails.

    Returns
    -------
    checks : pandas.DataFrame
        Contract `STANDARD_CHECKS`, then ``freedom`` (degrees of freedom of `spread`), ``own_z``
        (against the own chart), ``rules`` (run rules that ring here), ``judged`` (clear of the
        detection limit). `z` is against the own chart for XRF, against the certificate for a
        laboratory. Missing text is empty.
    findings : list of Finding
        What was noticed; the number of alarms with the number expected without fault.
    """
    import pandas as pd

    rows = arranged.controls
    rows = rows[(rows["role"] == "standard") & (rows["value"] > 0)].reset_index(drop=True)
    if rows.empty:
        return _complete(rows), []
    # A log that does not name the standard often uses its name as the sample id.
    given = rows["standard"].to_numpy(dtype=object)
    names = pd.Series(
        np.where(given == "", rows["sample_id"].to_numpy(dtype=object), given), dtype=object
    )
    known = _known_names(names, standards)
    rows["standard"] = categories(pd.Series([known[n] for n in names], dtype=object))
    rows, findings = match_certificates(rows, standards)
    rows = arranged.with_limits(rows)
    detected = ~(rows["below"] | rows["above"]).to_numpy()
    rows["used"] = detected
    lowest = limits.judged_from_limits * rows["limit"].fillna(0.0)
    rows["clear"] = ~(rows["certified"] < lowest)
    rows = _charts(rows, limits)
    usual = rows["certified"].where(rows["certified"].notna(), rows["centre"])
    rows["judged"] = rows["used"] & (usual >= lowest) & (rows["centre"] >= lowest)
    rows["bias_pct"] = np.where(
        rows["used"] & rows["clear"], 100 * (rows["value"] / rows["certified"] - 1), np.nan
    )
    rows = _row_verdicts(rows, limits)
    findings += _swapped(rows)
    findings += _alarm_finding(rows, limits.run_rules)
    return _complete(rows), findings


def for_report(checks: pd.DataFrame) -> pd.DataFrame:
    """Give the checks with None for missing text, contract columns first."""
    return conform(blank_to_none(checks), STANDARD_CHECKS, extra=True)


def _known_names(names: pd.Series, standards: pd.DataFrame) -> dict[str, str]:
    """Read `STD-A-003` as the certified `STD-A`; a name no certificate has stays as it is."""
    certified = {normal_name(n): n for n in standards["standard"].dropna().unique()}
    out: dict[str, str] = {}
    for name in names.unique():
        plain = normal_name(name)
        inside = [c for c in certified if len(c) >= 3 and c in plain]
        longest = max(inside, key=lambda c: (len(c), c), default="")
        out[name] = certified.get(plain) or certified.get(longest) or name
    return out


def _charts(rows: pd.DataFrame, limits: QualityLimits) -> pd.DataFrame:
    """Add centre, spread and run rules; loops over charts (hundreds), not over rows."""
    n = len(rows)
    centre, spread = np.full(n, np.nan), np.full(n, np.nan)
    freedom, own_z = np.full(n, np.nan), np.full(n, np.nan)
    rules = np.full(n, "", dtype=object)
    value, used = rows["value"].to_numpy(), rows["used"].to_numpy()
    err, certified = rows["err"].to_numpy(), rows["certified"].to_numpy()
    batch = rows["batch"].to_numpy(dtype=object)
    for place in rows.groupby(SERIES, sort=False, observed=True).indices.values():
        at = np.asarray(place)
        # Mostly below detection: what is detected there is not the usual value.
        inside = at[used[at]]
        if len(inside) < 0.8 * len(at):
            continue
        x = value[inside]
        floor = limits.spread_floor_pct / 100 * float(np.median(x))
        if len(x) <= 10 and np.isfinite(err[inside]).any():
            floor = max(floor, float(np.nanmedian(err[inside])))
        anchor = float(np.median(certified[inside]))
        chart = own_chart(
            x, batch[inside], floor=floor, anchor=anchor,
            anchor_tolerance=limits.xrf_bias_pct / 100,
        )  # fmt: skip
        centre[at], spread[at], freedom[at] = chart.centre, chart.spread, chart.freedom
        own_z[inside] = (x - chart.centre) / chart.spread
        for rule, rings in _rings(own_z[inside], batch[inside], limits.run_rules).items():
            for i in inside[rings]:
                rules[i] = f"{rules[i]} {rule}".strip()
    return rows.assign(centre=centre, spread=spread, freedom=freedom, own_z=own_z, rules=rules)


def _rings(z: np.ndarray, batch: np.ndarray, which: str) -> dict[str, np.ndarray]:
    if which == "nelson":
        return {f"N{number}": rang for number, rang in nelson(z).items()}
    found = westgard(z, batch)
    del found["1-2s"]
    return found


def _row_verdicts(rows: pd.DataFrame, limits: QualityLimits) -> pd.DataFrame:
    xrf = (rows["source"] == "pxrf").to_numpy()
    far_enough = ~(rows["certified"] < limits.certificate_from_limits * rows["limit"].fillna(0))
    by_sd = (rows["sd_usable"] & far_enough & (rows["digestion_note"] == "")).to_numpy()
    certified, sd = rows["certified"].to_numpy(), rows["sd"].to_numpy()
    value, bias = rows["value"].to_numpy(), rows["bias_pct"].to_numpy()
    with np.errstate(divide="ignore", invalid="ignore"):
        cert_z = np.where(by_sd & rows["used"], (value - certified) / sd, np.nan)
    z = np.where(xrf, rows["own_z"], cert_z)
    verdict = np.full(len(rows), "pass", dtype=object)
    reason = np.full(len(rows), "", dtype=object)

    def say(where: np.ndarray, sentence: np.ndarray | str, level: str | None = None) -> None:
        if not where.any():
            return
        text = np.broadcast_to(np.asarray(sentence, dtype=object), len(rows))
        gap = np.where(reason[where] == "", "", "; ")
        reason[where] = reason[where] + gap + text[where]
        if level == "fail":
            verdict[where] = "fail"
        elif level == "warn":
            verdict[where] = np.where(verdict[where] == "fail", "fail", "warn")

    warned = np.abs(z) > limits.warn_s
    rejected = np.abs(z) > limits.reject_s
    own = np.where(xrf, "its own usual value", "the certified value")
    away = _formatted(z, warned, lambda v, i: f"{v:+.1f} s from {own[i]}")
    say(warned & ~rejected, away, "warn")
    say(rejected, away, "fail")
    allowed = np.where(xrf, limits.xrf_bias_pct, limits.laboratory_bias_pct)
    far = (np.abs(bias) > allowed) & (xrf | ~by_sd) & (rows["digestion_note"] == "").to_numpy()
    say(far, _formatted(bias, far, lambda v, _: f"bias {v:+.0f} %"), "warn")
    lost = (rows["below"] & (rows["certified"] >= limits.judged_from_limits * rows["limit"])
            & (rows["digestion_note"] == "")).to_numpy()  # fmt: skip
    say(lost, "read below detection though certified well above it", "fail")
    say((rows["below"] & ~lost).to_numpy(), "below detection")
    say(rows["above"].to_numpy(), "above the range of the method")
    say(np.isnan(certified), "no certified value")
    say(
        (~rows["clear"]).to_numpy(),
        f"certified value under {limits.judged_from_limits:g} detection limits: bias not judged",
    )
    say((rows["digestion_note"] != "").to_numpy(), rows["digestion_note"].to_numpy(dtype=object))
    # An information value has no certificate behind it: it may warn, not fail.
    soft = rows["status"].str.contains("info|indic|provis").to_numpy() & ~xrf
    verdict[soft & (verdict == "fail")] = "warn"
    return rows.assign(z=z, verdict=verdict, reason=reason, lost=lost)


def _formatted(
    values: np.ndarray, where: np.ndarray, text: Callable[[float, int], str]
) -> np.ndarray:
    """Write words only where they are needed: most rows of a large table say nothing."""
    out = np.full(len(values), "", dtype=object)
    for i in np.flatnonzero(where):
        out[i] = text(float(values[i]), int(i))
    return out


def _swapped(rows: pd.DataFrame) -> list[Finding]:
    """Name readings of a standard that fit another standard far better."""
    import pandas as pd

    good = rows[rows["judged"]]
    keys = ["assay", "instrument", "mode"]
    profile = (
        good.groupby([*keys, "standard", "element"], observed=True)["centre"]
        .median()
        .rename("usual")
        .reset_index()
    )
    if profile["standard"].nunique() < 2:
        return []
    profile["usual"] = np.log(profile["usual"])
    shots = [*keys, "batch", "sample_id", "reading", "standard"]
    wild = (
        good.assign(out=good["own_z"].abs() > 3)
        .groupby(shots, observed=True)["out"]
        .agg(["mean", "size"])
    )
    wild = wild[(wild["mean"] > 0.5) & (wild["size"] >= 4)].reset_index()
    if wild.empty:
        return []
    here = good.merge(wild[shots], on=shots, how="inner", validate="m:1")
    pairs = here.merge(profile.rename(columns={"standard": "other"}), on=[*keys, "element"],
                       how="inner", validate="m:m")  # fmt: skip
    pairs["gap"] = (np.log(pairs["value"]) - pairs["usual"]).abs()
    gap = pairs.groupby([*shots, "other"], observed=True)["gap"].median().reset_index()
    own = gap[gap["other"] == gap["standard"]].set_index(shots)["gap"]
    rest = gap[gap["other"] != gap["standard"]].sort_values(["gap", "other"], kind="stable")
    rest = rest.drop_duplicates(shots).set_index(shots)
    both = pd.concat([own.rename("own"), rest[["gap", "other"]]], axis=1).dropna().reset_index()
    both = both[(both["gap"] < 0.1) & (both["gap"] < 0.25 * both["own"])]
    return [
        Finding(
            "standard-swapped", "warning",
            f"{r['sample_id']} is logged as standard {r['standard']} but reads like "
            f"{r['other']}; check the label. It was judged as logged.",
            sample_id=str(r["sample_id"]), batch=str(r["batch"]) or None,
        )
        for r in records(both)
    ]  # fmt: skip


def _alarm_finding(rows: pd.DataFrame, which: str) -> list[Finding]:
    judged = rows[rows["judged"] & rows["own_z"].notna()]
    if judged.empty:
        return []
    lengths = judged.groupby(SERIES, sort=False, observed=True).size()
    expected = expected_false_alarms(lengths.to_numpy(), which)
    parts = []
    for rule in expected if which == "nelson" else ("1-3s", "2-2s", "4-1s", "10-x"):
        rang = int(judged["rules"].str.contains(rule, regex=False).sum())
        parts.append(f"{rule} {rang} ({expected[rule]:.1f})")
    return [
        Finding(
            "control-chart-alarms", "note",
            f"{len(lengths)} charts of standards with {len(judged)} readings; alarms and, in "
            f"brackets, the number expected without any fault: {', '.join(parts)}.",
        )
    ]  # fmt: skip


def _complete(rows: pd.DataFrame) -> pd.DataFrame:
    import pandas as pd

    if rows.empty:
        out = conform(pd.DataFrame(), STANDARD_CHECKS)
        extra = {"freedom": float, "own_z": float, "rules": object, "judged": bool, "lost": bool,
                 "sd_usable": bool, "digestion_note": object, "status": object}  # fmt: skip
        return out.assign(**{k: pd.Series(dtype=t) for k, t in extra.items()})
    rows = rows.assign(date_read=when(rows))
    more = [
        "freedom", "own_z", "rules", "judged", "lost", "sd_usable", "digestion_note", "status"
    ]  # fmt: skip
    return rows[[*STANDARD_CHECKS, *more]]


def bias_findings(checks: pd.DataFrame, limits: QualityLimits) -> list[Finding]:
    """Say which elements read constantly high or low on portable XRF.

    Parameters
    ----------
    checks : pandas.DataFrame
        From `check_standards`.
    limits : QualityLimits
        ``xrf_bias_pct``.

    Returns
    -------
    list of Finding
        One per assay and instrument.
    """
    xrf = checks[(checks["source"] == "pxrf") & checks["judged"] & checks["bias_pct"].notna()]
    out: list[Finding] = []
    for (assay, instrument), part in by_text(xrf, ["assay", "instrument"]):
        bias = part.groupby("element", observed=True)["bias_pct"].median()
        far = bias[bias.abs() > limits.xrf_bias_pct]
        if len(far):
            named = [f"{e} {far[e]:+.0f} %" for e in sorted(far.index, key=element_rank)]
            out.append(
                Finding(
                    "constant-bias", "note",
                    f"{assay}{' / ' + instrument if instrument else ''}: against the certified "
                    f"values {name_some(named)}. A constant bias does not fail a batch; calibrate "
                    f"to the laboratory.",
                )
            )  # fmt: skip
    return out
