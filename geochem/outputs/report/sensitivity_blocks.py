"""How ranks hang on single weights, as a small table of the report."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from geochem.outputs.report.blocks import Block, Paragraph, Table
from geochem.outputs.wording import count, figure

if TYPE_CHECKING:
    from geochem.model.bundle import Bundle

_CHANGES = ("halved", "doubled", "left out")
#: moves named in one cell
_MOST = 3


def sensitivity_blocks(bundle: Bundle) -> list[Block]:
    """Tell which ranks change with one weight.

    Parameters
    ----------
    bundle : Bundle
        Records.

    Returns
    -------
    list of Block
        Empty when nothing was tried.
    """
    table = bundle.targets.sensitivity
    if table is None or not len(table):
        return []
    moved = table[table["rank"] != table["rank_then"]]
    firm = [t for t in table["target"].unique() if t not in set(moved["target"])]
    tried = table["criterion"].nunique()
    text = (
        f"Each of {count(tried, 'weight')} was halved, doubled and left out. "
        + (f"The rank stays the same throughout for {', '.join(firm)}." if firm else "")
    ).strip()
    if not len(moved):
        return [Paragraph(f"Each of {count(tried, 'weight')} was halved, doubled and left out: "
                          "no rank changes.")]  # fmt: skip
    rows = []
    for criterion, own in moved.groupby("criterion", sort=False):
        cells = [_moves(own[own["change"] == change]) for change in _CHANGES]
        rows.append((str(criterion).replace("_", " "), figure(own["weight"].iloc[0], 2), *cells))
    return [
        Paragraph(text),
        Table(
            ("weight of", "", *_CHANGES), rows,
            "How ranks change with one weight (now to then); weights that change none are not "
            "listed.",
            (0.15, 0.07, 0.26, 0.26, 0.26),
        ),
    ]  # fmt: skip


def _moves(own: Any) -> str:
    if not len(own):
        return "no change"
    size = (own["rank"] - own["rank_then"]).abs()
    ordered = own.assign(size=size).sort_values(["size", "rank"], ascending=[False, True])
    named = [f"{t.target} {t.rank} to {t.rank_then}" for t in ordered.head(_MOST).itertuples()]
    rest = len(own) - len(named)
    return ", ".join(named) + (f" and {rest} more" if rest > 0 else "")
