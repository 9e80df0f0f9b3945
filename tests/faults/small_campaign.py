"""The small invented campaign with outputs that are quick to write."""

from __future__ import annotations

from pathlib import Path

from geochem.testing import write_example_campaign

QUICK = ["tables", "gis", "map", "start_page"]


def write_small_campaign(
    folder: Path, *, seed: int = 1, renderers: list[str] | None = None
) -> Path:
    """Write the campaign; give its file."""
    return write_example_campaign(
        folder, seed=seed, renderers=QUICK if renderers is None else renderers
    )
