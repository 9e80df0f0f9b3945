from importlib.resources import files

import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.stats.mcd import mcd, mcd_obstacles


@pytest.fixture(scope="module")
def hbk():
    """Hawkins, Bradu & Kass 1984; carried by statsmodels."""
    import pandas as pd

    path = files("statsmodels.robust.tests.results") / "hbk.csv"
    frame = pd.read_csv(str(path))
    columns = [c for c in frame.columns if c.lower() in ("x1", "x2", "x3")]
    return frame[columns].to_numpy(dtype=float)


@pytest.mark.published
def test_hbk(hbk):
    # R robustbase::covMcd(alpha = 0.5)
    got = mcd(hbk)
    assert hbk.shape == (75, 3)
    assert got.h == 39
    assert got.location == pytest.approx([1.537705, 1.780328, 1.686885], abs=1e-6)
    assert got.raw_location == pytest.approx([1.533333, 2.456410, 1.607692], abs=1e-6)
    assert got.log_determinant == pytest.approx(-1.047858, abs=1e-6)
    assert np.diag(got.covariance) == pytest.approx([1.652754, 1.682272, 1.562388], abs=1e-5)
    assert (np.flatnonzero(got.distance > got.cut) + 1).tolist() == list(range(1, 15))
    assert got.factors == pytest.approx((2.367928, 1.452829, 1.127921, 1.004908), abs=1e-6)
    assert got.location == pytest.approx(hbk[14:].mean(axis=0))


@pytest.mark.published
def test_stackloss():
    # R robustbase::covMcd(nsamp = "exact"); data Brownlee 1965, carried by statsmodels
    from statsmodels.datasets import stackloss

    x = stackloss.load_pandas().exog.to_numpy(dtype=float)
    got = mcd(x)
    assert got.h == 12
    assert got.location == pytest.approx([59.5, 20.83333, 87.33333], abs=1e-5)
    assert np.diag(got.covariance) == pytest.approx([12.60091, 18.49607, 46.57177], abs=1e-4)
    assert got.log_determinant == pytest.approx(5.472581, abs=1e-6)
    flagged = (np.flatnonzero(got.distance > got.cut) + 1).tolist()
    assert flagged == [1, 2, 3, 15, 16, 17, 18, 19, 21]


# modified wood gravity data, Rousseeuw & Leroy 1987, Robust Regression and Outlier Detection, Wiley
# (typed from memory; the published determinant and centre below confirm every digit)
WOOD = """
0.573 0.1059 0.465 0.538 0.841  0.651 0.1356 0.527 0.545 0.887  0.606 0.1273 0.494 0.521 0.920
0.437 0.1591 0.446 0.423 0.992  0.547 0.1135 0.531 0.519 0.915  0.444 0.1628 0.429 0.411 0.984
0.489 0.1231 0.562 0.455 0.824  0.413 0.1673 0.418 0.430 0.978  0.536 0.1182 0.592 0.464 0.854
0.685 0.1564 0.631 0.564 0.914  0.664 0.1588 0.506 0.481 0.867  0.703 0.1335 0.519 0.484 0.812
0.653 0.1395 0.625 0.519 0.892  0.586 0.1114 0.505 0.565 0.889  0.534 0.1143 0.521 0.570 0.889
0.523 0.1320 0.505 0.612 0.919  0.580 0.1249 0.546 0.608 0.954  0.448 0.1028 0.522 0.534 0.918
0.417 0.1687 0.405 0.415 0.981  0.528 0.1057 0.424 0.566 0.909
"""


@pytest.mark.published
def test_wood():
    # R robustbase::covMcd(nsamp = "exact")
    got = mcd(np.array(WOOD.split(), dtype=float).reshape(20, 5))
    assert got.h == 13
    assert got.location == pytest.approx(
        [0.5869231, 0.1222308, 0.5309231, 0.5382308, 0.8918462], abs=1e-7
    )
    assert got.log_determinant == pytest.approx(-36.27009, abs=1e-5)
    flagged = np.flatnonzero(got.distance > got.cut)
    assert (flagged + 1).tolist() == [4, 6, 7, 8, 11, 16, 19]
    assert got.distance[flagged] == pytest.approx(
        [9.92, 10.68, 3.67, 12.18, 4.42, 3.70, 12.53], abs=0.006
    )


@pytest.mark.published
def test_cut_is_the_root_of_chi_square():
    x = np.random.default_rng(0).normal(size=(100, 6))
    assert mcd(x).cut == pytest.approx(3.801233, abs=1e-6)  # chi-square table


def _spoiled(n, p, seed=0):
    rng = np.random.default_rng(seed)
    x = rng.standard_normal((n, p)) @ rng.standard_normal((p, p))
    x[: n // 10] += 15
    return x


def test_as_good_as_scikit_learn():
    from sklearn.covariance import MinCovDet

    x = _spoiled(1500, 6)
    got = mcd(x)
    other = MinCovDet(support_fraction=got.h / len(x), random_state=0).fit(x)
    theirs = np.linalg.slogdet(np.cov(x[other.raw_support_], rowvar=False))[1]
    assert got.log_determinant <= theirs + 0.03
    same = (got.distance > got.cut) == (np.sqrt(other.mahalanobis(x)) > got.cut)
    assert same.mean() >= 0.99


@pytest.mark.parametrize("n", [200, 6000])
def test_row_order_changes_nothing(n):
    x = _spoiled(n, 5, seed=1).round(1)
    p = np.random.default_rng(2).permutation(n)
    a, b = mcd(x), mcd(x[p])
    assert a.distance[p].tolist() == b.distance.tolist()
    assert a.location.tolist() == b.location.tolist()


def test_moves_with_the_data():
    x = _spoiled(400, 3, seed=4)
    turn = np.array([[2.0, 1.0, 0.0], [0.0, 1.0, 0.5], [0.3, 0.0, 1.0]])
    a, b = mcd(x), mcd(x @ turn.T + 7)
    assert ((a.distance > a.cut) == (b.distance > b.cut)).mean() > 0.99


def test_refuses_what_is_singular():
    rng = np.random.default_rng(0)
    x = rng.normal(size=(50, 3))
    flat = np.column_stack([x, x.sum(axis=1)])
    assert "rank 3" in " ".join(mcd_obstacles(flat))
    with pytest.raises(WrongCall, match="rank 3"):
        mcd(flat)
    with pytest.raises(WrongCall, match="too few"):
        mcd(x[:6])
    tied = x.copy()
    tied[:40, 1] = 5.0
    assert "coordinate 2 has the same value in 40 of 50 rows" in " ".join(mcd_obstacles(tied))
    with pytest.raises(WrongCall, match="alpha"):
        mcd(x, alpha=0.2)
