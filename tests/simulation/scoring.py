"""Scores of outlines, probabilities, intervals and verdicts against planted truth.

Everything takes plain tables and arrays, so that a method, a baseline and a filter are scored by
the same lines. A score of one simulated campaign is a dict of numbers; `summarise` makes one table
of many, each mean with its Monte-Carlo error.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

#: an outline has found a body when it covers so much of the body's core, or when so much of the
#: outline (a small one) lies in the core
COVERS = 1 / 3
LIES_IN = 1 / 2
#: share of a false target's area on a false body from which the body counts as the reason
LURED = 1 / 4


def hits(outlines, truth, first=10):
    """Say which body each outline found.

    Parameters
    ----------
    outlines : GeoSeries or GeoDataFrame
        Best first.
    truth : GeoDataFrame
        ``name, kind, core`` in the same CRS.
    first : int or None, default 10
        Outlines looked at; None for all.

    Returns
    -------
    list of tuple of str
        Per outline the names of the mineralised bodies it found; empty for none.
    """
    shapes = list(getattr(outlines, "geometry", outlines))[:first]
    bodies = truth.loc[truth["kind"] == "mineralisation"]
    names, cores = list(bodies["name"]), np.array(list(bodies["core"]), dtype=object)
    found = []
    for shape in shapes:
        if not len(cores) or shape.is_empty or shape.area == 0:
            found.append(())
            continue
        shared = shapely.area(shapely.intersection(cores, shape))
        good = (shared >= COVERS * shapely.area(cores)) | (shared >= LIES_IN * shape.area)
        found.append(tuple(np.array(names, dtype=object)[good & (shared > 0)]))
    return found


def on_something(outlines, truth, first=10):
    """Say of each outline whether it stands on anything planted, false bodies too.

    A false body is a real anomaly: only its meaning is wrong. A claim that an outline is no chance
    play of background is true of both.

    Parameters
    ----------
    outlines : GeoSeries or GeoDataFrame
        Best first.
    truth : GeoDataFrame
        ``name, kind, core, geometry`` in the same CRS.
    first : int or None, default 10
        Outlines looked at.

    Returns
    -------
    list of bool
        True for one that found a body or lies on a false body with a quarter of its area.
    """
    shapes = list(getattr(outlines, "geometry", outlines))[:first]
    false_bodies = shapely.union_all(list(truth.loc[truth["kind"] == "false body", "geometry"]))
    found = hits(shapes, truth, None)
    return [
        bool(f) or shape.intersection(false_bodies).area > LURED * shape.area
        for f, shape in zip(found, shapes, strict=True)
    ]


def score_outlines(outlines, truth, area_m2, first=10, points=None):
    """Score outlines, best first.

    Parameters
    ----------
    outlines : GeoSeries or GeoDataFrame
        Best first.
    truth : GeoDataFrame
        ``name, kind, core, geometry`` in the same CRS.
    area_m2 : float
        Surveyed. [m2]
    first : int or None, default 10
        Outlines looked at.
    points : array of Point, optional
        Samples: how many of those in the outlines lie in no mineralised halo.

    Returns
    -------
    dict
        ``outlines`` looked at; ``recall`` of the bodies; ``precision``: share of the outlines that
        found one; ``first_hit``: rank of the first that did (NaN for none); ``area_km2`` painted
        (overlaps once); ``false_targets`` and ``false_per_100km2``; ``on_false_bodies``: share of
        the false targets that lie on a planted false body; ``sample_fdp``: share of the samples
        in the outlines that lie in no mineralised halo. What cannot be said is NaN.
    """
    shapes = list(getattr(outlines, "geometry", outlines))[:first]
    found = hits(shapes, truth, None)
    n_bodies = int((truth["kind"] == "mineralisation").sum())
    hit = np.array([bool(f) for f in found], dtype=bool)
    misses = [shape for shape, good in zip(shapes, hit, strict=True) if not good]
    false_bodies = shapely.union_all(list(truth.loc[truth["kind"] == "false body", "geometry"]))
    lured = [m.intersection(false_bodies).area > LURED * m.area for m in misses]
    nan = float("nan")
    flagged = inside = np.zeros(0, dtype=bool)
    if points is not None:
        halos = shapely.union_all(list(truth.loc[truth["kind"] == "mineralisation", "geometry"]))
        flagged = shapely.intersects(shapely.union_all(shapes), points)
        inside = shapely.intersects(halos, points)
    return {
        "outlines": len(shapes),
        "recall": len({name for f in found for name in f}) / n_bodies if n_bodies else nan,
        "precision": float(hit.mean()) if len(shapes) else nan,
        "first_hit": float(np.argmax(hit) + 1) if hit.any() else nan,
        "area_km2": shapely.union_all(shapes).area / 1e6 if shapes else 0.0,
        "false_targets": int((~hit).sum()),
        "false_per_100km2": float((~hit).sum()) / (area_m2 / 1e8),
        "on_false_bodies": float(np.mean(lured)) if misses else nan,
        "sample_fdp": nan if points is None else false_discovery_proportion(flagged, inside),
    }


def brier(probability, happened):
    """Give the mean squared difference of probabilities and what happened (Brier 1950).

    References
    ----------
    Brier 1950, Monthly Weather Review 78:1-3, halved for two outcomes as is usual.
    """
    probability, happened = np.asarray(probability, float), np.asarray(happened, float)
    return float(np.mean((probability - happened) ** 2)) if len(probability) else float("nan")


def reliability(probability, happened, edges=(0.0, 0.2, 0.4, 0.6, 0.8, 1.0)):
    """Give the table behind a reliability diagram.

    Parameters
    ----------
    probability : array, shape (n,)
        Said. [-]
    happened : array of bool, shape (n,)
        What came.
    edges : sequence of float
        Of the classes; the last includes its upper edge.

    Returns
    -------
    pandas.DataFrame
        ``low, high, n, said, came, error``: mean probability, share that happened and its
        binomial standard error; classes without a case are NaN.
    """
    probability, happened = np.asarray(probability, float), np.asarray(happened, float)
    group = np.clip(np.searchsorted(edges, probability, side="right") - 1, 0, len(edges) - 2)
    rows = []
    for number in range(len(edges) - 1):
        mine = group == number
        n = int(mine.sum())
        said = probability[mine].mean() if n else np.nan
        came = happened[mine].mean() if n else np.nan
        error = np.sqrt(came * (1 - came) / n) if n else np.nan
        rows.append((edges[number], edges[number + 1], n, said, came, error))
    return pd.DataFrame(rows, columns=["low", "high", "n", "said", "came", "error"])


def coverage(low, high, true):
    """Give the share of intervals that hold the truth; intervals with a NaN do not count."""
    low, high, true = (np.asarray(a, float) for a in (low, high, true))
    known = np.isfinite(low) & np.isfinite(high) & np.isfinite(true)
    inside = (low <= true) & (true <= high)
    return float(inside[known].mean()) if known.any() else float("nan")


def false_discovery_proportion(flagged, true):
    """Give the share of what was flagged that is not true; 0 when nothing was flagged.

    References
    ----------
    Benjamini and Hochberg 1995, J. R. Stat. Soc. B 57:289-300: Q = V / R, and 0 for R = 0.
    """
    flagged, true = np.asarray(flagged, bool), np.asarray(true, bool)
    return float((flagged & ~true).sum() / max(int(flagged.sum()), 1))


def alarm_rates(flagged, spoilt):
    """Give how often a check spoke where something was wrong, and where nothing was.

    Parameters
    ----------
    flagged, spoilt : array of bool, shape (n,)
        What the check said; what is true.

    Returns
    -------
    dict
        ``detection`` and ``false_alarm``; NaN where there was no such case.
    """
    flagged, spoilt = np.asarray(flagged, bool), np.asarray(spoilt, bool)
    return {
        "detection": float(flagged[spoilt].mean()) if spoilt.any() else float("nan"),
        "false_alarm": float(flagged[~spoilt].mean()) if (~spoilt).any() else float("nan"),
    }


def summarise(rows, by=("settings", "method")):
    """Make one table of an experiment.

    Parameters
    ----------
    rows : list of dict
        One per campaign and method: the names in `by`, and numbers.
    by : sequence of str
        What tells the lines of the table apart.

    Returns
    -------
    pandas.DataFrame
        Long: `by`, ``measure, n, mean, error`` (standard error of the mean over campaigns; NaN
        for one campaign), in the order of first appearance.
    """
    table = pd.DataFrame(rows)
    measures = [name for name in table.columns if name not in by and name != "seed"]
    long = table.melt(list(by), measures, var_name="measure", value_name="value")
    long["value"] = pd.to_numeric(long["value"])
    grouped = long.groupby([*by, "measure"], sort=False)["value"]
    out = grouped.agg(n="count", mean="mean", error="sem").reset_index()
    return out[out["n"] > 0].reset_index(drop=True)


def as_text(summary, by=("settings", "method")):
    """Print a summary with one line per `by` and ``mean +- error`` per measure."""
    shown = summary.copy()
    shown["cell"] = [
        f"{m:.2f}" if np.isnan(e) else f"{m:.2f} +- {e:.2f}"
        for m, e in zip(shown["mean"], shown["error"], strict=True)
    ]
    wide = shown.pivot(index=list(by), columns="measure", values="cell")
    order = list(dict.fromkeys(shown["measure"]))
    lines = list(dict.fromkeys(map(tuple, shown[list(by)].to_numpy())))
    return wide.loc[lines, order].fillna("").to_string()
