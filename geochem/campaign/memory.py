"""What a run needs of memory, and `--memory`: kept, or refused before anything starts."""

from __future__ import annotations

import contextlib
import ctypes
import gc
import re
from collections.abc import Iterator
from typing import TYPE_CHECKING

from geochem.errors import WrongCall

if TYPE_CHECKING:
    from geochem.read.survey_table import SurveyTable

_UNITS = {"K": 2**10, "M": 2**20, "G": 2**30, "T": 2**40}
#: libraries, tables of the map and the page, per process (measured) [bytes]
_BASE = int(0.45 * 2**30)
#: bytes per row while the levels of one element are found, and what stays beside it: value, flags,
#: error, their copy in the order of units, sorting, log-ratio (measured: 130 to 160)
_PER_ROW = 170
#: bytes per value while a block is scored (measured: about 60)
_PER_VALUE = 75
#: a whole run: libraries and figures; per sample; per value of any assay (measured) [bytes]
_CAMPAIGN = int(0.75 * 2**30)
_PER_SAMPLE = 2_000
_PER_RESULT = 640
#: a further process that writes outputs, pages it shares not counted; per value (measured) [bytes]
_WRITING = int(0.2 * 2**30)
_PER_RESULT_WRITTEN = 100
#: thresholds of the collector of garbage, by generation
SELDOM = (20_000, 50, 100)


@contextlib.contextmanager
def collecting_seldom() -> Iterator[None]:
    """Let the collector of garbage look at the records of a run seldom.

    A run makes millions of texts and small records that stay, and hardly any cycles; at the usual
    thresholds the collector walks over them again and again, a twentieth of the time.
    """
    before = gc.get_threshold()
    gc.set_threshold(*SELDOM)
    try:
        yield
    finally:
        gc.set_threshold(*before)


def give_back() -> None:
    """Give freed memory back to the system where the C library holds on to it (Linux).

    After the steps of a large run that is a fifth of all; a second process must not begin with it.
    """
    with contextlib.suppress(AttributeError, OSError, TypeError):  # not this C library
        ctypes.CDLL(None).malloc_trim(0)


def parse_size(text: str) -> int:
    """Understand a size of memory.

    Parameters
    ----------
    text : str
        For example ``4G``, ``4GB``, ``4 GiB``, ``800M``; a plain number is bytes. All are powers of
        1024.

    Returns
    -------
    int
        Bytes.

    Raises
    ------
    WrongCall
        If it is no size.

    Examples
    --------
    >>> parse_size("1.5 GiB") == 3 * 2**29
    True
    """
    found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*([KMGT]?)(?:i?B)?\s*", text, re.IGNORECASE)
    if not found or float(found[1]) <= 0:
        raise WrongCall(f"'{text}' is no size of memory; write for example 4G or 800M.")
    return int(float(found[1]) * _UNITS.get(found[2].upper(), 1))


def size_words(size: float) -> str:
    """Write a size for people.

    Examples
    --------
    >>> size_words(3 * 2**29)
    '1.5 GiB'
    """
    return f"{size / 2**30:.1f} GiB" if size >= 2**30 else f"{size / 2**20:.0f} MiB"


def survey_need(table: SurveyTable, jobs: int) -> int:
    """Estimate the peak memory of a survey run.

    Parameters
    ----------
    table : SurveyTable
        The survey.
    jobs : int
        Processes.

    Returns
    -------
    int
        Bytes, all processes together.
    """
    block = max((b.rows for b in table.blocks), default=0) * len(table.elements) * _PER_VALUE
    each = max(table.n * _PER_ROW, block)
    if jobs == 1:
        return _BASE + each
    return _BASE + table.n * 12 + jobs * (_BASE + each)


def check_survey(table: SurveyTable, jobs: int, memory: int | None) -> int:
    """Choose how many processes fit into the memory.

    Parameters
    ----------
    table : SurveyTable
        The survey.
    jobs : int
        Processes asked for.
    memory : int, optional
        Bytes; None: no bound.

    Returns
    -------
    int
        Processes, as many as fit.

    Raises
    ------
    WrongCall
        If not even one fits.
    """
    if memory is None:
        return jobs
    for fewer in range(jobs, 0, -1):
        if survey_need(table, fewer) <= memory:
            return fewer
    largest = max(b.rows for b in table.blocks)
    raise WrongCall(
        f"--memory {size_words(memory)} does not suffice: this survey ({table.n} samples, "
        f"{len(table.elements)} elements, row groups of up to {largest} samples) needs about "
        f"{size_words(survey_need(table, 1))}. Allow that, write the Parquet with smaller row "
        "groups, or split the survey."
    )


def check_campaign(samples: int, values: int, jobs: int, memory: int | None) -> int:
    """Choose how many processes of a whole run fit into the memory, before the long steps.

    Parameters
    ----------
    samples, values : int
        As read.
    jobs : int
        Processes asked for.
    memory : int, optional
        Bytes; None: no bound.

    Returns
    -------
    int
        Processes, as many as fit.

    Raises
    ------
    WrongCall
        If not even one fits, with what is needed.
    """
    if memory is None:
        return jobs
    for fewer in range(jobs, 0, -1):
        if campaign_need(samples, values, fewer) <= memory:
            return fewer
    raise WrongCall(
        f"--memory {size_words(memory)} does not suffice: {samples} samples with {values} values "
        f"need about {size_words(campaign_need(samples, values, 1))}. Allow that, or leave out "
        "tables or elements."
    )


def campaign_need(samples: int, values: int, jobs: int = 1) -> int:
    """Estimate the peak memory of a whole run, all processes together.

    Measured on 5,400 samples x 24 elements to 100,000 x 40, within a tenth. A further process
    shares the records and has its own pages of what it writes.

    Parameters
    ----------
    samples, values : int
        As read.
    jobs : int, default 1
        Processes.

    Returns
    -------
    int
        Bytes.
    """
    steps = _CAMPAIGN + _PER_SAMPLE * samples + _PER_RESULT * values
    writing = _WRITING + _PER_RESULT_WRITTEN * values
    return steps + (jobs - 1) * writing
