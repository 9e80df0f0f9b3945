"""Writes the outputs, on request with two processes."""

from __future__ import annotations

import gc
import multiprocessing
import time
from collections.abc import Callable, Sequence
from functools import partial
from itertools import chain
from pathlib import Path
from typing import Any

from geochem.campaign.memory import give_back
from geochem.errors import GeochemError
from geochem.model.bundle import Bundle

#: name, ready renderer, checked options
Method = tuple[str, Any, dict[str, Any]]
#: name of a renderer, something of it that can be done apart
Piece = tuple[str, Callable[[], Any]]
#: a piece that took longer has freed much memory [s]
LONG = 2.0


def render_all(
    methods: Sequence[Method],
    bundle: Bundle,
    folder: Path,
    *,
    jobs: int = 1,
    tell: Callable[[str], None],
) -> dict[str, float]:
    """Let every renderer write into a folder.

    With two jobs a second process takes its share, first of the figures, then of all else but what
    reads the whole folder: each takes the next piece when it is done with one, large pieces first.
    The second process is a fork, which shares the records without copying them; where the system
    has none (Windows) one process does all. The files are the same either way.

    Parameters
    ----------
    methods : sequence of (name, renderer, options)
        In order. One with ``draws_figures`` comes first; one whose ``reads_folder`` is False, or
        ``"figures"`` (it needs these, and no other file), comes next; the others come last and one
        by one. One that has ``pieces(bundle, folder, **options)``, an iterable of functions that
        together do what ``render`` does, is shared among the processes.
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
        If another process failed.
    """
    timings: dict[str, float] = {}
    several = jobs > 1 and "fork" in multiprocessing.get_all_start_methods()
    groups: list[list[Method]] = [[], [], []]
    for method in methods:
        groups[_phase(method[1])].append(method)
    for number, group in enumerate(groups):
        if several and group and number < 2:
            timings.update(_shared(group, bundle, folder, jobs, tell))
            continue
        for name, renderer, options in group:
            tell(_title(name))
            start = time.perf_counter()
            renderer.render(bundle, folder, **options)
            timings[f"write_{name}"] = time.perf_counter() - start
    return timings


def _phase(renderer: Any) -> int:
    if getattr(renderer, "draws_figures", False):
        return 0
    return 1 if getattr(renderer, "reads_folder", True) in (False, "figures") else 2


def _title(name: str) -> str:
    return f"Writing {name.replace('_', ' ')}"


def _pieces(methods: Sequence[Method], bundle: Bundle, folder: Path) -> list[Piece]:
    """List what can be done apart: first pieces, which are long, whole renderers, the rest."""
    whole = [
        (name, partial(renderer.render, bundle, folder, **options))
        for name, renderer, options in methods
        if not hasattr(renderer, "pieces")
    ]
    parted: list[list[Piece]] = [
        [(name, piece) for piece in renderer.pieces(bundle, folder, **options)]
        for name, renderer, options in methods
        if hasattr(renderer, "pieces")
    ]
    first = [pieces[0] for pieces in parted if pieces]
    return [*first, *whole, *chain.from_iterable(pieces[1:] for pieces in parted)]


def _shared(
    methods: Sequence[Method],
    bundle: Bundle,
    folder: Path,
    jobs: int,
    tell: Callable[[str], None],
) -> dict[str, float]:
    """Let several processes take piece after piece until none is left."""
    pieces = _pieces(methods, bundle, folder)
    context = multiprocessing.get_context("fork")
    turn = context.Value("q", 0)
    others = []
    gc.freeze()  # records stay where they are: what a collector touches would be copied
    for _ in range(min(jobs, len(pieces)) - 1):
        receiver, sender = context.Pipe(duplex=False)
        process = context.Process(target=_apart, args=(pieces, turn, sender))
        process.start()
        sender.close()  # so that the end of the process is seen
        others.append((process, receiver))
    told: set[str] = set()

    def tell_until(number: int) -> None:
        for name, _ in pieces[: number + 1]:
            if name not in told:
                told.add(name)
                tell(_title(name))

    failed = []
    timings: dict[str, float] = {}
    try:
        timings = _take(pieces, turn, tell_until)
    finally:
        turn.value = max(turn.value, len(pieces))
        for process, receiver in others:
            try:
                answer = receiver.recv()
            except EOFError:
                answer = "it ended without a word"
            process.join()
            if isinstance(answer, str):
                failed.append(answer)
            else:
                for name, seconds in answer.items():
                    timings[name] = timings.get(name, 0.0) + seconds
        gc.unfreeze()
    if failed:
        raise GeochemError(f"writing in a second process failed: {failed[0]}")
    for name, _, _ in methods:
        if name not in told:
            tell(_title(name))
    return timings


def _take(
    pieces: Sequence[Piece], turn: Any, starts: Callable[[int], None] = lambda _: None
) -> dict[str, float]:
    """Do the next piece that nobody has taken, again and again; give seconds per renderer."""
    timings: dict[str, float] = {}
    collecting = gc.isenabled()
    gc.disable()  # see the renderer of the figures, which leaves most behind
    try:
        while True:
            with turn.get_lock():
                number = turn.value
                turn.value = number + 1
            if number >= len(pieces):
                return timings
            starts(number)
            name, piece = pieces[number]
            start = time.perf_counter()
            piece()
            taken = time.perf_counter() - start
            timings[f"write_{name}"] = timings.get(f"write_{name}", 0.0) + taken
            if taken > LONG:  # what a large table left free is wanted by the next one
                give_back()
    finally:
        if collecting:
            gc.enable()


def _apart(pieces: Sequence[Piece], turn: Any, sender: Any) -> None:
    try:
        sender.send(_take(pieces, turn))
    except Exception as error:  # said by the first process
        turn.value = len(pieces)
        sender.send(f"{type(error).__name__}: {error}")
    finally:
        sender.close()
