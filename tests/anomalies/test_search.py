"""The wiring: rows, columns, findings; same input, same answer; what is found."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from geochem.anomalies.search import search_anomalies
from geochem.errors import WrongCall


def search(ground, **kw):
    return search_anomalies(
        kw.pop("samples", ground.samples), ground.background, ground.compositions,
        ground.spacings, analytes=ground.analytes, **kw,
    )  # fmt: skip


@pytest.fixture(scope="module")
def evidence(planted):
    return search(planted)


def test_columns_rows_and_kinds(evidence, planted):
    frame = evidence.anomalies
    columns = list(frame.columns)
    elements = list(evidence.elements)
    assert columns == [
        "sample_id", "medium", "domain", "easting", "northing",
        *[f"{e}_z" for e in elements], *[f"{e}_p" for e in elements], "group", "geometry",
    ]  # fmt: skip
    assert frame["sample_id"].is_monotonic_increasing
    assert frame["sample_id"].dtype == object
    assert str(frame["group"].dtype) == "Int64"
    assert frame.crs == planted.samples.crs
    assert isinstance(frame.index, pd.RangeIndex)
    for table in (evidence.z_all, evidence.scores, evidence.coherence):
        assert len(table) == len(frame)
    names = [a.name for a in evidence.associations]
    assert list(evidence.scores.columns) == list(evidence.coherence.columns) == names
    assert set(frame["group"].dropna()) <= set(evidence.clusters["group"])


def test_gated_elements_are_excluded_with_a_reason(evidence):
    assert "Sb" in evidence.excluded
    assert "Sb" not in evidence.elements
    assert any(f.code == "element-gated" for f in evidence.findings)


def test_below_detection_has_no_z(evidence, planted):
    below = planted.samples["Mo_ppm_below"].to_numpy()
    assert evidence.anomalies["Mo_z"].isna().to_numpy()[below].all()
    assert evidence.anomalies["Mo_z"].notna().to_numpy()[~below].all()


def test_planted_halos_are_hotter_than_all_barren_ground(evidence, planted):
    coherent = evidence.coherence["porphyry_copper"].to_numpy()
    barren = planted.planted < 0.01
    x = evidence.anomalies["easting"].to_numpy()
    for core in (
        (planted.planted > 0.5) & (x < 502_500.0),
        (planted.planted > 0.5) & (x > 502_500.0),
    ):
        assert coherent[core].max() > np.quantile(coherent[barren], 0.995)
    assert np.mean(coherent[barren] > 3) < 0.006


def test_barren_scores_are_calibrated(barren):
    found = search(barren)
    scores = found.scores.to_numpy()
    coherent = found.coherence.to_numpy()
    assert scores.std() == pytest.approx(1.0, abs=0.1)
    assert np.mean(scores > 2) < 0.045
    assert np.mean(coherent > 3) < 0.003


def test_row_order_changes_nothing(planted, evidence):
    order = np.random.default_rng(0).permutation(len(planted.samples))
    shuffled = planted.samples.iloc[order]
    again = search(planted, samples=shuffled)
    pd.testing.assert_frame_equal(
        pd.DataFrame(evidence.anomalies.drop(columns="geometry")),
        pd.DataFrame(again.anomalies.drop(columns="geometry")),
        check_exact=True,
    )
    pd.testing.assert_frame_equal(evidence.scores, again.scores, check_exact=True)
    pd.testing.assert_frame_equal(evidence.coherence, again.coherence, check_exact=True)
    pd.testing.assert_frame_equal(evidence.clusters, again.clusters, check_exact=True)


def test_input_is_not_changed(planted):
    before = planted.samples.copy()
    search(planted, seek=["Cu"])
    pd.testing.assert_frame_equal(pd.DataFrame(before), pd.DataFrame(planted.samples))


def test_sought_and_own_associations(planted):
    sought = search(planted, seek=["Cu", "Au"])
    assert "porphyry_copper" in sought.scores.columns
    assert "kimberlite" not in sought.scores.columns
    gone = next(f for f in sought.findings if f.code == "sought-element-not-usable")
    assert gone.element == "Au"
    own = search(planted, association={"Cu": 1.0, "Mo": 1.0, "Mn": -0.5, "Te": 0.3})
    assert list(own.scores.columns) == ["own_association"]
    assert own.associations[0].missing == ("Te",)
    assert set(own.elements) == {"Mn", "Cu", "Mo"}
    assert own.excluded["Ni"].startswith("not sought")
    with pytest.raises(WrongCall, match="association"):
        search(planted, association="porphyry")


def test_stream_sediments_and_rock_have_scores_but_no_coherence(factory):
    ground = factory.ground(4, lines=12, stations=20)
    samples = ground.samples.copy()
    samples["medium"] = np.where(
        np.arange(len(samples)) % 4 == 0, "stream sediment",
        np.where(np.arange(len(samples)) % 4 == 1, "rock", "soil"),
    ).astype(object)  # fmt: skip
    background = factory.background(samples)
    found = search_anomalies(
        samples, background, (), ground.spacings, analytes=factory.analytes(
            ["Cu", "Mo", "As", "Zn", "Pb"], medium=None
        ),
    )  # fmt: skip
    soil = (found.anomalies["medium"] == "soil").to_numpy()
    assert found.scores.notna().to_numpy().all()
    assert found.coherence.to_numpy()[~soil].size
    assert np.isnan(found.coherence.to_numpy()[~soil]).all()
    assert np.isfinite(found.coherence.to_numpy()[soil]).all()


def test_samples_without_background_and_doubled_ids(factory):
    ground = factory.ground(5, lines=6, stations=10)
    other = ground.samples.assign(medium="vegetation")
    nothing = search_anomalies(
        other, ground.background.__class__(
            ground.background.domains.iloc[:0], ground.background.backgrounds,
            ground.background.thresholds,
        ), (), (), analytes=ground.analytes,
    )  # fmt: skip
    assert len(nothing.anomalies) == 0
    assert len(nothing.scores) == 0
    doubled = gpd.GeoDataFrame(pd.concat([ground.samples, ground.samples.head(1)]))
    with pytest.raises(WrongCall, match="twice"):
        search(ground, samples=doubled)


def test_the_strongest_association_is_one_that_no_rival_explains(evidence):
    from dataclasses import replace

    first = evidence.strongest()
    assert first in evidence.scores.columns
    told = evidence.explained.copy()
    column = evidence.coherence[first].to_numpy()
    hot = column >= np.nanquantile(column, 0.9)
    told.loc[hot, "rival_gain"] = told.loc[hot, "association_gain"] + 5.0
    others = replace(evidence, explained=told)
    values = {a: np.nanmax(np.where(hot, -9, evidence.coherence[a])) for a in evidence.scores}
    free = ~(told["rival_gain"] > told["association_gain"]).to_numpy()
    best = max(values, key=lambda a: np.nanmax(evidence.coherence[a].to_numpy()[free]))
    assert others.strongest() == best
