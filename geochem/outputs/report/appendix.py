"""What stands behind the report: maps, thresholds, quality control, methods, findings."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from geochem.outputs.leading import leading_elements
from geochem.outputs.report.blocks import (
    Block,
    Bullets,
    Heading,
    Paragraph,
    Table,
    picture,
    rows_of,
)
from geochem.outputs.report.learned_blocks import learned_blocks
from geochem.outputs.report.levelling_blocks import levelling_blocks
from geochem.outputs.report.quality_blocks import quality_blocks
from geochem.outputs.report.reporting_table import reporting_table
from geochem.outputs.wording import concentration, figure

if TYPE_CHECKING:
    from geochem.model.bundle import Bundle


def appendix(bundle: Bundle, figures: Path) -> list[Block]:
    """Give what a careful reader looks up.

    Parameters
    ----------
    bundle : Bundle
        Records of a run.
    figures : Path
        Folder with the figures that were drawn before.

    Returns
    -------
    list of Block
        To follow the body of the report.
    """
    return [
        *_maps(bundle, figures),
        *_background(bundle, figures),
        *learned_blocks(bundle, figures),
        *_quality_detail(bundle, figures),
        *levelling_blocks(bundle, figures),
        *_methods(bundle),
        *_findings(bundle),
    ]


def _maps(bundle: Bundle, figures: Path) -> list[Block]:
    blocks: list[Block] = []
    for element in leading_elements(bundle)[:8]:
        blocks += picture(
            figures, f"element_{element}", f"{element}, accepted values; limits as crosses."
        )
    for c in bundle.compositions:
        name = c.medium.replace(" ", "_")
        blocks += picture(figures, f"biplot_{name}", f"Log-ratio biplot, {c.medium}. {c.replaced}")
    return [Heading("Appendix: maps"), *blocks] if blocks else []


def _background(bundle: Bundle, figures: Path) -> list[Block]:
    blocks: list[Block] = [Heading("Appendix: background and thresholds")]
    table = bundle.thresholds
    counted = leading_elements(bundle)[:12]
    rows = []
    for row in rows_of(table.loc[table["domain"] == "all"]):
        if row.element not in counted:
            continue
        options = f", k = {figure(row.k)}" if row.k == row.k else ""
        rows.append(
            (
                str(row.medium), str(row.element), f"{row.method}{options}", str(row.transform),
                concentration(row.element, row.value),
                f"{concentration(row.element, row.low)} to {concentration(row.element, row.high)}"
                if row.low == row.low or row.high == row.high else "none",
                f"{row.n_beyond} of {row.n}",
            )
        )  # fmt: skip
    if rows:
        blocks.append(
            Table(
                ("medium", "element", "method", "scale", "threshold", "90 % interval", "beyond"),
                rows[:60],
                "Thresholds of the whole medium for the leading elements; all, and those by domain, "
                "are in thresholds.csv. A value below detection never counts as beyond.",
                (0.14, 0.09, 0.21, 0.08, 0.12, 0.22, 0.14),
            )
        )
    left_out = [f"{e}: {reason}" for e, reason in sorted(bundle.evidence.excluded.items())]
    if left_out:
        blocks += [Paragraph("Elements that do not count, and why:"), Bullets(left_out[:25])]
    for element in leading_elements(bundle)[:4]:
        blocks += picture(figures, f"probability_{element}", f"Probability plot of {element}.")
        blocks += picture(
            figures, f"thresholds_{element}", f"Threshold of {element} by every method."
        )
    return blocks + picture(figures, "boxplots", "Values by unit, log scale.")


def _quality_detail(bundle: Bundle, figures: Path) -> list[Block]:
    quality = bundle.quality
    blocks: list[Block] = [Heading("Appendix: quality control")]
    first = leading_elements(bundle)[:8]
    duplicates = [
        (
            str(d.assay), str(d.role).replace("_", " "), str(d.element), str(d.n_used),
            str(d.n_near_limit), figure(d.cv_pct, 2), figure(d.acceptable_cv_pct, 2),
            str(d.verdict),
        )
        for d in rows_of(quality.duplicates)
        if d.n_used and d.n_used > 0 and (d.element in first or d.verdict in ("warn", "fail"))
    ]  # fmt: skip
    if duplicates:
        blocks.append(
            Table(
                ("assay", "duplicates", "element", "pairs", "near limit", "CV [%]", "wanted", ""),
                duplicates[:24],
                "Precision from duplicate pairs (root mean square coefficient of variation, "
                "Stanley and Lawie 2007) of the leading elements and of those that warn or fail; "
                "pairs under ten times the detection limit are left out.",
                (0.12, 0.2, 0.11, 0.1, 0.13, 0.11, 0.11, 0.12),
            )
        )
    lines = sorted(quality.calibrations, key=lambda c: (c.element not in first, c.verdict))[:24]
    if lines:
        rows = [
            (
                c.element, c.group or "all", str(c.n),
                f"{figure(c.slope)} +/- {figure(c.slope_se, 2)}",
                f"{concentration(c.element, c.low)} to {concentration(c.element, c.high)}",
                figure(c.rmse_pct, 2), c.verdict,
            )
            for c in lines
        ]  # fmt: skip
        blocks.append(
            Table(
                ("element", "readings", "pairs", "slope", "valid range", "error [%]", ""), rows,
                "Portable XRF against laboratory, errors on both sides (York and others 2004).",
                (0.1, 0.15, 0.09, 0.19, 0.25, 0.1, 0.12),
            )
        )  # fmt: skip
        blocks.append(
            Bullets([
                f"{c.element}{f' ({c.group})' if c.group else ''}, {c.verdict}: {c.reason}"
                for c in lines
                if c.verdict != "pass"
            ])
        )  # fmt: skip
    blocks += picture(figures, "xrf_laboratory", "Portable XRF against laboratory.")
    return blocks + quality_blocks(bundle, figures)


def _methods(bundle: Bundle) -> list[Block]:
    info = bundle.info
    rows = [
        ("coordinates", f"{info.crs} ({info.crs_name}), metres"),
        ("seed", str(info.seed)),
        ("version", f"geochem {info.version}"),
        ("prepared by", info.prepared_by or "-"),
        (
            "competent / qualified person",
            info.qualified_person or "none named: not for public release",
        ),
    ]
    blocks: list[Block] = [Heading("Appendix: methods"), Table(("", ""), rows, widths=(0.3, 0.7))]
    return [*blocks, *reporting_table(bundle)]


def _findings(bundle: Bundle) -> list[Block]:
    blocks: list[Block] = [Heading("Appendix: findings")]
    worst = [f for f in bundle.findings if f.severity != "note"]
    blocks.append(Heading("Findings", 2))
    if not worst:
        return [*blocks, Paragraph("No warnings.")]
    by_code: dict[str, list[Any]] = {}
    for found in worst:
        by_code.setdefault(found.code, []).append(found)
    kinds = []
    for same in by_code.values():
        more = f" ({len(same) - 1} more of this kind)" if len(same) > 1 else ""
        kinds.append((same[0].severity, _where(same[0]), same[0].message + more))
    blocks.append(
        Table(
            ("", "where", "what"),
            kinds[:30],
            f"{len(worst)} warnings and errors, the first of each kind; all, with notes, in "
            "findings.csv.",
            (0.1, 0.2, 0.7),
        )
    )
    return blocks


def _where(finding: Any) -> str:
    parts = [finding.file, f"row {finding.row}" if finding.row else None, finding.column]
    return ", ".join(str(p) for p in parts if p)
