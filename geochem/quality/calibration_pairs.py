"""Which samples portable XRF and laboratory both measured, and with what errors."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from geochem.model.tables import value_column, values_of
from geochem.quality.limits import QualityLimits

if TYPE_CHECKING:
    import pandas as pd

    from geochem.model.survey import Survey
    from geochem.quality.arrange import Arranged

PAIR_COLUMNS = [
    "element", "assay", "reference_assay", "sample_id", "x", "y", "x_err", "y_err", "used",
]  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class AssayFacts:
    """What is known of one assay.

    Parameters
    ----------
    source : str
        ``pxrf`` or ``laboratory``.
    elements : frozenset of str
        With a column in the samples table.
    digestion : mapping of element to str
        Empty text when not stated.
    fraction_um : float
        NaN when not stated.
    """

    source: str
    elements: frozenset[str]
    digestion: Mapping[str, str] = field(default_factory=dict)
    fraction_um: float = float("nan")


def assay_facts(survey: Survey, arranged: Arranged) -> dict[str, AssayFacts]:
    """Collect source, elements, digestion and fraction of every assay."""
    import pandas as pd

    columns: dict[str, set[str]] = {}
    for name in survey.samples.columns:
        element, mark, assay = str(name).partition("_ppm__")
        if mark and not assay.endswith(("_below", "_above", "_err")):
            columns.setdefault(assay, set()).add(element)
    known = arranged.results[["assay", "source"]].drop_duplicates()
    sources = dict(zip(known["assay"].astype(str), known["source"].astype(str), strict=True))
    analytes = survey.analytes
    facts: dict[str, AssayFacts] = {}
    for assay, elements in columns.items():
        mine = analytes[analytes["assay"] == assay]
        digestion = {
            str(e): str(d)
            for e, d in zip(mine["element"], mine["digestion"], strict=True)
            if isinstance(d, str)
        }
        fractions = pd.to_numeric(mine["fraction_um"]).dropna()
        source = sources.get(assay) or next(iter(mine["source"].dropna()), "")
        fraction = float(fractions.iloc[0]) if len(fractions) else float("nan")
        facts[assay] = AssayFacts(source, frozenset(elements), digestion, fraction)
    return facts


def conditions_of(survey: Survey, arranged: Arranged, assay: str) -> dict[str, dict[str, str]]:
    """Give under which conditions each sample was read, by what a line may depend on.

    Parameters
    ----------
    survey : Survey
        For lithology and regolith.
    arranged : Arranged
        Results.
    assay : str
        Of portable XRF.

    Returns
    -------
    dict of str to dict of sample id to str
        ``instrument, mode, batch, date, medium, lithology, regolith``; of several batches the
        first by name and of several days the first, empty text for several instruments or modes.
    """
    import pandas as pd

    rows = arranged.results
    rows = rows[((rows["assay"] == assay) & ~rows["control"]).to_numpy()]
    ids = rows["sample_id"].cat.codes.to_numpy()
    names = rows["sample_id"].cat.categories.astype(str).to_numpy()
    out: dict[str, dict[str, str]] = {}
    none = np.iinfo(np.int64).max
    for what in ("instrument", "mode", "batch"):
        # Categories are sorted, so the least code is the first by name.
        codes = rows[what].cat.codes.to_numpy().astype(np.int64)
        least, most = np.full(len(names), none), np.full(len(names), -1)
        np.minimum.at(least, ids, codes)
        np.maximum.at(most, ids, codes)
        labels = rows[what].cat.categories.astype(str).to_numpy(dtype=object)
        seen = np.flatnonzero(least < none)
        text = labels[least[seen]]
        if what != "batch":
            text = np.where(least[seen] == most[seen], text, "")
        out[what] = dict(zip(names[seen], text, strict=True))
    day = rows["date_read"].to_numpy(dtype="datetime64[ns]")
    known = ~np.isnat(day)
    first = np.full(len(names), none)
    np.minimum.at(first, ids[known], day[known].astype(np.int64))
    seen = np.flatnonzero(first < none)
    dates = first[seen].astype("datetime64[ns]").astype("datetime64[D]").astype(str)
    out["date"] = dict(zip(names[seen], dates.astype(object), strict=True))
    out["medium"] = media_of(survey)
    for what in ("lithology", "regolith"):
        out[what] = {}
        for frame in (survey.samples, survey.unlocated):
            if what in frame.columns:
                some = pd.DataFrame(frame[["sample_id", what]]).dropna()
                out[what].update(zip(some["sample_id"], some[what].astype(str), strict=True))
    return out


def media_of(survey: Survey) -> dict[str, str]:
    """Give the medium of each sample that states one."""
    out: dict[str, str] = {}
    for frame in (survey.samples, survey.unlocated):
        if "medium" in frame.columns:
            known = frame[frame["medium"].notna()]
            out.update(zip(known["sample_id"], known["medium"], strict=True))
    return out


@dataclass(frozen=True, eq=False)
class Errors:
    """The error of one value: stated, from duplicates, or assumed.

    Parameters
    ----------
    duplicates : pandas.DataFrame
        From `summarise_duplicates`.
    limits : QualityLimits
        The relative errors that are assumed.
    """

    duplicates: pd.DataFrame
    limits: QualityLimits

    @cached_property
    def _relative(self) -> dict[tuple[str, str], float]:
        """Look up once what duplicates say of every assay and element. [-]."""
        d = self.duplicates
        tight = d[d["role"].isin(["pulp_duplicate", "repeat"]) & (d["n_used"] >= 5)]
        worst = tight.groupby(["assay", "element"], observed=True)["cv_pct"].max() / 100
        known = worst.reset_index()
        keys = zip(known["assay"].astype(str), known["element"].astype(str), strict=True)
        return dict(zip(keys, known["cv_pct"].astype(float).tolist(), strict=True))

    def of(
        self, value: np.ndarray, stated: np.ndarray, assay: str, element: str, assumed_pct: float
    ) -> tuple[np.ndarray, bool]:
        """Give one standard error per value [mg/kg] and whether any had to be assumed."""
        relative = self._relative.get((assay, element), 0.0)
        known = np.where(np.isfinite(stated) & (stated > 0), stated, 0.0)
        err = np.maximum(known, relative * value)
        lacking = ~(err > 0)
        return np.where(lacking, assumed_pct / 100 * value, err), bool(lacking.any())


def collect_pairs(
    survey: Survey, element: str, assay: str, reference: str,
    spoiled: Mapping[tuple[str, str], set[str]], errors: Errors,
) -> pd.DataFrame:  # fmt: skip
    """Collect the samples that have both values, used or not, sorted by id.

    Parameters
    ----------
    survey : Survey
        Located and unlocated samples serve alike.
    element, assay, reference : str
        What is paired.
    spoiled : mapping of (assay, element) to set of str
        Samples of failed batches.
    errors : Errors
        Where the errors come from.

    Returns
    -------
    pandas.DataFrame
        `PAIR_COLUMNS`, then ``reason, assumed, x_below, y_below``.
    """
    import pandas as pd

    parts: list[pd.DataFrame] = []
    for frame in (survey.samples, survey.unlocated):
        need = {value_column(element, assay), value_column(element, reference)}
        if not need <= set(frame.columns):
            continue
        x, y = values_of(frame, element, assay), values_of(frame, element, reference)
        both = np.isfinite(x.value) & np.isfinite(y.value)
        below, above = (x.below | y.below)[both], (x.above | y.above)[both]
        parts.append(
            pd.DataFrame(
                {
                    "sample_id": frame["sample_id"].to_numpy(dtype=object)[both],
                    "x": x.value[both], "y": y.value[both],
                    "x_stated": x.err[both], "y_stated": y.err[both],
                    "x_below": x.below[both], "y_below": y.below[both],
                    "reason": np.select(
                        [below, above, (x.value[both] <= 0) | (y.value[both] <= 0)],
                        ["below detection", "above the range", "not above zero"], "",
                    ),
                }
            )
        )  # fmt: skip
    names = ["sample_id", "x", "y", "x_stated", "y_stated", "x_below", "y_below", "reason"]
    pairs = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=names)
    pairs = pairs.sort_values("sample_id", kind="stable").reset_index(drop=True)
    pairs["reason"] = pairs["reason"].astype(object)
    bad = set().union(*(spoiled.get((a, element), ()) for a in (assay, reference)))
    if bad:
        failed = pairs["sample_id"].isin(bad) & (pairs["reason"] == "")
        pairs.loc[failed, "reason"] = "batch failed"
    limits = errors.limits
    numbers = {n: pairs[n].to_numpy(dtype=float) for n in ("x", "y", "x_stated", "y_stated")}
    pairs["x_err"], x_assumed = errors.of(
        numbers["x"], numbers["x_stated"], assay, element, limits.xrf_error_pct
    )
    pairs["y_err"], y_assumed = errors.of(
        numbers["y"], numbers["y_stated"], reference, element, limits.laboratory_error_pct
    )
    pairs["element"], pairs["assay"], pairs["reference_assay"] = element, assay, reference
    pairs["used"] = (pairs["reason"] == "").to_numpy(dtype=bool)
    pairs["assumed"] = x_assumed or y_assumed
    return pairs[[*PAIR_COLUMNS, "reason", "assumed", "x_below", "y_below"]]
