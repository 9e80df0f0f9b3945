"""A known table written in a random dialect reads back equal."""

from __future__ import annotations

import csv
import io
import tempfile
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from geochem.read.assays import read_assays
from geochem.read.field_log import read_field_log

numbers = st.decimals("0.01", "99999", places=2)
rows = st.lists(
    st.tuples(numbers, st.booleans(), numbers, st.sampled_from(["dry", "ND", "N.S.", "wet"])),
    min_size=2, max_size=12,
)  # fmt: skip
dialects = st.fixed_dictionaries(
    {
        "separator": st.sampled_from([",", ";", "\t", "|"]),
        "encoding": st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
        "end": st.sampled_from(["\n", "\r\n", "\r"]),
        "quote": st.booleans(),
        "comma": st.booleans(),
        "hint": st.booleans(),
        "preamble": st.integers(0, 3),
        "blank": st.booleans(),
    }
)


@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(rows, dialects)
def test_dialect(table, d):
    comma = d["comma"] and d["separator"] != ","

    def number(value):
        return str(value).replace(".", ",") if comma else str(value)

    out = io.StringIO()
    if d["hint"]:
        out.write(f"sep={d['separator']}" + d["end"])
    for i in range(d["preamble"]):
        out.write(f"Rapport préparé {i}" + d["end"])
    writer = csv.writer(
        out, delimiter=d["separator"], lineterminator=d["end"],
        quoting=csv.QUOTE_ALL if d["quote"] else csv.QUOTE_MINIMAL,
    )  # fmt: skip
    writer.writerow(["Sample ID", "Easting", "Northing", "Note", "Cu_ppm", "Zn_ppm"])
    expected = {}
    for i, (cu, below, zn, note) in enumerate(table):
        if d["blank"] and i == 1:
            out.write(d["end"])
        sample = f"Ä-{i:03d}"
        text = ("<" if below else "") + number(cu)
        writer.writerow(
            [sample, 500000 + i, 7000000 - i, f"{note}{d['separator']}x", text, number(zn)]
        )
        expected[sample, "Cu"] = (float(cu), below)
        expected[sample, "Zn"] = (float(zn), False)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "table.txt"
        path.write_bytes(out.getvalue().encode(d["encoding"]))
        got = read_assays([path], assay="a", source="laboratory")
        log = read_field_log(path)
    r = got.results
    found = {
        (s, e): (v, bool(b))
        for s, e, v, b in zip(r["sample_id"], r["element"], r["value"], r["below"], strict=True)
    }
    assert found == expected
    assert log.frame["x"].tolist() == [500000 + i for i in range(len(table))]
    assert log.frame["y"].tolist() == [7000000 - i for i in range(len(table))]
    assert log.frame["notes"].tolist() == [f"{n}{d['separator']}x" for *_, n in table]
