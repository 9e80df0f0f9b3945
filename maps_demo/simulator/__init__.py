"""A simulator of geochemical campaigns with planted truth.

It is not part of the daily work of a geologist: it makes the demonstration, and tests and
benchmarks measure on it, because only planted truth tells a good method from a lucky one.

``simulate(settings)`` gives a `Campaign` with everything that is true; ``write_campaign`` writes
what field crews, instruments and a laboratory would hand over.
"""

from .campaign import Campaign, simulate
from .settings import BARREN, DEMONSTRATION, EIGHT_DEPOSITS, NAMED, Settings
from .writing import make_campaign_folder, write_campaign

__all__ = [
    "BARREN",
    "DEMONSTRATION",
    "EIGHT_DEPOSITS",
    "NAMED",
    "Campaign",
    "Settings",
    "make_campaign_folder",
    "simulate",
    "write_campaign",
]
