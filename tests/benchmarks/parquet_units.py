"""Log-ratios with exact median and MAD by unit, 5 M x 30 from Parquet, against pandas.

    python tests/benchmarks/parquet_units.py             # 5 M x 30, 8 units; pandas needs 8 GB
    python tests/benchmarks/parquet_units.py --rows 500000

The survey is written in row groups to a temporary folder and thrown away. Each side runs in a
process of its own, one after another; geochem goes through the tasks that a survey run carries out,
by as many workers (`--jobs`). The answers must be equal. Memory is the largest sum of all processes.
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

ELEMENTS = (
    *("Mg", "Al", "Si", "P", "S", "K", "Ca", "Ti", "V", "Cr", "Mn", "Fe", "Co", "Ni", "Cu"),
    *("Zn", "Ga", "As", "Rb", "Sr", "Y", "Zr", "Nb", "Mo", "Sn", "Sb", "Ba", "W", "Pb", "Th"),
)
UNITS = 8
GROUP = 250_000


def write_survey(path: Path, rows: int) -> None:
    """Write an invented survey: correlated logarithms, rounded, units as words."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    rng = np.random.default_rng(0)
    level = rng.uniform(1, 8, len(ELEMENTS))
    shift = rng.normal(0, 0.3, (UNITS, len(ELEMENTS)))
    words = np.array([f"unit {k}" for k in range(UNITS)], dtype=object)
    writer = None
    for first in range(0, rows, GROUP):
        n = min(GROUP, rows - first)
        unit = rng.integers(0, UNITS, n)
        log = level + shift[unit] + 0.3 * rng.standard_normal((n, 1))
        log += 0.4 * rng.standard_normal((n, len(ELEMENTS)))
        columns = {
            "sample_id": pa.array([f"S{k:07d}" for k in range(first, first + n)]),
            "easting": rng.uniform(3e5, 7e5, n).round(1),
            "northing": rng.uniform(5e6, 6e6, n).round(1),
            "geology": pa.array(words[unit]),
        }
        value = np.exp(log).round(2) + 0.01
        columns |= {f"{e}_ppm": value[:, j] for j, e in enumerate(ELEMENTS)}
        table = pa.table(columns)
        writer = writer or pq.ParquetWriter(path, table.schema)
        writer.write_table(table)
    assert writer is not None
    writer.close()


def by_pandas(path: Path) -> np.ndarray:
    """Give median and scaled MAD, shape (units, elements, 2)."""
    import pandas as pd

    names = [f"{e}_ppm" for e in ELEMENTS]
    frame = pd.read_parquet(path, columns=["geology", *names])
    logs = np.log(frame[names])
    clr = logs.sub(logs.mean(axis=1), axis=0)
    middle = clr.groupby(frame["geology"]).median()
    away = (clr - middle.loc[frame["geology"]].to_numpy()).abs()
    spread = 1.4826 * away.groupby(frame["geology"]).median()
    return np.stack([middle.to_numpy(), spread.to_numpy()], axis=-1)


def by_geochem(path: Path, jobs: int) -> np.ndarray:
    """Give the same by the tasks of a survey run."""
    from geochem.campaign import survey_tasks as tasks
    from geochem.campaign.survey_run import workers
    from geochem.read.survey_table import open_survey

    table = open_survey([path])
    units = tuple(f"unit {k}" for k in range(UNITS))
    scratch = path.parent
    with workers(jobs, None) as many:
        blocks = table.blocks
        rest = (("geology",), units, table.elements)
        starts = list(
            many(
                tasks.log_means, [table] * len(blocks), blocks, *([r] * len(blocks) for r in rest)
            )
        )
        code = np.concatenate([s[0] for s in starts])
        np.save(scratch / "mean.npy", np.concatenate([s[1] for s in starts]))
        np.save(scratch / "order.npy", np.argsort(code, kind="stable"))
        np.save(scratch / "start.npy", np.searchsorted(np.sort(code), np.arange(UNITS + 1)))
        del starts, code
        n = len(ELEMENTS)
        found = list(many(tasks.clr_levels, [table] * n, ELEMENTS, [scratch] * n))
    return np.stack(found, axis=1)


def memory_of(process: int) -> float:
    """Give the memory of a process and its children now, shared pages by halves. [GB]"""
    total = 0.0
    for place in [process, *children_of(process)]:
        try:
            lines = Path(f"/proc/{place}/smaps_rollup").read_text().splitlines()
        except OSError:
            continue
        total += sum(int(line.split()[1]) for line in lines if line.startswith("Pss:")) / 1e6
    return total


def children_of(process: int) -> list[int]:
    """Give all descendants."""
    try:
        own = Path(f"/proc/{process}/task/{process}/children").read_text().split()
    except OSError:
        return []
    return [c for child in own for c in (int(child), *children_of(int(child)))]


def measure(side: str, path: Path, jobs: int) -> tuple[float, float, float, np.ndarray]:
    """Run one side in a fresh process; give seconds, processor time, peak memory [GB], answer."""
    out = path.with_name(f"{side}.npy")
    given = ["--side", side, "--path", str(path), "--out", str(out), "--jobs", str(jobs)]
    start = time.perf_counter()
    peak = 0.0
    with subprocess.Popen([sys.executable, __file__, *given]) as running:
        while running.poll() is None:
            peak = max(peak, memory_of(running.pid))
            time.sleep(0.1)
    seconds = time.perf_counter() - start
    if running.returncode:
        raise SystemExit(f"{side} failed")
    return seconds, float(np.load(path.with_name("spent.npy"))), peak, np.load(out)


def main() -> None:
    """Print seconds, memory and the ratio."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rows", type=int, default=5_000_000)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--side", help="carry out one side (used by the script itself)")
    parser.add_argument("--path", type=Path)
    parser.add_argument("--out", type=Path)
    given = parser.parse_args()
    if given.side:
        ours = given.side == "geochem"
        np.save(given.out, by_geochem(given.path, given.jobs) if ours else by_pandas(given.path))
        used = [resource.getrusage(w) for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
        np.save(given.path.with_name("spent.npy"), sum(u.ru_utime + u.ru_stime for u in used))
        return
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "survey.parquet"
        write_survey(path, given.rows)
        ours, our_work, our_peak, mine = measure("geochem", path, given.jobs)
        theirs, their_work, their_peak, other = measure("pandas", path, 1)
    print(
        f"clr, median and MAD by {UNITS} units, {given.rows:,} x {len(ELEMENTS)}:\n"
        f"    pandas  {theirs:5.1f} s ({their_work:.1f} s of processor), {their_peak:.2f} GB\n"
        f"    geochem {ours:5.1f} s ({our_work:.1f} s of processor), {our_peak:.2f} GB, {given.jobs} "
        f"workers: {theirs / ours:.1f} times as fast, {their_work / our_work:.1f} times less work\n"
        f"    largest difference {np.abs(mine - other).max():.1e}"
    )


if __name__ == "__main__":
    main()
