"""Competing explanations: is this mineralisation, or oxides, another rock, organic soil.

At every sample of soil and till the halo-sized mean of all dense elements is explained in several
ways: as a rise along one of the associations that compete; along one of the rivals of the data
file; or along the step from the mapped rock unit to any other unit of the campaign, whole (a body
that the map misses) or as a mixture with it (creep, and contacts that are a little off: a tenth
of mafic soil on granite multiplies its nickel and hardly changes its potassium). Each explanation
is a direction with one free strength, not negative; its gain is the logarithm of how much more
likely it makes the departure than background does. The two best gains are comparable because each
spends one number. A departure is never explained exactly: the background is widened by a share of
the departure itself, so that of two poor explanations of a strong anomaly neither wins by
decimals. Mineralisation may also sit in another rock or under oxides: an association beside the
best rival counts by the share that it explains of what the rival leaves, at a stated cost; no
rock is quite like its kind, so a strong rival leaves much, and a fixed sum would be no measure.

What lives here: the data file, the gains. What does not: scores (`whitening`), what a target makes
of it (`geochem.targets`). Test to copy: `tests/anomalies/test_rivals.py`.

Reference: the comparison of explanations by their likelihood is Wilks 1938, Annals of Mathematical
Statistics 9:60-62 (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from geochem.anomalies.residuals import Residuals
from geochem.anomalies.whitening import robust_covariance, signature

if TYPE_CHECKING:
    import numpy.typing as npt

    from geochem.model.evidence import Association

    FloatArray = npt.NDArray[np.float64]
    TextArray = npt.NDArray[np.object_]

#: share of the mean variance that is added to every element
FLOOR = 0.15
#: share of another rock in the material: a mapped contact that is a little off, creep, float
MIXED = (0.15, 0.4, 1.0)
#: how far a departure strays from its explanation, as a share of its root mean square
STRAY = 0.25
#: what is taken from the gain of an association beside a rival (chosen on simulated surveys)
BOTH_COST = 7.0


@dataclass(frozen=True, slots=True)
class Rival:
    """One row of the data file.

    Parameters
    ----------
    name, title : str
        Short name; words for people.
    weights : mapping of str to float
        Signed rise of the logarithm per element.
    source : str
        Publication, and whether it is from memory.
    """

    name: str
    title: str
    weights: Mapping[str, float]
    source: str


@dataclass(frozen=True, slots=True, eq=False)
class Explained:
    """The best explanations of every sample of one medium.

    Parameters
    ----------
    association_gain : ndarray, shape (n_samples,)
        Of the best association, alone or beside the best rival. [natural logarithm of a likelihood
        ratio]
    rival_gain : ndarray, shape (n_samples,)
        Of the best rival.
    rival : ndarray of str, shape (n_samples,)
        Title of the best rival.
    """

    association_gain: FloatArray
    rival_gain: FloatArray
    rival: TextArray


@lru_cache(maxsize=1)
def known_rivals() -> tuple[Rival, ...]:
    """Read the rivals that come with the package.

    Returns
    -------
    tuple of Rival
        In the order of the file.

    Examples
    --------
    >>> known_rivals()[0].name
    'iron_oxides'
    """
    import tomllib
    from importlib.resources import files

    text = (files("geochem.anomalies") / "rivals.toml").read_text(encoding="utf-8")
    return tuple(
        Rival(row["name"], row["title"], dict(row["weights"]), row["source"])
        for row in tomllib.loads(text)["rival"]
    )


def directions(lists: Sequence[Mapping[str, float]], residuals: Residuals) -> list[FloatArray]:
    """Give the direction of each list twice: of a weak rise, cut by limits, and of a strong one."""
    return [
        signature(weights, residuals, strong=strong)
        for weights in lists
        for strong in (False, True)
    ]


def explain(
    associations: Sequence[Association],
    residuals: Residuals,
    domains: TextArray,
    covered: npt.NDArray[np.bool_],
) -> Explained:
    """Compare associations and rivals at every sample of one medium.

    Parameters
    ----------
    associations : sequence of Association
        That compete.
    residuals : Residuals
        With halo-sized means.
    domains : ndarray of str, shape (n_samples,)
        Mapped unit of each sample.
    covered : ndarray of bool, shape (n_samples,)
        On transported cover: the mapped unit says little of the soil there.

    Returns
    -------
    Explained
        Gains and titles.
    """
    y = residuals.halo
    n, m = y.shape
    c = robust_covariance(y)
    c = c + (FLOOR + m / n) * (np.trace(c) / m) * np.eye(m)
    value, vector = np.linalg.eigh(c)
    turned = y @ vector
    stray = STRAY**2 * np.mean(y**2, axis=1)
    certain = 1.0 / (value[None, :] + stray[:, None])

    def turn(of: Sequence[FloatArray]) -> FloatArray:
        return np.asarray(np.array(of, dtype=float).reshape(-1, m) @ vector)

    def gains(d: FloatArray, rows: slice | npt.NDArray[np.intp]) -> FloatArray:
        along = (turned[rows] * certain[rows]) @ d.T
        length = certain[rows] @ (d**2).T
        return np.where(length > 0, np.maximum(along, 0.0) ** 2 / np.maximum(length, 1e-12), 0) / 2

    whole = slice(None)
    wanted = turn(directions([a.weights for a in associations], residuals))
    best = gains(wanted, whole).max(axis=1, initial=0.0)
    listed = known_rivals()
    by_file = turn(directions([r.weights for r in listed], residuals))
    gained = gains(by_file, whole)
    number = gained.argmax(axis=1)
    rival_gain = gained[np.arange(n), number]
    rival_way = by_file[number]
    rival = np.array([r.title for r in listed], dtype=object)[number // 2]
    for unit, here in residuals.units.items():
        rows = np.flatnonzero((domains == unit) & ~covered)
        others = [u for u in residuals.units if u != unit]
        if not len(rows) or not others:
            continue
        # a domain may be a horizon and a unit, "B | Hask Felsic": its rock is the last part
        named = [f"the rock of {u.split(' | ')[-1]}" for u in others for _ in MIXED]
        steps = turn([
            mixture(here, residuals.units[u], residuals.size, share) - here
            for u in others for share in MIXED
        ])  # fmt: skip
        found = gains(steps, rows)
        k = found.argmax(axis=1)
        gain = found[np.arange(len(rows)), k]
        better = gain > rival_gain[rows]
        rival_gain[rows[better]] = gain[better]
        rival_way[rows[better]] = steps[k[better]]
        rival[rows[better]] = [named[i] for i in k[better]]
    left = np.maximum((certain * turned**2).sum(axis=1) / 2 - rival_gain, 1e-9)
    more = np.maximum(_together(turned, certain, wanted, rival_way) - rival_gain, 0.0)
    # the likelihood ratio when the size of what is left over is not known
    beside = -0.5 * m * np.log1p(-np.minimum(more / left, 0.999))
    best = np.maximum(best, rival_gain + beside - BOTH_COST)
    return Explained(best, rival_gain, rival)


def mixture(here: FloatArray, other: FloatArray, size: FloatArray, share: float) -> FloatArray:
    """Mix two soils.

    Parameters
    ----------
    here, other : ndarray, shape (n_elements,)
        Usual log10 contents, over `size`.
    size : ndarray, shape (n_elements,)
        [log10 units]
    share : float
        Of the other soil, 0-1.

    Returns
    -------
    ndarray, shape (n_elements,)
        log10 of the mixture, over `size`.

    Examples
    --------
    >>> one, two = np.array([1.0]), np.array([2.0])
    >>> mixture(one, two, np.array([1.0]), 0.1).round(3).tolist()
    [1.279]
    """
    unit = np.where(size > 0, size, 1.0)
    low = (1.0 - share) * 10.0 ** (here * unit) if share < 1 else 0.0
    return np.asarray(np.log10(low + share * 10.0 ** (other * unit)) / unit)


def _together(
    turned: FloatArray, certain: FloatArray, wanted: FloatArray, rival_way: FloatArray
) -> FloatArray:
    """Give the gain of the best association beside the rival of each sample; 0 where none is."""
    ss = certain @ (wanted**2).T
    sy = (turned * certain) @ wanted.T
    sv = (certain * rival_way) @ wanted.T
    vv = (certain * rival_way**2).sum(axis=1)[:, None]
    vy = (certain * rival_way * turned).sum(axis=1)[:, None]
    free = ss * vv - sv**2
    usable = free > 1e-6 * ss * vv
    free = np.where(usable, free, 1.0)
    one, two = (sy * vv - vy * sv) / free, (vy * ss - sy * sv) / free
    gain = np.where(usable & (one > 0) & (two > 0), (one * sy + two * vy) / 2, 0.0)
    return np.asarray(gain.max(axis=1, initial=0.0))
