"""The checks that are no tests: format, lint, types, import rule, docstrings, doctests, notebooks.

`python .ci/check.py` runs all and prints one line each; `--fast` leaves out the slower ones.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
BIN = Path(sys.executable).parent

TYPED = [
    "geochem",
]
DOCTESTS = ["geochem"]

CHECKS: list[tuple[str, list[str], bool]] = [
    ("format", [str(BIN / "ruff"), "format", "--check", "."], True),
    ("lint", [str(BIN / "ruff"), "check", "."], True),
    ("imports", [str(BIN / "lint-imports"), "--no-cache"], True),
    ("types", [str(BIN / "mypy"), *TYPED], True),
    ("docstrings", [sys.executable, ".ci/docstrings.py"], True),
    (
        "doctests",
        [
            str(BIN / "pytest"), "-q", "--doctest-modules", "-p", "no:cacheprovider",
            "--pyargs", *DOCTESTS,
        ],
        True,
    ),
    (
        "notebooks",
        [str(BIN / "pytest"), "-q", "--nbmake", "-m", "", "--nbmake-timeout=600", "notebooks"],
        False,
    ),
]  # fmt: skip


def main() -> int:
    """Run the checks; 0 when all pass."""
    fast = "--fast" in sys.argv
    failed = []
    for name, command, quick in CHECKS:
        if fast and not quick:
            continue
        start = time.perf_counter()
        done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
        ok = done.returncode == 0
        print(
            f"{name:10} {time.perf_counter() - start:6.1f} s  {'ok' if ok else 'FAILED'}",
            flush=True,
        )
        if not ok:
            failed.append(name)
            print(done.stdout[-6000:], done.stderr[-3000:], "repeat with:", " ".join(command))
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
