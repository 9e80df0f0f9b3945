"""What only a part of the samples tells is filtered beside the dense scores, by what it tells."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from geochem.stats.random_fields import simulate_fields
from geochem.targets.barren import simulate_barren
from geochem.targets.grid_parts import grid_part
from geochem.targets.ground import gather_sites, make_ground
from geochem.targets.null import filter_part


def parts_of(case, sparse, ratio):
    names = list(case.evidence.scores.columns)
    n = len(sparse)
    evidence = replace(
        case.evidence,
        dense=case.evidence.scores,
        sparse=pd.DataFrame(dict.fromkeys(names, sparse)),
        ratio=pd.DataFrame(dict.fromkeys(names, np.where(np.isfinite(sparse), ratio, 0.0))),
    )
    sites = gather_sites(case.samples, evidence, case.background.backgrounds, ())
    ground = make_ground(sites, case.spacings[0])
    return grid_part(sites, ground, np.zeros(n, dtype=bool)), ground


@pytest.fixture(scope="module")
def survey(make):
    case = make(seed=11)
    xy = case.samples.get_coordinates().to_numpy()
    rng = np.random.default_rng(4)
    has = np.arange(len(xy)) % 5 == 0
    field = simulate_fields(xy, nugget=0.7, sill=1.0, range_m=300.0, n_fields=1, rng=rng)[0]
    return case, xy, np.where(has, field, np.nan)


def strongest(part, ground, at):
    _, ratios = simulate_barren([part], draws=30, seed=1)
    values = filter_part(part, ratios[0]).values.max(axis=1)
    places = ground.to_map(ground.places)
    return values[np.hypot(*(places - at).T) < 250.0].max(), values


def test_a_halo_of_laboratory_values_alone_is_seen(survey):
    case, xy, sparse = survey
    middle = xy.mean(axis=0)
    halo = 3.0 * np.exp(-0.5 * (np.hypot(*(xy - middle).T) / 350.0) ** 2)
    plain, _ = strongest(*parts_of(case, sparse, 4.0), middle)
    raised, _ = strongest(*parts_of(case, sparse + halo, 4.0), middle)
    little, _ = strongest(*parts_of(case, sparse + halo, 0.01), middle)
    assert raised > plain + 1.0
    assert little < plain + 0.4


def test_one_high_laboratory_value_makes_no_outline(survey):
    case, xy, sparse = survey
    nuggety = sparse.copy()
    row = np.flatnonzero(np.isfinite(sparse))[np.isfinite(sparse).sum() // 2]
    before, _ = strongest(*parts_of(case, sparse, 4.0), xy[row])
    nuggety[row] = 60.0
    after, _ = strongest(*parts_of(case, nuggety, 4.0), xy[row])
    assert after < max(before, 2.0) + 1.0


def test_both_layers_together_keep_variance_one_in_the_background(survey):
    case, _, sparse = survey
    part, _ = parts_of(case, sparse, 2.0)
    share = part.second.share
    assert ((share >= 0) & (share < 1)).all()
    assert share.max() > 0.3
    _, ratios = simulate_barren([part], draws=60, seed=2)
    assert ratios[0].shape == (2, len(part.operators), part.values.shape[1])
    # 1 up to winsorising and to how real background departs from its variogram
    assert ratios[0] == pytest.approx(1.0, abs=0.3)


def test_without_laboratory_values_there_is_no_second_layer(make):
    case = make(seed=12)
    sites = gather_sites(case.samples, case.evidence, case.background.backgrounds, ())
    ground = make_ground(sites, case.spacings[0])
    part = grid_part(sites, ground, np.zeros(len(case.samples), dtype=bool))
    assert part.second is None
    few = np.full(len(case.samples), np.nan)
    few[:10] = 1.0
    assert parts_of(case, few, 1.0)[0].second is None
