"""A bounded fuzz of campaign and decisions files: settings or a sentence, never anything else.

Run ``python tests/fuzz/fuzz_settings.py --seconds 60 --seed 1``. Files are made from the seeds
below, from the demonstration's campaign file, and from what earlier runs found (``corpus/``), by
cutting, doubling, swapping and overwriting pieces. A file that breaks the reading is written into
``corpus/`` with ``--keep``, where every later run and the default tests try it again. Every case is
made from the seed and its number alone.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
import traceback
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent
CORPUS = ROOT / "corpus"
LONGEST_S = 5.0
SEEDS = [
    b'title = "t"\ncrs = "EPSG:32735"\n[samples]\npath = "log.csv"\nmedium = "soil"\n'
    b'[[assays]]\npath = ["a.csv", "b*.csv"]\nsource = "pxrf"\nlimits = { Cu = 8 }\n'
    b'[layers]\ngeology = { path = "g.gpkg", field = "unit" }\nboundary = "b.geojson"\n'
    b'[background]\nmethod = "median_mad"\noptions = { k = 2 }\nby = ["geology"]\n'
    b'[background.element.Au]\nmethod = "percentile"\nreason = "x"\n'
    b'[targets]\nseek = ["Cu"]\nweights = { strength = 2 }\n[outputs.options.gis]\nx = 1\n',
    b'[decisions]\ncampaign = "t"\nsaved = 2026-03-20\nby = "R"\n[background.element.Cu]\n'
    b'value = 90.0\nreason = "seen"\n[targets.decision.T03]\nchoice = "reject"\nnote = "x"\n',
]
PIECES = [
    b"", b"=", b"[", b"]", b"[[", b"]]", b"{", b"}", b"{}", b"[]", b'"', b"'", b'"""', b"'''", b",",
    b".", b"\n", b"\r\n", b"#", b"\x00", b"\xff", b"\xef\xbb\xbf", b"\\u202e", b"\\x", b"true", b"nan",
    b"inf", b"-1", b"1e999", b"9" * 400, b"0x1F", b"1979-05-27", b"07:32:00", b"31-02-2026",
    b"2026-02-31", b"* ", b"[!a]*", b"../../", b"/etc/passwd", b"C:\\CON", b"element", b"Cu", b"Xx",
    b"samples", b"targets", b"decision", b"options", b"path = ", b"layers", b"[[[[[[[[" * 200,
    b"{ a = " * 300, b"a." * 2000, "é中".encode(), "\u202e".encode(), b"x" * 20_000,
]  # fmt: skip


def seeds() -> list[bytes]:
    """Give the files that others are made from."""
    demo = ROOT.parents[1] / "maps_demo" / "campaign" / "campaign.toml"
    kept = [p.read_bytes() for p in sorted(CORPUS.glob("*.toml"))]
    return [*SEEDS, *([demo.read_bytes()] if demo.exists() else []), *kept]


def make(seed: int, number: int, given: list[bytes]) -> bytes:
    """Make one file."""
    rng = np.random.default_rng([seed, number])
    content = given[int(rng.integers(len(given)))]
    for _ in range(int(rng.integers(1, 6))):
        n = max(len(content), 1)
        a, b = sorted(int(v) for v in rng.integers(0, n + 1, 2))
        piece = PIECES[int(rng.integers(len(PIECES)))]
        way = int(rng.integers(0, 6))
        if way == 0:
            content = content[:a] + piece + content[a:]
        elif way == 1:
            content = content[:a] + content[min(b, a + 40) :]
        elif way == 2:
            content = content[:a] + piece + content[min(b, a + len(piece)) :]
        else:
            lines = content.split(b"\n")
            i, j = (int(v) for v in rng.integers(0, len(lines), 2))
            if way == 3:
                lines[i], lines[j] = lines[j], lines[i]
            elif way == 4:
                lines.insert(i, lines[j])
            else:
                key, sign, _ = lines[i].partition(b"=")
                lines[i] = key + sign + b" " + piece if sign else piece
            content = b"\n".join(lines)
    return content[:500_000]


def check(path: Path) -> str | None:
    """Read a file in every way a run would; give what went wrong."""
    from geochem.campaign.decisions import lay_over, read_decisions
    from geochem.campaign.methods import check_methods
    from geochem.campaign.operations import OPERATIONS
    from geochem.campaign.settings import check_settings, read_campaign
    from geochem.campaign.toml_file import read_toml
    from geochem.errors import GeochemError

    def campaign() -> None:
        settings = read_campaign(path)
        repr(settings.plain())
        for operation in OPERATIONS:
            settings.only(operation.tables).plain()
        for table in [*settings.tables["samples"], *settings.tables["assays"]]:
            settings.files(table["path"])
        check_methods(settings)

    def decisions() -> None:
        decided = read_decisions(path)
        decided.plain()
        campaign_file = path.with_name("campaign.toml")
        campaign_file.write_bytes(SEEDS[0])
        merged, _ = lay_over(read_toml(campaign_file), decided)
        check_settings(merged, campaign_file)

    for read in (campaign, decisions):
        start = time.perf_counter()
        try:
            read()
        except GeochemError as error:
            if not str(error).strip():
                return "refused without a sentence"
        except Exception:
            return traceback.format_exc()
        if time.perf_counter() - start > LONGEST_S:
            return f"took {time.perf_counter() - start:.1f} s"
    return None


def run(
    seed: int, *, seconds: float, cases: int, folder: Path, keep: bool = False
) -> tuple[int, list[str]]:
    """Run until the time or the number of cases is over: count and faults."""
    given = seeds()
    start, number = time.monotonic(), 0
    faults: list[str] = []
    while number < cases and time.monotonic() - start < seconds:
        content = make(seed, number, given)
        path = folder / "file.toml"
        path.write_bytes(content)
        fault = check(path)
        if fault is not None:
            faults.append(f"seed {seed} case {number}: {fault}")
            if keep:
                (CORPUS / f"found_{seed}_{number}.toml").write_bytes(content)
        number += 1
    return number, faults


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--cases", type=int, default=10**9)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", action="store_true")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="geochem_fuzz_") as name:
        number, faults = run(
            given.seed, seconds=given.seconds, cases=given.cases, folder=Path(name),
            keep=given.keep,
        )  # fmt: skip
    for fault in faults[:20]:
        print(fault)
    print(f"{number} files, {len(faults)} faults")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
