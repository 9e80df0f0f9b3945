"""Units of concentration and their factors to mg/kg.

Values are stored in mg/kg everywhere (1 ppm = 1 g/t = 1 mg/kg by mass); majors may be *shown* in
per cent and gold in ppb. Ounce and ton relations are the exact definitions of the international
avoirdupois and troy pounds (NIST Handbook 44, appendix C).
"""

from __future__ import annotations

from geochem.errors import unknown

TROY_OUNCE_G = 31.1034768
SHORT_TON_KG = 907.18474
LONG_TON_KG = 1016.0469088

#: unit -> factor to mg/kg
FACTORS: dict[str, float] = {
    "mg/kg": 1.0,
    "ppm": 1.0,
    "g/t": 1.0,
    "ug/g": 1.0,
    "%": 1e4,
    "g/kg": 1e3,
    "ppb": 1e-3,
    "ug/kg": 1e-3,
    "mg/t": 1e-3,
    "ng/g": 1e-3,
    "ppt": 1e-6,
    "ng/kg": 1e-6,
    "oz/short ton": TROY_OUNCE_G * 1e3 / SHORT_TON_KG,
    "oz/long ton": TROY_OUNCE_G * 1e3 / LONG_TON_KG,
    "lb/short ton": 500.0,
}

_SPELLINGS: dict[str, str] = {
    "mgkg": "mg/kg", "mg/kg": "mg/kg", "mg.kg-1": "mg/kg", "mgkg-1": "mg/kg", "mg kg-1": "mg/kg",
    "ppm": "ppm", "pm": "ppm", "ppmv": "ppm",
    "g/t": "g/t", "gt": "g/t", "gpt": "g/t", "g/tonne": "g/t",
    "ug/g": "ug/g", "µg/g": "ug/g", "μg/g": "ug/g", "mcg/g": "ug/g", "ugg": "ug/g",
    "%": "%", "pct": "%", "percent": "%", "per cent": "%", "wt%": "%", "wt.%": "%", "wt %": "%",
    "wt. %": "%", "wtpct": "%", "wt pct": "%", "perc": "%", "prozent": "%", "mass%": "%", "m%": "%",
    "g/kg": "g/kg", "gkg": "g/kg",
    "ppb": "ppb", "ug/kg": "ug/kg", "µg/kg": "ug/kg", "μg/kg": "ug/kg", "ugkg": "ug/kg",
    "mg/t": "mg/t", "ng/g": "ng/g", "ngg": "ng/g",
    "ng/kg": "ng/kg",
    "oz/short ton": "oz/short ton", "oz/st": "oz/short ton", "opt": "oz/short ton",
    "oz/long ton": "oz/long ton", "oz/lt": "oz/long ton",
    "lb/short ton": "lb/short ton", "lb/st": "lb/short ton",
}  # fmt: skip


def read_unit(text: str) -> str | None:
    """Understand the spelling of a unit of concentration.

    Parameters
    ----------
    text : str
        As written in a header or a campaign file.

    Returns
    -------
    str or None
        A key of `FACTORS`, or None if it is no unit known here. ``ppt`` is never taken from a
        file: it may mean per thousand.

    Examples
    --------
    >>> read_unit(" Wt.% "), read_unit("PPM"), read_unit("apples")
    ('%', 'ppm', None)
    """
    key = " ".join(text.strip().strip("()[]").lower().split())
    return _SPELLINGS.get(key) or _SPELLINGS.get(key.replace(" ", "").replace("_", ""))


def factor(unit: str) -> float:
    """Give the factor from a unit to mg/kg.

    Parameters
    ----------
    unit : str
        A unit as `read_unit` understands it.

    Returns
    -------
    float
        Multiply by this to get mg/kg.

    Raises
    ------
    WrongCall
        If the unit is not known.

    Examples
    --------
    >>> factor("%"), factor("ppb"), round(factor("oz/short ton"), 6)
    (10000.0, 0.001, 34.285714)
    """
    known = unit if unit in FACTORS else read_unit(unit)
    if known is None:
        raise unknown("unit", unit, FACTORS)
    return FACTORS[known]


def shown_unit(element: str, typical: float) -> tuple[str, float]:
    """Choose the unit in which a geologist reads an element.

    Majors above 1 % are shown in per cent, gold, palladium and platinum in ppb below 1 g/t and in
    g/t above; everything else in ppm (common practice, no source).

    Parameters
    ----------
    element : str
        Chemical symbol.
    typical : float
        A typical (say, the largest background) value. [mg/kg]

    Returns
    -------
    unit : str
        ``"%"``, ``"ppm"``, ``"g/t"`` or ``"ppb"``.
    divisor : float
        Divide mg/kg by this to get the shown number.

    Examples
    --------
    >>> shown_unit("Fe", 35000.0), shown_unit("Au", 0.004), shown_unit("Cu", 30.0)
    (('%', 10000.0), ('ppb', 0.001), ('ppm', 1.0))
    """
    if element in {"Au", "Pd", "Pt", "Rh", "Ir", "Os", "Ru"}:
        return ("g/t", 1.0) if typical >= 1.0 else ("ppb", 1e-3)
    if typical >= 1e4:
        return "%", 1e4
    return "ppm", 1.0
