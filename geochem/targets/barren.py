"""Simulated surveys of barren ground: what chance alone would outline.

What lives here: fields with the variogram of the background at the sampled places, filtered and
outlined as the real survey is, in blocks of rows that all processors share. What does not: the
measures of the background and the judgement (`null`), the simulation of fields (stats).
Test to copy: `tests/targets/test_null.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.stats.random_fields import simulate_fields
from geochem.stats.threads import in_threads
from geochem.targets.null import (
    CUT,
    HIGHEST,
    LEVELS,
    LOWEST,
    SECOND_HIGHEST,
    Barren,
    Part,
    SecondLayer,
    together,
    without_spikes,
)

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]
    IntArray = npt.NDArray[np.intp]

#: error of a robust spread over that of a root mean square (1.17 over 0.71, normal values)
LOOSE = 1.65
#: rows of a filter that one thread works on
_ROWS = 4000


def simulate_barren(
    parts: Sequence[Part], *, draws: int, seed: int, waves: int = 512
) -> tuple[list[Barren], list[FloatArray]]:
    """Simulate surveys of barren ground and find their outlines.

    Each part (a grid, or the catchments) is judged against its own barren surveys: forty stream
    sediments tell their background poorly, and must not loosen the null of two thousand soils.

    Parameters
    ----------
    parts : sequence of Part
        All parts of the campaign.
    draws : int
        Surveys.
    seed : int
        Of the random numbers.
    waves : int
        Waves per field.

    Returns
    -------
    list of Barren
        Strengths, per part.
    list of ndarray, shape (n_layers, n_scales, n_associations)
        Per part and layer the standard deviation of filtered values; where the real survey scatters more
        than the simulated ones on the low side (which no halo widens) it is raised accordingly.
    """
    barren, ratios = [], []
    for number, part in enumerate(parts):
        rng = np.random.default_rng([seed, number])
        layers: list[Part | SecondLayer] = [part]
        if part.second is not None:
            layers.append(part.second)
        mixing = [_symmetric_root(layer.background.correlation) for layer in layers]
        n = part.values.shape[1]
        batch = max(1, min(draws, 30_000_000 // max(1, n * len(part.metres))))
        filters = [[_in_rows(w) for w in layer.operators] for layer in layers]
        ratio = np.ones((len(layers), len(part.operators), n))
        loose = 0.0
        strongest, peaks, beyond = np.zeros(draws), [], []
        for first in range(0, draws, batch):
            size = min(batch, draws - first)
            every = [
                _fields(layer, mix, size, rng, waves).reshape(len(layer.metres), -1)
                for layer, mix in zip(layers, mixing, strict=True)
            ]
            top = np.full((len(part.line), size), -np.inf, dtype=np.float32)
            errors = []
            for s in range(len(part.operators)):
                filtered = [
                    [
                        made.reshape(-1, n, size)
                        for made in in_threads(partial(_product, fields), rows[s])
                    ]
                    for rows, fields in zip(filters, every, strict=True)
                ]
                if not first:
                    for k, layer in enumerate(layers):
                        real = layer.operators[s] @ layer.values
                        ratio[k, s], error = _ratio(real, filtered[k])
                        if k == 0:
                            errors.append(error)
                share = None if part.second is None else part.second.share[s]
                in_threads(
                    partial(_keep_highest, ratio[:, s], share),
                    zip(_starts(top), _pieces(top), *filtered, strict=True),
                )
            if not first and size > 1:
                loose = float(LOOSE * np.mean(errors))
            # the spread of the background is known only as well as one survey tells it
            top *= np.exp(loose * rng.standard_normal(size))[None, :]
            del every, filtered  # before the next fields are made
            draw, peak = _outline_peaks(part, top)
            np.maximum.at(strongest, draw + first, peak)
            peaks.append(peak)
            beyond.append(counts_beyond(top))
        ratios.append(ratio)
        every_peak = np.sort(np.concatenate(peaks)) if peaks else np.empty(0)
        counted = np.concatenate(beyond) if beyond else np.zeros((0, len(LEVELS)), dtype=np.int64)
        barren.append(Barren(draws, strongest, every_peak, counted))
    return barren, ratios


def _fields(
    part: Part | SecondLayer,
    mixing: FloatArray,
    size: int,
    rng: np.random.Generator,
    waves: int,
) -> npt.NDArray[np.float32]:
    """Simulate winsorised scores of barren ground, shape (p, n_associations, size).

    Single precision: of barren ground only the distribution counts.
    """
    p, n = part.values.shape
    own = np.zeros((n, size, p), dtype=np.float32)
    drawn = np.empty(p)
    for j in range(n):
        nugget = float(part.background.nugget[j])
        if nugget < 1:
            own[j] = simulate_fields(
                part.metres, nugget=0.0, sill=1.0, range_m=float(part.background.range_m[j]),
                n_fields=size, rng=rng, n_waves=waves, single=True,
            )  # fmt: skip
            own[j] *= np.float32(np.sqrt(1 - nugget))
        if nugget > 0:
            count = part.count if isinstance(part, Part) else 1.0
            spread = np.sqrt(nugget / count)
            for field in own[j]:
                rng.standard_normal(out=drawn)
                np.multiply(spread, drawn, out=drawn)
                field += drawn
    mixed = (mixing.astype(np.float32) @ own.reshape(n, -1)).reshape(n, size, p)
    del own
    highest = SECOND_HIGHEST if isinstance(part, SecondLayer) else HIGHEST
    out = _turned(mixed, highest)
    del mixed
    return out if isinstance(part, SecondLayer) else without_spikes(out, part.beside)


def _turned(fields: npt.NDArray[np.float32], highest: float) -> npt.NDArray[np.float32]:
    """Turn fields of shape (n_associations, size, p) so that places come first; draw them in."""
    n, size, p = fields.shape
    out = np.empty((p, n, size), dtype=np.float32)

    def turn(first: int) -> None:
        rows = slice(first, first + _ROWS // 8)
        np.clip(fields[:, :, rows].transpose(2, 0, 1), LOWEST, highest, out=out[rows])

    in_threads(turn, range(0, p, _ROWS // 8))
    return out


def _symmetric_root(correlation: FloatArray) -> FloatArray:
    """Give the symmetric square root, so that each score mostly keeps a variogram of its own."""
    value, vector = np.linalg.eigh(correlation)
    root = (vector * np.sqrt(np.maximum(value, 0.0))) @ vector.T
    return root / np.sqrt((root**2).sum(axis=1, keepdims=True))


def _in_rows(operator: Any) -> list[Any]:
    """Cut a filter into blocks of rows, in single precision like the barren fields."""
    single = operator.astype(np.float32)
    return [single[k : k + _ROWS] for k in range(0, single.shape[0], _ROWS)]


def _pieces(top: npt.NDArray[np.float32]) -> list[npt.NDArray[np.float32]]:
    return [top[k : k + _ROWS] for k in range(0, len(top), _ROWS)]


def _product(fields: npt.NDArray[np.float32], rows: Any) -> Any:
    return rows @ fields


def _starts(top: npt.NDArray[np.float32]) -> range:
    return range(0, len(top), _ROWS)


def _keep_highest(ratio: FloatArray, share: FloatArray | None, piece: tuple[Any, ...]) -> None:
    """Raise the highest value of each place and survey to those of one filter."""
    start, top, *filtered = piece
    spread = ratio.astype(np.float32)
    for a in range(spread.shape[1]):
        value = filtered[0][:, a] / spread[0, a]
        if share is not None:
            part = share[start : start + len(top), a, None].astype(np.float32)
            value = together(value, filtered[1][:, a] / spread[1, a], part)
        np.maximum(top, value, out=top)


def _ratio(
    real: FloatArray, filtered: Sequence[npt.NDArray[np.float32]]
) -> tuple[FloatArray, float]:
    """Give the spread of values of one filter, and the relative error of it from a single survey.

    `real` has shape (m, n_associations), `filtered` (m, n_associations, draws) in blocks of rows.
    """
    square = np.sum(in_threads(_squares, filtered), axis=0)
    one = np.sqrt(square / len(real))  # (n_associations, draws)
    deviation = np.sqrt((one**2).mean(axis=1))
    error = float((one.std(axis=1) / np.maximum(deviation, 1e-9)).mean())
    low = np.median(real, axis=0) - np.quantile(real, 0.16, axis=0)
    wider = np.clip(low / 0.9945 / np.maximum(deviation, 1e-9), 1.0, 1.3)
    spread = deviation * (wider if len(real) >= 100 else 1.0)
    return np.maximum(spread, 1e-9), error


def _squares(block: npt.NDArray[np.float32]) -> FloatArray:
    total = np.zeros(block.shape[1:])
    for first in range(0, len(block), 500):
        total += (block[first : first + 500] ** 2).sum(axis=0)
    return total


def counts_beyond(top: npt.NDArray[np.floating]) -> npt.NDArray[np.int64]:
    """Count the places of each barren survey at or above each of `LEVELS`.

    Parameters
    ----------
    top : ndarray, shape (m, draws)
        Largest filtered value of each place.

    Returns
    -------
    ndarray of int, shape (draws, n_levels)
        Falling along the levels.

    Examples
    --------
    >>> counts_beyond(np.array([[2.02, 0.0], [9.0, 0.0]]))[:, [0, 1, 100]].tolist()
    [[2, 1, 1], [0, 0, 0]]
    """
    n = len(LEVELS)
    place, draw = np.nonzero(top >= CUT)
    level = np.searchsorted(LEVELS, top[place, draw], side="right") - 1
    each = np.bincount(draw * n + level, minlength=top.shape[1] * n).reshape(top.shape[1], n)
    beyond: npt.NDArray[np.int64] = each[:, ::-1].cumsum(axis=1)[:, ::-1]
    return beyond


def _outline_peaks(part: Part, top: FloatArray) -> tuple[IntArray, FloatArray]:
    """Find connected groups above the cut in every draw; give draw and peak of the valid ones."""
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import connected_components

    m, size = top.shape
    above = top >= CUT
    draw, unit = np.nonzero(above.T)
    if not len(unit):
        return np.empty(0, dtype=np.intp), np.empty(0)
    position = np.full(size * m, -1, dtype=np.intp)
    position[draw * m + unit] = np.arange(len(unit))
    i, j = part.edges[:, 0], part.edges[:, 1]
    edge, which = np.nonzero(above[i] & above[j])
    a, b = position[which * m + i[edge]], position[which * m + j[edge]]
    graph = csr_array((np.ones(len(a), dtype=bool), (a, b)), shape=(len(unit), len(unit)))
    n, label = connected_components(graph, directed=False)
    peak = np.zeros(n)
    np.maximum.at(peak, label, top[unit, draw])
    owner = np.zeros(n, dtype=np.intp)
    owner[label] = draw
    places = np.bincount(label, minlength=n)
    # label and line in one number: sorted much faster than rows of two
    wide = int(part.line.max()) + 1
    lines = np.unique(label * wide + part.line[unit]) // wide
    valid = (places >= part.least_places) & (np.bincount(lines, minlength=n) >= part.least_lines)
    return owner[valid], peak[valid]
