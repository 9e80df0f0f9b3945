import importlib.util
from pathlib import Path

import pytest

HERE = Path(__file__).parent


def load(name: str):
    """Load a script of this folder by its place."""
    spec = importlib.util.spec_from_file_location(name, HERE / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def kill_runs():
    return load("kill_runs")


@pytest.fixture(scope="session")
def small():
    return load("small_campaign")
