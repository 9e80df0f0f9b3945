"""The block reader gives the numbers, marks and texts of the other way, bit for bit."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geochem.read import block_numbers
from geochem.read.delimited import read_delimited
from geochem.read.values import parse_column

ODD = [
    "1e5", "", ">7", "12345678901234567", ".5", "5.", "<.5", "-3", "nan", "inf", "ND", "<-5", "5<",
    "<<5", " 7", "-", "1e400", "0x1F", "+5", "< 5", "-0", "<0", "<nan", "1d5", "Infinity",
    "4.9e-324", '"8"', "1_0", "-", "1;2",
]  # fmt: skip
PLAIN = st.from_regex(r"<?[0-9]{1,4}(\.[0-9]{1,3})?", fullmatch=True)
pytest.importorskip("pyarrow")


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    return tmp_path_factory.mktemp("blocks") / "table.csv"


@settings(max_examples=60, deadline=None)
@given(
    rows=st.lists(st.lists(PLAIN, min_size=3, max_size=3), min_size=4, max_size=30),
    odd=st.lists(
        st.tuples(st.integers(0, 29), st.integers(0, 2), st.sampled_from(ODD)), max_size=3
    ),
    block=st.integers(40, 2000),
)
def test_same_as_the_other_way(place, rows, odd, block):
    for row, column, text in odd:
        rows[row % len(rows)][column] = text
    body = "".join(f"S-{i},{','.join(r)}\n" for i, r in enumerate(rows))
    place.write_text("id,Cu_ppm,Zn_ppm,Pb_ppm\n" + body)
    got = {}
    for least in (0, 1 << 60):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(block_numbers, "LEAST", least)
            patch.setattr(block_numbers, "BLOCK", block)
            table = read_delimited(place)
        parsed = [parse_column(c) for c in table.columns]
        got[least] = (
            [p.kind.tolist() for p in parsed],
            [np.where(np.isnan(p.number), 0, p.number).tobytes() for p in parsed],
            [c.texts().tolist() for c in table.columns],
            table.rows.tolist(),
        )
    assert got[0] == got[1 << 60]


def test_plain_columns_are_taken_and_others_left(monkeypatch):
    monkeypatch.setattr(block_numbers, "LEAST", 0)
    body = b"A-1,12,<5,-3,ND\nA-2,,.5,4,7\n"
    got = block_numbers.read_blocks(body, 0, len(body), ",", 5)
    assert sorted(got.columns) == [1, 2]
    number, mark = got.columns[2]
    assert number.tolist() == [5, 0.5]
    assert mark.tolist() == [2, 1]
    assert got.columns[1][1].tolist() == [1, 0]


@pytest.mark.parametrize("body", [b"1,2\n\n3,4\n", b"1,2\n,\n3,4\n", b"1,2\n3\n", b"1,2\n3,4,5\n"])
def test_irregular_bodies_are_refused(monkeypatch, body):
    monkeypatch.setattr(block_numbers, "LEAST", 0)
    assert block_numbers.read_blocks(body, 0, len(body), ",", 2) is None


def test_without_arrow_nothing_changes(monkeypatch, place):
    monkeypatch.setattr(block_numbers, "LEAST", 0)
    monkeypatch.setattr(block_numbers, "available", lambda _: False)
    place.write_text("id,Cu_ppm\nA1,12\nA2,<5\n")
    assert parse_column(read_delimited(place).columns[1]).kind.tolist() == [1, 2]
