"""The planning note for the office: layout, chances, cost, mass, controls, dispatch."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from geochem.outputs import cautions
from geochem.outputs.sheets.document import (
    bullet,
    facts,
    heading,
    new_document,
    paragraph,
    table,
    title,
)
from geochem.outputs.wording import concentration, count, figure

if TYPE_CHECKING:
    import pandas as pd

    from geochem.outputs.sheets.content import PlanContent

_CHANCE_WORDS = (
    "Inside: a sampling point lies inside the body. Seen: enough of the points inside exceed the "
    "threshold when the halo fades toward its edge and scatter and measured error are counted. "
    "Both are about a body of the stated size and shape somewhere on this ground; neither says "
    "that there is one."
)


def write_note(content: PlanContent, path: Path, curve: Path | None = None) -> Path:
    """Write the planning note, A4.

    Parameters
    ----------
    content : PlanContent
        Records.
    path : Path
        File.
    curve : Path, optional
        Figure of chance against cost.

    Returns
    -------
    Path
        The file.
    """
    info = content.info
    pdf = new_document(info, "Planning note", cautions.SHORT)
    pdf.add_page()
    title(
        pdf,
        f"Planning note: {info.title}",
        (f"{info.clock:%Y-%m-%d}, {info.crs} ({info.crs_name}), geochem {info.version}",),
    )
    if content.layout_facts:
        heading(pdf, "Layout")
        facts(pdf, content.layout_facts)
    if content.trade_off is not None:
        _chances(pdf, content, content.trade_off, curve)
    if content.mass:
        heading(pdf, "Sample mass (Gy)")
        for line in content.mass:
            bullet(pdf, line)
    if content.key is not None:
        _controls(pdf, content.key)
    if content.day is not None and len(content.day):
        heading(pdf, "The day's points")
        facts(pdf, content.day_facts)
    if content.gaps is not None:
        heading(pdf, "Plan against field log", room=50)
        states = content.gaps["state"].value_counts()
        facts(
            pdf,
            [
                ("Planned", str(len(content.gaps))),
                ("Sampled", str(int(states.get("sampled", 0)))),
                ("Sampled, moved", f"{int(states.get('moved', 0))} (farther from the planned point "
                 "than half the spacing)"),
                ("Gaps", str(int(states.get("gap", 0)))),
            ],
        )  # fmt: skip
    if content.sheet is not None:
        heading(pdf, "Dispatch to the laboratory", room=60)
        facts(pdf, content.dispatch_facts)
        paragraph(
            pdf,
            "The laboratory gets submission.csv or .xlsx and nothing else. The folder office/ holds "
            "the crosswalk: who is a control. When results come, name office/dispatch_controls.csv as "
            "a further [[samples]] table, so that controls are known by their ids.",
        )
    if content.orientation is not None and len(content.orientation):
        _orientation(pdf, content.orientation)
    if content.findings:
        heading(pdf, "Noticed")
        for finding in content.findings:
            bullet(pdf, finding.message)
    heading(pdf, "Cautions", room=60)
    for item in (*cautions.RESULTS, *cautions.FIELD):
        bullet(pdf, item, size=8)
    pdf.output(str(path))
    return path


def _chances(pdf: Any, content: PlanContent, trade: pd.DataFrame, curve: Path | None) -> None:
    heading(pdf, "Chance and cost", room=120)
    if content.body_words:
        paragraph(pdf, content.body_words)
    costs = bool((trade["cost"] > 0).any())
    seen = bool(trade["seen"].notna().any())
    header = ["", "Lines x stations", "Points", "Days"]
    header += ["Cost"] if costs else []
    header += ["Inside"]
    header += ["Seen"] if seen else []
    rows = []
    for row in trade.to_dict("records"):
        cells = [
            "this plan" if row["chosen"] else "",
            f"{row['line_spacing']:.0f} x {row['station_spacing']:.0f} m",
            str(row["points"]), str(row["days"]),
        ]  # fmt: skip
        cells += [f"{row['cost']:,.0f}".replace(",", " ")] if costs else []
        cells += [_percent(row["hit"])]
        cells += [_percent(row["seen"])] if seen else []
        rows.append(cells)
    table(pdf, header, rows, [1.3, 2.2] + [1.2] * (len(header) - 2))
    if curve is not None:
        pdf.image(str(curve), w=pdf.epw * 0.86, alt_text="Chance of meeting the body against cost")
        pdf.ln(2)
    paragraph(pdf, _CHANCE_WORDS)


def _percent(share: float) -> str:
    if share >= 0.9995:
        return "100 %" if share >= 1 - 1e-12 else "> 99.9 %"
    return f"{100 * share:.1f} %"


def _controls(pdf: Any, key: pd.DataFrame) -> None:
    heading(pdf, "Ids and controls", room=60)
    counts = key["role"].value_counts()
    routine = int(counts.get("routine", 0))
    rows = [("routine", str(routine), "")]
    for role, n in sorted(counts.items()):
        if role != "routine":
            rows.append(
                (str(role).replace("_", " "), str(int(n)), f"{100 * n / routine:.1f} % of samples")
            )
    table(pdf, ("Role", "Ids", ""), rows, (0.4, 0.2, 0.4))
    paragraph(
        pdf,
        f"{count(len(key), 'id')} of one series, {key['sample_id'].iloc[0]} to "
        f"{key['sample_id'].iloc[-1]}. ids.csv goes to the crew, analysis_order.csv to the analyst; "
        "office/ids_key.csv says which are controls and stays in the office; when they have been "
        "analysed, name office/issued_controls.csv as a further [[samples]] table.",
    )


def _orientation(pdf: Any, frame: pd.DataFrame) -> None:
    heading(pdf, "Orientation survey: what shows the target best", room=60)
    rows = []
    for row in frame.loc[frame["rank"] <= 3].to_dict("records"):
        fraction = row["fraction_um"]
        rows.append(
            (
                row["element"], row["assay"], row["horizon"] or "-",
                f"< {fraction:.0f} µm" if fraction == fraction else "-",
                f"{row['n_over']} / {row['n_background']}",
                concentration(row["element"], row["median_over"]),
                concentration(row["element"], row["median_background"]),
                figure(row["contrast"]), f"{100 * row['above_background']:.0f} %",
            )
        )  # fmt: skip
    table(
        pdf,
        ("El.", "Assay", "Horizon", "Fraction", "n", "Over", "Background", "Contrast", "Higher"),
        rows, (0.6, 1.1, 0.9, 1.1, 0.9, 1.1, 1.2, 1.0, 0.9), size=7.5,
    )  # fmt: skip
    paragraph(
        pdf,
        "Best three per element. Contrast: median over mineralisation by median of background. "
        "Higher: chance that a sample over mineralisation reads higher than one from background; "
        "50 % is no use. All ways of sampling are in orientation.csv.",
    )
