"""Which campaigns are surveys: those whose samples are Parquet."""

from __future__ import annotations

from pathlib import Path

from geochem.campaign.settings import Settings
from geochem.errors import WrongCall

#: titles that a survey run tells
SURVEY_STEPS = 3


def is_parquet(path: Path) -> bool:
    """Say whether a path is a Parquet file or a folder of Parquet files."""
    if path.is_dir():
        return any(path.rglob("*.parquet"))
    return path.suffix.lower() in (".parquet", ".geoparquet", ".pq")


def parquet_files(path: Path) -> list[Path]:
    """Give a Parquet file, or those in a folder by name."""
    return sorted(path.rglob("*.parquet")) if path.is_dir() else [path]


def survey_paths(settings: Settings) -> list[Path]:
    """Give the Parquet files of a campaign that is a survey; empty for any other campaign.

    Raises
    ------
    WrongCall
        If Parquet is mixed with other tables.
    """
    paths = [p for t in settings.tables["samples"] for p in settings.files(t["path"])]
    found = [p for p in paths if is_parquet(p)]
    if found and (len(found) < len(paths) or settings.tables["assays"]):
        raise WrongCall(
            "a Parquet survey holds positions and values in one table: it cannot be mixed with "
            "other tables of samples or with [[assays]]. Give it a campaign file of its own."
        )
    return [file for path in found for file in parquet_files(path)]
