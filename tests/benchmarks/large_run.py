"""The whole run on 10,000 to 100,000 samples x 40 elements, every file: seconds, memory, growth.

    python tests/benchmarks/large_run.py                 # 10,000, 30,000, 100,000
    python tests/benchmarks/large_run.py --samples 30000 --keep some/folder   # only write the campaign

Nothing comparable exists to set it against, so the rows are absolute; what counts is that the time
grows no faster than the samples.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
from itertools import pairwise
from pathlib import Path

import numpy as np
from process_tree import Measured, measured

#: 40 elements that a portable XRF reads, with a typical soil median and detection limit [ppm]
ELEMENTS: dict[str, tuple[float, float]] = {
    "Mg": (8000, 3000), "Al": (60000, 900), "Si": (260000, 700), "P": (600, 250), "S": (300, 150),
    "Cl": (120, 80), "K": (15000, 120), "Ca": (12000, 90), "Ti": (4000, 40), "V": (90, 25),
    "Cr": (70, 15), "Mn": (700, 30), "Fe": (35000, 60), "Co": (14, 12), "Ni": (32, 10),
    "Cu": (28, 8), "Zn": (75, 6), "Ga": (16, 4), "As": (9, 3), "Se": (0.4, 1.5), "Br": (3, 1),
    "Rb": (85, 2), "Sr": (160, 2), "Y": (25, 2), "Zr": (220, 2), "Nb": (13, 2), "Mo": (1.6, 1.5),
    "Ag": (0.5, 4), "Cd": (0.4, 5), "Sn": (3, 6), "Sb": (1.2, 5), "Te": (0.4, 9), "Cs": (5, 12),
    "Ba": (480, 30), "La": (33, 25), "Ce": (65, 30), "W": (2.5, 6), "Pb": (22, 4), "Bi": (0.5, 3),
    "Th": (10, 3),
}  # fmt: skip
UNITS = ("greywacke", "basalt", "granite", "shale", "felsic")


def make_campaign(folder: Path, n: int, seed: int = 1) -> int:
    """Write field log, readings, laboratory results, standards and geology; give the samples."""
    import geopandas as gpd
    import pandas as pd
    from shapely import box

    rng = np.random.default_rng(seed)
    stations = int(np.sqrt(n * 2))
    lines = n // stations
    n = lines * stations
    line, station = np.divmod(np.arange(n), stations)
    x = 400_000.0 + line * 200.0 + rng.normal(0, 4, n)
    y = 6_000_000.0 + station * 100.0 + rng.normal(0, 4, n)
    names = list(ELEMENTS)
    unit = np.minimum((line * len(UNITS)) // lines, len(UNITS) - 1)
    shift = rng.normal(0, 0.25, (len(UNITS), len(names)))
    loading = rng.normal(0, 0.16, (6, len(names)))
    factors = np.column_stack([_field(lines, stations, rng, 1500.0) for _ in range(6)])
    logs = np.log([ELEMENTS[e][0] for e in names]) + shift[unit] + factors @ loading
    for metals in (
        ("Cu", "Mo", "Bi", "W"),
        ("Zn", "Pb", "Ba", "S"),
        ("As", "Sb", "W", "Bi"),
    ) * max(1, n // 15_000):
        cx, cy = rng.uniform(x.min(), x.max()), rng.uniform(y.min(), y.max())
        near = np.exp(-0.5 * (((x - cx) / 260) ** 2 + ((y - cy) / 420) ** 2))
        for metal in metals:
            logs[:, names.index(metal)] += near * rng.uniform(1.2, 2.2)
    ids = np.array([f"S{i:06d}" for i in range(1, n + 1)])
    day = pd.Timestamp("2026-03-01") + pd.to_timedelta(np.arange(n) // 2500, unit="D")
    pd.DataFrame(
        {"sample_id": ids, "easting": x.round(1), "northing": y.round(1), "medium": "soil",
         "date": day.strftime("%Y-%m-%d")}
    ).to_csv(folder / "field_log.csv", index=False)  # fmt: skip
    limits = np.array([ELEMENTS[e][1] for e in names])
    truth = np.exp(logs + rng.normal(0, 0.12, logs.shape))
    read = (
        truth * np.exp(rng.normal(0, 0.04, truth.shape)) + rng.normal(0, 0.3, truth.shape) * limits
    )
    _write_readings(folder / "readings.csv", ids, day, read, limits, names, rng)
    sent = np.sort(rng.choice(n, n // 8, replace=False))
    assayed = truth[sent] * np.exp(rng.normal(0, 0.03, truth[sent].shape))
    lab = pd.DataFrame(assayed.round(3), columns=[f"{e}_ppm" for e in names])
    lab.insert(0, "sample_id", ids[sent])
    lab.insert(1, "batch", [f"J{k // 400:03d}" for k in range(len(sent))])
    lab.to_csv(folder / "laboratory.csv", index=False)
    certified = pd.DataFrame(
        {"standard": "SOIL-A", "element": names,
         "certified": [3 * ELEMENTS[e][0] for e in names],
         "sd": [0.15 * ELEMENTS[e][0] for e in names], "unit": "ppm"}
    )  # fmt: skip
    certified.to_csv(folder / "standards.csv", index=False)
    west, east = x.min() - 100, x.max() + 100
    edges = np.linspace(west, east, len(UNITS) + 1)
    shapes = [box(edges[i], y.min() - 100, edges[i + 1], y.max() + 100) for i in range(len(UNITS))]
    gpd.GeoDataFrame({"unit": UNITS}, geometry=shapes, crs="EPSG:32735").to_file(
        folder / "geology.gpkg"
    )
    (folder / "campaign.toml").write_text(
        'title = "Large survey (invented)"\ncrs = "EPSG:32735"\n\n[samples]\npath = "field_log.csv"\n\n'
        '[[assays]]\nname = "xrf"\npath = "readings.csv"\nsource = "pxrf"\ndigestion = "total"\n\n'
        '[[assays]]\nname = "lab"\npath = "laboratory.csv"\nsource = "laboratory"\n'
        'digestion = "near-total"\n\n[standards]\npath = "standards.csv"\n\n[layers]\n'
        'geology = { path = "geology.gpkg", field = "unit" }\n\n[background]\nby = ["geology"]\n'
    )
    return n


def _field(lines: int, stations: int, rng: np.random.Generator, scale: float) -> np.ndarray:
    """Smooth noise of unit variance on the grid, line by line."""
    from scipy.ndimage import gaussian_filter

    made = gaussian_filter(rng.normal(size=(lines, stations)), (scale / 200, scale / 100))
    return (made / made.std()).ravel()


def _write_readings(path, ids, day, read, limits, names, rng):
    import pandas as pd

    n = len(ids)
    below = read < limits
    table = {"sample_id": ids, "instrument": "K1", "time": day.strftime("%Y-%m-%d 09:00:00"),
             "batch": [f"B{k // 250:04d}" for k in range(n)], "role": "", "standard": ""}  # fmt: skip
    frame = pd.DataFrame(table)
    for j, element in enumerate(names):
        digits = 1 if limits[j] < 20 else 0
        text = pd.Series(np.round(read[:, j], digits)).astype(str)
        frame[f"{element}_ppm"] = text.where(~below[:, j], f"<{limits[j]:g}")
    every = frame.iloc[::60].copy()
    every["sample_id"] = [f"STD{k:05d}" for k in range(len(every))]
    every["role"], every["standard"] = "standard", "SOIL-A"
    for j, element in enumerate(names):
        middle = 3 * ELEMENTS[element][0]
        value = middle * np.exp(rng.normal(0, 0.04, len(every)))
        every[f"{element}_ppm"] = np.where(
            value < limits[j], f"<{limits[j]:g}", value.round(1).astype(str)
        )
    pd.concat([frame, every]).to_csv(path, index=False)


def measure(folder: Path, jobs: int, memory: str | None) -> tuple[Measured, dict[str, float]]:
    """Run in a fresh process; give what it took and the seconds of every stage."""
    command = [sys.executable, "-m", "geochem", "run", str(folder), "--jobs", str(jobs)]
    found = measured([*command, *(["--memory", memory] if memory else [])])
    record = json.loads((folder / "results" / "run.json").read_text("utf-8"))
    return found, record["timings_s"]


def main() -> None:
    """Measure and print one table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--samples", type=int, nargs="*", default=[10_000, 30_000, 100_000])
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--memory", help="as for geochem run, for example 4G")
    parser.add_argument("--keep", type=Path, help="only write the campaign of the first size")
    chosen = parser.parse_args()
    if chosen.keep:
        chosen.keep.mkdir(parents=True, exist_ok=True)
        print(make_campaign(chosen.keep, chosen.samples[0]), "samples")
        return
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.pop(name, None)
    runs = []
    for wanted in sorted(chosen.samples):
        with tempfile.TemporaryDirectory() as made:
            folder = Path(made)
            n = make_campaign(folder, wanted)
            found, stages = measure(folder, chosen.jobs, chosen.memory)
            size = sum(p.stat().st_size for p in (folder / "results").rglob("*")) / 2**20
        runs.append((n, found))
        print(f"{n:7d} x {len(ELEMENTS)}: {found.seconds:6.1f} s, {found.cpu:6.1f} s of processors, "
              f"{1e3 * found.cpu / n:.2f} ms per sample, memory {found.largest:.2f} GiB (largest "
              f"process), {found.together:.2f} GiB (all), {size:.0f} MiB written", flush=True)  # fmt: skip
        print("         " + ", ".join(f"{k} {v:.1f}" for k, v in stages.items()), flush=True)
    for (n, one), (m, two) in pairwise(runs):
        power = np.log(two.cpu / one.cpu) / np.log(m / n)
        print(f"{n} to {m}: processors grow with the power {power:.2f} of the samples, memory "
              f"{two.together / one.together:.1f} times")  # fmt: skip


if __name__ == "__main__":
    main()
