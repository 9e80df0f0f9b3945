"""The receipt of a result: what it was made from, and every file of it.

A run that finds its receipt true has nothing to do.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from geochem.campaign.publish import own_files
from geochem.campaign.settings import Settings
from geochem.campaign.stages import Stages, digest, file_hashes


def _receipt_key(folder: Path) -> str:
    return digest(str(folder))


def unchanged_since(
    stages: Stages, folder: Path, whole: str, settings: Settings, clock: datetime
) -> str | None:
    """Say when the result was made, if nothing it depends on and no file of it has changed.

    Parameters
    ----------
    stages : Stages
        Where receipts are kept.
    folder : Path
        The result folder.
    whole : str
        Key of everything that the result depends on.
    settings : Settings
        The campaign, for the snapshot of the day.
    clock : datetime
        Of this run.

    Returns
    -------
    str or None
        Date and time; None when the result must be made.
    """
    try:
        receipt = stages.take(_receipt_key(folder), "receipt")
    except KeyError:
        return None
    if receipt["whole"] != whole or receipt["snapshot"] != _snapshot_hash(settings, clock):
        return None
    if file_hashes(folder, receipt["files"]) != receipt["files"]:
        return None
    since: str = receipt["clock"]
    return since


def sign_off(
    stages: Stages, folder: Path, whole: str, settings: Settings, clock: datetime
) -> None:
    """Note what the result consists of, for `unchanged_since`.

    Parameters
    ----------
    stages, folder, whole, settings, clock
        As there.
    """
    receipt = {
        "whole": whole,
        "clock": clock.isoformat(" "),
        "snapshot": _snapshot_hash(settings, clock),
        "files": file_hashes(folder, sorted(own_files(folder))),
    }
    stages.keep(_receipt_key(folder), "receipt", receipt)


def _snapshot_hash(settings: Settings, clock: datetime) -> str:
    name = f"{clock.date().isoformat()}.json"
    return file_hashes(settings.folder / "history", [name])[name]
