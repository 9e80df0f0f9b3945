"""A simulator of geochemical campaigns with planted truth.

It is not part of the daily work of a geologist: it makes the demonstration, and tests and
benchmarks measure on it, because only planted truth tells a good method from a lucky one.

``simulate(settings)`` gives a `Campaign` with everything that is true; ``write_campaign`` writes
what field crews, instruments and a laboratory would hand over.
"""

from .campaign import Campaign, simulate
from .deposits import ASSOCIATIONS, HALF, outline, radius, shape
from .named import BARREN, DEMONSTRATION, EIGHT_DEPOSITS, NAMED
from .settings import Settings
from .truth import (
    measured_values,
    noise_free_values,
    sample_points,
    spoilt_batches,
    surveyed_area,
    truth_frame,
)
from .writing import make_campaign_folder, write_campaign

__all__ = [
    "ASSOCIATIONS",
    "BARREN",
    "DEMONSTRATION",
    "EIGHT_DEPOSITS",
    "HALF",
    "NAMED",
    "Campaign",
    "Settings",
    "make_campaign_folder",
    "measured_values",
    "noise_free_values",
    "outline",
    "radius",
    "sample_points",
    "shape",
    "simulate",
    "spoilt_batches",
    "surveyed_area",
    "truth_frame",
    "write_campaign",
]
