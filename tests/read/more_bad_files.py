"""Further small bad files, as a geologist meets them; the same form as `bad_files`."""

from __future__ import annotations

#: name -> (content, expected values, expected codes of findings)
MORE: dict[str, tuple[str | bytes, dict | None, set[str]]] = {
    "thin thousands comma decimals": (
        "id;Zn_ppm;Fe_%\nA1;1\u2009350,5;3,2\nA2;12\u202f000;4,1\nA3;950;5\n",
        {
            ("A1", "Fe"): 32000,
            ("A2", "Fe"): 41000,
            ("A3", "Fe"): 50000,
            ("A1", "Zn"): 1350.5,
            ("A2", "Zn"): 12000,
            ("A3", "Zn"): 950,
        },
        set(),
    ),
    "apostrophe thousands": (
        "id;Zn_ppm\nA1;1'350\nA2;2’100.5\nA3;7\n",
        {("A1", "Zn"): 1350, ("A2", "Zn"): 2100.5, ("A3", "Zn"): 7},
        set(),
    ),
    "two header rows method+unit merged": (
        (
            "Sample,Au,Cu,Cu\n"
            "ID,FA50,ME-4A,OG-4A\n"
            ",ppb,ppm,%\n"
            ",1,0.5,0.001\n"
            ",10000,10000,50\n"
            "A1,5,>10000,1.35\n"
            "A2,<1,20,\n"
            "A3,12,300,\n"
        ),
        {
            ("A1", "Cu"): 13500,
            ("A2", "Cu"): 20,
            ("A3", "Cu"): 300,
            ("A1", "Au"): 0.005,
            ("A2", "Au"): "<0.001",
            ("A3", "Au"): 0.012,
        },
        {"element-doubled", "id-missing", "over-range-replaced"},
    ),
    "lab cert limits labelled": (
        (
            "ELEMENT,Au,Ag,Cu\n"
            "UNITS,ppm,ppm,ppm\n"
            "LOWER LIMIT,0.001,0.5,1\n"
            "UPPER LIMIT,10,100,10000\n"
            "METHOD,FA1,IC1,IC1\n"
            "A1,0.01,<0.5,12\n"
            "A2,>10,1,>10000\n"
        ),
        {
            ("A1", "Cu"): 12,
            ("A2", "Cu"): ">10000",
            ("A1", "Ag"): "<0.5",
            ("A2", "Ag"): 1,
            ("A1", "Au"): 0.01,
            ("A2", "Au"): ">10",
        },
        set(),
    ),
    "long with error and limit": (
        (
            "SampleNo,Element,Result,Units,LOD,Error,Lab Method\n"
            "A1,Cu,12,ppm,1,0.5,XRF\n"
            "A1,Au,<LOD,ppb,2,,FA\n"
            "A2,Cu,ND,ppm,1,,XRF\n"
            "A2,Fe2O3,5.2,%,0.01,0.1,XRF\n"
        ),
        {("A2", "Fe"): 36370.4, ("A1", "Cu"): 12, ("A2", "Cu"): "<1", ("A1", "Au"): "<0.002"},
        set(),
    ),
    "transposed": (
        "Element,Unit,A1,A2,A3\nCu,ppm,12,13,<5\nFe,%,3,4,5\nAu,ppb,5,6,7\n",
        {
            ("A1", "Fe"): 30000,
            ("A2", "Fe"): 40000,
            ("A3", "Fe"): 50000,
            ("A1", "Cu"): 12,
            ("A2", "Cu"): 13,
            ("A3", "Cu"): "<5",
            ("A1", "Au"): 0.005,
            ("A2", "Au"): 0.006,
            ("A3", "Au"): 0.007,
        },
        {"table-turned"},
    ),
    "european dates eat ids": (
        "Sample,Cu_ppm\n01-Mar,12\n02-Mar,13\nMar-03,14\n1.23E+05,15\n",
        {("01-Mar", "Cu"): 12, ("02-Mar", "Cu"): 13, ("Mar-03", "Cu"): 14, ("1.23E+05", "Cu"): 15},
        {"id-damaged", "id-is-date"},
    ),
    "long number ids": (
        "Sample,Cu_ppm\n1.00E+15,12\n1.00E+15,13\n891e3,4\n",
        None,
        {"id-damaged"},
    ),
    "sep hint utf16": (
        b"\xff\xfes\x00e\x00p\x00=\x00;\x00\r\x00\n\x00P\x00r\x00o\x00b\x00e\x00;\x00C\x00u\x00 \x00[\x00m\x00g\x00/\x00k\x00g\x00]\x00;\x00Z\x00n\x00 \x00[\x00m\x00g\x00/\x00k\x00g\x00]\x00\r\x00\n\x00\xc4\x001\x00;\x001\x002\x00,\x005\x00;\x001\x00.\x003\x005\x000\x00\r\x00\n\x00\xc4\x002\x00;\x00<\x000\x00,\x005\x00;\x002\x00.\x000\x000\x000\x00,\x005\x00\r\x00\n\x00",  # noqa: E501 - many rows of one column
        {("Ä1", "Cu"): 12.5, ("Ä2", "Cu"): "<0.5", ("Ä1", "Zn"): 1350, ("Ä2", "Zn"): 2000.5},
        set(),
    ),
    "nul": (
        "id,Cu_ppm,Zn_ppm\nA1,12,3\x000\nA2,13,31\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): 13, ("A2", "Zn"): 31},
        {"nul-byte", "value-not-read"},
    ),
    "ragged extra commas in notes": (
        "id,notes,Cu_ppm,Zn_ppm\nA1,wet, stony,12,30\nA2,dry,13,31\nA3,ok,14,32\n",
        {("A2", "Cu"): 13, ("A3", "Cu"): 14, ("A2", "Zn"): 31, ("A3", "Zn"): 32},
        {"row-too-long"},
    ),
    "unclosed quote": (
        'id,notes,Cu_ppm\nA1,"6" hole,12\nA2,"dry,13\nA3,ok,14\n',
        {("A1", "Cu"): 12, ("A2", "Cu"): 13, ("A3", "Cu"): 14},
        {"quote-not-closed"},
    ),
    "over range column": (
        "id,Cu_ME_ppm,Cu_OG_%\nA1,>10000,1.35\nA2,20,\nA3,9990,\n",
        {("A1", "Cu"): 13500, ("A2", "Cu"): 20, ("A3", "Cu"): 9990},
        {"element-doubled", "over-range-replaced"},
    ),
    "totals": (
        (
            "id,Cu_ppm,Zn_ppm\n"
            "A1,12,1\n"
            "A2,13,2\n"
            "Total,25,3\n"
            "Average,12.5,1.5\n"
            "Max,13,2\n"
            "Std Dev,0.7,0.5\n"
            "Count,2,2\n"
        ),
        {("A1", "Cu"): 12, ("A2", "Cu"): 13, ("A1", "Zn"): 1, ("A2", "Zn"): 2},
        {"summary-row"},
    ),
    "error cols 2s": (
        "Sample,Cu ppm,Cu +/- 2s,Zn ppm,Zn 1SD\nA1,12,2,30,3\nA2,13,2,31,3\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): 13, ("A1", "Zn"): 30, ("A2", "Zn"): 31},
        set(),
    ),
    "carbon": (
        "id,C_total_%,C_inorganic_%,TOC_%,CO2_%,S_%\nA1,5,1,4,3.66,0.1\n",
        {
            ("A1", "S"): 1000,
            ("A1", "C_CO2"): 9988.925,
            ("A1", "C_inorganic"): 10000,
            ("A1", "C_organic"): 40000,
            ("A1", "C_total"): 50000,
        },
        set(),
    ),
    "No nobelium": (
        "No,Co,Ni,NO3\n1,12,3,4\n2,13,4,5\n",
        {
            ("table-R0002", "Co"): 12,
            ("table-R0003", "Co"): 13,
            ("table-R0002", "Ni"): 3,
            ("table-R0003", "Ni"): 4,
        },
        {"running-number", "unit-assumed"},
    ),
    "NA col": (
        "id,NA,K,Cu\nA1,1.2,2,12\nA2,NA,3,13\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): 13},
        {"symbol-in-doubt", "unit-assumed"},
    ),
    "Na units": (
        "id,Na_%,K_%,Cu_ppm\nA1,NA,2,12\nA2,1.1,NA,13\n",
        {("A2", "Na"): 11000, ("A1", "K"): 20000, ("A1", "Cu"): 12, ("A2", "Cu"): 13},
        set(),
    ),
    "percent sign cells": (
        "id,Fe,Cu\nA1,3.2%,12 ppm\nA2,4.1 %,0.5%\n",
        {("A1", "Fe"): 32000, ("A2", "Fe"): 41000, ("A1", "Cu"): 12, ("A2", "Cu"): 5000},
        {"unit-assumed", "unit-in-cell"},
    ),
    "ppb g-t oz-t": (
        "id,Au_g/t,Ag_oz/t,Pt ppb,Pd (mg/t),Hg ug/kg\nA1,0.5,1,20,30,40\n",
        {("A1", "Pd"): 0.03, ("A1", "Pt"): 0.02, ("A1", "Au"): 0.5, ("A1", "Hg"): 0.04},
        {"unit-not-known"},
    ),
    "unit variants": (
        (
            "id,Cu (mg kg-1),Zn [µg/g],Pb mg/kg,As_pct,Ni wt.%,Mo ppm (4AD),W PPM,U_ppm_ICP\n"
            "A1,1,2,3,0.1,0.2,4,5,6\n"
        ),
        {
            ("A1", "Ni"): 2000,
            ("A1", "Cu"): 1,
            ("A1", "Zn"): 2,
            ("A1", "As"): 1000,
            ("A1", "Mo"): 4,
            ("A1", "W"): 5,
            ("A1", "Pb"): 3,
            ("A1", "U"): 6,
        },
        set(),
    ),
    "percent trailing lt": (
        "id,Cu_ppm\nA1,5 <\nA2,12\nA3,<=3\nA4,≤2\nA5,~7\nA6,7*\nA7,7 ?\nA8,(7)\nA9,7.0 ppm\n",
        {
            ("A1", "Cu"): "<5",
            ("A2", "Cu"): 12,
            ("A3", "Cu"): "<3",
            ("A4", "Cu"): "<2",
            ("A9", "Cu"): 7,
        },
        {"several-limits", "value-not-read"},
    ),
    "negative codes several": (
        "id,Au_ppb,Cu_ppm\nA1,-5,-1\nA2,-5,12\nA3,7,-1\nA4,-9999,-2\nA5,-5,13\nA6,8,5\nA7,9,6\n",
        {
            ("A1", "Cu"): "<5",
            ("A2", "Cu"): 12,
            ("A3", "Cu"): "<5",
            ("A4", "Cu"): "<5",
            ("A5", "Cu"): 13,
            ("A6", "Cu"): 5,
            ("A7", "Cu"): 6,
            ("A1", "Au"): "<0.005",
            ("A2", "Au"): "<0.005",
            ("A3", "Au"): 0.007,
            ("A5", "Au"): "<0.005",
            ("A6", "Au"): 0.008,
            ("A7", "Au"): 0.009,
        },
        {"missing-code", "negative-code", "negative-reading"},
    ),
    "half limit": (
        (
            "id,Au_ppb\n"
            "A0,2.5\n"
            "A1,2.5\n"
            "A2,2.5\n"
            "A3,2.5\n"
            "A4,2.5\n"
            "A5,2.5\n"
            "A6,2.5\n"
            "A7,2.5\n"
            "B0,6\n"
            "B1,7\n"
            "B2,8\n"
            "B3,9\n"
            "B4,10\n"
            "B5,11\n"
            "B6,12\n"
            "B7,13\n"
        ),
        {
            ("A0", "Au"): 0.0025,
            ("A1", "Au"): 0.0025,
            ("A2", "Au"): 0.0025,
            ("A3", "Au"): 0.0025,
            ("A4", "Au"): 0.0025,
            ("A5", "Au"): 0.0025,
            ("A6", "Au"): 0.0025,
            ("A7", "Au"): 0.0025,
            ("B0", "Au"): 0.006,
            ("B1", "Au"): 0.007,
            ("B2", "Au"): 0.008,
            ("B3", "Au"): 0.009,
            ("B4", "Au"): 0.01,
            ("B5", "Au"): 0.011,
            ("B6", "Au"): 0.012,
            ("B7", "Au"): 0.013,
        },
        {"limit-as-reading"},
    ),
    "semicolon with mixed decimal columns": (
        "id;Cu_ppm;X;Y;Zn_ppm\nA1;12,5;500.123;7.200.456;3\nA2;1.250;500.223;7.200.556;4\n",
        {("A1", "Cu"): 12.5, ("A2", "Cu"): 1250, ("A1", "Zn"): 3, ("A2", "Zn"): 4},
        set(),
    ),
    "coords thousands": (
        (
            "id;Rechtswert;Hochwert;Cu_ppm\n"
            "A1;4.500.123,5;5.600.456,7;12\n"
            "A2;4.500.223,5;5.600.556,7;13\n"
        ),
        {("A1", "Cu"): 12, ("A2", "Cu"): 13},
        set(),
    ),
    "cu upper name collision": (
        "ID,CU,PB,ZN,AS,IN,NO,CO,NI,SN,SB\nA1,1,2,3,4,5,6,7,8,9,1\nA2,1,2,3,4,5,6,7,8,9,2\n",
        {
            ("A1", "Co"): 7,
            ("A2", "Co"): 7,
            ("A1", "Ni"): 8,
            ("A2", "Ni"): 8,
            ("A1", "Cu"): 1,
            ("A2", "Cu"): 1,
            ("A1", "Zn"): 3,
            ("A2", "Zn"): 3,
            ("A1", "As"): 4,
            ("A2", "As"): 4,
            ("A1", "In"): 5,
            ("A2", "In"): 5,
            ("A1", "Sn"): 9,
            ("A2", "Sn"): 9,
            ("A1", "Sb"): 1,
            ("A2", "Sb"): 2,
            ("A1", "Pb"): 2,
            ("A2", "Pb"): 2,
        },
        {"symbol-case", "unit-assumed"},
    ),
    "element words": (
        "id,Copper_ppm,Gold ppb,Lead,Zinc (ppm),Iron %,Arsenic\nA1,12,5,3,4,5,6\n",
        {
            ("A1", "Fe"): 50000,
            ("A1", "Cu"): 12,
            ("A1", "Zn"): 4,
            ("A1", "As"): 6,
            ("A1", "Au"): 0.005,
            ("A1", "Pb"): 3,
        },
        {"unit-assumed"},
    ),
    "qualifier col": (
        "id,Cu,Cu_Q,Zn,Zn_qual\nA1,5,U,30,\nA2,12,,31,J\n",
        {("A1", "Cu"): "<5", ("A2", "Cu"): 12, ("A1", "Zn"): 30, ("A2", "Zn"): 31},
        {"unit-assumed"},
    ),
    "limit col": (
        "id,Cu_ppm,Cu_LOD,Cu_err\nA1,<LOD,5,\nA2,12,5,1\n",
        {("A1", "Cu"): "<5", ("A2", "Cu"): 12},
        set(),
    ),
    "flag words": (
        "id,Cu_ppm,Cu below\nA1,5,yes\nA2,12,no\n",
        {("A1", "Cu"): "<5", ("A2", "Cu"): 12},
        set(),
    ),
    "grade string": (
        "id,Cu_ppm\nA1,trace\nA2,tr\nA3,12\nA4,1.2e3\nA5,1.2E+03\nA6,1 200\nA7,12..5\n",
        {("A3", "Cu"): 12, ("A4", "Cu"): 1200, ("A5", "Cu"): 1200, ("A6", "Cu"): 1200},
        {"value-not-read"},
    ),
    "header twice": (
        "id,Cu_ppm\nA1,12\nid,Cu_ppm\nA2,13\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): 13},
        {"value-not-read"},
    ),
    "same header pasted preamble": (
        "Report;;\nClient: X;;\n;;\nid;Cu ppm;Zn ppm\nA1;1,5;2\nA2;3;4\n;;\nEnd of report;;\n",
        {("A1", "Cu"): 1.5, ("A2", "Cu"): 3, ("A1", "Zn"): 2, ("A2", "Zn"): 4},
        {"closing-lines", "preamble"},
    ),
    "depth text": (
        "id,depth,Cu_ppm\nA1,0-20 cm,12\nA1,20-40 cm,30\nA2,0-20cm,5\n",
        {("A1@0-0.2", "Cu"): 12, ("A1@0.2-0.4", "Cu"): 30, ("A2", "Cu"): 5},
        {"id-at-several-depths"},
    ),
    "gold ppm vs ppb": (
        "id,Au_ppm\nA1,5\nA2,12\nA3,8\nA4,7\nA5,6\nA6,9\nA7,15\nA8,3\n",
        {
            ("A1", "Au"): 5,
            ("A2", "Au"): 12,
            ("A3", "Au"): 8,
            ("A4", "Au"): 7,
            ("A5", "Au"): 6,
            ("A6", "Au"): 9,
            ("A7", "Au"): 15,
            ("A8", "Au"): 3,
        },
        {"element-range"},
    ),
    "plus": (
        "id,Cu_ppm\nA1,+12\nA2,13\nA3,1.5e\nA4,1e400\nA5,1E-3\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): 13, ("A5", "Cu"): 0.001},
        {"value-not-read"},
    ),
    "leading zeros": (
        "id,Cu_ppm\n0012,012.50\n0013,00\n12,5\n",
        {("0012", "Cu"): 12.5, ("0013", "Cu"): "<5", ("12", "Cu"): 5},
        {"zero-reading"},
    ),
    "std names": (
        "id,type,Cu_ppm\nA1,SAMPLE,12\nSTD-1,STD,99\nBLK,BLANK,1\nA1D,FDUP,13\n",
        {("A1", "Cu"): 12, ("STD-1", "Cu"): 99, ("BLK", "Cu"): 1, ("A1D", "Cu"): 13},
        set(),
    ),
    "at percent": (
        "id,Fe at. %,Si mol %,Cu_ppm\nA1,3,20,12\n",
        {("A1", "Cu"): 12},
        {"unit-not-known"},
    ),
    "header unknown units": (
        "id,Ag_OZ,Cu_MGL,Au_PPT,Zn mg/l,Pb (cps),Ni_lb/t,Co_ppm\nA1,1,12,5,3,4,5,6\n",
        {("A1", "Co"): 6},
        {"unit-not-known"},
    ),
    "long unknown unit": (
        "sample,analyte,value,unit\nA1,Cu,12,ppm\nA1,Ag,3,oz/t\nA1,Zn,5,mg/L\n",
        {("A1", "Cu"): 12},
        {"analyte-unknown"},
    ),
    "units above names": (
        "ppm,ppm,,\nCu,Zn,id,note\n12,30,A1,x\n13,31,A2,y\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): 13, ("A1", "Zn"): 30, ("A2", "Zn"): 31},
        set(),
    ),
    "pxrf instrument": (
        (
            "Reading No,Time,Type,Duration,Units,SAMPLE,Cu,Cu Error,Fe,Fe Error,Bal,Bal Error\n"
            "1,2026-03-01 10:00:00,SOIL,60,ppm,A1,12,3,30000,200,950000,300\n"
            "2,2026-03-01 10:02:00,SOIL,60,ppm,A2,< LOD,9,31000,210,950100,300\n"
            "3,2026-03-01 10:05:00,MINING,60,%,A3,0.12,0.01,3.1,0.02,95,0.3\n"
        ),
        {
            ("A1", "Fe"): 30000,
            ("A2", "Fe"): 31000,
            ("A3", "Fe"): 31000,
            ("A1", "Cu"): 12,
            ("A2", "Cu"): "<27",
            ("A3", "Cu"): 1200,
            ("A1", "balance"): 950000,
            ("A2", "balance"): 950100,
            ("A3", "balance"): 95,
        },
        set(),
    ),
    "error unnamed": (
        "Sample,Cu,err,Zn,err\nA1,12,2,30,3\nA2,13,2,31,3\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): 13, ("A1", "Zn"): 30, ("A2", "Zn"): 31},
        {"unit-assumed"},
    ),
    "thousands in every style": (
        "id\tZn_ppm\tPb_ppm\tCu_ppm\nA1\t1.350,5\t1,350.5\t1 350\nA2\t12,5\t2,100.25\t12\n",
        {
            ("A1", "Cu"): 1350,
            ("A2", "Cu"): 12,
            ("A1", "Zn"): 1350.5,
            ("A2", "Zn"): 12.5,
            ("A1", "Pb"): 1350.5,
            ("A2", "Pb"): 2100.25,
        },
        set(),
    ),
    "indian lakh": (
        "id;Zn_ppm\nA1;1,23,456\nA2;12,000\nA3;5\n",
        {("A3", "Zn"): 5},
        {"number-doubtful"},
    ),
    "quoted all semicolon": (
        '"id";"Cu_ppm";"Zn_ppm"\n"A1";"12,5";"3,0"\n"A2";"<1,0";"4,5"\n',
        {("A1", "Cu"): 12.5, ("A2", "Cu"): "<1", ("A1", "Zn"): 3, ("A2", "Zn"): 4.5},
        set(),
    ),
    "time in numbers": (
        "id,Cu_ppm\nA1,12:30\nA2,13\nA3,14\nA4,15\n",
        {("A2", "Cu"): 13, ("A3", "Cu"): 14, ("A4", "Cu"): 15},
        {"value-not-read"},
    ),
    "embedded newline header": (
        'id,"Cu\n(ppm)","Fe\n(%)"\nA1,12,3\nA2,13,4\n',
        {("A1", "Fe"): 30000, ("A2", "Fe"): 40000, ("A1", "Cu"): 12, ("A2", "Cu"): 13},
        set(),
    ),
    "footnote with commas": (
        'id,Cu_ppm,Zn_ppm\nA1,12,30\nA2,13,31\n"Note: values, in ppm",,\nSigned: lab manager,,\n',
        {("A1", "Cu"): 12, ("A2", "Cu"): 13, ("A1", "Zn"): 30, ("A2", "Zn"): 31},
        {"closing-lines"},
    ),
    "lod half header rows": (
        "Sample,Cu ppm,Au ppb\nDetection limit,1,0.5\nA1,12,<DL\nA2,BDL,3\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): "<1", ("A1", "Au"): "<0.0005", ("A2", "Au"): 0.003},
        set(),
    ),
    "numeric ids float": (
        "id,Cu_ppm\n1001.0,12\n1002.0,13\n1003.0,15\n",
        {("1001", "Cu"): 12, ("1002", "Cu"): 13, ("1003", "Cu"): 15},
        {"id-with-decimals"},
    ),
    "percent as fraction": (
        (
            "id,Fe_%\n"
            "A1,0.032\n"
            "A2,0.041\n"
            "A3,0.035\n"
            "A4,0.035\n"
            "A5,0.03\n"
            "A6,0.04\n"
            "A7,0.03\n"
            "A8,0.05\n"
            "A9,0.04\n"
            "B1,0.03\n"
        ),
        {
            ("A1", "Fe"): 320,
            ("A2", "Fe"): 410,
            ("A3", "Fe"): 350,
            ("A4", "Fe"): 350,
            ("A5", "Fe"): 300,
            ("A6", "Fe"): 400,
            ("A7", "Fe"): 300,
            ("A8", "Fe"): 500,
            ("A9", "Fe"): 400,
            ("B1", "Fe"): 300,
        },
        {"element-range"},
    ),
    "Au ppb in ppm col": (
        "id,Au_ppm\nA0,3\nA1,4\nA2,5\nA3,6\nA4,7\nA5,8\nA6,9\nA7,10\nA8,11\nA9,12\nA10,13\nA11,14\n",
        {
            ("A0", "Au"): 3,
            ("A1", "Au"): 4,
            ("A2", "Au"): 5,
            ("A3", "Au"): 6,
            ("A4", "Au"): 7,
            ("A5", "Au"): 8,
            ("A6", "Au"): 9,
            ("A7", "Au"): 10,
            ("A8", "Au"): 11,
            ("A9", "Au"): 12,
            ("A10", "Au"): 13,
            ("A11", "Au"): 14,
        },
        {"element-range"},
    ),
    "mixed case decimals": (
        "id;Cu_ppm\nA1;1.5\nA2;1,5\nA3;2.5\nA4;12\n",
        {("A1", "Cu"): 1.5, ("A2", "Cu"): 1.5, ("A3", "Cu"): 2.5, ("A4", "Cu"): 12},
        {"decimal-mixed"},
    ),
    "neg temp code -1": (
        "id,Cu_ppm\nA1,-1\nA2,-1\nA3,-1\nA4,13\nA5,15\n",
        {
            ("A1", "Cu"): "<1",
            ("A2", "Cu"): "<1",
            ("A3", "Cu"): "<1",
            ("A4", "Cu"): 13,
            ("A5", "Cu"): 15,
        },
        {"negative-code"},
    ),
    "-99 code": (
        "id,Cu_ppm\nA0,5\nA1,6\nA2,7\nA3,8\nA4,9\nA5,10\nA6,11\nA7,12\nA8,13\nB1,-99\nB2,-99\n",
        {
            ("A0", "Cu"): 5,
            ("A1", "Cu"): 6,
            ("A2", "Cu"): 7,
            ("A3", "Cu"): 8,
            ("A4", "Cu"): 9,
            ("A5", "Cu"): 10,
            ("A6", "Cu"): 11,
            ("A7", "Cu"): 12,
            ("A8", "Cu"): 13,
        },
        {"missing-code"},
    ),
    "999 code": (
        "id,Cu_ppm\nA0,5\nA1,6\nA2,7\nA3,8\nA4,9\nA5,10\nA6,11\nA7,12\nA8,13\nB1,9999\nB2,99999\n",
        {
            ("A0", "Cu"): 5,
            ("A1", "Cu"): 6,
            ("A2", "Cu"): 7,
            ("A3", "Cu"): 8,
            ("A4", "Cu"): 9,
            ("A5", "Cu"): 10,
            ("A6", "Cu"): 11,
            ("A7", "Cu"): 12,
            ("A8", "Cu"): 13,
        },
        {"missing-code"},
    ),
    "nbsp": (
        "id,Cu_ppm\nA1,\xa012\nA2,< 5\nA3,5\xa0000\nA4,12\u202f500,5\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): "<5", ("A3", "Cu"): 5000},
        {"row-too-long"},
    ),
    "fullwidth": (
        "id,Cu_ppm\nＡ１,１２\nA2,１３．５\nA3,＜５\n",
        {("Ａ１", "Cu"): 12, ("A2", "Cu"): 13.5, ("A3", "Cu"): "<5"},
        set(),
    ),
    "sample no + lab no": (
        "Lab No,Sample No,Cu_ppm\nL1,A1,12\nL2,A2,13\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): 13},
        {"id-column-chosen"},
    ),
    "No as text ids": (
        "No.,Cu_ppm,Zn_ppm\nRX-12,12,3\nRX-13,13,4\n",
        {("RX-12", "Cu"): 12, ("RX-13", "Cu"): 13, ("RX-12", "Zn"): 3, ("RX-13", "Zn"): 4},
        set(),
    ),
    "element in capitals with units row caps": (
        "SAMPLE,CU,ZN,CO,NA\n,PPM,PPM,PPM,PCT\nA1,12,30,5,1.2\n",
        {("A1", "Na"): 12000, ("A1", "Co"): 5, ("A1", "Cu"): 12, ("A1", "Zn"): 30},
        {"symbol-case"},
    ),
    "turned with positions": (
        (
            "Sample No.,A1,A2,A3\n"
            "Easting,500000,500100,500200\n"
            "Northing,4000000,4000100,4000200\n"
            "Cu (ppm),12,13,<5\n"
            "Fe (%),3,4,5\n"
            "Zn (ppm),3,4,5\n"
        ),
        {
            ("A1", "Fe"): 30000,
            ("A2", "Fe"): 40000,
            ("A3", "Fe"): 50000,
            ("A1", "Cu"): 12,
            ("A2", "Cu"): 13,
            ("A3", "Cu"): "<5",
            ("A1", "Zn"): 3,
            ("A2", "Zn"): 4,
            ("A3", "Zn"): 5,
        },
        {"table-turned"},
    ),
    "hg ppb mixed": (
        "id,Hg,As\n,ppb,ppm\nA1,50,12\nA2,<5,<1\n",
        {("A1", "As"): 12, ("A2", "As"): "<1", ("A1", "Hg"): 0.05, ("A2", "Hg"): "<0.005"},
        set(),
    ),
    "crlf mixed cr": (
        "id,Cu_ppm\r\nA1,12\rA2,13\nA3,14\r\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): 13, ("A3", "Cu"): 14},
        set(),
    ),
    "utf16be nobom": (
        "\x00i\x00d\x00,\x00C\x00u\x00_\x00p\x00p\x00m\x00\n\x00A\x001\x00,\x001\x002\x00\n",
        {("A1", "Cu"): 12},
        set(),
    ),
    "utf32": (
        b"\xff\xfe\x00\x00i\x00\x00\x00d\x00\x00\x00,\x00\x00\x00C\x00\x00\x00u\x00\x00\x00_\x00\x00\x00p\x00\x00\x00p\x00\x00\x00m\x00\x00\x00\n\x00\x00\x00A\x00\x00\x001\x00\x00\x00,\x00\x00\x001\x00\x00\x002\x00\x00\x00\n\x00\x00\x00",
        {("A1", "Cu"): 12},
        set(),
    ),
    "easting suffix": (
        "id,easting,northing,Cu_ppm\nA1,612345mE,7112345mN,12\nA2,612445 m E,7112445 m N,13\n",
        {("A1", "Cu"): 12, ("A2", "Cu"): 13},
        set(),
    ),
}
