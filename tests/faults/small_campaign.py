"""A small invented campaign: quick to run, yet with every output."""

from __future__ import annotations

from pathlib import Path

import numpy as np

CAMPAIGN = """
title = "Small grid (invented)"
crs = "EPSG:32735"
seed = {seed}

[samples]
path = "field_log.csv"
medium = "soil"

[[assays]]
path = "readings.csv"
source = "laboratory"

[targets]
seek = ["Cu"]

[outputs]
renderers = {renderers}
"""
QUICK = ["tables", "gis", "map", "start_page"]


def write_small_campaign(
    folder: Path, *, seed: int = 1, renderers: list[str] | None = None
) -> Path:
    """Write 12 lines of 10 soils with a copper anomaly; give the campaign file."""
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(5)
    line, station = np.divmod(np.arange(120), 10)
    x, y = 500_000 + 100 * line, 7_000_000 + 50 * station
    lift = 1 + 8 * np.exp(-((line - 5) ** 2 + (station - 5) ** 2) / 4)
    log, readings = ["sample_id,easting,northing,line,date"], ["sample_id,Cu_ppm,Zn_ppm,Pb_ppm"]
    for i in range(120):
        log.append(f"S{i:03d},{x[i]},{y[i]},L{line[i]},2026-03-{10 + line[i]:02d}")
        cu = 25 * lift[i] * np.exp(rng.normal(0, 0.25))
        zn, pb = 60 * np.exp(rng.normal(0, 0.3, 2)) * [1, 0.3]
        readings.append(f"S{i:03d},{cu:.1f},{zn:.1f},{'<10' if pb < 10 else f'{pb:.1f}'}")
    (folder / "field_log.csv").write_text("\n".join(log) + "\n", encoding="utf-8")
    (folder / "readings.csv").write_text("\n".join(readings) + "\n", encoding="utf-8")
    return write_settings(folder, seed=seed, renderers=renderers)


def write_settings(folder: Path, *, seed: int, renderers: list[str] | None = None) -> Path:
    """Write the campaign file alone."""
    path = folder / "campaign.toml"
    wanted = QUICK if renderers is None else renderers
    text = CAMPAIGN.format(seed=seed, renderers=str(wanted).replace("'", '"'))
    path.write_text(text, encoding="utf-8")
    return path
