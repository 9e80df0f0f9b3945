"""Rows that SQLite takes many at a time are the rows of the table."""

import sqlite3

import numpy as np
import pandas as pd
import pyogrio
import pytest

from geochem.outputs.gis.attribute_rows import insert_rows


@pytest.mark.parametrize("rows", [1, 15, 16, 35])
@pytest.mark.parametrize("wide", [0, 3, 90, 1100])
def test_every_row_comes_back_in_order(tmp_path, rows, wide):
    path = tmp_path / "a.gpkg"
    number = np.arange(rows * wide, dtype=float).reshape(rows, wide)
    frame = pd.DataFrame(number, columns=[f"c{j}" for j in range(wide)])
    frame["word"] = "it's"
    frame["gap"] = pd.Series([None if k % 3 else f"g{k}" for k in range(rows)], dtype=object)
    pyogrio.write_dataframe(frame.head(0), path, layer="t", driver="GPKG")
    insert_rows(frame, path, "t")
    with sqlite3.connect(path) as connection:
        found = connection.execute("SELECT * FROM t ORDER BY fid").fetchall()
        (counted,) = connection.execute("SELECT feature_count FROM gpkg_ogr_contents").fetchone()
    connection.close()
    assert counted == rows
    want = [
        (k + 1, *number[k], "it's", None if k % 3 else f"g{k}") for k in range(rows)
    ]  # numbers, texts, gaps
    assert found == want
