"""What is found of planted truth: the tool, a glued baseline and an informed filter, same scores.

    python tests/benchmarks/recovery.py                                   # yardsticks, 20 seeds
    python tests/benchmarks/recovery.py --tool 3                          # and the tool on 3 seeds
    python tests/benchmarks/recovery.py --settings reporting-barren --seeds 5 --tool 5
    python tests/benchmarks/recovery.py --tool 3 --told                   # the tool knows what was planted
    python tests/benchmarks/recovery.py --json out.json                   # every campaign's scores

Tune on settings called ``tuning-...``; claims come from ``reporting-...`` alone. Every mean stands
with its Monte-Carlo error (standard error over campaigns). The tool takes some 20 s per campaign.

Two bounds say what could be found at all. The filter of exact powders has, instead of readings,
what the powder truly holds of every element that the instrument sees in at least half of the
samples. The tool that is told has the planted signatures in the place of its presets: what it
finds more is the price of not knowing them.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import sys
import tempfile
import time
from dataclasses import replace
from datetime import datetime
from itertools import pairwise
from pathlib import Path

import numpy as np
import shapely

ROOT = Path(__file__).resolve().parents[2]


def load(name: str, path: Path):
    """Load a package or module by its place."""
    folder = [str(path.parent)] if path.name == "__init__.py" else None
    spec = importlib.util.spec_from_file_location(name, path, submodule_search_locations=folder)
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


SIMULATOR = load("geochem_demo_simulator", ROOT / "maps_demo" / "simulator" / "__init__.py")
SCORING = load("simulation_scoring", ROOT / "tests" / "simulation" / "scoring.py")
YARDSTICKS = load("simulation_yardsticks", ROOT / "tests" / "simulation" / "yardsticks.py")

#: what the tool has to do until targets are known
STEPS = (
    "read", "join", "judge", "accept", "level", "indices", "compose", "background", "anomalies",
    "catchments", "targets",
)  # fmt: skip


def yardstick_outlines(campaign):
    """Give the outlines of each yardstick by name."""
    _, easting, northing = SIMULATOR.sample_points(campaign)
    value, below = SIMULATOR.measured_values(campaign)
    noise_free = SIMULATOR.noise_free_values(campaign)
    elements = campaign.settings.elements
    return {
        "glued baseline": YARDSTICKS.baseline(easting, northing, value, elements),
        "filter, measured": YARDSTICKS.informed_filter(SIMULATOR, campaign, value),
        "filter, exact powders": YARDSTICKS.informed_filter(
            SIMULATOR, campaign, exact_powders(campaign, below)
        ),
        "filter, noise-free": YARDSTICKS.informed_filter(SIMULATOR, campaign, noise_free),
    }


def exact_powders(campaign, below):
    """Give what the powders hold of the elements mostly seen; the others are one, so they drop out."""
    rows = SIMULATOR.sample_points(campaign)[0]
    columns = [campaign.ground.elements.index(e) for e in campaign.settings.elements]
    return np.where(below.mean(axis=0) > 0.5, 1.0, campaign.collection.pulp[np.ix_(rows, columns)])


def planted_signatures(campaign):
    """Write the planted associations as a file that takes the place of the presets."""
    rises = {}
    for body in campaign.settings.bodies:
        zones = SIMULATOR.ASSOCIATIONS[body.association].zones
        rises[body.association.replace("-", "_")] = {
            e: float(np.log1p((z.contrast - 1) * 0.5 * body.strength)) for e, z in zones.items()
        }
    return "\n".join(
        f"[[association]]\nname = '{name}'\nweights = {{ "
        + ", ".join(f"{e} = {w:.4f}" for e, w in weights.items() if w)
        + " }\n"
        for name, weights in rises.items()
    )


def sample_points(campaign):
    """Give the routine soils as points."""
    return shapely.points(*SIMULATOR.sample_points(campaign)[1:])


def run_tool(campaign, *, told=False):
    """Write the campaign, and run the tool on the files; give its records by name."""
    from geochem.campaign.operations import OPERATIONS, carry_out
    from geochem.campaign.settings import read_campaign

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "campaign"
        SIMULATOR.write_campaign(campaign, folder)
        if told:
            (folder / "planted.toml").write_text(planted_signatures(campaign), "utf-8")
            file = folder / "campaign.toml"
            text = file.read_text("utf-8")
            assert text.count("[targets]\n") == 1
            file.write_text(text.replace("[targets]\n", '[targets]\npresets = "planted.toml"\n'))
        state = {"until": None, "clock": datetime(2026, 9, 1)}
        chosen = [o for o in OPERATIONS if o.name in STEPS]
        carry_out(
            state, read_campaign(folder), chosen,
            keep=("targets", "quality", "survey", "evidence"),
        )  # fmt: skip
    return state


def tool_scores(campaign, truth, state):
    """Score outlines, probabilities, intervals and verdicts of the tool."""
    report, quality = state["targets"], state["quality"]
    targets = report.targets.sort_values("rank")
    area, points = SIMULATOR.surveyed_area(campaign), sample_points(campaign)
    scores = SCORING.score_outlines(targets, truth, area, points=points)
    probability = targets["probability"].to_numpy(float)[:10]
    happened = np.array([bool(f) for f in SCORING.hits(targets, truth)], dtype=bool)
    real = np.array(SCORING.on_something(targets, truth), dtype=bool)
    known = np.isfinite(probability)
    scores["brier_deposit"] = SCORING.brier(probability[known], happened[known])
    scores["brier_anything_planted"] = SCORING.brier(probability[known], real[known])
    scores |= quality_scores(campaign, quality) | error_scores(campaign, state["survey"])
    pairs = np.column_stack([probability, happened, real])[known].tolist()
    scores["rank_interval_coverage"] = rank_coverage(campaign, truth, targets)
    scores["any_above_0.9"] = float((probability[known] > 0.9).any())
    return scores, pairs


def place_scores(truth, state):
    """Set the probability of every place beside what was planted there.

    A halo dies out toward its edge: nothing can be seen there, so the truth of a place lies between
    "in the core of a mineralised body" and "anywhere in its halo".
    """
    import pandas as pd

    places, samples = state["targets"].places, state["survey"].samples
    at = pd.Index(samples["sample_id"]).get_indexer(pd.Index(places["sample_id"]))
    points = samples.geometry.to_numpy()[at]
    bodies = truth.loc[truth["kind"] == "mineralisation"]
    core, halo, anything = (
        shapely.intersects(shapely.union_all(list(shapes)), points)
        for shapes in (bodies["core"], bodies["geometry"], truth["geometry"])
    )
    out = places["stands_out"].to_numpy(bool)
    nan = float("nan")
    scores = {
        "places_out": int(out.sum()),
        "places_out_in_no_halo": float((~halo[out]).mean()) if out.any() else nan,
        "places_out_on_nothing": float((~anything[out]).mean()) if out.any() else nan,
        "any_place_out": float(out.any()),
    }
    return scores, np.column_stack([places["probability"].to_numpy(float), core, halo, anything])


def place_table(every):
    """Print what was said of places and what came."""
    edges = (0.0, 0.02, 0.1, 0.3, 0.5, 0.8, 0.95, 1.0001)
    print("   probability      places   said   core   halo   anything planted")
    for low, high in pairwise(edges):
        mine = every[(every[:, 0] >= low) & (every[:, 0] < high)]
        if len(mine):
            said, core, halo, anything = mine.mean(axis=0)
            print(
                f"   {low:4.2f} to {min(high, 1.0):4.2f} {len(mine):9d}"
                f"   {said:.3f}  {core:.3f}  {halo:.3f}  {anything:.3f}"
            )


def rank_coverage(campaign, truth, targets, first=10):
    """Say how many rank intervals hold the rank that the planted rise would give.

    The truth of a target is the sum of squared log rises that its body has in the soil, less what
    cover hides; a target that found no body has none, and may stand anywhere below those.
    """
    top = targets.iloc[:first]
    bodies = {b.name: b for b in campaign.settings.bodies}
    covered = dict(zip(truth["name"], truth["covered"], strict=True))
    true = []
    for found in SCORING.hits(top, truth):
        rises = [0.0]
        for name in found:
            body = bodies[name]
            left = 0.4 if covered[name] else 1.0
            zones = SIMULATOR.ASSOCIATIONS[body.association].zones
            rises.append(
                sum(
                    np.log1p((zone.contrast - 1) * body.strength * left) ** 2
                    for element, zone in zones.items()
                    if element in campaign.settings.elements
                )
            )
        true.append(max(rises))
    value = np.array(true)
    best = 1 + (value[None, :] > value[:, None]).sum(axis=1)
    worst = (value[None, :] >= value[:, None]).sum(axis=1)
    low, high = top["rank_low"].to_numpy(float), top["rank_high"].to_numpy(float)
    inside = (low <= worst) & (high >= best)
    return float(inside.mean()) if len(inside) else float("nan")


def quality_scores(campaign, quality):
    """Score the verdicts on XRF batches, and the intervals of the instruments' bias."""
    spoilt = SIMULATOR.spoilt_batches(campaign)
    verdicts = quality.verdicts
    xrf = verdicts[(verdicts["source"] == "pxrf") & verdicts["batch"].notna()]
    wrong = set(zip(spoilt["batch"], spoilt["element"], strict=True))
    truly = [pair in wrong for pair in zip(xrf["batch"], xrf["element"], strict=True)]
    failed = SCORING.alarm_rates(xrf["verdict"] == "fail", truly)
    spoke = SCORING.alarm_rates(xrf["verdict"] != "pass", truly)
    bias = quality.bias
    of = {i.serial: i for i in campaign.readings.instruments}
    bias = bias[bias["instrument"].isin(list(of)) & bias["low_pct"].notna()]
    true = []
    for row in bias.itertuples():
        if row.element not in campaign.settings.elements:
            true.append(np.nan)
            continue
        column = campaign.settings.elements.index(row.element)
        instrument = of[row.instrument]
        true.append(
            100 * (instrument.gain[column] - 1 + instrument.offset[column] / row.certified)
        )
    return {
        "batch_fail_detection": failed["detection"],
        "batch_fail_false_alarm": failed["false_alarm"],
        "batch_warn_detection": spoke["detection"],
        "batch_warn_false_alarm": spoke["false_alarm"],
        "bias_interval_coverage": SCORING.coverage(bias["low_pct"], bias["high_pct"], true),
    }


def error_scores(campaign, survey):
    """Say how often accepted value +- 2 errors holds what the powder truly holds."""
    table, ground = campaign.collection.table, campaign.ground
    row_of = {name: row for row, name in enumerate(table["sample_id"])}
    samples = survey.samples[survey.samples["medium"] == "soil"]
    rows = np.array([row_of.get(name, -1) for name in samples["sample_id"]])
    lows, highs, trues = [], [], []
    for element in campaign.settings.elements:
        if f"{element}_ppm" not in samples:
            continue
        known = (rows >= 0) & ~samples[f"{element}_ppm_below"].to_numpy(bool)
        value = samples[f"{element}_ppm"].to_numpy(float)[known]
        error = samples[f"{element}_ppm_err"].to_numpy(float)[known]
        lows.append(value - 2 * error)
        highs.append(value + 2 * error)
        trues.append(campaign.collection.pulp[rows[known], ground.elements.index(element)])
    return {
        "error_interval_coverage": SCORING.coverage(
            np.concatenate(lows), np.concatenate(highs), np.concatenate(trues)
        )
    }


def main() -> None:
    """Simulate, find, score, print one table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument(
        "--settings", nargs="+", choices=sorted(SIMULATOR.NAMED),
        default=["tuning-eight-deposits", "reporting-eight-deposits"],
    )  # fmt: skip
    parser.add_argument("--seeds", type=int, default=20, help="campaigns per settings")
    parser.add_argument("--first-seed", type=int, default=1000)
    parser.add_argument("--tool", type=int, default=0, help="seeds the tool is run on")
    parser.add_argument("--told", action="store_true", help="it knows the planted signatures")
    parser.add_argument("--json", type=Path, help="write the scores of every campaign")
    given = parser.parse_args()
    rows, said, places = [], [], []
    for name in given.settings:
        for number in range(max(given.seeds, given.tool)):
            seed = given.first_seed + number
            campaign = SIMULATOR.simulate(replace(SIMULATOR.NAMED[name], seed=seed))
            truth, area = SIMULATOR.truth_frame(campaign), SIMULATOR.surveyed_area(campaign)
            points = sample_points(campaign)
            label = {"settings": name, "seed": seed}
            if number < given.seeds:
                for method, outlines in yardstick_outlines(campaign).items():
                    scores = SCORING.score_outlines(outlines, truth, area, points=points)
                    rows.append({**label, "method": method, **scores})
            if number < given.tool:
                start = time.perf_counter()
                state = run_tool(campaign, told=given.told)
                scores, pairs = tool_scores(campaign, truth, state)
                of_places, every = place_scores(truth, state)
                scores |= of_places
                places.append((name, every))
                method = "tool, told" if given.told else "tool"
                rows.append({**label, "method": method, **scores})
                said += [(name, *pair) for pair in pairs]
                print(
                    f"{name} {seed}: tool recall {scores['recall']:.2f}, "
                    f"{scores['area_km2']:.1f} km2, {time.perf_counter() - start:.0f} s",
                    file=sys.stderr, flush=True,
                )  # fmt: skip
    print(SCORING.as_text(SCORING.summarise(rows)))
    for name in given.settings:
        pairs = np.array([pair for n, *pair in said if n == name])
        for column, what in ((1, "a mineralised body"), (2, "anything planted")):
            if len(pairs):
                print(f"\nreliability of the tool's probabilities, {name}: {what} was there")
                table = SCORING.reliability(pairs[:, 0], pairs[:, column])
                print(table.round(2).to_string(index=False))
        own = [every for n, every in places if n == name]
        if own:
            print(f"\nprobability of every place, {name}: share of places that lie in ...")
            place_table(np.concatenate(own))
    if given.json:
        classes = [
            (name, *row)
            for name, every in places
            for row in np.round(every, 3)[every[:, 0] >= 0.02].tolist()
        ]
        given.json.write_text(
            json.dumps({"rows": rows, "said": said, "places": classes}, default=float), "utf-8"
        )


if __name__ == "__main__":
    main()
