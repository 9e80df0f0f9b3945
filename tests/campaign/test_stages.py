"""Kept stages: never stale, never believed when not our own, the same numbers with and without."""

from __future__ import annotations

import json
import os
from datetime import date
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import geochem
from geochem.campaign import records
from geochem.campaign.operations import OPERATIONS
from geochem.campaign.record_form import NotStorable, decode, encode
from geochem.campaign.settings import read_campaign
from geochem.campaign.stages import Stages, keys_of
from geochem.errors import DataRefused
from geochem.model.finding import Finding

DAY = date(2026, 3, 20)


@pytest.fixture(scope="module")
def small():
    from importlib.util import module_from_spec, spec_from_file_location

    place = Path(__file__).parents[1] / "faults" / "small_campaign.py"
    spec = spec_from_file_location("small_campaign", place)
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(autouse=True)
def own_secret(tmp_path_factory, monkeypatch):
    home = tmp_path_factory.mktemp("home")
    monkeypatch.setenv("LOCALAPPDATA" if os.name == "nt" else "XDG_CACHE_HOME", str(home))
    return home


simple = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5) | st.dates(),
    lambda inner: st.lists(inner, max_size=3) | st.lists(inner, max_size=3).map(tuple)
    | st.dictionaries(st.text(max_size=3) | st.tuples(st.text(max_size=2)), inner, max_size=3),
    max_leaves=8,
)  # fmt: skip


@given(simple)
@settings(max_examples=60, deadline=None)
def test_plain_values_come_back_with_their_kinds(value):
    assert repr(decode(encode(value))) == repr(value)


def test_tables_come_back_with_every_bit():
    frame = pd.DataFrame(
        {
            "t": np.array(["a", None, "ü"], dtype=object),
            "s": pd.Series(["a", None, "b"], dtype="str"),
            "n": [0.1 + 0.2, np.nan, -0.0],
            "f": [True, False, True],
            "c": pd.array([1, None, 2**60], dtype="Int64"),
            "d": np.array(["2026-03-20", "NaT", "1999-12-31T23:59:59.123456789"], "M8[ns]"),
            "m": np.array([1, "x", None], dtype=object),
        }
    )
    places = gpd.points_from_xy([0.1, 1e7, np.nextafter(5, 6)], [1, 2, 3])
    layer = gpd.GeoDataFrame(frame, geometry=places, crs="EPSG:32735")
    layer.loc[1, "geometry"] = None
    for given_frame in (frame, frame.iloc[:0], layer):
        back = decode(encode(given_frame))
        assert type(back) is type(given_frame)
        pd.testing.assert_frame_equal(
            back, given_frame, check_exact=True, check_index_type="exact"
        )
    assert decode(encode(layer)).crs.srs == layer.crs.srs
    record = (
        Finding("x", "note", "sentence"),
        np.float64(0.1),
        np.array([[1, None]], dtype=object),
    )
    back = decode(encode(record))
    assert back[0] == record[0]
    assert type(back[1]) is np.float64
    assert back[2].tolist() == record[2].tolist()
    assert encode(layer) == encode(decode(encode(layer)))


@pytest.mark.parametrize(
    "record", [object(), {1}, pd.DataFrame({"a": [1]}, index=["x"]), lambda: 1, 1j, b"x"]
)
def test_what_has_no_form_is_refused(record):
    with pytest.raises(NotStorable):
        encode(record)


@pytest.mark.parametrize(
    "tree",
    [
        '{"record": ["os", "system", {}]}', '{"record": ["geochem.cli.main", "main", {}]}',
        '{"record": ["geochem.model.finding", "Finding.__init__", {}]}', '{"call": 1}', "[", "{}",
        '{"array": 7}',
    ],
)  # fmt: skip
def test_stored_bytes_can_call_nothing(tree):
    import io
    import zipfile

    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("tree.json", tree)
    with pytest.raises(ValueError, match="not a stored record"):
        decode(out.getvalue())


def test_a_stage_of_somebody_else_or_damaged_is_not_believed(tmp_path):
    mine = Stages(tmp_path, b"m" * 32)
    mine.keep("k", "survey", {"n": 1})
    assert mine.take("k", "survey") == {"n": 1}
    theirs = Stages(tmp_path, b"t" * 32)
    with pytest.raises(KeyError):
        theirs.take("k", "survey")
    (tmp_path / "survey-k.stage").rename(tmp_path / "survey-other.stage")
    with pytest.raises(KeyError):
        mine.take("other", "survey")
    mine.keep("k", "survey", {"n": 1})
    content = bytearray((tmp_path / "survey-k.stage").read_bytes())
    content[-30] ^= 1
    (tmp_path / "survey-k.stage").write_bytes(bytes(content))
    with pytest.raises(KeyError):
        mine.take("k", "survey")


def test_the_folder_stays_within_its_size(tmp_path):
    stages = Stages(tmp_path, b"m" * 32)
    for number in range(6):
        Stages(tmp_path, b"m" * 32).keep(str(number), "x", "y" * 10_000)
        os.utime(tmp_path / f"x-{number}.stage", (number, number))
    stages.take("0", "x")
    stages.tidy(35_000)
    kept = sorted(p.name for p in tmp_path.glob("*.stage"))
    assert kept == ["x-0.stage", "x-4.stage", "x-5.stage"]


def test_a_record_that_would_drive_out_all_others_is_not_kept(tmp_path, monkeypatch):
    monkeypatch.setattr("geochem.campaign.stages.MOST_BYTES", 100_000)
    stages = Stages(tmp_path, b"m" * 32)
    stages.keep("k", "large", {"a": np.zeros(4_000), "b": np.zeros(4_000)})
    stages.keep("k", "small", {"a": np.zeros(4_000)})
    assert not stages.has("k", "large")
    assert stages.has("k", "small")


def changed(folder, keys):
    now = keys_of(OPERATIONS, read_campaign(folder), {"until": None, "clock": DAY}, DAY)
    return [o.name for o, old, new in zip(OPERATIONS, keys, now, strict=True) if old != new]


def test_a_key_changes_with_all_it_depends_on_and_nothing_else(small, tmp_path, monkeypatch):
    path = small.write_small_campaign(tmp_path)
    keys = keys_of(OPERATIONS, read_campaign(path), {"until": None, "clock": DAY}, DAY)
    text = path.read_text("utf-8")
    everything = [o.name for o in OPERATIONS]
    assert changed(path, keys) == []
    last = everything[everything.index("targets") :]  # and what is made of the targets
    path.write_text(text.replace("Small grid", "Another name"))
    assert changed(path, keys) == []
    path.write_text(text + "[outputs.options.gis]\nresults_table = false\n")
    assert changed(path, keys) == []
    path.write_text(text.replace('seek = ["Cu"]', 'seek = ["Cu"]\nwanted = 3'))
    assert changed(path, keys) == last
    path.write_text(text.replace('seek = ["Cu"]', 'seek = ["Zn"]'))
    assert "judge" in changed(path, keys)
    assert "join" not in changed(path, keys)
    (tmp_path / "limits.csv").write_text("element,value\nCu,100\n")
    path.write_text(text + '[background]\nguidelines = "limits.csv"\n')
    with_file = keys_of(OPERATIONS, read_campaign(path), {"until": None, "clock": DAY}, DAY)
    (tmp_path / "limits.csv").write_text("element,value\nCu,200\n")
    assert "background" in changed(path, with_file)
    assert "join" not in changed(path, with_file)
    own = tmp_path / "ours.toml"
    own.write_text("[[association]]\nname = 'a'\nweights = { Cu = 1 }\n")
    path.write_text(text.replace('seek = ["Cu"]', 'seek = ["Cu"]\npresets = "ours.toml"'))
    with_file = keys_of(OPERATIONS, read_campaign(path), {"until": None, "clock": DAY}, DAY)
    own.write_text("[[association]]\nname = 'a'\nweights = { Cu = 2 }\n")
    assert {"background", "anomalies"} <= set(changed(path, with_file))
    assert "join" not in changed(path, with_file)
    path.write_text(text)
    (tmp_path / "history").mkdir()
    (tmp_path / "history" / "register.csv").write_text(
        "target,status,date,by,reason\nT01,drilled,,,\n"
    )
    assert changed(path, keys) == last
    (tmp_path / "history" / "register.csv").unlink()
    (tmp_path / "history" / f"{DAY}.json").write_text("{}")
    assert changed(path, keys) == []
    readings = tmp_path / "readings.csv"
    before = readings.stat()
    readings.write_bytes(readings.read_bytes().replace(b"S007", b"S07 "))
    os.utime(readings, ns=(before.st_atime_ns, before.st_mtime_ns))  # bytes decide, not the date
    assert changed(path, keys) == everything
    readings.write_bytes(readings.read_bytes().replace(b"S07 ", b"S007"))
    assert changed(path, keys) == []
    monkeypatch.setattr("geochem.campaign.stages._own_hash", lambda: "another program")
    assert changed(path, keys) == everything


def test_a_step_cannot_obey_what_its_key_does_not_know(small, tmp_path):
    view = read_campaign(small.write_small_campaign(tmp_path)).only(("background", "targets.seek"))
    assert view.table("targets") == {"seek": ["Cu"]}
    for name in ("surfaces", "outputs"):
        with pytest.raises(KeyError):
            view.table(name)
    assert "title" not in view.top
    assert view.layers == {}


def outputs(folder):
    return {p.name: p.read_bytes() for p in sorted((folder / "results").glob("*.csv"))}


def test_the_second_run_the_changed_one_and_the_one_without_stages(small, tmp_path, monkeypatch):
    ran = []
    original = records.carry_out

    def told(*args, **kwargs):
        timings, findings = original(*args, **kwargs)
        ran.append(list(timings))
        return timings, findings

    monkeypatch.setattr(records, "carry_out", told)
    path = small.write_small_campaign(tmp_path, renderers=["tables"])
    first = geochem.run(path)
    whole = outputs(tmp_path)
    again = geochem.run(path)
    assert again.kept
    assert "nothing has changed since the run of" in again.messages[-1]
    assert len(ran) == 1
    assert repr(again.bundle.targets.targets) == repr(first.bundle.targets.targets)
    assert ran[1] == []
    # a file of the result that was touched is made again, from the stages
    (tmp_path / "results" / "samples.csv").write_text("mine now")
    assert not geochem.run(path).kept
    assert ran[2] == []
    assert outputs(tmp_path) == whole
    path.write_text(path.read_text("utf-8").replace('seek = ["Cu"]', 'seek = ["Cu"]\nwanted = 3'))
    geochem.run(path)
    names = [o.name for o in OPERATIONS]
    assert ran[3] == names[names.index("targets") :]
    with_stages = outputs(tmp_path)
    for stage in (tmp_path / ".stages").iterdir():
        stage.unlink()
    geochem.run(path)
    assert ran[4] == names
    assert outputs(tmp_path) == with_stages


def test_own_associations_and_guidelines_are_inputs_of_the_run(small, tmp_path):
    path = small.write_small_campaign(tmp_path, renderers=["tables"])
    text = path.read_text("utf-8")
    assert 'seek = ["Cu"]' in text
    (tmp_path / "limits.csv").write_text("element,value,unit\nCu,100,ppm\n")
    own = tmp_path / "ours.toml"
    own.write_text("[[association]]\nname = 'copper_only'\nweights = { Cu = 1, Zn = 0.3 }\n")
    path.write_text(
        text.replace('seek = ["Cu"]', 'seek = ["Cu"]\npresets = "ours.toml"')
        + '[background]\nguidelines = "limits.csv"\n'
    )
    bundle = geochem.run(path).bundle
    assert [a.name for a in bundle.evidence.associations] == ["copper_only"]
    record = json.loads((tmp_path / "results" / "run.json").read_text("utf-8"))
    assert {"ours.toml", "limits.csv"} <= {row["path"] for row in record["inputs"]}
    own.write_text("[[association]]\nname = 'copper_only'\n")
    with pytest.raises(DataRefused, match="association 1: 'copper_only' needs"):
        geochem.run(path)


def test_no_home_no_stages(small, tmp_path, monkeypatch):
    blocked = tmp_path / "file"
    blocked.write_text("")
    monkeypatch.setenv("LOCALAPPDATA" if os.name == "nt" else "XDG_CACHE_HOME", str(blocked))
    stages = Stages(tmp_path / ".stages")
    stages.keep("k", "x", 1)
    assert not (tmp_path / ".stages").exists()
    assert not stages.has("k", "x")
