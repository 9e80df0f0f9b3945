"""An invented soil grid with rock units, continuity, dilution and, if wanted, planted halos."""

from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from geochem.model import tables
from geochem.model.background import BackgroundReport
from geochem.model.evidence import Composition
from geochem.model.layers import Spacing
from geochem.stats.random_fields import simulate_fields

# element: median [mg/kg], log10 spread, loadings on (mafic, dilution, chalcophile) factors, limit
TRAITS = {
    "Cu": (35.0, 0.20, 0.5, 0.4, 0.3, 8.0), "Mo": (1.6, 0.25, -0.1, 0.3, 0.3, 1.5),
    "As": (9.0, 0.25, 0.0, 0.4, 0.5, 4.0), "Sb": (0.8, 0.22, 0.0, 0.2, 0.5, 0.5),
    "W": (1.5, 0.22, -0.2, 0.3, 0.2, 1.0), "Pb": (16.0, 0.18, -0.4, 0.4, 0.4, 4.0),
    "Zn": (60.0, 0.17, 0.4, 0.5, 0.2, 6.0), "Mn": (650.0, 0.22, 0.4, 0.4, 0.0, 30.0),
    "Ni": (28.0, 0.22, 0.8, 0.3, 0.0, 6.0), "Cr": (70.0, 0.22, 0.8, 0.3, 0.0, 10.0),
    "Co": (12.0, 0.20, 0.7, 0.4, 0.0, 4.0), "Ba": (420.0, 0.15, -0.5, 0.4, 0.1, 30.0),
    "Fe": (38_000.0, 0.14, 0.6, 0.6, 0.0, 50.0), "Ti": (4200.0, 0.13, 0.5, 0.6, 0.0, 50.0),
    "Rb": (70.0, 0.16, -0.6, 0.5, 0.0, 3.0), "Sr": (150.0, 0.18, -0.2, 0.3, 0.0, 3.0),
    "Zr": (210.0, 0.13, -0.3, 0.2, 0.0, 3.0), "Nb": (11.0, 0.13, -0.3, 0.4, 0.0, 2.0),
    "Ca": (9000.0, 0.25, 0.4, 0.3, 0.0, 100.0), "K": (15_000.0, 0.16, -0.5, 0.5, 0.0, 100.0),
}  # fmt: skip


def make_ground(
    seed=1,
    *,
    lines=24,
    stations=60,
    line_spacing=200.0,
    station_spacing=50.0,
    halos=(),
    elements=tuple(TRAITS),
    domains=True,
    crs="EPSG:32735",
    spikes=0,
):
    """Make a survey; `halos` are (x, y, radius in metres, {element: rise in sd})."""
    rng = np.random.default_rng(seed)
    i, j = np.divmod(np.arange(lines * stations), stations)
    x = 500_000.0 + i * line_spacing + rng.normal(0, 3, i.size)
    y = 7_000_000.0 + j * station_spacing + rng.normal(0, 3, i.size)
    xy = np.column_stack([x, y])
    n = len(x)
    factors = [
        simulate_fields(xy, nugget=0.1, sill=1, range_m=r, n_fields=1, rng=rng)[0]
        for r in (1500.0, 400.0, 300.0)
    ]
    unit = np.where(x < np.quantile(x, 0.45), "granite", "basalt").astype(object)
    inside = np.zeros(n)
    data, planted = {}, np.zeros(n)
    for element in elements:
        median, sd, mafic, dilution, chalcophile, limit = TRAITS[element]
        own = simulate_fields(
            xy, nugget=0.5, sill=1, range_m=350.0, n_fields=1, rng=rng, n_waves=256
        )[0]
        loading = np.array([0.6 * mafic, 0.8 * dilution, 0.6 * chalcophile])
        z = loading @ np.array(factors) + np.sqrt(max(1 - loading @ loading, 0.1)) * own
        if domains:
            z = z + np.where(unit == "basalt", 1.5, -1.0) * mafic
        for hx, hy, radius, rise in halos:
            d2 = ((x - hx) ** 2 + (y - hy) ** 2) / radius**2
            z = z + rise.get(element, 0.0) * np.exp(-d2)
            planted = np.maximum(planted, np.exp(-d2))
        value = median * 10 ** (sd * z)
        value = value * (1 + rng.normal(0, 0.06, n))
        below = value < limit
        data[f"{element}_ppm"] = np.where(below, limit, value)
        data[f"{element}_ppm_below"] = below
        data[f"{element}_ppm_above"] = np.zeros(n, dtype=bool)
        data[f"{element}_ppm_err"] = 0.06 * np.where(below, limit, value)
    for _ in range(spikes):
        at = rng.integers(n)
        for element in ("Cu", "As", "Pb"):
            if element in elements:
                data[f"{element}_ppm"][at] *= 40
    frame = pd.DataFrame(
        {
            "sample_id": [f"S{k:05d}" for k in range(n)], "medium": "soil", "grid": "A",
            "geology": unit, **data,
        }
    ).astype(dict.fromkeys(("sample_id", "medium", "grid", "geology"), object))  # fmt: skip
    samples = gpd.GeoDataFrame(frame, geometry=gpd.points_from_xy(x, y), crs=crs)
    return SimpleNamespace(
        samples=samples, planted=planted, inside=inside, unit=unit, xy=xy,
        background=make_background(samples, "geology" if domains else None),
        compositions=(make_composition(samples, elements),),
        spacings=(
            Spacing("soil", "A", n, min(line_spacing, station_spacing), line_spacing,
                    station_spacing, 0.0, True, n * line_spacing * station_spacing / 1e6),
        ),
        analytes=make_analytes(elements),
    )  # fmt: skip


def make_background(samples, by=None):
    """Median and MAD on log10 per domain, as the background step would."""
    domain = samples[by].to_numpy(dtype=object) if by else np.full(len(samples), "all", object)
    rows, thresholds = [], []
    for medium in sorted(samples["medium"].unique()):
        mine = (samples["medium"] == medium).to_numpy()
        for name in ["all", *sorted(set(domain[mine]) - {"all"})]:
            at = mine & ((domain == name) | (name == "all"))
            for element in tables.elements_of(samples):
                v = tables.values_of(samples, element)
                ok = at & np.isfinite(v.value)
                if ok.sum() < 5:
                    continue
                log = np.log10(v.value[ok])
                share = v.below[ok].mean()
                if share > 0.4:  # normal through the detected quantiles
                    from scipy.special import ndtri

                    q = np.array([max(share + 0.02, 0.6), 0.93])
                    a, b = np.quantile(log, q)
                    if share > 0.9:
                        q, (a, b) = np.array([0.95, 0.99]), np.quantile(log, [0.95, 0.99])
                    scale = max((b - a) / (ndtri(q[1]) - ndtri(q[0])), 1e-6)
                    location = b - scale * ndtri(q[1])
                else:
                    location = np.median(log)
                    scale = 1.4826 * np.median(np.abs(log - location))
                common = {"medium": medium, "domain": name, "element": element, "assay": "xrf",
                          "n": int(ok.sum()), "n_below": int(v.below[ok].sum())}  # fmt: skip
                rows.append({**common, "location": location, "scale": scale})
                t, half = location + 2 * scale, 1.645 * 1.6 * scale / np.sqrt(ok.sum())
                thresholds.append(
                    {**common, "method": "median_mad", "k": 2.0, "sign": 1, "value": 10**t,
                     "low": 10 ** (t - half), "high": 10 ** (t + half), "unit": "mg/kg",
                     "transform": "log10"}
                )  # fmt: skip
    domains = pd.DataFrame(
        {"sample_id": samples["sample_id"], "medium": samples["medium"], "domain": domain,
         "weight": 1.0}
    )  # fmt: skip
    return BackgroundReport(
        domains,
        tables.conform(pd.DataFrame(rows), tables.BACKGROUNDS),
        tables.conform(pd.DataFrame(thresholds), tables.THRESHOLDS),
    )


def make_composition(samples, elements, medium="soil"):
    rows = samples[samples["medium"] == medium]
    parts = [e for e in elements if rows[f"{e}_ppm_below"].mean() <= 0.3]
    log = np.log(np.column_stack([rows[f"{e}_ppm"] for e in parts]))
    clr = log - log.mean(axis=1, keepdims=True)
    _, _, vt = np.linalg.svd(clr - clr.mean(axis=0), full_matrices=False)
    k = min(4, len(parts) - 1)
    scores = (clr - clr.mean(axis=0)) @ vt[:k].T
    distance = np.sqrt((scores**2 / scores.var(axis=0)).sum(axis=1))
    return Composition(
        medium, rows["sample_id"].to_numpy(dtype=object), tuple(parts), {}, 0.0, clr,
        vt[:k].T, scores, np.ones(k) / k, distance, 3.3,
    )  # fmt: skip


def make_analytes(elements, source="pxrf", assay="xrf", medium="soil"):
    rows = [{"assay": assay, "source": source, "element": e, "medium": medium, "accepted": True}
            for e in elements]  # fmt: skip
    return tables.conform(pd.DataFrame(rows), tables.ANALYTES)


PORPHYRY = {"Cu": 1.8, "Mo": 1.5, "As": 0.9, "W": 0.7, "Mn": -0.7, "K": 0.4}


@pytest.fixture(scope="session")
def factory():
    return SimpleNamespace(
        ground=make_ground, background=make_background, composition=make_composition,
        analytes=make_analytes, porphyry=PORPHYRY,
    )  # fmt: skip


@pytest.fixture(scope="session")
def planted():
    """One halo in each rock unit; a few single-sample spikes."""
    return make_ground(
        2, halos=[(501_400.0, 7_000_900.0, 260.0, PORPHYRY),
                  (503_600.0, 7_002_100.0, 260.0, PORPHYRY)], spikes=3,
    )  # fmt: skip


@pytest.fixture(scope="session")
def barren():
    return make_ground(3)
