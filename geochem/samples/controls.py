"""Control samples: their results with what they are, apart from the routine samples."""

from __future__ import annotations

from typing import TYPE_CHECKING

from geochem.model.finding import Finding, name_some
from geochem.model.tables import CONTROLS, conform

if TYPE_CHECKING:
    import pandas as pd


def take_controls(
    results: pd.DataFrame, roles: pd.DataFrame
) -> tuple[pd.DataFrame, tuple[Finding, ...]]:
    """Collect the results of everything that has a role other than routine.

    A field duplicate stands for its parent's place and is no sample of its own. A standard whose
    name is not given is known by its id.

    Parameters
    ----------
    results : pandas.DataFrame
        Contract `tables.RESULTS`, ids as the field log writes them.
    roles : pandas.DataFrame
        One row per control: ``sample_id, role, parent, standard, prep_batch, prep_order``.

    Returns
    -------
    controls : pandas.DataFrame
        Contract `tables.CONTROLS`, sorted by id, assay, element and time of reading.
    findings : tuple of Finding
        ``controls-without-results``, ``no-controls``.
    """
    findings: list[Finding] = []
    kept = results.loc[results["sample_id"].isin(roles["sample_id"])]
    table = kept.merge(roles, on="sample_id", how="left", validate="many_to_one")
    nameless = (table["role"] == "standard") & table["standard"].isna()
    table["standard"] = table["standard"].where(~nameless, table["sample_id"])
    table = table.sort_values(
        ["sample_id", "assay", "element", "date_read", "reading", "row"], kind="stable"
    )
    silent = roles.loc[~roles["sample_id"].isin(table["sample_id"])]
    if len(silent):
        ids = silent["sample_id"].tolist()
        findings.append(
            Finding(
                "controls-without-results", "note",
                f"{len(ids)} control samples have no result yet: {name_some(ids)}.",
                sample_id=ids[0],
            )
        )  # fmt: skip
    if len(results) and not len(table):
        findings.append(
            Finding(
                "no-controls", "warning",
                "no standard, blank or duplicate was found among the results, so the quality of "
                "the data cannot be checked; give their role in the field log (column role).",
                column="role",
            )
        )  # fmt: skip
    return conform(table, CONTROLS), tuple(findings)
