import importlib.util
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
SIMULATOR = HERE.parents[1] / "maps_demo" / "simulator" / "__init__.py"


def load(name, path):
    """Load a package or module by its place, once."""
    if name not in sys.modules:
        folder = [str(path.parent)] if path.name == "__init__.py" else None
        spec = importlib.util.spec_from_file_location(
            name, path, submodule_search_locations=folder
        )
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        try:
            spec.loader.exec_module(module)
        except BaseException:
            del sys.modules[name]
            raise
    return sys.modules[name]


@pytest.fixture(scope="session")
def simulator():
    return load("geochem_demo_simulator", SIMULATOR)


@pytest.fixture(scope="session")
def scoring():
    return load("simulation_scoring", HERE / "scoring.py")


@pytest.fixture(scope="session")
def yardsticks():
    return load("simulation_yardsticks", HERE / "yardsticks.py")
