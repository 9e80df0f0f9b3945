"""Fixtures: a table from text, read as results of a laboratory unless said otherwise."""

from __future__ import annotations

import pytest

from geochem.read.assays import read_assays


@pytest.fixture
def write(tmp_path):
    """Write bytes or text into a file and give its path."""

    def _write(content, name="table.csv", encoding="utf-8"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode(encoding))
        return path

    return _write


@pytest.fixture
def read(write):
    """Read text as results."""

    def _read(content, name="table.csv", encoding="utf-8", source="laboratory", **options):
        path = write(content, name, encoding)
        return read_assays([path], assay="a", source=source, **options)

    return _read


@pytest.fixture
def values():
    """Results as ``{(sample_id, element): (value, below, above)}``."""

    def _values(got):
        r = got.results
        return {
            (s, e): (v, bool(b), bool(a))
            for s, e, v, b, a in zip(
                r["sample_id"], r["element"], r["value"], r["below"], r["above"], strict=True
            )
        }

    return _values


@pytest.fixture
def codes():
    """Codes of findings."""

    def _codes(got, severity=None):
        return [f.code for f in got.findings if severity in (None, f.severity)]

    return _codes
