"""`run.json`: what went in, with which settings and versions, and what came out."""

from __future__ import annotations

import hashlib
import json
import platform
from collections.abc import Iterable, Mapping
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

LIBRARIES = (
    "numpy", "scipy", "pandas", "geopandas", "shapely", "pyproj", "pyogrio", "scikit-learn",
    "matplotlib", "folium", "rasterio", "openpyxl", "python-pptx", "fpdf2",
)  # fmt: skip


def sha256(path: Path) -> str:
    """Give the SHA-256 of a file.

    Parameters
    ----------
    path : Path
        Any file.

    Returns
    -------
    str
        Hexadecimal.
    """
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def versions() -> dict[str, str]:
    """List the versions that a result depends on.

    Returns
    -------
    dict of str to str
        This package, Python and the core libraries.
    """
    from geochem.version import __version__

    found = {"geochem": __version__, "python": platform.python_version()}
    for name in LIBRARIES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "not installed"
    return found


def write_run_record(
    folder: Path,
    *,
    inputs: Iterable[Path],
    base: Path,
    settings: Mapping[str, Any],
    clock: str,
    previous: Mapping[str, Any],
    timings: Mapping[str, float],
) -> Path:
    """Write `run.json` into a finished result folder.

    Parameters
    ----------
    folder : Path
        The result; every file in it is listed as ours.
    inputs : iterable of Path
        What was read.
    base : Path
        Folder of the campaign file; inputs below it are named relative to it.
    settings : mapping
        Plain values.
    clock : str
        The run's clock.
    previous : mapping
        Snapshot compared with: ``date`` and ``sha256``.
    timings : mapping of str to float
        Seconds per operation.

    Returns
    -------
    Path
        The file.
    """
    rows = []
    for path in sorted(set(inputs)):
        name = path.relative_to(base).as_posix() if path.is_relative_to(base) else str(path)
        rows.append({"path": name, "sha256": sha256(path), "bytes": path.stat().st_size})
    files = sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())
    record = {
        "clock": clock,
        "inputs": rows,
        "settings": settings,
        "seed": settings.get("seed"),
        "versions": versions(),
        "previous": previous,
        "timings_s": {k: round(v, 3) for k, v in timings.items()},
        "files": files,
    }
    path = folder / "run.json"
    path.write_text(
        json.dumps(record, indent=1, ensure_ascii=False, default=str) + "\n", encoding="utf-8"
    )
    return path
