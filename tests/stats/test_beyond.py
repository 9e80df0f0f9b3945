import numpy as np
import pytest

from geochem.background import ProbabilityPlot
from geochem.stats.beyond import chance_beyond


def _simulate(seed, n=4000):
    """True values of two populations, read with error; a threshold known only within its error."""
    rng = np.random.default_rng(seed)
    true = np.where(rng.random(n) < 0.9, rng.normal(1.3, 0.18, n), rng.normal(2.0, 0.25, n))
    error = rng.uniform(0.03, 0.15, n)
    read = true + error * rng.standard_normal(n)
    # a quarter was read with a limit that lies near the threshold
    below = (np.arange(n) % 4 == 0) & (read < 1.75)
    above = read > 2.4
    value = np.where(below, 1.75, np.where(above, 2.4, read))
    return rng, true, error, value, below, above


def test_of_those_called_likely_so_many_are():
    chance, beyond, hidden = [], [], []
    for seed in range(40):
        rng, true, error, value, below, above = _simulate(seed)
        n = len(true)
        fit = ProbabilityPlot().fit(10**value, below=below, above=above)
        rows = fit.details["populations"]
        populations = tuple(np.array([p[k] for p in rows]) for k in ("weight", "mean", "sd"))
        # what the campaign has is an estimate of the threshold and its standard error
        guess = 1.66 + 0.04 * rng.standard_normal()
        chance.append(
            chance_beyond(
                value, below, above, np.where(below, 0, error), np.full(n, guess), np.full(n, 0.04),
                populations,
            )
        )  # fmt: skip
        beyond.append(true > 1.66)
        hidden.append(below)
    p, truth, cut = (np.concatenate(a) for a in (chance, beyond, hidden))
    for low in np.arange(0, 1, 0.1):
        here = (p >= low) & (p < low + 0.1) & ~cut
        assert here.sum() > 300
        assert truth[here].mean() == pytest.approx(p[here].mean(), abs=0.05)
    # values below a limit beyond the threshold: neither none nor all
    assert truth[cut].mean() == pytest.approx(p[cut].mean(), abs=0.008)
    # without knowing how common values are, chances near the threshold are far too high
    naive = np.concatenate(
        [_plain(*_simulate(seed)[2:4], 1.66) for seed in range(40)]
    )  # fmt: skip
    near = (naive > 0.4) & (naive < 0.6) & ~cut
    assert truth[near].mean() < naive[near].mean() - 0.05


def _plain(error, value, threshold):
    from scipy.stats import norm

    return norm.cdf((value - threshold) / error)


def test_limits_and_no_error():
    one = (np.array([1.0]), np.array([0.0]), np.array([1.0]))
    zero, no, yes = np.zeros(1), np.array([False]), np.array([True])

    def chance(v, low, high, t, sd=0.0):
        return chance_beyond(np.array([v]), low, high, zero, np.array([t]), np.array([sd]), one)[0]

    assert chance(1.0, no, no, 0.5) == 1
    assert chance(0.2, no, no, 0.5) == 0
    # below 0 is half of a standard normal population, above -1 are 0.3413 of it
    assert chance(0.0, yes, no, -1.0) == pytest.approx(0.341345 / 0.5, abs=1e-5)
    assert chance(0.0, yes, no, 0.5) == 0
    assert chance(0.0, no, yes, -1.0) == 1
    assert chance(0.0, no, yes, 1.0) == pytest.approx(0.158655 / 0.5, abs=1e-5)


def test_what_other_elements_say_of_values_behind_limits():
    """Draws given the other elements: of those called likely so many are, and sharper than without."""
    from geochem.composition.replacement import replace_below

    chances, plain, truth = [], [], []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        n = 1500
        common = rng.standard_normal(n)
        true = 1.3 + 0.25 * common[:, None] + 0.15 * rng.standard_normal((n, 5))
        read = true + 0.05 * rng.standard_normal((n, 5))
        # one sample in three was read with a limit above the threshold
        below = np.zeros((n, 5), dtype=bool)
        below[:, 0] = (np.arange(n) % 3 == 0) & (read[:, 0] < 1.8)
        value = np.where(below, 1.8, read)
        done = replace_below(10**value, below, draws=5, seed=seed)
        behind = (done.row, done.centre / np.log(10), done.spread / np.log(10))
        fit = ProbabilityPlot().fit(10 ** value[:, 0], below=below[:, 0])
        rows = fit.details["populations"]
        populations = tuple(np.array([p[k] for p in rows]) for k in ("weight", "mean", "sd"))
        guess = 1.5 + 0.02 * rng.standard_normal()
        hidden = below[:, 0]
        for given, out in ((behind, chances), (None, plain)):
            p = chance_beyond(
                value[:, 0], hidden, np.zeros(n, dtype=bool), np.where(hidden, 0, 0.05),
                np.full(n, guess), np.full(n, 0.02), populations, behind=given,
            )  # fmt: skip
            out.append(p[hidden])
        truth.append(true[hidden, 0] > 1.5)
    p, alone, beyond = (np.concatenate(a) for a in (chances, plain, truth))
    for low, high in ((0.0, 0.1), (0.1, 0.3), (0.3, 0.6), (0.6, 1.1)):
        here = (p >= low) & (p < high)
        assert here.sum() > 100
        assert beyond[here].mean() == pytest.approx(p[here].mean(), abs=0.05)
    # mean squared error of the chance: far less than populations alone reach
    assert np.mean((p - beyond) ** 2) < 0.7 * np.mean((alone - beyond) ** 2)
