"""What changed since the last snapshot: new anomalies, ranks and why, delays, XRF hit rate."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.model.finding import name_some
from geochem.model.tables import assays_of, values_of
from geochem.stats.proportion import wilson_interval

if TYPE_CHECKING:
    import pandas as pd

NEW_COLUMNS = ["element", "judged", "beyond", "highest_z", "samples"]
MOVE_COLUMNS = ["target", "rank", "previous_rank", "moved", "why"]
DELAY_COLUMNS = ["laboratory", "job", "sent", "samples", "back", "days", "state"]
HIT_COLUMNS = [
    "medium", "element", "pairs", "flagged", "confirmed", "rate", "low", "high", "missed",
]  # fmt: skip


def ranks_moved(previous: pd.DataFrame | None, current: pd.DataFrame) -> pd.DataFrame:
    """Compare the targets of two days.

    Parameters
    ----------
    previous : pandas.DataFrame or None
        Targets of the earlier day, contract `tables.TARGETS`; None when there is no snapshot.
    current : pandas.DataFrame
        Targets of today.

    Returns
    -------
    pandas.DataFrame
        ``target, rank, previous_rank, moved, why``: today's targets by rank, then those that are
        gone; `moved` is ``new``, ``up``, ``down``, ``same`` or ``gone``. Empty without a snapshot.
    """
    import pandas as pd

    if previous is None:
        return pd.DataFrame(columns=MOVE_COLUMNS)
    before = _by_name(previous)
    now = _by_name(current.sort_values("rank"))
    rows = []
    for name, row in now.items():
        old = before.get(name)
        if old is None:
            rows.append((name, row["rank"], None, "new", _first_words(row)))
            continue
        step = int(row["rank"]) - int(old["rank"])
        moved = "same" if step == 0 else "up" if step < 0 else "down"
        why = _own_changes(old, row) + _passed(name, before, now)
        rows.append((name, row["rank"], old["rank"], moved, _sentence(why, step)))
    for name, old in sorted(before.items(), key=lambda item: int(item[1]["rank"])):
        if name not in now:
            rows.append((name, None, old["rank"], "gone", "no outline of this run overlaps it"))
    return pd.DataFrame(rows, columns=MOVE_COLUMNS).astype(
        {"rank": "Int64", "previous_rank": "Int64"}
    )


def _by_name(frame: pd.DataFrame) -> dict[str, dict[str, Any]]:
    return {
        str(row["target"]): {str(k): v for k, v in row.items()} for row in frame.to_dict("records")
    }


def _first_words(row: dict[str, Any]) -> str:
    return f"{row['elements'] or 'elements not named'} in {row['samples']} samples on {row['lines']} lines"


def _number(value: Any) -> float:
    return float("nan") if value is None or value != value else float(value)


def _own_changes(old: dict[str, Any], new: dict[str, Any]) -> list[str]:
    """Say what changed in the target's own record."""
    words = []
    if old.get("status") != new.get("status") and new.get("status"):
        words.append(f"status {old.get('status') or 'new'} to {new['status']}")
    if bool(new.get("lab_confirmed")) and not bool(old.get("lab_confirmed")):
        words.append("a laboratory confirmed it")
    if bool(old.get("lab_confirmed")) and not bool(new.get("lab_confirmed")):
        words.append("no laboratory value confirms it any more")
    more = _number(new.get("samples")) - _number(old.get("samples"))
    if more:
        noun = "sample" if abs(more) == 1 else "samples"
        words.append(f"{abs(more):.0f} {noun} {'more' if more > 0 else 'fewer'}")
    if old.get("elements") != new.get("elements"):
        words.append(f"elements {old.get('elements') or '-'} to {new.get('elements') or '-'}")
    if old.get("data_confidence") != new.get("data_confidence"):
        words.append(
            f"data confidence {old.get('data_confidence') or '-'} to "
            f"{new.get('data_confidence') or '-'}"
        )
    peak, was = _number(new.get("peak")), _number(old.get("peak"))
    if old.get("peak_element") == new.get("peak_element") and abs(peak / was - 1) > 0.05:
        words.append(f"peak {new['peak_element']} {was:.3g} to {peak:.3g} mg/kg")
    score, was = _number(new.get("score")), _number(old.get("score"))
    if abs(score - was) >= 0.5:
        words.append(f"score {was:.0f} to {score:.0f}")
    return words


def _passed(
    name: str, before: dict[str, dict[str, Any]], now: dict[str, dict[str, Any]]
) -> list[str]:
    """Say who stands above now and did not, and who left."""
    mine, was = int(now[name]["rank"]), int(before[name]["rank"])
    above = [t for t in now if int(now[t]["rank"]) < mine]
    came = [t for t in above if t not in before]
    passed = [t for t in above if t in before and int(before[t]["rank"]) > was]
    gone = [t for t in before if t not in now and int(before[t]["rank"]) < was]
    words = []
    if came:
        words.append(f"{_named(came)} new above it")
    if passed:
        words.append(f"{_named(passed)} passed it")
    if gone:
        words.append(f"{_named(gone)} above it no longer stands out")
    return words


def _named(names: Sequence[str]) -> str:
    return ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")


def _sentence(words: list[str], step: int) -> str:
    if words:
        return "; ".join(words)
    return "unchanged" if step == 0 else "its own record is unchanged; others moved"


def new_anomalies(
    anomalies: pd.DataFrame,
    results: pd.DataFrame,
    since: date,
    elements: Sequence[str],
    *,
    k: float = 2.0,
) -> pd.DataFrame:
    """List samples beyond their background whose first result came after a day.

    Parameters
    ----------
    anomalies : pandas.DataFrame
        Contract `tables.ANOMALIES`.
    results : pandas.DataFrame
        Contract `tables.RESULTS`; a result is known from the day it was received, else read. Samples
        without either date count as known before.
    since : date
        Day of the previous snapshot.
    elements : sequence of str
        To be listed.
    k : float, default 2
        Robust standard deviations above the background.

    Returns
    -------
    pandas.DataFrame
        ``element, judged, beyond, highest_z, samples``, most samples beyond first: of the new
        samples judged, how many lie beyond, with the ids of the highest. Elements without any are
        left out.
    """
    import pandas as pd

    known = results["date_received"].fillna(results["date_read"])
    first_of = known.groupby(results["sample_id"]).min()
    arrived = first_of.reindex(anomalies["sample_id"]).to_numpy(dtype="datetime64[ns]")
    new = arrived >= np.datetime64(since + timedelta(days=1), "ns")
    rows = []
    for element in elements:
        if f"{element}_z" not in anomalies.columns:
            continue
        z = anomalies[f"{element}_z"].to_numpy(dtype=float)
        beyond = new & (z > k)
        if not beyond.any():
            continue
        found = anomalies.loc[beyond, ["sample_id"]].assign(z=-z[beyond])
        ids = found.sort_values(["z", "sample_id"])["sample_id"].tolist()
        judged = int((new & np.isfinite(z)).sum())
        rows.append((element, judged, len(ids), float(z[beyond].max()), name_some(ids)))
    table = pd.DataFrame(rows, columns=NEW_COLUMNS)
    return table.sort_values(["beyond", "element"], ascending=[False, True], ignore_index=True)


def laboratory_delays(
    dispatch: pd.DataFrame, results: pd.DataFrame, clock: datetime
) -> pd.DataFrame:
    """Say per job how long the laboratory took, or how long it has been waited for.

    Parameters
    ----------
    dispatch : pandas.DataFrame
        ``sample_id, laboratory, job, sent``.
    results : pandas.DataFrame
        Contract `tables.RESULTS`.
    clock : datetime
        Of the run; what was sent later is left out.

    Returns
    -------
    pandas.DataFrame
        ``laboratory, job, sent, samples, back, days, state``: days from sending to the median
        receipt, or to `clock` while samples are out. `state` is ``back``, ``waiting`` or ``late``:
        waited for longer than any job that came back took.
    """
    import pandas as pd

    lab = results.loc[results["source"] == "laboratory", ["sample_id", "date_received"]]
    first = lab.groupby("sample_id", sort=True)["date_received"].min()
    known = set(lab["sample_id"])
    sent = dispatch.loc[~(dispatch["sent"] > pd.Timestamp(clock))].copy()
    sent["got"] = [i in known for i in sent["sample_id"]]
    # reindex, not map: before the first result there is nothing to map with
    sent["received"] = first.reindex(sent["sample_id"]).to_numpy(dtype="datetime64[ns]")
    rows = []
    for (laboratory, job), group in sent.fillna({"laboratory": "", "job": ""}).groupby(
        ["laboratory", "job"], sort=True
    ):
        day = group["sent"].min()
        out = int((~group["got"]).sum())
        end = pd.Timestamp(clock) if out else group["received"].median()
        span = end - day
        days = np.nan if pd.isna(span) else span.total_seconds() / 86400
        rows.append(
            (
                laboratory,
                job,
                day,
                len(group),
                len(group) - out,
                days,
                "waiting" if out else "back",
            )
        )
    table = pd.DataFrame(rows, columns=DELAY_COLUMNS)
    longest = table.loc[table["state"] == "back", "days"].max()
    late = (table["state"] == "waiting") & (table["days"] > longest)
    table.loc[late, "state"] = "late"
    return table


def xrf_hit_rate(
    samples: pd.DataFrame,
    analytes: pd.DataFrame,
    thresholds: pd.DataFrame,
    elements: Sequence[str],
    *,
    confidence: float = 0.9,
) -> pd.DataFrame:
    """Count how often the laboratory confirms what portable XRF flagged.

    A sample is flagged when its XRF value (calibrated where that is accepted) is beyond the
    threshold of its medium, confirmed when the laboratory value is. Samples sent were chosen, not
    drawn at random, so the rate speaks for samples like these.

    Parameters
    ----------
    samples : pandas.DataFrame
        A samples table.
    analytes, thresholds : pandas.DataFrame
        Contracts `tables.ANALYTES`, `tables.THRESHOLDS`.
    elements : sequence of str
        To be counted; those without both sources are left out.
    confidence : float, default 0.9
        Of the interval.

    Returns
    -------
    pandas.DataFrame
        ``medium, element, pairs, flagged, confirmed, rate, low, high, missed``; `missed` were not
        flagged and are beyond the threshold at the laboratory.
    """
    import pandas as pd

    limits = thresholds.loc[(thresholds["domain"] == "all") & (thresholds["sign"].fillna(1) > 0)]
    lowest = limits.sort_values("value").drop_duplicates(["medium", "element"])
    value_of: dict[tuple[str, str], float] = {
        (str(m), str(e)): float(v)
        for m, e, v in zip(lowest["medium"], lowest["element"], lowest["value"], strict=True)
    }
    source = {str(a): str(s) for a, s in zip(analytes["assay"], analytes["source"], strict=True)}
    rows = []
    for medium in sorted(samples["medium"].dropna().unique()):
        here = samples.loc[samples["medium"] == medium]
        for element in elements:
            limit = value_of.get((str(medium), element))
            assays = assays_of(here, element)
            xrf = [a for a in assays if source.get(a) == "pxrf"]
            lab = [a for a in assays if source.get(a) == "laboratory"]
            if limit is None or not limit > 0 or not xrf or not lab:
                continue
            mine = analytes.loc[
                (analytes["medium"] == medium)
                & (analytes["element"] == element)
                & analytes["accepted"]
            ]
            field = None if set(mine["assay"]) & set(xrf) else xrf[0]
            camp = values_of(here, element, field)
            best = max(
                lab, key=lambda a: int(np.isfinite(values_of(here, element, a).value).sum())
            )
            told = values_of(here, element, best)
            both = np.isfinite(camp.value) & np.isfinite(told.value)
            flagged = both & (camp.value > limit) & ~camp.below
            true = both & (told.value > limit) & ~told.below
            n, hits = int(flagged.sum()), int((flagged & true).sum())
            low, high = wilson_interval(hits, n, confidence=confidence)
            rows.append(
                (medium, element, int(both.sum()), n, hits, hits / n if n else np.nan, low, high,
                 int((true & ~flagged).sum()))
            )  # fmt: skip
    return pd.DataFrame(rows, columns=HIT_COLUMNS)
