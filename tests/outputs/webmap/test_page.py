"""The page as text: self-contained, the same every time, escaped, complete."""

import base64
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from geochem import plugins
from geochem.errors import WrongCall
from geochem.outputs.webmap.geography import wgs84_polynomial
from geochem.outputs.webmap.page import ASSETS, SCRIPTS, STYLES
from geochem.outputs.webmap.renderer import MapRenderer, map_data, method_words
from geochem.outputs.webmap.surface_image import surface_entry
from geochem.outputs.webmap.vector_layers import shapes_of


def test_nothing_refers_to_the_network(page_path):
    text = page_path.read_text(encoding="utf-8")
    assert not re.findall(r"""(?:src|href|action)\s*=\s*["']?\s*(?:https?:)?//""", text)
    assert not re.findall(r"url\(\s*['\"]?(?!data:|#)", text)
    assert "sourceMappingURL" not in text
    assert "@import" not in text


def test_policy_forbids_requests_and_foreign_scripts(page_path):
    text = page_path.read_text(encoding="utf-8")
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', text).group(1)
    policy = policy.replace("&#39;", "'")
    assert "default-src 'none'" in policy
    assert policy.count("'sha256-") == 2
    assert "unsafe-inline" not in policy.split("style-src")[0]


def test_licence_and_cautions_stand_on_the_page(page_path):
    text = page_path.read_text(encoding="utf-8")
    for words in (
        "BSD 2-Clause License", "Agafonkin", "not a laboratory assay", "not a resource",
        "competent or qualified person", "UTM zone 35S", "n = 400 samples",
    ):  # fmt: skip
        assert words in text


def test_same_bundle_gives_same_bytes(small, factory, page_path, tmp_path):
    again = MapRenderer().render(factory.make_bundle(), tmp_path)[0]
    assert again.read_bytes() == page_path.read_bytes()


def test_order_of_columns_and_layers_changes_nothing_but_results_rows(small, page_path, tmp_path):
    survey = small.survey
    results = survey.results.sample(frac=1, random_state=3).reset_index(drop=True)
    layers = replace(small.layers, vector=dict(reversed(small.layers.vector.items())))
    other = replace(small, survey=replace(survey, results=results), layers=layers)
    again = MapRenderer().render(other, tmp_path)[0]
    assert again.read_bytes() == page_path.read_bytes()


def test_hostile_text_never_closes_a_tag(page_path, factory):
    text = page_path.read_text(encoding="utf-8")
    assert factory.HOSTILE not in text
    assert "\\u003cscript\\u003ealert(1)" in text  # it is there, as data


def test_hostile_title_is_neither_markup_nor_template(small, tmp_path):
    info = replace(small.info, title="<b>{{ 7 * 7 }}</b>{% raw %}", prepared_by="</title>{{x}}")
    path = MapRenderer().render(replace(small, info=info), tmp_path)[0]
    text = path.read_text(encoding="utf-8")
    assert "&lt;b&gt;{{ 7 * 7 }}&lt;/b&gt;{% raw %}" in text
    assert "<b>{{" not in text
    assert "&lt;/title&gt;{{x}}" in text


def test_counts_and_places_agree_with_the_records(page_data, small):
    samples = small.survey.samples
    assert page_data["samples"]["n"] == len(samples)
    assert page_data["samples"]["ids"] == samples["sample_id"].tolist()
    assert [t["target"] for t in page_data["targets"]] == small.targets.targets["target"].tolist()
    members = small.targets.members.groupby("target").size()
    assert {t["target"]: len(t["members"]) for t in page_data["targets"]} == members.to_dict()
    assert len(page_data["follow_up"]) == len(small.targets.follow_up)
    assert len(page_data["surfaces"]) == len(small.surfaces)
    geology = next(layer for layer in page_data["layers"] if layer["name"] == "geology")
    assert geology["units"] == sorted(small.layers.get("geology")["unit"])


def test_counted_elements_come_first_with_their_thresholds(page_data, small):
    first = page_data["elements"][0]
    assert first["counted"]
    zones = [tuple(z) for z in page_data["samples"]["zones"]]
    table = small.thresholds.set_index(["medium", "domain", "element", "k"])["value"]
    for zone, threshold in zip(zones, first["thresholds"], strict=True):
        assert threshold["possible"] == pytest.approx(table[(*zone, first["symbol"], 2.0)], 1e-4)
        assert threshold["probable"] == pytest.approx(table[(*zone, first["symbol"], 3.0)], 1e-4)
    gold = next(e for e in page_data["elements"] if e["symbol"] == "Au")
    assert (gold["unit"], gold["divisor"]) == ("ppb", 0.001)


def test_surfaces_are_shown_in_the_unit_of_the_samples(page_data, small):
    copper, score = page_data["surfaces"]
    assert (copper["title"], copper["unit"]) == ("Cu, soil", "ppm")
    grid = small.surfaces[0]
    west, south, east, north = copper["bounds"]
    assert (west, north) == (grid.west, grid.north)
    assert (east - west) / grid.cell == grid.values.shape[1]
    assert (north - south) / grid.cell == grid.values.shape[0]
    assert score["limits"] == [0.0, 1.0, 2.0, 3.0, 4.0, 5.0]
    iron = replace(grid, name="Fe_ppm", title="Fe", values=grid.values * 1000)
    shown = surface_entry(iron, {"Fe": (1e4, "%")})
    assert shown["unit"] == "%"
    assert max(shown["limits"]) < 1000  # 1-2-5 limits in per cent, not in mg/kg


def test_one_threshold_only_takes_probable_from_the_background(small):
    thresholds = small.thresholds[small.thresholds["k"] == 2.0].reset_index(drop=True)
    data = map_data(replace(small, thresholds=thresholds))
    row = small.backgrounds.query("domain == 'all' and medium == 'stream sediment'")
    row = row[row["element"] == "Cu"].iloc[0]
    copper = next(e for e in data["elements"] if e["symbol"] == "Cu")
    zone = data["samples"]["zones"].index(["stream sediment", "all"])
    expected = 10 ** (row["location"] + 3 * row["scale"])
    assert copper["thresholds"][zone]["probable"] == pytest.approx(expected, rel=1e-4)


def test_the_first_element_is_a_sought_one_else_the_leading_one(small, page_data):
    symbols = [e["symbol"] for e in page_data["elements"]]
    assert symbols[page_data["first_element"]] == "Cu"
    settings = {**small.settings, "targets": {"seek": ["Au", "Cu"]}}
    data = map_data(replace(small, settings=settings))
    assert data["elements"][data["first_element"]]["symbol"] == "Au"


def test_a_barren_bundle_still_makes_a_page(factory, tmp_path):
    bundle = factory.make_bundle(n=40, barren=True)
    path = MapRenderer().render(bundle, tmp_path)[0]
    assert "No outline holds three samples" in path.read_text(encoding="utf-8")


def test_a_survey_without_samples_still_makes_a_page(small, tmp_path):
    nothing = small.survey.samples.iloc[:0].reset_index(drop=True)
    evidence = replace(
        small.evidence,
        anomalies=small.evidence.anomalies.iloc[:0].reset_index(drop=True),
        scores=small.evidence.scores.iloc[:0],
        coherence=small.evidence.coherence.iloc[:0],
    )
    survey = replace(small.survey, samples=nothing)
    data = map_data(replace(small, survey=survey, evidence=evidence))
    assert data["samples"]["n"] == 0
    assert MapRenderer().render(replace(small, survey=survey, evidence=evidence), tmp_path)


def test_too_many_samples_are_aggregated_to_the_largest_value(factory):
    bundle = factory.make_bundle(n=3000)
    data = map_data(bundle, aggregate_above=1000)
    cells = data["samples"]
    assert cells["total"] == 3000
    assert cells["cell"] > 0
    assert sum(int(i.split(" ")[0]) for i in cells["ids"]) == 3000
    assert cells["n"] == len(set(cells["ids"]))


def test_input_is_not_changed(small, tmp_path):
    before = small.survey.samples.copy()
    MapRenderer().render(small, tmp_path)
    pd.testing.assert_frame_equal(pd.DataFrame(small.survey.samples), pd.DataFrame(before))


def test_geographic_polynomial_agrees_with_pyproj():
    from pyproj import Transformer

    extent = (600_000.0, 7_400_000.0, 620_000.0, 7_415_000.0)
    fit = wgs84_polynomial("EPSG:32735", extent)
    assert fit["error_m"] < 0.01
    forward = Transformer.from_crs("EPSG:32735", "EPSG:4326", always_xy=True)
    for e, n in ((601_234.0, 7_402_345.0), (625_000.0, 7_420_000.0)):
        u = (e - fit["centre"][0]) / fit["half"][0]
        v = (n - fit["centre"][1]) / fit["half"][1]
        powers = [(i, j) for i in range(6) for j in range(6 - i)]
        lon = sum(c * u**i * v**j for c, (i, j) in zip(fit["lon"], powers, strict=True))
        lat = sum(c * u**i * v**j for c, (i, j) in zip(fit["lat"], powers, strict=True))
        np.testing.assert_allclose((lon, lat), forward.transform(e, n), atol=2e-7)  # 2 cm


def test_shapes_are_steps_of_whole_decimetres():
    from shapely.geometry import MultiPoint, Polygon

    hole = [(2, 2), (3, 2), (3, 3)]
    shapes = shapes_of(Polygon([(0, 0), (10, 0), (10, 10)], [hole]), (-1.0, 0.0))
    assert [s[0] for s in shapes] == ["a", "a"]
    assert shapes[0][1][:4] == [10, 0, 100, 0] or shapes[0][1][:2] == [10, 0]
    total = np.array(shapes[0][1]).reshape(-1, 2).sum(axis=0)
    assert total.tolist() == [10, 0]  # the ring comes back to its start
    assert len(shapes_of(MultiPoint([(0, 0), (1, 1)]), (0.0, 0.0))) == 2


def test_a_wrong_option_is_refused_in_a_sentence(small, tmp_path):
    with pytest.raises(WrongCall, match="number of samples, 1 or more"):
        MapRenderer().render(small, tmp_path, aggregate_above=0)


def test_registry_knows_the_renderer_and_its_option():
    renderer = plugins.load("renderers", "map")
    assert renderer is MapRenderer
    assert [o.name for o in plugins.options_of(renderer, "render")] == ["aggregate_above"]


def test_method_in_words():
    settings = {"background": {"method": "median_mad", "options": {"k": 2, "log": True}}}
    assert method_words(settings) == "thresholds: median + 2 MAD of log10 values"
    assert method_words({}) == "thresholds: median + 2 MAD of log10 values"


def test_every_asset_is_used_and_short():
    used = {*SCRIPTS, *STYLES, "head.html.j2", "body.html.j2"}
    assert {p.name for p in ASSETS.iterdir()} == used
    for name in SCRIPTS:
        lines = (ASSETS / name).read_text(encoding="utf-8").splitlines()
        assert len(lines) < 500, name
        assert not any("innerHTML" in line or "insertAdjacent" in line for line in lines), name


def test_structures_carry_dip_and_direction(small):
    import geopandas as gpd
    from shapely.geometry import LineString, Point

    from geochem.model.layers import Layer, Layers
    from geochem.outputs.webmap.vector_layers import layer_entries

    x, y = small.survey.samples.geometry.x.mean(), small.survey.samples.geometry.y.mean()
    frame = gpd.GeoDataFrame(
        {"Dip": [62, None, 120, 45.4], "DIP_DIRECTION": [370, 10, 10, 90]},
        geometry=[LineString([(x, y), (x + 90, y)]), *(Point(x + k, y) for k in (1, 2, 3))],
        crs=small.info.crs,
    )
    layers = Layers({"structures": Layer("structures", frame, None, None)})
    extent = (x - 500, y - 500, x + 500, y + 500)
    (entry,) = layer_entries(layers, (x, y), extent)
    assert [f.get("dip") for f in entry["features"]] == [[62, 10], None, None, [45, 90]]


def test_indices_can_be_chosen_and_drifting_thresholds_follow_each_sample(small):
    samples = small.survey.samples
    over = samples["Cu_ppm"] / samples["Zn_ppm"]
    samples = samples.assign(ratio_Cu_Zn=over, balance_own=np.log(over))
    row = small.thresholds.iloc[[0]].assign(
        medium="soil", domain="all", element="ratio_Cu_Zn", value=0.9, reason="Cu / Zn, by mass"
    )
    drift = {"Cu": {samples["sample_id"].iloc[0]: float(np.log10(2))}}
    settings = {
        **small.settings, "composition": {"balances": {"own": {"over": ["Cu"], "under": ["Zn"]}}}
    }  # fmt: skip
    data = map_data(
        replace(
            small, survey=replace(small.survey, samples=samples), settings=settings, shifts=drift,
            thresholds=pd.concat([small.thresholds, row], ignore_index=True),
        )
    )  # fmt: skip
    by_name = {e["symbol"]: e for e in data["elements"]}
    ratio = by_name["Cu/Zn"]
    assert ratio["formula"] == "Cu / Zn, by mass"
    assert ratio["whole"]["soil"]["possible"] == 0.9
    assert by_name["own"]["formula"] == "balance of Cu over Zn"
    assert min(by_name["own"]["limits"]) < 0  # a log-ratio has classes on both sides of zero
    factors = np.frombuffer(base64.b64decode(by_name["Cu"]["drift"]["b"]), dtype="<f4")
    assert factors[0] == pytest.approx(2)
    assert set(factors[1:]) == {1.0}
    assert by_name["Zn"]["drift"] is None
