"""Judging 50,000 readings of 35 elements: seconds and memory above that of the tables.

    python tests/benchmarks/quality.py              # 50,000 readings, one in five a control
    python tests/benchmarks/quality.py 5000

The reference is a script of one's own that only works out bias, z and RMS CV with pandas.
"""

from __future__ import annotations

import importlib.util
import os
import resource
import sys
import time
from pathlib import Path

SYMBOLS = [
    "K", "Ca", "Ti", "V", "Cr", "Mn", "Fe", "Co", "Ni", "Cu", "Zn", "As", "Rb", "Sr", "Zr", "Mo",
    "Ag", "Sb", "Ba", "Pb", "Bi", "Th", "U", "Sn", "W", "Nb", "Y", "Ga", "Al", "Si", "P", "S", "Cl",
    "Cd", "Se",
]  # fmt: skip


def simulator():
    """Load the simulator of the quality tests."""
    path = Path(__file__).resolve().parents[1] / "quality" / "conftest.py"
    spec = importlib.util.spec_from_file_location("quality_simulator", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def peak() -> float:
    """Give the peak memory of this process, MiB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def plain(survey, standards) -> None:
    """Do the least that a script would: bias of standards and CV of duplicates."""
    controls = survey.controls
    rows = controls[controls["role"] == "standard"].merge(
        standards[["standard", "element", "certified", "sd"]], on=["standard", "element"]
    )
    rows["bias"] = rows["value"] / rows["certified"] - 1
    rows["z"] = (rows["value"] - rows["certified"]) / rows["sd"]
    rows.groupby(["batch", "element"])["bias"].median()
    second = controls[controls["parent"].notna()]
    pairs = second.merge(
        survey.results[["sample_id", "element", "value"]], left_on=["parent", "element"],
        right_on=["sample_id", "element"],
    )  # fmt: skip
    pairs["q"] = (
        (pairs["value_x"] - pairs["value_y"]) / (pairs["value_x"] + pairs["value_y"])
    ) ** 2
    pairs.groupby(["role", "element"])["q"].mean()


def main() -> None:
    """Measure and print."""
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    readings = int(sys.argv[1]) if len(sys.argv) > 1 else 50_000
    made = simulator()
    ground = {s: (30.0 + 3 * i, 0.25, 6.0, 0.05, 1.05) for i, s in enumerate(SYMBOLS)}
    # 240 samples a day with 12 pairs of standards, 12 blanks, 12 and 12 duplicates: one in five.
    days = max(3, round(readings / 300))
    survey = made.simulate(
        1, days=days, per_day=240, elements=ground, lab_every=40, standards_per_day=12
    )
    standards = made.standards_table()
    xrf = survey.results[survey.results["source"] == "pxrf"]
    print(f"{len(xrf) // len(ground)} readings x {len(ground)} elements, {days} batches")
    before = peak()
    start, cpu = time.perf_counter(), time.process_time()
    plain(survey, standards)
    print(f"plain script       {time.perf_counter() - start:6.1f} s wall "
          f"{time.process_time() - cpu:6.1f} s CPU")  # fmt: skip
    from geochem.quality import judge_quality

    start, cpu = time.perf_counter(), time.process_time()
    report = judge_quality(survey, standards)
    print(f"judge_quality      {time.perf_counter() - start:6.1f} s wall "
          f"{time.process_time() - cpu:6.1f} s CPU, {peak() - before:.0f} MiB above the "
          f"{before:.0f} MiB peak of making the tables")  # fmt: skip
    print(f"{len(report.verdicts)} verdicts, {len(report.findings)} findings")


if __name__ == "__main__":
    main()
