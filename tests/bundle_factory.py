"""A small but complete synthetic `Bundle` for tests of outputs.

Everything in it is invented: a soil grid over three rock units with two mineralised spots, a few
stream sediments and rock chips, controls, two assays (`xrf`, `lab_4a`). Some texts are hostile on
purpose (`HOSTILE`, `QUOTES`) so that escaping is tested. The same arguments give the same bundle.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from scipy.special import ndtr, ndtri
from shapely.geometry import LineString, Point, Polygon, box

from geochem.model import tables
from geochem.model.bundle import Bundle, CampaignInfo
from geochem.model.evidence import Association, Composition, Evidence
from geochem.model.finding import Finding
from geochem.model.layers import Layer, Layers, Spacing
from geochem.model.quality import (
    BLANK_CHECKS,
    DUPLICATE_PAIRS,
    DUPLICATE_SUMMARY,
    STANDARD_CHECKS,
    Calibration,
    QualityReport,
)
from geochem.model.surface import Surface
from geochem.model.survey import Survey
from geochem.model.targets import TargetReport
from geochem.model.threshold import Threshold
from geochem.quality.batch_verdicts import batch_verdicts
from geochem.stats.variogram import Variogram

HOSTILE = "<script>alert(1)</script>"
QUOTES = "\"&'"
CRS = "EPSG:32735"
WEST, SOUTH = 600_000.0, 7_400_000.0

#: median [mg/kg], log10 spread, detection limit [mg/kg], weight in the mineralised spots
_TRAITS = {
    "Cu": (38.0, 0.16, 8.0, 1.0), "Au": (0.004, 0.30, 0.002, 1.2), "As": (11.0, 0.22, 5.0, 0.9),
    "Zn": (62.0, 0.14, 6.0, 0.25), "Pb": (17.0, 0.17, 5.0, 0.2), "Mo": (2.2, 0.24, 2.0, 0.8),
    "Fe": (41_000.0, 0.10, 50.0, 0.05), "Mn": (700.0, 0.20, 30.0, -0.2),
}  # fmt: skip
_UNITS = ["mafic volcanics", "granodiorite", f"schist {HOSTILE} {QUOTES}"]


def make_bundle(
    seed: int = 1,
    n: int = 400,
    elements: tuple[str, ...] = ("Cu", "Au", "As", "Zn", "Pb", "Mo", "Fe", "Mn"),
    *,
    barren: bool = False,
    **kw,
) -> Bundle:
    """Make a bundle of `n` located samples.

    Parameters
    ----------
    seed : int, default 1
        Of all random numbers.
    n : int, default 400
        Located routine samples of all media.
    elements : tuple of str
        Symbols; those beyond the eight known ones get plausible levels.
    barren : bool, default False
        No targets, leads, follow-up, holes, surfaces, associations or layers: what outputs must
        survive.
    **kw
        Fields of `Bundle` to replace, for example ``findings=()``.
    """
    rng = np.random.default_rng(seed)
    samples, shape = _samples(rng, n, elements)
    layers = Layers() if barren else _layers(shape)
    results = _results(samples, elements)
    controls = _controls(rng, elements)
    analytes = _analytes(samples, elements)
    findings = _findings(samples)
    unlocated = pd.DataFrame(samples.drop(columns="geometry").head(2)).assign(
        sample_id=["U-0001", "U-0002"], notes=["no position", None]
    )
    survey = Survey(samples, results, controls, unlocated, analytes, findings)
    backgrounds, thresholds, records, plots = _backgrounds(samples, elements)
    composition = _composition(samples, elements)
    evidence = _evidence(samples, backgrounds, elements, barren=barren)
    bundle = Bundle(
        info=CampaignInfo(
            title="Demonstration soil grid",
            crs=CRS,
            crs_name="WGS 84 / UTM zone 35S",
            convergence=-0.36,
            clock=datetime(2026, 3, 20, 18, 30),
            prepared_by="A. Geologist",
            qualified_person="",
            report_date="2026-03-20",
            seed=seed,
            version="0.0.1",
        ),
        survey=survey,
        layers=layers,
        spacings=_spacings(samples, shape),
        quality=_quality(rng, samples, elements),
        thresholds=thresholds,
        threshold_records=records,
        probability_plots=plots,
        backgrounds=backgrounds,
        compositions=(composition,),
        evidence=evidence,
        surfaces=() if barren else _surfaces(shape, elements),
        targets=_no_targets(samples) if barren else _targets(samples, evidence, shape),
        progress={
            "collected": n + 2,
            "located": n,
            "read": n,
            "at_laboratory": n // 8,
            "returned": n // 10,
            "planned": int(n * 1.2),
            "previous": "2026-03-13",
        },
        settings={
            "title": "Demonstration soil grid",
            "crs": CRS,
            "background": {"method": "median_mad", "options": {"k": 2, "log": True}, "by": []},
            "targets": {"wanted": 10, "seek": ["Cu", "Au"]},
        },
        findings=findings,
    )
    return replace(bundle, **kw) if kw else bundle


# --- samples ---------------------------------------------------------------------------------


def _traits(element):
    if element in _TRAITS:
        return _TRAITS[element]
    code = sum(ord(c) * (i + 3) for i, c in enumerate(element))
    level = 10 ** (0.3 + 2.2 * ((code * 37) % 100) / 100)
    return level, 0.12 + 0.02 * (code % 7), level * 0.4, 0.1 * (code % 4)


def _samples(rng, n, elements):
    n_stream, n_rock = max(3, n // 14), max(3, n // 20)
    n_soil = n - n_stream - n_rock
    stations = max(4, round(np.sqrt(n_soil) * 1.5))
    lines = int(np.ceil(n_soil / stations))
    width, height = (lines - 1) * 200.0, (stations - 1) * 50.0
    k = np.arange(n_soil)
    line, station = k // stations, k % stations
    x = WEST + line * 200.0 + rng.normal(0, 4, n_soil)
    y = SOUTH + station * 50.0 + rng.normal(0, 4, n_soil)
    sx = WEST + rng.uniform(0.02, 0.98, n_stream) * width
    sy = SOUTH + height * (0.5 + 0.35 * np.sin((sx - WEST) / max(width, 1) * 6))
    hot = _spots(width, height)
    rx = hot[0][0] + rng.normal(0, 180, n_rock)
    ry = hot[0][1] + rng.normal(0, 120, n_rock)
    x, y = np.r_[x, sx, rx], np.r_[y, sy, ry]
    medium = np.array(
        ["soil"] * n_soil + ["stream sediment"] * n_stream + ["rock"] * n_rock, dtype=object
    )
    ids = np.array(
        [f"A-{i + 1:05d}" for i in range(n_soil)]
        + [f"S-{i + 1:04d}" for i in range(n_stream)]
        + [f"R-{i + 1:04d}" for i in range(n_rock)],
        dtype=object,
    )
    ids[6] = f"A-00007 {QUOTES}"
    ids[8] = f"A-00009{HOSTILE}"
    unit = np.where(x < WEST + 0.4 * width, 0, np.where(x < WEST + 0.75 * width, 1, 2))
    soil = medium == "soil"
    batch = np.array([f"day {d + 1:02d}" for d in (np.arange(n) * 5 // n)], dtype=object)
    columns = {
        "sample_id": ids, "medium": medium,
        "kind": np.where(medium == "rock", "outcrop", None),
        "grid": np.where(soil, "A", None),
        "line": [f"{int(v) * 200}E" if s else None
                 for v, s in zip(np.r_[line, np.zeros(n - n_soil)], soil, strict=True)],
        "station": [f"{int(v) * 50}N" if s else None
                    for v, s in zip(np.r_[station, np.zeros(n - n_soil)], soil, strict=True)],
        "horizon": np.where(soil, "B", None),
        "depth_from": np.where(soil, 0.2, np.nan), "depth_to": np.where(soil, 0.3, np.nan),
        "fraction_um": np.where(medium == "rock", np.nan, 180.0),
        "elevation": np.round(1100 + 40 * np.sin((x - WEST) / 500) + (y - SOUTH) / 50, 1),
        "accuracy_m": np.full(n, 4.0),
        "date": pd.Timestamp("2026-03-02") + pd.to_timedelta(np.arange(n) * 18 // n, unit="D"),
        "crew": np.where(np.arange(n) % 2, "crew 1", "crew 2"),
        "role": np.full(n, "routine", dtype=object),
        "prep_batch": batch, "prep_order": np.arange(n) + 1.0,
        "sieve_um": np.full(n, 75.0), "powder_ml": np.full(n, 6.0), "die_mm": np.full(n, 20.0),
        "die_fill": np.where(np.arange(n) % 57 == 3, 0.6, 0.95),
        "binder_pct": np.full(n, 10.0), "mill": np.full(n, "ring mill", dtype=object),
        "moisture_pct": np.where(np.arange(n) % 41 == 7, 22.0, 4.0),
        "notes": np.where(np.arange(n) % 90 == 5, f"disturbed {HOSTILE} {QUOTES}", None),
    }  # fmt: skip
    frame = tables.conform(pd.DataFrame(columns), tables.SAMPLES)
    pull = sum(
        np.exp(-(((x - hx) / (110 + 0.05 * width)) ** 2) - ((y - hy) / (70 + 0.05 * height)) ** 2)
        for hx, hy in hot
    )
    more = {}
    for j, element in enumerate(elements):
        median, spread, limit, weight = _traits(element)
        log = np.log10(median) + 0.08 * (unit - 1) * (-1) ** j + rng.normal(0, spread, n)
        log = log + weight * pull + np.where(medium == "rock", 0.1, 0.0)
        true = 10**log
        assay = "lab_4a" if element == "Au" else "xrf"
        err = 0.05 * true + limit / 4
        value, below = np.where(true < limit, limit, true), true < limit
        high = median * 10 ** (3.2 * spread) if element == "As" else np.inf
        above = value > high
        value = np.where(above, high, value)
        if element == "Mo":  # one instrument day with a poor limit: undecided values
            poor = (batch == "day 03") & (np.arange(n) % 4 == 1) & (value < 16.0)
            value, below = np.where(poor, 16.0, value), below | poor
        missing = np.arange(n) % 73 == 11 + j
        value = np.where(missing, np.nan, np.round(value, 4))
        below, above = below & ~missing, above & ~missing
        err = np.where(missing | below, np.nan, err)
        own = {"": value, "_below": below, "_above": above, "_err": err}
        for suffix, column in own.items():
            more[f"{element}_ppm{suffix}"] = column
        for suffix, column in own.items():
            more[f"{element}_ppm__{assay}{suffix}"] = column
        if assay == "xrf":  # laboratory on one in eight
            sent = (np.arange(n) % 8 == 0) & ~missing
            lab = np.where(sent, true * 10 ** rng.normal(0.03, 0.03, n), np.nan)
            more[f"{element}_ppm__lab_4a"] = np.round(lab, 4)
            more[f"{element}_ppm__lab_4a_below"] = False
            more[f"{element}_ppm__lab_4a_above"] = False
            more[f"{element}_ppm__lab_4a_err"] = 0.04 * lab
    frame = pd.concat([frame, pd.DataFrame(more)], axis=1)
    frame["geology"] = np.array(_UNITS, dtype=object)[unit]
    frame["use"] = pd.Series(["full"] * n, dtype=object)
    out = gpd.GeoDataFrame(frame, geometry=gpd.points_from_xy(x, y), crs=CRS)
    out = out.sort_values("sample_id", ignore_index=True)
    return out, (width, height)


def _spots(width, height):
    return [
        (WEST + 0.25 * width, SOUTH + 0.65 * height),
        (WEST + 0.70 * width, SOUTH + 0.30 * height),
    ]


def _results(samples, elements):
    first = samples.head(2000)
    parts = []
    for element in elements:
        for assay in tables.assays_of(samples, element):
            values = tables.values_of(first, element, assay)
            keep = np.isfinite(values.value)
            k = int(keep.sum())
            pxrf = assay == "xrf"
            parts.append(
                pd.DataFrame(
                    {
                        "sample_id": first["sample_id"].to_numpy()[keep],
                        "assay": assay,
                        "source": "pxrf" if pxrf else "laboratory",
                        "batch": first["prep_batch"].to_numpy()[keep] if pxrf else "JOB-17",
                        "instrument": "XRF-501" if pxrf else None,
                        "mode": "soil" if pxrf else None,
                        "reading": [str(i + 1) for i in range(k)],
                        "seconds": 60.0 if pxrf else np.nan,
                        "method": None if pxrf else "ICP-MS",
                        "digestion": None if pxrf else "near-total",
                        "element": element,
                        "value": values.value[keep],
                        "below": values.below[keep],
                        "above": values.above[keep],
                        "err": values.err[keep],
                        "unit_given": "ppm",
                        "raw": [f"{v:g}" for v in values.value[keep]],
                        "date_read": pd.Timestamp("2026-03-10"),
                        "date_received": pd.Timestamp("2026-03-18"),
                        "file": "readings.csv" if pxrf else "laboratory.csv",
                        "row": np.flatnonzero(keep) + 2,
                    }
                )
            )
    return tables.conform(pd.concat(parts, ignore_index=True), tables.RESULTS)


def _controls(rng, elements):
    rows = []
    for day in range(5):
        for k, (role, sid) in enumerate(
            [("standard", f"STD1-{day}"), ("standard", f"STD2-{day}"), ("blank", f"BLK-{day}"),
             ("field_duplicate", f"FD-{day}")]
        ):  # fmt: skip
            for element in elements:
                if element == "Au":
                    continue
                median, _, limit, _ = _traits(element)
                level = {"standard": 2.0 * median, "blank": limit, "field_duplicate": median}[role]
                rows.append(
                    {
                        "sample_id": sid, "role": role,
                        "parent": f"A-{day * 40 + 1:05d}" if role == "field_duplicate" else None,
                        "standard": f"CRM {k + 1}" if role == "standard" else None,
                        "assay": "xrf", "source": "pxrf", "batch": f"day {day + 1:02d}",
                        "instrument": "XRF-501", "mode": "soil", "element": element,
                        "value": level * 10 ** rng.normal(0, 0.02), "below": role == "blank",
                        "unit_given": "ppm", "file": "readings.csv", "row": 1000 + len(rows),
                        "date_read": pd.Timestamp("2026-03-08") + pd.Timedelta(days=day),
                    }
                )  # fmt: skip
    return tables.conform(pd.DataFrame(rows), tables.CONTROLS)


def _analytes(samples, elements):
    rows = []
    for element in elements:
        for assay in tables.assays_of(samples, element):
            for medium in sorted(set(samples["medium"])):
                here = samples[(samples["medium"] == medium).to_numpy()]
                values = tables.values_of(here, element, assay)
                rows.append(
                    {
                        "assay": assay, "source": "pxrf" if assay == "xrf" else "laboratory",
                        "element": element, "medium": medium, "name": element,
                        "unit_given": "ppm", "factor": 1.0, "limit_low": _traits(element)[2],
                        "method": "pXRF" if assay == "xrf" else "ICP-MS",
                        "digestion": None if assay == "xrf" else "near-total",
                        "fraction_um": 180.0, "n": int(np.isfinite(values.value).sum()),
                        "n_below": int(values.below.sum()), "n_above": int(values.above.sum()),
                        "trust": "quantitative",
                        "accepted": assay == ("lab_4a" if element == "Au" else "xrf"),
                        "calibrated": assay == "xrf" and element == "Cu",
                    }
                )  # fmt: skip
    return tables.conform(pd.DataFrame(rows), tables.ANALYTES)


def _spacings(samples, shape):
    n_soil = int((samples["medium"] == "soil").sum())
    n_stream = int((samples["medium"] == "stream sediment").sum())
    area = n_soil * 200.0 * 50.0 / 1e6
    wide = float(np.sqrt(shape[0] * shape[1] / max(n_stream, 1)))
    return (
        Spacing("soil", "A", n_soil, 50.0, 200.0, 50.0, 0.0, True, area),
        Spacing("stream sediment", "", n_stream, wide, wide, wide, np.nan, False, area),
    )


def _layers(shape):
    width, height = shape
    a, b = WEST + 0.4 * width, WEST + 0.75 * width
    low, high = SOUTH - 150, SOUTH + height + 150
    tilt = 0.06 * width
    polygons = [
        Polygon([(WEST - 200, low), (a - tilt, low), (a + tilt, high), (WEST - 200, high)]),
        Polygon([(a - tilt, low), (b - tilt, low), (b + tilt, high), (a + tilt, high)]),
        Polygon(
            [(b - tilt, low), (WEST + width + 200, low), (WEST + width + 200, high),
             (b + tilt, high)]
        ),
    ]  # fmt: skip
    geology = gpd.GeoDataFrame({"unit": _UNITS}, geometry=polygons, crs=CRS)
    boundary = gpd.GeoDataFrame(
        {"name": ["licence 1"]},
        geometry=[box(WEST - 300, SOUTH - 250, WEST + width + 300, SOUTH + height + 250)],
        crs=CRS,
    )
    keep_out = gpd.GeoDataFrame(
        {"name": [f"burial ground {QUOTES}"]},
        geometry=[Point(WEST + 0.9 * width, SOUTH + 0.85 * height).buffer(0.04 * width + 60)],
        crs=CRS,
    )
    streams = gpd.GeoDataFrame(
        {"name": ["main stream"]},
        geometry=[
            LineString(
                [
                    (WEST + t * width, SOUTH + height * (0.5 + 0.35 * np.sin(t * 6)))
                    for t in np.linspace(0, 1, 40)
                ]
            )
        ],
        crs=CRS,
    )
    drilled = gpd.GeoDataFrame(
        {"hole": ["OLD-1"]}, geometry=[Point(WEST + 0.5 * width, SOUTH + 0.5 * height)], crs=CRS
    )
    made = {
        "geology": (geology, "unit"), "boundary": (boundary, "name"),
        "keep_out": (keep_out, "name"), "streams": (streams, "name"), "drilled": (drilled, "hole"),
    }  # fmt: skip
    return Layers({k: Layer(k, f, field, Path(f"{k}.geojson")) for k, (f, field) in made.items()})


def _findings(samples):
    return (
        Finding("id-doubled", "warning", "Two rows of the field log have the id A-00003; the "
                "first was used.", file="field_log.csv", row=5, column="Sample ID",
                sample_id="A-00003"),
        Finding("text-odd", "warning", f"The note {HOSTILE} {QUOTES} was kept as text.",
                file="field_log.csv", row=11, column="Notes",
                sample_id=str(samples["sample_id"].iloc[6])),
        Finding("batch-not-checked", "note", "Batch 'day 05' has no standard; it was used.",
                file="readings.csv", batch="day 05", element="Cu"),
    )  # fmt: skip


# --- backgrounds -----------------------------------------------------------------------------


def _backgrounds(samples, elements):
    rows, long, records, plots = [], [], {}, {}
    for medium in ("soil", "stream sediment"):
        here = samples[(samples["medium"] == medium).to_numpy()]
        domains = ["all", *(_UNITS if medium == "soil" else [])]
        for domain in domains:
            frame = here if domain == "all" else here[(here["geology"] == domain).to_numpy()]
            if not len(frame):
                continue
            for element in elements:
                values = tables.values_of(frame, element)
                ok = np.isfinite(values.value)
                if not ok.any():
                    continue
                log = np.log10(values.value[ok])
                location = float(np.median(log))
                scale = float(max(1.4826 * np.median(np.abs(log - location)), 0.02))
                threshold = 10 ** (location + 2 * scale)
                half = 1.645 * scale * np.sqrt(2 / ok.sum())
                low, high = threshold * 10**-half, threshold * 10**half
                order = np.argsort(log, kind="stable")
                position = (np.arange(len(log)) + 0.625) / (len(log) + 0.25)
                assay = "lab_4a" if element == "Au" else "xrf"
                details = {
                    "location": location, "scale": scale, "log10": log[order],
                    "normal_score": ndtri(position), "below": values.below[ok][order],
                    "probability": position,
                    "populations": [
                        {"weight": 0.95, "mean": location, "sd": scale},
                        {"weight": 0.05, "mean": location + 4 * scale, "sd": scale},
                    ],
                }  # fmt: skip
                records[medium, domain, element] = Threshold(
                    threshold, low, high, "median_mad", {"k": 2.0, "log": True}, int(ok.sum()),
                    int(values.below.sum()), "log10", "Reimann et al. 2005", details=details,
                )  # fmt: skip
                if domain == "all":
                    plots[medium, element] = replace(
                        records[medium, domain, element], method="probability_plot"
                    )
                beyond = int((values.value[ok] > threshold).sum())
                reason = f"median + 2 MAD of log10 of {int(ok.sum())} samples"
                long.extend(
                        {
                            "medium": medium, "domain": domain, "element": element,
                            "assay": assay, "method": "median_mad", "k": k,
                            "transform": "log10", "sign": 1, "value": 10 ** (location + k * scale),
                            "low": low, "high": high, "n": int(ok.sum()),
                            "n_below": int(values.below.sum()), "n_beyond": beyond,
                            "unit": "mg/kg", "reason": reason,
                        }
                    for k in (2.0, 3.0)
                )  # fmt: skip
                rows.append(
                    {
                        "medium": medium, "domain": domain, "element": element, "assay": assay,
                        "location": location, "scale": scale, "method": "median_mad",
                        "n": int(ok.sum()), "n_below": int(values.below.sum()), "reason": reason,
                    }
                )  # fmt: skip
    return (
        tables.conform(pd.DataFrame(rows), tables.BACKGROUNDS),
        tables.conform(pd.DataFrame(long), tables.THRESHOLDS),
        records,
        plots,
    )


def _composition(samples, elements):
    soil = samples[(samples["medium"] == "soil").to_numpy()]
    parts = tuple(e for e in elements if e != "Au")
    x = np.log(np.column_stack([tables.values_of(soil, e).value for e in parts]))
    x = np.where(np.isfinite(x), x, np.nanmedian(x, axis=0))
    clr = x - x.mean(axis=1, keepdims=True)
    centred = clr - np.median(clr, axis=0)
    _, s, vt = np.linalg.svd(centred, full_matrices=False)
    k = min(3, len(parts) - 1)
    loadings = vt[:k].T
    loadings = loadings * np.sign(loadings[np.argmax(np.abs(loadings), axis=0), range(k)])
    distance = np.sqrt((centred**2 / np.maximum(centred.var(axis=0), 1e-9)).sum(axis=1))
    return Composition(
        medium="soil",
        sample_id=soil["sample_id"].to_numpy(dtype=object),
        parts=parts,
        dropped={"Au": "62 % of its values are below detection"},
        replaced_share=0.03,
        clr=clr,
        loadings=loadings,
        scores=centred @ loadings,
        explained=(s**2 / (s**2).sum())[:k],
        distance=distance,
        distance_cut=float(np.quantile(distance, 0.975)),
        details={"method": "robust principal components", "reference": "Filzmoser et al. 2009"},
    )


def _evidence(samples, backgrounds, elements, *, barren):
    counted = tuple(e for e in ("Cu", "Au", "As", "Mo") if e in elements) or elements[:2]
    keep = samples["medium"].isin(["soil", "stream sediment"]).to_numpy()
    here = samples[keep].reset_index(drop=True)
    domain = np.where(here["medium"] == "soil", here["geology"], "all")
    frame = pd.DataFrame(
        {
            "sample_id": here["sample_id"].to_numpy(), "medium": here["medium"].to_numpy(),
            "domain": domain, "easting": here.geometry.x, "northing": here.geometry.y,
        }
    )  # fmt: skip
    key = backgrounds.set_index(["medium", "domain", "element"])
    z_all = {}
    for element in counted:
        values = tables.values_of(here, element)
        for name, domains in (("z", domain), ("all", np.full(len(here), "all", dtype=object))):
            at = pd.MultiIndex.from_arrays(
                [here["medium"], domains, np.full(len(here), element, dtype=object)]
            )
            found = key.reindex(at)
            z = (np.log10(values.value) - found["location"].to_numpy()) / found["scale"].to_numpy()
            z = np.where(values.below, np.nan, z)
            if name == "z":
                frame[f"{element}_z"] = z
                frame[f"{element}_p"] = np.where(np.isfinite(z), ndtr(z - 2.0), np.nan)
            else:
                z_all[f"{element}_z"] = z
    z = np.nan_to_num(frame[[f"{e}_z" for e in counted]].to_numpy())
    score = np.clip(z, -3, 8).sum(axis=1) / np.sqrt(len(counted))
    frame["group"] = pd.array(1 + (score > 2) + (score > 5), dtype="Int64")
    frame = frame[[c for c in frame.columns if c != "group"] + ["group"]]
    association = Association(
        "porphyry_copper", "Porphyry copper", {"Cu": 1.0, "Mo": 1.0, "Au": 0.5},
        used=tuple(e for e in ("Cu", "Mo", "Au") if e in counted), source="invented for tests",
    )  # fmt: skip
    soil = (frame["medium"] == "soil").to_numpy()
    associations = () if barren else (association,)
    scores = pd.DataFrame({a.name: score for a in associations}, index=frame.index)
    coherence = pd.DataFrame(
        {a.name: np.where(soil, score * 0.9, np.nan) for a in associations}, index=frame.index
    )
    clusters = pd.DataFrame(
        {
            "group": [1, 2, 3], "n": [int((frame["group"] == g).sum()) for g in (1, 2, 3)],
            "driving": ["Fe, Mn", "Cu, As", "Cu, Mo, Au"],
            "profile": ["background", "raised", "high"],
        }
    )  # fmt: skip
    anomalies = gpd.GeoDataFrame(
        frame, geometry=gpd.points_from_xy(frame["easting"], frame["northing"]), crs=CRS
    )
    return Evidence(
        anomalies=anomalies,
        z_all=pd.DataFrame(z_all, index=frame.index),
        elements=counted,
        excluded={"Fe": "not a pathfinder", "Pb": f"not sought {QUOTES}"},
        associations=associations,
        scores=scores,
        coherence=coherence,
        clusters=clusters,
        findings=(),
    )


# --- surfaces and targets --------------------------------------------------------------------


def _surfaces(shape, elements):
    width, height = shape
    cell = max(25.0, round(max(width, height) / 120))
    nx, ny = int(width // cell) + 2, int(height // cell) + 2
    gx = WEST - cell / 2 + (np.arange(nx) + 0.5) * cell
    gy = SOUTH + height + cell / 2 - (np.arange(ny) + 0.5) * cell
    pull = sum(
        np.exp(
            -(((gx[None, :] - hx) / (110 + 0.05 * width)) ** 2)
            - ((gy[:, None] - hy) / (70 + 0.05 * height)) ** 2
        )
        for hx, hy in _spots(width, height)
    )
    first = elements[0]
    level = _traits(first)[0]
    value = level * 10 ** (0.08 * np.sin(gx[None, :] / 400) + _traits(first)[3] * pull)
    value[:2, :2] = np.nan
    common = {
        "medium": "soil", "west": WEST - cell / 2, "north": SOUTH + height + cell / 2,
        "cell": cell, "method": "ordinary_kriging", "n_used": 350,
        "reference": "Matheron 1963, Economic Geology 58:1246-1266",
        "cross_validation": {"mean_error": 0.002, "rmse": 0.12, "rmse_of_median": 0.2,
                             "standardised_variance": 1.04},
        "details": {"variogram": Variogram("spherical", 0.01, 0.04, 350.0),
                    "scale": "log10 of mg/kg; the surface is the local median"},
    }  # fmt: skip
    return (
        Surface(f"{first}_ppm", first, "mg/kg", values=value,
                deviation=np.full(value.shape, 0.1), **common),
        Surface("porphyry_copper", "Porphyry copper score", "standard deviations",
                values=4 * pull - 0.5,
                deviation=None, **common),
    )  # fmt: skip


def _targets(samples, evidence, shape):
    width, height = shape
    (ax, ay), (bx, by) = _spots(width, height)
    rx, ry = 90 + 0.06 * width, 60 + 0.06 * height
    places = [(ax, ay, 1.0), (bx, by, 0.8), (WEST + 0.55 * width, SOUTH + 0.85 * height, 0.5)]
    rows, shapes, members, criteria, follow, holes = [], [], [], [], [], []
    unit_circle = np.linspace(0, 2 * np.pi, 25)[:-1]
    for i, (x, y, s) in enumerate(places):
        name = f"T{i + 1:02d}"
        wobble = 1 + 0.12 * np.sin(3 * unit_circle + i)
        shape_i = Polygon(
            np.column_stack(
                [x + s * rx * wobble * np.cos(unit_circle),
                 y + s * ry * wobble * np.sin(unit_circle)]
            )
        )  # fmt: skip
        inside = (
            samples.geometry.within(shape_i).to_numpy() & (samples["medium"] == "soil").to_numpy()
        )
        ids = samples["sample_id"].to_numpy()[inside]
        members += [{"target": name, "sample_id": sid} for sid in ids]
        rows.append(
            {
                "target": name, "rank": i + 1, "rank_low": max(1, i), "rank_high": min(3, i + 2),
                "previous_rank": [2, 1, None][i], "first_seen": "2026-03-13",
                "status": ["checked", "new", "drilled"][i], "score": [86.0, 64.0, 31.0][i],
                "probability": [0.97, 0.88, 0.35][i],
                "data_confidence": ["high", "moderate", "low"][i], "lab_confirmed": i == 0,
                "medium": "soil", "elements": "Cu Au Mo", "association": "porphyry_copper",
                "contrast": [6.2, 3.9, 1.8][i], "peak": [412.0, 230.0, 96.0][i],
                "peak_element": "Cu", "samples": len(ids), "lines": 3,
                "open_sides": ["", "north", "east, south"][i],
                "area_ha": shape_i.area / 1e4, "easting": x, "northing": y,
                "evidence_for": "Cu, Mo and Au beyond threshold on 3 lines; confirmed by rock",
                "evidence_against": f"one line only disturbed {HOSTILE} {QUOTES}",
                "next_step": "infill at 50 m x 25 m, then laboratory check",
            }
        )  # fmt: skip
        shapes.append(shape_i)
        for criterion, scaled, weight in (
            ("strength", 0.9 - 0.2 * i, 3.0), ("extent", 0.8 - 0.2 * i, 2.0),
            ("support", 0.7 - 0.1 * i, 1.0),
        ):  # fmt: skip
            criteria.append(
                {"target": name, "criterion": criterion, "value": scaled * 10, "scaled": scaled,
                 "weight": weight, "statement": f"{criterion} is {scaled:.1f} of 1"}
            )  # fmt: skip
        for k in range(4):
            follow.append(
                {"point": f"F{i + 1}{k + 1:02d}", "target": name, "kind": "infill",
                 "line": f"{k * 100}E", "order": len(follow) + 1, "easting": x - 60 + 40 * k,
                 "northing": y + 25.0 * (-1) ** k, "purpose": "infill between lines"}
            )  # fmt: skip
    for i, (x, y, _) in enumerate(places[:2]):
        holes.append(
            {"hole": f"H{i + 1:02d}", "target": f"T{i + 1:02d}", "easting": x - 60,
             "northing": y, "elevation": 1115.0, "azimuth": 90.0 - 20 * i, "north": "grid",
             "dip": -60.0, "length": 180.0, "purpose": "tests the middle of the outline",
             "status": "concept", "reason": f"no laboratory confirmation yet {QUOTES}"}
        )  # fmt: skip
    targets = tables.conform(pd.DataFrame(rows), tables.TARGETS)
    follow_up = tables.conform(pd.DataFrame(follow), tables.FOLLOW_UP)
    hole = tables.conform(pd.DataFrame(holes), tables.HOLES)
    lead = {
        "lead": ["L01"], "medium": ["soil"], "association": ["porphyry_copper"],
        "elements": ["As"], "samples": pd.array([2], dtype="Int64"),
        "reason": ["two samples on one line are too few for a target"],
    }  # fmt: skip
    return TargetReport(
        targets=gpd.GeoDataFrame(targets, geometry=shapes, crs=CRS),
        leads=gpd.GeoDataFrame(
            lead, geometry=[Point(WEST + 0.1 * width, SOUTH + 0.2 * height).buffer(70)], crs=CRS
        ),
        members=pd.DataFrame(members, columns=["target", "sample_id"]),
        criteria=pd.DataFrame(criteria),
        follow_up=gpd.GeoDataFrame(
            follow_up,
            geometry=gpd.points_from_xy(follow_up["easting"], follow_up["northing"]),
            crs=CRS,
        ),
        holes=gpd.GeoDataFrame(
            hole, geometry=gpd.points_from_xy(hole["easting"], hole["northing"]), crs=CRS
        ),
        why_none="",
        null={"method": "spectral", "draws": 200, "strengths": np.linspace(0.5, 6, 200)},
        places=_places(evidence),
    )


def _places(evidence):
    soil = (evidence.anomalies["medium"] == "soil").to_numpy()
    name = evidence.associations[0].name
    strength = evidence.scores[name].to_numpy(dtype=float)[soil] * 1.5
    chance = 1 / (1 + np.exp(-2 * (np.nan_to_num(strength) - 4)))
    frame = pd.DataFrame(
        {
            "sample_id": evidence.anomalies["sample_id"].to_numpy(dtype=object)[soil],
            "medium": "soil", "association": name, "strength": strength,
            "probability": np.round(chance, 4), "stands_out": chance > 0.9,
        }
    )  # fmt: skip
    return tables.conform(frame, tables.PLACES)


def _no_targets(samples):
    def none(columns, kind=gpd.GeoSeries):
        return gpd.GeoDataFrame(tables.empty(columns), geometry=kind([], crs=CRS), crs=CRS)

    lead = {"lead": "text", "medium": "text", "association": "text", "elements": "text",
            "samples": "count", "reason": "text"}  # fmt: skip
    criteria = {"target": "text", "criterion": "text", "value": "number", "scaled": "number",
                "weight": "number", "statement": "text"}  # fmt: skip
    return TargetReport(
        targets=none(tables.TARGETS),
        leads=none(lead),
        members=tables.empty({"target": "text", "sample_id": "text"}),
        criteria=tables.empty(criteria),
        follow_up=none(tables.FOLLOW_UP),
        holes=none(tables.HOLES),
        why_none="No outline holds three samples on two lines beyond the threshold.",
    )


# --- quality ---------------------------------------------------------------------------------


def _quality(rng, samples, elements):
    verdicts, standards, blanks, pairs, duplicates = [], [], [], [], []
    calibrations, pairs_xy = [], []
    xrf = [e for e in elements if e != "Au"]
    for day in range(5):
        batch = f"day {day + 1:02d}"
        for element in xrf:
            median, _, limit, _ = _traits(element)
            failed = day == 2 and element == "Cu"
            verdicts.append(
                {
                    "source": "pxrf", "assay": "xrf", "instrument": "XRF-501", "mode": "soil",
                    "batch": batch, "element": element, "key_element": element in ("Cu", "Mo"),
                    "n_standard": 4 if day < 4 else 0, "n_blank": 1, "n_duplicate": 1,
                    "verdict": "fail" if failed else "warn" if day == 4 else "pass",
                    "trust": "quantitative",
                    "action": "read again" if failed else "",
                    "reason": "standard CRM 1 reads 26 % high" if failed
                    else "not checked" if day == 4 else f"standards within 20 % {QUOTES}",
                }
            )  # fmt: skip
            for k in range(4):
                certified = 2.0 * median * (1 + k % 2)
                value = certified * (1.26 if failed else 1 + rng.normal(0.02, 0.04))
                standards.append(
                    {
                        "source": "pxrf", "assay": "xrf", "instrument": "XRF-501",
                        "mode": "soil", "batch": batch, "standard": f"CRM {k % 2 + 1}",
                        "element": element, "sample_id": f"STD{k % 2 + 1}-{day}-{k}",
                        "date_read": pd.Timestamp("2026-03-08") + pd.Timedelta(days=day, hours=k),
                        "order": day * 4 + k, "value": value, "certified": certified,
                        "sd": 0.04 * certified, "bias_pct": 100 * (value / certified - 1),
                        "centre": certified * 1.02, "spread": 0.04 * certified,
                        "z": (value / certified - 1.02) / 0.04,
                        "verdict": "fail" if failed else "pass", "used": True,
                    }
                )  # fmt: skip
            blanks.append(
                {
                    "source": "pxrf", "assay": "xrf", "instrument": "XRF-501", "batch": batch,
                    "role": "blank", "element": element, "sample_id": f"BLK-{day}",
                    "date_read": pd.Timestamp("2026-03-08") + pd.Timedelta(days=day),
                    "order": day, "value": limit, "below": True, "limit": limit,
                    "previous_value": median, "verdict": "pass",
                }
            )  # fmt: skip
    for element in xrf:
        median, spread, limit, _ = _traits(element)
        first = median * 10 ** rng.normal(0, spread, 30)
        second = first * 10 ** rng.normal(0, 0.03, 30)
        near = (first + second) / 2 < 10 * limit
        pairs += [
            {
                "source": "pxrf", "assay": "xrf", "batch": f"day {k % 5 + 1:02d}",
                "role": "field_duplicate", "element": element, "sample_id": f"FD-{k}",
                "parent": f"A-{k * 3 + 1:05d}", "first": first[k], "second": second[k],
                "limit": limit, "used": not near[k],
                "reason": "under 10 times the limit" if near[k] else None,
            }
            for k in range(30)
        ]  # fmt: skip
        duplicates.append(
            {
                "source": "pxrf", "assay": "xrf", "role": "field_duplicate", "element": element,
                "n_pairs": 30, "n_used": int((~near).sum()), "n_near_limit": int(near.sum()),
                "cv_pct": 5.1, "bias_p": 0.42, "acceptable_cv_pct": 20.0, "verdict": "pass",
            }
        )  # fmt: skip
        x = samples[f"{element}_ppm__xrf"].to_numpy()
        y = samples[f"{element}_ppm__lab_4a"].to_numpy()
        ok = np.isfinite(x) & np.isfinite(y) & ~samples[f"{element}_ppm__xrf_below"].to_numpy()
        passed = element != "Mo"
        pairs_xy.append(
            pd.DataFrame(
                {
                    "element": element, "assay": "xrf", "reference_assay": "lab_4a",
                    "sample_id": samples["sample_id"].to_numpy()[ok], "x": x[ok], "y": y[ok],
                    "x_err": 0.05 * x[ok] + limit / 4, "y_err": 0.04 * y[ok],
                    "used": np.ones(int(ok.sum()), dtype=bool),
                }
            )
        )  # fmt: skip
        calibrations.append(
            Calibration(
                element, "xrf", "lab_4a", "", 1.02, 0.03, 0.02, 0.01, -1e-4, log=True,
                n=int(ok.sum()), n_left_out=2, low=float(x[ok].min()), high=float(x[ok].max()),
                r2=0.93, rmse_pct=9.0, bias_pct=1.2, verdict="pass" if passed else "fail",
                reason="bias and precision near the threshold are within 20 %" if passed
                else "relative error near the threshold is above 20 %",
            )
        )  # fmt: skip
    frame = tables.conform
    judged = frame(pd.DataFrame(verdicts), tables.QUALITY)
    return QualityReport(
        verdicts=judged,
        batches=batch_verdicts(
            judged, pd.DataFrame({"assay": [], "batch": [], "sample_id": []}, dtype=object)
        ),
        standards=frame(pd.DataFrame(standards), STANDARD_CHECKS),
        blanks=frame(pd.DataFrame(blanks), BLANK_CHECKS),
        pairs=frame(pd.DataFrame(pairs), DUPLICATE_PAIRS),
        duplicates=frame(pd.DataFrame(duplicates), DUPLICATE_SUMMARY),
        calibrations=tuple(calibrations),
        calibration_pairs=pd.concat(pairs_xy, ignore_index=True),
        reread=pd.DataFrame(
            {
                "batch": ["day 03"] * 3,
                "sample_id": samples.loc[samples["prep_batch"] == "day 03", "sample_id"]
                .head(3)
                .to_numpy(dtype=object),
                "reason": ["standard CRM 1 reads 26 % high"] * 3,
            }
        )
        if (samples["prep_batch"] == "day 03").sum() >= 3
        else pd.DataFrame({"batch": [], "sample_id": [], "reason": []}, dtype=object),
        findings=(),
    )
