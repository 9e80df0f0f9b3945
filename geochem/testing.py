"""Conformance checks for the authors of methods and plug-ins; the built-ins pass the same.

Each function returns a list of sentences, one per fault; an empty list means that the method may
be used. ``geochem plugins`` lists methods, these functions test them.

Examples
--------
>>> from geochem.background import MedianMad
>>> check_threshold(MedianMad)
[]
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from geochem.errors import GeochemError, unknown
from geochem.model.threshold import Threshold


def _check_card(method: Any, function: str | None) -> list[str]:
    from geochem import plugins

    faults = [
        f"{method.__name__} has no text attribute '{name}'."
        for name in ("name", "summary")
        if not isinstance(getattr(method, name, None), str) or not getattr(method, name)
    ]
    try:
        plugins.options_of(method, function)
    except GeochemError as error:
        faults.append(str(error))
    return faults


def check_threshold(method: Any) -> list[str]:
    """Check a threshold method.

    Parameters
    ----------
    method : type
        A class with ``name``, ``summary``, ``reference``, ``needs`` and ``fit``.

    Returns
    -------
    list of str
        One sentence per fault.
    """
    import numpy as np

    faults = _check_card(method, None)
    for attribute in ("reference", "needs"):
        if not hasattr(method, attribute):
            faults.append(f"{method.__name__} has no attribute '{attribute}'.")
    if faults:
        return faults
    rng = np.random.default_rng(7)
    values = np.exp(rng.normal(3.0, 0.5, 400))
    values[:20] *= 8.0
    below = values < np.quantile(values, 0.05)
    values[below] = np.quantile(values, 0.05)
    coordinates = np.column_stack([np.arange(400) % 20, np.arange(400) // 20]) * 100.0
    given = values.copy()
    fitted = method().fit(values, below=below, coordinates=coordinates)
    if not isinstance(fitted, Threshold):
        return [f"{method.__name__}.fit gave {type(fitted).__name__}, not a Threshold."]
    if not np.array_equal(given, values):
        faults.append(f"{method.__name__}.fit changed its input.")
    if not values.min() < fitted.value < values.max():
        faults.append(
            f"{method.__name__} put the threshold at {fitted.value:.4g}, outside the data."
        )
    order = rng.permutation(400)
    again = method().fit(values[order], below=below[order], coordinates=coordinates[order])
    if not np.isclose(again.value, fitted.value, rtol=1e-9):
        faults.append(f"{method.__name__} gives another value when the rows are in another order.")
    thousandfold = method().fit(values * 1000.0, below=below, coordinates=coordinates)
    if not np.isclose(thousandfold.value, fitted.value * 1000.0, rtol=1e-3):
        faults.append(f"{method.__name__} depends on the unit of its input.")
    faults += _check_hard_cases(method)
    return faults


def _check_hard_cases(method: Any) -> list[str]:
    import numpy as np

    faults = []
    cases = {
        "no value": (np.array([]), None),
        "one value": (np.array([5.0]), None),
        "equal values": (np.full(50, 5.0), None),
        "only limits": (np.full(50, 5.0), np.ones(50, dtype=bool)),
        "missing values": (np.r_[np.full(30, np.nan), np.arange(1.0, 31.0)], None),
    }
    for words, (values, below) in cases.items():
        coordinates = np.column_stack([np.arange(len(values)), np.arange(len(values)) % 3]) * 1.0
        try:
            fitted = method().fit(values, below=below, coordinates=coordinates)
        except GeochemError:
            continue
        except Exception as error:
            faults.append(f"{method.__name__}.fit on {words} raised {error!r}.")
            continue
        if not np.isfinite(fitted.value) and not fitted.warnings:
            faults.append(f"{method.__name__}.fit on {words} gave no value and no warning.")
    return faults


def check_reader(method: Any) -> list[str]:
    """Check a reader: it must refuse what it cannot read in a sentence.

    Parameters
    ----------
    method : type
        A class with ``name``, ``summary``, ``api_version``, ``can_read`` and ``read``.

    Returns
    -------
    list of str
        One sentence per fault.
    """
    faults = _check_card(method, "read")
    if getattr(method, "api_version", None) != 1:
        faults.append(f"{method.__name__}.api_version must be 1.")
    if faults:
        return faults
    with tempfile.TemporaryDirectory() as folder:
        strange = Path(folder) / "strange.bin"
        strange.write_bytes(bytes(range(256)) * 8)
        try:
            if method().can_read(strange):
                method().read(strange)
        except GeochemError:
            pass
        except Exception as error:
            faults.append(f"{method.__name__} on a file of random bytes raised {error!r}.")
    return faults


def check_ranker(method: Any) -> list[str]:
    """Check the card and options of a ranker.

    Parameters
    ----------
    method : type
        A class with ``name``, ``summary`` and ``rank``.

    Returns
    -------
    list of str
        One sentence per fault.
    """
    faults = _check_card(method, "rank")
    if not callable(getattr(method, "rank", None)):
        faults.append(f"{method.__name__} has no method 'rank'.")
    return faults


def check_renderer(method: Any, bundle: Any = None) -> list[str]:
    """Check a renderer, on a bundle when one is given.

    Parameters
    ----------
    method : type
        A class with ``name``, ``summary``, ``formats`` and ``render``.
    bundle : Bundle, optional
        Records to draw.

    Returns
    -------
    list of str
        One sentence per fault.
    """
    faults = _check_card(method, "render")
    if not getattr(method, "formats", None):
        faults.append(f"{method.__name__}.formats must name what it writes.")
    if faults or bundle is None:
        return faults
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        written = method().render(bundle, folder)
        listed = {Path(p).resolve() for p in written}
        found = {p.resolve() for p in folder.rglob("*") if p.is_file()}
        if not listed:
            faults.append(f"{method.__name__}.render wrote nothing.")
        for path in sorted(listed - found):
            faults.append(f"{method.__name__}.render names {path.name}, which is not there.")
        for path in sorted(found - listed):
            faults.append(f"{method.__name__}.render wrote {path.name} and does not name it.")
    return faults


CHECKS: dict[str, Callable[[Any], list[str]]] = {
    "thresholds": check_threshold,
    "readers": check_reader,
    "rankers": check_ranker,
    "renderers": check_renderer,
}


def check_plugin(group: str, name: str) -> list[str]:
    """Check one registered method.

    Parameters
    ----------
    group, name : str
        As `geochem plugins` lists them.

    Returns
    -------
    list of str
        One sentence per fault.

    Raises
    ------
    WrongCall
        If there is no such group or name.
    """
    from geochem import plugins

    if group not in CHECKS:
        raise unknown("plug-in group", group, CHECKS)
    return CHECKS[group](plugins.load(group, name))
