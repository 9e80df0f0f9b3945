"""Words of the field sheet: what to record, how to prepare. Common practice, no source."""

from __future__ import annotations

RECORD: tuple[str, ...] = (
    "Sample id on the bag and on a tag inside it; the id is used once.",
    "Position as the handheld shows it, its accuracy, and which datum and zone it is set to.",
    "Medium, horizon, depth from and to, fraction; of rock: outcrop, float or channel.",
    "Colour, moisture, slope, what lies around: workings, dumps, roads, drains.",
    "Rock and regolith as seen, alteration and veins; a photograph with the bag.",
    "If the point cannot be reached: cross it out with the reason, do not move it unmarked.",
    "No rings or watches at the hole; no galvanised or painted tools.",
)

PREPARE: tuple[tuple[str, str], ...] = (
    ("Dry", "Dry before sieving (below 60 °C where Hg counts). If not dry, note the moisture."),
    ("Crush", "Rock chips under 2 cm before crushing."),
    ("Mill", "Under 8 mm before milling."),
    ("Sieve", "Pass the powder through 250 µm (60 mesh)."),
    ("Measure", "5 mL of powder at the least; 7 to 10 mL is better: a thin pellet reads heavy "
     "elements (Ag, Cd, Sn, Sb, Ba) low."),
    ("Mix", "Shake the powder before it goes into the die; fine and dense grains settle."),
    ("Fill", "Die at least half filled; if not, empty it, add powder, fill again."),
    ("Press", "One firm press. Not several: they make layers and cracks."),
    ("Clean", "Crusher, mill, sieve and die between samples; barren quartz after a rich one, and a "
     "blank behind it."),
    ("Check", "A standard at the start, during and at the end of the day; a blank and a duplicate "
     "in every batch of about 20."),
)  # fmt: skip

#: columns that stay empty for the pencil: heading and share of the width
BLANKS: tuple[tuple[str, float], ...] = (
    ("E as read", 19.0), ("N as read", 21.0), ("Depth cm", 17.0), ("Horizon", 15.0),
    ("Notes, photograph", 0.0),
)  # fmt: skip
