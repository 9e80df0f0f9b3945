"""The whole run, the import and the help: seconds and peak memory, each in a fresh process.

    python tests/benchmarks/whole_run.py             # 5,400 samples x 24 elements
    python tests/benchmarks/whole_run.py --demo      # the demonstration campaign

Nothing comparable exists to set it against, so these rows are absolute; the start-up rows are set
against importing the libraries that a script of one's own would import.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from process_tree import measured

ROOT = Path(__file__).resolve().parents[2]


def timed(command: list[str], **options: object) -> tuple[float, float]:
    """Run a command; give seconds and the peak memory of the largest child so far, MiB."""
    start = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True, **options)
    seconds = time.perf_counter() - start
    return seconds, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024


def best(command: list[str], times: int = 5) -> float:
    """Give the quickest of several runs, seconds."""
    return min(timed(command)[0] for _ in range(times))


def main() -> None:
    """Measure and print one table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--demo", action="store_true")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--settings", default="eight-deposits")
    chosen = parser.parse_args()
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.pop(name, None)
    python = sys.executable
    empty = best([python, "-c", "pass"])
    bare = best([python, "-c", "import geochem"]) - empty
    usage = best([python, "-m", "geochem", "--help"])
    stack = best(
        [
            python,
            "-c",
            "import geopandas, sklearn.cluster, matplotlib.pyplot, folium, scipy.stats",
        ],
        2,
    )
    print(
        f"import geochem            {bare * 1000:8.0f} ms   (a glued stack: {stack - empty:.1f} s)"
    )
    print(f"geochem --help            {usage:8.2f} s")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if chosen.demo:
            from geochem.campaign.demonstration import write_demonstration

            write_demonstration(folder / "campaign")
        else:
            seconds, _ = timed(
                [python, str(ROOT / "maps_demo" / "make_campaign.py"), "--settings", chosen.settings,
                 str(folder / "campaign")]
            )  # fmt: skip
            print(f"simulate the campaign     {seconds:8.1f} s")
        run = [
            python,
            "-m",
            "geochem",
            "run",
            str(folder / "campaign"),
            "--jobs",
            str(chosen.jobs),
        ]
        found = measured(run)
        print(
            f"geochem run               {found.seconds:8.1f} s   {found.cpu:.1f} s of processors"
        )
        print(
            f"  memory {found.largest:.2f} GiB (largest process), {found.together:.2f} GiB (all)"
        )
        record = json.loads((folder / "campaign" / "results" / "run.json").read_text("utf-8"))
        for step, took in record["timings_s"].items():
            print(f"  {step:24} {took:8.2f} s")
        size = sum(p.stat().st_size for p in (folder / "campaign" / "results").rglob("*"))
        print(f"result folder             {size / 2**20:8.1f} MiB")


if __name__ == "__main__":
    main()
