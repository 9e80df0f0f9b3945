"""Independent pieces of work on several threads, with the answers in order.

numpy, LAPACK and the sparse products of scipy let other threads run while they work, so pieces of
some milliseconds and more gain. What is done with a piece must depend on that piece alone: then the
number of threads changes no digit.
"""

from __future__ import annotations

import functools
import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from threadpoolctl import ThreadpoolController

Piece = TypeVar("Piece")
Answer = TypeVar("Answer")


def in_threads(work: Callable[[Piece], Answer], pieces: Iterable[Piece]) -> list[Answer]:
    """Do the same with every piece.

    Parameters
    ----------
    work : callable
        Called with a piece; must not change what another piece needs.
    pieces : iterable
        The pieces.

    Returns
    -------
    list
        What `work` gave, in the order of the pieces.

    Examples
    --------
    >>> in_threads(lambda k: k * k, [3, 1, 2])
    [9, 1, 4]
    """
    listed = list(pieces)
    workers = min(len(listed), processors())
    if workers <= 1:
        return [work(piece) for piece in listed]
    # the threads of a BLAS would be threads within threads
    with _libraries().limit(limits=1, user_api="blas"), ThreadPoolExecutor(workers) as pool:
        return list(pool.map(work, listed))


@functools.cache
def _libraries() -> ThreadpoolController:
    import scipy.linalg  # noqa: F401  (its BLAS must be there to be found)
    from threadpoolctl import ThreadpoolController

    return ThreadpoolController()


def processors() -> int:
    """Count the processors that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
