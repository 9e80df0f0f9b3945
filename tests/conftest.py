"""Fixtures that many tests share."""

from __future__ import annotations

import importlib.util
from importlib.resources import files
from pathlib import Path

import pytest

HERE = Path(__file__).parent


def load_file(path: Path):
    """Import a Python file that is in no package."""
    spec = importlib.util.spec_from_file_location(path.stem, path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(autouse=True)
def sealed_registry(monkeypatch):
    """Nothing that happens to be installed on the machine may leak into a test."""
    from geochem import plugins

    monkeypatch.setattr(plugins, "_sealed", True)


@pytest.fixture(scope="session")
def bundle():
    """A small but complete set of records, all invented."""
    return load_file(HERE / "bundle_factory.py").make_bundle()


@pytest.fixture(scope="session")
def make_bundle():
    """Make such sets with other settings."""
    return load_file(HERE / "bundle_factory.py").make_bundle


@pytest.fixture(scope="session")
def meuse_file() -> Path:
    """Topsoil along the river Meuse, 155 samples, EPSG:28992.

    Rikken & Van Rijn 1993; public in the R package sp and carried by scikit-gstat.
    """
    pytest.importorskip("skgstat", reason="scikit-gstat carries the data")
    return Path(str(files("skgstat") / "data" / "samples" / "meuse.txt"))


@pytest.fixture(scope="session")
def meuse(meuse_file):
    """The meuse table as a data frame."""
    import pandas as pd

    return pd.read_csv(meuse_file)
