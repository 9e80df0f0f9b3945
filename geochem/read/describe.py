"""One line per column: how it was understood and what it holds."""

from __future__ import annotations

from geochem.model.reading import ColumnMeaning
from geochem.read.columns import Plan
from geochem.read.ids import text_or_none
from geochem.read.text_table import TextTable
from geochem.read.values import Kind, parse_column

_NUMBERS = frozenset(
    {"x", "y", "elevation", "accuracy_m", "depth_from", "depth_to", "seconds", "fraction_um",
     "prep_order", "sieve_um", "powder_ml", "die_mm", "die_fill", "binder_pct", "moisture_pct",
     "value", "error", "limit", "certified", "sd", "n"}
)  # fmt: skip


def describe_columns(
    table: TextTable, plan: Plan, *, decimal: str | None = None
) -> tuple[ColumnMeaning, ...]:
    """Describe every column of a table.

    Parameters
    ----------
    table : TextTable
        The table.
    plan : Plan
        What its columns are.
    decimal : {".", ","}, optional
        Decimal mark the user states.

    Returns
    -------
    tuple of ColumnMeaning
        In the order of the file.
    """
    contract_names = {i: c for c, i in plan.columns.items()}
    values = {a.index: a for a in plan.analytes}
    owner = {}
    for a in plan.analytes:
        for part in (a.error, a.limit, a.qualifier, a.below, a.above):
            if part is not None:
                owner[part] = a
    out = []
    for i, name in enumerate(table.names):
        column = table.columns[i]
        if i in values:
            a = values[i]
            parsed = a.parsed if a.parsed is not None else parse_column(column, decimal=decimal)
            readings = parsed.number[parsed.kind == Kind.READING]
            below = int(parsed.is_kind(Kind.BELOW, Kind.BARE_BELOW).sum())
            above = int(parsed.is_kind(Kind.ABOVE, Kind.BARE_ABOVE).sum())
            unread = int(parsed.is_kind(Kind.NOT_READ, Kind.DOUBTFUL).sum())
            doubt = []
            if a.assumed:
                doubt.append(f"unit not stated, {a.unit} assumed")
            if unread:
                doubt.append(f"{unread} cells not read")
            if len(readings) > 1 and float(readings.min()) == float(readings.max()):
                doubt.append("all readings equal")
            if below and not len(readings):
                doubt.append("no reading above detection")
            out.append(
                ColumnMeaning(
                    name, "value", a.element, a.unit, None if a.is_other else a.factor,
                    len(readings), below, above, len(column) - len(readings) - below - above,
                    float(readings.min()) if len(readings) else None,
                    float(readings.max()) if len(readings) else None,
                    "; ".join(doubt),
                )
            )  # fmt: skip
            continue
        read_as = (
            contract_names.get(i) or plan.attached.get(i) or plan.elsewhere.get(i) or "ignored"
        )
        a_of = owner.get(i)
        low = high = None
        if read_as in _NUMBERS:
            parsed = parse_column(column, decimal=decimal)
            readings = parsed.number[parsed.kind == Kind.READING]
            if len(readings):
                low, high = float(readings.min()), float(readings.max())
        texts = column.texts()
        filled = sum(1 for t in text_or_none(texts) if t is not None)
        out.append(
            ColumnMeaning(
                name, read_as, a_of.element if a_of is not None else None,
                a_of.unit if a_of is not None and read_as in ("error", "limit") else None, None,
                filled, 0, 0, len(column) - filled, low, high, "",
            )
        )  # fmt: skip
    return tuple(out)
