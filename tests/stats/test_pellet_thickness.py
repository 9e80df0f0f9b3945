import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.stats.pellet_thickness import (
    LINES,
    areal_mass,
    attenuation,
    depth_of_signal,
    diluted_reading,
    signal_share,
)

# Depth of 99 % of the signal [mm] and share of it from 3 mm and 1 mm, soil pressed to 1.8 g/cm3, 45
# degrees in and out: I/I0 = 1 - exp(-mu rho t) with attenuation of xraylib 4.3 (checked against
# Hubbell, Seltzer, NIST XAAMDI), worked out with the exact energies, not interpolated ones.
DEPTHS = [("Cu", 0.331), ("As", 0.657), ("Mo", 2.631), ("Ag", 4.836), ("Sn", 6.649), ("Ba", 11.57)]
SHARES = [("Mo", 0.9948, 0.8263), ("Ag", 0.9426, 0.6142), ("Sn", 0.8748, 0.4997),
          ("Ba", 0.6969, 0.3283)]  # fmt: skip


@pytest.mark.published
@pytest.mark.parametrize(("element", "mm"), DEPTHS)
def test_depth_of_the_signal(element, mm):
    assert depth_of_signal(LINES[element][1]) == pytest.approx(mm, rel=0.01)


@pytest.mark.published
@pytest.mark.parametrize(("element", "three", "one"), SHARES)
def test_thin_pellets_read_low(element, three, one):
    got = signal_share([0.3 * 1.8, 0.1 * 1.8], LINES[element][1])
    np.testing.assert_allclose(got, [three, one], atol=0.003)


@pytest.mark.published
def test_moisture_at_copper():
    # (1 - w) mu_dry / mu_wet at Cu Ka, exciting energy 20 keV, same source.
    np.testing.assert_allclose(
        diluted_reading([0.05, 0.10, 0.20, 0.30], 8.048),
        [0.9895, 0.9781, 0.9521, 0.9206],
        atol=2e-4,
    )


@pytest.mark.published
@pytest.mark.parametrize(("ml", "mm", "pressed"), [(5, 32, 3.73), (10, 32, 7.46), (7, 40, 3.34)])
def test_height_of_a_pressed_pellet(ml, mm, pressed):
    # 4 V / (pi D^2), loose 1.2 to pressed 2.0 g/cm3: arithmetic.
    assert areal_mass(ml, mm) / 2.0 * 10 == pytest.approx(pressed, abs=0.005)


def test_table_values_come_back_and_iron_jumps():
    np.testing.assert_allclose(attenuation([6.404, 8.048, 32.194]), [76.29, 50.79, 1.065])
    assert attenuation(7.2) > attenuation(7.0)
    with pytest.raises(WrongCall, match="soil or water"):
        attenuation(8.0, "wax")
