"""What the weekly report says of change, as plain values; no mathematics here."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from geochem.campaign.settings import Settings

#: counts that grow from week to week
_COUNTS = ("collected", "located", "read", "sent", "returned")


def week_of(settings: Settings, state: Mapping[str, Any], clock: datetime) -> dict[str, Any]:
    """Collect what changed since the previous snapshot, delays, hit rate and spend.

    Parameters
    ----------
    settings : Settings
        The campaign.
    state : mapping
        Records of the run: ``previous, targets, progress, survey, background, evidence``.
    clock : datetime
        Of the run.

    Returns
    -------
    dict
        ``since, grown, new, moves, delays, hit_rate, spend``: lists of plain rows.
    """
    from geochem.planning.week import new_anomalies, ranks_moved, xrf_hit_rate

    previous, survey = state["previous"], state["survey"]
    # an earlier day without targets is not the same as no earlier day
    earlier = previous.targets
    if earlier is None and previous.day is not None:
        earlier = state["targets"].targets.iloc[:0]
    moves = ranks_moved(earlier, state["targets"].targets)
    elements = [*settings.table("targets")["seek"], *state["evidence"].elements]
    rates = xrf_hit_rate(
        survey.samples, survey.analytes, state["background"].thresholds,
        list(dict.fromkeys(elements)),
    )  # fmt: skip
    now, before = state["progress"], previous.progress
    return {
        "since": previous.day and previous.day.isoformat(),
        "grown": {
            k: now[k] - before[k]
            for k in _COUNTS
            if isinstance(now.get(k), int) and isinstance(before.get(k), int)
        },
        "new": []
        if previous.day is None
        else _plain(
            new_anomalies(
                state["evidence"].anomalies,
                survey.results,
                previous.day,
                state["evidence"].elements,
            )
        ),
        "moves": _plain(moves),
        "delays": _plain(_delays(state["dispatch"], survey.results, clock)),
        "hit_rate": _plain(rates.loc[rates["flagged"] + rates["missed"] > 0]),
        "spend": _spend(settings, now, survey.samples),
    }


def _delays(sent: Any, results: Any, clock: datetime) -> Any:
    from geochem.planning.week import DELAY_COLUMNS, laboratory_delays

    if sent is None:
        import pandas as pd

        return pd.DataFrame(columns=DELAY_COLUMNS)
    return laboratory_delays(sent, results, clock)


def _spend(settings: Settings, progress: Mapping[str, Any], samples: Any) -> list[dict[str, Any]]:
    """Multiply what was done by what it costs."""
    cost = settings.table("planning")["cost"]
    rows = []
    counts = {
        "sample": ("samples collected", progress.get("collected")),
        "assay": (
            "samples sent to a laboratory",
            progress.get("sent") or progress.get("returned"),
        ),
        "day": ("crew days", _crew_days(samples)),
    }
    for key, (words, n) in counts.items():
        if key in cost and n is not None:
            rows.append({"what": words, "number": int(n), "cost": float(n * cost[key])})
    return rows


def _crew_days(samples: Any) -> int | None:
    if "date" not in samples.columns or samples["date"].isna().all():
        return None
    crew = samples["crew"].fillna("") if "crew" in samples.columns else ""
    days = samples.assign(day=samples["date"].dt.date, crew=crew).dropna(subset=["day"])
    return len(days[["day", "crew"]].drop_duplicates())


def _plain(frame: Any) -> list[dict[str, Any]]:
    """Make rows that survive JSON: dates as text, missing as None."""
    rows = []
    for row in frame.to_dict("records"):
        rows.append({str(k): _value(v) for k, v in row.items()})
    return rows


def _value(value: Any) -> Any:
    import pandas as pd

    if value is None or value is pd.NA or value is pd.NaT or value != value:
        return None
    if isinstance(value, datetime | date):
        return value.strftime("%Y-%m-%d")
    return value.item() if hasattr(value, "item") else value
