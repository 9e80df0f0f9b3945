"""Small synthetic surveys: barren ground with continuity, planted halos, everything around them."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from geochem.model import tables
from geochem.model.background import BackgroundReport
from geochem.model.evidence import Association, Evidence
from geochem.model.layers import Layer, Layers, Spacing
from geochem.model.quality import QualityReport
from geochem.stats.random_fields import simulate_fields
from geochem.targets.propose import propose_targets

CRS = "EPSG:32735"
WEST, SOUTH = 600_000.0, 7_400_000.0
ASSOCIATIONS = (
    Association("copper_sulphides", "Copper sulphides", {"Cu": 1.0, "Mo": 0.7, "As": 0.5}),
    Association("base_metals", "Base metals", {"Zn": 1.0, "Pb": 1.0, "Cu": 0.5, "Mn": 0.3}),
    Association("nickel", "Nickel", {"Ni": 1.0, "Cr": 0.7, "Co": 0.7}),
)
ELEMENTS = ("Cr", "Mn", "Co", "Ni", "Cu", "Zn", "As", "Mo", "Pb")
LOCATION = {"Cr": 1.8, "Mn": 2.8, "Co": 1.1, "Ni": 1.6, "Cu": 1.5, "Zn": 1.8, "As": 0.9,
            "Mo": 0.3, "Pb": 1.2}  # fmt: skip
SCALE = 0.15


@dataclass(frozen=True)
class Halo:
    """A planted deposit: mean element z within its ellipse, for the elements of one association."""

    x: float
    y: float
    radius: float = 260.0
    contrast: float = 1.2
    association: int = 0


@dataclass(frozen=True)
class Case:
    """Everything `propose_targets` takes."""

    samples: gpd.GeoDataFrame
    evidence: Evidence
    background: BackgroundReport
    spacings: tuple[Spacing, ...]
    layers: Layers
    analytes: pd.DataFrame
    quality: QualityReport
    more: dict[str, Any] = field(default_factory=dict)

    def propose(self, **kw):
        given = {"clock": datetime(2026, 3, 20, 18, 0), **self.more, **kw}
        return propose_targets(
            self.samples, self.evidence, self.background, self.spacings, self.layers,
            analytes=self.analytes, quality=self.quality, **given,
        )  # fmt: skip

    def with_layers(self, **frames):
        vector = {
            n: Layer(n, f, "name" if "name" in f.columns else None, None)
            for n, f in frames.items()
        }
        return replace(self, layers=Layers({**self.layers.vector, **vector}))


def layer(shapes, **columns):
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=CRS)


def grid_positions(lines, stations, line=200.0, station=100.0, rng=None, jitter=4.0):
    x, y = np.meshgrid(np.arange(lines) * line, np.arange(stations) * station, indexing="ij")
    xy = np.column_stack([x.ravel(), y.ravel()])
    return xy + (rng.normal(0, jitter, xy.shape) if rng is not None else 0.0)


def random_halos(rng, n, width, height, *, low=0.7, high=1.5, apart=1200.0, margin=350.0):
    halos = []
    for _ in range(5000):
        if len(halos) == n:
            break
        x, y = rng.uniform(margin, width - margin), rng.uniform(margin, height - margin)
        if all(np.hypot(x - h.x, y - h.y) > apart for h in halos):
            halos.append(
                Halo(x, y, rng.uniform(240, 320), rng.uniform(low, high), int(rng.integers(3)))
            )
    return halos


def halo_shape(xy, halo):
    r = np.hypot(xy[:, 0] - halo.x, xy[:, 1] - halo.y) / halo.radius
    shape = np.exp(-(r**2))
    inside = r <= 1.0
    return shape / shape[inside].mean() * halo.contrast if inside.any() else shape, inside


def make_case(
    xy=None, *, seed=1, lines=20, stations=30, line=200.0, station=100.0, nugget=0.4,
    range_m=400.0, halos=(), common=0.3, medium="soil", regular=True, regolith="residual",
    source="pxrf", lab_share=0.0, spikes=(), heights=None, **more,
):  # fmt: skip
    """Make a survey; element z share `common` of their variance, each with continuity."""
    rng = np.random.default_rng(seed)
    if xy is None:
        xy = grid_positions(lines, stations, line, station, rng)
    n = len(xy)
    fields = simulate_fields(
        xy, nugget=nugget, sill=1.0, range_m=range_m, n_fields=len(ELEMENTS) + 1, rng=rng,
        n_waves=512,
    )  # fmt: skip
    z = np.sqrt(1 - common) * fields[1:] + np.sqrt(common) * fields[0]
    for halo in halos:
        shape, _ = halo_shape(xy, halo)
        for e in ASSOCIATIONS[halo.association].weights:
            z[ELEMENTS.index(e)] += shape
    for k, e, size in spikes:
        z[ELEMENTS.index(e), k] += size
    scores, used = {}, []
    for a in ASSOCIATIONS:
        w = np.array([a.weights[e] for e in a.weights])
        rows = z[[ELEMENTS.index(e) for e in a.weights]]
        spread = np.sqrt((1 - common) * (w**2).sum() + common * w.sum() ** 2)
        scores[a.name] = w @ rows / spread
        used.append(replace(a, used=tuple(a.weights)))
    ids = np.array([f"S-{i + 1:05d}" for i in range(n)], dtype=object)
    sample = {
        "sample_id": ids,
        "medium": medium,
        "grid": "A",
        "regolith": regolith,
        "role": "routine",
    }
    if heights is not None:
        sample["elevation"] = heights
    frame = tables.conform(pd.DataFrame(sample), tables.SAMPLES)
    columns = {}
    sent = rng.random(n) < lab_share
    for j, e in enumerate(ELEMENTS):
        value = 10 ** (LOCATION[e] + SCALE * z[j])
        columns[f"{e}_ppm"] = value
        columns[f"{e}_ppm_below"] = np.zeros(n, dtype=bool)
        columns[f"{e}_ppm_above"] = np.zeros(n, dtype=bool)
        columns[f"{e}_ppm_err"] = 0.06 * value
        if lab_share:
            lab = value * 10 ** rng.normal(0, 0.02, n)
            columns[f"{e}_ppm__lab"] = np.where(sent, lab, np.nan)
            columns[f"{e}_ppm__lab_below"] = np.zeros(n, dtype=bool)
    shift = xy + np.array([WEST, SOUTH])
    samples = gpd.GeoDataFrame(
        pd.concat([frame, pd.DataFrame(columns)], axis=1),
        geometry=gpd.points_from_xy(shift[:, 0], shift[:, 1]), crs=CRS,
    )  # fmt: skip
    anomalies = pd.DataFrame(
        {"sample_id": ids, "medium": medium, "domain": "all", "easting": shift[:, 0],
         "northing": shift[:, 1], **{f"{e}_z": z[j] for j, e in enumerate(ELEMENTS)},
         "group": pd.array([1] * n, dtype="Int64")}
    )  # fmt: skip
    evidence = Evidence(
        anomalies=gpd.GeoDataFrame(anomalies, geometry=samples.geometry, crs=CRS),
        z_all=anomalies[[f"{e}_z" for e in ELEMENTS]],
        elements=ELEMENTS, excluded={}, associations=tuple(used), scores=pd.DataFrame(scores),
        coherence=pd.DataFrame(scores), clusters=pd.DataFrame(),
    )  # fmt: skip
    backgrounds = tables.conform(
        pd.DataFrame(
            {"medium": medium, "domain": "all", "element": list(ELEMENTS),
             "location": [LOCATION[e] for e in ELEMENTS], "scale": SCALE, "n": n}
        ),
        tables.BACKGROUNDS,
    )  # fmt: skip
    spacing = Spacing(
        medium, "A", n, station, line if regular else station, station,
        0.0 if regular else float("nan"), regular, n * line * station / 1e6,
    )  # fmt: skip
    analytes = [
        {"assay": "xrf", "source": source, "element": e, "medium": medium, "accepted": True}
        for e in ELEMENTS
    ]
    if lab_share:
        analytes += [
            {"assay": "lab", "source": "laboratory", "element": e, "medium": medium}
            for e in ELEMENTS
        ]
    verdicts = [
        {"source": "pxrf", "assay": "xrf", "batch": "day 1", "element": e, "verdict": "pass"}
        for e in ELEMENTS
    ]
    nothing = pd.DataFrame()
    return Case(
        samples, evidence, BackgroundReport(nothing, backgrounds, nothing), (spacing,), Layers(),
        tables.conform(pd.DataFrame(analytes), tables.ANALYTES),
        QualityReport(tables.conform(pd.DataFrame(verdicts), tables.QUALITY), nothing, nothing,
                      nothing, nothing, (), nothing, nothing),
        more,
    )  # fmt: skip


def shuffled(case, seed=5):
    """Give the same survey with rows of every table in another order."""
    rng = np.random.default_rng(seed)
    a, b = rng.permutation(len(case.samples)), rng.permutation(len(case.samples))
    e = case.evidence
    evidence = replace(
        e, anomalies=e.anomalies.iloc[b].reset_index(drop=True),
        scores=e.scores.iloc[b].reset_index(drop=True),
        coherence=e.coherence.iloc[b].reset_index(drop=True),
        z_all=e.z_all.iloc[b].reset_index(drop=True),
    )  # fmt: skip
    return replace(
        case, samples=case.samples.iloc[a].reset_index(drop=True), evidence=evidence,
        analytes=case.analytes.iloc[::-1].reset_index(drop=True),
    )  # fmt: skip


@pytest.fixture(scope="session")
def planted():
    """Two clear halos on a 20 x 30 grid."""
    halos = [Halo(1000, 900, 300, 2.5, 0), Halo(2900, 2100, 280, 2.2, 1)]
    return make_case(seed=3, halos=halos, lab_share=0.2)


@pytest.fixture(scope="session")
def planted_report(planted):
    return planted.propose()


@pytest.fixture(scope="session")
def make():
    return make_case


@pytest.fixture(scope="session", name="halo")
def halo_fixture():
    return Halo


@pytest.fixture(scope="session", name="layer")
def layer_fixture():
    return layer


@pytest.fixture(scope="session", name="grid_positions")
def grid_fixture():
    return grid_positions


@pytest.fixture(scope="session", name="shuffle")
def shuffle_fixture():
    return shuffled
