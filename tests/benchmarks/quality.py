"""Judging 50,000 readings of 35 elements: seconds, and memory with and without the tables.

    python tests/benchmarks/quality.py              # 50,000 readings, one in five a control
    python tests/benchmarks/quality.py 5000

The tables are made by the simulator of the quality tests and written as Parquet files to a folder
for the time of the run; a process of its own loads and judges them, so that making them does not
count. The reference is a script of one's own that only works out bias, z and RMS CV with pandas.
"""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
import tempfile
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


TABLES = ("samples", "results", "controls", "unlocated", "analytes", "standards")


def peak() -> float:
    """Give the peak memory of this process, MiB; that of its parent must not count (Linux)."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return float(next(s for s in lines if s.startswith("VmHWM")).split()[1]) / 1024


def store(folder: Path, tables) -> None:
    """Write the tables; names of columns that would repeat stay as they are."""
    for name in TABLES:
        tables[name].to_parquet(folder / f"{name}.parquet", index=False)


def load(path: Path):
    """Read a table column by column, each different text once, as readers of files give it."""
    import numpy as np
    import pandas as pd
    import pyarrow as pa
    import pyarrow.parquet as pq

    file, data = pq.ParquetFile(path), {}
    for name in file.schema_arrow.names:
        column = file.read(columns=[name], use_threads=False).column(0).combine_chunks()
        kind = column.type
        if pa.types.is_string(kind) or pa.types.is_large_string(kind) or pa.types.is_null(kind):
            coded = column.cast(pa.string()).dictionary_encode()
            texts = np.array([*coded.dictionary.to_pylist(), None], dtype=object)
            places = coded.indices.fill_null(-1).to_numpy(zero_copy_only=False)
            data[name] = pd.Series(texts[places], dtype=object)
        elif pa.types.is_integer(kind) and name in ("row", "n", "n_below", "n_above"):
            data[name] = column.to_pandas().astype("Int64")
        else:
            data[name] = column.to_pandas()
    return pd.DataFrame(data, copy=False)


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


def judge(folder: Path) -> None:
    """Load, judge, say what it took."""
    from geochem.model.survey import Survey
    from geochem.quality import judge_quality

    tables = {name: load(folder / f"{name}.parquet") for name in TABLES}
    standards = tables.pop("standards")
    survey = Survey(**tables)
    loaded = peak()
    start, cpu = time.perf_counter(), time.process_time()
    plain(survey, standards)
    print(f"plain script       {time.perf_counter() - start:6.1f} s wall "
          f"{time.process_time() - cpu:6.1f} s CPU")  # fmt: skip
    start, cpu = time.perf_counter(), time.process_time()
    report = judge_quality(survey, standards)
    print(f"judge_quality      {time.perf_counter() - start:6.1f} s wall "
          f"{time.process_time() - cpu:6.1f} s CPU; peak {peak():.0f} MiB with libraries and "
          f"tables, {peak() - loaded:.0f} MiB above the {loaded:.0f} MiB of loading them")  # fmt: skip
    print(f"{len(report.verdicts)} verdicts, {len(report.findings)} findings")


def main() -> None:
    """Make the tables and measure in another process."""
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    readings = int(sys.argv[1]) if len(sys.argv) > 1 else 50_000
    made = simulator()
    ground = {s: (30.0 + 3 * i, 0.25, 6.0, 0.05, 1.05) for i, s in enumerate(SYMBOLS)}
    # 240 samples a day with 12 pairs of standards, 12 blanks, 12 and 12 duplicates: one in five.
    days = max(3, round(readings / 300))
    survey = made.simulate(
        1, days=days, per_day=240, elements=ground, lab_every=40, standards_per_day=12
    )
    xrf = survey.results[survey.results["source"] == "pxrf"]
    print(
        f"{len(xrf) // len(ground)} readings x {len(ground)} elements, {days} batches", flush=True
    )
    with tempfile.TemporaryDirectory() as name:
        tables = {t: getattr(survey, t) for t in TABLES if t != "standards"}
        store(Path(name), {**tables, "standards": made.standards_table()})
        subprocess.run([sys.executable, __file__, "--judge", name], check=True)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--judge"]:
        judge(Path(sys.argv[2]))
    else:
        main()
