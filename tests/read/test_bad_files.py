"""Small bad files, each with what must be read and what must be said about it."""

from __future__ import annotations

import pytest

from geochem.errors import DataRefused

#: name -> (content, expected values, expected codes of findings); values in mg/kg as
#: ``{(id, element): number, "<number" or ">number"}``
CASES: dict[str, tuple[str | bytes, dict, set[str]]] = {
    "comma": ("id,Cu_ppm\nA1,12\nA2,<5\n", {("A1", "Cu"): 12, ("A2", "Cu"): "<5"}, set()),
    "semicolon and decimal comma": (
        "id;Cu_ppm;Fe_%\nA1;12,5;3,25\nA2;<0,5;4\n",
        {("A1", "Cu"): 12.5, ("A1", "Fe"): 32500, ("A2", "Cu"): "<0.5", ("A2", "Fe"): 40000},
        set(),
    ),
    "tab": ("id\tCu_ppm\nA1\t12\n", {("A1", "Cu"): 12}, set()),
    "pipe": ("id|Cu_ppm\nA1|12\n", {("A1", "Cu"): 12}, set()),
    "hint line": ("sep=;\nid;Cu_ppm\nA1;12\n", {("A1", "Cu"): 12}, set()),
    "carriage returns only": (
        "id,Cu_ppm\rA1,12\rA2,13\r",
        {("A1", "Cu"): 12, ("A2", "Cu"): 13},
        set(),
    ),
    "byte-order mark": (b"\xef\xbb\xbfid,Cu_ppm\r\nA1,12\r\n", {("A1", "Cu"): 12}, set()),
    "utf-16": ("id;Cu_ppm\nÄ1;12\n".encode("utf-16"), {("Ä1", "Cu"): 12}, set()),
    "utf-16 without mark": ("id;Cu_ppm\nA1;12\n".encode("utf-16-le"), {("A1", "Cu"): 12}, set()),
    "code page": ("id;Cu_ppm\nÄ1;12\n".encode("cp1252"), {("Ä1", "Cu"): 12}, {"encoding-assumed"}),
    "preamble": (
        "Laboratory of the hills\nJob,J-7\n\nid,Cu_ppm,Zn_ppm\nA1,12,30\nA2,13,31\n",
        {("A1", "Cu"): 12, ("A1", "Zn"): 30, ("A2", "Cu"): 13, ("A2", "Zn"): 31},
        {"preamble"},
    ),
    "blank lines": (
        "id,Cu_ppm\n\nA1,12\n\n,\nA2,13\n\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): 13},
        set(),
    ),
    "quoted line break": (
        'id,notes,Cu_ppm\nA1,"wet,\nstony",12\nA2,dry,13\n',
        {("A1", "Cu"): 12, ("A2", "Cu"): 13},
        set(),
    ),
    "quote not closed": (
        'id,notes,Cu_ppm\nA1,"wet,12\nA2,dry,13\nA3,"dry",14\n',
        {("A1", "Cu"): 12, ("A2", "Cu"): 13, ("A3", "Cu"): 14},
        {"quote-not-closed"},
    ),
    "inch in a cell": ('id,notes,Cu_ppm\nA1,5" core,12\n', {("A1", "Cu"): 12}, set()),
    "row too long": (
        "id,Cu_ppm,Zn_ppm\nA1,1,5,30\nA2,13,31\n",
        {("A2", "Cu"): 13, ("A2", "Zn"): 31},
        {"row-too-long"},
    ),
    "row too short": (
        "id,Cu_ppm,Zn_ppm\nA1,30\nA2,13,31\n",
        {("A2", "Cu"): 13, ("A2", "Zn"): 31},
        {"row-too-short"},
    ),
    "record broken in two": (
        "id,notes,Cu_ppm,Zn_ppm\nA1,wet\nstony,12,30\nA2,dry,13,31\nA3,dry,14,32\n",
        {("A2", "Cu"): 13, ("A2", "Zn"): 31, ("A3", "Cu"): 14, ("A3", "Zn"): 32},
        {"row-too-short"},
    ),
    "empty ends cut off": (
        "id,Cu_ppm,Zn_ppm,Pb_ppm\nA1,1,2,3\nA2,4\nA4,7,8,9\nA3,5,6\nA6,7,8,9\nA5,1\n",
        {
            ("A1", "Cu"): 1,
            ("A1", "Zn"): 2,
            ("A1", "Pb"): 3,
            ("A2", "Cu"): 4,
            ("A3", "Cu"): 5,
            ("A3", "Zn"): 6,
            ("A4", "Cu"): 7,
            ("A4", "Zn"): 8,
            ("A4", "Pb"): 9,
            ("A5", "Cu"): 1,
            ("A6", "Cu"): 7,
            ("A6", "Zn"): 8,
            ("A6", "Pb"): 9,
        },
        {"row-end-cut"},
    ),
    "trailing separators": (
        "id,Cu_ppm,,\nA1,12,,\nA2,13,,\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): 13},
        set(),
    ),
    "NUL": (b"id,Cu_ppm\nA1,1\x002\nA2,13\n", {("A2", "Cu"): 13}, {"nul-byte", "value-not-read"}),
    "not readings": (
        "id,Cu_ppm\nA1,nan\nA2,inf\nA3,0x1F\nA4,1_000\nA5,1.2.3\nA6,12\nA7,1e2\nA8,7\nA9,8\nB1,9\n"
        "B2,3\n",
        {
            ("A6", "Cu"): 12,
            ("A7", "Cu"): 100,
            ("A8", "Cu"): 7,
            ("A9", "Cu"): 8,
            ("B1", "Cu"): 9,
            ("B2", "Cu"): 3,
        },
        {"value-not-read"},
    ),
    "marks": (
        "id,Cu_ppm\nA1,< 5\nA2,5<\nA3,>900\nA4,ND\nA5,b.d.\nA6,N.S.\nA7,n.a.\nA8,\nA9,insufficient\n"
        "B1,7\nB2,#N/A\nB3,＜５\n",
        {
            ("A1", "Cu"): "<5",
            ("A2", "Cu"): "<5",
            ("A3", "Cu"): ">900",
            ("A4", "Cu"): "<7",
            ("A5", "Cu"): "<7",
            ("B1", "Cu"): 7,
            ("B3", "Cu"): "<5",
        },
        {"limit-inferred", "missing-no-sample", "missing-not-analysed", "missing-error-cell"},
    ),
    "unicode minus is no reading of a metal": (
        "id,Cu_ppm\nA1,−120\nA2,12\nA3,14\n",
        {("A2", "Cu"): 12, ("A3", "Cu"): 14},
        {"negative-reading"},
    ),
    "negative code": (
        "id,Au_ppm\nA1,-0.005\nA2,-0.005\nA3,-0.005\nA4,0.012\nA5,0.31\n",
        {
            ("A1", "Au"): "<0.005",
            ("A2", "Au"): "<0.005",
            ("A3", "Au"): "<0.005",
            ("A4", "Au"): 0.012,
            ("A5", "Au"): 0.31,
        },
        {"negative-code"},
    ),
    "missing code": (
        "id,Cu_ppm\nA1,-999\nA2,12\nA3,15\n",
        {("A2", "Cu"): 12, ("A3", "Cu"): 15},
        {"missing-code"},
    ),
    "zero": (
        "id,Cu_ppm\nA1,0\nA2,12\n",
        {("A1", "Cu"): "<12", ("A2", "Cu"): 12},
        {"zero-reading"},
    ),
    "thousands or decimals": (
        'id,Zn_ppm\nA1,"1,350"\nA2,"2,100"\nA3,950\n',
        {("A3", "Zn"): 950},
        {"number-doubtful"},
    ),
    "thousands with proof": (
        'id,Zn_ppm\nA1,"1,350"\nA2,"2,100.5"\n',
        {("A1", "Zn"): 1350, ("A2", "Zn"): 2100.5},
        set(),
    ),
    "decimal comma with proof": (
        "id;Zn_ppm\nA1;1,350\nA2;0,5\nA3;1.250,5\n",
        {("A1", "Zn"): 1.35, ("A2", "Zn"): 0.5, ("A3", "Zn"): 1250.5},
        set(),
    ),
    "point in doubt beside decimal comma": (
        "id;Zn_ppm;Cu_ppm\nA1;1.350;0,5\nA2;2.100;0,7\n",
        {("A1", "Cu"): 0.5, ("A2", "Cu"): 0.7},
        {"number-doubtful"},
    ),
    "two hands": (
        'id,Cu_ppm\nA1,9.5\nA2,"9,0"\nA3,12.25\nA4,"1,350"\nA5,7\n',
        {("A1", "Cu"): 9.5, ("A2", "Cu"): 9, ("A3", "Cu"): 12.25, ("A5", "Cu"): 7},
        {"decimal-mixed", "number-doubtful"},
    ),
    "thin spaces": (
        "id;Zn_ppm\nA1;1\u202f350\nA2;12\n",
        {("A1", "Zn"): 1350, ("A2", "Zn"): 12},
        set(),
    ),
    "unit row": (
        "id,Cu,Fe,Au\n,ppm,%,ppb\nA1,12,3,5\n",
        {("A1", "Cu"): 12, ("A1", "Fe"): 30000, ("A1", "Au"): 0.005},
        set(),
    ),
    "laboratory rows": (
        "Method,ICP-M,ICP-M\nSample,Cu,Fe\nUnits,ppm,%\nLOD,2,0.01\nA1,12,3\nA2,<LOD,<LOD\n",
        {("A1", "Cu"): 12, ("A1", "Fe"): 30000, ("A2", "Cu"): "<2", ("A2", "Fe"): "<100"},
        set(),
    ),
    "oxide": ("id,Fe2O3 wt%\nA1,10\n", {("A1", "Fe"): 69943.0}, set()),
    "unit in cell": (
        "id,Cu_ppm\nA1,12\nA2,1.5%\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): 15000},
        {"unit-in-cell"},
    ),
    "no id": (
        "Cu_ppm,Zn_ppm\n12,30\n",
        {("table-R0002", "Cu"): 12, ("table-R0002", "Zn"): 30},
        {"ids-from-rows"},
    ),
    "no sample is no id": (
        "id,Cu_ppm\nN.S.,N.S.\nA1,12\nN.S.,N.S.\n",
        {("A1", "Cu"): 12},
        {"id-missing"},
    ),
    "totals": (
        "id,Cu_ppm\nA1,12\nA2,14\nMean,13\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): 14},
        {"summary-row"},
    ),
    "running number": ("No,Sample,Cu_ppm\n1,A1,12\n", {("A1", "Cu"): 12}, set()),
    "carbon monoxide beside copper": (
        "id,Cu_ppm,CO\nA1,12,3\n",
        {("A1", "Cu"): 12},
        {"symbol-in-doubt"},
    ),
    "all capitals": (
        "id,CU_PPM,CO_PPM,PB_PPM,NA_PPM\nA1,12,3,4,5\n",
        {("A1", "Cu"): 12, ("A1", "Co"): 3, ("A1", "Pb"): 4, ("A1", "Na"): 5},
        set(),
    ),
    "two methods": (
        "id,Cu_ME4A_ppm,Cu_AR2_ppm\nA1,12,10\n",
        None,
        {"element-doubled"},
    ),
    "iron without unit in percent": (
        "id,Cu_ppm,Fe\nA1,12,3.2\nA2,13,4.1\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): 13},
        {"unit-not-believable"},
    ),
    "long": (
        "sample,analyte,value,unit\nA1,Cu,12,ppm\nA1,Fe,3,%\nA2,Cu,<5,ppm\nA2,Unobtainium,1,ppm\n",
        {("A1", "Cu"): 12, ("A1", "Fe"): 30000, ("A2", "Cu"): "<5"},
        {"analyte-unknown"},
    ),
    "marks in their own column": (
        "id,,Cu_ppm\nA1,<,5\nA2,,12\n",
        {("A1", "Cu"): "<5", ("A2", "Cu"): 12},
        {"marks-in-own-column"},
    ),
    "protected cells": (
        "id,Cu_ppm\n'-A1,12\n'=A2,'-5\n'@A3,7\n",
        {("-A1", "Cu"): 12, ("=A2", "Cu"): "<7", ("@A3", "Cu"): 7},
        {"negative-reading"},
    ),
    "coordinates are no yttrium": (
        "id,X,Y,Cu_ppm\nA1,500000,4000000,12\n",
        {("A1", "Cu"): 12},
        set(),
    ),
    "yttrium": ("id,Y_ppm,Cu_ppm\nA1,30,12\n", {("A1", "Y"): 30, ("A1", "Cu"): 12}, set()),
    "derived columns": (
        "id,Cu_ppm,log Cu,Cu/Zn,Cu_z\nA1,12,1.08,0.4,2\n",
        {("A1", "Cu"): 12},
        {"columns-not-used"},
    ),
}


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


@pytest.mark.parametrize(
    ("name", "content", "sentence"),
    [
        ("empty.csv", b"", "is empty"),
        ("blank.csv", b"\n\n  \n", "is empty|holds no rows"),
        ("words.csv", b"only words\nand more words\n", "not a table"),
        ("packed.csv", b"PK\x03\x04rest", "zip archive"),
        ("table.csv.gz", b"\x1f\x8b", "archive"),
        ("paper.csv", b"%PDF-1.7", "PDF"),
        ("old.xls", b"\xd0\xcf\x11\xe0", "save it as .xlsx"),
        ("no_element.csv", b"id,colour\nA1,red\n", "no column of .* is known as an element"),
        ("turned.csv", b"Element,A1,A2\nCu,1,2\nZn,3,4\nPb,5,6\n", "turned"),
        ("broken.xlsx", b"PK\x03\x04rest", "not a whole workbook"),
    ],
)
def test_refused(name, content, sentence, read):
    with pytest.raises(DataRefused, match=sentence) as caught:
        read(content, name=name)
    assert name in str(caught.value)


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
