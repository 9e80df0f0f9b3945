"""One operation on one layer gives what the run gives, with a style and told progress."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET

import geopandas as gpd
import jsonschema
import numpy as np
import pytest
import rasterio

from geochem.campaign.apply import apply, parse_options
from geochem.campaign.describe import describe, documented
from geochem.campaign.layer_file import split_layer
from geochem.campaign.operations import ON_LAYERS
from geochem.cli.main import main
from geochem.errors import DataRefused, WrongCall

SLD = "{http://www.opengis.net/sld}"


def run(layers, tmp_path, operation, out="out.gpkg:answer", **options):
    done = apply(operation, f"{layers / 'soil.gpkg'}:samples", str(tmp_path / out), options)
    root = ET.parse(done.style).getroot()
    assert root.find(f"{SLD}NamedLayer/{SLD}Name").text == done.layer
    if done.path.suffix == ".tif":
        return done
    frame = gpd.read_file(done.path, layer=done.layer)
    used = {e.text for e in root.iter("{http://www.opengis.net/ogc}PropertyName")}
    assert used <= set(frame.columns)
    return frame


def by_id(frame, column, ids):
    return frame.set_index("sample_id")[column].reindex(ids).to_numpy()


def test_scores_are_those_of_the_run(campaign, layers, tmp_path):
    _, bundle = campaign
    frame = run(layers, tmp_path, "score", elements=["Cu"])
    wanted = bundle.evidence.anomalies
    np.testing.assert_allclose(
        by_id(frame, "Cu_z", wanted["sample_id"]), wanted["Cu_z"], rtol=1e-6
    )
    assert "line" in frame.columns  # what the layer had stays


def test_thresholds_are_those_of_the_run(campaign, layers, tmp_path):
    _, bundle = campaign
    frame = run(layers, tmp_path, "threshold", element="Cu", k=2.0)
    table = bundle.thresholds
    limit = table.loc[(table["element"] == "Cu") & (table["domain"] == "all"), "value"].iloc[0]
    np.testing.assert_allclose(frame["Cu_threshold"], limit)
    assert (frame["Cu_beyond"] == (frame["Cu_used_ppm"] > limit)).all()


def test_log_ratios_are_those_of_the_run(campaign, layers, tmp_path):
    _, bundle = campaign
    frame = run(layers, tmp_path, "log_ratio")
    composition = bundle.compositions[0]
    column = composition.parts.index("Cu")
    np.testing.assert_allclose(
        by_id(frame, "Cu_clr", composition.sample_id), composition.clr[:, column]
    )


def test_gi_star_agrees_with_an_independent_library(layers, tmp_path):
    esda = pytest.importorskip("esda")
    libpysal = pytest.importorskip("libpysal")
    frame = run(layers, tmp_path, "gi_star", element="Cu", neighbours=8)
    inside = frame["Cu_gi_star"].notna()
    assert inside.all()
    assert frame["Cu_gi_barren"].notna().any()
    # the same neighbours, found the same way, judged by the independent statistic
    from geochem.samples.spacing import measure_spacings
    from geochem.stats.neighbours import nearest, scaled_coordinates

    samples = frame.assign(medium="soil", grid=None, use="full")
    spacing = measure_spacings(samples)[0]
    xy = scaled_coordinates(
        frame.geometry.x, frame.geometry.y, spacing.azimuth, spacing.line_spacing,
        spacing.station_spacing,
    )  # fmt: skip
    graph = nearest(xy, 8, include_self=True).tocoo()
    near = {i: [] for i in range(len(frame))}
    for i, j in zip(graph.row.tolist(), graph.col.tolist(), strict=True):
        near[i].append(j)
    score = run(layers, tmp_path, "score", out="score.gpkg:s", elements=["Cu"])["Cu_z"].to_numpy()
    w = libpysal.weights.W(near, silence_warnings=True)
    w.transform = "b"
    reference = esda.G_Local(score, w, star=None, transform="B", permutations=0)
    np.testing.assert_allclose(frame["Cu_gi_star"], reference.Zs, rtol=1e-8, atol=1e-8)


def test_outlines_clusters_and_surface(campaign, layers, tmp_path):
    _, bundle = campaign
    outlines = run(layers, tmp_path, "outlines", elements=["Cu"])
    wanted = bundle.targets.targets
    assert outlines["target"].tolist() == wanted["target"].tolist()
    np.testing.assert_allclose(outlines.geometry.area, wanted.geometry.area, rtol=1e-9)
    groups = run(layers, tmp_path, "clusters", elements=["Cu"])
    assert "group" in groups.columns
    done = run(layers, tmp_path, "surface", out="cu.tif", element="Cu")
    surface = next(s for s in bundle.surfaces if s.name == "Cu_ppm")
    with rasterio.open(done.path) as grid:
        values = grid.read(1, masked=True)
        np.testing.assert_allclose(
            values.compressed(), surface.values[np.isfinite(surface.values)], rtol=1e-6
        )
    entries = list(ET.parse(done.style).getroot().iter(f"{SLD}ColorMapEntry"))
    steps = [float(e.get("quantity")) for e in entries]
    assert steps == sorted(steps)
    assert len(steps) >= 2


def test_degrees_need_a_crs_to_work_in(layers, tmp_path):
    source, out = str(layers / "soil.geojson"), str(tmp_path / "out.geojson")
    with pytest.raises(WrongCall, match="not projected in metres"):
        apply("threshold", source, out, {"element": "Cu"})
    done = apply("threshold", source, out, {"element": "Cu", "crs": "EPSG:32735"})
    frame = gpd.read_file(done.path)
    assert frame.crs == "EPSG:4326"
    assert frame["Cu_beyond"].any()


@pytest.fixture
def frame(layers):
    return gpd.read_file(layers / "soil.gpkg", layer="samples")


def threshold(folder, frame, source, out, **kinds):
    """Write the layer in a format, apply to it, read the answer; names of the style must exist."""
    frame.to_file(folder / source, **kinds)
    done = apply(
        "threshold", str(folder / source), str(folder / out),
        {"element": "Cu", "crs": "EPSG:32735"},
    )  # fmt: skip
    style = ET.parse(done.style).getroot()
    answer = gpd.read_file(done.path)
    used = {e.text for e in style.iter("{http://www.opengis.net/ogc}PropertyName")}
    assert used <= set(answer.columns)
    assert len(answer) == len(frame)
    return done, answer


def test_features_are_called_by_their_sample_ids(frame, tmp_path):
    frame.loc[3, "geometry"] = None
    named = frame.rename(columns={"sample_id": "Sample No"})
    done, _ = threshold(tmp_path, named, "named.gpkg", "a.gpkg")
    told = {f.code: f.message for f in done.findings}
    assert frame.loc[3, "sample_id"] in told["position-missing"]
    assert "features-numbered" not in told
    # two features of one id would become one sample: they are numbered, and it is said
    named.loc[5, "Sample No"] = named.loc[4, "Sample No"].lower()
    done, answer = threshold(tmp_path, named, "double.gpkg", "b.gpkg")
    told = {f.code: f.message for f in done.findings}
    assert ": 004." in told["position-missing"]
    assert "'double.gpkg'" in told["features-numbered"]
    assert answer["Cu_beyond"].drop(index=3).notna().all()


@pytest.mark.parametrize("out", ["o.gpkg", "o.shp", "o.fgb", "o.geojson"])
def test_nothing_of_the_layer_is_lost(frame, tmp_path, out):
    heights = np.arange(len(frame)) + 0.5
    frame.geometry = gpd.points_from_xy(frame.geometry.x, frame.geometry.y, heights, crs=32735)
    mine = {"Feature": "mine", "FID": "seven", "cu_THRESHOLD": "text", "Färbung 色": "röt"}
    frame = frame.assign(**mine)
    _, answer = threshold(tmp_path, frame, "in.fgb", out, driver="FlatGeobuf")
    # FlatGeobuf keeps its features in the order of its index
    answer = answer.set_index("sample_id").loc[frame["sample_id"]]
    np.testing.assert_allclose(answer.geometry.z, heights)
    assert answer["Cu_beyond"].any()
    texts = {c: set(answer[c]) for c in answer.columns if c != "geometry"}
    for name, text in mine.items():
        assert {text} in texts.values(), name
    if not out.endswith(".shp"):
        assert answer["cu_THRESHOLD"].eq("text").all()
        assert answer["Cu_threshold_1"].gt(0).all()


def test_what_a_geojson_may_hold(frame, tmp_path):
    # RFC 7946: names and values of properties are free
    frame.to_crs(4326).to_file(tmp_path / "plain.geojson")
    document = json.loads((tmp_path / "plain.geojson").read_text("utf-8"))
    for i, feature in enumerate(document["features"]):
        feature["properties"] |= {"fid": f"A{i}", "geom": "x", "list": [1, 2], "tab": {"a": 1}}
        feature["properties"]["ZN_ppm "] = 5.0
    document["features"][7]["geometry"] = None
    (tmp_path / "odd.geojson").write_text(json.dumps(document))
    options = {"element": "Cu", "crs": "EPSG:32735"}
    for out in ("odd.gpkg", "odd.fgb", "odd.shp"):
        done = apply("threshold", str(tmp_path / "odd.geojson"), str(tmp_path / out), options)
        answer = gpd.read_file(done.path)
        assert json.loads(answer["tab"].iloc[0]) == {"a": 1}
        assert answer["fid"].tolist() == [f"A{i}" for i in range(len(answer))]
        assert answer.geometry.isna().sum() == 1


@pytest.mark.parametrize("ending", ["kml", "gpx"])
def test_places_of_a_handheld(frame, tmp_path, ending):
    places = frame.to_crs(4326).rename(columns={"sample_id": "name"})
    more = {}
    if ending == "gpx":
        more = {"layer": "waypoints", "dataset_options": {"GPX_USE_EXTENSIONS": "YES"}}
    done, answer = threshold(
        tmp_path, places, f"soil.{ending}", "o.gpkg", driver=ending.upper(), engine="pyogrio",
        **more,
    )  # fmt: skip
    assert answer["Cu_beyond"].any()
    assert "features-numbered" not in {f.code for f in done.findings}


def test_a_layer_that_is_read_or_open_elsewhere_is_not_written(layers, frame, tmp_path):
    path = tmp_path / "soil.gpkg"
    frame.to_file(path, layer="samples", driver="GPKG")
    before = path.read_bytes()
    with pytest.raises(WrongCall, match="is the layer that is read"):
        apply("score", f"{path}:samples", f"{path}:samples", {})
    journal = tmp_path / "soil.gpkg-wal"
    journal.write_bytes(b"pages of another program")
    with pytest.raises(DataRefused, match="open in another program"):
        apply("score", f"{path}:samples", f"{path}:more", {})
    assert path.read_bytes() == before
    frame.set_crs(None, allow_override=True).to_file(tmp_path / "bare.gpkg", driver="GPKG")
    with pytest.raises(DataRefused, match="says no CRS"):
        apply("score", str(tmp_path / "bare.gpkg"), str(tmp_path / "o.gpkg"), {})
    with pytest.raises(WrongCall, match="no coordinate reference system"):
        apply("score", str(layers / "soil.gpkg"), str(tmp_path / "o.gpkg"), {"crs": "here"})


@pytest.mark.parametrize(
    ("operation", "source", "out", "options", "message"),
    [
        ("scores", "soil.gpkg:samples", "o.gpkg", {}, "Did you mean 'score'"),
        ("score", "soil.gpkg:sample", "o.gpkg", {}, "Did you mean 'samples'"),
        ("score", "soil.gpkg:samples", "o.xyz", {}, "writes a file that ends with"),
        ("threshold", "soil.gpkg:samples", "o.gpkg", {}, "needs the option 'element'"),
        ("threshold", "soil.gpkg:samples", "o.gpkg", {"element": "Xx"}, "no column of 'Xx'"),
        ("gi_star", "soil.gpkg:samples", "o.gpkg", {"element": "Cu", "neighbours": 1},
         "must be at least 3"),
        ("score", "none.gpkg", "o.gpkg", {}, "there is no file"),
        ("score", "polygons.gpkg", "o.gpkg", {}, "needs points"),
        ("score", "/vsicurl/http://x/soil.gpkg", "o.gpkg", {}, "only local files"),
        ("score", "soil.zip", "o.gpkg", {}, "is an archive"),
    ],
)  # fmt: skip
def test_wrong_calls_are_sentences(layers, tmp_path, operation, source, out, options, message):
    given = source if source.startswith("/") else str(layers / source)
    with pytest.raises((WrongCall, DataRefused), match=message):
        apply(operation, given, str(tmp_path / out), options)
    assert list(tmp_path.iterdir()) == []


def test_the_command_tells_progress_as_json_lines(layers, tmp_path, capsys):
    arguments = [
        "apply", "threshold", f"{layers / 'soil.gpkg'}:samples", "--out",
        str(tmp_path / "o.gpkg:cu"), "--option", "element=Cu", "--option", "k=2.5",
        "--progress", "json",
    ]  # fmt: skip
    with pytest.raises(SystemExit) as caught:
        main(arguments)
    assert caught.value.code == 0
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    steps = [line["progress"] for line in lines[:-1]]
    assert steps == sorted(steps)
    assert steps[-1] == 100
    assert lines[-1]["layer"] == "cu"
    assert lines[-1]["rows"] == 120
    # a second layer goes into the same file
    apply("score", f"{layers / 'soil.gpkg'}:samples", str(tmp_path / "o.gpkg:two"), {})
    assert set(gpd.list_layers(tmp_path / "o.gpkg")["name"]) == {"cu", "two"}


def test_options_and_paths_are_understood():
    assert split_layer("D:/a b/soil.gpkg:lay er") == ("D:/a b/soil.gpkg", "lay er")
    assert parse_options("surface", ["element=Cu", "max_cells=100"])["max_cells"] == 100
    with pytest.raises(WrongCall, match="takes name=value"):
        parse_options("surface", ["element"])
    with pytest.raises(WrongCall, match="must be int"):
        parse_options("surface", ["max_cells=many"])


def test_process_descriptions_ask_for_what_the_functions_take():
    document = json.loads(json.dumps(describe()))
    by_name = {o.name: o for o in ON_LAYERS}
    assert [p["id"] for p in document["processes"]] == list(by_name)
    for process in document["processes"]:
        for name, given in process["inputs"].items():
            assert given["description"], f"{process['id']}.{name} says nothing"
            jsonschema.Draft4Validator.check_schema(given["schema"])
            if "default" in given["schema"]:
                jsonschema.validate(given["schema"]["default"], given["schema"])
        required = [o.name for o in by_name[process["id"]].options() if o.required]
        assert [n for n, i in process["inputs"].items() if i["minOccurs"]] == ["layer", *required]


@pytest.mark.published
def test_process_descriptions_are_those_of_the_published_definition():
    # the package is made by a generator from the OpenAPI definition that OGC publishes with
    # OGC API - Processes - Part 1: Core 1.0 (OGC 18-062r2): kinds are strict, what the definition
    # does not name is dropped on the way
    published = pytest.importorskip("ogc_api_processes_client")

    def kept(given, back, where):
        if isinstance(given, dict):
            for key, value in given.items():
                assert key in back, f"{where}.{key} is not in the definition"
                kept(value, back[key], f"{where}.{key}")
        elif isinstance(given, list):
            assert len(given) == len(back), where
            for one, other in zip(given, back, strict=True):
                kept(one, other, where)
        else:
            assert given == back, where

    processes = json.loads(json.dumps(describe()))["processes"]
    for process in processes:
        back = json.loads(published.Process.from_dict(process).to_json())
        kept(process, back, process["id"])
    for wrong in (
        {"jobControlOptions": ["at-once"]},
        {"version": 1},
        {"id": None},
        {"inputs": {"layer": {"schema": {"type": "whole"}}}},
        {"inputs": {"layer": {"minOccurs": "one", "schema": {"type": "string"}}}},
    ):
        with pytest.raises(ValueError, match=r"validation error|No match found"):
            published.Process.from_dict({**processes[0], **wrong})
    more = {**processes[0], "howto": "x"}
    back = json.loads(published.Process.from_dict(more).to_json())
    with pytest.raises(AssertionError, match="not in the definition"):
        kept(more, back, "x")


def test_method_schemas_take_defaults_and_refuse_the_unknown():
    for group in describe()["methods"].values():
        for schema in group.values():
            jsonschema.Draft202012Validator.check_schema(schema)
            defaults = {k: v["default"] for k, v in schema["properties"].items() if "default" in v}
            required = dict.fromkeys(schema["required"], "x")
            jsonschema.validate({**required, **defaults}, schema)
            with pytest.raises(jsonschema.ValidationError):
                jsonschema.validate({**required, "no such option": 1}, schema)


def test_every_option_of_every_operation_is_documented():
    for operation in ON_LAYERS:
        words = {}
        for function in operation.functions():
            words |= documented(function.__doc__)[1]
        assert {o.name for o in operation.options()} <= set(words)
