"""Robust centre and covariance beside scikit-learn's: seconds, determinant and flags in one run.

    python tests/benchmarks/mcd.py              # 10,000 and 100,000 rows, 29 coordinates
    python tests/benchmarks/mcd.py 5000 29      # rows, coordinates

The data are normal with one row in ten moved away. Both take the same share of rows.
"""

from __future__ import annotations

import os
import sys
import time

os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np


def spoiled(n: int, p: int, seed: int = 0) -> np.ndarray:
    """Make n rows of p correlated coordinates, a tenth of them moved away."""
    rng = np.random.default_rng(seed)
    x = rng.standard_normal((n, p)) @ rng.standard_normal((p, p))
    x[: n // 10] += 6.0 * rng.standard_normal(p)
    return x


def compare(n: int, p: int) -> None:
    """Measure and print one size."""
    from sklearn.covariance import MinCovDet

    from geochem.stats.mcd import mcd

    x = spoiled(n, p)
    start, cpu = time.perf_counter(), time.process_time()
    own = mcd(x)
    own_wall, own_cpu = time.perf_counter() - start, time.process_time() - cpu
    start, cpu = time.perf_counter(), time.process_time()
    other = MinCovDet(support_fraction=own.h / n, random_state=0).fit(x)
    wall, used = time.perf_counter() - start, time.process_time() - cpu
    determinant = np.linalg.slogdet(np.cov(x[other.raw_support_], rowvar=False))[1]
    flags = own.distance > own.cut
    same = (flags == (np.sqrt(other.mahalanobis(x)) > own.cut)).mean()
    # scikit-learn's distances lack the consistency factor of the reweighted covariance
    scaled = np.sqrt(other.mahalanobis(x) * np.median(own.distance**2)
                     / np.median(other.mahalanobis(x)))  # fmt: skip
    alike = (flags == (scaled > own.cut)).mean()
    print(
        f"{n} x {p}: own {own_wall:.2f} s wall {own_cpu:.2f} s CPU, scikit-learn {wall:.2f} s "
        f"{used:.2f} s, ratio {used / own_cpu:.1f} (CPU); log-determinant own minus "
        f"theirs {own.log_determinant - determinant:+.4f}; same flag {100 * same:.2f} %, with "
        f"their distances scaled alike {100 * alike:.2f} %; flagged {100 * flags.mean():.2f} %"
    )


if __name__ == "__main__":
    if len(sys.argv) > 1:
        compare(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 29)
    else:
        compare(10_000, 29)
        compare(100_000, 29)
