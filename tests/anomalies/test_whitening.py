"""Scores are about N(0, 1) in background, and blind to what the background does by itself."""

import numpy as np
import pytest

from geochem.anomalies.residuals import Field, expected_log, expected_log_error, residuals_of
from geochem.anomalies.whitening import robust_covariance, signature, whitened_scores
from geochem.model.evidence import Association

ELEMENTS = ("Fe", "Mn", "Ti", "Zr", "Rb", "Cu", "As", "Zn")
ASSOCIATION = Association("a", "A", {"Cu": 1.0, "As": 1.0, "Zn": 0.5})


def make(n=2000, seed=1, common=0.8):
    """log10 contents of which Fe, Mn, As and Zn share one factor (oxides)."""
    rng = np.random.default_rng(seed)
    factor = rng.normal(size=n)
    logs = {}
    for e in ELEMENTS:
        share = common if e in ("Fe", "Mn", "As", "Zn") else 0.0
        own = rng.normal(size=n)
        logs[e] = 2.0 + 0.2 * (share * factor + np.sqrt(1 - share**2) * own)
    return logs


def residuals(logs, shown=None):
    n = len(next(iter(logs.values())))
    nothing = np.full(n, "", dtype=object)
    known = dict.fromkeys(logs, 1.0) | (shown or {})
    return residuals_of(logs, known, np.full(n, "u", object), nothing, (), np.ones(n))


def scores(logs, sparse=None, association=ASSOCIATION):
    left = residuals(logs)
    n = len(left.values)
    return whitened_scores([association], left, sparse or {}, np.ones(n))["a"]


def test_background_is_standard_normal():
    s = scores(make()).values
    assert s.mean() == pytest.approx(0.0, abs=0.06)
    assert s.std() == pytest.approx(1.0, abs=0.05)
    assert (s > 2).mean() == pytest.approx(0.0228, abs=0.01)


def test_it_is_the_linear_discriminant():
    """Against scikit-learn: Fisher's direction for two classes of known covariance."""
    from sklearn.discriminant_analysis import LinearDiscriminantAnalysis

    logs = make(4000)
    raised = {e: v + 0.2 * ASSOCIATION.weights.get(e, 0.0) for e, v in make(4000, 2).items()}
    x = np.column_stack([np.append(logs[e], raised[e]) for e in ELEMENTS])
    known = LinearDiscriminantAnalysis().fit(x, np.arange(8000) >= 4000)
    ours = scores(logs).values
    theirs = x[:4000] @ known.coef_[0]
    # the floor keeps ours nearer to the plain sum; without it they are the same direction
    assert np.corrcoef(ours, theirs)[0, 1] > 0.93
    left = residuals(logs)
    bare = np.linalg.solve(robust_covariance(left.values), signature(ASSOCIATION.weights, left))
    assert np.corrcoef(left.values @ bare, theirs)[0, 1] > 0.995


def test_oxides_do_not_raise_the_score_but_mineralisation_does():
    logs = make()
    for e in ("Fe", "Mn", "As", "Zn"):
        logs[e][:20] += 0.2 * 2.5  # oxides: along the factor
    for e in ("Cu", "As", "Zn"):
        logs[e][20:40] += 0.2 * 2.5
    s = scores(logs).values
    assert s[20:40].mean() > 3.0
    assert s[:20].mean() < 1.5


def test_a_sparse_element_adds_where_it_is_known_and_stays_calibrated():
    logs = make()
    rng = np.random.default_rng(3)
    has = np.arange(2000) % 6 == 0
    gold = np.where(has, rng.normal(size=2000), np.nan)
    gold[0] = 6.0
    association = Association("a", "A", ASSOCIATION.weights | {"Au": 1.0})
    found = scores(logs, {"Au": (gold, 0.3)}, association)
    plain = scores(logs).values
    assert found.elements == ("Cu", "As", "Zn", "Au") or set(found.elements) == {
        "Cu", "As", "Zn", "Au"
    }  # fmt: skip
    assert found.values[has].std() == pytest.approx(1.0, abs=0.12)
    assert found.values[0] > plain[0] + 0.5
    assert np.array_equal(found.values[~has], plain[~has])
    assert found.dense == pytest.approx(plain, abs=1e-12)
    assert np.array_equal(np.isfinite(found.sparse), has)
    assert (found.ratio[has] > 0).all()
    assert (found.ratio[~has] == 0).all()
    # both parts add up by what they tell (the sum of two independent normal detectors)
    share = found.ratio / (1 + found.ratio)
    both = np.sqrt(1 - share) * found.dense + np.sqrt(share) * np.nan_to_num(found.sparse)
    assert both == pytest.approx(found.values, abs=1e-9)


def test_signature_is_cut_by_detection_limits():
    left = residuals(make(), {"Cu": 0.2})
    s = dict(zip(left.elements, signature({"Cu": 1.0, "As": 1.0}, left), strict=True))
    assert s["Cu"] == pytest.approx(0.2 * s["As"], rel=0.1)
    assert s["Zr"] == 0.0


def test_expectation_below_a_limit():
    """E[z | z < c] = -phi(c)/Phi(c): -0.79788 at c = 0, the mean of a half normal (exact)."""
    got = expected_log(
        np.array([1.0, 1.0]), np.array([True, False]), np.array([1.0, 0.0]), np.array([0.5, 1.0])
    )
    assert got[0] == pytest.approx(1.0 - 0.5 * 0.7978845608, abs=1e-9)
    assert got[1] == 1.0


def test_doubt_of_what_stands_behind_a_limit():
    """Var[z | z < 0] = 1 - 2/pi, that of a half normal (exact); a detected value has its error."""
    got = expected_log_error(
        np.array([0.1, 0.1]), np.array([1.0, 1.0]), np.array([True, False]), np.array([1.0, 0.0]),
        np.array([0.5, 1.0]),
    )  # fmt: skip
    assert got[0] == pytest.approx(0.5 * np.sqrt(1 - 2 / np.pi))
    assert got[1] == pytest.approx(0.1 / np.log(10))


def test_drawn_weights_keep_the_spread_of_the_score():
    logs = make()
    found, left = scores(logs), residuals(logs)
    own = left.values @ found.vectors.T
    assert own[:, 0] - np.median(own[:, 0]) == pytest.approx(found.dense, abs=1e-9)
    spread = 1.4826 * np.median(np.abs(own - np.median(own, axis=0)), axis=0)
    assert spread == pytest.approx(1.0, abs=0.1)
    assert np.corrcoef(own.T)[0, 1:].min() > 0.6


def test_steps_of_batches_and_regional_levels_are_taken_out():
    rng = np.random.default_rng(5)
    i, j = np.divmod(np.arange(1600), 40)
    metres = np.column_stack([i * 100.0, j * 100.0])
    clean = rng.normal(0, 0.2, (1600, 4))
    batch = np.array([f"day {k // 2}" for k in i], dtype=object)
    spoilt = clean + 0.5 * (batch == "day 7")[:, None] + 0.4 * (metres[:, :1] / 4000.0)
    logs = {e: spoilt[:, k] for k, e in enumerate(ELEMENTS[:4])}
    nothing = np.full(1600, "", dtype=object)
    left = residuals_of(
        logs, dict.fromkeys(logs, 1.0), np.full(1600, "u", object), nothing,
        (Field(np.arange(1600), metres, 100.0),), np.ones(1600), batch,
    )  # fmt: skip
    mine = batch == "day 7"
    step = (left.values[mine].mean(axis=0) - left.values[~mine].mean(axis=0)) * left.size
    assert np.abs(step).max() < 0.15  # of 0.5
    west, east = metres[:, 0] < 800, metres[:, 0] > 3200
    slope = (left.values[east].mean(axis=0) - left.values[west].mean(axis=0)) * left.size
    assert np.abs(slope).max() < 0.12  # of 0.3
