"""Reading against general libraries: text with ``<`` marks to numbers and flags.

Run ``python tests/benchmarks/reading.py [ROWS] [COLUMNS]`` (default 200,000 x 30). Both sides start
from the same file and end with the same numbers and flags; each runs in a process of its own, so
that its peak memory is its own. Seconds are processor time, because other work may share the
machine. The general way is what one writes with pandas today: everything
as text, then string methods and ``to_numeric`` per column. Ratios of one run are what counts.

A second part reads a table of 5,000 columns (bound: 5 s).
"""

from __future__ import annotations

import importlib
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

SHARE_BELOW = 0.15


def write_table(path: Path, rows: int, columns: int, seed: int = 1) -> None:
    """Write a table of readings, 15 % of them below a limit."""
    rng = np.random.default_rng(seed)
    names = [f"{e}_ppm" for e in _elements(columns)]
    with path.open("w", encoding="utf-8") as out:
        out.write(",".join(["sample_id", *names]) + "\n")
        for a in range(0, rows, 20_000):
            n = min(20_000, rows - a)
            values = np.round(rng.lognormal(3, 1, (n, columns)), 1)
            below = rng.random((n, columns)) < SHARE_BELOW
            text = values.astype(str)
            text[below] = np.char.add("<", text[below])
            for i in range(n):
                out.write(f"S{a + i:07d}," + ",".join(text[i]) + "\n")


def _elements(n: int) -> list[str]:
    from geochem.elements import ATOMIC_WEIGHTS

    known = [e for e in ATOMIC_WEIGHTS if e not in ("H", "He", "N", "O")]
    if n <= len(known):
        return known[:n]
    return [f"{known[i % len(known)]}_M{i // len(known):03d}" for i in range(n)]


def read_pandas(path: Path) -> dict[str, float]:
    """Read as text, then part marks from numbers column by column."""
    import pandas as pd

    frame = pd.read_csv(path, dtype=str)
    total, below = 0.0, 0
    kept = {}
    for name in frame.columns[1:]:
        text = frame[name].str.strip()
        flag = text.str.startswith("<").fillna(False)
        value = pd.to_numeric(text.str.lstrip("<"), errors="coerce")
        kept[name] = (value, flag)
        total += float(value.sum())
        below += int(flag.sum())
    return {"total": total, "below": below}


def read_core(path: Path) -> dict[str, float]:
    """Read numbers and flags of every column, as without the extra `big`."""
    from geochem.read import block_numbers

    block_numbers.LEAST = 1 << 62
    return read_big(path)


def read_big(path: Path) -> dict[str, float]:
    """Read numbers and flags of every column, with the extra `big` where it is installed."""
    from geochem.read.delimited import read_delimited
    from geochem.read.values import Kind, parse_column

    table = read_delimited(path)
    total, below = 0.0, 0
    kept = {}
    for name, column in zip(table.names[1:], table.columns[1:], strict=True):
        parsed = parse_column(column)
        kept[name] = parsed
        total += float(np.nansum(parsed.number))
        below += int((parsed.kind == Kind.BELOW).sum())
    return {"total": total, "below": below}


def read_assay(path: Path) -> dict[str, float]:
    """Read the whole way to the long table of results, with every check."""
    from geochem.read.assays import read_assays

    got = read_assays([path], assay="a", source="laboratory")
    return {
        "total": float(got.results["value"].sum()),
        "below": int(got.results["below"].sum()),
    }


def inspect(path: Path) -> dict[str, float]:
    """Inspect, as the command does."""
    from geochem.read.inspection import inspect_table

    seen = inspect_table(path)
    return {"total": float(len(seen.columns)), "below": len(seen.findings)}


WAYS = {f.__name__: f for f in (read_pandas, read_core, read_big, read_assay, inspect)}


def measure(way: str, path: Path) -> dict[str, float]:
    """Run one way in a process of its own; libraries are imported before the clock starts."""
    done = subprocess.run(
        [sys.executable, __file__, "--child", way, str(path)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return json.loads(done.stdout)


def _child(way: str, path: Path) -> None:
    modules = [
        "pandas",
        "geochem.read.assays",
        "geochem.read.inspection",
        "geochem.read.delimited",
    ]
    for name in modules + (["pyarrow.csv"] if way == "read_big" else []):
        importlib.import_module(name)  # the import is not what is measured

    before = _peak()
    wall, start = time.perf_counter(), time.process_time()
    out = WAYS[way](path)
    seconds, wall = time.process_time() - start, time.perf_counter() - wall
    print(json.dumps({**out, "seconds": seconds, "wall": wall, "mb": _peak() - before}))


def _peak() -> float:
    """Give the largest memory of this process so far, MiB (the parent's is not counted)."""
    status = Path("/proc/self/status").read_text(encoding="utf-8")
    return int(status.split("VmHWM:")[1].split()[0]) / 1024


def main(rows: int = 200_000, columns: int = 30) -> None:
    """Print the table of the two parts."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "readings.csv"
        write_table(path, rows, columns)
        ways = ["read_pandas", "read_core", "read_big"]
        if rows * columns <= 12_000_000:
            ways.append("read_assay")  # one row per value takes about 290 bytes
        got = {way: measure(way, path) for way in ways}
        base = got["read_pandas"]
        print(f"{rows} x {columns}, {path.stat().st_size / 1e6:.0f} MB")
        for way, g in got.items():
            same = abs(g["total"] / base["total"] - 1) < 1e-12 and g["below"] == base["below"]
            print(
                f"  {way:12} {g['seconds']:6.2f} s  {g['mb']:6.0f} MB  "
                f"{base['seconds'] / g['seconds']:5.2f} x as fast, "
                f"{g['mb'] / base['mb']:4.2f} x the memory, results {'equal' if same else 'DIFFER'}"
            )
        wide = Path(folder) / "wide.csv"
        write_table(wide, 200, 5000)
        for way in ("inspect", "read_assay"):
            g = measure(way, wide)
            print(f"  {way} of 200 x 5000: {g['seconds']:.2f} s, {g['mb']:.0f} MB (bound 5 s)")


if __name__ == "__main__":
    if len(sys.argv) > 1 and sys.argv[1] == "--child":
        _child(sys.argv[2], Path(sys.argv[3]))
    else:
        main(*(int(a) for a in sys.argv[1:]))
