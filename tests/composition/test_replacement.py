import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geochem.composition import replace_below
from geochem.errors import WrongCall


@pytest.mark.published
def test_simple_replacement():
    # Martin-Fernandez et al. 2003, Math. Geol. 35:253
    done = replace_below([[0.1, 60, 30, 10]], [[1, 0, 0, 0]], method="simple", total=100)
    assert done.values[0] == pytest.approx([0.065, 59.961, 29.9805, 9.9935])
    d = 1 / 16
    two = replace_below(
        [[0.2, 0.4, 0.4, 2 * d], [2 * d, 0.5, 0.5, 2 * d]], [[0, 0, 0, 1], [1, 0, 0, 1]],
        method="simple", fraction=0.5, total=1,
    )  # fmt: skip
    assert two.values[0] == pytest.approx([0.1875, 0.375, 0.375, 0.0625])
    assert two.values[1] == pytest.approx([0.0625, 0.4375, 0.4375, 0.0625])
    assert two.share == 3 / 8


def _hidden(n=2000, p=6, seed=0):
    rng = np.random.default_rng(seed)
    common = rng.standard_normal((n, 2))
    log = common @ rng.normal(0, 0.5, (2, p)) + 0.25 * rng.standard_normal((n, p))
    limit = np.full((n, p), -np.inf)
    # two limits, as of two laboratories
    limit[:, 0] = np.where(np.arange(n) % 2, *np.quantile(log[:, 0], [0.2, 0.3]))
    limit[:, 3] = np.quantile(log[:, 3], 0.15)
    below = log < limit
    return log, np.where(below, limit, log), below


@pytest.mark.parametrize("method", ["simple", "lognormal", "regression"])
def test_nothing_above_its_limit_and_nothing_detected_changed(method):
    _, seen, below = _hidden()
    done = replace_below(np.exp(seen), below, method=method)
    assert (done.values[below] < np.exp(seen)[below]).all()
    assert (done.values[below] > 0).all()
    assert done.values[~below].tolist() == np.exp(seen)[~below].tolist()
    assert done.share == pytest.approx(below.mean())


def test_regression_is_nearest_to_the_truth():
    log, seen, below = _hidden()
    miss = {
        m: np.sqrt(
            np.mean(
                (np.log(replace_below(np.exp(seen), below, method=m).values) - log)[below] ** 2
            )
        )
        for m in ("simple", "lognormal", "regression")
    }
    assert miss["regression"] < 0.8 * miss["lognormal"]
    assert miss["regression"] < 0.8 * miss["simple"]


def test_row_order_changes_nothing():
    _, seen, below = _hidden(300)
    p = np.random.default_rng(1).permutation(300)
    a = replace_below(np.exp(seen), below).values
    b = replace_below(np.exp(seen[p]), below[p]).values
    assert a[p].tolist() == b.tolist()


@given(st.integers(0, 1000), st.floats(0.0, 0.95))
@settings(max_examples=25, deadline=None)
def test_any_pattern_stays_under_the_limits(seed, share):
    rng = np.random.default_rng(seed)
    x = rng.lognormal(size=(30, 4)).round(1) + 0.1
    below = rng.random((30, 4)) < share
    done = replace_below(x, below)
    assert (done.values > 0).all()
    assert (done.values[below] <= x[below]).all()


def test_refusals():
    with pytest.raises(WrongCall, match="same shape"):
        replace_below([[1, 2]], [[True]])
    with pytest.raises(WrongCall, match="possible: lognormal, regression, simple"):
        replace_below([[1, 2]], [[True, False]], method="half")
    with pytest.raises(WrongCall, match="must be positive"):
        replace_below([[0, 2]], [[True, False]])
    with pytest.raises(WrongCall, match="unit of the limits"):
        replace_below([[90, 2]], [[True, False]], method="simple", total=50)
