import importlib.util
import sys
from pathlib import Path

import pytest

DEMO = Path(__file__).resolve().parents[2] / "maps_demo"


def load_simulator():
    """Load the simulator as a package by its place, whatever the import path is."""
    name = "geochem_demo_simulator"
    if name in sys.modules:
        return sys.modules[name]
    folder = DEMO / "simulator"
    spec = importlib.util.spec_from_file_location(
        name, folder / "__init__.py", submodule_search_locations=[str(folder)]
    )
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    try:
        spec.loader.exec_module(module)
    except BaseException:
        del sys.modules[name]
        raise
    return module


@pytest.fixture(scope="session")
def simulator():
    return load_simulator()


@pytest.fixture(scope="session")
def demo_folder():
    return DEMO


@pytest.fixture(scope="session")
def demonstration(simulator):
    return simulator.simulate(simulator.DEMONSTRATION)


@pytest.fixture(scope="session")
def written(simulator, demonstration, tmp_path_factory):
    """The demonstration as files, with the list of slips."""
    folder = tmp_path_factory.mktemp("written") / "campaign"
    slips = simulator.write_campaign(demonstration, folder, truth=folder.parent / "truth.geojson")
    return folder, slips
