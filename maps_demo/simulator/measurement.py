"""What instruments and the laboratory make of a sample: errors, bias, drift, limits.

All sizes are invented; they are of the order a field geologist knows (portable XRF: a bias of some
per cent to some tens of per cent per element and instrument, a counting error that grows with the
root of the level, limits of a few to some tens of mg/kg; laboratory: bias of a few per cent).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .fields import Array, stream

#: detection limits of the portable XRF at 60 s [mg/kg]
XRF_LIMITS: dict[str, float] = {
    "Al": 9000.0, "K": 190.0, "Ca": 150.0, "Ti": 60.0, "V": 16.0, "Cr": 14.0, "Mn": 42.0,
    "Fe": 60.0, "Co": 45.0, "Ni": 13.0, "Cu": 8.5, "Zn": 6.0, "As": 4.0, "Rb": 1.8, "Sr": 1.8,
    "Y": 2.2, "Zr": 3.0, "Nb": 2.4, "Mo": 2.6, "Ag": 6.5, "In": 12.0, "Sb": 14.0, "Te": 25.0,
    "Ba": 45.0, "W": 14.0, "Pb": 4.5, "Bi": 5.0, "Th": 4.0, "Sn": 14.0,
}  # fmt: skip

#: signal of a thin pellet against a thick one; heavy elements lose most (heights computed from
#: attenuation, 3 mm of soil: Ba 0.70, Sn 0.87, Ag 0.94) [-]
THIN_PELLET: dict[str, float] = {"Ba": 0.75, "Sb": 0.88, "Te": 0.87, "Ag": 0.95, "In": 0.93}

#: laboratory after four-acid digestion: unit, lower and upper limit in that unit, recovery [-]
LABORATORY: dict[str, tuple[str, float, float, float]] = {
    "Ag": ("ppm", 0.02, 100.0, 1.0), "Al": ("%", 0.02, 30.0, 0.97),
    "As": ("ppm", 0.5, 10000.0, 1.0), "Ba": ("ppm", 5.0, 10000.0, 0.93),
    "Bi": ("ppm", 0.02, 10000.0, 1.0), "Ca": ("%", 0.02, 40.0, 1.0),
    "Co": ("ppm", 0.2, 10000.0, 1.0), "Cr": ("ppm", 2.0, 10000.0, 0.84),
    "Cu": ("ppm", 0.5, 10000.0, 1.0), "Fe": ("%", 0.02, 50.0, 1.0),
    "In": ("ppm", 0.005, 500.0, 1.0), "K": ("%", 0.02, 15.0, 0.98),
    "Mn": ("ppm", 10.0, 100000.0, 1.0), "Mo": ("ppm", 0.1, 10000.0, 1.0),
    "Ni": ("ppm", 0.5, 10000.0, 1.0), "Pb": ("ppm", 0.5, 10000.0, 1.0),
    "Rb": ("ppm", 0.2, 10000.0, 1.0), "Sb": ("ppm", 0.1, 10000.0, 0.95),
    "Sr": ("ppm", 0.5, 10000.0, 1.0), "Te": ("ppm", 0.04, 500.0, 1.0),
    "Ti": ("%", 0.005, 10.0, 0.95), "V": ("ppm", 2.0, 10000.0, 1.0),
    "W": ("ppm", 0.2, 10000.0, 0.9), "Zn": ("ppm", 1.0, 10000.0, 1.0),
    "Zr": ("ppm", 1.0, 500.0, 0.65), "Nb": ("ppm", 0.2, 500.0, 0.9),
    "Th": ("ppm", 0.05, 10000.0, 0.95), "Y": ("ppm", 0.2, 500.0, 0.9),
    "Li": ("ppm", 0.5, 10000.0, 0.98), "Cs": ("ppm", 0.05, 500.0, 0.98),
    "Sn": ("ppm", 0.2, 500.0, 0.7),
}  # fmt: skip

#: what aqua regia leaves undissolved is not found: recovery instead of the four acids' [-];
#: invented, in the order that is common knowledge (sulphides whole, silicates and zircon hardly)
PARTIAL_RECOVERY: dict[str, float] = {
    "Al": 0.30, "Ba": 0.35, "Ca": 0.80, "Cr": 0.40, "Cs": 0.35, "Fe": 0.80, "K": 0.15, "Li": 0.65,
    "Mn": 0.85, "Nb": 0.05, "Ni": 0.90, "Co": 0.92, "Rb": 0.25, "Sb": 0.55, "Sn": 0.20,
    "Sr": 0.40, "Th": 0.60, "Ti": 0.12, "V": 0.55, "W": 0.15, "Y": 0.55, "Zn": 0.93, "Zr": 0.03,
    "Pb": 0.92, "Ag": 0.97, "As": 0.97, "Cu": 0.97, "Mo": 0.95,
}  # fmt: skip

#: how much the dissolved share differs from sample to sample: standard deviation of the natural
#: logarithm per unit of what stays undissolved [-]; invented
PARTIAL_SCATTER = 0.25

#: what stays of one element in the reading of another: (read, from, share of the other's level)
OVERLAPS: tuple[tuple[str, str, float], ...] = (("As", "Pb", 0.05), ("Co", "Fe", 0.0004))

#: what a worn brass sieve leaves in every powder of a day [mg/kg]
BRASS: dict[str, float] = {"Cu": 60.0, "Zn": 42.0, "Pb": 4.0, "Sn": 1.0}

#: gold by fire assay: lower and upper limit [ug/kg]
GOLD_LIMITS = (1.0, 10000.0)

#: elements that an instrument out of order reads too high, and by how much [-]
OUT_OF_ORDER: dict[str, float] = {"Cu": 1.30, "Zn": 1.26, "Ni": 1.35, "Pb": 1.22, "Co": 1.3}


@dataclass(frozen=True, slots=True)
class Instrument:
    """One portable XRF.

    Parameters
    ----------
    serial : str
        Invented.
    gain, offset : ndarray, shape (n_elements,)
        Of this instrument: reading = gain x truth + offset. [-] and [mg/kg]
    day_gain : ndarray, shape (n_days, n_elements)
        Day to day. [-]
    slope : ndarray, shape (n_days,)
        Drift from start to end of a day. [-]
    bad_day : int
        Day on which it is out of order, or -1.
    overlaps : bool
        Whether `OVERLAPS` stay in its readings.
    """

    serial: str
    gain: Array
    offset: Array
    day_gain: Array
    slope: Array
    bad_day: int = -1
    overlaps: bool = False


def make_instruments(
    seed: int, elements: tuple[str, ...], days: int, bad_day: int, *, overlaps: bool = False
) -> tuple[Instrument, Instrument]:
    """Draw two instruments.

    Parameters
    ----------
    seed : int
        Of the campaign.
    elements : tuple of str
        That they read.
    days : int
        Of the campaign.
    bad_day : int
        Day on which the second is out of order, or -1.
    overlaps : bool, default False
        Whether lines of other elements stay in the readings.

    Returns
    -------
    tuple of two Instrument
        With serial numbers of their own.
    """
    out = []
    limits = np.array([XRF_LIMITS[e] for e in elements])
    common = np.exp(stream(seed, "instruments").normal(0, 0.06, len(elements)))
    for number, serial in enumerate(("K-1042", "K-2088")):
        rng = stream(seed, f"instrument {serial}")
        out.append(
            Instrument(
                serial,
                common * np.exp(rng.normal(0, 0.05, len(elements))),
                rng.normal(0, 0.10, len(elements)) * limits,
                np.exp(rng.normal(0, 0.012, (days, len(elements)))),
                rng.normal(0.0, 0.02, days),
                bad_day if number == 1 else -1,
                overlaps,
            )
        )
    return out[0], out[1]


def counting_error(level: Array, elements: tuple[str, ...], seconds: float = 60.0) -> Array:
    """Give the counting error of readings.

    Parameters
    ----------
    level : ndarray, shape (n, n_elements)
        Concentrations. [mg/kg]
    elements : tuple of str
        Columns.
    seconds : float, default 60
        Of measurement; four times as long halves the error.

    Returns
    -------
    ndarray, shape (n, n_elements)
        One standard deviation. [mg/kg]
    """
    floor = np.array([XRF_LIMITS[e] for e in elements]) / 3.0
    level = np.maximum(level, 0.0)
    square = floor**2 + floor / 30.0 * level
    if "As" in elements and "Pb" in elements:
        # the strongest line of arsenic lies under one of lead
        square[:, elements.index("As")] += (0.03 * level[:, elements.index("Pb")]) ** 2
    return np.sqrt(square * 60.0 / seconds + (0.004 * level) ** 2)


def read_xrf(
    pulp: Array,
    elements: tuple[str, ...],
    instrument: Instrument,
    day: npt.NDArray[np.int64],
    part_of_day: Array,
    moisture: Array,
    powder: Array,
    rng: np.random.Generator,
    *,
    seconds: float = 60.0,
) -> tuple[Array, Array]:
    """Read pellets.

    Parameters
    ----------
    pulp : ndarray, shape (n, n_elements)
        What the pellets hold. [mg/kg]
    elements : tuple of str
        Columns.
    instrument : Instrument
        Which one.
    day : ndarray of int, shape (n,)
        Day of the campaign.
    part_of_day : ndarray, shape (n,)
        0 at the first reading of the day, 1 at the last. [-]
    moisture, powder : ndarray, shape (n,)
        Of the pellets. [%] and [mL]
    rng : numpy.random.Generator
        Random numbers.
    seconds : float, default 60
        Of one reading.

    Returns
    -------
    value, error : ndarray, shape (n, n_elements)
        Readings (also below the limit) and their one-sigma counting error. [mg/kg]
    """
    level = pulp * instrument.gain * instrument.day_gain[day]
    level *= (1.0 + instrument.slope[day] * (part_of_day - 0.3))[:, None]
    # a wet pellet is diluted, and about half of that is won back by its weaker absorption
    level *= (1.0 - 0.45 * np.clip(moisture, 0, 40) / 100.0)[:, None]
    thin = np.array([THIN_PELLET.get(e, 1.0) for e in elements])
    level = np.where((powder < 5.0)[:, None], level * thin, level)
    wrong = np.array([OUT_OF_ORDER.get(e, 1.0) for e in elements])
    level = np.where((day == instrument.bad_day)[:, None], level * wrong, level)
    if instrument.overlaps:
        for element, other, share in OVERLAPS:
            if element in elements and other in elements:
                level[:, elements.index(element)] += share * level[:, elements.index(other)]
    level = level + instrument.offset
    error = counting_error(level, elements, seconds)
    # what the surface of one pellet adds on top of the counting
    value = level * np.exp(rng.normal(0, 0.012, level.shape)) + error * rng.standard_normal(
        level.shape
    )
    return value, counting_error(value, elements, seconds)


def analyse(
    pulp: Array,
    elements: tuple[str, ...],
    job: npt.NDArray[np.int64],
    seed: int,
    *,
    digestion: str = "near-total",
) -> Array:
    """Digest and analyse pulps at the laboratory; gold by fire assay.

    Parameters
    ----------
    pulp : ndarray, shape (n, n_elements)
        What the pulps hold. [mg/kg]
    elements : tuple of str
        Columns; all in `LABORATORY`, or Au.
    job : ndarray of int, shape (n,)
        Number of the laboratory's job: each has a small bias of its own.
    seed : int
        Of the campaign.
    digestion : str, default ``near-total``
        Or ``partial``: what is not dissolved is not found.

    Returns
    -------
    ndarray, shape (n, n_elements)
        Results (also outside the limits). [mg/kg]
    """
    rng = stream(seed, "laboratory")
    bias = np.exp(rng.normal(0, 0.02, len(elements)))
    job_bias = np.exp(rng.normal(0, 0.012, (int(job.max(initial=0)) + 1, len(elements))))
    out = np.empty_like(pulp)
    for column, element in enumerate(elements):
        if element == "Au":
            limit, recovery, spread = GOLD_LIMITS[0] * 1e-3, 1.0, 0.10
        else:
            unit, low, _, _ = LABORATORY[element]
            recovery = recovery_of(element, digestion)
            limit, spread = low * (1e4 if unit == "%" else 1.0), 0.025
        level = pulp[:, column] * recovery * bias[column] * job_bias[job, column]
        if digestion == "partial" and recovery < 1.0:
            left = PARTIAL_SCATTER * (1.0 - recovery)
            level = level * np.exp(
                left * stream(seed, f"digestion {element}").normal(size=len(pulp))
            )
        noise = rng.standard_normal((2, len(pulp)))
        out[:, column] = level * np.exp(spread * noise[0]) + limit / 3.0 * noise[1]
    return out


def recovery_of(element: str, digestion: str) -> float:
    """Give the share of an element that a digestion dissolves.

    Parameters
    ----------
    element : str
        A key of `LABORATORY`.
    digestion : str
        ``near-total`` or ``partial``.

    Returns
    -------
    float
        0 to 1. [-]
    """
    whole = LABORATORY[element][3]
    return PARTIAL_RECOVERY.get(element, 1.0) if digestion == "partial" else whole
