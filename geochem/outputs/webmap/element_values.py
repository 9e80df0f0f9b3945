"""Values, thresholds and scores of each element, packed for the page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.elements import element_rank
from geochem.model.tables import assays_of, values_of
from geochem.outputs.classes import class_levels, class_limits
from geochem.outputs.leading import leading_elements
from geochem.outputs.webmap.packing import (
    pack,
    pack_codes,
    pack_flags,
    pack_hundredths,
    pack_values,
)
from geochem.units import shown_unit

if TYPE_CHECKING:
    import pandas as pd

    from geochem.model.bundle import Bundle
    from geochem.outputs.webmap.points import Points

#: with more values than this, errors and the other assays stay out of the page
_MOST_DETAIL = 500_000


def element_entries(
    bundle: Bundle, points: Points, zones: list[tuple[str, str]]
) -> list[dict[str, Any]]:
    """Pack all elements, counted ones first, otherwise by atomic number.

    Parameters
    ----------
    bundle : Bundle
        All records.
    points : Points
        What is drawn.
    zones : list of (medium, domain)
        As `sample_rows.zones_of` numbers them.

    Returns
    -------
    list of dict
        Per element: ``symbol, counted, excluded, unit, divisor, limits, limits_note, levels, values,
        below, above, err, z, p, thresholds, whole, marks, accepted, others``; `whole` holds the
        threshold of each medium as a whole, `marks` the values that methods gave for it.
    """
    counted = set(bundle.evidence.elements)
    order = sorted(points.values, key=lambda e: (e not in counted, element_rank(e)))
    full = points.frame is not None and len(points) * len(order) <= _MOST_DETAIL
    tables = _ThresholdTables(bundle)
    media = sorted({m for m, _ in zones})
    main = _main_medium(points)
    made = []
    for element in order:
        v = points.values[element]
        unit, divisor = shown_unit(element, _typical(bundle, points, element))
        measured = np.where(v.below, np.nan, v.value) / divisor
        typical = measured[main] if np.isfinite(measured[main]).any() else measured
        limits, note = class_limits(typical)
        accepted = _accepted(bundle, element)
        made.append(
            {
                "symbol": element,
                "counted": element in counted,
                "excluded": bundle.evidence.excluded.get(element, ""),
                "unit": unit,
                "divisor": divisor,
                "limits": limits,
                "limits_note": note,
                "levels": class_levels(typical, limits),
                "values": pack_values(v.value),
                "below": pack_flags(v.below),
                "above": pack_flags(v.above),
                "err": pack_values(np.where(v.err > 0, v.err, np.nan)) if full else None,
                "z": pack_hundredths(points.z[element]) if element in points.z else None,
                "p": pack_hundredths(points.p[element]) if element in points.p else None,
                "thresholds": [tables.of(m, d, element) for m, d in zones],
                "whole": {m: tables.of(m, "all", element) for m in media},
                "marks": {m: tables.marks(m, element) for m in media},
                "accepted": accepted,
                "others": _others(points, element, accepted) if full else [],
                "formula": "",
                "drift": pack(points.drift[element].astype(np.float32))
                if element in points.drift
                else None,
                "drifts": element in bundle.shifts,
            }
        )
    return made


def further_entries(
    bundle: Bundle, points: Points, zones: list[tuple[str, str]]
) -> list[dict[str, Any]]:
    """Pack indices, ratios, balances and enrichment factors so that they can be chosen too.

    Parameters
    ----------
    bundle, points, zones
        As in `element_entries`.

    Returns
    -------
    list of dict
        As `element_entries`; `formula` says what it is. They have no decisions and no review.
    """
    tables = _ThresholdTables(bundle)
    media = sorted({m for m, _ in zones})
    main = _main_medium(points)
    made = []
    for column, value in points.further.items():
        if not np.isfinite(value).any():
            continue
        kind, _, name = column.partition("_")
        measured = np.where(main, value, np.nan)
        typical = measured if np.isfinite(measured).any() else value
        limits, note = class_limits(typical, signed=kind == "balance")
        thresholds = [tables.of(m, d, column) for m, d in zones]
        made.append(
            {
                "symbol": {"index": name, "ratio": name.replace("_", "/"), "balance": name}.get(
                    kind, f"EF {name}"
                ),
                "counted": False,
                "excluded": "",
                "unit": "%" if kind == "index" else "",
                "divisor": 1.0,
                "limits": limits,
                "limits_note": note,
                "levels": class_levels(typical, limits),
                "values": pack_values(value),
                **dict.fromkeys(("below", "above", "err", "z", "p", "drift")),
                "thresholds": thresholds,
                "whole": {m: tables.of(m, "all", column) for m in media},
                "marks": {},
                "accepted": {"assay": "", "source": "", "trust": "", "calibrated": False,
                             "method": ""},
                "others": [],
                "formula": _formula(bundle, kind, name, thresholds),
                "drifts": False,
            }
        )  # fmt: skip
    return made


def _formula(bundle: Bundle, kind: str, name: str, thresholds: list[Any]) -> str:
    """Say what a further column is: from its threshold, and for a balance from the campaign file."""
    said = next((t["reason"] for t in thresholds if t and t["reason"]), "")
    if kind == "balance":
        sides = (bundle.settings.get("composition", {}).get("balances") or {}).get(name, {})
        said = f"balance of {', '.join(sides.get('over', []))} over {', '.join(sides.get('under', []))}"
    if kind == "enrichment":
        by = bundle.settings.get("composition", {}).get("enrichment_reference") or "Al"
        said = f"enrichment factor of {name} by {by} {said}".strip()
    return str(said or f"{kind} {name.replace('_', '/')}")


def association_entries(bundle: Bundle, points: Points) -> list[dict[str, Any]]:
    """Pack the scores of each association.

    Parameters
    ----------
    bundle : Bundle
        All records.
    points : Points
        What is drawn.

    Returns
    -------
    list of dict
        ``name, title, used, missing, source, score, coherence``.
    """
    return [
        {
            "name": a.name,
            "title": a.title,
            "used": [[e, float(a.weights.get(e, 0.0))] for e in a.used],
            "missing": list(a.missing),
            "source": a.source,
            "score": pack_hundredths(points.scores[a.name]),
            "coherence": pack_hundredths(points.coherence[a.name])
            if a.name in points.coherence
            else None,
        }
        for a in bundle.evidence.associations
        if a.name in points.scores
    ]


def place_entry(bundle: Bundle, points: Points) -> dict[str, Any] | None:
    """Pack the probability that an association exceeds its local background.

    Parameters
    ----------
    bundle : Bundle
        All records.
    points : Points
        What is drawn.

    Returns
    -------
    dict or None
        ``probability, association`` (number among the associations from 1 on, 0 for none); None
        where no place was judged.
    """
    if not np.isfinite(points.probability).any():
        return None
    # down to hundredths, so that no class holds what is below its limit
    whole = np.floor(points.probability * 100.0 + 1e-9) / 100.0
    number = pack_codes(points.exceeding + 1, len(bundle.evidence.associations) + 1)
    return {"probability": pack_hundredths(whole), "association": number}


def first_element(bundle: Bundle, elements: list[dict[str, Any]]) -> int:
    """Choose the element that the page shows first.

    Parameters
    ----------
    bundle : Bundle
        All records.
    elements : list of dict
        From `element_entries`.

    Returns
    -------
    int
        Number of the first of `leading_elements` that is drawn; else 0.
    """
    number = {e["symbol"]: i for i, e in enumerate(elements)}
    wanted = leading_elements(bundle)
    return next((number[e] for e in wanted if e in number), 0)


class _ThresholdTables:
    """Look up the thresholds that count for a medium, domain and element."""

    def __init__(self, bundle: Bundle) -> None:
        self._plots = bundle.probability_plots
        self._records = bundle.threshold_records
        self._rows: dict[tuple[str, str, str], list[Any]] = {}
        for row in bundle.thresholds.itertuples(index=False):
            key = (str(row.medium), str(row.domain), str(row.element))
            self._rows.setdefault(key, []).append(row)
        self._background: dict[tuple[str, str, str], Any] = {
            (str(row.medium), str(row.domain), str(row.element)): row
            for row in bundle.backgrounds.itertuples(index=False)
        }

    def of(self, medium: str, domain: str, element: str) -> dict[str, Any] | None:
        """Give possible and probable threshold, or None where there is none.

        A domain without its own threshold takes that of the whole medium. Where the table has
        one threshold only, probable is location + 3 scales of the background, the definition
        that the scores use, if that lies beyond it.
        """
        for where in (domain, "all"):
            made = self._at(medium, where, element)
            if made is not None:
                return made
        return None

    def marks(self, medium: str, element: str) -> list[list[Any]]:
        """Give label and value of each threshold of a medium as a whole, rising, none twice."""
        found: dict[float, str] = {}
        for row in self._rows.get((medium, "all", element), []):
            if np.isfinite(row.value) and row.value > 0:
                k = f", k {row.k:g}" if np.isfinite(row.k) else ""
                found.setdefault(float(f"{row.value:.5g}"), f"{row.method}{k}".replace("_", " "))
        plot = self._plots.get((medium, element))
        if plot is not None and np.isfinite(plot.value) and plot.value > 0:
            found.setdefault(float(f"{plot.value:.5g}"), plot.method.replace("_", " "))
        return [[found[v], v] for v in sorted(found)][:8]

    def _at(self, medium: str, domain: str, element: str) -> dict[str, Any] | None:
        key = (medium, domain, element)
        record = self._records.get(key)
        rows = [r for r in self._rows.get(key, []) if np.isfinite(r.value)]
        if record is not None and any(r.method == record.method for r in rows):
            rows = [r for r in rows if r.method == record.method]
        value = record.value if record is not None else np.nan
        if not np.isfinite(value):
            if not rows:
                return None
            value = min(rows, key=lambda r: abs(r.k) if np.isfinite(r.k) else 0.0).value
        sign = next((int(r.sign) for r in rows if r.sign == r.sign and r.sign), 1)
        further = [r.value for r in rows if sign * (r.value - value) > 1e-9 * abs(value)]
        background = self._background.get(key)
        probable = sign * min((sign * f for f in further), default=np.nan)
        if not further and background is not None and np.isfinite(background.scale):
            third = 10 ** (background.location + sign * 3 * background.scale)
            probable = third if sign * (third - value) > 0 else np.nan
        row = rows[0] if rows else None
        return {
            "possible": _digits(value),
            "probable": _digits(probable),
            "sign": sign,
            "domain": domain,
            "method": str(record.method if record is not None else rows[0].method).replace(
                "_", " "
            ),
            "reason": "" if row is None or row.reason is None else str(row.reason),
            "n": int(row.n) if row is not None and row.n == row.n else None,
            "median": _digits(10**background.location)
            if background is not None and np.isfinite(background.location)
            else None,
        }


def _digits(value: float) -> float | None:
    return float(f"{value:.5g}") if np.isfinite(value) else None


def _main_medium(points: Points) -> Any:
    if not len(points):
        return np.zeros(0, dtype=bool)
    names, counts = np.unique(points.medium.astype(str), return_counts=True)
    return points.medium == names[np.argmax(counts)]


def _typical(bundle: Bundle, points: Points, element: str) -> float:
    """Give the largest background of an element, else the median of its values; mg/kg."""
    backgrounds = bundle.backgrounds
    mine = backgrounds.loc[(backgrounds["element"] == element).to_numpy(dtype=bool), "location"]
    known = mine.to_numpy(dtype=float)
    known = known[np.isfinite(known)]
    if len(known):
        return float(10 ** known.max())
    value = points.values[element].value
    return float(np.median(value[np.isfinite(value)])) if np.isfinite(value).any() else 0.0


def _accepted(bundle: Bundle, element: str) -> dict[str, Any]:
    """Say which assay the accepted values come from."""
    analytes = bundle.survey.analytes
    mine = analytes[((analytes["element"] == element) & analytes["accepted"]).to_numpy(dtype=bool)]
    if not len(mine):
        return {"assay": "", "source": "", "trust": "", "calibrated": False, "method": ""}
    counts = mine["n"].to_numpy(dtype=float, na_value=0.0)
    row = mine.iloc[int(np.argmax(counts))]

    def text(name: str) -> str:
        return "" if row[name] is None or row[name] != row[name] else str(row[name])

    digestion = f"{text('digestion')} digestion" if text("digestion") else ""
    return {
        "assay": text("assay"),
        "source": text("source"),
        "trust": text("trust"),
        "calibrated": bool(mine["calibrated"].any()),
        "method": ", ".join(t for t in (text("method"), digestion) if t),
    }


def _others(points: Points, element: str, accepted: dict[str, Any]) -> list[dict[str, Any]]:
    """Pack the assays beside the accepted value, sparsely where most samples have none."""
    frame: pd.DataFrame | None = points.frame
    if frame is None:
        return []
    value = points.values[element].value
    made = []
    for assay in assays_of(frame, element):
        v = values_of(frame, element, assay)
        known = np.isfinite(v.value)
        same = np.array_equal(v.value, value, equal_nan=True)
        if not known.any() or (same and assay == accepted["assay"]):
            continue
        at = np.flatnonzero(known)
        made.append(
            {
                "assay": assay,
                "at": None if len(at) > len(value) * 0.6 else pack(at.astype(np.uint32)),
                "values": pack_values(v.value if len(at) > len(value) * 0.6 else v.value[at]),
                "below": pack_flags(v.below if len(at) > len(value) * 0.6 else v.below[at]),
            }
        )
    return made
