"""Kill runs at random moments and look whether the last good result is whole.

    python tests/faults/kill_runs.py --kills 50 --seed 1

Each run gets another seed in its campaign file, so that its result differs. Of three kills (SIGKILL)
one falls anywhere between the start and the usual end, one after the folder in the making has
appeared, and one when its record stands in it, to meet the swap. After each kill the next
start mends what was left, and the folder must hold either the last good result, byte for byte, or
the whole new one; a file of the user's own must stand in it.
"""

from __future__ import annotations

import argparse
import hashlib
import importlib.util
import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections import Counter
from datetime import datetime
from pathlib import Path

HERE = Path(__file__).resolve().parent
#: what must have appeared before the time runs, and its longest, in lengths of a usual run
MOMENTS = (("", 0.9), (".results.making-*", 0.3), (".results.making-*/run.json", 0.02))


def _load(name: str):
    spec = importlib.util.spec_from_file_location(name, HERE / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


small = _load("small_campaign")


def tree(folder: Path) -> dict[str, str]:
    """Give the hash of every file."""
    return {
        p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }


def start(folder: Path) -> subprocess.Popen[bytes]:
    """Start a run in a process of its own."""
    return subprocess.Popen(
        [sys.executable, "-m", "geochem", "run", str(folder)],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        env={**os.environ, "OMP_NUM_THREADS": "1"},
    )  # fmt: skip


def seed_of(out: Path) -> int:
    """Say which run a result is of."""
    return json.loads((out / "run.json").read_text("utf-8"))["settings"]["seed"]


def faults_of(out: Path, good: dict[str, str], good_seed: int, new_seed: int) -> list[str]:
    """List what is wrong with a result folder after a mended kill."""
    if not (out / "run.json").is_file():
        return ["there is no result"]
    seed = seed_of(out)
    found = tree(out)
    faults = []
    if found.get("my notes.txt") != good.get("my notes.txt"):
        faults.append("the user's own file is gone or changed")
    if seed == good_seed:
        if found != good:
            faults.append("the last good result was changed")
        return faults
    if seed != new_seed:
        faults.append(f"a result of seed {seed}, neither {good_seed} nor {new_seed}")
    listed = json.loads((out / "run.json").read_text("utf-8"))["files"]
    if set(found) != {*listed, "run.json", "my notes.txt"}:
        faults.append("the new result is not whole")
    with sqlite3.connect(out / "campaign.gpkg") as database:
        if database.execute("PRAGMA integrity_check").fetchone() != ("ok",):
            faults.append("the GeoPackage is damaged")
    database.close()
    return faults


def kill_many(folder: Path, kills: int, seed: int) -> tuple[Counter[str], list[str]]:
    """Kill that many runs; count where they were, list what was wrong."""
    from geochem.campaign.publish import working_on

    random_moment = random.Random(seed)
    small.write_small_campaign(folder, seed=0)
    out = folder / "results"
    before = time.monotonic()
    assert start(folder).wait() == 0
    usual = time.monotonic() - before
    (out / "my notes.txt").write_text("mine", encoding="utf-8")
    good, good_seed = tree(out), 0
    counts: Counter[str] = Counter()
    faults: list[str] = []
    number = killed = 0
    while killed < kills:
        number += 1
        small.write_small_campaign(folder, seed=number)
        process = start(folder)
        sign, longest = MOMENTS[number % len(MOMENTS)]
        while sign and process.poll() is None and not list(folder.glob(sign)):
            time.sleep(0.001)
        time.sleep(random_moment.uniform(0, usual * longest))
        process.send_signal(signal.SIGKILL)
        # only a run that died of the signal was met alive
        in_time = process.wait() == -signal.SIGKILL
        killed += in_time
        left = sorted(
            {p.name.split("-")[0] for p in folder.iterdir() if p.name.startswith(".results")}
        )
        words = (
            f"killed; left: {', '.join(left) or 'nothing'}" if in_time else "ended before the kill"
        )
        counts[words] += 1
        with working_on(out, datetime(2026, 3, 20)):
            pass
        wrong = faults_of(out, good, good_seed, number)
        leftovers = [p.name for p in folder.iterdir() if p.name.startswith(".results")]
        faults += [f"kill {number}: {w}" for w in wrong]
        faults += [f"kill {number}: {n} was left" for n in leftovers]
        counts["new result stands" if seed_of(out) == number else "last good result stands"] += 1
        good, good_seed = tree(out), seed_of(out)
    return counts, faults


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=50)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="geochem_kill_") as name:
        counts, faults = kill_many(Path(name) / "campaign", given.kills, given.seed)
    for words, number in sorted(counts.items()):
        print(f"{number:4d}  {words}")
    for fault in faults:
        print(fault)
    print(f"{given.kills} runs killed, {len(faults)} damaged results")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
