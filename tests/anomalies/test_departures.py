"""A laboratory's values on one sample in six tell more than XRF values that all lie below."""

import numpy as np
import pandas as pd
import pytest

from geochem.anomalies import departures
from geochem.anomalies.search import search_anomalies
from geochem.model import tables


@pytest.fixture(scope="module")
def sampled(factory):
    """Antimony by XRF is below 12 mg/kg everywhere; a laboratory has it in every sixth sample."""
    halo = (502_400.0, 7_001_500.0, 400.0, {"As": 0.8, "Sb": 3.0})
    ground = factory.ground(5, halos=[halo])
    samples = ground.samples.copy()
    true = samples["Sb_ppm"].to_numpy(float)
    has = np.arange(len(samples)) % 6 == 0
    samples["Sb_ppm__lab"] = np.where(has, true, np.nan)
    samples["Sb_ppm__lab_below"] = has & samples["Sb_ppm_below"].to_numpy(bool)
    samples["Sb_ppm"], samples["Sb_ppm_below"] = 12.0, True
    lab = pd.DataFrame(
        [{"assay": "lab", "source": "laboratory", "element": "Sb", "medium": "soil"}]
    )
    analytes = tables.conform(pd.concat([ground.analytes, lab]), tables.ANALYTES)
    seen = samples.drop(columns=[c for c in samples.columns if c.startswith("Sb_")])
    background = factory.background(seen, "geology")
    return ground, samples, analytes, background, has, np.hypot(*(ground.xy - halo[:2]).T)


def search(ground, samples, analytes, background):
    return search_anomalies(
        samples, background, ground.compositions, ground.spacings, analytes=analytes
    )


def test_laboratory_values_count_beside_an_accepted_value_that_says_nothing(sampled):
    ground, samples, analytes, background, has, away = sampled
    found = search(ground, samples, analytes, background)
    gold = next(a for a in found.associations if a.name == "orogenic_gold")
    assert "Sb" in gold.used
    assert "Sb" not in gold.missing
    assert np.array_equal(found.sparse["orogenic_gold"].notna().to_numpy(), has)
    core = has & (away < 200)
    assert found.sparse.loc[core, "orogenic_gold"].mean() > 1.5
    outside = has & (away > 1500)
    assert found.sparse.loc[outside, "orogenic_gold"].mean() == pytest.approx(0.0, abs=0.25)
    without = search(ground, samples.drop(columns=["Sb_ppm__lab", "Sb_ppm__lab_below"]),
                     ground.analytes, background)  # fmt: skip
    assert found.scores.loc[core, "orogenic_gold"].mean() > (
        without.scores.loc[core, "orogenic_gold"].mean() + 0.3
    )
    # the accepted value and its z stay what they are
    assert "Sb_z" not in found.anomalies.columns


def test_what_is_mostly_seen_needs_no_laboratory(sampled):
    ground, samples, analytes, *_ = sampled
    rows = samples.assign(**{"Cu_ppm__lab": samples["Cu_ppm"], "Cu_ppm__lab_below": False})
    lab = pd.DataFrame(
        [{"assay": "lab", "source": "laboratory", "element": "Cu", "medium": "soil"}]
    )
    analytes = tables.conform(pd.concat([analytes, lab]), tables.ANALYTES)
    media = rows["medium"].to_numpy(object)
    gate = departures.gates.decide(rows, ["Cu", "Sb"], media, analytes)
    every = np.arange(len(rows))
    got = departures.laboratory_beside(rows, ground.unit, every, analytes, gate, {"Cu", "Sb"})
    assert set(got) == {"Sb"}


def test_a_domain_with_few_values_leans_on_the_whole():
    rng = np.random.default_rng(1)
    log = np.concatenate([rng.normal(0.0, 0.2, 400), rng.normal(1.0, 0.2, 5)])
    domains = np.array(["big"] * 400 + ["small"] * 5, dtype=object)
    z, scale = departures._against_domains(log, np.zeros(405, bool), domains)
    assert scale == pytest.approx(0.2, rel=0.1)
    assert np.median(z[:400]) == pytest.approx(0.0, abs=0.1)
    # five values take a third of their own median (5 of 5 + 10), the rest from the whole
    assert np.median(z[400:]) == pytest.approx((1.0 - 1.0 / 3.0) / 0.2, rel=0.2)


def test_a_finding_tells_that_laboratory_values_count(sampled):
    ground, samples, analytes, background, has, _ = sampled
    found = search(ground, samples, analytes, background)
    said = next(f for f in found.findings if f.code == "laboratory-values-in-scores")
    assert said.severity == "note"
    assert f"Sb ({has.sum()})" in said.message
