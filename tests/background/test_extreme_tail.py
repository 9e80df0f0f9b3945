import numpy as np
import pytest

from geochem.background import ExtremeTail
from geochem.errors import WrongCall
from geochem.stats.generalised_pareto import fit_pareto


@pytest.mark.published
@pytest.mark.parametrize("shape", [-0.2, 0.0, 0.3])
def test_recovers_the_law(shape):
    # scipy.stats.genpareto makes and, by maximum likelihood, fits the values
    from scipy.stats import genpareto

    x = genpareto.rvs(shape, scale=2.0, size=4000, random_state=1)
    got = fit_pareto(x)
    likely = genpareto.fit(x, floc=0)
    assert got == pytest.approx((likely[0], likely[2]), abs=0.09)
    assert got[0] == pytest.approx(shape, abs=0.06)


def test_weights_count_as_repeats():
    x = np.random.default_rng(0).exponential(size=400)
    w = np.random.default_rng(1).integers(1, 4, 400)
    one, other = fit_pareto(x, w), fit_pareto(np.repeat(x, w))
    assert one == pytest.approx(other, abs=0.01)


def test_percentile_of_a_lognormal_tail():
    truth = np.exp(3 + 0.5 * 2.326348)
    inside, off = 0, []
    for seed in range(60):
        got = ExtremeTail().fit(np.random.default_rng(seed).lognormal(3, 0.5, 1500))
        off.append(got.value / truth - 1)
        inside += got.low <= truth <= got.high
        assert -0.6 < got.details["shape"] < 0.25
    assert abs(np.mean(off)) < 0.01
    assert 46 <= inside <= 60  # 90 % of 60 is 54


def test_shape_tells_of_a_richer_population():
    rng = np.random.default_rng(0)
    x = np.concatenate([rng.lognormal(3, 0.3, 3000), rng.lognormal(5, 0.8, 90)])
    got = ExtremeTail().fit(x)
    assert got.details["shape"] > 0.1
    assert "richer population" in " ".join(got.warnings)


def test_validity():
    rng = np.random.default_rng(0)
    few = ExtremeTail().fit(rng.lognormal(3, 0.5, 150))
    assert few.method == "percentile"
    assert "15 values lie in the tail, 20 are needed" in few.warnings[0]
    x = rng.lognormal(3, 0.5, 1000)
    hidden = np.arange(1000) < 5
    high = ExtremeTail().fit(np.where(hidden, 200.0, x), below=hidden)
    assert "reach into the tail" in high.warnings[0]
    with pytest.raises(WrongCall, match="must lie above 'start'"):
        ExtremeTail(q=80).fit(x)
