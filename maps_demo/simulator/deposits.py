"""Planted bodies: halos of several elements, zoned, stretched, dying out within a kilometre.

A halo multiplies the background: ``1 + (contrast - 1) x shape``. The shape falls smoothly from one
at the centre to nothing at the edge; shell elements are highest in a ring. The element lists are
textbook knowledge (Rose, Hawkes and Webb 1979; Levinson 1980; from memory); all numbers are
invented.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from .settings import Body

Array = npt.NDArray[np.float64]

#: share of the reach at which a halo has half of its strength: (1 - r^2)^2 = 1/2
HALF = float(np.sqrt(1.0 - np.sqrt(0.5)))


@dataclass(frozen=True, slots=True)
class Zone:
    """How one element behaves in a halo.

    Parameters
    ----------
    contrast : float
        Centre (or top of the ring) over background. [-]
    size : float, default 1
        Reach as a share of the body's. [-]
    ring : float, default 0
        Radius of the highest part, as a share of the reach; 0 means the centre. [-]
    """

    contrast: float
    size: float = 1.0
    ring: float = 0.0


@dataclass(frozen=True, slots=True)
class Association:
    """Elements that belong to one kind of body.

    Parameters
    ----------
    kind : str
        ``mineralisation`` or ``false body``.
    leading : str
        The element a geologist would call it by.
    zones : dict of str to Zone
        By element.
    """

    kind: str
    leading: str
    zones: dict[str, Zone]


ASSOCIATIONS: dict[str, Association] = {
    "copper-molybdenum-gold": Association(
        "mineralisation",
        "Cu",
        {
            "Cu": Zone(4.2), "Mo": Zone(5.0, 0.7), "Au": Zone(5.0, 0.8), "Ag": Zone(2.5),
            "W": Zone(2.0, 0.6), "Bi": Zone(3.0, 0.8), "Te": Zone(2.5, 0.8), "K": Zone(1.2, 0.7),
            "Zn": Zone(2.0, 1.15, 0.65), "Pb": Zone(1.9, 1.15, 0.65), "Mn": Zone(1.6, 1.15, 0.65),
            "As": Zone(1.6, 1.1, 0.5),
        },
    ),
    "gold-arsenic-antimony": Association(
        "mineralisation",
        "Au",
        {
            "Au": Zone(5.0, 0.8), "As": Zone(4.5), "Sb": Zone(4.0, 1.1), "Ag": Zone(1.6, 0.8),
            "W": Zone(2.2, 0.7), "Bi": Zone(2.0, 0.7), "Te": Zone(2.5, 0.7), "Ba": Zone(1.2),
            "Cu": Zone(1.35, 0.8),
        },
    ),
    "zinc-lead-silver": Association(
        "mineralisation",
        "Zn",
        {
            "Zn": Zone(3.6), "Pb": Zone(4.5, 0.85), "Ag": Zone(4.0, 0.85), "Sb": Zone(2.2),
            "As": Zone(1.6), "Cu": Zone(1.7, 0.6), "In": Zone(2.0, 0.7), "Ba": Zone(1.9, 1.1, 0.6),
            "Mn": Zone(2.2, 1.2, 0.6),
        },
    ),
    "copper-gold": Association(
        "mineralisation",
        "Cu",
        {
            "Cu": Zone(3.6), "Au": Zone(4.0, 0.9), "Bi": Zone(2.4, 0.8), "Co": Zone(1.6),
            "Mo": Zone(1.8, 0.8), "As": Zone(1.7), "Ag": Zone(2.0), "Te": Zone(2.0, 0.8),
        },
    ),
    "nickel-copper": Association(
        "mineralisation",
        "Ni",
        {
            "Ni": Zone(4.0), "Cu": Zone(3.5), "Co": Zone(2.2), "Cr": Zone(1.6, 1.1),
            "Te": Zone(2.0), "Au": Zone(1.5),
        },
    ),
    "lithium": Association(
        "mineralisation",
        "Rb",
        {
            "Li": Zone(4.5, 1.1), "Cs": Zone(4.0), "Rb": Zone(1.9), "Nb": Zone(2.5),
            "Sn": Zone(3.0), "W": Zone(1.8), "Bi": Zone(1.6), "K": Zone(1.2),
        },
    ),
    "ironstone": Association(
        "false body",
        "As",
        {
            "Fe": Zone(2.6), "As": Zone(3.8), "Mo": Zone(3.0), "V": Zone(2.0), "Cr": Zone(1.7),
            "Pb": Zone(1.4), "Sb": Zone(1.8), "Cu": Zone(1.3), "Ca": Zone(0.5), "Sr": Zone(0.6),
            "Al": Zone(0.8), "K": Zone(0.6), "Rb": Zone(0.6),
        },
    ),
    "manganese wad": Association(
        "false body",
        "Mn",
        {
            "Mn": Zone(4.0), "Co": Zone(3.4), "Zn": Zone(2.0), "Ba": Zone(2.0), "Ni": Zone(1.8),
            "Cu": Zone(1.3), "Pb": Zone(1.3),
        },
    ),
}  # fmt: skip

#: rock units that look like mineralisation and are none, with what they are rich in
FALSE_UNITS: dict[str, tuple[str, tuple[str, ...]]] = {
    "black_shale": ("black shale", ("Mo", "V", "Zn", "Ni", "As")),
    "ultramafic": ("ultramafic rock", ("Ni", "Cr", "Co")),
    "ironstone": ("ironstone", ("As", "Mo")),
}


def radius(body: Body, along: Array, across: Array) -> Array:
    """Give the distance from a body's centre as a share of its reach.

    Parameters
    ----------
    body : Body
        Planted body.
    along, across : ndarray, shape (n,)
        Places in the strike frame. [m]

    Returns
    -------
    ndarray, shape (n,)
        0 at the centre, 1 where the halo ends. [-]
    """
    turn = np.deg2rad(body.turn)
    a, b = along - body.along, across - body.across
    u = a * np.cos(turn) + b * np.sin(turn)
    v = -a * np.sin(turn) + b * np.cos(turn)
    return np.hypot(u / body.half_length, v / body.half_width)


def outline(body: Body, share: float = 1.0) -> shapely.Polygon:
    """Give the line at a share of a body's reach.

    Parameters
    ----------
    body : Body
        Planted body.
    share : float, default 1
        1 is where the halo ends; `HALF` where it has half its strength. [-]

    Returns
    -------
    Polygon
        In the strike frame.
    """
    angle = np.linspace(0, 2 * np.pi, 49)
    turn = np.deg2rad(body.turn)
    u = share * body.half_length * np.cos(angle)
    v = share * body.half_width * np.sin(angle)
    return shapely.Polygon(
        np.column_stack(
            [
                body.along + u * np.cos(turn) - v * np.sin(turn),
                body.across + u * np.sin(turn) + v * np.cos(turn),
            ]
        )
    )


def shape(r: Array, zone: Zone) -> Array:
    """Give the strength of a halo for one element.

    Parameters
    ----------
    r : ndarray, shape (n,)
        Distance as a share of the body's reach. [-]
    zone : Zone
        The element's zone.

    Returns
    -------
    ndarray, shape (n,)
        1 in the middle (or on the ring), 0 at the edge. [-]
    """
    r = r / zone.size
    if zone.ring:
        inside = 0.35 + 0.65 * np.clip(r / zone.ring, 0, 1) ** 2
        outside = np.clip((r - zone.ring) / (1 - zone.ring), 0, 1)
        return np.where(r < zone.ring, inside, (1 - outside**2) ** 2)
    return (1 - np.clip(r, 0, 1) ** 2) ** 2


def multiply(
    values: Array,
    elements: tuple[str, ...],
    bodies: tuple[Body, ...],
    along: Array,
    across: Array,
    patchiness: Array,
) -> Array:
    """Put halos on background values.

    Parameters
    ----------
    values : ndarray, shape (n, n_elements)
        Background. [mg/kg]
    elements : tuple of str
        Columns of `values`.
    bodies : tuple of Body
        What is planted.
    along, across : ndarray, shape (n,)
        Places in the strike frame. [m]
    patchiness : ndarray, shape (n,)
        Standard normal field that makes halos uneven. [-]

    Returns
    -------
    ndarray, shape (n, n_elements)
        A new array. [mg/kg]
    """
    out = values.copy()
    uneven = np.exp(0.35 * patchiness - 0.06)
    for body in bodies:
        r = radius(body, along, across)
        for element, zone in ASSOCIATIONS[body.association].zones.items():
            if element in elements:
                excess = (zone.contrast - 1.0) * body.strength * shape(r, zone) * uneven
                # a halo may take something away, but never all of it
                out[:, elements.index(element)] *= np.maximum(1.0 + excess, 0.2)
    return out
