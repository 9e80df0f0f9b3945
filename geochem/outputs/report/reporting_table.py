"""The draft table on portable-XRF data for the competent / qualified person to check and sign.

The reporting codes' checklists ask, for data of hand-held instruments, for the instrument, reading
times, calibration and how it was derived, and the quality control applied (from memory of the
checklists; the code that applies decides).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from geochem.outputs.report.blocks import Block, Heading, Paragraph, Table
from geochem.outputs.wording import count, figure

if TYPE_CHECKING:
    import pandas as pd

    from geochem.model.bundle import Bundle

_SIGN = "to be filled in by the competent / qualified person"
_NONE = "not recorded"
_TOLD = (
    "sample_id", "assay", "reading", "batch", "instrument", "mode", "element", "date_read",
    "seconds",
)  # fmt: skip


def reporting_table(bundle: Bundle) -> list[Block]:
    """Collect what was recorded; what was not says so.

    Parameters
    ----------
    bundle : Bundle
        Records of a run.

    Returns
    -------
    list of Block
        Heading and table.
    """
    results = bundle.survey.results
    # of millions of rows only what is told below
    xrf = results.loc[results["source"] == "pxrf", list(_TOLD)]
    heading = Heading("Draft reporting table for portable XRF", 2)
    if not len(xrf):
        return [heading, Paragraph("No portable-XRF readings.")]
    controls = bundle.survey.controls
    controls = controls.loc[controls["source"] == "pxrf"]
    rows = [
        ("instruments", _named(xrf["instrument"])),
        ("modes", _named(xrf["mode"])),
        ("readings", _readings(xrf)),
        ("reading time", _seconds(xrf)),
        ("elements", _named(xrf["element"], 40)),
        ("sample preparation", _preparation(bundle.survey.samples)),
        ("moisture", _spread(bundle.survey.samples, "moisture_pct", "%")),
        ("standards", _standards(controls)),
        ("blanks and duplicates", _controls(controls)),
        ("verdicts", _verdicts(bundle)),
        ("calibration", _calibrations(bundle)),
        ("what the values are used for", "screening; a laboratory decides (see Cautions)"),
        ("remarks on sampling and preparation", _SIGN),
        ("name, membership, statement and signature", _SIGN),
    ]
    return [heading, Table(("item", "recorded"), rows, widths=(0.3, 0.7))]


def _named(column: pd.Series, most: int = 8) -> str:
    values = sorted(map(str, column.dropna().unique()))
    more = f" and {len(values) - most} more" if len(values) > most else ""
    return ", ".join(values[:most]) + more or _NONE


def _readings(xrf: pd.DataFrame) -> str:
    shots = xrf[["sample_id", "assay", "reading", "batch"]].drop_duplicates()
    said = count(len(shots), "reading")
    days = xrf["date_read"].dropna()
    return f"{said}, {days.min():%Y-%m-%d} to {days.max():%Y-%m-%d}" if len(days) else said


def _seconds(xrf: pd.DataFrame) -> str:
    known = xrf[["mode", "seconds"]].dropna(subset=["seconds"])
    if not len(known):
        return _NONE
    said = []
    for mode, group in known.groupby(known["mode"].fillna("any mode"), sort=True):
        low, high = group["seconds"].min(), group["seconds"].max()
        span = figure(low) if low == high else f"{figure(low)} to {figure(high)}"
        said.append(f"{mode}: {span} s")
    return "; ".join(said)


def _spread(samples: pd.DataFrame, column: str, unit: str) -> str:
    if column not in samples.columns or not samples[column].notna().any():
        return _NONE
    known = samples[column].dropna()
    low, middle, high = (figure(v, 2) for v in known.quantile([0, 0.5, 1]))
    return f"{middle} {unit} (median; {low} to {high}; {len(known)} of {len(samples)} recorded)"


def _preparation(samples: pd.DataFrame) -> str:
    parts = []
    for column, words, unit in (
        ("sieve_um", "sieved below", "um"), ("powder_ml", "powder", "mL"),
        ("die_mm", "die", "mm"), ("binder_pct", "binder", "%"),
    ):  # fmt: skip
        said = _spread(samples, column, unit)
        if said != _NONE:
            parts.append(f"{words} {said}")
    if "mill" in samples.columns and samples["mill"].notna().any():
        parts.append(f"mill: {_named(samples['mill'])}")
    return "; ".join(parts) or _NONE


def _standards(controls: pd.DataFrame) -> str:
    mine = controls.loc[controls["standard"].notna(), ["standard", "sample_id", "reading"]]
    if not len(mine):
        return "none"
    shots = mine.drop_duplicates()["standard"].value_counts()
    return ", ".join(f"{name} (read {n} times)" for name, n in sorted(shots.items()))


def _controls(controls: pd.DataFrame) -> str:
    others = controls.loc[controls["role"].notna() & (controls["role"] != "standard")]
    if not len(others):
        return "none"
    ids = others.drop_duplicates(["role", "sample_id", "reading"])["role"].value_counts()
    return ", ".join(f"{n} {str(role).replace('_', ' ')}" for role, n in sorted(ids.items()))


def _verdicts(bundle: Bundle) -> str:
    table: Any = bundle.quality.verdicts
    mine = table.loc[(table["source"] == "pxrf") & table["key_element"].astype(bool)]
    if not len(mine):
        return "not judged"
    counts = mine["verdict"].value_counts()
    return ", ".join(f"{counts.get(v, 0)} {v}" for v in ("pass", "warn", "fail")) + (
        " (batches times key elements)"
    )


def _calibrations(bundle: Bundle) -> str:
    done = [c for c in bundle.quality.calibrations if c.verdict == "pass"]
    if not done:
        return "none to the laboratory; the instrument's own"
    lines = [
        f"{c.element}{f' ({c.group})' if c.group else ''} slope {figure(c.slope)}, {c.n} pairs"
        for c in done
    ]
    return "to the laboratory, York regression: " + "; ".join(lines)
