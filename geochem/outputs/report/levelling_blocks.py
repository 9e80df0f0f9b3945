"""What levelling did, in the report."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from geochem.outputs.report.blocks import Block, Heading, Paragraph, Table, picture
from geochem.outputs.wording import figure

if TYPE_CHECKING:
    from geochem.model.bundle import Bundle

#: rows of the table at most
_MOST = 20


def levelling_blocks(bundle: Bundle, figures: Path) -> list[Block]:
    """Give the elements that were levelled, with numbers before and after.

    Parameters
    ----------
    bundle : Bundle
        Records of a run.
    figures : Path
        Folder with the figures that were drawn before.

    Returns
    -------
    list of Block
        Nothing when nothing was levelled.
    """
    levelling = bundle.levelling
    if levelling is None or not levelling.done:
        return []
    table = levelling.elements[levelling.elements["levelled"].to_numpy(dtype=bool)]
    table = table.sort_values("between_pct", ascending=False, kind="stable")
    rows = []
    for column, element, groups, between, before, after, removed in zip(
        table["column"], table["element"], table["groups"], table["between_pct"],
        table["variance_before"], table["variance_after"], table["removed_pct"], strict=True,
    ):  # fmt: skip
        rows.append(
            (
                str(column), str(element), str(groups), figure(float(between), 2),
                figure(float(before), 3), figure(float(after), 3), f"{float(removed):.1f}",
            )
        )  # fmt: skip
    more = f" {len(rows) - _MOST} more were levelled." if len(rows) > _MOST else ""
    return [
        Heading("Levelling", 2),
        Paragraph(
            f"Accepted values were levelled by {' and '.join(levelling.by)} on "
            f"{' and '.join(levelling.evidence)} that groups have in common: {levelling.method}. "
            "Limits were moved with the values; errors hold that of the factor."
        ),
        Table(
            ("by", "element", "groups", "between groups [%]", "variance before", "after",
             "removed [%]"),
            rows[:_MOST],
            "Standard deviation between groups, and variance of log10 of detected values before "
            f"and after. A negative share removed means that groups differ more truly than read.{more}",
        ),
        *picture(figures, "levelling", "Levelling: medians of groups before and after."),
    ]  # fmt: skip
