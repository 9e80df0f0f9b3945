"""Stream sediments: mass balance and what the rocks upstream explain."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geochem.errors import WrongCall
from geochem.stats.dilution import (
    diluted_concentration,
    largest_catchment,
    productivity,
    rock_background,
    source_concentration,
)


@pytest.mark.published
def test_mass_balance_of_hawkes():
    # Hawkes 1976, J. Geochem. Explor. 6:345: Am Cm = Aa (Ca - Cb) + Am Cb (formula from memory);
    # 10 km2, 130 and 30 ppm, source of 0.5 km2: 10 * 100 / 0.5 + 30
    assert source_concentration(130, 30, 10, 0.5) == pytest.approx(2030)
    assert largest_catchment(2030, 30, 0.5, 10) == pytest.approx(100)
    with pytest.raises(WrongCall, match="positive"):
        source_concentration(130, 30, 0, 0.5)


@settings(max_examples=25)
@given(st.floats(1, 1e4), st.floats(0, 100), st.floats(0.5, 500), st.floats(0.01, 0.5))
def test_dilution_is_undone(source, background, area, part):
    there = diluted_concentration(source, background, area, part)
    assert source_concentration(there, background, area, part) == pytest.approx(
        source, rel=1e-6, abs=1e-6
    )


@pytest.mark.published
def test_background_and_productivity_of_bonham_carter():
    # Bonham-Carter & Goodfellow 1986 (formula from memory): 6 km2 at 40 and 4 km2 at 65 ppm -> 50;
    # a sediment of 80 is 30 above, times 10 km2
    found = rock_background([40, 65, 80], [[1, 0], [0, 1], [0, 0]], method="weighted means")
    assert found.coefficients.tolist() == [40, 65]
    expected = np.array([6, 4]) / 10 @ found.coefficients
    assert expected == 50
    assert productivity(80 - expected, 10.0) == pytest.approx(300)
    assert np.isnan(found.expected[2])


def test_regression_finds_units_under_noise_and_anomalies():
    rng = np.random.default_rng(4)
    shares = rng.dirichlet([0.6, 0.6, 0.6], 120)
    y = shares @ [20.0, 60.0, 140.0] * rng.lognormal(0, 0.1, 120)
    y[:4] *= 12
    found = rock_background(y, shares * rng.uniform(1, 9, (120, 1)))
    assert found.method == "regression"
    np.testing.assert_allclose(found.coefficients, [20, 60, 140], rtol=0.35)
    assert set(np.argsort(found.residual / found.expected)[-4:].tolist()) == {0, 1, 2, 3}
    assert rock_background(y[:12], shares[:12]).method == "weighted means"
    assert found.explained > 0.4
