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


cells = st.one_of(
    st.decimals("0.01", "9999", places=2).map(lambda v: (str(v), float(v), "")),
    st.decimals("0.01", "9999", places=2).map(lambda v: (f"<{v}", float(v), "<")),
    st.decimals("0.01", "9999", places=2).map(lambda v: (f"{v} <", float(v), "<")),
    st.decimals("0.01", "9999", places=2).map(lambda v: (f"{v}U", float(v), "<")),
    st.decimals("0.01", "9999", places=2).map(lambda v: (f"> {v}", float(v), ">")),
    st.sampled_from([("", None, ""), ("N.S.", None, ""), ("n.a.", None, "")]),
)
units = {"ppm": 1.0, "ppb": 1e-3, "mg/kg": 1.0, "g/t": 1.0}
columns = st.lists(st.sampled_from(sorted(units)), min_size=3, max_size=5)
shapes = st.sampled_from(["wide", "wide, unit row", "turned", "long", "long, columns of marks"])
ids = st.lists(
    st.from_regex(r"[A-Z]{2}[-_ /]?[0-9]{1,4}[a-z]?", fullmatch=True), min_size=4, max_size=8,
    unique=True,
)  # fmt: skip


@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data(), ids, columns, shapes, st.sampled_from([",", ";", "\t"]))
def test_shape(data, samples, given_units, shape, separator):
    """One table in the shapes that laboratories send reads back to the same values."""
    elements = ["Cu", "Zn", "Pb", "Ni", "V"][: len(given_units)]
    table = {
        (s, e): data.draw(cells) for s in samples for e in elements
    }  # fmt: skip
    for e in elements:  # at least one reading, else a column may be taken for no values
        table[samples[0], e] = ("12.50", 12.5, "")
    head = [f"{e}_{u}" for e, u in zip(elements, given_units, strict=True)]
    rows = [["Sample", *head]]
    rows += [[s, *(table[s, e][0] for e in elements)] for s in samples]
    if shape == "wide, unit row":
        rows[0] = ["Sample", *elements]
        rows.insert(1, ["", *given_units])
    elif shape == "turned":
        rows = [list(c) for c in zip(*rows, strict=True)]
    elif shape.startswith("long"):
        marks = "marks" in shape
        rows = [["Sample", "Analyte", "Result", "Unit", *(["Qualifier"] if marks else [])]]
        for s in samples:
            for e, u in zip(elements, given_units, strict=True):
                text, value, mark = table[s, e]
                if marks:
                    plain = "" if value is None else f"{value:.2f}"
                    rows.append([s, e, plain, u, mark])
                else:
                    rows.append([s, e, text, u])
    out = io.StringIO()
    csv.writer(out, delimiter=separator, lineterminator="\n").writerows(rows)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "table.csv"
        path.write_text(out.getvalue(), encoding="utf-8")
        got = read_assays([path], assay="a", source="laboratory")
    expected = {
        (s, e): (round(v * units[u], 9), m == "<", m == ">")
        for (s, e), (_, v, m) in table.items()
        for u in [given_units[elements.index(e)]]
        if v is not None
    }
    r = got.results
    found = {
        (s, e): (round(v, 9), bool(b), bool(a))
        for s, e, v, b, a in zip(
            r["sample_id"], r["element"], r["value"], r["below"], r["above"], strict=True
        )
    }
    assert found == expected


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(-89, 89), st.integers(0, 59), st.integers(0, 59),
                  st.integers(-179, 179), st.integers(0, 59), st.integers(0, 59)),
        min_size=1, max_size=6,
    ),
    st.integers(0, 6),
)  # fmt: skip
def test_degrees(places, spelling):
    """Degrees in any usual spelling read back to the same place."""

    def write(degree, minute, second, letters):
        side = letters[0] if degree >= 0 else letters[1]
        d = abs(degree)
        value = d + minute / 60 + second / 3600
        return [
            f"{'-' if degree < 0 else ''}{value:.8f}",
            f"{d}°{minute}'{second}\"{side}",
            f"{side} {d} {minute} {second}",
            f"{d}º{minute:02d}′{second:02d}″ {side}",
            f"{d}:{minute:02d}:{second:02d}{side}",
            f"{d}° {minute + second / 60:.6f}' {side}",
            f"{d}d{minute}m{second}s{side}",
        ][spelling]

    lines = ["id;latitude;longitude"]
    expected = []
    for i, (a, b, c, d, e, f) in enumerate(places):
        lines.append(f"A{i};{write(a, b, c, 'NS')};{write(d, e, f, 'EW')}")
        sign_y, sign_x = (-1 if a < 0 else 1), (-1 if d < 0 else 1)
        expected.append(
            (sign_x * (abs(d) + e / 60 + f / 3600), sign_y * (abs(a) + b / 60 + c / 3600))
        )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        path.write_text("\n".join(lines), encoding="utf-8")
        got = read_field_log(path, crs="EPSG:4326").frame
    for (x, y), (wx, wy) in zip(got[["x", "y"]].to_numpy(), expected, strict=True):
        assert abs(x - wx) < 1e-6
        assert abs(y - wy) < 1e-6
