"""A finding: anything the user should know about the data."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import pandas as pd

Severity = Literal["note", "warning", "error"]
SEVERITIES: tuple[Severity, ...] = ("error", "warning", "note")

#: columns of `findings.csv` and of the `findings` table
FINDING_COLUMNS = [
    "code", "severity", "file", "row", "column", "message", "sample_id", "element", "batch",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing the user should know.

    Parameters
    ----------
    code : str
        Stable, in words with hyphens, for example ``"id-doubled"``.
    severity : {"note", "warning", "error"}
        ``error`` only when the run cannot use the table at all.
    message : str
        A sentence: what came, what was done with it, what to do. Names the first five sample ids.
    file : str, optional
        Name of the file, as the campaign file gives it.
    row : int, optional
        Row as a spreadsheet shows it (header of a plain file = 1).
    column : str, optional
        Header as delivered.
    sample_id, element, batch : str, optional
        What it is about.
    """

    code: str
    severity: Severity
    message: str
    file: str | None = None
    row: int | None = None
    column: str | None = None
    sample_id: str | None = None
    element: str | None = None
    batch: str | None = None

    def as_json(self) -> dict[str, object]:
        """Give the fields of the `--json` contract.

        Returns
        -------
        dict
            ``code, severity, file, row, column, message``.
        """
        return {
            "code": self.code,
            "severity": self.severity,
            "file": self.file,
            "row": self.row,
            "column": self.column,
            "message": self.message,
        }


def findings_frame(findings: Iterable[Finding]) -> pd.DataFrame:
    """Put findings into a table, worst first, otherwise in the order they came.

    Parameters
    ----------
    findings : iterable of Finding
        Any number, none included.

    Returns
    -------
    pandas.DataFrame
        Columns `FINDING_COLUMNS`.
    """
    import pandas as pd

    rows = [asdict(f) for f in sorted(findings, key=lambda f: SEVERITIES.index(f.severity))]
    frame = pd.DataFrame(rows, columns=FINDING_COLUMNS)
    frame["row"] = frame["row"].astype("Int64")
    return frame


def name_some(ids: Sequence[object], n: int = 5) -> str:
    """Name the first few of many ids for a message.

    Parameters
    ----------
    ids : sequence
        Sample ids or the like.
    n : int, default 5
        How many to name.

    Returns
    -------
    str
        ``"A1, A2, A3, A4, A5 and 7 more"``.

    Examples
    --------
    >>> name_some(["A1", "A2", "A3"], 2)
    'A1, A2 and 1 more'
    """
    named = ", ".join(str(i) for i in ids[:n])
    return named if len(ids) <= n else f"{named} and {len(ids) - n} more"
