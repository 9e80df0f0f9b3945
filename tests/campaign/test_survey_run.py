"""Surveys in Parquet: exact numbers whatever the blocks, the processes or the cluster."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest

from geochem.background import thresholds
from geochem.campaign.memory import parse_size, survey_need
from geochem.campaign.runner import run
from geochem.errors import DataRefused, WrongCall
from geochem.read.survey_table import open_survey

pq = pytest.importorskip("pyarrow.parquet")
pa = pytest.importorskip("pyarrow")

CAMPAIGN = """
title = "Survey (invented)"
crs = "EPSG:32735"

[samples]
path = "data"
medium = "soil"

[background]
by = ["geology"]
"""
LIMIT = {"Cu": 8.0, "Zn": 5.0, "As": 34.0}


def make(folder, *, files=3, group=400, n=3000):
    """Write the same survey in so many files of row groups of that length."""
    rng = np.random.default_rng(7)
    frame = pd.DataFrame(
        {"sample_id": [f"N{i:05d}" for i in range(n)], "easting": rng.uniform(0, 90_000, n),
         "northing": rng.uniform(0, 60_000, n)}
    )  # fmt: skip
    unit = (frame["easting"] // 30_000).astype(int)
    frame["geology"] = np.array(["basalt", "granite", None], dtype=object)[unit]
    for k, (element, limit) in enumerate(LIMIT.items()):
        value = np.exp(2.5 + 0.4 * k + 0.3 * unit + rng.normal(0, 0.5, n))
        frame[f"{element}_ppm_below"] = value < limit
        frame[f"{element}_ppm"] = np.where(value < limit, limit, value)
    frame.loc[5, "Cu_ppm"] = np.nan
    frame.loc[6, "Zn_ppm"] = 0.0
    frame.loc[7, ["easting", "northing"]] = np.nan
    (folder / "data").mkdir(parents=True)
    for number, rows in enumerate(np.array_split(np.arange(n), files)):
        pq.write_table(
            pa.Table.from_pandas(frame.iloc[rows], preserve_index=False),
            folder / "data" / f"part-{number}.parquet", row_group_size=group,
        )  # fmt: skip
    (folder / "campaign.toml").write_text(CAMPAIGN)
    return frame


def scores(folder):
    parts = sorted((folder / "results" / "anomalies").glob("*.parquet"))
    return pd.concat([pd.read_parquet(p) for p in parts], ignore_index=True)


def test_thresholds_are_those_of_the_whole_table_in_memory(tmp_path):
    frame = make(tmp_path)
    run(tmp_path)
    found = pd.read_csv(tmp_path / "results" / "thresholds.csv", keep_default_na=False)
    frame.loc[6, "Zn_ppm"] = np.nan
    slow = thresholds(frame.assign(medium="soil", geology=frame["geology"].fillna("")),
                      elements=["Cu", "Zn", "As"], by=["geology"])  # fmt: skip
    mine = found.loc[found["domain"] != "all"].sort_values(["element", "domain", "k"])
    theirs = slow.sort_values(["element", "domain", "k"])
    assert mine["n"].astype(int).tolist() == theirs["n"].tolist()
    assert mine["n_beyond"].astype(int).tolist() == theirs["n_beyond"].tolist()
    np.testing.assert_allclose(mine["value"].astype(float), theirs["value"], rtol=1e-9)


def test_z_is_exact_by_unit_against_pandas(tmp_path):
    frame = make(tmp_path)
    run(tmp_path)
    made = scores(tmp_path)
    assert made["sample_id"].tolist() == frame["sample_id"].tolist()
    log = np.log10(frame["Cu_ppm"])  # a limit counts with its number in median and MAD
    unit = frame["geology"].fillna("")
    middle = log.groupby(unit).transform("median")
    spread = 1.4826 * (log - middle).abs().groupby(unit).transform("median")
    z = ((log - middle) / spread).where(~frame["Cu_ppm_below"])
    np.testing.assert_allclose(made["Cu_z"], z.astype("float32"), rtol=1e-5)


@pytest.mark.parametrize("cut", [{"files": 1, "group": 3000}, {"files": 7, "group": 61}])
def test_blocks_change_nothing(tmp_path, cut):
    make(tmp_path / "a")
    make(tmp_path / "b", **cut)
    run(tmp_path / "a")
    run(tmp_path / "b")
    for name in ("thresholds.csv", "findings.csv"):
        one, two = ((tmp_path / f / "results" / name).read_bytes() for f in "ab")
        assert one == two
    one, two = (pd.read_csv(tmp_path / f / "results" / "cells.csv") for f in "ab")
    pd.testing.assert_frame_equal(one, two, rtol=1e-12)
    pd.testing.assert_frame_equal(scores(tmp_path / "a"), scores(tmp_path / "b"))


def test_two_processes_give_the_same_bytes(tmp_path):
    make(tmp_path / "a")
    make(tmp_path / "b")
    run(tmp_path / "a")
    run(tmp_path / "b", jobs=2)
    for name in ("thresholds.csv", "cells.csv", "findings.csv"):
        one, two = ((tmp_path / f / "results" / name).read_bytes() for f in "ab")
        assert one == two
    pd.testing.assert_frame_equal(scores(tmp_path / "a"), scores(tmp_path / "b"))


@pytest.mark.slow
def test_a_dask_cluster_gives_the_same_numbers(tmp_path):
    distributed = pytest.importorskip("distributed")
    make(tmp_path / "a")
    make(tmp_path / "b")
    run(tmp_path / "a")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None
    ) as cluster:
        run(tmp_path / "b", scheduler=cluster.scheduler_address)
    one, two = (pd.read_csv(tmp_path / f / "results" / "thresholds.csv") for f in "ab")
    pd.testing.assert_frame_equal(one, two, rtol=1e-9)
    one, two = (pd.read_csv(tmp_path / f / "results" / "cells.csv") for f in "ab")
    pd.testing.assert_frame_equal(one, two, rtol=1e-9)
    pd.testing.assert_frame_equal(scores(tmp_path / "a"), scores(tmp_path / "b"), rtol=1e-9)


def test_findings_say_what_was_left_out(tmp_path):
    make(tmp_path)
    result = run(tmp_path)
    said = " ".join(f.message for f in result.bundle.findings)
    assert "1 of 3000 samples have no position" in said
    assert "1 values of Zn are zero or negative" in said
    assert "As is left out of the composition" in said
    record = json.loads((tmp_path / "results" / "run.json").read_text("utf-8"))
    assert sum(name.endswith(".parquet") for name in record["files"]) == len(
        open_survey(sorted((tmp_path / "data").glob("*"))).blocks
    )
    cells = pd.read_csv(tmp_path / "results" / "cells.csv")
    assert cells["samples"].sum() == 2999
    assert cells["Cu_n"].sum() == 2998


def test_memory_is_kept_or_refused(tmp_path):
    make(tmp_path)
    table = open_survey(sorted((tmp_path / "data").glob("*")))
    with pytest.raises(WrongCall, match=r"--memory 100 MiB does not suffice: this survey \(3000"):
        run(tmp_path, memory="100M")
    assert not (tmp_path / "results").exists()
    run(tmp_path, memory=str(survey_need(table, 1)), jobs=4)  # one process fits
    with pytest.raises(WrongCall, match="is no size of memory"):
        run(tmp_path, memory="much")


@pytest.mark.parametrize(
    ("text", "size"), [("4G", 2**32), ("4 GB", 2**32), ("800m", 800 * 2**20), ("12", 12)]
)
def test_sizes(text, size):
    assert parse_size(text) == size


def test_a_scheduler_is_for_surveys_and_must_answer(tmp_path):
    pytest.importorskip("distributed")
    make(tmp_path)
    with pytest.raises(WrongCall, match="no Dask scheduler answers at"):
        run(tmp_path, scheduler="tcp://127.0.0.1:9")
    plain = tmp_path / "plain"
    plain.mkdir()
    (plain / "log.csv").write_text("sample_id,easting,northing\nA1,500100,7000100\n")
    (plain / "campaign.toml").write_text(
        'title = "T"\ncrs = "EPSG:32735"\n[samples]\npath = "log.csv"\n'
    )
    with pytest.raises(WrongCall, match="--scheduler is for a survey"):
        run(plain, scheduler="tcp://127.0.0.1:9")


def test_a_survey_that_is_none_is_refused_in_a_sentence(tmp_path):
    make(tmp_path)
    text = CAMPAIGN + '\n[[assays]]\npath = "x.csv"\nsource = "pxrf"\n'
    (tmp_path / "campaign.toml").write_text(text)
    with pytest.raises(WrongCall, match="cannot be mixed with other tables"):
        run(tmp_path)
    (tmp_path / "campaign.toml").write_text(CAMPAIGN.replace('["geology"]', '["rock"]'))
    with pytest.raises(WrongCall, match="the survey has no column 'rock'"):
        run(tmp_path)
    (tmp_path / "campaign.toml").write_text(CAMPAIGN)
    pq.write_table(pa.table({"x": [1.0]}), tmp_path / "data" / "part-0.parquet")
    with pytest.raises(DataRefused, match="lacks sample_id, easting, northing"):
        run(tmp_path)
    (tmp_path / "data" / "part-0.parquet").write_bytes(b"PAR1 not really")
    with pytest.raises(DataRefused, match="cannot be read as Parquet"):
        run(tmp_path)


def test_decisions_on_a_survey_are_refused_in_a_sentence(tmp_path):
    make(tmp_path)
    path = tmp_path / "decisions.toml"
    path.write_text('[targets.decision.T01]\nchoice = "hold"\n')
    with pytest.raises(WrongCall, match="a survey in Parquet files has neither"):
        run(tmp_path, decisions=path)
    assert not (tmp_path / "results").exists()


def test_a_second_run_of_an_unchanged_survey_stands(tmp_path):
    make(tmp_path)
    first = run(tmp_path)
    again = run(tmp_path, jobs=2)  # how it is worked changes nothing
    assert (first.kept, again.kept) == (False, True)
    assert "nothing has changed since" in again.messages[-1]
    pd.testing.assert_frame_equal(again.bundle.thresholds, first.bundle.thresholds)
    # one value in one of the files, of the same length
    path = sorted((tmp_path / "data").glob("*.parquet"))[1]
    table = pd.read_parquet(path)
    table.loc[3, "Cu_ppm"] += 1.0
    pq.write_table(pa.Table.from_pandas(table, preserve_index=False), path, row_group_size=400)
    assert not run(tmp_path).kept
    assert run(tmp_path).kept
    for part in (tmp_path / "results" / "anomalies").glob("*.parquet"):
        part.write_bytes(part.read_bytes()[:-1])
    assert not run(tmp_path).kept
