"""How much of what was found would chance have found too: false discoveries and probabilities.

How it is judged. The q-value of an outline is the expected number of barren outlines at least as
strong, per survey, over the number found that are at least as strong (Storey 2002, Journal of the
Royal Statistical Society B 64:479-498, without estimating the barren share); kept are those with q
<= 0.10. Of real outlines those are dropped that miss the element condition or look like something
else; the barren surveys have scores but no elements, so their number is multiplied by the share of
the survey's own weak outlines, nearly all of them background, that pass. Outlines that their
association explains much better than any rival are credited for it, and the barren ones are
credited as those weak outlines are.

What lives here: strengths of outlines and of barren ones in, rates and probabilities out. What does
not: the barren surveys (`barren`, `null`), what looks like mineralisation (`lookalikes`).
Test to copy: `tests/targets/test_false_discovery.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.targets.null import Barren

if TYPE_CHECKING:
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

#: strength of weak outlines, most of which are background
WEAK = (3.0, 3.8)
#: fewer weak outlines tell nothing of the margins of barren ones; more are thinned to about this
FEWEST_WEAK, MOST_WEAK = 5, 40
#: strength that an outline is credited per unit of margin in favour of its association, and the
#: margins in favour that count at least and at most (chosen on simulated surveys)
CREDIT, CREDIT_LIMITS = 0.2, (-1.0, 6.0)
#: tolerated share of barren outlines among those kept
FALSE_DISCOVERY = 0.10
#: how far the margin between association and rival is believed (chosen on simulated surveys)
TEMPER = 0.7


def passing_share(every: FloatArray, passed: FloatArray) -> float:
    """Give the share of weak outlines that meet the conditions which barren surveys do not have.

    Parameters
    ----------
    every, passed : ndarray
        Strengths of all outlines of the survey, and of those that met the conditions.

    Returns
    -------
    float
        Leaning toward 1 where few outlines are weak. [-]

    Examples
    --------
    >>> weak = np.full(18, 3.2)
    >>> passing_share(weak, weak[:8])
    0.5
    """
    low, high = WEAK
    n = int(((every >= low) & (every < high)).sum())
    met = int(((passed >= low) & (passed < high)).sum())
    return float(min((met + 2) / (n + 2), 1.0))


def credited(strength: npt.ArrayLike, margin: npt.ArrayLike) -> FloatArray:
    """Give an outline credit for how much better the association explains it than any rival.

    Parameters
    ----------
    strength : array_like, shape (n,)
        Peak of the filtered value.
    margin : array_like, shape (n,)
        Logarithm of how much more likely the best rival makes what is there.

    Returns
    -------
    ndarray, shape (n,)
        Strength and credit.

    Examples
    --------
    >>> credited([4.0, 4.0], [0.0, -5.0]).tolist()
    [4.0, 5.0]
    """
    favour = np.clip(-np.asarray(margin, dtype=float), *CREDIT_LIMITS)
    return np.asarray(np.asarray(strength, dtype=float) + CREDIT * favour)


def q_values(
    strength: npt.ArrayLike,
    barren: Barren,
    passing: float = 1.0,
    margin: npt.ArrayLike | None = None,
) -> FloatArray:
    """Give the empirical false-discovery rate at which each outline is kept.

    Parameters
    ----------
    strength : array_like, shape (n,)
        Of the outlines found.
    barren : Barren
        Simulated surveys.
    passing : float, default 1
        Share of background outlines that meet the other conditions. [-]
    margin : array_like, shape (n,), optional
        Of the same outlines; NaN where there is no rival. Barren outlines have none of their own:
        each is given those of the survey's weak outlines, nearly all of them background, in the
        measure of its strength (a margin goes with the square of what it explains).

    Returns
    -------
    ndarray, shape (n,)
        Expected number of barren outlines at least as strong, credit included, over number found
        at least as strong; never lower for a weaker outline. [-]

    Examples
    --------
    >>> barren = Barren(10, np.full(10, 4.0), np.full(10, 4.0))
    >>> q_values([5.0, 3.0], barren).tolist()
    [0.0, 0.5]
    """
    s = np.asarray(strength, dtype=float)
    if not s.size:
        return s
    m = np.full(len(s), np.nan) if margin is None else np.asarray(margin, dtype=float)
    weak = (s >= WEAK[0]) & (s < WEAK[1]) & np.isfinite(m)
    if weak.sum() >= FEWEST_WEAK:
        each = np.sort(m[weak] / s[weak] ** 2)
        each = each[:: -(-len(each) // MOST_WEAK)]
        peaks = barren.peaks[:, None]
        like = np.sort(credited(peaks, each[None, :] * peaks**2), axis=None)
        s = np.where(np.isfinite(m), credited(s, m), s)
        beyond = len(like) - np.searchsorted(like, s, side="left")
        expected = beyond / (max(barren.draws, 1) * len(each))
    else:
        expected = barren.expected(s)
    order = np.argsort(-s, kind="stable")
    rate = passing * expected[order] / np.arange(1, len(s) + 1)
    # the rate of an outline is the least of all cuts that keep it
    rate = np.minimum.accumulate(rate[::-1])[::-1]
    out = np.empty(len(s))
    out[order] = np.minimum(rate, 1.0)
    return out


def probabilities(
    strength: npt.ArrayLike, noise: npt.ArrayLike, barren: Barren, *, seed: int
) -> FloatArray:
    """Give the share of draws in which an outline beats a barren survey.

    Drawn are: the barren survey, with the spread of the background (in `simulate_barren`), and
    what is uncertain about the filtered score under the peak (`doubt`).

    Parameters
    ----------
    strength, noise : array_like, shape (n,)
        Peak of the filtered value and its standard deviation.
    barren : Barren
        Simulated surveys.
    seed : int
        Of the draws.

    Returns
    -------
    ndarray, shape (n,)
        0-1.
    """
    s, e = np.asarray(strength, dtype=float), np.asarray(noise, dtype=float)
    rng = np.random.default_rng([seed, 977])
    repeats = max(1, -(-2000 // max(barren.draws, 1)))
    rival = np.tile(barren.strongest, repeats)
    # the same draws for all outlines: stronger ones are never less probable by chance
    own = rng.standard_normal(len(rival))
    drawn = s[:, None] + e[:, None] * own[None, :]
    return (drawn > rival[None, :]).mean(axis=1)


def association_chance(margin: npt.ArrayLike) -> FloatArray:
    """Give the chance that it is the association and not the rival, both alike beforehand.

    Parameters
    ----------
    margin : array_like, shape (n,)
        Logarithm of how much more likely the rival makes what is there; NaN where there is none.

    Returns
    -------
    ndarray, shape (n,)
        0-1; 1 where there is no rival. The margin counts by `TEMPER`, because it comes from models
        of associations and rivals that are not exact.

    Examples
    --------
    >>> association_chance([0.0, float("nan")]).tolist()
    [0.5, 1.0]
    """
    m = TEMPER * np.asarray(margin, dtype=float)
    return np.where(np.isfinite(m), 1.0 / (1.0 + np.exp(np.clip(m, -50.0, 50.0))), 1.0)
