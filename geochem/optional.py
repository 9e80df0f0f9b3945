"""Optional dependencies: one place that imports them and says what they are for."""

from __future__ import annotations

import importlib
from types import ModuleType

from geochem.errors import MissingExtra


def require(module: str, *, extra: str, purpose: str) -> ModuleType:
    """Import an optional module, or say in a sentence how to get it.

    Parameters
    ----------
    module : str
        Import name.
    extra : str
        The extra of this package that brings it.
    purpose : str
        What it is needed for, to complete "... is needed to <purpose>".

    Returns
    -------
    module
        The imported module.

    Raises
    ------
    MissingExtra
        If it is not installed.
    """
    try:
        return importlib.import_module(module)
    except ImportError as error:
        raise MissingExtra(
            f"the package '{module}' is needed to {purpose}; "
            f"install it with: python -m pip install 'geochem[{extra}]'"
        ) from error


def available(module: str) -> bool:
    """Say whether a module could be imported, without importing it.

    Parameters
    ----------
    module : str
        Import name.

    Returns
    -------
    bool
        True if it is installed.
    """
    from importlib.util import find_spec

    return find_spec(module) is not None
