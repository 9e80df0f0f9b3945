"""How much material a sample needs: Gy's fundamental error, with the working shown.

Lengths in cm, masses in g, densities in g/cm3, as the formula is always written.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from geochem.errors import WrongCall


@dataclass(frozen=True, slots=True)
class Material:
    """What is sampled.

    Parameters
    ----------
    mineral_share : float
        Mass share of the mineral that carries the element, above 0 and below 1. [-]
    mineral_density, gangue_density : float
        Of that mineral and of the rest. [g/cm3]
    liberation_cm : float
        Size of the mineral's grains. [cm]
    shape : float
        0.5 for grains about as long as wide; 0.2 or less for flakes (gold). [-]
    size_range : float
        0.25 unsorted, 0.5 where the material lies between two sieves. [-]
    """

    mineral_share: float
    mineral_density: float
    gangue_density: float = 2.65
    liberation_cm: float = 0.01
    shape: float = 0.5
    size_range: float = 0.25


@dataclass(frozen=True, slots=True)
class SampleMass:
    """A mass and how it was found.

    Parameters
    ----------
    mass_g : float
        Least mass. [g]
    relative_sd : float
        Relative standard deviation reached with it. [-]
    constant : float
        C of the formula. [g/cm3]
    working : tuple of str
        One line per step.
    reference : str
        Publication.
    """

    mass_g: float
    relative_sd: float
    constant: float
    working: tuple[str, ...]
    reference: str = "Gy 1979, Sampling of Particulate Materials (from memory)"


def mineral_factor(material: Material) -> float:
    """Give m, the factor of composition.

    Examples
    --------
    >>> round(mineral_factor(Material(0.05 / 0.866, 7.5)), 4)
    117.83
    """
    _check(material)
    a = material.mineral_share
    return (1.0 - a) / a * ((1.0 - a) * material.mineral_density + a * material.gangue_density)


def liberation_factor(material: Material, top_size_cm: float) -> float:
    """Give l: 1 when grains are free, the root of grain size over top size when they are not."""
    if not top_size_cm > 0:
        raise WrongCall(f"the top size must be above zero centimetres, got {top_size_cm}.")
    return min(1.0, math.sqrt(material.liberation_cm / top_size_cm))


def sampling_constant(material: Material, top_size_cm: float) -> float:
    """Give C = f g l m. [g/cm3]."""
    return (
        material.shape
        * material.size_range
        * liberation_factor(material, top_size_cm)
        * mineral_factor(material)
    )


def fundamental_error(
    material: Material, top_size_cm: float, mass_g: float, *, lot_g: float = math.inf
) -> float:
    """Give the relative standard deviation that a sample of this mass cannot fall below.

    Parameters
    ----------
    material : Material
        What is sampled.
    top_size_cm : float
        Sieve that 95 % pass. [cm]
    mass_g, lot_g : float
        Of the sample and of what it was taken from. [g]

    Returns
    -------
    float
        Relative standard deviation. [-]

    Raises
    ------
    WrongCall
        If a mass is not usable.

    Examples
    --------
    >>> gold = Material(1e-6, 19.3, liberation_cm=0.0075)
    >>> round(100 * fundamental_error(gold, 0.0075, 30.0), 2)
    18.42
    """
    if not 0 < mass_g <= lot_g:
        raise WrongCall(
            f"the mass must be above zero and not more than the lot, got {mass_g} g of {lot_g} g."
        )
    constant = sampling_constant(material, top_size_cm)
    return math.sqrt(constant * top_size_cm**3 * (1.0 / mass_g - 1.0 / lot_g))


def least_mass(
    material: Material, top_size_cm: float, relative_sd: float, *, safety: float = 1.0
) -> SampleMass:
    """Give the least mass for a wanted relative standard deviation.

    Parameters
    ----------
    material : Material
        What is sampled.
    top_size_cm : float
        Sieve that 95 % pass. [cm]
    relative_sd : float
        Wanted, for this one stage. [-]
    safety : float, default 1
        Multiplies the mass.

    Returns
    -------
    SampleMass
        With the working.

    Raises
    ------
    WrongCall
        If a number is not usable.
    """
    if not (relative_sd > 0 and safety >= 1):
        raise WrongCall(
            f"the wanted error must be above zero and the safety factor at least 1, got "
            f"{relative_sd} and {safety}."
        )
    m = mineral_factor(material)
    l = liberation_factor(material, top_size_cm)  # noqa: E741  the symbol of the formula
    constant = sampling_constant(material, top_size_cm)
    mass = safety * constant * top_size_cm**3 / relative_sd**2
    working = (
        f"mineral share a = {material.mineral_share:.3g} by mass, density {material.mineral_density:g}, "
        f"rest {material.gangue_density:g} g/cm3",
        f"m = (1 - a)/a x ((1 - a) r + a t) = {m:.4g} g/cm3",
        f"l = min(1, sqrt(grain {material.liberation_cm:g} cm / top size {top_size_cm:g} cm)) "
        f"= {l:.4g}",
        f"C = f g l m = {material.shape:g} x {material.size_range:g} x {l:.4g} x {m:.4g} "
        f"= {constant:.4g} g/cm3",
        f"M = {safety:g} x C d^3 / s^2 = {safety:g} x {constant:.4g} x {top_size_cm:g}^3 / "
        f"{relative_sd:.4g}^2 = {mass:.4g} g",
    )
    return SampleMass(mass, relative_sd, constant, working)


def _check(material: Material) -> None:
    if not 0 < material.mineral_share < 1:
        raise WrongCall(
            "the mass share of the mineral must lie between 0 and 1, got "
            f"{material.mineral_share}; 5 % lead in galena is 0.05 / 0.866."
        )
    numbers = (
        material.mineral_density, material.gangue_density, material.liberation_cm,
        material.shape, material.size_range,
    )  # fmt: skip
    if not all(math.isfinite(n) and n > 0 for n in numbers):
        raise WrongCall("densities, grain size, shape and size range must all be above zero.")
