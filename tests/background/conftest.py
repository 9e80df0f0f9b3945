from importlib.resources import files

import numpy as np
import pandas as pd
import pytest


@pytest.fixture(scope="session")
def meuse():
    """Topsoil along the river Meuse, 155 samples, EPSG:28992; carried by scikit-gstat."""
    path = files("skgstat") / "data" / "samples" / "meuse.txt"
    return pd.read_csv(str(path))


def make_soil(n_side=12, spacing=200.0, seed=0, infill=0):
    """Located soil samples on an even grid over two rock units; infill is rich in copper."""
    import geopandas as gpd

    rng = np.random.default_rng(seed)
    x, y = np.meshgrid(np.arange(n_side) * spacing, np.arange(n_side) * spacing)
    xy = np.column_stack([x.ravel(), y.ravel()]) + np.array([500_000.0, 7_500_000.0])
    n = len(xy)
    unit = np.where(xy[:, 0] < 500_000 + spacing * (n_side * 2 // 3), "granite", "basalt")
    cu = np.exp(np.where(unit == "granite", 3.0, 4.2) + 0.3 * rng.standard_normal(n))
    zn = np.exp(4.0 + 0.3 * rng.standard_normal(n))
    if infill:
        more = np.column_stack([rng.uniform(0, spacing, infill), rng.uniform(0, spacing, infill)])
        xy = np.vstack([xy, more + np.array([500_000 + 3 * spacing, 7_500_000 + 3 * spacing])])
        unit = np.append(unit, ["granite"] * infill)
        cu = np.append(cu, np.exp(6.5 + 0.2 * rng.standard_normal(infill)))
        zn = np.append(zn, np.exp(4.0 + 0.3 * rng.standard_normal(infill)))
        n += infill
    frame = gpd.GeoDataFrame(
        {
            "sample_id": [f"S{i:05d}" for i in range(n)], "medium": "soil", "horizon": None,
            "regolith": None, "geology": unit, "Cu_ppm": cu, "Zn_ppm": zn,
        },
        geometry=gpd.points_from_xy(xy[:, 0], xy[:, 1]), crs="EPSG:32735",
    )  # fmt: skip
    for e in ("Cu", "Zn"):
        frame[f"{e}_ppm_below"] = False
        frame[f"{e}_ppm_above"] = False
        frame[f"{e}_ppm_err"] = np.nan
    return frame


@pytest.fixture(scope="session")
def jura():
    """Soils of the Swiss Jura, 259 samples (Goovaerts 1997, appendix C), from R's package gstat."""
    import shutil
    import subprocess
    from io import StringIO

    if shutil.which("Rscript") is None:
        pytest.skip("R is not installed")
    script = 'data(jura, package = "gstat"); write.csv(prediction.dat, row.names = FALSE)'
    done = subprocess.run(["Rscript", "-e", script], capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip("R's package gstat is not installed")
    return pd.read_csv(StringIO(done.stdout))


@pytest.fixture
def soil():
    return make_soil


@pytest.fixture(scope="session")
def sixteen():
    """Set of sixteen values whose thresholds were worked out by hand. [ppm]"""
    return [8, 9, 10, 10, 11, 12, 12, 13, 14, 15, 16, 18, 20, 25, 40, 150]
