"""Ready-made settings: the demonstration, timing, tuning and reporting.

Methods may be tuned on settings whose name begins with ``tuning``. What is claimed of them is
measured on settings whose name begins with ``reporting``: another strike, other rocks in another
order, other bodies (shape, contrast, mixture), other noise - not only another seed.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from .settings import Body, Mistakes, Patch, Settings

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


#: ground on which methods may be tuned: every trap, bodies where the seed puts them
TUNING_EIGHT = replace(
    EIGHT_DEPOSITS,
    title="Tuning ground, eight deposits, 12 x 9 km (invented)",
    seed=101,
    scatter=True,
    intrusions=(
        Patch("granodiorite", 0, 0, 1100.0, 750.0),
        Patch("granite", 0, 0, 1200.0, 900.0),
        Patch("ultramafic", 0, 0, 500.0, 200.0, mapped=False),
        Patch("ultramafic", 0, 0, 400.0, 180.0),
        Patch("black_shale", 0, 0, 700.0, 240.0, mapped=False),
        Patch("ironstone", 0, 0, 320.0, 180.0, mapped=False),
    ),
    bodies=(
        Body("T1", "copper-molybdenum-gold", 0, 0, 800.0, 600.0, 20.0, 0.42),
        Body("T2", "gold-arsenic-antimony", 0, 0, 900.0, 340.0, -10.0, 0.48),
        Body("T3", "zinc-lead-silver", 0, 0, 700.0, 420.0, 5.0, 0.42),
        Body("T4", "copper-gold", 0, 0, 680.0, 460.0, 40.0, 0.57),
        Body("T5", "copper-molybdenum-gold", 0, 0, 700.0, 550.0, -30.0, 0.33),
        Body("T6", "gold-arsenic-antimony", 0, 0, 800.0, 380.0, 0.0, 0.40),
        Body("T7", "nickel-copper", 0, 0, 620.0, 380.0, 12.0, 0.47),
        Body("T8", "zinc-lead-silver", 0, 0, 620.0, 420.0, -15.0, 0.44),
    ),
    false_bodies=(
        Body("Ironcap", "ironstone", 0, 0, 480.0, 300.0, 10.0, 0.8),
        Body("Wad flat", "manganese wad", 0, 0, 520.0, 320.0, -20.0, 0.8),
        Body("Wad bend", "manganese wad", 0, 0, 380.0, 260.0, 30.0, 0.7),
    ),
    tailings=(Patch("old working", 0, 0, 60.0, 60.0),),
    fences=3,
    organic=0.8,
    creep=60.0,
    variability=1.0,
    interference=True,
    wet_share=0.02,
    thin_share=0.02,
    contaminated_batch=True,
    seek=(),
    mistakes=Mistakes(exchanged_pairs=4),
)

TUNING_BARREN = replace(
    TUNING_EIGHT, title="Tuning ground, barren, 12 x 9 km (invented)", seed=102, bodies=()
)

#: ground on which claims are measured; never tuned on
REPORTING_EIGHT = replace(
    TUNING_EIGHT,
    title="Reporting ground, eight deposits, 9 x 12 km (invented)",
    seed=201,
    epsg=32727,
    strike=118.0,
    length=9_000.0,
    width=12_000.0,
    bands=(
        ("siltstone", "Ebbin Siltstone", 1700.0),
        ("felsic", "Crake Felsic Volcanics", 900.0),
        ("basalt", "Ouzel Basalt", 1300.0),
        ("black_shale", "Dipper Black Shale", 320.0),
        ("greywacke", "Sorrel Greywacke", 2300.0),
        ("limestone", "Yarrow Limestone", 800.0),
    ),
    intrusions=(
        Patch("granite", 0, 0, 1600.0, 1000.0),
        Patch("granodiorite", 0, 0, 700.0, 600.0),
        Patch("granodiorite", 0, 0, 500.0, 350.0, mapped=False),
        Patch("ultramafic", 0, 0, 900.0, 160.0, mapped=False),
        Patch("ironstone", 0, 0, 260.0, 240.0, mapped=False),
        Patch("ironstone", 0, 0, 400.0, 150.0, mapped=False),
    ),
    covers=(
        Patch("transported colluvium", 0, 0, 1500.0, 600.0, share=0.45),
        Patch("river alluvium", 0, 0, 2400.0, 280.0, share=0.75),
        Patch("blown sand", 0, 0, 700.0, 700.0, share=0.6),
    ),
    bodies=(
        Body("R1", "copper-gold", 0, 0, 560.0, 500.0, 0.0, 0.65),
        Body("R2", "copper-gold", 0, 0, 900.0, 360.0, 25.0, 0.57),
        Body("R3", "zinc-lead-silver", 0, 0, 950.0, 330.0, 0.0, 0.40),
        Body("R4", "nickel-copper", 0, 0, 800.0, 320.0, 5.0, 0.43),
        Body("R5", "nickel-copper", 0, 0, 500.0, 420.0, -40.0, 0.56),
        Body("R6", "gold-arsenic-antimony", 0, 0, 1000.0, 280.0, 15.0, 0.54),
        Body("R7", "copper-molybdenum-gold", 0, 0, 900.0, 700.0, -60.0, 0.37),
        Body("R8", "gold-arsenic-antimony", 0, 0, 560.0, 460.0, 70.0, 0.95),
    ),
    false_bodies=(
        Body("Gossan hill", "ironstone", 0, 0, 600.0, 220.0, 0.0, 0.7),
        Body("Redcap", "ironstone", 0, 0, 350.0, 300.0, 45.0, 0.9),
        Body("Blackwash", "manganese wad", 0, 0, 700.0, 240.0, 60.0, 0.7),
    ),
    tailings=(Patch("stamp mill", 0, 0, 80.0, 80.0), Patch("old shaft", 0, 0, 50.0, 50.0)),
    fences=5,
    organic=0.6,
    creep=90.0,
    variability=1.1,
    sampling_noise=1.3,
    seconds=45.0,
    wet_share=0.03,
    spikes=25,
)

REPORTING_BARREN = replace(
    REPORTING_EIGHT, title="Reporting ground, barren, 9 x 12 km (invented)", seed=202, bodies=()
)

REPORTING_ONE = replace(
    REPORTING_EIGHT,
    title="Reporting ground, one deposit, 9 x 12 km (invented)",
    seed=203,
    bodies=(Body("R1", "copper-gold", 0, 0, 700.0, 500.0, 20.0, 0.6),),
)

#: one clear deposit in quiet ground
ONE_DEPOSIT = replace(
    EIGHT_DEPOSITS,
    title="One planted deposit, 12 x 9 km (invented)",
    seed=10,
    bodies=(Body("B1", "copper-molybdenum-gold", -3900.0, 1500.0, 850.0, 650.0, 20.0),),
)

#: wide lines first, then close ones over a body and over a false one
INFILL_STAGE = replace(
    DEMONSTRATION,
    title="Two stages: reconnaissance and infill (invented)",
    prefix="W",
    seed=11,
    line_spacing=400.0,
    station_spacing=200.0,
    bodies=(
        Body("Dunlin", "zinc-lead-silver", -1500.0, 900.0, 800.0, 560.0, 15.0, 0.9),
        Body("Sanderling", "gold-arsenic-antimony", 1500.0, -900.0, 900.0, 420.0, -8.0, 0.8),
    ),
    false_bodies=(Body("Knot wad", "manganese wad", 1900.0, 1300.0, 600.0, 420.0),),
    infill=("Dunlin", "Knot wad"),
    infill_spacing=50.0,
    infill_line_spacing=100.0,
    second_visit_lines=0,
    unsampled_lines=0,
    laboratory_pending=False,
)

#: pegmatites around a granite: lithium and caesium are beyond the XRF, the laboratory uses aqua
#: regia, which leaves much of what pegmatites hold
LITHIUM = replace(
    DEMONSTRATION,
    title="Lithium pegmatites, partial digestion (invented)",
    prefix="P",
    seed=12,
    elements=(*tuple(e for e in DEMONSTRATION.elements if e != "Ag"), "Nb", "Sn", "W"),
    laboratory_elements=(*DEMONSTRATION.laboratory_elements, "Li", "Cs", "Sn", "Nb"),
    intrusions=(Patch("granite", -1200.0, 500.0, 1300.0, 800.0),),
    covers=(),
    bodies=(
        Body("Whinchat", "lithium", -300.0, -900.0, 800.0, 380.0, 10.0, 1.0),
        Body("Redstart", "lithium", 1400.0, 900.0, 600.0, 300.0, 25.0, 0.8),
    ),
    false_bodies=(Body("Wren wad", "manganese wad", 2300.0, -1000.0, 420.0, 300.0),),
    infill=(),
    laboratory_every=5,
    laboratory_pending=False,
    digestion="partial",
    seek=("Li",),
)

NAMED: dict[str, Settings] = {
    "demonstration": DEMONSTRATION,
    "eight-deposits": EIGHT_DEPOSITS,
    "one-deposit": ONE_DEPOSIT,
    "barren": BARREN,
    "infill-stage": INFILL_STAGE,
    "lithium": LITHIUM,
    "tuning-eight-deposits": TUNING_EIGHT,
    "tuning-barren": TUNING_BARREN,
    "reporting-eight-deposits": REPORTING_EIGHT,
    "reporting-one-deposit": REPORTING_ONE,
    "reporting-barren": REPORTING_BARREN,
}
