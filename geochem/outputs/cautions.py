"""The cautions that every page carries, in one place.

Common practice, no source; local codes and licensed practice come first.
"""

from __future__ import annotations

SHORT = "Screening data. A surface anomaly is not a resource."

RESULTS: tuple[str, ...] = (
    "Portable XRF is a screening method, not a laboratory assay. Gold and light elements are mostly "
    "out of its reach and do not enter any score before a laboratory confirms them.",
    "A surface anomaly is not a resource, and surface data say little of depth.",
    "Probabilities and ranks compare outlines of this survey under stated assumptions; they are not "
    "the chance of an economic deposit.",
    "Public release of results needs a competent / qualified person under the code that applies "
    "(JORC, NI 43-101, S-K 1300 and others).",
)

FIELD: tuple[str, ...] = (
    "X-rays: use the shielded stand, by a licensed operator only, never towards a person.",
    "Crushing, milling and sieving set free respirable crystalline silica: wet methods, extraction, "
    "and a fitted respirator.",
    "Hammering: eye and hand protection; keep others at a distance.",
    "12 V supply: fused leads, batteries fixed and aired.",
    "Remote work: agreed check-in times, two people, water, first aid, a way out.",
    "Land access, heritage and environmental permits come before the sample.",
    "Local codes and licensed practice come first.",
)
