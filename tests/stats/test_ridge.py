import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.stats.ridge import PENALTIES, ridge


@pytest.mark.parametrize("penalty", [0.0, 3.0, 200.0])
def test_coefficients_are_those_of_scikit_learn(penalty):
    from sklearn.linear_model import Ridge

    rng = np.random.default_rng(1)
    x, y = rng.normal(size=(60, 6)) * [1, 2, 3, 4, 5, 6], rng.normal(size=60)
    z = (x - x.mean(axis=0)) / x.std(axis=0)
    got, other = ridge(x, y, penalty), Ridge(alpha=penalty).fit(z, y)
    assert got.coefficient == pytest.approx(other.coef_, abs=1e-9)
    assert got.predict(x) == pytest.approx(other.predict(z))


def test_the_penalty_grows_with_noise():
    rng = np.random.default_rng(2)
    x = rng.normal(size=(200, 10))
    y = x @ rng.normal(size=10)
    assert ridge(x, y).penalty == pytest.approx(PENALTIES[0] * 200)
    assert ridge(x, y + 30 * rng.normal(size=200)).penalty > 20
    with pytest.raises(WrongCall, match="shape"):
        ridge(x, y[:5])
