"""Ids that stand more than once in the field log: copies, halves of one record, conflicts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from geochem.model.finding import Finding, name_some

if TYPE_CHECKING:
    import pandas as pd

#: columns that say where a row came from, not what it says
_ORIGIN = ("file", "row")
#: what makes two records two different samples or places
_IDENTITY = ("x", "y", "crs", "medium", "depth_from", "depth_to", "horizon")


def judge_doubled(field_log: pd.DataFrame) -> tuple[pd.DataFrame, tuple[Finding, ...]]:
    """Leave one row per id and say what became of the others.

    An exact copy is left out. Rows that complete each other (one has the position, another the
    preparation) become one. Rows that contradict each other: the row with most cells filled in
    is kept (a tie is broken by the order of their contents, never by the order of the file); when
    they disagree about the place, the sample keeps its values and loses its position, because
    nobody can tell which place the material came from. Controls may repeat an id (a standard is
    read many times): then nothing is said.

    Parameters
    ----------
    field_log : pandas.DataFrame
        Contract `tables.FIELD_LOG`, further columns allowed; not changed.

    Returns
    -------
    frame : pandas.DataFrame
        One row per id, sorted by id, RangeIndex; rows without an id are left out and reported.
    findings : tuple of Finding
        ``id-missing``, ``id-doubled-copy``, ``id-doubled-completed``, ``id-doubled-conflict``.
    """
    import pandas as pd

    findings: list[Finding] = []
    named = field_log["sample_id"].notna()
    for _, row in field_log.loc[~named].head(20).iterrows():
        findings.append(
            Finding(
                "id-missing", "warning",
                f"row {_row(row)} of {_file(row)} has no sample id and cannot be used.",
                file=row["file"], row=_row(row),
            )
        )  # fmt: skip
    log = field_log.loc[named].reset_index(drop=True)
    doubled = log["sample_id"].duplicated(keep=False)
    if not doubled.any():
        return _sorted(log), tuple(findings)
    content = [c for c in log.columns if c not in _ORIGIN]
    several = log.loc[doubled]
    by = several["sample_id"]
    roles = several["role"].fillna("routine")
    control = (roles != "routine").groupby(by).transform("all")
    copy = several.duplicated(subset=content)
    unique = several.loc[~copy]
    # by what the rows say, fullest first: the order of the file decides nothing
    order = unique.assign(
        _filled=-unique[content].notna().sum(axis=1),
        _text=unique[content].map(str).agg("|".join, axis=1),
    ).sort_values(["sample_id", "_filled", "_text"])
    grouped = order.drop(columns=["_filled", "_text"]).groupby("sample_id", sort=True)
    record = grouped.first().reset_index()[list(log.columns)]
    differ = grouped[[c for c in content if c != "sample_id"]].nunique() > 1
    clash = differ.any(axis=1)
    quiet = set(by[control])
    lost = differ[["x", "y", "crs"]].any(axis=1).to_numpy(copy=True)
    lost &= ~record["sample_id"].isin(quiet).to_numpy()
    record.loc[lost, ["x", "y"]] = float("nan")
    found = {str(i): g for i, g in several.loc[by.isin(clash.index[clash])].groupby("sample_id")}
    for sample_id, group in found.items():
        if sample_id not in quiet:
            columns = list(differ.columns[differ.loc[sample_id].to_numpy()])
            columns.sort(key=lambda c: c not in _IDENTITY)  # the weighty ones first
            findings.append(_conflict(sample_id, group, columns))
    copied = several.loc[copy & ~control].sort_values(["sample_id", "file", "row"])
    if len(copied):
        ids = list(dict.fromkeys(copied["sample_id"]))
        first = copied.iloc[0]
        findings.append(
            Finding(
                "id-doubled-copy", "note",
                f"{len(ids)} ids stand more than once in the field log with the same content and "
                f"are used once: {name_some(ids)}; a copy is row {_row(first)} of {_file(first)}.",
                file=first["file"], row=_row(first), sample_id=ids[0],
            )
        )  # fmt: skip
    size = grouped.size()
    completed = [str(i) for i in size.index[(size > 1) & ~clash] if i not in quiet]
    if completed:
        findings.append(
            Finding(
                "id-doubled-completed", "note",
                f"{len(completed)} ids stand in several rows that complete each other and were "
                f"made one record: {name_some(completed)}.",
                sample_id=completed[0],
            )
        )  # fmt: skip
    out = pd.concat([log.loc[~doubled], record.astype(log.dtypes.to_dict())], ignore_index=True)
    return _sorted(out), tuple(findings)


def _conflict(sample_id: str, group: pd.DataFrame, clash: list[str]) -> Finding:
    rows = group.sort_values(["file", "row"])
    places = ", ".join(f"row {_row(r)} of {_file(r)}" for _, r in rows.head(5).iterrows())
    if set(clash) & {"x", "y", "crs"}:
        outcome = "its position is not used until this is settled"
    elif set(clash) & set(_IDENTITY):
        outcome = "one row is used; if these are two samples, give the second an id of its own"
    else:
        outcome = "the fuller row is used"
    last = rows.iloc[-1]
    return Finding(
        "id-doubled-conflict", "warning",
        f"sample {sample_id} stands {len(group)} times in the field log ({places}) and the rows "
        f"disagree about {', '.join(clash)}; {outcome}.",
        file=last["file"], row=_row(last), column=clash[0], sample_id=sample_id,
    )  # fmt: skip


def _sorted(log: pd.DataFrame) -> pd.DataFrame:
    return log.sort_values("sample_id", kind="stable").reset_index(drop=True)


def _row(row: pd.Series) -> int | None:
    import pandas as pd

    return None if pd.isna(row["row"]) else int(row["row"])


def _file(row: pd.Series) -> str:
    return str(row["file"]) if row["file"] is not None else "the field log"
