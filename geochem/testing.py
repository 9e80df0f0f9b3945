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
        A class with ``name``, ``summary``, ``api_version``, ``can_read`` and ``read``; an
        attribute ``example`` (file name, bytes) is read too.

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
        example = getattr(method, "example", None)
        if example is not None:
            faults += _check_example(method, Path(folder), *example)
    return faults


def _check_example(method: Any, folder: Path, name: str, content: bytes) -> list[str]:
    """Read the small file that a reader brings as its example."""
    from geochem.model import tables
    from geochem.model.reading import AssayRead

    path = folder / name
    path.write_bytes(content)
    who = method.__name__
    if not method().can_read(path):
        return [f"{who}.can_read refuses its own example '{name}'."]
    try:
        read = method().read(path)
        again = method().read(path)
    except Exception as error:
        return [f"{who}.read on its own example raised {error!r}."]
    if not isinstance(read, AssayRead):
        return [f"{who}.read gave {type(read).__name__}, not an AssayRead."]
    faults = []
    if path.read_bytes() != content:
        faults.append(f"{who}.read changed the file.")
    missing = [c for c in tables.RESULTS if c not in read.results.columns]
    if missing:
        faults.append(f"the results of {who} lack the columns {', '.join(missing)}.")
    elif not len(read.results):
        faults.append(f"{who}.read finds no value in its own example.")
    elif (read.results["below"] & read.results["above"]).any():
        faults.append(f"{who} marks a value as below and above a limit at once.")
    if not read.results.equals(again.results):
        faults.append(f"{who}.read gives another table the second time.")
    return faults


def check_ranker(method: Any) -> list[str]:
    """Check a ranker: it ranks every target once, by the table alone.

    Parameters
    ----------
    method : type
        A class with ``name``, ``summary``, ``reference`` and ``rank``.

    Returns
    -------
    list of str
        One sentence per fault.
    """
    from geochem.targets.ranking import checked_ranking

    faults = _check_card(method, "rank") if hasattr(method, "rank") else _check_card(method, None)
    if not callable(getattr(method, "rank", None)):
        faults.append(f"{method.__name__} has no method 'rank'.")
    if not hasattr(method, "reference"):
        faults.append(f"{method.__name__} has no attribute 'reference'.")
    if faults:
        return faults
    table = _criteria()
    names = sorted(set(table["target"]))
    given = table.copy()
    try:
        first = checked_ranking(method().rank(table), names, method.name)
        shuffled = table.iloc[::-1].reset_index(drop=True)
        again = method().rank(shuffled)
    except GeochemError as error:
        return [str(error)]
    except Exception as error:
        return [f"{method.__name__}.rank raised {error!r}."]
    if not table.equals(given):
        faults.append(f"{method.__name__}.rank changed its input.")
    if first.target != again.target:
        faults.append(f"{method.__name__}.rank ranks by the order of the rows.")
    low, high = list(first.rank_low), list(first.rank_high)
    if any(not lo <= i <= hi for i, (lo, hi) in enumerate(zip(low, high, strict=True), 1)):
        faults.append(f"{method.__name__}.rank gives a rank outside its own interval.")
    return faults


def _criteria() -> Any:
    """Make a table as rankers get it: six targets, two criteria, clear steps between them."""
    import pandas as pd

    rows = [
        (f"T{i:02d}", criterion, 10.0 - i, 1.0 - i / 10, 0.01, f"{criterion} of T{i:02d}")
        for i in range(1, 7)
        for criterion in ("strength", "support")
    ]
    return pd.DataFrame(
        rows, columns=["target", "criterion", "value", "scaled", "spread", "statement"]
    )


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


def write_example_campaign(folder: Path, *, seed: int = 1, renderers: Any = None) -> Path:
    """Write a small invented campaign: 120 soils on 12 lines, copper raised in the middle.

    Parameters
    ----------
    folder : Path
        Made when missing.
    seed : int, default 1
        Written into the campaign file.
    renderers : list of str, optional
        What a run writes; default: everything.

    Returns
    -------
    Path
        The campaign file.
    """
    import json

    import numpy as np

    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(5)
    line, station = np.divmod(np.arange(120), 10)
    x, y = 500_000 + 100 * line, 7_000_000 + 50 * station
    lift = 1 + 8 * np.exp(-((line - 5) ** 2 + (station - 5) ** 2) / 4)
    log, readings = ["sample_id,easting,northing,line,date"], ["sample_id,Cu_ppm,Zn_ppm,Pb_ppm"]
    for i in range(120):
        log.append(f"S{i:03d},{x[i]},{y[i]},L{line[i]},2026-03-{10 + line[i]:02d}")
        cu = 25 * lift[i] * np.exp(rng.normal(0, 0.25))
        zn, pb = 60 * np.exp(rng.normal(0, 0.3, 2)) * [1, 0.3]
        readings.append(f"S{i:03d},{cu:.1f},{zn:.1f},{'<10' if pb < 10 else f'{pb:.1f}'}")
    (folder / "field_log.csv").write_text("\n".join(log) + "\n", encoding="utf-8")
    (folder / "readings.csv").write_text("\n".join(readings) + "\n", encoding="utf-8")
    outputs = f"[outputs]\nrenderers = {json.dumps(renderers)}\n" if renderers else ""
    path = folder / "campaign.toml"
    path.write_text(
        f'title = "Small grid (invented)"\ncrs = "EPSG:32735"\nseed = {seed}\n\n'
        '[samples]\npath = "field_log.csv"\nmedium = "soil"\n\n'
        '[[assays]]\npath = "readings.csv"\nsource = "laboratory"\n\n'
        f'[targets]\nseek = ["Cu"]\n\n{outputs}',
        encoding="utf-8",
    )
    return path


def example_bundle() -> Any:
    """Work out all records of the small invented campaign, for checks of renderers.

    Returns
    -------
    Bundle
        As a renderer gets it.
    """
    from geochem.campaign.records import bundle_of

    with tempfile.TemporaryDirectory() as name:
        return bundle_of(write_example_campaign(Path(name)))


CHECKS: dict[str, Callable[[Any], list[str]]] = {
    "thresholds": check_threshold,
    "readers": check_reader,
    "rankers": check_ranker,
    "renderers": check_renderer,
}


def check_plugin(group: str, name: str, bundle: Any = None) -> list[str]:
    """Check one registered method.

    Parameters
    ----------
    group, name : str
        As `geochem plugins` lists them.
    bundle : Bundle, optional
        Records for a renderer to draw.

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
    method = plugins.load(group, name)
    faults = [] if getattr(method, "name", name) == name else [
        f"it is registered as '{name}' and calls itself '{method.name}'."
    ]  # fmt: skip
    if group == "renderers":
        return faults + check_renderer(method, bundle)
    return faults + CHECKS[group](method)


def check_named(name: str) -> list[str]:
    """Check a method by its name in whatever group it is; a renderer draws an example.

    Parameters
    ----------
    name : str
        As `geochem plugins` lists it.

    Returns
    -------
    list of str
        One sentence per fault.

    Raises
    ------
    WrongCall
        If no group has that name.
    """
    from geochem import plugins

    groups = [group for group in plugins.GROUPS if name in plugins.names(group)]
    if not groups:
        raise unknown(
            "method or plug-in", name, [n for g in plugins.GROUPS for n in plugins.names(g)]
        )
    faults: list[str] = []
    for group in groups:
        bundle = example_bundle() if group == "renderers" else None
        faults += check_plugin(group, name, bundle)
    return faults
