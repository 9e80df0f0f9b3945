"""All methods for one element side by side: values, intervals, counts, and what to make of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.background.bootstrap import bootstrap_interval
from geochem.background.chosen import Chosen
from geochem.background.ground import decluster, point_coordinates
from geochem.background.groups import group_names, text_column
from geochem.background.guideline import Guideline, read_guidelines
from geochem.background.log_ratio import LogRatioMad, geometric_means
from geochem.background.recommendation import recommend
from geochem.background.table import check_elements, count_beyond, select
from geochem.errors import WrongCall, unknown
from geochem.model import tables
from geochem.model.threshold import Comparison

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    from geochem.model.threshold import Threshold

    Array = npt.NDArray[np.float64]
    Mask = npt.NDArray[np.bool_]

#: label, name in the registry, options; in the order of the table
VARIANTS: tuple[tuple[str, str, Mapping[str, Any]], ...] = (
    ("median + 2 MAD, log", "median_mad", {"k": 2.0, "log": True}),
    ("median + 3 MAD, log", "median_mad", {"k": 3.0, "log": True}),
    ("median + 2 MAD, raw", "median_mad", {"k": 2.0}),
    ("Tukey fence, log", "tukey_fence", {"log": True}),
    ("Tukey fence, raw", "tukey_fence", {}),
    ("adjusted boxplot", "adjusted_boxplot", {}),
    ("97.5th percentile", "percentile", {"q": 97.5}),
    ("probability plot", "probability_plot", {"q": 99.0}),
    ("mixture of two", "mixture", {"populations": 2}),
    ("concentration-area", "concentration_area", {}),
    ("concentration-number", "concentration_number", {}),
    ("natural breaks", "natural_breaks", {"classes": 3}),
    ("extreme-value tail", "extreme_tail", {"q": 99.0}),
    ("moving window", "moving_window", {"k": 2.0}),
    ("mean + 2 SD, log", "mean_sd", {"log": True}),
    ("mean + 2 SD, raw", "mean_sd", {}),
)
#: shown to be compared, never counted as valid
_NOT_COUNTED = ("mean_sd", "guideline", "chosen")


def compare(
    samples: pd.DataFrame,
    element: str,
    *,
    methods: Sequence[Any] | None = None,
    medium: str | None = None,
    by: str | Sequence[str] | None = None,
    domain: str = "all",
    weights: npt.ArrayLike | None = None,
    guidelines: str | Mapping[str, Guideline] | None = None,
    chosen: float | str | None = None,
    reason: str = "",
    bootstrap: int = 60,
    found: Mapping[str, Threshold] | None = None,
) -> Comparison:
    """Find the threshold of one element by every method.

    Parameters
    ----------
    samples : pandas.DataFrame or geopandas.GeoDataFrame
        A samples table; with point geometry samples are declustered and intervals are drawn in
        blocks of ground.
    element : str
        Symbol.
    methods : sequence of str or object, optional
        Names or ready objects; all variants of all methods if not given, those of other packages
        included.
    medium : str, optional
        Which; the one with most values if not given.
    by, domain : str or sequence of str, str
        Columns that name domains, as in `thresholds`, and the one to compare in.
    weights : array_like, shape (n_samples,), optional
        Declustering weights; found from the coordinates if not given.
    guidelines : str, path or mapping, optional
        Table of guidelines (see `read_guidelines`), or what was read from it.
    chosen : float or str, optional
        The user's own value [mg/kg], or the label of a row.
    reason : str
        Why it was chosen.
    bootstrap : int, default 60
        Draws of each interval; 0 takes the quick interval of each method.
    found : mapping of str to Threshold, optional
        Fits that were made already, by label.

    Returns
    -------
    Comparison
        Prints as a table.

    Raises
    ------
    WrongCall
        If the element, medium, domain or a method is unknown.

    Examples
    --------
    >>> import pandas as pd
    >>> rng = np.random.default_rng(0)
    >>> soil = pd.DataFrame({"Zn_ppm": rng.lognormal(4, 0.4, 600)})
    >>> compare(soil, "Zn", bootstrap=0).recommended
    'median + 2 MAD, log'
    """
    (element,) = check_elements(samples, [element])
    rows = _rows(samples, element, medium, by, domain)
    here = samples.iloc[rows.at]
    values = select(tables.values_of(samples, element), rows.mask)
    xy = point_coordinates(here)
    w = None
    if weights is not None:
        w = np.asarray(weights, dtype=float)[rows.at]
    elif xy is not None:
        w = decluster(xy)
    tried = _methods(methods, located=xy is not None)
    if methods is None:
        means = geometric_means(here)
        if means is not None:
            tried.insert(3, ("median + 2 MAD, log-ratio", LogRatioMad(means)))
    table = read_guidelines(guidelines) if isinstance(guidelines, str) else guidelines
    if table and element in table:
        tried.append(("guideline", table[element]))
    if chosen is not None and not isinstance(chosen, str):
        tried.append(("chosen by the user", Chosen(float(chosen), reason)))
    ok = np.isfinite(values.value)
    records: dict[str, Threshold] = {}
    lines: list[dict[str, Any]] = []
    for label, method in tried:
        record = None if found is None else found.get(label)
        if record is None:
            record = _fit(method, values, ok, xy, w, quick=bootstrap > 0)
        low, high, how = record.low, record.high, str(record.details.get("interval", ""))
        if bootstrap > 0 and method.name not in ("chosen", "guideline"):
            low, high = bootstrap_interval(
                method, values, record.value, coordinates=xy, weights=w, draws=bootstrap
            )
            how = f"bootstrap of {'blocks of ground' if xy is not None else 'samples'}, {bootstrap} draws"
        records[label] = record
        lines.append(_line(label, method, record, values, low, high, how))
        if label == "probability plot":
            lines += _beside(record, values)
    return _finish(element, rows, values, ok, w, lines, records, chosen, reason)


class _Rows:
    """Which rows are compared."""

    def __init__(self, medium: str, domain: str, mask: Mask) -> None:
        self.medium, self.domain, self.mask = medium, domain, mask
        self.at = np.flatnonzero(mask)


def _rows(samples: pd.DataFrame, element: str, medium: str | None, by: Any, domain: str) -> _Rows:
    media = text_column(samples, "medium", missing="")
    measured = np.isfinite(tables.values_of(samples, element).value)
    there = sorted(set(media))
    if medium is None:
        medium = max(there, key=lambda m: (int((measured & (media == m)).sum()), m), default="")
    elif medium not in there:
        raise unknown("medium", medium, there)
    groups = group_names(samples, by)
    mask = media == medium
    if by is not None:
        names = sorted(set(groups[mask]))
        if domain not in names:
            raise unknown("domain", domain, names)
        mask = mask & (groups == domain)
    return _Rows(medium, domain, mask)


def _methods(methods: Sequence[Any] | None, *, located: bool) -> list[tuple[str, Any]]:
    from geochem import plugins

    if methods is not None:
        out: list[tuple[str, Any]] = []
        for m in methods:
            made = plugins.make("thresholds", m, {}) if isinstance(m, str) else m
            if not hasattr(made, "fit"):
                raise WrongCall(f"a method must be a name or a ready object, got {m!r}.")
            label = made.name.replace("_", " ")
            out.append((label if label not in dict(out) else f"{label} ({len(out) + 1})", made))
        if not located and any("coordinates" in m.needs for _, m in out):
            raise WrongCall("a method needs coordinates; give samples with point geometry.")
        return out
    known = {name for _, name, _ in VARIANTS}
    tried = [(label, plugins.make("thresholds", n, dict(o))) for label, n, o in VARIANTS]
    tried += [
        (n.replace("_", " "), plugins.make("thresholds", n, {}))
        for n in plugins.names("thresholds") if n not in known
    ]  # fmt: skip
    return [(label, m) for label, m in tried if located or "coordinates" not in m.needs]


def _fit(
    method: Any, values: tables.Values, ok: Mask, xy: Array | None, w: Array | None, *, quick: bool
) -> Threshold:
    from contextlib import nullcontext

    from geochem.stats.intervals import point_only

    own = method.take(np.flatnonzero(ok)) if isinstance(method, LogRatioMad) else method
    with point_only() if quick else nullcontext():
        record: Threshold = own.fit(
            values.value[ok], below=values.below[ok], above=values.above[ok],
            coordinates=None if xy is None else xy[ok], weights=None if w is None else w[ok],
        )  # fmt: skip
    return record


def _line(
    label: str, method: Any, record: Threshold, values: tables.Values, low: float, high: float,
    how: str,
) -> dict[str, Any]:  # fmt: skip
    n_above, undecided = count_beyond(record, values)
    warnings = list(record.warnings)
    if undecided:
        warnings.append(f"{undecided} values are undecided: their limit lies above the threshold.")
    replaced = record.method != method.name
    return {
        "label": label, "method": record.method, "value": record.value, "low": low, "high": high,
        "n": record.n_used, "n_above": n_above,
        "share": n_above / record.n_used if record.n_used else np.nan,
        "scale": {"log10": "log", "none": "raw"}.get(record.transform, record.transform),
        "interval": how or None,
        "valid": bool(
            np.isfinite(record.value) and not replaced and method.name not in _NOT_COUNTED
        ),
        "reference": record.reference, "warning": " ".join(warnings) or None,
    }  # fmt: skip


def _beside(record: Threshold, values: tables.Values) -> list[dict[str, Any]]:
    """Lower edge of the next population and crossing, as rows beside the probability plot."""
    from dataclasses import replace

    lines = []
    for label, key in (("lower edge of the upper population", "lower_edge"),
                       ("crossing of the populations", "intersection")):  # fmt: skip
        value = float(record.details.get(key, np.nan))
        if not np.isfinite(value):
            continue
        other = replace(record, value=value, warnings=())
        n_above, _ = count_beyond(other, values)
        lines.append(
            {
                "label": label, "method": "probability_plot", "value": value, "low": np.nan,
                "high": np.nan, "n": record.n_used, "n_above": n_above,
                "share": n_above / record.n_used, "scale": "log", "interval": None,
                "valid": False, "reference": record.reference,
                "warning": "Beside the probability plot; the field between the edges is mixed.",
            }
        )  # fmt: skip
    return lines


def _finish(
    element: str, rows: _Rows, values: tables.Values, ok: Mask, w: Array | None,
    lines: list[dict[str, Any]], records: dict[str, Threshold], chosen: float | str | None,
    reason: str,
) -> Comparison:  # fmt: skip
    import pandas as pd

    table = tables.conform(pd.DataFrame(lines), tables.COMPARISON)
    valid = table.loc[table["valid"].astype(bool)]
    counts = valid["n_above"].to_numpy(dtype=float)
    numbers = valid["value"].to_numpy(dtype=float)
    agreement = spread = float("nan")
    if len(valid) > 1:
        # all thresholds cut the same order of values: the flagged sets lie one inside the other
        pairs = [
            min(p, q) / max(p, q) if max(p, q) > 0 else 1.0 for p, q in combinations(counts, 2)
        ]
        agreement = float(np.mean(pairs))
        spread = float(numbers.max() / numbers.min())
    label, why = recommend(table, records, values)
    own = ""
    if isinstance(chosen, str):
        if chosen not in records:
            raise unknown("row of the comparison", chosen, list(records))
        own = chosen
    elif chosen is not None:
        own = "chosen by the user"
    order = np.lexsort((values.below[ok], values.value[ok]))
    weights = np.ones(int(ok.sum())) if w is None else w[ok]
    return Comparison(
        element, rows.medium, rows.domain, table, records, agreement, spread, label, why, own,
        (reason or "no reason given") if own else "", values.value[ok][order],
        values.below[ok][order], weights[order],
    )  # fmt: skip
