"""Seconds and memory of a command with all its processes, from /proc (Linux)."""

from __future__ import annotations

import resource
import subprocess
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Measured:
    """What a command took.

    Parameters
    ----------
    seconds, cpu : float
        By the clock; of all processors together. [s]
    largest, together : float
        Peak memory of the largest process; of all at one time, pages that several share counted
        once. [GiB]
    """

    seconds: float
    cpu: float
    largest: float
    together: float


def measured(command: list[str]) -> Measured:
    """Run a command to its end, look at its processes three times a second.

    Raises
    ------
    subprocess.CalledProcessError
        If it fails.
    """
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    start = time.perf_counter()
    largest = together = 0.0
    with tempfile.TemporaryFile() as output:
        process = subprocess.Popen(command, stdout=output, stderr=subprocess.STDOUT)
        while process.poll() is None:
            found = [_memory(pid) for pid in _tree(process.pid)]
            largest = max([largest, *(own for own, _ in found)])
            together = max(together, sum(share for _, share in found))
            time.sleep(0.3)
        output.seek(0)
        said = output.read()
    seconds = time.perf_counter() - start
    if process.returncode:
        raise subprocess.CalledProcessError(process.returncode, command, said)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Measured(seconds, cpu, largest, together)


def _tree(pid: int) -> list[int]:
    found = [pid]
    try:
        for task in Path(f"/proc/{pid}/task").iterdir():
            for child in (task / "children").read_text("ascii").split():
                found += _tree(int(child))
    except OSError:  # it has just ended
        pass
    return found


def _memory(pid: int) -> tuple[float, float]:
    """Give resident memory, and the share of it where pages are shared. [GiB]"""
    sizes = {"Rss": 0.0, "Pss": 0.0}
    try:
        for line in Path(f"/proc/{pid}/smaps_rollup").read_text("ascii").splitlines():
            name = line.split(":")[0]
            if name in sizes:
                sizes[name] = int(line.split()[1]) / 2**20
    except OSError:
        pass
    return sizes["Rss"], sizes["Pss"]
