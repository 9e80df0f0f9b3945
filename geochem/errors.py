"""What `geochem` raises: a wrong call, or data that cannot be used.

Everything here is one sentence (or several) for the user: what came, what is allowed, what to do.
Bad data are normally *findings* (see `geochem.model.finding`), not exceptions.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable


class GeochemError(Exception):
    """Any refusal by `geochem`; its text is meant for the user."""

    exit_status = 1


class DataRefused(GeochemError):
    """The data cannot be used at all; `reasons` holds one sentence per cause.

    Parameters
    ----------
    reasons : str or iterable of str
        Sentences for the user.
    """

    exit_status = 1

    def __init__(self, reasons: str | Iterable[str]) -> None:
        self.reasons: tuple[str, ...] = (reasons,) if isinstance(reasons, str) else tuple(reasons)
        super().__init__("\n".join(self.reasons))


class WrongCall(GeochemError, ValueError):
    """A wrong argument, option or campaign file; also a ValueError."""

    exit_status = 2


class MissingExtra(GeochemError, ImportError):
    """An optional dependency is needed and not installed."""

    exit_status = 2


def nearest(word: str, allowed: Iterable[str]) -> str:
    """Say which allowed word is nearest, as the end of a sentence.

    Parameters
    ----------
    word : str
        What came.
    allowed : iterable of str
        What is possible.

    Returns
    -------
    str
        ``" Did you mean 'x'?"`` or an empty string.

    Examples
    --------
    >>> nearest("median_madd", ["median_mad", "percentile"])
    " Did you mean 'median_mad'?"
    """
    by_small = {name.lower(): name for name in allowed}
    close = difflib.get_close_matches(word.lower(), list(by_small), n=1)
    return f" Did you mean '{by_small[close[0]]}'?" if close else ""


def unknown(kind: str, word: str, allowed: Iterable[str]) -> WrongCall:
    """Make the house form of "unknown name" as an exception.

    Parameters
    ----------
    kind : str
        What the word should have named, for example ``"threshold method"``.
    word : str
        What came.
    allowed : iterable of str
        What is possible.

    Returns
    -------
    WrongCall
        To be raised by the caller.

    Examples
    --------
    >>> str(unknown("unit", "pmp", ["ppb", "ppm"]))
    "unknown unit 'pmp'; possible: ppb, ppm. Did you mean 'ppm'?"
    """
    names = sorted(allowed)
    return WrongCall(
        f"unknown {kind} '{word}'; possible: {', '.join(names)}.{nearest(word, names)}"
    )
