"""The doubt of a strength against drawing everything that is uncertain (a slow twin)."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from geochem.model.evidence import Detectors
from geochem.targets.doubt import Doubts
from geochem.targets.grid_parts import grid_part
from geochem.targets.ground import gather_sites, make_ground

ELEMENTS = ("Cu", "Zn", "As")


@pytest.fixture(scope="module")
def survey(make):
    case = make(seed=21, lines=12, stations=16)
    rng = np.random.default_rng(8)
    n, names = len(case.samples), list(case.evidence.scores.columns)
    departures = rng.normal(size=(n, 3)).astype(np.float32)
    vectors = {a: rng.normal(0.6, 0.2, (41, 3)) for a in names}
    batch = np.arange(n) // 40
    batch[:5] = -1
    detectors = Detectors(
        "soil", ELEMENTS, case.samples["sample_id"].to_numpy(object), departures, vectors, batch,
        np.array([0.3, 0.1, 0.2]),
    )  # fmt: skip
    dense = pd.DataFrame({a: departures @ vectors[a][0] for a in names})
    noise = pd.DataFrame({a: rng.uniform(0.2, 0.8, n) for a in names})
    evidence = replace(case.evidence, dense=dense, noise=noise, detectors=(detectors,))
    sites = gather_sites(case.samples, evidence, case.background.backgrounds, ())
    ground = make_ground(sites, case.spacings[0])
    part = grid_part(sites, ground, np.zeros(n, dtype=bool))
    return sites, ground, part, detectors


def test_it_is_the_spread_of_the_strength_when_everything_is_drawn(survey):
    sites, ground, part, d = survey
    ratio = np.full((len(part.operators), len(sites.associations)), 1.1)
    summit, a, scale = len(ground.places) // 2, 1, 1
    name = sites.associations[a].name
    row = part.operators[scale][[summit]].toarray()[0] / 1.1 / part.background.spread[a]
    weight = row[ground.place_of] / ground.count[ground.place_of]
    rng = np.random.default_rng(3)
    drawn = []
    for _ in range(4000):
        level = rng.normal(0, d.batch_error, (int(d.batch.max()) + 1, 3))
        own = np.where(d.batch[:, None] >= 0, level[d.batch], 0.0)
        alone = np.where(d.batch[:, None] < 0, rng.normal(0, d.batch_error, own.shape), 0.0)
        error = rng.normal(0, sites.noise[:, a])
        vector = d.vectors[name][rng.integers(1, 41)]
        score = d.departures @ vector + (own + alone) @ d.vectors[name][0] + error
        drawn.append(weight @ score)
    middle = weight @ (d.departures @ d.vectors[name][0])
    twin = np.sqrt(np.mean((np.array(drawn) - middle) ** 2))
    assert Doubts(sites, ground, part, ratio).of(summit, a, scale) == pytest.approx(twin, rel=0.05)


def test_without_detectors_measurement_is_left(survey):
    sites, ground, part, _ = survey
    ratio = np.ones((len(part.operators), len(sites.associations)))
    summit = len(ground.places) // 2
    bare = Doubts(replace(sites, detectors={}), ground, part, ratio).of(summit, 0, 0)
    row = part.operators[0][[summit]].toarray()[0] / part.background.spread[0]
    square = ground.at_places(sites.noise[ground.sites, 0] ** 2)
    assert bare == pytest.approx(np.sqrt((row**2 * square / ground.count).sum()))
    assert Doubts(sites, ground, part, ratio).of(summit, 0, 0) > bare
