"""The simulator itself: does the ground hold what was asked for, and how long does writing take?

    python tests/benchmarks/simulator.py --page page.png      # tables, times, a page of pictures
    python tests/benchmarks/simulator.py --quick              # without 100,000 samples

Asked and got: medians, spreads and correlations of one rock unit, and variograms along and across
strike, over many grounds; a Monte-Carlo error stands beside each. Times are of a fresh simulation
and of everything written, in this process.
"""

from __future__ import annotations

import argparse
import importlib
import importlib.util
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]


def load_simulator():
    """Load the simulator by its place."""
    folder = ROOT / "maps_demo" / "simulator"
    spec = importlib.util.spec_from_file_location(
        "geochem_demo_simulator", folder / "__init__.py", submodule_search_locations=[str(folder)]
    )
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


S = load_simulator()
ROCKS = importlib.import_module(f"{S.__name__}.rocks")
GROUND = importlib.import_module(f"{S.__name__}.ground")

ELEMENTS = ("V", "Cr", "Fe", "Ni", "Cu", "Zn", "As", "Zr", "Ba", "Pb")


def one_unit(seed):
    """Give a ground of one rock, without cover, bodies or traps."""
    settings = replace(
        S.BARREN, seed=seed, length=8000.0, width=6000.0, covers=(), intrusions=(),
        bands=(("greywacke", "one", 99_000.0),), elements=ELEMENTS,
        laboratory_elements=("K", "Rb", "Sr"),
    )  # fmt: skip
    return GROUND.make_ground(settings)


def asked_and_got(grounds=24, points=1500):
    """Compare medians, spreads, correlations and variograms with what was asked for."""
    rng = np.random.default_rng(0)
    logs, gammas = [], {"along": [], "across": []}
    lags = np.array([50.0, 100.0, 200.0, 400.0, 800.0, 1600.0, 3000.0])
    for seed in range(grounds):
        ground = one_unit(seed)
        along, across = rng.uniform(-3900, 3900, points), rng.uniform(-2900, 2900, points)
        dry = ground.scavenging(along, across) < 0.01
        values = ground.concentrations(along[dry], across[dry], rng)
        logs.append(np.log(values))
        for name, step in (("along", (1.0, 0.0)), ("across", (0.0, 1.0))):
            row = []
            for lag in lags:
                a = rng.uniform(-3900, 3900 - lag * step[0], 1500)
                b = rng.uniform(-2900, 2900 - lag * step[1], 1500)
                ok = (ground.scavenging(a, b) < 0.01) & (
                    ground.scavenging(a + lag * step[0], b + lag * step[1]) < 0.01
                )
                one = np.log(ground.concentrations(a[ok], b[ok], rng))
                two = np.log(
                    ground.concentrations(a[ok] + lag * step[0], b[ok] + lag * step[1], rng)
                )
                row.append(0.5 * np.mean((one - two) ** 2, axis=0))
            gammas[name].append(row)
    elements = ground.elements
    return elements, logs, lags, {k: np.array(v) for k, v in gammas.items()}


def asked_variogram(lags, name, cell=0.0):
    """Give the variogram asked for, as a share of the variance of one element.

    With a cell: of a field that is drawn on nodes so far apart and read between them, at lags that
    are whole cells. A linear reading at places at random between nodes weights products of
    neighbours by 1/6, 2/3, 1/6 on either axis, which smooths the shortest scale.
    """
    weights = ((-1, 1 / 6), (0, 2 / 3), (1, 1 / 6)) if cell else ((0, 1.0),)
    lags = np.concatenate([[0.0], lags])
    correlation = np.zeros(len(lags))
    for a, weight_a in weights:
        for b, weight_b in weights:
            along, across = a * cell, b * cell
            if name == "along":
                distance = np.hypot(lags + along, across / 0.55)
            else:
                distance = np.hypot(along, (lags + across) / 0.55)
            for reach, share in GROUND.SCALES:
                # exponential by its definition: correlation 5 % at the reach
                part = np.exp(-3 * distance / reach)
                correlation += weight_a * weight_b * share * part
    return GROUND.PLACE_SHARE + correlation[0] - correlation[1:]


def print_tables(elements, logs, lags, gammas):
    """Print asked beside got."""
    means = np.array([log.mean(axis=0) for log in logs])
    error = means.std(axis=0, ddof=1) / np.sqrt(len(logs))
    whole = np.vstack(logs)
    spread = np.array([ROCKS.SPREAD[e] for e in elements])
    print("one rock unit (greywacke): median [mg/kg] and spread of the natural logarithm")
    print(f"{'':4}{'asked':>10}{'got':>10}{'  error x':>8}{'asked':>9}{'got':>7}")
    for i, element in enumerate(elements):
        median = ROCKS.MEDIANS["greywacke"][element]
        got = np.exp(means[:, i].mean())
        print(
            f"{element:4}{median:10.4g}{got:10.4g}{np.exp(error[i]):8.3f}"
            f"{spread[i]:9.3f}{whole[:, i].std():7.3f}"
        )
    wanted = ROCKS.correlation_matrix(elements)
    got = np.corrcoef(whole, rowvar=False)
    upper = np.triu_indices(len(elements), 1)
    away = (got - wanted)[upper]
    print(
        f"\ncorrelations of {len(away)} pairs: mean difference {away.mean():+.3f}, "
        f"mean size {np.abs(away).mean():.3f}, largest {np.abs(away).max():.3f}"
    )
    print("\nvariogram, mean over elements, share of the variance asked for")
    print(f"{'lag [m]':>10}" + "".join(f"{lag:8.0f}" for lag in lags))
    for name, gamma in gammas.items():
        shares = (gamma / spread**2).mean(axis=2)
        print(f"{name:>10}")
        print(f"{'asked':>10}" + "".join(f"{v:8.3f}" for v in asked_variogram(lags, name)))
        between = asked_variogram(lags, name, 50.0)
        print(f"{'on nodes':>10}" + "".join(f"{v:8.3f}" for v in between))
        print(f"{'got':>10}" + "".join(f"{v:8.3f}" for v in shares.mean(axis=0)))
        mc = shares.std(axis=0, ddof=1) / np.sqrt(len(shares))
        print(f"{'error':>10}" + "".join(f"{v:8.3f}" for v in mc))


def timed(settings):
    """Simulate and write; give soils, seconds for each, megabytes."""
    with tempfile.TemporaryDirectory() as name:
        start = time.perf_counter()
        campaign = S.simulate(settings)
        middle = time.perf_counter()
        S.write_campaign(campaign, Path(name) / "c", truth=Path(name) / "truth.geojson")
        end = time.perf_counter()
        size = sum(p.stat().st_size for p in Path(name).rglob("*") if p.is_file()) / 1e6
    soils = len(S.sample_points(campaign)[0])
    print(
        f"{soils:8d} soils x {len(settings.elements)} elements: simulated in "
        f"{middle - start:5.1f} s, written in {end - middle:5.1f} s, {size:6.1f} MB"
    )


#: 301 lines of 331 stations
LARGE = replace(
    S.EIGHT_DEPOSITS, title="100,000 samples (invented)", length=60_000.0, width=33_000.0,
    days=200, second_day=replace(S.EIGHT_DEPOSITS).first_day.replace(year=2027),
)  # fmt: skip


def draw_page(path, elements, logs, lags, gammas):
    """Draw the ground, its samples, its traps and the comparison on one page."""
    import matplotlib as mpl

    mpl.use("Agg")
    import matplotlib.pyplot as plt
    from matplotlib.colors import LogNorm

    campaign = S.simulate(S.NAMED["reporting-eight-deposits"])
    ground, truth = campaign.ground, S.truth_frame(campaign)
    rows, easting, northing = S.sample_points(campaign)
    measured, below = S.measured_values(campaign)
    figure, axes = plt.subplots(4, 3, figsize=(15, 19), constrained_layout=True)
    axes = axes.ravel()
    names = sorted({u.name for u in ground.units})
    colours = dict(zip(names, plt.get_cmap("tab20").colors, strict=False))
    for unit in ground.units:
        if not unit.true.is_empty:
            for part in getattr(
                ground.shape_to_map(unit.true), "geoms", [ground.shape_to_map(unit.true)]
            ):
                axes[0].fill(*part.exterior.xy, color=colours[unit.name], lw=0)
    axes[0].set_title("true units; halos solid, false bodies dotted")
    here = campaign.collection.table.iloc[rows]
    along, across = here["along"].to_numpy(float), here["across"].to_numpy(float)
    axes[1].scatter(easting, northing, c=ground.height(along, across), s=3, cmap="terrain")
    axes[1].set_title("height [m], streams")
    for line in importlib.import_module(f"{S.__name__}.ground").mapped_streams(ground):
        axes[1].plot(*line.xy, color="tab:blue", lw=0.7)
    axes[2].scatter(easting, northing, c=ground.organic(along, across), s=3, cmap="YlGn")
    axes[2].set_title("organic matter")
    for axis, element in zip(axes[3:8], ("Cu", "As", "Ni", "Zn", "Mn"), strict=True):
        column = campaign.settings.elements.index(element)
        low, high = np.percentile(measured[:, column], [2, 99.5])
        shown = axis.scatter(
            easting, northing, c=measured[:, column], s=3, cmap="viridis", norm=LogNorm(low, high)
        )
        figure.colorbar(shown, ax=axis, shrink=0.6)
        axis.set_title(f"{element}, portable XRF [mg/kg]; {below[:, column].mean():.0%} below")
    column = campaign.settings.elements.index("Cu")
    true = S.noise_free_values(campaign)[:, column]
    axes[8].loglog(true, measured[:, column], ",", color="tab:gray")
    axes[8].plot([8, 400], [8, 400], lw=0.8, color="k")
    axes[8].set(title="Cu: measured against true", xlabel="true [mg/kg]", ylabel="read [mg/kg]")
    for name, style in (("along", "-"), ("across", "--")):
        spread = np.array([ROCKS.SPREAD[e] for e in elements])
        fine = np.geomspace(30, 3000, 60)
        axes[9].semilogx(fine, asked_variogram(fine, name), style, color="k", lw=0.9)
        whole = np.arange(50.0, 3001.0, 50.0)
        axes[9].semilogx(whole, asked_variogram(whole, name, 50.0), style, color="tab:red", lw=0.9)
        axes[9].semilogx(
            lags, (gammas[name] / spread**2).mean(axis=(0, 2)), "o", label=f"got, {name}"
        )
    axes[9].set(
        title="variogram: asked (black), on nodes (red), got", xlabel="lag [m]", ylim=(0, 1.1)
    )
    axes[9].legend()
    wanted = ROCKS.correlation_matrix(elements)
    got = np.corrcoef(np.vstack(logs), rowvar=False)
    upper = np.triu_indices(len(elements), 1)
    axes[10].plot(wanted[upper], got[upper], "o", ms=3)
    axes[10].plot([-0.5, 1], [-0.5, 1], lw=0.8, color="k")
    axes[10].set(title="correlations in one unit", xlabel="asked", ylabel="got")
    readings = campaign.readings.table
    of = (readings["standard"] == "VAR-M").to_numpy()
    for serial, group in readings[of].groupby("instrument"):
        axes[11].plot(
            group["day"], campaign.readings.value[group.index, column], ".", label=serial
        )
    axes[11].axhline(265, lw=0.8, color="k")
    axes[11].set(title="Cu in standard VAR-M by day [mg/kg]", xlabel="day")
    axes[11].legend()
    for axis in axes[:8]:
        axis.set_aspect("equal")
        axis.ticklabel_format(style="plain", useOffset=False)
        axis.tick_params(labelsize=6)
        for kind, style in (("mineralisation", "-"), ("false body", ":")):
            for shape in truth.loc[truth["kind"] == kind, "geometry"]:
                for part in getattr(shape, "geoms", [shape]):
                    axis.plot(*part.exterior.xy, style, color="crimson", lw=0.9)
    figure.suptitle("Simulated ground (all invented): reporting-eight-deposits", fontsize=13)
    figure.savefig(path, dpi=70)


def main() -> None:
    """Compare, time, draw."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--page", type=Path, help="write a page of pictures")
    parser.add_argument("--quick", action="store_true", help="no 100,000 samples")
    given = parser.parse_args()
    results = asked_and_got()
    print_tables(*results)
    print()
    timed(S.EIGHT_DEPOSITS)
    timed(S.NAMED["reporting-eight-deposits"])
    if not given.quick:
        timed(LARGE)
    if given.page:
        draw_page(given.page, *results)


if __name__ == "__main__":
    main()
