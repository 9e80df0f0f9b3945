import numpy as np
import pytest

from geochem.stats.halo_filter import (
    DRIFT,
    LEAST_NUGGET,
    NARROWEST,
    halo_filter,
    halo_filters,
)
from geochem.stats.random_fields import simulate_fields


def grid(n=9):
    x, y = np.meshgrid(np.arange(n, dtype=float), np.arange(n, dtype=float), indexing="ij")
    return np.column_stack([x.ravel(), y.ravel()])


def slow_weights(places, size, row, scale, nugget, range_m, neighbours):
    """The same weights for one place, with plain loops over a dense system."""
    size = np.asarray(size)
    distance = np.hypot(*(places - places[row]).T)
    who = np.sort(np.argsort(distance, kind="stable")[:neighbours])
    trusted = max(nugget, LEAST_NUGGET)
    system = np.empty((len(who), len(who)))
    halo = np.empty(len(who))
    width = np.maximum(scale * np.sqrt(size[0] * size[1]), NARROWEST * size)
    for a, i in enumerate(who):
        offset = (places[i] - places[row]) * size / width
        halo[a] = np.exp(-0.5 * offset @ offset)
        for b, j in enumerate(who):
            apart = np.hypot(*((places[i] - places[j]) * size))
            system[a, b] = (1 - trusted) * np.exp(-apart / range_m) + DRIFT**2
            system[a, b] += trusted if i == j else 0.0
    weight = np.linalg.inv(system) @ halo
    return who, weight


def test_weights_equal_a_slow_twin():
    places, size = grid(5), (200.0, 100.0)
    w = halo_filter(places, size, nugget=0.4, range_m=300.0, scales=(1.25,), neighbours=25)[0]
    who, weight = slow_weights(places, size, 7, 1.25, 0.4, 300.0, 25)
    got = w[[7]].toarray()[0][who]
    assert got / got[3] == pytest.approx(weight / weight[3], rel=1e-9)


def test_background_of_the_given_variogram_has_variance_one():
    places, size = grid(13), (200.0, 100.0)
    fields = simulate_fields(
        places * size, nugget=0.4, sill=1.0, range_m=300.0, n_fields=600, rng=1
    )
    for w in halo_filter(places, size, nugget=0.4, range_m=300.0):
        assert np.mean((w @ fields.T) ** 2) == pytest.approx(1.0, abs=0.06)


def test_a_halo_stands_out_of_continuous_ground_where_a_mean_does_not_tell_it_from_a_swell():
    places, size = grid(21), (100.0, 100.0)
    centre = np.hypot(*(places - 10).T)
    halo = 1.5 * np.exp(-0.5 * (centre / 1.25) ** 2)
    swell = 1.5 * np.exp(-0.5 * (centre / 6.0) ** 2)
    w = halo_filter(places, size, nugget=0.3, range_m=600.0)
    best = [max(float((f @ v)[220]) for f in w) for v in (halo, swell)]
    assert best[0] > 1.3 * best[1]
    near = centre <= 1.6
    assert swell[near].mean() > halo[near].mean()


@pytest.mark.parametrize("nugget", [0.0, 0.1, 0.6, 1.0])
def test_filtered_background_has_variance_one_exactly(nugget):
    places, size = grid(7), np.array([200.0, 100.0])
    count = np.arange(49) % 3 + 1
    metres = places * size
    apart = np.hypot(*(metres[:, None] - metres[None]).transpose(2, 0, 1))
    true = (1 - nugget) * np.exp(-apart / 300.0) + np.diag(nugget / count)
    for w in halo_filter(places, size, nugget=nugget, range_m=300.0, count=count, neighbours=20):
        dense = w.toarray()
        assert np.diag(dense @ true @ dense.T) == pytest.approx(np.ones(49), rel=1e-12)


def test_the_gain_is_what_a_halo_of_height_one_gives_at_its_summit():
    places, size = grid(15), (100.0, 100.0)
    filters, gain = halo_filters(places, size, nugget=0.5, range_m=250.0, scales=(1.5,))
    halo = np.exp(-0.5 * (np.hypot(*(places - 7).T) / 1.5) ** 2)
    middle = 7 * 15 + 7
    assert float((filters[0] @ halo)[middle]) == pytest.approx(gain[0, middle], rel=1e-9)


def test_positions_asked_about_may_differ_from_those_of_the_values():
    places, size = grid(12), (100.0, 100.0)
    everywhere, gain = halo_filters(places, size, nugget=0.5, range_m=250.0)
    some, less = halo_filters(places, size, nugget=0.5, range_m=250.0, at=places[[5, 70]])
    for one, two in zip(everywhere, some, strict=True):
        assert one[[5, 70]].toarray() == pytest.approx(two.toarray(), abs=1e-12)
    assert less == pytest.approx(gain[:, [5, 70]])
