"""The accepted value: one assay per element for a whole medium, never mixed cell by cell."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from geochem.elements import XRF_NEVER, element_rank
from geochem.errors import WrongCall, unknown
from geochem.model.finding import Finding, name_some
from geochem.model.tables import ANALYTES, SUFFIXES, Values, conform, value_column
from geochem.stats.calibration_line import USABLE, apply_calibration, calibrations_for

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    from geochem.model.quality import Calibration
    from geochem.model.survey import Survey

    Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class _Choice:
    element: str
    assay: str
    reason: str
    calibrations: tuple[Calibration, ...] = ()


def accept_values(
    survey: Survey,
    calibrations: Iterable[Calibration] = (),
    *,
    prefer: Sequence[str] | None = None,
) -> Survey:
    """Choose one assay per element and medium and write its values as the accepted ones.

    With `prefer`, the first assay of the list that has the element in the medium; the others
    follow by coverage. Without: the assay that has a value for most samples of the medium
    (an equal number: the laboratory, then the alphabet); one without a single detection comes
    after those with some, and portable XRF of gold, the platinum metals, Hg, Te and Tl after any
    laboratory. The values of an assay are corrected when a calibration of it passed (or is
    provisional, with a finding) for every group of readings; otherwise they stay as read.

    Parameters
    ----------
    survey : Survey
        From `assemble_survey`; not changed.
    calibrations : iterable of Calibration, optional
        Those with another verdict than pass or provisional are not used.
    prefer : sequence of str, optional
        Names of assays, the first first.

    Returns
    -------
    Survey
        `samples` and `unlocated` with ``Cu_ppm, _below, _above, _err`` per element; `analytes`
        with one row per assay, element and medium.

    Raises
    ------
    WrongCall
        If `prefer` names an assay that there is not.
    """
    import geopandas as gpd
    import pandas as pd

    table = pd.DataFrame(survey.samples.drop(columns="geometry"))
    if len(survey.unlocated):
        parts = [table, survey.unlocated] if len(table) else [survey.unlocated]
        table = pd.concat(parts, ignore_index=True)
    pairs = _assay_columns(table)
    sources = _sources(survey)
    assays = sorted({a for _, a in pairs})
    for name in prefer or ():
        _refuse_parted(survey, name, prefer or ())
        if name not in assays and name not in sources:
            raise unknown("assay in [quality] prefer", name, assays)
    usable = [c for c in calibrations if c.verdict in USABLE]
    medium = table["medium"].fillna("").to_numpy(dtype=object)
    counted = np.ones(len(table), dtype=bool)
    if "use" in table.columns:
        counted = (table["use"] != "context").to_numpy(dtype=bool)
    elements = sorted({e for e, _ in pairs}, key=element_rank)
    accepted: dict[str, Values] = {e: _nothing(len(table)) for e in elements}
    choices: dict[str, list[_Choice]] = {}
    findings: list[Finding] = []
    for kind in sorted(set(medium)):
        here = medium == kind
        for element in elements:
            choice = _choose(
                table, element, [a for e, a in pairs if e == element], here, counted, sources,
                prefer or (),
            )  # fmt: skip
            if choice is None:
                continue
            values = _values(table, element, choice.assay)
            values, used, found = _calibrate(
                values, element, choice.assay, here, usable, table, kind
            )
            findings += found
            choices.setdefault(kind, []).append(replace(choice, calibrations=used))
            for old, new in zip(accepted[element], values, strict=True):
                old[here] = new[here]
    findings += _say(choices, medium)
    columns: dict[str, npt.NDArray[np.generic]] = {}
    for element, values in accepted.items():
        for suffix, array in zip(SUFFIXES, values, strict=True):
            columns[element + suffix] = array
    analytes = _analytes(survey, table, pairs, medium, choices, sources)
    wide = _beside(table, columns)
    n = len(survey.samples)
    samples = gpd.GeoDataFrame(
        wide.iloc[:n].reset_index(drop=True),
        geometry=survey.samples.geometry.to_numpy(),
        crs=survey.samples.crs,
    )
    return replace(
        survey,
        samples=samples,
        unlocated=wide.iloc[n:].reset_index(drop=True),
        analytes=analytes,
        findings=(*survey.findings, *findings),
    )


def _refuse_parted(survey: Survey, name: str, prefer: Sequence[str]) -> None:
    """Ask which of several laboratories, methods or digestions a preferred table means."""
    known = survey.analytes
    if "parted_from" not in known.columns:
        return
    parts = sorted({str(a) for a in known.loc[known["parted_from"] == name, "assay"]})
    if parts and not set(parts) & set(prefer):
        raise WrongCall(
            f"[quality] prefer names '{name}', but that table holds several laboratories, methods "
            f"or digestions, which are kept apart as {', '.join(repr(p) for p in parts)}; put one "
            f"or more of these into prefer instead of '{name}'."
        )


def _assay_columns(table: pd.DataFrame) -> list[tuple[str, str]]:
    """List (element, assay) of the per-assay columns; the error column marks a concentration."""
    names = {str(c) for c in table.columns}
    out = []
    for name in names:
        if "_ppm__" in name and name + "_err" in names and name + "_below" in names:
            element, _, assay = name.partition("_ppm__")
            out.append((element, assay))
    return sorted(out, key=lambda p: (element_rank(p[0]), p[1]))


def _sources(survey: Survey) -> dict[str, str]:
    """Give the source of each assay."""
    out: dict[str, str] = {}
    for frame in (survey.analytes, survey.results):
        if len(frame):
            known = frame[["assay", "source"]].dropna().drop_duplicates("assay")
            for assay, source in zip(known["assay"], known["source"], strict=True):
                out.setdefault(str(assay), str(source))
    return out


def _values(table: pd.DataFrame, element: str, assay: str) -> Values:
    name = value_column(element, assay)
    return Values(
        table[name].to_numpy(dtype=float, copy=True),
        table[name + "_below"].to_numpy(dtype=bool, copy=True),
        table[name + "_above"].to_numpy(dtype=bool, copy=True),
        table[name + "_err"].to_numpy(dtype=float, copy=True),
    )


def _nothing(n: int) -> Values:
    return Values(np.full(n, np.nan), np.zeros(n, bool), np.zeros(n, bool), np.full(n, np.nan))


def _choose(
    table: pd.DataFrame, element: str, assays: list[str], here: Flags, counted: Flags,
    sources: dict[str, str], prefer: Sequence[str],
) -> _Choice | None:  # fmt: skip
    ranked = []
    total = int((here & counted).sum())
    for assay in assays:
        values = _values(table, element, assay)
        there = np.isfinite(values.value) & here
        n = int((there & counted).sum())
        if not there.any():
            continue
        detected = int((there & ~values.below & ~values.above).sum())
        is_xrf = sources.get(assay) == "pxrf"
        distrusted = is_xrf and element in XRF_NEVER
        place = prefer.index(assay) if assay in prefer else len(prefer)
        ranked.append(
            ((place, distrusted, detected == 0, -n, is_xrf, assay), assay, n, place, distrusted)
        )
    if not ranked:
        return None
    ranked.sort(key=lambda r: r[0])
    _, assay, n, place, _ = ranked[0]
    if place < len(prefer):
        reason = "preferred"
    elif len(ranked) == 1:
        reason = "the only one"
    elif any(r[4] for r in ranked[1:]):
        reason = "portable XRF is not trusted with it"
    elif n < max(r[2] for r in ranked):
        reason = "the other has no detection"
    elif n == ranked[1][2]:
        reason = "as many samples as the other"
    else:
        reason = "covers most samples"
    covers = "" if n == total else f", {n} of {total}"
    return _Choice(element, assay, reason + covers)


def _calibrate(
    values: Values, element: str, assay: str, here: Flags, usable: list[Calibration],
    table: pd.DataFrame, kind: str,
) -> tuple[Values, tuple[Calibration, ...], list[Finding]]:  # fmt: skip
    """Correct the values of one element if calibrations cover every sample of the medium."""
    if not any(c.element == element and c.assay == assay for c in usable):
        return values, (), []
    at = np.flatnonzero(here & np.isfinite(values.value))
    lines = calibrations_for(
        usable, element, assay, table["sample_id"].to_numpy(dtype=object)[at]
    )  # fmt: skip
    if lines is not None:
        out = _values(table, element, assay)
        used: list[Calibration] = []
        beyond = 0
        for calibration, mine in lines:
            rows = at[mine]
            part = apply_calibration(
                Values(
                    values.value[rows], values.below[rows], values.above[rows], values.err[rows]
                ),
                calibration,
            )
            for target, new in zip(out, part, strict=True):
                target[rows] = new
            x = values.value[rows][~values.below[rows] & ~values.above[rows]]
            beyond += int(((x > 1.1 * calibration.high) | (x < 0.9 * calibration.low)).sum())
            used.append(calibration)
        found = []
        if beyond:
            low = min(c.low for c in used)
            high = max(c.high for c in used)
            found.append(
                Finding(
                    "calibration-extrapolated", "note",
                    f"{beyond} values of {element} in {kind or 'samples'} lie outside the range "
                    f"{low:.4g} to {high:.4g} ppm that the calibration of '{assay}' covers.",
                    element=element,
                )
            )  # fmt: skip
        return out, tuple(used), found
    return values, (), [
        Finding(
            "calibration-partial", "warning",
            f"{element} of assay '{assay}' stays uncorrected in {kind or 'samples'}: not every "
            "instrument, mode, date or kind of ground has a calibration that may be used, and "
            "corrected and uncorrected values are not mixed.",
            element=element,
        )
    ]  # fmt: skip


def _say(choices: dict[str, list[_Choice]], medium: npt.NDArray[np.object_]) -> list[Finding]:
    """Say in one note per medium which assay was taken for which element, and why."""
    out = []
    for kind, chosen in choices.items():
        by: dict[tuple[str, str, str], list[str]] = {}
        for c in chosen:
            fixed = ""
            if c.calibrations:
                fixed = f", corrected to '{c.calibrations[0].reference_assay}'"
            by.setdefault((c.assay, c.reason, fixed), []).append(c.element)
        said = "; ".join(
            f"{', '.join(elements)} from '{assay}' ({reason}{fixed})"
            for (assay, reason, fixed), elements in by.items()
        )
        out.append(
            Finding(
                "accepted-values", "note",
                f"accepted values of {int((medium == kind).sum())} {kind or 'samples'} samples: "
                f"{said}.",
            )
        )  # fmt: skip
        weak = [
            c.element for c in chosen if any(k.verdict == "provisional" for k in c.calibrations)
        ]
        if weak:
            out.append(
                Finding(
                    "calibration-provisional", "warning",
                    f"the correction of {name_some(weak, 10)} in {kind or 'samples'} rests on few "
                    "pairs and is provisional; send more samples to the laboratory.",
                    element=weak[0],
                )
            )  # fmt: skip
    return out


def _beside(table: pd.DataFrame, columns: dict[str, npt.NDArray[np.generic]]) -> pd.DataFrame:
    """Put the accepted columns before those of the assays, in one go."""
    import pandas as pd

    kept = [c for c in table.columns if c not in columns]
    first = [c for c in kept if "__" not in str(c)]
    rest = [c for c in kept if "__" in str(c)]
    return pd.concat([table[first], pd.DataFrame(columns, index=table.index), table[rest]], axis=1)


def _analytes(
    survey: Survey, table: pd.DataFrame, pairs: list[tuple[str, str]],
    medium: npt.NDArray[np.object_], choices: dict[str, list[_Choice]], sources: dict[str, str],
) -> pd.DataFrame:  # fmt: skip
    """Make one row per assay, element and medium."""
    import pandas as pd

    known = survey.analytes.sort_values(
        ["assay", "element", "medium", "name", "method"], kind="stable"
    ).drop_duplicates(["assay", "element"])
    base = {(r["assay"], r["element"]): r for r in known.to_dict("records")}
    taken = {
        (c.assay, c.element, kind): bool(c.calibrations)
        for kind, chosen in choices.items()
        for c in chosen
    }
    concentration = {(a, e) for e, a in pairs}
    others = [k for k in base if k not in concentration]
    rows = []
    for assay, element in sorted([*concentration, *others]):
        start = base.get((assay, element), {"assay": assay, "element": element})
        start = {**start, "source": start.get("source") or sources.get(assay)}
        seen = False
        if (assay, element) in concentration:
            values = _values(table, element, assay)
        elif f"{element}__{assay}" in table.columns:
            values = _nothing(len(table))
            values.value[:] = table[f"{element}__{assay}"].to_numpy(dtype=float)
        else:
            values = _nothing(len(table))
        there = np.isfinite(values.value)
        for kind in sorted(set(medium[there])):
            here = there & (medium == kind)
            seen = True
            rows.append(
                {
                    **start, "medium": kind or None, "n": int(here.sum()),
                    "n_below": int((here & values.below).sum()),
                    "n_above": int((here & values.above).sum()),
                    "accepted": (assay, element, kind) in taken,
                    "calibrated": taken.get((assay, element, kind), False),
                }
            )  # fmt: skip
        if not seen:
            rows.append(
                {
                    **start, "medium": None, "n": 0, "n_below": 0, "n_above": 0,
                    "accepted": False, "calibrated": False,
                }
            )  # fmt: skip
    return conform(pd.DataFrame(rows, columns=list(ANALYTES)), ANALYTES)
