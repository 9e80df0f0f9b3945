"""A small simulated campaign with known faults, for the tests of quality control."""

import numpy as np
import pandas as pd
import pytest

from geochem.model import tables
from geochem.model.survey import Survey

# element: (median in soil, log10 SD, detection limit, relative SD of one reading, constant bias)
GROUND = {
    "Cu": (40.0, 0.25, 8.0, 0.05, 1.10),
    "Zn": (70.0, 0.22, 6.0, 0.05, 0.95),
    "Pb": (25.0, 0.25, 5.0, 0.06, 1.05),
    "As": (12.0, 0.30, 4.0, 0.08, 1.20),
    "Fe": (35000.0, 0.12, 100.0, 0.02, 1.05),
    "Mn": (800.0, 0.25, 50.0, 0.04, 0.90),
    "Ni": (30.0, 0.20, 10.0, 0.08, 1.40),
    "Sn": (3.0, 0.20, 15.0, 0.20, 1.00),
}
CERTIFIED = {
    "STD-A": {"Cu": 120, "Zn": 150, "Pb": 60, "As": 40, "Fe": 30000, "Mn": 700, "Ni": 90, "Sn": 4},
    "STD-B": {"Cu": 900, "Zn": 700, "Pb": 400, "As": 200, "Fe": 50000, "Mn": 1500, "Ni": 250, "Sn": 30},
}  # fmt: skip


def standards_table(**columns) -> pd.DataFrame:
    rows = [
        {"standard": s, "element": e, "certified": float(v), "sd": 0.04 * v, "unit_given": "ppm",
         "digestion": "total", "kind_of_sd": "between laboratories", **columns}
        for s, values in CERTIFIED.items()
        for e, v in values.items()
    ]  # fmt: skip
    return tables.conform(pd.DataFrame(rows), tables.STANDARDS)


def simulate(
    seed=1, *, days=6, per_day=40, elements=None, gains=None, blank_excess=None, lab_every=8,
    lab_digestion="total", lab_gains=None, standards_per_day=2, controls=True, prep=True,
    day_sd=0.01,
):  # fmt: skip
    """Make a survey; `gains` is {(day, element): factor}, `lab_gains` {(job, element): factor}."""
    rng = np.random.default_rng(seed)
    ground = elements or GROUND
    names = list(ground)
    median, log_sd, limit, rsd, bias = (
        np.array(v, dtype=float) for v in zip(*ground.values(), strict=True)
    )
    shots = []  # (sample_id, role, parent, standard, true values, day, minute)
    samples = []
    for day in range(days):
        minute = 0
        for i in range(per_day):
            sid = f"S{day:03d}-{i:04d}"
            true = 10 ** (np.log10(median) + log_sd * rng.standard_normal(len(names)))
            samples.append((sid, true, day))
            shots.append((sid, "routine", None, None, true, day, minute))
            minute += 2
            if not controls:
                continue
            step = max(per_day // standards_per_day, 1)
            if i % step == step // 2:
                for s, values in CERTIFIED.items():
                    value = np.array([values.get(e, 100.0) for e in names], dtype=float)
                    shots.append((f"{sid}-{s}", "standard", None, s, value, day, minute))
                    minute += 2
            if i % 20 == 10:
                excess = np.array([(blank_excess or {}).get((day, e), 0.0) for e in names])
                shots.append(
                    (
                        f"{sid}-BK",
                        "coarse_blank",
                        None,
                        "QUARTZ",
                        0.1 * limit + excess,
                        day,
                        minute,
                    )
                )
                again = true * 10 ** (0.06 * rng.standard_normal(len(names)))
                shots.append((f"{sid}-FD", "field_duplicate", sid, None, again, day, minute + 2))
                shots.append((f"{sid}-PD", "pulp_duplicate", sid, None, true, day, minute + 4))
                minute += 6
    truth = np.array([s[4] for s in shots])
    days_of = np.array([s[5] for s in shots])
    gain = np.array([[(gains or {}).get((d, e), 1.0) for e in names] for d in range(days)])
    gain = gain * (1 + day_sd * rng.standard_normal(gain.shape))
    scale = bias * gain[days_of]
    noise = 1 + rsd * rng.standard_normal(truth.shape)
    read = truth * scale * noise + 0.15 * limit * rng.standard_normal(truth.shape)
    start = pd.Timestamp("2026-03-01 07:00")
    times = [start + pd.Timedelta(days=s[5], minutes=s[6]) for s in shots]
    xrf = _long(shots, names, read, limit, times, "xrf", "pxrf", "X1", "soil",
                [f"X1-{t:%Y-%m-%d}" for t in times], None, 0.5 * rsd)  # fmt: skip
    lab_shots, lab_truth = [], []
    for n, (sid, true, day) in enumerate(samples):
        if lab_every and n % lab_every == 0:
            lab_shots.append((sid, "routine", None, None, true, day // 2, n))
            lab_truth.append(true)
            if controls and n % (lab_every * 5) == 0:
                for s, values in CERTIFIED.items():
                    value = np.array([values.get(e, 100.0) for e in names], dtype=float)
                    lab_shots.append((f"L{n}-{s}", "standard", None, s, value, day // 2, n))
                    lab_truth.append(value)
    parts = [xrf]
    if lab_shots:
        lab_read = np.array(lab_truth) * (
            1 + 0.03 * rng.standard_normal((len(lab_shots), len(names)))
        )
        jobs = np.array([s[5] for s in lab_shots])
        for (job, e), g in (lab_gains or {}).items():
            lab_read[jobs == job, names.index(e)] *= g
        lab = _long(lab_shots, names, lab_read, 0.1 * limit, [pd.NaT] * len(lab_shots), "lab_4a",
                    "laboratory", None, None, [f"JOB{s[5]:02d}" for s in lab_shots], lab_digestion,
                    None)  # fmt: skip
        lab["date_received"] = pd.Timestamp("2026-04-01")
        parts.append(lab)
    everything = pd.concat(parts, ignore_index=True)
    results = tables.conform(everything, tables.RESULTS)
    is_control = (everything["role"] != "routine").to_numpy()
    control = everything[is_control].assign(prep_batch=None, prep_order=np.nan)
    wide = pd.DataFrame(
        {"sample_id": [s[0] for s in samples], "medium": "soil", "prep_batch": "P1",
         "prep_order": np.arange(len(samples)) if prep else np.nan}
    )  # fmt: skip
    order = dict(zip(wide["sample_id"], wide["prep_order"], strict=True))
    parents = control["sample_id"].str.slice(0, 9)
    control["prep_batch"] = "P1"
    control["prep_order"] = parents.map(order).astype(float) + 0.5
    columns = {}
    for assay, part in results[~is_control].groupby("assay"):
        for e in names:
            one = part[part["element"] == e].set_index("sample_id")
            one = one.reindex(wide["sample_id"])
            col = f"{e}_ppm__{assay}"
            columns[col] = one["value"].to_numpy()
            for flag in ("below", "above"):
                columns[f"{col}_{flag}"] = one[flag].fillna(False).to_numpy(dtype=bool)
            columns[f"{col}_err"] = one["err"].to_numpy()
    wide = pd.concat([wide, pd.DataFrame(columns)], axis=1)
    analytes = (
        results[~is_control].groupby(["assay", "source", "element"], sort=True)
        .agg(n=("value", "size"), n_below=("below", "sum")).reset_index()
    )  # fmt: skip
    analytes["digestion"] = np.where(analytes["assay"] == "lab_4a", lab_digestion, None)
    return Survey(
        samples=wide.sort_values("sample_id").reset_index(drop=True),
        results=results,
        controls=tables.conform(control, tables.CONTROLS),
        unlocated=pd.DataFrame({"sample_id": pd.Series(dtype=object)}),
        analytes=tables.conform(analytes, tables.ANALYTES),
    )


def _long(
    shots, names, read, limit, times, assay, source, instrument, mode, batch, digestion, rel
):
    n, k = read.shape
    below = read < limit
    value = np.where(below, limit, read).ravel()

    def each(values):
        return np.repeat(np.array(values, dtype=object), k)

    return pd.DataFrame(
        {
            "sample_id": each([s[0] for s in shots]), "role": each([s[1] for s in shots]),
            "parent": each([s[2] for s in shots]), "standard": each([s[3] for s in shots]),
            "assay": assay, "source": source, "batch": each(batch), "instrument": instrument,
            "mode": mode, "digestion": digestion,
            "element": np.tile(np.array(names, dtype=object), n), "value": value,
            "below": below.ravel(), "above": False,
            "err": np.nan if rel is None else (read * rel).ravel(),
            "date_read": np.repeat(pd.to_datetime(pd.Series(times)).to_numpy(), k),
        }
    )  # fmt: skip


@pytest.fixture(scope="session")
def certificates():
    return standards_table()


@pytest.fixture(scope="session")
def simulated():
    return simulate


@pytest.fixture(scope="session")
def table_of_standards():
    return standards_table


def change(survey, factor, element, *, batch=None):
    """Multiply the readings of one element; `factor` is a number or a function of hours."""
    from dataclasses import replace

    def scaled(frame):
        out = frame.copy()
        hit = (out["element"] == element) & (out["assay"] == "xrf")
        if batch is not None:
            hit &= out["batch"] == batch
        hours = (out.loc[hit, "date_read"] - out.loc[hit, "date_read"].dt.normalize()).dt
        hours = hours.total_seconds().to_numpy() / 3600 - 7
        by = factor(hours) if callable(factor) else factor
        out.loc[hit, "value"] = out.loc[hit, "value"].to_numpy() * by
        return out, hit

    results, hit = scaled(survey.results)
    controls, _ = scaled(survey.controls)
    samples = survey.samples.copy()
    new = results[hit].drop_duplicates("sample_id").set_index("sample_id")["value"]
    column = f"{element}_ppm__xrf"
    mapped = samples["sample_id"].map(new)
    samples[column] = mapped.fillna(samples[column]).astype(float)
    return replace(survey, results=results, controls=controls, samples=samples)


@pytest.fixture(scope="session")
def changed():
    return change
