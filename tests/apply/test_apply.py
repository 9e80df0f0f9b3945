"""One operation on one layer gives what the run gives, with a style and told progress."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET

import geopandas as gpd
import jsonschema
import numpy as np
import pytest
import rasterio

from geochem.campaign.apply import apply, parse_options, split_layer
from geochem.campaign.describe import describe, documented
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
    assert (frame["Cu_beyond"] == (frame["Cu_ppm"] > limit)).all()


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
        ("score", "polygons.gpkg", "o.gpkg", {}, "points are needed"),
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


def test_process_descriptions_fit_the_standard(process_schema):
    document = json.loads(json.dumps(describe()))
    check = jsonschema.Draft202012Validator(process_schema.PROCESS)
    assert [p["id"] for p in document["processes"]] == [o.name for o in ON_LAYERS]
    for process in document["processes"]:
        assert list(check.iter_errors(process)) == []
        for name, given in process["inputs"].items():
            assert given["description"], f"{process['id']}.{name} says nothing"
            jsonschema.Draft4Validator.check_schema(given["schema"])
            if "default" in given["schema"]:
                jsonschema.validate(given["schema"]["default"], given["schema"])
    # the check can fail
    wrong = {**document["processes"][0], "jobControlOptions": ["at-once"]}
    assert list(check.iter_errors(wrong))


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
