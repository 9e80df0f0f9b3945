"""Invented reference materials and quartz: what the campaign's control samples hold."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import rocks
from .fields import Array
from .measurement import recovery_of


@dataclass(frozen=True, slots=True)
class Standard:
    """An invented reference material.

    Parameters
    ----------
    name, matrix : str
        What it is called and made of.
    rock : str
        A key of `rocks.MEDIANS` that it starts from.
    raised : dict of str to float
        Elements with a content of their own. [mg/kg]
    """

    name: str
    matrix: str
    rock: str
    raised: dict[str, float]


STANDARDS: tuple[Standard, ...] = (
    Standard("VAR-L", "soil", "siltstone",
             {"Cu": 42.0, "Zn": 96.0, "Pb": 27.0, "As": 14.0, "Mo": 4.2, "Au": 0.008, "Ag": 0.21}),
    Standard("VAR-M", "soil", "greywacke",
             {"Cu": 265.0, "Zn": 384.0, "Pb": 188.0, "As": 87.0, "Mo": 22.0, "Sb": 31.0,
              "Au": 0.118, "Ag": 9.6, "Ni": 74.0, "Cr": 128.0, "Co": 71.0, "Bi": 3.4}),
    Standard("VAR-H", "rock", "granodiorite",
             {"Cu": 2410.0, "Zn": 1880.0, "Pb": 1120.0, "As": 462.0, "Mo": 96.0, "Sb": 84.0,
              "Au": 1.06, "Ag": 31.0, "Bi": 21.0, "W": 44.0, "Co": 96.0, "Ni": 61.0}),
)  # fmt: skip

BLANK = "QZ-1"

#: what clean quartz holds [mg/kg]; everything else 0.01
_QUARTZ = {"Al": 600.0, "K": 120.0, "Ca": 90.0, "Ti": 40.0, "Fe": 380.0, "Mn": 5.0, "Zr": 6.0,
           "Ba": 4.0, "Cr": 2.0, "Au": 0.0001, "Cu": 0.8, "Zn": 0.9}  # fmt: skip


def rounded(value: float, figures: int = 3) -> float:
    """Round to significant figures, as certificates do."""
    return float(f"{value:.{figures}g}")


def standard_contents(elements: tuple[str, ...]) -> dict[str, Array]:
    """Give what standards and quartz hold.

    Parameters
    ----------
    elements : tuple of str
        Columns.

    Returns
    -------
    dict of str to ndarray, shape (n_elements,)
        By name. [mg/kg]
    """
    out = {}
    for standard in STANDARDS:
        medians = rocks.MEDIANS[standard.rock]
        out[standard.name] = np.array(
            [rounded(standard.raised.get(e, medians[e])) for e in elements]
        )
    out[BLANK] = np.array([_QUARTZ.get(e, 0.01) for e in elements])
    return out


def certificate(
    elements: tuple[str, ...], xrf: tuple[str, ...], digestion: str = "near-total"
) -> list[dict[str, object]]:
    """Give the rows of the table of certified values.

    Parameters
    ----------
    elements : tuple of str
        Of the laboratory, gold among them.
    xrf : tuple of str
        Of the portable XRF.
    digestion : str, default ``near-total``
        Of the laboratory.

    Returns
    -------
    list of dict
        One row per standard, element and digestion.
    """
    rows: list[dict[str, object]] = []
    for standard in STANDARDS:
        medians = rocks.MEDIANS[standard.rock]

        def row(
            element: str,
            value: float,
            unit: str,
            method: str,
            digestion: str,
            standard: Standard = standard,
        ) -> dict[str, object]:
            shown = rounded(value)
            return {
                "standard": standard.name, "element": element, "certified": f"{shown:g}",
                "sd": f"{rounded(shown * (0.07 if element in ('Au', 'Ag', 'Sb') else 0.04), 2):g}",
                "unit": unit, "method": method, "digestion": digestion,
                "kind_of_sd": "between-laboratory", "n": 14, "status": "certified",
                "matrix": standard.matrix,
            }  # fmt: skip

        for element in xrf:
            value = rounded(standard.raised.get(element, medians[element]))
            rows.append(row(element, value, "ppm", "XRF", "total"))
        for element in elements:
            value = rounded(standard.raised.get(element, medians[element]))
            if element == "Au":
                rows.append(row("Au", value * 1000, "ppb", "fire assay", "total"))
            else:
                found = value * recovery_of(element, digestion)
                method = "four-acid" if digestion == "near-total" else "aqua regia"
                rows.append(row(element, found, "ppm", method, digestion))
    return rows
