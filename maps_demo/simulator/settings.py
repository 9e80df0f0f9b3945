"""What a simulated campaign is made from: frozen records of settings and ready-made sets of them.

Places are given in the strike frame: `along` the strike of the rocks and `across` it (to its
right), both in metres from the centre of the area.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

from .rocks import ELEMENTS


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
        Neighbouring pellets whose readings were given each other's id.
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
        Bodies around which the second visit took closer stations.
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


#: the demonstration: four mineralised halos (one weak, under thin cover) and two false bodies
DEMONSTRATION = Settings(
    intrusions=(
        Patch("granodiorite", -1650.0, 850.0, 800.0, 520.0),
        Patch("ultramafic", 1050.0, -430.0, 330.0, 150.0, mapped=False),
        Patch("granite", 2900.0, -1950.0, 900.0, 650.0),
    ),
    covers=(
        Patch("transported colluvium", 2150.0, 1250.0, 850.0, 560.0, share=0.55),
        Patch("river alluvium", -300.0, -1750.0, 1100.0, 260.0, share=0.80),
        Patch("blown sand", -2650.0, -650.0, 480.0, 330.0, share=0.70),
    ),
    bodies=(
        Body("Kestrel Stock", "copper-molybdenum-gold", -1500.0, 760.0, 800.0, 600.0, turn=15.0),
        Body("Bittern Shear", "gold-arsenic-antimony", -350.0, -1330.0, 950.0, 330.0, turn=-8.0),
        Body("Plover Reef", "zinc-lead-silver", 650.0, 900.0, 700.0, 430.0, turn=10.0),
        Body("Teal Flat", "copper-gold", 2150.0, 1150.0, 650.0, 500.0, turn=30.0, strength=1.4),
    ),
    infill=("Kestrel Stock", "Bittern Shear"),
)

#: a large survey for timing and recovery experiments: 60 lines of 90 stations, eight bodies
EIGHT_DEPOSITS = replace(
    DEMONSTRATION,
    title="Eight planted deposits, 12 x 9 km (invented)",
    seed=8,
    length=12_000.0,
    width=9_000.0,
    elements=(
        "K",
        "Ca",
        "Ti",
        "V",
        "Cr",
        "Mn",
        "Fe",
        "Co",
        "Ni",
        "Cu",
        "Zn",
        "As",
        "Rb",
        "Sr",
        "Y",
        "Zr",
        "Nb",
        "Mo",
        "Ag",
        "Sb",
        "Ba",
        "W",
        "Pb",
        "Th",
    ),
    intrusions=(
        Patch("granodiorite", -3900.0, 1700.0, 1100.0, 750.0),
        Patch("granodiorite", 2600.0, -2600.0, 900.0, 650.0),
        Patch("ultramafic", 1300.0, 2600.0, 420.0, 180.0, mapped=False),
        Patch("granite", 5000.0, 3300.0, 1200.0, 900.0),
    ),
    covers=(
        Patch("transported colluvium", 3900.0, 1300.0, 1200.0, 800.0, share=0.5),
        Patch("river alluvium", -900.0, -900.0, 1900.0, 350.0, share=0.8),
        Patch("blown sand", -4700.0, -2900.0, 800.0, 600.0, share=0.7),
    ),
    bodies=(
        Body("B1", "copper-molybdenum-gold", -3900.0, 1500.0, 850.0, 650.0, 20.0, 0.7),
        Body("B2", "gold-arsenic-antimony", -2500.0, -3100.0, 900.0, 320.0, -10.0, 0.8),
        Body("B3", "zinc-lead-silver", 300.0, 3500.0, 700.0, 420.0, 5.0, 0.6),
        Body("B4", "copper-gold", 3900.0, 1250.0, 650.0, 450.0, 40.0, 0.9),
        Body("B5", "copper-molybdenum-gold", 2700.0, -2500.0, 700.0, 550.0, -30.0, 0.5),
        Body("B6", "gold-arsenic-antimony", -5000.0, 3400.0, 800.0, 350.0, 0.0, 0.6),
        Body("B7", "nickel-copper", -800.0, 1100.0, 600.0, 350.0, 12.0, 0.7),
        Body("B8", "zinc-lead-silver", 5000.0, -900.0, 600.0, 400.0, -15.0, 0.8),
    ),
    infill=(),
    infill_spacing=0.0,
    line_spacing=200.0,
    station_spacing=100.0,
    second_visit_lines=12,
    unsampled_lines=0,
    days=40,
    second_day=date(2026, 6, 8),
    second_days=10,
    laboratory_extra=0,
    laboratory_pending=False,
    rocks=0,
    sediments=0,
    spikes=15,
)

#: the same ground without any deposit: nothing should be found
BARREN = replace(
    EIGHT_DEPOSITS, title="Barren ground, 12 x 9 km (invented)", seed=9, bodies=(), spikes=15
)

NAMED: dict[str, Settings] = {
    "demonstration": DEMONSTRATION,
    "eight-deposits": EIGHT_DEPOSITS,
    "barren": BARREN,
}


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
    names = [body.name for body in settings.bodies]
    lost = [name for name in settings.infill if name not in names]
    if lost:
        raise ValueError(f"infill names no planted body: {', '.join(lost)}; possible: {names}.")
    if settings.line_spacing <= 0 or settings.station_spacing <= 0:
        raise ValueError("line and station spacing must be positive metres.")
    if "Au" in settings.elements:
        raise ValueError(
            "gold is out of reach of a portable XRF in soil; leave Au out of elements."
        )
