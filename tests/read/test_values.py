"""The value parser: one meaning per cell, the same from bytes and from text."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geochem.read.text_table import TextColumn
from geochem.read.values import Kind, parse_column


def from_bytes(cells):
    data = "\n".join(cells).encode() + b"\n"
    lengths = np.array([len(c.encode()) for c in cells])
    ends = np.cumsum(lengths + 1) - 1
    return TextColumn(data=np.frombuffer(data, np.uint8), starts=ends - lengths, ends=ends)


@pytest.mark.parametrize(
    ("cell", "kind", "number"),
    [
        ("12", Kind.READING, 12.0),
        ("1.5E-3", Kind.READING, 0.0015),
        (".5", Kind.READING, 0.5),
        ("１２．５", Kind.READING, 12.5),
        ("−3", Kind.READING, -3.0),
        ("<0.1", Kind.BELOW, 0.1),
        ("< 0.1", Kind.BELOW, 0.1),
        ("<=5", Kind.BELOW, 5.0),
        ("0.1<", Kind.BELOW, 0.1),
        ("> 10000", Kind.ABOVE, 10000.0),
        ("<LOD", Kind.BARE_BELOW, None),
        ("< LOD", Kind.BARE_BELOW, None),
        ("ND", Kind.BARE_BELOW, None),
        ("BDL", Kind.BARE_BELOW, None),
        ("b.d.", Kind.BARE_BELOW, None),
        ("n.d.", Kind.BARE_BELOW, None),
        ("N.S.", Kind.NO_SAMPLE, None),
        ("insufficient sample", Kind.NO_SAMPLE, None),
        ("n.a.", Kind.NOT_ANALYSED, None),
        ("NA", Kind.NOT_ANALYSED, None),
        ("", Kind.EMPTY, None),
        ("#DIV/0!", Kind.ERROR_CELL, None),
        ("nan", Kind.NOT_READ, None),
        ("NaN", Kind.NOT_READ, None),
        ("inf", Kind.NOT_READ, None),
        ("-Infinity", Kind.NOT_READ, None),
        ("1e999", Kind.NOT_READ, None),
        ("0x1F", Kind.NOT_READ, None),
        ("1_000", Kind.NOT_READ, None),
        ("1.2.3", Kind.NOT_READ, None),
        ("1..2", Kind.NOT_READ, None),
        ("--5", Kind.NOT_READ, None),
        ("5 6", Kind.NOT_READ, None),
        ("10²", Kind.NOT_READ, None),
        ("٣", Kind.NOT_READ, None),
        ("12a", Kind.NOT_READ, None),
        ("<<5", Kind.NOT_READ, None),
        ("1d5", Kind.NOT_READ, None),
    ],
)
def test_cell(cell, kind, number):
    for column in (TextColumn([cell, "7"]), from_bytes([cell, "7"])):
        got = parse_column(column)
        assert Kind(got.kind[0]) is kind
        if number is None:
            assert np.isnan(got.number[0])
        else:
            assert got.number[0] == number


cells = st.one_of(
    st.floats(0, 1e9, allow_nan=False).map(repr),
    st.decimals(0, 10**6, places=3).map(str),
    st.integers(0, 10**18).map(str),
    st.sampled_from(
        ["", "<5", "<0.01", "ND", ">100", "1.2.3", "nan", "5<", "N.S.", "<", ".", "1."]
    ),
    st.text("0123456789.<>eE+-", max_size=8),
)


@settings(max_examples=150, deadline=None)
@given(st.lists(cells, min_size=1, max_size=20))
def test_bytes_and_text_agree(given_cells):
    a, b = parse_column(TextColumn(given_cells)), parse_column(from_bytes(given_cells))
    assert a.kind.tolist() == b.kind.tolist()
    np.testing.assert_array_equal(a.number, b.number)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.floats(1e-6, 1e12), min_size=1, max_size=20))
def test_numbers_are_those_that_were_written(numbers):
    # reference: repr of a float reads back to the same float (Python language reference)
    got = parse_column(from_bytes([repr(v) for v in numbers]))
    assert got.number.tolist() == numbers


@settings(max_examples=100, deadline=None)
@given(st.decimals(0, 10**9, places=4))
def test_digits_round_correctly(number):
    text = str(number)
    assert parse_column(from_bytes([text])).number[0] == float(text)
