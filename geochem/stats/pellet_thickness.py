"""How deep an X-ray line comes from in pressed soil, and what a thin, wet or waxed pellet reads.

Absorption is tabulated for soil of 70 % SiO2, 14 % Al2O3, 6 % Fe2O3, 3 % CaO, 3 % K2O, 2 % MgO,
2 % Na2O and for water, total with coherent scattering, from an X-ray library (xraylib 4.3, values
that agree with Hubbell & Seltzer, NIST, to 0.1 %). Between the energies log-log interpolation
serves; it must not cross the iron edge at 7.11 keV, so lines under 8 keV are not interpolated.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from geochem.errors import WrongCall

Floats = npt.NDArray[np.float64]

#: energy [keV], soil, water [cm2/g]; the two above 32.2 keV are those behind published depths
ATTENUATION: tuple[tuple[float, float, float], ...] = (
    (1.740, 1057.2, 912.64), (3.314, 405.40, 144.12), (4.511, 203.72, 57.90),
    (6.404, 76.29, 20.25), (8.048, 50.79, 10.19), (8.639, 41.65, 8.24), (10.54, 23.70, 4.563),
    (12.61, 14.22, 2.711), (14.165, 10.20, 1.956), (17.479, 5.603, 1.121), (22.163, 2.873, 0.646),
    (25.271, 2.005, 0.498), (32.194, 1.065, 0.341), (45.0, 0.4987, 0.247),
)  # fmt: skip

#: line and its energy [keV] by which an element is usually read (X-ray data tables, from memory)
LINES: dict[str, tuple[str, float]] = {
    "Si": ("Ka", 1.740), "K": ("Ka", 3.314), "Ca": ("Ka", 3.692), "Ti": ("Ka", 4.511),
    "V": ("Ka", 4.952), "Cr": ("Ka", 5.415), "Mn": ("Ka", 5.899), "Fe": ("Ka", 6.404),
    "Co": ("Ka", 6.930), "Ni": ("Ka", 7.478), "Cu": ("Ka", 8.048), "Zn": ("Ka", 8.639),
    "Ga": ("Ka", 9.252), "As": ("Ka", 10.54), "Se": ("Ka", 11.22), "Br": ("Ka", 11.92),
    "Rb": ("Ka", 13.395), "Sr": ("Ka", 14.165), "Y": ("Ka", 14.958), "Zr": ("Ka", 15.775),
    "Nb": ("Ka", 16.615), "Mo": ("Ka", 17.479), "Ag": ("Ka", 22.163), "Cd": ("Ka", 23.174),
    "In": ("Ka", 24.210), "Sn": ("Ka", 25.271), "Sb": ("Ka", 26.359), "Te": ("Ka", 27.472),
    "I": ("Ka", 28.612), "Cs": ("Ka", 30.973), "Ba": ("Ka", 32.194), "La": ("Ka", 33.442),
    "Ce": ("Ka", 34.720), "W": ("La", 8.398), "Au": ("La", 9.713), "Hg": ("La", 9.989),
    "Tl": ("La", 10.269), "Pb": ("Lb", 12.61), "Bi": ("La", 10.839), "Th": ("La", 12.969),
    "U": ("La", 13.615),
}  # fmt: skip

#: line energy -> effective exciting energy [keV]; assumed, both angles 45 degrees
_EXCITED = ((8.048, 20.0), (10.54, 20.0), (17.479, 30.0), (22.163, 35.0), (25.271, 38.0),
            (32.194, 45.0))  # fmt: skip

_SIN_45 = float(np.sqrt(0.5))


def attenuation(energy_kev: npt.ArrayLike, material: str = "soil") -> Floats:
    """Give the mass attenuation coefficient of soil or water.

    Parameters
    ----------
    energy_kev : array_like
        Photon energy, 1.74 to 45 keV; under 8 keV linear in the logarithms between tabulated
        lines on the same side of the iron edge.
    material : {"soil", "water"}
        As tabulated.

    Returns
    -------
    ndarray
        [cm2/g]

    Examples
    --------
    >>> float(attenuation(8.048))
    50.79
    """
    if material not in ("soil", "water"):
        raise WrongCall(f"material is soil or water, got {material!r}.")
    e = np.asarray(energy_kev, dtype=float)
    table = np.array(ATTENUATION)
    column = 1 if material == "soil" else 2
    if material == "soil":
        # Just under the iron edge absorption goes on falling as from Ti to Fe; above it jumps.
        edge = 7.112
        low = table[table[:, 0] < edge]
        slope = np.diff(np.log(low[-2:, column]))[0] / np.diff(np.log(low[-2:, 0]))[0]
        under = low[-1, column] * (edge / low[-1, 0]) ** slope
        high = table[table[:, 0] > edge]
        slope = np.diff(np.log(high[:2, column]))[0] / np.diff(np.log(high[:2, 0]))[0]
        over = high[0, column] * (edge / high[0, 0]) ** slope
        table = np.vstack([low[:, [0, column]], [edge - 1e-9, under], [edge, over],
                           high[:, [0, column]]])  # fmt: skip
        column = 1
    return np.asarray(np.exp(np.interp(np.log(e), np.log(table[:, 0]), np.log(table[:, column]))))


def effective_attenuation(line_kev: float, material: str = "soil") -> float:
    """Give the attenuation in and out at 45 degrees, for the assumed exciting energy. [cm2/g]."""
    exciting = float(np.interp(line_kev, *np.array(_EXCITED).T))
    both = attenuation([line_kev, exciting], material)
    return float(both.sum() / _SIN_45)


def depth_of_signal(line_kev: float, *, density: float = 1.8, share: float = 0.99) -> float:
    """Give the thickness of pressed soil that gives a share of the full signal of a line.

    Parameters
    ----------
    line_kev : float
        Energy of the line.
    density : float, default 1.8
        Of the pellet. [g/cm3]
    share : float, default 0.99
        Of the signal of an infinitely thick pellet. [-]

    Returns
    -------
    float
        ``-ln(1 - share) / (mu density)``. [mm]

    Examples
    --------
    >>> round(depth_of_signal(8.048), 3)
    0.331
    """
    return float(-np.log1p(-share) / (effective_attenuation(line_kev) * density) * 10)


def signal_share(areal_mass: npt.ArrayLike, line_kev: float) -> Floats:
    """Give the share of the full signal that a pellet of a given mass per area gives.

    Parameters
    ----------
    areal_mass : array_like
        Powder per area of the die. [g/cm2]
    line_kev : float
        Energy of the line.

    Returns
    -------
    ndarray
        ``1 - exp(-mu m)``. [-]
    """
    return np.asarray(-np.expm1(-effective_attenuation(line_kev) * np.asarray(areal_mass)))


def areal_mass(
    powder_ml: npt.ArrayLike, die_mm: npt.ArrayLike, *, loose_density: float = 1.2
) -> Floats:
    """Give the powder per area of a pressed pellet from what was filled in loosely.

    Pressing does not change it, so the density of the pellet is not needed.

    Parameters
    ----------
    powder_ml, die_mm : array_like
        Loose volume and diameter of the die.
    loose_density : float, default 1.2
        Of loose powder (common practice, no source). [g/cm3]

    Returns
    -------
    ndarray
        [g/cm2]

    Examples
    --------
    >>> round(float(areal_mass(5, 32)) / 2.0 * 10, 2)      # pressed to 2.0 g/cm3: mm
    3.73
    """
    d = np.asarray(die_mm, dtype=float) / 10
    return np.asarray(4 * np.asarray(powder_ml, dtype=float) * loose_density / (np.pi * d**2))


def diluted_reading(share: npt.ArrayLike, line_kev: float) -> Floats:
    """Give what a thick pellet reads when part of its mass is water (or a binder as light).

    Parameters
    ----------
    share : array_like
        Mass share of water. [-]
    line_kev : float
        Energy of the line.

    Returns
    -------
    ndarray
        Reading over that of dry powder, ``(1 - w) mu_dry / mu_wet``: less is lost than by
        dilution alone, because water absorbs less. [-]
    """
    w = np.asarray(share, dtype=float)
    dry = effective_attenuation(line_kev)
    wet = (1 - w) * dry + w * effective_attenuation(line_kev, "water")
    return np.asarray((1 - w) * dry / wet)
