from itertools import combinations

import numpy as np
import pytest

from geochem.background import NaturalBreaks
from geochem.errors import WrongCall
from geochem.stats.natural_breaks import best_classes


@pytest.mark.parametrize("k", [2, 3, 4])
def test_no_division_is_better(k):
    # every division of twelve values, one by one
    x = np.sort(np.random.default_rng(k).lognormal(2, 1, 12))
    w = np.random.default_rng(9).integers(1, 4, 12).astype(float)

    def left(parts):
        return sum(
            float(v @ (p - np.average(p, weights=v)) ** 2) for p, v in parts
        )  # fmt: skip

    best = min(
        left([(x[i:j], w[i:j]) for i, j in zip((0, *c), (*c, 12), strict=True)])
        for c in combinations(range(1, 12), k - 1)
    )
    got = best_classes(x, k, w)
    edges = np.searchsorted(x, got.breaks)
    mine = left([(x[i:j], w[i:j]) for i, j in zip((0, *edges), (*edges, 12), strict=True)])
    assert mine == pytest.approx(best)
    assert got.within == pytest.approx(best / float(w @ (x - np.average(x, weights=w)) ** 2))


@pytest.mark.published
def test_share_left_in_a_normal_population():
    # Max 1960, IRE Trans. Inf. Theory 6:7-12: 0.3634, 0.1902, 0.1175 for 2, 3 and 4 classes
    x = np.random.default_rng(0).standard_normal(200_000)
    for k, share in ((2, 0.3634), (3, 0.1902), (4, 0.1175)):
        assert best_classes(x, k).within == pytest.approx(share, abs=0.002)
    assert best_classes(x, 2).breaks[0] == pytest.approx(0, abs=0.02)


def test_as_good_as_k_means():
    from sklearn.cluster import KMeans

    x = np.random.default_rng(3).lognormal(3, 0.6, 3000)
    km = KMeans(4, n_init=20, random_state=0).fit(x[:, None])
    assert best_classes(x, 4).within * len(x) * x.var() <= km.inertia_ * 1.001


def test_says_when_there_is_nothing_to_divide():
    rng = np.random.default_rng(0)
    barren = NaturalBreaks().fit(rng.lognormal(3, 0.4, 2000))
    assert "nothing to divide" in barren.warnings[-1]
    x = np.concatenate([rng.lognormal(2, 0.2, 1000), rng.lognormal(4, 0.2, 400),
                        rng.lognormal(6, 0.2, 200)])  # fmt: skip
    clear = NaturalBreaks().fit(x)
    assert not clear.warnings
    assert np.exp(4.5) < clear.low <= clear.value <= clear.high < np.exp(5.6)
    with pytest.raises(WrongCall, match="'classes'"):
        NaturalBreaks(classes=1).fit(x)
    with pytest.raises(WrongCall, match="2 distinct values"):
        best_classes([1.0, 1.0, 2.0], 3)
