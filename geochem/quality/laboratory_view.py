"""The laboratory view: what was sent, what is back, and whether what read high came back high."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from geochem.elements import SYMBOLS, element_rank
from geochem.model.finding import Finding, name_some
from geochem.model.quality import HITS, JOBS, Calibration
from geochem.model.tables import conform, values_of
from geochem.quality.arrange import by_text, records
from geochem.quality.limits import QualityLimits

if TYPE_CHECKING:
    import pandas as pd

    from geochem.model.survey import Survey

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

#: pairs that a hit rate needs
LEAST_PAIRS = 10


def laboratory_jobs(
    results: pd.DataFrame, dispatch: pd.DataFrame | None, limits: QualityLimits,
    *, today: date | None = None,
) -> tuple[pd.DataFrame, list[Finding]]:  # fmt: skip
    """Give sent, returned and outstanding samples and the turnaround of every job.

    A sample counts as returned when any laboratory result of it is there. Results of samples that
    are in no dispatch make a job of their own, named after the batch.

    Parameters
    ----------
    results : pandas.DataFrame
        Contract `tables.RESULTS`.
    dispatch : pandas.DataFrame or None
        ``sample_id, laboratory, job, sent``.
    limits : QualityLimits
        ``turnaround_days``: jobs that are out longer are said.
    today : date, optional
        For the days that samples have been waiting; default: the newest date in the data.

    Returns
    -------
    jobs : pandas.DataFrame
        Contract `JOBS`, in order of sending.
    findings : list of Finding
        Late jobs, results that nobody sent.
    """
    import pandas as pd

    back = results[(results["source"] == "laboratory").to_numpy()]
    got = back.groupby("sample_id", sort=True, observed=True).agg(
        returned=("date_received", "min"), batch=("batch", "first")
    )
    names = ["sample_id", "laboratory", "job", "sent"]
    sent = pd.DataFrame(columns=names) if dispatch is None else dispatch[names]
    sent = sent.drop_duplicates("sample_id").assign(sent=pd.to_datetime(sent["sent"]))
    clock = pd.Timestamp(today) if today is not None else _newest(results, sent["sent"])
    if today is not None:
        sent = sent[~(sent["sent"] >= clock + pd.Timedelta(days=1))]
    rows: list[dict[str, object]] = []
    if len(sent):
        joined = sent.merge(got, left_on="sample_id", right_index=True, how="left", validate="1:1")
        joined["is_back"] = joined["sample_id"].isin(got.index)
        joined = joined.assign(
            laboratory=joined["laboratory"].fillna(""), job=joined["job"].fillna("")
        )
        for (laboratory, job), part in by_text(joined, ["laboratory", "job"]):
            rows.append(_job(laboratory, job, part, clock, limits))
    findings: list[Finding] = []
    loose = got[~got.index.isin(sent["sample_id"])]
    if len(sent) and len(loose):
        ids = [str(i) for i in loose.index]
        controls = "controls among them are usual"
        findings.append(
            Finding(
                "laboratory-not-dispatched", "note",
                f"{len(ids)} samples have laboratory results but stand in no dispatch "
                f"({controls}): {name_some(ids)}.",
                sample_id=ids[0],
            )
        )  # fmt: skip
    if not len(sent):
        for (batch,), part in by_text(loose.assign(batch=loose["batch"].fillna("")), ["batch"]):
            back_on = part["returned"].max()
            rows.append(
                {
                    "job": batch or None, "returned": back_on, "n_returned": len(part),
                    "verdict": "not judged", "reason": "no dispatch table",
                }
            )  # fmt: skip
    table = conform(pd.DataFrame(rows, columns=list(JOBS)), JOBS)
    table = table.sort_values(["sent", "laboratory", "job"], kind="stable").reset_index(drop=True)
    late = table[table["verdict"] == "warn"]
    for row in records(late):
        text = f"job {row['job'] or 'without name'}: {row['reason']}."
        findings.append(Finding("laboratory-late", "warning", text))
    return table, findings


def _job(
    laboratory: str, job: str, part: pd.DataFrame, clock: pd.Timestamp, limits: QualityLimits
) -> dict[str, object]:
    back = part[part["is_back"]]
    sent = part["sent"].min()
    days = (back["returned"] - back["sent"]).dt.total_seconds() / 86400
    out = len(part) - len(back)
    waiting = (clock - sent).total_seconds() / 86400 if out and sent == sent else np.nan
    late = bool(waiting > limits.turnaround_days)
    said = ""
    if out:
        ids = [str(i) for i in part.loc[~part["is_back"], "sample_id"]]
        since = f" after {waiting:.0f} days" if np.isfinite(waiting) else ""
        said = f"{out} of {len(part)} samples are not back{since}: {name_some(ids)}"
    return {
        "laboratory": laboratory or None, "job": job or None, "sent": sent,
        "returned": back["returned"].max(), "n_sent": len(part), "n_returned": len(back),
        "n_outstanding": out, "turnaround_days": float(days.median()) if len(days) else np.nan,
        "waiting_days": waiting, "verdict": "warn" if late else "pass", "reason": said or None,
    }  # fmt: skip


def _newest(results: pd.DataFrame, sent: pd.Series) -> Any:
    import pandas as pd

    dates = [results["date_received"].max(), results["date_read"].max(), sent.max()]
    known = [pd.Timestamp(d) for d in dates if not pd.isna(d)]
    return max(known) if known else pd.NaT


def hit_rates(
    survey: Survey,
    source: Mapping[str, str],
    calibrations: Sequence[Calibration],
    limits: QualityLimits,
) -> tuple[pd.DataFrame, list[Finding]]:
    """Say how often a high reading was high in the laboratory, and what was missed.

    High on portable XRF: above median + `hit_cut_mad` MAD of log10 of all readings of that
    medium's assay. High in the laboratory: above the same place moved through the calibration
    when one is usable, else through the median ratio of the pairs. Limits count on the side they
    decide; a pair that they leave open is left out.

    Parameters
    ----------
    survey : Survey
        Per-assay columns of ``samples`` and ``unlocated``.
    source : mapping of assay to str
        ``pxrf`` or ``laboratory``.
    calibrations : sequence of Calibration
        Usable ones (pass, provisional) move the cut.
    limits : QualityLimits
        ``hit_cut_mad``.

    Returns
    -------
    table : pandas.DataFrame
        Contract `HITS`; intervals of the rate are 90 % (Jeffreys).
    findings : list of Finding
        Elements with false alarms or misses.

    References
    ----------
    .. [1] Interval of a share: Brown, Cai, DasGupta 2001, Statistical Science 16:101-133.
    """
    import pandas as pd

    from geochem.model.tables import assays_of

    usable: dict[tuple[str, str, str], Calibration] = {}
    for c in calibrations:
        if c.verdict != "fail":
            usable.setdefault((c.element, c.assay, c.reference_assay), c)
    frames = [f for f in (survey.samples, survey.unlocated) if len(f)]
    elements = {
        str(c).partition("_ppm__")[0] for f in frames for c in f.columns if "_ppm__" in str(c)
    }
    media = _by_medium(frames)
    rows: list[dict[str, object]] = []
    for element in sorted(elements & SYMBOLS, key=element_rank):
        assays = sorted({a for f in frames for a in assays_of(pd.DataFrame(f.iloc[:0]), element)})
        readers = [a for a in assays if source.get(a) == "pxrf"]
        laboratories = [a for a in assays if source.get(a) == "laboratory"]
        for assay in readers:
            for reference in laboratories:
                fit = usable.get((element, assay, reference))
                for medium, parts in media:
                    row = _hits(parts, element, assay, reference, fit, limits)
                    if row is not None:
                        rows.append({**row, "medium": medium or None})
    table = conform(pd.DataFrame(rows, columns=list(HITS)), HITS)
    return table, _findings(table)


def _by_medium(frames: list[pd.DataFrame]) -> list[tuple[str, list[pd.DataFrame]]]:
    """Cut the tables by medium: what is high in rock is not what is high in soil."""
    names = {str(m) for f in frames if "medium" in f for m in f["medium"].dropna().unique()}
    if not names:
        return [("", frames)]
    return [(m, [f[f["medium"] == m] for f in frames if "medium" in f]) for m in sorted(names)]


def _hits(
    frames: list[pd.DataFrame], element: str, assay: str, reference: str,
    fit: Calibration | None, limits: QualityLimits,
) -> dict[str, object] | None:  # fmt: skip
    from scipy.stats import beta

    both = [
        f for f in frames if {f"{element}_ppm__{a}" for a in (assay, reference)} <= set(f.columns)
    ]
    if not both:
        return None
    x = [values_of(f, element, assay) for f in both]
    y = [values_of(f, element, reference) for f in both]
    xv, xb, xa, _ = (np.concatenate(c) for c in zip(*x, strict=True))
    yv, yb, ya, _ = (np.concatenate(c) for c in zip(*y, strict=True))
    ids = np.concatenate([f["sample_id"].to_numpy(dtype=object) for f in both])
    seen = np.isfinite(xv) & (xv > 0)
    pair = seen & np.isfinite(yv) & (yv > 0)
    if pair.sum() < LEAST_PAIRS or xb[seen].mean() > 0.5:
        return None
    u = np.log10(xv[seen])
    spread = 1.4826 * float(np.median(np.abs(u - np.median(u))))
    cut = 10 ** (float(np.median(u)) + limits.hit_cut_mad * spread)
    clear = pair & ~xb & ~yb & ~xa & ~ya
    if fit is not None:
        at = np.array([cut])
        moved = (
            10 ** (fit.intercept + fit.slope * np.log10(at)) if fit.log
            else fit.intercept + fit.slope * at
        )  # fmt: skip
        other = float(moved[0])
    elif clear.sum() >= LEAST_PAIRS:
        other = cut * float(np.median(yv[clear] / xv[clear]))
    else:
        return None
    open_x = (xb & (xv > cut)) | (xa & (xv < cut))
    open_y = (yb & (yv > other)) | (ya & (yv < other))
    pair &= ~open_x & ~open_y
    if pair.sum() < LEAST_PAIRS or not other > 0:
        return None
    high_x, high_y = (xv > cut) & ~xb, (yv > other) & ~yb
    n_high, confirmed = int((pair & high_x).sum()), int((pair & high_x & high_y).sum())
    missed = pair & ~high_x & high_y
    false = pair & high_x & ~high_y
    low, high = np.nan, np.nan
    if n_high:
        low = (
            float(beta.ppf(0.05, confirmed + 0.5, n_high - confirmed + 0.5)) if confirmed else 0.0
        )
        high = (
            float(beta.ppf(0.95, confirmed + 0.5, n_high - confirmed + 0.5))
            if confirmed < n_high else 1.0
        )  # fmt: skip
    return {
        "element": element, "assay": assay, "reference_assay": reference, "n_pairs": int(pair.sum()),
        "cut": cut, "reference_cut": other, "n_high": n_high, "n_confirmed": confirmed,
        "hit_rate_pct": 100 * confirmed / n_high if n_high else np.nan,
        "hit_low_pct": 100 * low, "hit_high_pct": 100 * high,
        "n_missed": int(missed.sum()), "n_low": int((pair & ~high_x).sum()),
        "high_came_low": _named(ids, xv / cut, false),
        "low_came_high": _named(ids, yv / other, missed),
    }  # fmt: skip


def _named(ids: npt.NDArray[np.object_], far: Floats, hit: Flags) -> str | None:
    """Name the samples hit, the farthest first."""
    at = np.flatnonzero(hit)
    at = at[np.lexsort((ids[at].astype(str), -np.round(far[at], 6)))]
    return ", ".join(str(ids[i]) for i in at) or None


def _findings(table: pd.DataFrame) -> list[Finding]:
    out: list[Finding] = []
    for (assay, reference), part in by_text(table, ["assay", "reference_assay"]):
        fooled = part[(part["n_high"] >= 3) & (part["hit_rate_pct"] < 60)]
        named = [
            f"{r.element} {r.n_confirmed} of {r.n_high} ({name_some(str(r.high_came_low).split(', '), 3)}"
            f" came low)"
            for r in fooled.itertuples()
        ]
        if named:
            out.append(
                Finding(
                    "xrf-high-came-low", "warning",
                    f"{assay} against {reference}: what read high was seldom high for "
                    f"{name_some(named)}. Do not follow these readings without a laboratory.",
                )
            )  # fmt: skip
        gone = part[(part["n_missed"] >= 3) & (part["n_missed"] > part["n_confirmed"])]
        named = [
            f"{r.element} {r.n_missed} ({name_some(str(r.low_came_high).split(', '), 3)})"
            for r in gone.itertuples()
        ]
        if named:
            out.append(
                Finding(
                    "xrf-low-came-high", "warning",
                    f"{assay} against {reference}: more high samples were missed than found for "
                    f"{name_some(named)}. A low reading does not clear the ground there.",
                )
            )  # fmt: skip
    return out
