"""Writes the outputs, on request with two processes."""

from __future__ import annotations

import multiprocessing
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from geochem.errors import GeochemError
from geochem.model.bundle import Bundle

#: name, ready renderer, checked options
Method = tuple[str, Any, dict[str, Any]]


def render_all(
    methods: Sequence[Method],
    bundle: Bundle,
    folder: Path,
    *,
    jobs: int = 1,
    tell: Callable[[str], None],
) -> dict[str, float]:
    """Let every renderer write into a folder.

    With two jobs the figures are drawn by a second process while this one writes what does not
    read the folder. The second process is a fork, which shares the records without copying them;
    where the system has none (Windows) one process does all. The files are the same either way.

    Parameters
    ----------
    methods : sequence of (name, renderer, options)
        In order; a renderer whose ``reads_folder`` is not False comes after the others.
    bundle : Bundle
        Records of a run.
    folder : Path
        Result folder in the making.
    jobs : int, default 1
        Processes at most.
    tell : callable
        Told the title of what starts.

    Returns
    -------
    dict of str to float
        Seconds per renderer.

    Raises
    ------
    GeochemError
        If the second process failed.
    """
    timings: dict[str, float] = {}
    free = [m for m in methods if not getattr(m[1], "reads_folder", True)]
    rest = [m for m in methods if m not in free]
    drawn = [m for m in free if m[0] == "figures"]
    second = None
    if jobs > 1 and drawn and "fork" in multiprocessing.get_all_start_methods():
        tell("Writing figures")
        free = [m for m in free if m not in drawn]
        context = multiprocessing.get_context("fork")
        receiver, sender = context.Pipe(duplex=False)
        second = context.Process(target=_apart, args=(drawn, bundle, folder, sender))
        second.start()
    for method in free:
        _render(method, bundle, folder, timings, tell)
    if second is not None:
        answer = receiver.recv() if receiver.poll(None) else "it ended without a word"
        second.join()
        if isinstance(answer, str):
            raise GeochemError(f"drawing the figures in a second process failed: {answer}")
        timings.update(answer)
    for method in rest:
        _render(method, bundle, folder, timings, tell)
    return timings


def _render(
    method: Method,
    bundle: Bundle,
    folder: Path,
    timings: dict[str, float],
    tell: Callable[[str], None],
) -> None:
    name, renderer, options = method
    tell(f"Writing {name.replace('_', ' ')}")
    start = time.perf_counter()
    renderer.render(bundle, folder, **options)
    timings[f"write_{name}"] = time.perf_counter() - start


def _apart(methods: Sequence[Method], bundle: Bundle, folder: Path, sender: Any) -> None:
    timings: dict[str, float] = {}
    try:
        for method in methods:
            _render(method, bundle, folder, timings, lambda _: None)
        sender.send(timings)
    except Exception as error:  # said by the first process
        sender.send(f"{type(error).__name__}: {error}")
    finally:
        sender.close()
