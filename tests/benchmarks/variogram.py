"""Experimental variogram of 10,000 samples: speed against scikit-gstat and gstat, same numbers.

Run: ``python tests/benchmarks/variogram.py [--repeat 3] [--samples 10000]``. The others are timed
in the same run where they are installed, best of several repetitions.
"""

from __future__ import annotations

import argparse
import csv
import shutil
import subprocess
import tempfile
import time
from pathlib import Path

import numpy as np

from geochem.optional import available
from geochem.stats.variogram import experimental_variogram

CUTOFF, BINS = 4714.0, 15
R_SCRIPT = """
suppressMessages({library(sp); library(gstat)})
a <- commandArgs(trailingOnly = TRUE)
d <- read.csv(a[1]); coordinates(d) <- ~ x + y
best <- Inf
for (i in seq_len(as.integer(a[3]))) {
  t <- proc.time()[["elapsed"]]
  v <- variogram(z ~ 1, d, cutoff = 4714, width = 4714 / 15)
  best <- min(best, proc.time()[["elapsed"]] - t)
}
cat(best, "\\n")
write.csv(format(data.frame(v$np, v$dist, v$gamma), digits = 15), a[2], row.names = FALSE, quote = FALSE)
"""


def best_of(repeat, function):
    best, found = np.inf, None
    for _ in range(repeat):
        start = time.perf_counter()
        found = function()
        best = min(best, time.perf_counter() - start)
    return best, found


def by_gstat(xy, z, repeat):
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "job.R").write_text(R_SCRIPT)
        with (folder / "data.csv").open("w", newline="") as out:
            csv.writer(out).writerows([["x", "y", "z"], *np.column_stack([xy, z]).tolist()])
        done = subprocess.run(
            ["Rscript", "job.R", "data.csv", "out.csv", str(repeat)],
            cwd=folder, capture_output=True, text=True, check=True,
        )  # fmt: skip
        return float(done.stdout.split()[-1]), np.loadtxt(
            folder / "out.csv", delimiter=",", skiprows=1
        )


def by_scikit_gstat(xy, z):
    import skgstat

    found = skgstat.Variogram(xy, z, n_lags=BINS, maxlag=CUTOFF, bin_func="even", fit_method=None)
    return found.experimental


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--repeat", type=int, default=3)
    parser.add_argument("--samples", type=int, default=10_000)
    given = parser.parse_args()
    rng = np.random.default_rng(1)
    xy = rng.random((given.samples, 2)) * 10_000
    z = np.sin(xy[:, 0] / 1500) + rng.normal(0, 0.4, given.samples)
    tiers = ["numpy", *(["numba"] if available("numba") else [])]
    times, found, others = {}, {}, {}
    for tier in tiers:
        experimental_variogram(xy[:200], z[:200], tier=tier)  # compile
        times[tier], found[tier] = best_of(
            given.repeat,
            lambda tier=tier: experimental_variogram(
                xy, z, cutoff=CUTOFF, n_bins=BINS, tier=tier, max_points=given.samples
            ),
        )
    if shutil.which("Rscript"):
        times["gstat"], table = by_gstat(xy, z, given.repeat)
        others["gstat"] = table[:, 2]
    if available("skgstat"):
        times["skgstat"], others["skgstat"] = best_of(1, lambda: by_scikit_gstat(xy, z))
    print(f"{given.samples} samples, {found['numpy'].pairs.sum():,} pairs")
    for name, seconds in times.items():
        ratios = ", ".join(
            f"{seconds / times[t]:.1f} times the time of {t}" for t in tiers if name not in tiers
        )
        print(f"  {name:8s} {seconds:7.3f} s  {ratios}")
    for tier in tiers:
        for name, gamma in others.items():
            apart = np.abs(found[tier].gamma / gamma - 1).max()
            print(f"  {tier} against {name}: {apart:.1e} at most apart, relative")


if __name__ == "__main__":
    main()
