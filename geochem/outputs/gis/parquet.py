"""GeoParquet for large campaigns: quicker and smaller than a GeoPackage, read by column."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal

from geochem.optional import available, require

if TYPE_CHECKING:
    from geochem.model.bundle import Bundle

#: from so many samples on, GeoParquet is written too
LARGE = 50_000


def write_geoparquet(
    bundle: Bundle, folder: Path, when: Literal["auto", "always", "never"] = "auto"
) -> list[Path]:
    """Write samples and anomalies as GeoParquet, all values as Parquet.

    Parameters
    ----------
    bundle : Bundle
        Records of a run.
    folder : Path
        Result folder.
    when : {"auto", "always", "never"}, default "auto"
        "auto" is from 50,000 samples on, where pyarrow is installed.

    Returns
    -------
    list of Path
        What was written.

    Raises
    ------
    MissingExtra
        If it is always asked for and pyarrow is not installed.
    """
    from geochem.outputs.gis.renderer import sample_layer

    large = len(bundle.survey.samples) >= LARGE and available("pyarrow")
    if when == "never" or (when == "auto" and not large):
        return []
    pyarrow = require("pyarrow", extra="big", purpose="write GeoParquet")
    written = []
    for name, frame in (
        ("samples", sample_layer(bundle.survey.samples)),
        ("anomalies", bundle.evidence.anomalies),
        ("results", bundle.survey.results),
    ):
        path = folder / f"{name}.parquet"
        frame.to_parquet(path, index=False, compression="zstd")
        pyarrow.default_memory_pool().release_unused()
        written.append(path)
    return written
