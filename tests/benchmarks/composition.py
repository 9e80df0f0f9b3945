"""Log-ratio coordinates and replacement below detection against general libraries, in one run.

    python tests/benchmarks/composition.py                # 1 M x 30 and 100 k x 30
    python tests/benchmarks/composition.py --quick        # a tenth of it

Times are the best of three, in one process; agreement stands beside them.
"""

from __future__ import annotations

import argparse
import time
import warnings

import numpy as np


def best(function, times=3):
    """Give the shortest time [s] and the last answer."""
    least, answer = np.inf, None
    for _ in range(times):
        start = time.perf_counter()
        answer = function()
        least = min(least, time.perf_counter() - start)
    return least, answer


def coordinates(n, p=30):
    """Compare ilr with scikit-bio: same basis."""
    from skbio.stats.composition import ilr as reference

    from geochem.composition import ilr, pivot_basis

    x = np.random.default_rng(0).lognormal(size=(n, p))
    basis = pivot_basis(p)
    # in turns, so that both see the same machine
    ours, theirs = np.inf, np.inf
    for _ in range(5):
        spent, a = best(lambda: ilr(x), 1)
        ours = min(ours, spent)
        spent, b = best(lambda: reference(x, basis=basis, validate=False), 1)
        theirs = min(theirs, spent)
    print(
        f"ilr {n} x {p}: scikit-bio {theirs:.3f} s, geochem {ours:.3f} s, ratio "
        f"{theirs / ours:.2f}; largest difference {np.abs(a - b).max():.1e}"
    )


def replacement(n, p=30):
    """Compare replacement below detection with scikit-learn's iterative imputation."""
    from sklearn.experimental import enable_iterative_imputer  # noqa: F401
    from sklearn.impute import IterativeImputer

    from geochem.composition import replace_below

    rng = np.random.default_rng(1)
    common = rng.standard_normal((n, 4)) @ rng.normal(0, 0.6, (4, p))
    log = common + 0.5 * rng.standard_normal((n, p))
    limit = np.quantile(log[:, :10], np.linspace(0.05, 0.3, 10), axis=0).diagonal()
    below = np.zeros((n, p), dtype=bool)
    below[:, :10] = log[:, :10] < limit
    seen = log.copy()
    seen[:, :10] = np.where(below[:, :10], limit, log[:, :10])
    values = np.exp(seen)
    ours, done = best(lambda: replace_below(values, below))
    several, drawn = best(lambda: replace_below(values, below, draws=5), 1)
    missing = np.where(below, np.nan, seen)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs, other = best(
            lambda: IterativeImputer(max_iter=10, random_state=0).fit_transform(missing), 1
        )

    def miss(z):
        return float(np.sqrt(np.mean((z - log)[below] ** 2)))

    print(
        f"replacement {n} x {p}, {100 * below.mean():.0f} % below: IterativeImputer {theirs:.2f} s, "
        f"RMSE {miss(other):.3f}, {100 * (other > seen)[below].mean():.0f} % above their limit; "
        f"geochem {ours:.2f} s, RMSE {miss(np.log(done.values)):.3f}, "
        f"{int((done.values > values)[below].sum())} above; ratio {theirs / ours:.0f}; "
        f"with five draws {several:.2f} s, {int((drawn.draws > values[below]).sum())} above"
    )


def main() -> None:
    """Print one line per comparison."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true")
    given = parser.parse_args()
    share = 10 if given.quick else 1
    coordinates(1_000_000 // share)
    replacement(100_000 // share)


if __name__ == "__main__":
    main()
