"""Numbers and words as people read them; shared by report, slides and start page."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from geochem.units import shown_unit


def figure(value: Any, digits: int = 3) -> str:
    """Write a number with three significant figures, without an exponent where that is readable.

    Parameters
    ----------
    value : float
        Any number; missing gives a dash.
    digits : int, default 3
        Significant figures.

    Returns
    -------
    str
        Text.

    Examples
    --------
    >>> figure(1234.5), figure(0.012345), figure(None), figure(17)
    ('1230', '0.0123', '-', '17')
    """
    if value is None or value != value:
        return "-"
    try:
        number = float(value)
    except (TypeError, ValueError):
        return "-"
    if number == 0 or not math.isfinite(number):
        return f"{number:g}"
    places = digits - 1 - math.floor(math.log10(abs(number)))
    rounded = round(number, places)
    return (
        f"{rounded:.{max(places, 0)}f}".rstrip("0").rstrip(".") if places > 0 else f"{rounded:.0f}"
    )


def concentration(element: str, value: Any) -> str:
    """Write a concentration in the unit in which a geologist reads the element.

    Parameters
    ----------
    element : str
        Symbol.
    value : float
        [mg/kg]

    Returns
    -------
    str
        Number and unit.

    Examples
    --------
    >>> concentration("Fe", 45000.0), concentration("Au", 0.021), concentration("Cu", None)
    ('4.5 %', '21 ppb', '-')
    """
    text = figure(value)
    if text == "-":
        return text
    unit, divisor = shown_unit(element, float(value))
    return f"{figure(float(value) / divisor)} {unit}"


def count(number: Any, one: str, many: str | None = None) -> str:
    """Write a number with its noun.

    Examples
    --------
    >>> count(1, "sample"), count(0, "sample"), count(3, "analysis", "analyses")
    ('1 sample', '0 samples', '3 analyses')
    """
    return f"{number} {one if number == 1 else (many or one + 's')}"


def known(value: Any) -> str:
    """Write a text that may be missing.

    Examples
    --------
    >>> known("A-1"), known(None), known(float("nan"))
    ('A-1', '', '')
    """
    return "" if value is None or value != value else str(value)


def progress_rows(progress: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Give planned, collected, read, sent and returned as rows of a small table.

    Parameters
    ----------
    progress : mapping
        `Bundle.progress`.

    Returns
    -------
    list of (str, str)
        What, and how many; unknown ones say so.
    """
    words = {
        "planned": "planned",
        "collected": "collected",
        "located": "with a usable position",
        "read": "read by portable XRF",
        "sent": "sent to a laboratory",
        "returned": "returned by a laboratory",
        "outstanding": "at a laboratory and not back",
    }
    return [
        (text, str(progress[key]) if progress.get(key) is not None else "not recorded")
        for key, text in words.items()
        if key in progress and (progress[key] is not None or key in ("planned", "sent"))
    ]


def batch_rows(batches: Any) -> list[tuple[str, str, str, str, str]]:
    """Give the verdicts of the batches as rows of a table, the worst first.

    Parameters
    ----------
    batches : pandas.DataFrame
        Contract `model.quality.BATCHES`.

    Returns
    -------
    list of tuple
        ``assay, instrument, batch, verdict, reason``.
    """
    order = {"fail": 0, "warn": 1, "pass": 2}
    rows = [
        (known(r.assay), known(r.instrument), known(r.batch), str(r.verdict), known(r.reason))
        for r in batches.itertuples()
    ]
    return sorted(rows, key=lambda r: order.get(r[3], 1))


def distance(metres: float) -> str:
    """Write a length on the ground for people.

    Examples
    --------
    >>> distance(500.0), distance(20000.0)
    ('500 m', '20 km')
    """
    return f"{metres / 1000:g} km" if metres >= 1000 else f"{metres:g} m"
