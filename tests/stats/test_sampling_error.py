"""Gy's formula: the worked example of lead in galena, and gold."""

from __future__ import annotations

import math

import pytest

from geochem.errors import WrongCall
from geochem.stats.sampling_error import (
    Material,
    fundamental_error,
    least_mass,
    liberation_factor,
    mineral_factor,
    sampling_constant,
)


@pytest.mark.published
@pytest.mark.parametrize(
    ("top_cm", "l_factor", "constant", "mass_g"),
    [
        (2.5, 0.0774597, 1.1408843, 1369632),
        (0.5, 0.1732051, 2.5510948, 24501),
        (0.1, 0.3872983, 5.7044215, 438),
        (0.004, 1.0, 14.7287529, 0.07242),
    ],
)
def test_lead_ore(top_cm, l_factor, constant, mass_g):
    # Wills, Mineral Processing Technology, worked example: 5 % Pb, galena 86.6 % Pb and 7.5 g/cm3,
    # liberation 0.015 cm; 2 % at 95 % split over four stages, safety factor 2, four times C d^3/s^2
    ore = Material(0.05 / 0.866, 7.5, 2.65, liberation_cm=0.015)
    assert mineral_factor(ore) == pytest.approx(117.83, rel=1e-4)
    assert liberation_factor(ore, top_cm) == pytest.approx(l_factor, rel=1e-5)
    assert sampling_constant(ore, top_cm) == pytest.approx(constant, rel=1e-5)
    found = least_mass(ore, top_cm, 0.02 / 1.96 / math.sqrt(4), safety=2)
    assert found.mass_g == pytest.approx(mass_g, rel=1e-3)
    assert "= " + f"{found.mass_g:.4g} g" in found.working[-1]


def test_gold():
    # arithmetic: f g rho/grade d^3/M; 1 g/t, density 19.3
    fine = Material(1e-6, 19.3, liberation_cm=0.0075)
    assert fundamental_error(fine, 0.0075, 30) == pytest.approx(0.1841895, rel=1e-4)
    coarse = Material(1e-6, 19.3, liberation_cm=0.01)
    assert fundamental_error(coarse, 0.2, 1000) == pytest.approx(2.0774, rel=1e-4)
    assert fundamental_error(coarse, 0.2, 1000, lot_g=1000) == 0.0


def test_bad_calls_are_sentences():
    with pytest.raises(WrongCall, match="between 0 and 1, got 5"):
        mineral_factor(Material(5, 7.5))
    with pytest.raises(WrongCall, match="not more than the lot"):
        fundamental_error(Material(0.1, 7.5), 1, 20, lot_g=10)
