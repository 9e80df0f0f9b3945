"""The demonstration campaign that the wheel carries."""

from __future__ import annotations

import shutil
from pathlib import Path

from geochem.errors import DataRefused


def demonstration_source() -> Path:
    """Find the inputs of the demonstration campaign.

    Returns
    -------
    Path
        A folder with ``campaign.toml``: inside the installed package or, in a source checkout,
        ``maps_demo/campaign``.

    Raises
    ------
    DataRefused
        If the installation is not whole.
    """
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "demonstration", package.parent / "maps_demo" / "campaign"):
        if (folder / "campaign.toml").is_file():
            return folder
    raise DataRefused(
        "the demonstration campaign is missing from this installation; install geochem again."
    )


def write_demonstration(folder: str | Path) -> Path:
    """Copy the demonstration campaign into a folder of the user's.

    Parameters
    ----------
    folder : str or Path
        Made when missing. A folder that holds something else than a demonstration is refused.

    Returns
    -------
    Path
        The campaign file.

    Raises
    ------
    DataRefused
        If the folder holds other things.
    """
    folder = Path(folder)
    source = demonstration_source()
    target = folder / "campaign.toml"
    if folder.exists() and not folder.is_dir():
        raise DataRefused(f"'{folder}' is a file; give the name of a folder.")
    if folder.exists() and any(folder.iterdir()) and not _is_demonstration(folder, source):
        raise DataRefused(
            f"the folder '{folder}' is not empty and holds no demonstration campaign; "
            "give another: geochem demo DIR"
        )
    folder.mkdir(parents=True, exist_ok=True)
    for path in sorted(source.iterdir()):
        if path.is_file():
            shutil.copyfile(path, folder / path.name)
    return target


def _is_demonstration(folder: Path, source: Path) -> bool:
    mine = folder / "campaign.toml"
    return mine.is_file() and mine.read_bytes() == (source / "campaign.toml").read_bytes()
