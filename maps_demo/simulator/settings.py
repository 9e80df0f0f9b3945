"""What a simulated campaign is made from: frozen records of settings and ready-made sets of them.

Places are given in the strike frame: `along` the strike of the rocks and `across` it (to its
right), both in metres from the centre of the area.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from .rocks import BEYOND_XRF, ELEMENTS, MEDIANS


@dataclass(frozen=True, slots=True)
class Body:
    """A mineralised halo or a false body.

    Parameters
    ----------
    name : str
        Invented.
    association : str
        A key of `deposits.ASSOCIATIONS`.
    along, across : float
        Centre. [m]
    half_length, half_width : float
        Where the halo ends along and across its own axis. [m]
    turn : float, default 0
        Axis against strike, clockwise. [degrees]
    strength : float, default 1
        Multiplies the excess of every contrast over one. [-]
    """

    name: str
    association: str
    along: float
    across: float
    half_length: float
    half_width: float
    turn: float = 0.0
    strength: float = 1.0


@dataclass(frozen=True, slots=True)
class Patch:
    """A rounded patch: an intrusion, a lens or a cover of transported material.

    Parameters
    ----------
    name : str
        Unit or kind of cover.
    along, across : float
        Centre. [m]
    half_length, half_width : float
        Size. [m]
    mapped : bool, default True
        Whether the geological map shows it.
    share : float, default 0
        Of transported material in the soil, for a cover. [-]
    """

    name: str
    along: float
    across: float
    half_length: float
    half_width: float
    mapped: bool = True
    share: float = 0.0


@dataclass(frozen=True, slots=True)
class Mistakes:
    """How many of the usual slips are put into the files.

    Parameters
    ----------
    lower_case, spaces, zeros : int
        Ids of readings typed in lower case, with a space, without the padding zeros.
    laboratory_ids : int
        Ids of laboratory results typed in lower case.
    swapped_coordinates, missing_positions, doubled_ids, decimal_commas : int
        In the field log.
    exchanged_pairs : int
        Pairs of pellets whose readings were given each other's id.
    """

    lower_case: int = 6
    spaces: int = 5
    zeros: int = 5
    laboratory_ids: int = 2
    swapped_coordinates: int = 1
    missing_positions: int = 1
    doubled_ids: int = 1
    decimal_commas: int = 1
    exchanged_pairs: int = 1


@dataclass(frozen=True, slots=True)
class Settings:
    """Everything a campaign is made from; the same record gives the same files.

    Parameters
    ----------
    title, prefix : str
        Stands on every page; first letter of every sample id.
    seed : int
        Of every random step.
    epsg : int
        Projected CRS in metres.
    easting, northing : float
        Centre of the area. [m]
    strike : float
        Of the rocks, clockwise from grid north. [degrees]
    length, width : float
        Of the sampled area along and across strike. [m]
    elements : tuple of str
        Read by the portable XRF.
    laboratory_elements : tuple of str
        Determined by the laboratory after digestion (gold is always determined apart).
    bands : tuple of (str, str, float)
        Rock, name on the map and thickness of the units, side by side across strike; repeated
        until the area is full. [m]
    intrusions, covers : tuple of Patch
        Over the bands.
    bodies : tuple of Body
        What is planted.
    line_spacing, station_spacing : float
        Of the soil grid; lines run across strike. [m]
    infill_spacing : float
        Of the stations near the bodies named in `infill`; 0 for none. [m]
    infill : tuple of str
        Bodies, false ones too, around which the second visit took closer stations.
    second_visit_lines : int
        Lines left for the second visit, at the far end.
    unsampled_lines : int
        Planned lines not yet reached.
    first_day, days, second_day, second_days
        Dates of the two visits.
    rocks, sediments : int
        Rock chips and stream sediments.
    field_duplicate_every, pulp_duplicate_every : int
        One in so many.
    laboratory_every, laboratory_extra : int
        Soils sent to the laboratory: one in so many, and so many more of the highest readings.
    laboratory_pending : bool
        Whether the results of the second visit are still at the laboratory.
    spikes : int
        Single contaminated soils.
    bad_batch : bool
        One instrument out of order on one day.
    road : bool
        A road with lead and zinc along it.
    mistakes : Mistakes
        Slips in the files.
    false_bodies : tuple of Body
        Enriched ground that is no mineralisation: ironstone, manganese wad.
    tailings : tuple of Patch
        Old workings from which tailings were washed downstream.
    fences : int
        Galvanised fences along the sampling lines, zinc beside them.
    scatter : bool
        Bodies, false bodies and patches are moved to places that depend on the seed only.
    variability : float
        Multiplies the spread of every element within a unit. [-]
    sampling_noise : float
        Multiplies the error of one spade of soil. [-]
    seconds : float
        Of one XRF reading. [s]
    organic : float
        Strength of organic matter in wet ground, 0 for none: it dilutes rock-forming elements
        and holds copper, zinc, molybdenum, silver and lead. [-]
    creep : float
        How far soil has crept down a slope of 6 % or steeper. [m]
    wet_share, thin_share : float
        Pellets pressed wet, and from too little powder. [-]
    contaminated_batch : bool
        One day's powders of one crew, its blank too, with brass from a worn sieve.
    interference : bool
        Instruments that do not take all of lead out of arsenic and of iron out of cobalt.
    digestion : str
        Of the laboratory: ``near-total`` (four acids) or ``partial`` (aqua regia).
    infill_line_spacing : float
        Of additional lines over the bodies named in `infill`; 0 for none. [m]
    seek : tuple of str
        Elements that the campaign file seeks; none: all associations compete.
    """

    title: str = "Varrow Ridge soil survey (invented)"
    prefix: str = "V"
    seed: int = 20260413
    epsg: int = 32726
    easting: float = 482_000.0
    northing: float = 5_561_000.0
    strike: float = 34.0
    length: float = 7_000.0
    width: float = 4_400.0
    elements: tuple[str, ...] = (
        "K", "Ca", "Ti", "V", "Cr", "Mn", "Fe", "Co", "Ni", "Cu", "Zn", "As", "Rb", "Sr", "Zr",
        "Mo", "Ag", "Sb", "Ba", "Pb",
    )  # fmt: skip
    laboratory_elements: tuple[str, ...] = (
        "Ag", "Al", "As", "Ba", "Bi", "Ca", "Co", "Cr", "Cu", "Fe", "In", "K", "Mn", "Mo", "Ni",
        "Pb", "Rb", "Sb", "Sr", "Te", "Ti", "V", "W", "Zn", "Zr",
    )  # fmt: skip
    bands: tuple[tuple[str, str, float], ...] = (
        ("greywacke", "Orlen Greywacke", 1350.0),
        ("black_shale", "Mell Black Shale", 240.0),
        ("siltstone", "Tarn Siltstone", 800.0),
        ("basalt", "Corvel Basalt", 750.0),
        ("felsic", "Hask Felsic Volcanics", 650.0),
        ("limestone", "Pellan Limestone", 600.0),
        ("greywacke", "Orlen Greywacke", 1400.0),
    )
    intrusions: tuple[Patch, ...] = ()
    covers: tuple[Patch, ...] = ()
    bodies: tuple[Body, ...] = ()
    line_spacing: float = 200.0
    station_spacing: float = 100.0
    infill_spacing: float = 50.0
    infill: tuple[str, ...] = ()
    second_visit_lines: int = 8
    unsampled_lines: int = 2
    first_day: date = date(2026, 4, 13)
    days: int = 10
    second_day: date = date(2026, 4, 27)
    second_days: int = 6
    rocks: int = 60
    sediments: int = 40
    field_duplicate_every: int = 25
    pulp_duplicate_every: int = 30
    laboratory_every: int = 8
    laboratory_extra: int = 40
    laboratory_pending: bool = True
    spikes: int = 6
    bad_batch: bool = True
    road: bool = True
    mistakes: Mistakes = Mistakes()
    false_bodies: tuple[Body, ...] = ()
    tailings: tuple[Patch, ...] = ()
    fences: int = 0
    scatter: bool = False
    variability: float = 1.0
    sampling_noise: float = 1.0
    seconds: float = 60.0
    organic: float = 0.0
    creep: float = 0.0
    wet_share: float = 0.006
    thin_share: float = 0.012
    contaminated_batch: bool = False
    interference: bool = False
    digestion: str = "near-total"
    infill_line_spacing: float = 0.0
    seek: tuple[str, ...] = ("Cu", "Au")


def check(settings: Settings) -> None:
    """Refuse settings that cannot be made.

    Parameters
    ----------
    settings : Settings
        To be checked.

    Raises
    ------
    ValueError
        With a sentence that says what is wrong.
    """
    strange = [e for e in (*settings.elements, *settings.laboratory_elements) if e not in ELEMENTS]
    if strange:
        raise ValueError(
            f"the ground holds no {', '.join(strange)}; possible: {', '.join(ELEMENTS)}."
        )
    blind = [e for e in settings.elements if e in BEYOND_XRF and e != "Au"]
    if blind:
        raise ValueError(
            f"a portable XRF does not see {', '.join(blind)}; leave it out of elements and ask the "
            "laboratory for it."
        )
    names = [body.name for body in (*settings.bodies, *settings.false_bodies)]
    lost = [name for name in settings.infill if name not in names]
    if lost:
        raise ValueError(f"infill names no planted body: {', '.join(lost)}; possible: {names}.")
    rocks = [rock for rock, _, _ in settings.bands] + [p.name for p in settings.intrusions]
    unknown = sorted({rock for rock in rocks if rock not in MEDIANS})
    if unknown:
        raise ValueError(f"unknown rock: {', '.join(unknown)}; possible: {', '.join(MEDIANS)}.")
    if settings.digestion not in ("near-total", "partial"):
        raise ValueError(
            f"digestion '{settings.digestion}' is not simulated; possible: near-total, partial."
        )
    if settings.line_spacing <= 0 or settings.station_spacing <= 0:
        raise ValueError("line and station spacing must be positive metres.")
    if "Au" in settings.elements:
        raise ValueError(
            "gold is out of reach of a portable XRF in soil; leave Au out of elements."
        )
