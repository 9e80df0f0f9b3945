"""Elements: symbols, standard atomic weights, oxides, and a few traits the trade relies on.

Weights are the IUPAC / CIAAW conventional standard atomic weights of 2021 (Prohaska et al. 2022,
Pure and Applied Chemistry 94:573-600, doi:10.1515/pac-2019-0603).
"""

from __future__ import annotations

import re
from functools import cache

from geochem.errors import WrongCall, unknown

#: standard atomic weights; dimensionless
ATOMIC_WEIGHTS: dict[str, float] = {
    "H": 1.008, "He": 4.002602, "Li": 6.94, "Be": 9.0121831, "B": 10.81, "C": 12.011,
    "N": 14.007, "O": 15.999, "F": 18.998403162, "Ne": 20.1797, "Na": 22.98976928, "Mg": 24.305,
    "Al": 26.9815384, "Si": 28.085, "P": 30.973761998, "S": 32.06, "Cl": 35.45, "Ar": 39.95,
    "K": 39.0983, "Ca": 40.078, "Sc": 44.955907, "Ti": 47.867, "V": 50.9415, "Cr": 51.9961,
    "Mn": 54.938043, "Fe": 55.845, "Co": 58.933194, "Ni": 58.6934, "Cu": 63.546, "Zn": 65.38,
    "Ga": 69.723, "Ge": 72.63, "As": 74.921595, "Se": 78.971, "Br": 79.904, "Kr": 83.798,
    "Rb": 85.4678, "Sr": 87.62, "Y": 88.905838, "Zr": 91.224, "Nb": 92.90637, "Mo": 95.95,
    "Ru": 101.07, "Rh": 102.90549, "Pd": 106.42, "Ag": 107.8682, "Cd": 112.414, "In": 114.818,
    "Sn": 118.71, "Sb": 121.76, "Te": 127.6, "I": 126.90447, "Xe": 131.293, "Cs": 132.90545196,
    "Ba": 137.327, "La": 138.90547, "Ce": 140.116, "Pr": 140.90766, "Nd": 144.242, "Sm": 150.36,
    "Eu": 151.964, "Gd": 157.25, "Tb": 158.925354, "Dy": 162.5, "Ho": 164.930329, "Er": 167.259,
    "Tm": 168.934219, "Yb": 173.045, "Lu": 174.9668, "Hf": 178.486, "Ta": 180.94788, "W": 183.84,
    "Re": 186.207, "Os": 190.23, "Ir": 192.217, "Pt": 195.084, "Au": 196.96657, "Hg": 200.592,
    "Tl": 204.38, "Pb": 207.2, "Bi": 208.9804, "Th": 232.0377, "Pa": 231.03588, "U": 238.02891,
}  # fmt: skip

SYMBOLS: frozenset[str] = frozenset(ATOMIC_WEIGHTS)

#: Oxides a laboratory reports, with the element they are converted to.
OXIDES: dict[str, str] = {
    "Ag2O": "Ag", "Al2O3": "Al", "As2O3": "As", "As2O5": "As", "Au2O3": "Au", "B2O3": "B",
    "BaO": "Ba", "BeO": "Be", "Bi2O3": "Bi", "CaO": "Ca", "CdO": "Cd", "CeO2": "Ce",
    "Ce2O3": "Ce", "CoO": "Co", "Co3O4": "Co", "Cr2O3": "Cr", "Cs2O": "Cs", "CuO": "Cu",
    "Cu2O": "Cu", "Dy2O3": "Dy", "Er2O3": "Er", "Eu2O3": "Eu", "FeO": "Fe", "Fe2O3": "Fe",
    "Fe3O4": "Fe", "Ga2O3": "Ga", "Gd2O3": "Gd", "GeO2": "Ge", "HfO2": "Hf", "HgO": "Hg",
    "Ho2O3": "Ho", "In2O3": "In", "K2O": "K", "La2O3": "La", "Li2O": "Li", "Lu2O3": "Lu",
    "MgO": "Mg", "MnO": "Mn", "MnO2": "Mn", "Mn2O3": "Mn", "Mn3O4": "Mn", "MoO3": "Mo",
    "Na2O": "Na", "Nb2O5": "Nb", "Nd2O3": "Nd", "NiO": "Ni", "P2O5": "P", "PbO": "Pb",
    "PbO2": "Pb", "Pr6O11": "Pr", "Pr2O3": "Pr", "Rb2O": "Rb", "Sb2O3": "Sb", "Sb2O5": "Sb",
    "Sc2O3": "Sc", "SeO2": "Se", "SiO2": "Si", "Sm2O3": "Sm", "SnO2": "Sn", "SnO": "Sn",
    "SO3": "S", "SrO": "Sr", "Ta2O5": "Ta", "Tb4O7": "Tb", "Tb2O3": "Tb", "TeO2": "Te",
    "ThO2": "Th", "TiO2": "Ti", "Tl2O": "Tl", "Tm2O3": "Tm", "UO2": "U", "UO3": "U",
    "U3O8": "U", "V2O5": "V", "V2O3": "V", "WO3": "W", "Y2O3": "Y", "Yb2O3": "Yb", "ZnO": "Zn",
    "ZrO2": "Zr", "CO2": "C",
}  # fmt: skip

#: Portable XRF never decides these without a laboratory (common practice, no source).
XRF_NEVER: frozenset[str] = frozenset({"Au", "Pt", "Pd", "Rh", "Ir", "Os", "Ru", "Hg", "Te", "Tl"})

#: Portable XRF may decide these only above the given level (common practice, no source;
#: the levels are from memory: a few times the usual detection limit). [mg/kg]
XRF_ABOVE: dict[str, float] = {
    "Ag": 20.0, "Cd": 30.0, "Sb": 40.0, "Sn": 40.0, "Bi": 20.0, "Se": 10.0,
}  # fmt: skip

#: Too light for a portable XRF in air (common practice, no source).
XRF_LIGHT: frozenset[str] = frozenset({"H", "Li", "Be", "B", "C", "N", "O", "F", "Na"})

#: What mills and crushers leave in a sample: pattern of their name, name, elements (common practice,
#: no source).
MILLS: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    (r"tungsten|carbide|\bwc\b", "tungsten carbide", ("W", "Co")),
    (r"steel|chrome|\biron\b", "steel", ("Fe", "Cr", "Mn", "Ni")),
    (r"zirconi", "zirconia", ("Zr", "Hf")),
    (r"alumina|corundum|ceramic", "alumina ceramic", ("Al",)),
)

_FORMULA = re.compile(r"([A-Z][a-z]?)(\d*)")


def formula_mass(formula: str) -> float:
    """Give the molar mass of a simple formula without brackets.

    Parameters
    ----------
    formula : str
        For example ``"Fe2O3"``.

    Returns
    -------
    float
        Molar mass. [g/mol]

    Raises
    ------
    WrongCall
        If a part of the text is no element.

    Examples
    --------
    >>> round(formula_mass("Fe2O3"), 3)
    159.687
    """
    parts = _FORMULA.findall(formula)
    if "".join(a + b for a, b in parts) != formula or not parts:
        raise WrongCall(
            f"'{formula}' is not a formula of element symbols and counts, like 'Fe2O3'."
        )
    total = 0.0
    for symbol, count in parts:
        if symbol not in ATOMIC_WEIGHTS:
            raise unknown("element", symbol, ATOMIC_WEIGHTS)
        total += ATOMIC_WEIGHTS[symbol] * (int(count) if count else 1)
    return total


def oxide_factor(oxide: str) -> float:
    """Give the mass fraction of the element in its oxide.

    Parameters
    ----------
    oxide : str
        A key of `OXIDES`.

    Returns
    -------
    float
        Multiply an oxide concentration by this to get the element. [-]

    Raises
    ------
    WrongCall
        If the oxide is not known.

    Examples
    --------
    >>> round(oxide_factor("Fe2O3"), 5), round(oxide_factor("SiO2"), 5)
    (0.69943, 0.46744)
    """
    if oxide not in OXIDES:
        raise unknown("oxide", oxide, OXIDES)
    element = OXIDES[oxide]
    count = sum(int(n) if n else 1 for s, n in _FORMULA.findall(oxide) if s == element)
    return count * ATOMIC_WEIGHTS[element] / formula_mass(oxide)


#: where the numbers of `crustal_abundance` come from
CRUST_SOURCE = "Rudnick & Gao 2003, Treatise on Geochemistry 3.01 (from memory)"


@cache
def crustal_abundance() -> dict[str, float]:
    """Read the table `crustal_abundance.csv` beside this file.

    Returns
    -------
    dict of str to float
        Upper continental crust. [mg/kg]

    References
    ----------
    Rudnick R. L., Gao S. (2003): Composition of the continental crust. Treatise on Geochemistry
    3.01; see the head of the table.

    Examples
    --------
    >>> crustal_abundance()["Cu"]
    28.0
    """
    import csv
    from importlib.resources import files

    text = (files("geochem") / "crustal_abundance.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    return {row["element"]: float(row["mg_per_kg"]) for row in csv.DictReader(lines)}


def element_rank(element: str) -> tuple[int, str]:
    """Give a sort key that puts elements by atomic number and other species last.

    Parameters
    ----------
    element : str
        Symbol, or the name of a species such as ``"C_inorganic"``.

    Returns
    -------
    tuple of int and str
        For use as ``sorted(..., key=element_rank)``.
    """
    order = list(ATOMIC_WEIGHTS)
    return (order.index(element), element) if element in ATOMIC_WEIGHTS else (999, element)
