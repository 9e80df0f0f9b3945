"""Small hand-made field logs and results, given as factories."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from geochem.model.reading import AssayRead, Dialect
from geochem.model.tables import ANALYTES, FIELD_LOG, RESULTS, conform


def _log(ids, *, x=None, y=None, **columns) -> pd.DataFrame:
    n = len(ids)
    frame = pd.DataFrame({"sample_id": list(ids)})
    frame["x"] = 500_000.0 + 100.0 * np.arange(n) if x is None else x
    frame["y"] = 8_000_000.0 if y is None else y
    frame["medium"] = "soil"
    frame["file"] = "log.csv"
    frame["row"] = np.arange(2, n + 2)
    for name, values in columns.items():
        frame[name] = values
    return conform(frame, FIELD_LOG, extra=True)


def _results(rows, *, assay="xrf", source="pxrf", **columns) -> pd.DataFrame:
    out = []
    for i, (sample_id, element, value, *err) in enumerate(rows):
        text = str(value)
        out.append(
            {
                "sample_id": sample_id, "assay": assay, "source": source, "element": element,
                "value": float(text.lstrip("<>")), "below": text.startswith("<"),
                "above": text.startswith(">"), "err": err[0] if err else np.nan,
                "reading": f"{i:05}", "file": f"{assay}.csv", "row": i + 2, "unit_given": "ppm",
            }
        )  # fmt: skip
    frame = pd.DataFrame(out)
    for name, values in columns.items():
        frame[name] = values
    return conform(frame, RESULTS)


def _assay(results, *, roles=()) -> AssayRead:
    columns = ["sample_id", "role", "parent", "standard"]
    said = pd.DataFrame(list(roles), columns=columns, dtype=object)
    pairs = results[["assay", "source", "element"]].drop_duplicates()
    return AssayRead(
        results=results, roles=said, analytes=conform(pairs, ANALYTES),
        dialect=Dialect("utf-8", ",", "."), columns=(),
    )  # fmt: skip


@pytest.fixture
def make_log():
    """Give a factory of field logs: ids and columns."""
    return _log


@pytest.fixture
def make_results():
    """Give a factory of results: rows are (sample_id, element, value or "<limit"[, err])."""
    return _results


@pytest.fixture
def make_assay():
    """Give a factory of `AssayRead`."""
    return _assay


@pytest.fixture
def no_roles():
    """Give an empty table of roles."""
    return pd.DataFrame(
        columns=["sample_id", "role", "parent", "standard", "prep_batch", "prep_order"],
        dtype=object,
    )
