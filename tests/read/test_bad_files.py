"""The corpus of small bad files: what is read, and what is said."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from geochem.errors import DataRefused
from geochem.read.field_log import read_field_log
from geochem.read.inspection import inspect_table

_spec = importlib.util.spec_from_file_location(
    "bad_files", Path(__file__).with_name("bad_files.py")
)
corpus = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(corpus)
CASES, PLACES, REFUSED = corpus.CASES, corpus.PLACES, corpus.REFUSED


@pytest.mark.parametrize("name", CASES)
def test_bad_file(name, read, values, codes):
    content, expected, said = CASES[name]
    got = read(content)
    if expected is not None:
        found = {}
        for key, (value, below, above) in values(got).items():
            mark = "<" if below else ">" if above else ""
            found[key] = (mark, value)
        wanted = {
            k: (v[0], float(v[1:])) if isinstance(v, str) else ("", float(v))
            for k, v in expected.items()
        }
        assert set(found) == set(wanted)
        for key, (mark, value) in wanted.items():
            assert found[key][0] == mark, key
            assert found[key][1] == pytest.approx(value, rel=1e-5), key
    assert said <= set(codes(got))
    if name != "no id":
        assert not codes(got, "error")


@pytest.mark.parametrize("name", PLACES)
def test_bad_places(name, write, codes):
    content, expected, said = PLACES[name]
    got = read_field_log(write(content))
    here = {
        s: (x, y, c)
        for s, x, y, c in got.frame[["sample_id", "x", "y", "crs"]].itertuples(index=False)
        if np.isfinite(x) and np.isfinite(y)
    }
    assert set(here) == set(expected)
    for sample, (x, y, crs) in expected.items():
        assert here[sample][:2] == pytest.approx((x, y), abs=1e-6)
        assert here[sample][2] == crs
    assert said <= set(codes(got))
    assert not codes(got, "error")


@pytest.mark.parametrize("name", REFUSED)
def test_refused(name, read):
    content, sentence = REFUSED[name]
    with pytest.raises(DataRefused, match=sentence) as caught:
        read(content, name=name)
    assert name in str(caught.value)


def test_the_corpus_is_large_and_inspects_without_a_traceback(tmp_path):
    files = corpus.write_all(tmp_path)
    assert len(files) >= 180
    for path in files:
        seen = inspect_table(path)
        assert seen.as_json()["file"] == path.name
        assert seen.as_text()


@pytest.mark.parametrize(
    "path",
    [
        "https://host.example/a.csv",
        "/vsizip/a.zip/a.csv",
        "/vsicurl/x",
        "s3://bucket/a.csv",
        "gone.csv",
    ],
)
def test_not_a_local_file(path):
    from geochem.read.open_table import open_table

    with pytest.raises(DataRefused):
        open_table(path)


@pytest.mark.parametrize(
    "content",
    [
        "id,notes,Cu_ppm\n" + "".join(f'A{i},"wet,{i + 1}\n' for i in range(20000)),
        "id,coordinates\n" + "".join(f"A{i},1{' ' * 20000}2{' ' * 20000}x\n" for i in range(5)),
        "id,lat,lon\n" + "".join(f"A{i},12{' ' * 20000}3{' ' * 20000}x,1\n" for i in range(5)),
        "id\tnotes\tCu_ppm\n" + ("A1" + "\t" * 3000 + 'x"\n') * 300,
    ],
    ids=["forgotten quotes", "white space between", "white space in degrees", "separators only"],
)
def test_no_file_takes_long(content, write):
    import time

    path = write(content)
    start = time.process_time()
    inspect_table(path)
    assert time.process_time() - start < 5


def test_rows_are_those_of_a_spreadsheet(read):
    got = read('Report\n\nid,notes,Cu_ppm\nA1,"a\nb",1\n\nA2,c,2\n')
    assert got.results["row"].tolist() == [4, 6]


def test_raw_text_is_kept(read):
    got = read("id,Cu_ppm\nA1,012.50\nA2,< 5\n")
    assert got.results["raw"].tolist() == ["012.50", "< 5"]


def test_every_cell_that_is_no_reading_is_named_with_its_row(read):
    got = read("id,Cu_ppm\nA1,1\nA2,nan\nA3,2\nA4,0x1F\nA5,4\n")
    named = [(f.row, f.sample_id) for f in got.findings if f.code == "value-not-read"]
    assert named == [(3, "A2"), (5, "A4")]


def test_duplicate_elements_keep_their_method(read):
    got = read("id,Cu_ME4A_ppm,Cu_AR2_ppm\nA1,12,10\n")
    assert dict(zip(got.results["method"], got.results["value"], strict=True)) == {
        "ME4A": 12.0,
        "AR2": 10.0,
    }
    assert got.analytes["method"].tolist() == ["AR2", "ME4A"] or set(got.analytes["method"]) == {
        "ME4A",
        "AR2",
    }


def test_overrides(read, values):
    got = read(
        "id,copper oxide thing,U\nA1,1.5,3\n",
        analytes={"copper oxide thing": {"element": "CuO", "unit": "%"}, "U": {"is": "ignored"}},
    )
    assert values(got) == {
        ("A1", "Cu"): (pytest.approx(15000 * 63.546 / 79.545, rel=1e-4), False, False)
    }
