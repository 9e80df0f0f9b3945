"""Ordinary kriging of 300 x 300 cells from 32 neighbours: speed, memory, same numbers.

Run: ``python tests/benchmarks/kriging.py [--repeat 3]``. PyKrige (C backend) and R with gstat are
timed in the same run where they are installed; one after the other, best of several repetitions.
Seconds on the wall and of the processor: on a busy machine threads show only in the second.
"""

from __future__ import annotations

import argparse
import csv
import shutil
import subprocess
import tempfile
import time
import tracemalloc
from pathlib import Path

import numpy as np

from geochem.optional import available
from geochem.stats.kriging import krige
from geochem.stats.variogram import Variogram

MODEL = Variogram("spherical", 0.2, 1.0, 3000.0)
NEIGHBOURS = 32
SIDE = 10_000.0
CELLS = 300

R_SCRIPT = """
suppressMessages({library(sp); library(gstat)})
a <- commandArgs(trailingOnly = TRUE)
d <- read.csv(a[1]); g <- read.csv(a[2]); repeats <- as.integer(a[4])
coordinates(d) <- ~ x + y; coordinates(g) <- ~ x + y
v <- vgm(0.8, "Sph", 3000, 0.2)
best <- c(Inf, Inf)
for (i in seq_len(repeats)) {
  t <- proc.time()
  sink(tempfile()); k <- krige(z ~ 1, d, g, v, nmax = 32); sink()
  used <- proc.time() - t
  best <- pmin(best, c(used[["elapsed"]], used[["user.self"]] + used[["sys.self"]]))
}
cat(best, "\\n")
write.csv(format(data.frame(k$var1.pred, k$var1.var), digits = 15), a[3], row.names = FALSE, quote = FALSE)
"""


def made(n):
    rng = np.random.default_rng(1)
    xy = rng.random((n, 2)) * SIDE
    z = np.sin(xy[:, 0] / 1500) + np.cos(xy[:, 1] / 1100) + rng.normal(0, 0.4, n)
    step = (np.arange(CELLS) + 0.5) * SIDE / CELLS
    goal = np.stack(np.meshgrid(step, step), axis=-1).reshape(-1, 2)
    return xy, z, goal


def best_of(repeat, function):
    """Give the least seconds on the wall and of the processor, and the last answer."""
    best, found = (np.inf, np.inf), None
    for _ in range(repeat):
        start, cpu = time.perf_counter(), time.process_time()
        found = function()
        took = time.perf_counter() - start, time.process_time() - cpu
        best = min(best[0], took[0]), min(best[1], took[1])
    return best, found


def by_pykrige(xy, z, goal):
    from pykrige.ok import OrdinaryKriging

    model = OrdinaryKriging(
        xy[:, 0], xy[:, 1], z, variogram_model="spherical",
        variogram_parameters={"psill": 0.8, "range": 3000.0, "nugget": 0.2},
    )  # fmt: skip
    return model.execute(
        "points", goal[:, 0], goal[:, 1], n_closest_points=NEIGHBOURS, backend="C"
    )


def by_gstat(xy, z, goal, repeat):
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "job.R").write_text(R_SCRIPT)
        for file, header, rows in (
            ("data.csv", ["x", "y", "z"], np.column_stack([xy, z])),
            ("goal.csv", ["x", "y"], goal),
        ):
            with (folder / file).open("w", newline="") as out:
                csv.writer(out).writerows([header, *rows.tolist()])
        done = subprocess.run(
            ["Rscript", "job.R", "data.csv", "goal.csv", "out.csv", str(repeat)],
            cwd=folder, capture_output=True, text=True, check=True,
        )  # fmt: skip
        table = np.loadtxt(folder / "out.csv", delimiter=",", skiprows=1)
    wall, cpu = done.stdout.split()[-2:]
    return (float(wall), float(cpu)), table


def memory_of(tier, xy, z, goal):
    """Give the largest size of all arrays that one call makes, its result included. [MB]"""
    tracemalloc.start()
    krige(xy, z, goal, MODEL, neighbours=NEIGHBOURS, tier=tier)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return peak / 1e6


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--repeat", type=int, default=3)
    repeat = parser.parse_args().repeat
    tiers = ["numpy", *(["numba"] if available("numba") else [])]
    for n in (1000, 10_000):
        xy, z, goal = made(n)
        times, found = {}, {}
        for tier in tiers:
            krige(xy, z, goal[:200], MODEL, neighbours=NEIGHBOURS, tier=tier)  # compile
            times[tier], found[tier] = best_of(
                repeat, lambda xy=xy, z=z, goal=goal, tier=tier: krige(
                    xy, z, goal, MODEL, neighbours=NEIGHBOURS, tier=tier
                ),
            )  # fmt: skip
        others = {}
        if available("pykrige"):
            times["pykrige"], (v, s) = best_of(
                repeat, lambda xy=xy, z=z, goal=goal: by_pykrige(xy, z, goal)
            )
            others["pykrige"] = (np.asarray(v), np.asarray(s))
        if shutil.which("Rscript"):
            times["gstat"], table = by_gstat(xy, z, goal, repeat)
            others["gstat"] = (table[:, 0], table[:, 1])
        print(f"{n} samples, {len(goal)} cells, {NEIGHBOURS} neighbours")
        for name, (wall, cpu) in times.items():
            ratios = "".join(
                f"; {wall / times[t][0]:.1f} times {t} (processor {cpu / times[t][1]:.1f})"
                for t in tiers
                if name not in tiers
            )
            print(f"  {name:8s} {wall:6.2f} s, processor {cpu:6.2f} s{ratios}")
        for tier in tiers:
            size = memory_of(tier, xy, z, goal)
            print(f"  {tier}: arrays of {size:.0f} MB at most")
            for name, (v, s) in others.items():
                a = np.abs(found[tier].values - v).max()
                b = np.abs(found[tier].variance - s).max()
                print(f"  {tier} against {name}: value {a:.1e}, variance {b:.1e} at most apart")


if __name__ == "__main__":
    main()
