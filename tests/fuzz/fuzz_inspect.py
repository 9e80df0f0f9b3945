"""A bounded fuzz of `inspect`: no traceback, no hang over 10 s, no memory over 1 GiB.

Run ``python tests/fuzz/fuzz_inspect.py --seconds 120 --seed 1``. Files are made from the corpus of
bad files and from random tables by cutting, doubling, swapping and overwriting bytes, cells, lines
and columns; endings are exchanged too, so that a workbook or a vector file may hold anything. A
file that fails is kept in the folder named at the end. Every case is made from the seed and its
number alone.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib.util
import io
import json
import signal
import sys
import tempfile
import time
import traceback
import zipfile
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent
LONGEST_S, MOST_MIB = 10.0, 1024.0
ENDINGS = [".csv", ".csv", ".csv", ".txt", ".tsv", ".xlsx", ".xls", ".ods", ".gpx", ".geojson",
           ".gpkg", ".dat"]  # fmt: skip
PIECES = [
    b"", b",", b";", b"\t", b"|", b"\n", b"\r\n", b"\r", b'"', b'""', b"'", b"\x00", b"\xff\xfe",
    b"\xef\xbb\xbf", b"<", b">", b"<5", b"ND", b"nan", b"inf", b"1e999", b"1,350", b"1.350",
    b"-999", b"0", "\u2212".encode(), "\uff15".encode(), b"sep=;\n", b"Cu_ppm", b"Cu", b"CO", b"id",
    b"easting", b"lat", b"zone", b"MGRS", b"35K", b"35KNB1234567890", b"12\xc2\xb034'56\"S",
    b"Element", b"analyte", b"value", b"unit", b"ppm", b"%", b"+/-", b"depth", b"0-20 cm",
    b"2026-03-17", b"31/02/2026", b"=1+1", b"#N/A", b"9" * 400, b"(" * 60, b" " * 200, b"\xe9",
]  # fmt: skip


def corpus() -> list[bytes]:
    """Give the files of the corpus of bad files as bytes."""
    place = ROOT.parent / "read" / "bad_files.py"
    spec = importlib.util.spec_from_file_location("bad_files", place)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    contents = [c[0] for c in [*module.CASES.values(), *module.PLACES.values()]]
    contents += [c[0] for c in module.REFUSED.values()]
    return [c if isinstance(c, bytes) else c.encode("utf-8") for c in contents]


def random_table(rng: np.random.Generator) -> bytes:
    """Make a table of random headers and cells."""
    separator = rng.choice([",", ";", "\t", "|"])
    width, height = int(rng.integers(1, 40)), int(rng.integers(0, 60))
    words = [p.decode("utf-8", "replace") for p in PIECES if len(p) < 30]

    def cell() -> str:
        pick = rng.random()
        if pick < 0.5:
            return f"{rng.lognormal(3, 2):.{rng.integers(0, 5)}f}"
        return str(rng.choice(words)) if pick < 0.9 else str(rng.integers(-10, 10**9))

    lines = [separator.join(str(rng.choice(words)) for _ in range(width))]
    lines += [separator.join(cell() for _ in range(width)) for _ in range(height)]
    return str(rng.choice(["\n", "\r\n", "\r"])).join(lines).encode("utf-8")


def as_workbook(content: bytes, rng: np.random.Generator) -> bytes:
    """Put the cells of a text into a workbook, as text or numbers."""
    import openpyxl

    book = openpyxl.Workbook()
    for k in range(int(rng.integers(1, 3))):
        sheet = book.active if k == 0 else book.create_sheet()
        for line in content.decode("utf-8", "replace").splitlines()[:80]:
            cells = []
            for text in line.replace(";", ",").split(",")[:60]:
                clean = "".join(c for c in text if c.isprintable())[:200]
                try:
                    cells.append(float(clean) if abs(float(clean)) < 1e300 else clean)
                except ValueError:
                    cells.append(clean)
            sheet.append(cells)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def make(seed: int, number: int, seeds: list[bytes]) -> tuple[str, bytes]:
    """Make one file: its ending and its bytes."""
    rng = np.random.default_rng([seed, number])
    made_up = rng.random() < 0.3
    content = random_table(rng) if made_up else seeds[int(rng.integers(len(seeds)))]
    for _ in range(int(rng.integers(0, 8))):
        content = _damage(content, rng, seeds)
    ending = str(rng.choice(ENDINGS))
    if ending == ".xlsx" and rng.random() < 0.8:
        content = as_workbook(content, rng)
        if rng.random() < 0.3:
            content = _damage(content, rng, seeds)
    if rng.random() < 0.05:
        content = content.decode("utf-8", "replace").encode("utf-16")
    if ending == ".ods" and rng.random() < 0.5:
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w") as book:
            book.writestr("content.xml", content[:5000])
        content = packed.getvalue()
    return ending, content[:2_000_000]


def _damage(content: bytes, rng: np.random.Generator, seeds: list[bytes]) -> bytes:
    n = max(len(content), 1)
    a, b = sorted(int(v) for v in rng.integers(0, n + 1, 2))
    way = int(rng.integers(0, 8))
    piece = PIECES[int(rng.integers(len(PIECES)))]
    if way == 0:
        return content[:a] + content[b:]
    if way == 1:
        return content[:a] + piece + content[a:]
    if way == 2:
        return content[:a] + content[a:b] * int(rng.integers(2, 30)) + content[b:]
    if way == 3:
        return (
            content[:a] + bytes(rng.integers(0, 256, min(b - a, 50), dtype=np.uint8)) + content[b:]
        )
    lines = content.split(b"\n")
    if way == 4:
        rng.shuffle(lines)
        return b"\n".join(lines)
    if way == 5:
        at = int(rng.integers(len(lines)))
        lines[at] = lines[at].replace(b",", piece)
        return b"\n".join(lines)
    if way == 6:
        return content + seeds[int(rng.integers(len(seeds)))]
    wide = [line + b"," + piece * int(rng.integers(1, 4)) for line in lines]
    return b"\n".join(wide)


def check(path: Path) -> str | None:
    """Inspect one file; give what went wrong."""
    from geochem.read.inspection import inspect_table

    def alarm(*_: object) -> None:
        raise TimeoutError

    # processor time: other work on the machine is no fault of the reader
    signal.signal(signal.SIGPROF, alarm)
    signal.setitimer(signal.ITIMER_PROF, LONGEST_S)
    try:
        seen = inspect_table(path)
        json.dumps(seen.as_json(), allow_nan=False)
        seen.as_text().encode("utf-8")
        _read_too(path)
    except TimeoutError:
        return f"took more than {LONGEST_S:g} s"
    except Exception:
        return traceback.format_exc()
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
    return f"peak memory {peak():.0f} MiB" if peak() > MOST_MIB else None


def _read_too(path: Path) -> None:
    """Read the file as a campaign would; a refusal is an answer."""
    from geochem.errors import GeochemError
    from geochem.read.assays import read_assays
    from geochem.read.field_log import read_field_log

    for read in (
        lambda: read_field_log(path, campaign_crs="EPSG:32735"),
        lambda: read_assays([path], assay="a", source="pxrf"),
    ):
        with contextlib.suppress(GeochemError):
            read()


def peak() -> float:
    """Give the largest memory of this process so far. [MiB]."""
    status = Path("/proc/self/status")
    if not status.exists():
        return 0.0
    return int(status.read_text(encoding="utf-8").split("VmHWM:")[1].split()[0]) / 1024


def run(seed: int, *, seconds: float, cases: int, folder: Path) -> tuple[int, list[str], float]:
    """Run until the time or the number of cases is over: count, faults, longest case."""
    seeds = corpus()
    start, number, longest = time.monotonic(), 0, 0.0
    faults: list[str] = []
    while number < cases and time.monotonic() - start < seconds:
        ending, content = make(seed, number, seeds)
        path = folder / f"case_{seed}_{number}{ending}"
        path.write_bytes(content)
        before = time.process_time()
        fault = check(path)
        longest = max(longest, time.process_time() - before)
        if fault is None:
            path.unlink()
        else:
            faults.append(f"{path}: {fault}")
        number += 1
    return number, faults, longest


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=120)
    parser.add_argument("--cases", type=int, default=10**9)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="geochem_fuzz_"))
    number, faults, longest = run(
        given.seed, seconds=given.seconds, cases=given.cases, folder=folder
    )
    for fault in faults:
        print(fault)
    print(
        f"{number} files, {len(faults)} faults, longest {longest:.2f} s, peak {peak():.0f} MiB; "
        f"files that failed are in {folder}"
    )
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
