"""Wiring: campaign file to settings, the list of operations, run and check, provenance.

What lives here: the keys of the campaign file (`keys.py`), the order of the work
(`operations.py`), the translation into calls of the steps (`wiring.py`), the result folder
(`publish.py`), what is remembered (`history.py`). What does not: mathematics, drawing.
To add a step: an `Operation` and a function in `wiring.py`. Test to copy:
`tests/campaign/test_runner.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from geochem.campaign.checking import check
    from geochem.campaign.runner import run
    from geochem.campaign.settings import read_campaign

__all__ = ["check", "read_campaign", "run"]


def __getattr__(name: str) -> Any:
    if name == "run":
        from geochem.campaign.runner import run

        return run
    if name == "check":
        from geochem.campaign.checking import check

        return check
    if name == "read_campaign":
        from geochem.campaign.settings import read_campaign

        return read_campaign
    raise AttributeError(f"module 'geochem.campaign' has no attribute '{name}'")
