"""A corpus of small bad files, each with what must be read and what must be said about it.

The tests use it as data; ``python tests/read/bad_files.py FOLDER`` writes all files, to try them by
hand (``geochem inspect FOLDER/...``).
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

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

CASES |= {
    "space and apostrophe as thousands": (
        "id;Zn_ppm;Cu_ppm\nA1;1 350;1'350\nA2;12 000;12'000,5\n",
        {
            ("A1", "Zn"): 1350,
            ("A2", "Zn"): 12000,
            ("A1", "Cu"): 1350,
            ("A2", "Cu"): 12000.5,
        },
        set(),
    ),
    "points as thousands with proof": (
        "id;Zn_ppm\nA1;1.350\nA2;2.100,5\nA3;12\n",
        {("A1", "Zn"): 1350, ("A2", "Zn"): 2100.5, ("A3", "Zn"): 12},
        set(),
    ),
    "full-width digits": (
        "id,Cu_ppm\nA1,１２\nA2,１２．５\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): 12.5},
        set(),
    ),
    "data qualifiers in cells": (
        "id,Cu_ppm\nA1,12 U\nA2,13J\nA3,14UJ\nA4,15\n",
        {("A1", "Cu"): "<12", ("A2", "Cu"): 13, ("A3", "Cu"): "<14", ("A4", "Cu"): 15},
        set(),
    ),
    "data qualifiers in a column": (
        "id,Cu_ppm,Cu_Q\nA1,12,U\nA2,13,J\nA3,14,UJ\nA4,15,\nA5,16,R7\n",
        {
            ("A1", "Cu"): "<12",
            ("A2", "Cu"): 13,
            ("A3", "Cu"): "<14",
            ("A4", "Cu"): 15,
            ("A5", "Cu"): 16,
        },
        {"qualifier-unknown"},
    ),
    "several limits": (
        "id,Cu_ppm\nA1,<5\nA2,<2\nA3,<10\nA4,20\n",
        {("A1", "Cu"): "<5", ("A2", "Cu"): "<2", ("A3", "Cu"): "<10", ("A4", "Cu"): 20},
        {"several-limits"},
    ),
    "over range and re-assayed": (
        "id,Cu_ppm,Cu_%\nA1,>10000,1.53\nA2,120,\n",
        {("A1", "Cu"): 15300, ("A2", "Cu"): 120},
        {"over-range-replaced"},
    ),
    "over range and re-assayed by another method": (
        "id,Cu_ME4_ppm,Cu_OG6_%\nA1,>10000,1.53\nA2,120,\nA3,>10000,\n",
        {("A1", "Cu"): 15300, ("A2", "Cu"): 120, ("A3", "Cu"): ">10000"},
        {"over-range-replaced"},
    ),
    "over range and re-assayed, long": (
        "sample,analyte,value,unit\nA1,Cu,>10000,ppm\nA1,Cu,1.53,%\nA2,Cu,12,ppm\n",
        {("A1", "Cu"): 15300, ("A2", "Cu"): 12},
        {"over-range-replaced"},
    ),
    "element and its oxide": (
        "id,Fe_%,Fe2O3_%\nA1,5,7.149\nA2,6,8.578\nA3,,2.859\n",
        {("A1", "Fe"): 50000, ("A2", "Fe"): 60000, ("A3", "Fe"): 19996.7},
        {"element-in-two-units"},
    ),
    "column of methods": (
        "sample,method,Cu_ppm\nA1,4A,12\nA2,AR,13\nA3,,14\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): 13, ("A3", "Cu"): 14},
        {"assay-parted"},
    ),
    "column of laboratories": (
        "sample,laboratory,Cu_ppm\nA1,North,12\nA2,South,13\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): 13},
        {"assay-parted"},
    ),
    "turned": (
        "Element,A1,A2\nCu_ppm,1,2\nZn_ppm,3,<4\nPb_ppm,5,6\n",
        {
            ("A1", "Cu"): 1,
            ("A2", "Cu"): 2,
            ("A1", "Zn"): 3,
            ("A2", "Zn"): "<4",
            ("A1", "Pb"): 5,
            ("A2", "Pb"): 6,
        },
        {"table-turned"},
    ),
    "turned with units and limits": (
        "Report\n\nAnalyte;Unit;LOD;A1;A2\nCu;ppm;1;12;<LOD\nFe;%;0.01;3,5;4,1\nAu;ppb;1;5;<1\n",
        {
            ("A1", "Cu"): 12,
            ("A2", "Cu"): "<1",
            ("A1", "Fe"): 35000,
            ("A2", "Fe"): 41000,
            ("A1", "Au"): 0.005,
            ("A2", "Au"): "<0.001",
        },
        {"table-turned"},
    ),
    "turned with numbers as ids": (
        "Sample,1001,1002\nCu_ppm,1,2\nZn_ppm,3,4\nPb_ppm,5,6\n",
        {
            ("1001", "Cu"): 1,
            ("1002", "Cu"): 2,
            ("1001", "Zn"): 3,
            ("1002", "Zn"): 4,
            ("1001", "Pb"): 5,
            ("1002", "Pb"): 6,
        },
        {"table-turned"},
    ),
    "ids under the word analyte": (
        "Method,ME4,ME4\nAnalyte,Cu,Zn\nUnit,ppm,ppm\nLOD,1,2\nA1,12,44\nA2,<LOD,45\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): "<1", ("A1", "Zn"): 44, ("A2", "Zn"): 45},
        set(),
    ),
    "closing lines": (
        "id,Cu_ppm\nA1,12\nA2,13\n\nSamples were dried at 60 C\nEnd of report\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): 13},
        {"closing-lines"},
    ),
    "closing lines with separators": (
        "id,Cu_ppm,Zn_ppm\nA1,12,3\nA2,13,4\nDried at 60 C,,\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): 13, ("A1", "Zn"): 3, ("A2", "Zn"): 4},
        {"closing-lines"},
    ),
    "more than everything": (
        "id,Cu_ppm,SiO2_%\nA1,2000000,60\nA2,60,120\n",
        {("A2", "Cu"): 60, ("A1", "Si"): 280464.0},
        {"above-hundred-percent"},
    ),
    "oxides add up to too much": (
        "id,SiO2_%,Al2O3_%,Fe2O3_%\nA1,70,20,15\nA2,60,20,9\n",
        None,
        {"total-above-hundred-percent"},
    ),
    "oxides add up to too little": (
        "id,SiO2_%,Al2O3_%,Fe2O3_%,MgO_%,CaO_%,Na2O_%,K2O_%,LOI_%\nA1,40,10,3,1,1,1,1,5\n"
        "A2,60,15,6,3,4,3,3,5\n",
        None,
        {"oxide-total-low"},
    ),
    "percent called ppm": (
        "id,Fe_ppm\n" + "".join(f"A{i},{3 + i / 10}\n" for i in range(9)),
        None,
        {"element-range"},
    ),
    "filled down": (
        "id,Cu_ppm\nA1,7\nA2,7\nA3,7\n",
        {("A1", "Cu"): 7, ("A2", "Cu"): 7, ("A3", "Cu"): 7},
        {"constant-column", "few-values"},
    ),
    "nothing detected": (
        "id,Cu_ppm,Ag_ppm\nA1,7,<1\nA2,8,<1\n",
        {("A1", "Cu"): 7, ("A2", "Cu"): 8, ("A1", "Ag"): "<1", ("A2", "Ag"): "<1"},
        {"all-below-detection"},
    ),
    "ids that became dates": (
        "id,Cu_ppm\n1-Mar,12\n2-Mar,13\n",
        {("1-Mar", "Cu"): 12, ("2-Mar", "Cu"): 13},
        {"id-is-date"},
    ),
    "ids that became powers": (
        "id,Cu_ppm\n8.91E+05,12\nA2,13\n",
        {("8.91E+05", "Cu"): 12, ("A2", "Cu"): 13},
        {"id-damaged"},
    ),
    "ids with decimals": (
        "id,Cu_ppm\n101.0,12\n102.0,13\n",
        {("101", "Cu"): 12, ("102", "Cu"): 13},
        {"id-with-decimals"},
    ),
    "ids are never numbers": (
        "id,Cu_ppm\n0012,12\n1e5,13\n12,14\n",
        {("0012", "Cu"): 12, ("1e5", "Cu"): 13, ("12", "Cu"): 14},
        set(),
    ),
    "one id at several depths": (
        "sample,from_m,to_m,Cu_ppm\nA1,0,0.2,12\nA1,0.2,0.4,13\nA2,0,0.2,14\n",
        {("A1@0-0.2", "Cu"): 12, ("A1@0.2-0.4", "Cu"): 13, ("A2", "Cu"): 14},
        {"id-at-several-depths"},
    ),
    "sodium and missing": (
        "id,Na_ppm,Cu_ppm\nA1,NA,12\nA2,12,NA\n",
        {("A2", "Na"): 12, ("A1", "Cu"): 12},
        {"missing-not-analysed"},
    ),
    "kinds of carbon": (
        "id,C_tot_%,C_inorg_%,TOC_%\nA1,1.5,0.3,1.2\n",
        {("A1", "C_total"): 15000, ("A1", "C_inorganic"): 3000, ("A1", "C_organic"): 12000},
        set(),
    ),
    "running number beside elements": (
        "No,Sample,Co_ppm\n1,A1,12\n2,A2,13\n",
        {("A1", "Co"): 12, ("A2", "Co"): 13},
        set(),
    ),
    "ragged in the middle": (
        "id,Cu_ppm,Zn_ppm\nA1,1,2\nA2,1,2,3,4\nA3,5,6\n",
        {("A1", "Cu"): 1, ("A1", "Zn"): 2, ("A3", "Cu"): 5, ("A3", "Zn"): 6},
        {"row-too-long"},
    ),
    "not in any spelling a number": (
        "id,Cu_ppm\nA1,1..2\nA2,1e\nA3,--5\nA4,5-\nA5,٣\nA6,12\nA7,13\nA8,4\nA9,5\nB1,6\n",
        {
            ("A6", "Cu"): 12,
            ("A7", "Cu"): 13,
            ("A8", "Cu"): 4,
            ("A9", "Cu"): 5,
            ("B1", "Cu"): 6,
        },
        {"value-not-read"},
    ),
    "one name over value and error": (
        "Sample,Cu,,Zn,\n,ppm,2s,ppm,2s\nA1,12,1,30,2\nA2,13,1,31,2\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): 13, ("A1", "Zn"): 30, ("A2", "Zn"): 31},
        set(),
    ),
    "words for value and error under the names": (
        "Sample,Cu,,Zn,\n,Value,Error,Value,Error\nA1,12,1,30,2\nA2,13,1,31,2\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): 13, ("A1", "Zn"): 30, ("A2", "Zn"): 31},
        {"sigma-assumed"},
    ),
    "a column without a name": (
        "id,Cu_ppm,,Zn_ppm\nA1,12,7,30\nA2,13,8,31\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): 13, ("A1", "Zn"): 30, ("A2", "Zn"): 31},
        {"column-without-name"},
    ),
    "infinite by exponent": (
        "id,Cu_ppm\nA1,1e999\nA2,12\nA3,3\n",
        {("A2", "Cu"): 12, ("A3", "Cu"): 3},
        {"value-not-read"},
    ),
}

#: name -> (content, expected positions ``{id: (x, y, crs)}``, expected codes)
PLACES: dict[str, tuple[str, dict, set[str]]] = {
    "zone with hemisphere": (
        "id,easting,northing,zone\nA1,500000,8000000,35S\n",
        {"A1": (500000, 8000000, "EPSG:32735")},
        {"datum-assumed"},
    ),
    "zone with band letter": (
        "id,easting,northing,zone\nA1,500000,8000000,35K\nA2,500000,7500000,35 K\n",
        {"A1": (500000, 8000000, "EPSG:32735"), "A2": (500000, 7500000, "EPSG:32735")},
        {"datum-assumed"},
    ),
    "S may be a band": (
        "id,easting,northing,zone\nA1,500000,3900000,35S\n",
        {"A1": (500000, 3900000, "UTM zone 35, hemisphere not known")},
        {"hemisphere-not-known"},
    ),
    "S is a band among bands": (
        "id,easting,northing,zone\nA1,500000,3900000,35S\nA2,500000,3400000,35R\n",
        {"A1": (500000, 3900000, "EPSG:32635"), "A2": (500000, 3400000, "EPSG:32635")},
        set(),
    ),
    "band against northing": (
        "id,easting,northing,zone\nA1,500000,8000000,35C\n",
        {"A1": (500000, 8000000, "UTM zone 35C, northing outside the band")},
        {"zone-contradicts-northing"},
    ),
    "zone without hemisphere": (
        "id,easting,northing,zone\nA1,500000,8000000,35\n",
        {"A1": (500000, 8000000, "UTM zone 35, hemisphere not known")},
        {"hemisphere-not-known"},
    ),
    "hemisphere in its own column": (
        "id,zone,hemisphere,easting,northing\nA1,35,S,500000,3900000\nA2,36,N,500000,3900000\n",
        {"A1": (500000, 3900000, "EPSG:32735"), "A2": (500000, 3900000, "EPSG:32636")},
        {"zones-mixed"},
    ),
    "zone on another datum": (
        "id,zone,datum,easting,northing\nA1,30N,ED50,500000,4500000\n",
        {"A1": (500000, 4500000, "EPSG:23030")},
        set(),
    ),
    "degrees beside a zone are degrees": (
        "id,lat,lon,zone\nA1,-12.5,25.5,35L\n",
        {"A1": (25.5, -12.5, None)},
        {"crs-not-stated"},
    ),
    "a zone that is none": (
        "id,easting,northing,zone\nA1,500000,8000000,oxide\n",
        {"A1": (500000, 8000000, None)},
        set(),
    ),
    "grid reference": (
        "id,MGRS\nA1,35K NB 12345 67890\nA2,35KNB1267\nA3,35IXX\n",
        {"A1": (512345.5, 8167890.5, "EPSG:32735"), "A2": (512500, 8167500, "EPSG:32735")},
        {"position-not-read", "grid-reference"},
    ),
    "degrees in parts": (
        "id,lat_d,lat_m,lat_s,lat_h,lon_d,lon_m,lon_s,lon_h\nA1,0,30,0,S,25,30,36,E\n"
        "A2,0,30,0,S,25,60,0,E\n",
        {"A1": (25.51, -0.5, None)},
        {"position-not-read"},
    ),
    "minutes in their own column": (
        "id,Lat deg,Lat min,Long deg,Long min\nA1,-12,30.6,25,30\n",
        {"A1": (25.5, -12.51, None)},
        set(),
    ),
    "letters in their own columns": (
        "id,lat,NS,lon,EW\nA1,12.5,S,25.5,E\nA2,12.6,S,25.6,E\n",
        {"A1": (25.5, -12.5, None), "A2": (25.6, -12.6, None)},
        {"crs-not-stated"},
    ),
    "sign and letter": (
        "id,lat,lon\nA1,-12.5S,25.5E\nA2,12.5S,25.5E\n",
        {"A2": (25.5, -12.5, None)},
        {"position-not-read"},
    ),
    "hemisphere lost at zero degrees": (
        "id,lat,lon\nA1,-0°30'00\",25°30'00\"\nA2,0°30'00\"S,25°30'00\"E\n",
        {"A1": (25.5, -0.5, None), "A2": (25.5, -0.5, None)},
        set(),
    ),
    "all spellings of degrees": (
        "id,lat,lon\nA1,12 34 56 S,25 30 00 E\nA2,\"12°34.5'S\",25°30'E\n"
        "A3,S12 34 56,E025 30 00\nA4,12d34m56sS,25:30:00E\nA5,12º34′56″S,025º30′E\nA6,−12.5,25.5\n",
        {
            "A1": (25.5, -12.5822222, None),
            "A2": (25.5, -12.575, None),
            "A3": (25.5, -12.5822222, None),
            "A4": (25.5, -12.5822222, None),
            "A5": (25.5, -12.5822222, None),
            "A6": (25.5, -12.5, None),
        },
        {"crs-not-stated"},
    ),
    "packed degrees are not guessed": (
        "id,lat,lon\nA1,123456S,0253000E\nA2,12.5S,25.5E\n",
        {"A2": (25.5, -12.5, None)},
        {"position-not-read"},
    ),
    "both in one cell": (
        'id,coordinates\nA1,"-12.5, 25.5"\nA2,"12.6S 25.6E"\nA3,"25.7E, 12.7S"\n',
        {"A1": (25.5, -12.5, None), "A2": (25.6, -12.6, None), "A3": (25.7, -12.7, None)},
        {"position-order"},
    ),
    "letters after metres": (
        "id,east,north\nA1,0500000E,8000000N\nA2,500100mE,8000100mN\n",
        {"A1": (500000, 8000000, None), "A2": (500100, 8000100, None)},
        set(),
    ),
    "thousands in metres": (
        'id,easting,northing\nA1,"500,000","8,000,000"\nA2,"500,100.5","8,000,100.5"\n',
        {"A1": (500000, 8000000, None), "A2": (500100.5, 8000100.5, None)},
        set(),
    ),
    "thousands in doubt": (
        'id,easting,northing\nA1,"500,000",8000000\nA2,"500,100",8000100\n',
        {},
        {"position-doubtful"},
    ),
    "one coordinate only": (
        "id,easting,medium\nA1,500000,soil\n",
        {},
        {"position-half"},
    ),
    "no coordinates": ("id,medium\nA1,soil\n", {}, {"position-missing"}),
    "negative eastings are right": (
        "id,easting,northing\nA1,-1500,8000000\nA2,-1400,8000100\n",
        {"A1": (-1500, 8000000, None), "A2": (-1400, 8000100, None)},
        set(),
    ),
    "one id at several depths": (
        "id,easting,northing,depth_cm\nA1,1,2,0-20\nA1,1,2,20-40\nA2,3,4,0-20\n",
        {"A1@0-0.2": (1, 2, None), "A1@0.2-0.4": (1, 2, None), "A2": (3, 4, None)},
        {"id-at-several-depths"},
    ),
    "degrees beyond their range": (
        "id,latitude,longitude\nA1,500000,8000000\n",
        {"A1": (8000000, 500000, None)},
        {"degrees-beyond-range"},
    ),
}

#: name of the file -> (content, part of the sentence with which it is refused)
REFUSED: dict[str, tuple[bytes, str]] = {
    "empty.csv": (b"", "is empty"),
    "blank.csv": (b"\n\n  \n", "is empty|holds no rows"),
    "words.csv": (b"only words\nand more words\n", "not a table"),
    "packed.csv": (b"PK\x03\x04rest", "zip archive"),
    "table.csv.gz": (b"\x1f\x8b", "archive"),
    "paper.csv": (b"%PDF-1.7", "PDF"),
    "picture.csv": (b"\x89PNG\r\n", "picture"),
    "database.csv": (b"SQLite format 3\x00", "database"),
    "damaged.xls": (b"\xd0\xcf\x11\xe0", "cannot be opened as a workbook|not installed"),
    "damaged.ods": (b"PK\x03\x04rest", "cannot be opened as a workbook|not installed"),
    "no_element.csv": (b"id,colour\nA1,red\n", "no column of .* is known as an element"),
    "statistics.csv": (
        b"Element,n,min,max\nCu,12,1,2\nZn,13,3,4\nPb,14,5,6\n",
        "turned|no column",
    ),
    "broken.xlsx": (b"PK\x03\x04rest", "not a whole workbook"),
    "points.gpx": (b"<gpx version='1.1'></gpx>", "holds no points|cannot be read"),
    "shapes.geojson": (
        b'{"type":"FeatureCollection","features":[{"type":"Feature","properties":{},"geometry":'
        b'{"type":"LineString","coordinates":[[0,0],[1,1]]}}]}',
        "holds no points",
    ),
    "torn.geojson": (b'{"type":"FeatureColl', "cannot be read"),
    "header_only_numbers.csv": (b"1,2,3\n4,5,6\n", "no row that names its columns"),
}


_spec = importlib.util.spec_from_file_location(
    "more_bad_files", Path(__file__).with_name("more_bad_files.py")
)
_more = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_more)
CASES |= _more.MORE


def write_all(folder: Path) -> list[Path]:
    """Write every file of the corpus into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    out = []
    named = {f"{n.replace(' ', '_').replace(',', '')}.csv": c[0] for n, c in CASES.items()}
    named |= {f"place_{n.replace(' ', '_')}.csv": c[0] for n, c in PLACES.items()}
    named |= {n: c[0] for n, c in REFUSED.items()}
    for name, content in named.items():
        path = folder / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
        out.append(path)
    return out


if __name__ == "__main__":
    written = write_all(Path(sys.argv[1]))
    print(f"{len(written)} files in {sys.argv[1]}")
