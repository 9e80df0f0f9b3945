"""How much wider an interval is because neighbours are alike."""

import numpy as np
import pytest
from scipy.special import ndtri

from geochem.background import MedianMad
from geochem.stats.likeness import inflation, summed_likeness, surroundings
from geochem.stats.random_fields import simulate_fields


def _grid(n):
    x, y = np.meshgrid(np.arange(n) * 100.0, np.arange(n) * 100.0, indexing="ij")
    return np.column_stack([x.ravel(), y.ravel()])


def _scores(x):
    return ndtri((np.argsort(np.argsort(x)) + 0.5) / x.size)


def _of_median(x, around):
    z = _scores(x)
    return inflation((z > 0).astype(float), z, summed_likeness(z, around))


def test_independent_values_inflate_little():
    xy = _grid(30)
    around = surroundings(xy)
    rng = np.random.default_rng(0)
    found = [_of_median(rng.standard_normal(900), around) for _ in range(40)]
    assert np.median(found) == 1
    assert np.mean(found) < 1.1


def test_alike_values_inflate_as_much_as_medians_scatter():
    xy = _grid(30)
    fields = simulate_fields(
        xy, nugget=0.4, sill=1.0, range_m=300.0, n_fields=200, rng=np.random.default_rng(2)
    )
    # standard deviation of the median over what independent values would give
    truth = np.median(fields, axis=1).std() / np.sqrt(np.pi / 2 / 900)
    around = surroundings(xy)
    found = np.array([_of_median(f, around) for f in fields[:80]])
    # Student's quantile widens a little more
    assert 0.95 < np.median(found) / truth < 1.3
    # a share far in the tail feels less of it
    z = _scores(fields[0])
    summed = summed_likeness(z, around)
    tail = inflation((z > 2).astype(float), z, summed)
    assert 1 < tail < 0.8 * inflation((z > 0).astype(float), z, summed)


def test_hermite_series_of_an_indicator():
    # covariance of indicators z > 0 under correlation r is asin(r) / (2 pi) (Sheppard 1899): with
    # one neighbour of r = 0.5 for everybody the design effect is 1 + (2 / pi) asin(0.5)
    z = ndtri((np.arange(20_000) + 0.5) / 20_000)
    summed = 1 + 0.5 ** np.arange(1, 9)
    wider = inflation((z > 0).astype(float), z, summed)
    freedom = 20_000 / 1.5 / 7
    student = 1 + (1.6448536**2 + 1) / (4 * freedom)
    assert wider / student == pytest.approx(np.sqrt(1 + 2 / np.pi * np.arcsin(0.5)), rel=2e-3)


def test_weights_of_a_cluster_count_once():
    # one dense cluster beside a wide grid: weighted down it must not rule
    xy = np.vstack([_grid(20), 900 + 5 * np.random.default_rng(0).standard_normal((200, 2))])
    xy = xy[np.lexsort((xy[:, 1], xy[:, 0]))]
    near = np.hypot(*(xy - 900).T) < 40
    w = np.where(near, 4 / near.sum(), 1.0)
    shared = np.where(near, 1.5, np.random.default_rng(1).standard_normal(len(xy)))
    shared += 1e-3 * np.random.default_rng(3).standard_normal(len(xy))
    z = _scores(shared)
    alone = summed_likeness(z, surroundings(xy))
    down = summed_likeness(z, surroundings(xy, w))
    assert down[0] < 0.5 * alone[0]


def test_interval_holds_where_neighbours_are_alike():
    xy = _grid(30)
    fields = simulate_fields(
        xy, nugget=0.4, sill=1.0, range_m=300.0, n_fields=150, rng=np.random.default_rng(1)
    )
    truth = 10 ** (1.3 + 0.2 * 2)
    held = 0
    for f in fields:
        got = MedianMad(log=True).fit(10 ** (1.3 + 0.2 * f), coordinates=xy)
        held += got.low <= truth <= got.high
    assert 0.83 <= held / 150 <= 0.97


def test_few_samples_and_one_place_say_nothing():
    assert surroundings(_grid(5)) is None
    assert surroundings(np.zeros((50, 2))) is None
    line = np.column_stack([np.arange(100.0), np.zeros(100)])
    assert np.isfinite(
        summed_likeness(np.random.default_rng(0).standard_normal(100), surroundings(line))
    ).all()
