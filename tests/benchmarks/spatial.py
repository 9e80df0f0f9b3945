"""Speed of local statistics, and what the search for targets costs.

    python tests/benchmarks/spatial.py            # Gi* of 100,000 samples x 30 elements, esda beside
    python tests/benchmarks/spatial.py 20000 6    # fewer

esda (a general library of spatial statistics) is timed on one element and 999 permutations as it
comes, and on fewer samples; the time is then scaled to all samples and elements.
"""

from __future__ import annotations

import sys
import time
import warnings

import numpy as np


def best_of(work, repeats=3):
    """Give the shortest time of some repeats, in seconds."""
    times = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def main() -> None:
    """Time both and compare the numbers."""
    from geochem.stats import neighbours
    from geochem.stats.local_statistics import getis_ord_gi_star

    n = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    m = int(sys.argv[2]) if len(sys.argv) > 2 else 30
    rng = np.random.default_rng(1)
    xy = rng.uniform(0, 1000 * np.sqrt(n), (n, 2))
    values = rng.lognormal(size=(n, m))
    graph = neighbours.nearest(xy, 8, include_self=True)
    seconds = best_of(lambda: getis_ord_gi_star(values, graph))
    print(f"Gi* of {n} samples x {m} elements: {seconds:.3f} s")
    warnings.filterwarnings("ignore")
    from esda.getisord import G_Local
    from libpysal.weights import KNN, fill_diagonal

    part = min(n, 5000)
    weights = fill_diagonal(KNN(xy[:part], k=8), 1.0)
    start = time.process_time()
    theirs = G_Local(values[:part, 0], weights, star=True, transform="B", permutations=0)
    plain = (time.process_time() - start) * n / part * m
    start = time.process_time()
    G_Local(values[:part, 0], weights, star=True, transform="B", permutations=999, n_jobs=1)
    permuted = (time.process_time() - start) * n / part * m
    small = getis_ord_gi_star(
        values[:part, 0], neighbours.nearest(xy[:part], 8, include_self=True)
    )
    apart = float(np.abs(small - theirs.Zs).max())
    print(f"esda, analytic: {plain:.1f} s, {plain / seconds:.0f} times as long")
    print(f"esda, 999 permutations: {permuted:.1f} s, {permuted / seconds:.0f} times as long")
    print(f"largest difference of z: {apart:.1e}")


if __name__ == "__main__":
    main()
