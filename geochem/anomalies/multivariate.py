"""Robust distance of compositions: unusual as a whole, which is not the same as anomalous.

On real surveys a chi-square cut of the robust distance flags a quarter to a third of all
samples, because another rock type is as far away as mineralisation. The distances are therefore summed up
in a finding and never become a score.

Test to copy: `tests/anomalies/test_multivariate.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.model.finding import Finding

if TYPE_CHECKING:
    import numpy.typing as npt

    from geochem.model.evidence import Composition

#: a larger share beyond the cut means other material, not outliers
MANY = 0.10


@dataclass(frozen=True, slots=True, eq=False)
class Outliers:
    """Samples of one medium that are unusual as a whole.

    Parameters
    ----------
    medium : str
        Which samples.
    sample_id : ndarray of str, shape (n,)
        All samples of the composition.
    ratio : ndarray, shape (n,)
        Robust distance over its cut; above 1 is beyond. NaN where not computed.
    share : float
        Share of samples beyond the cut. [-]
    many : bool
        Whether that share is too large for outliers.
    """

    medium: str
    sample_id: npt.NDArray[np.object_]
    ratio: npt.NDArray[np.float64]
    share: float
    many: bool


def outliers(compositions: Sequence[Composition]) -> tuple[Outliers, ...]:
    """Compare the robust distance of each composition with its cut.

    Parameters
    ----------
    compositions : sequence of Composition
        One per medium.

    Returns
    -------
    tuple of Outliers
        Of the compositions that have distances.
    """
    found = []
    for c in compositions:
        known = np.isfinite(c.distance)
        if not known.any() or not c.distance_cut > 0:
            continue
        ratio = c.distance / c.distance_cut
        share = float((ratio[known] > 1.0).mean())
        found.append(Outliers(c.medium, c.sample_id, ratio, share, share > MANY))
    return tuple(found)


def outlier_findings(found: Sequence[Outliers]) -> tuple[Finding, ...]:
    """Say how many samples are unusual as a whole, and what that does not mean.

    Parameters
    ----------
    found : sequence of Outliers
        From `outliers`.

    Returns
    -------
    tuple of Finding
        One per medium, notes.
    """
    out = []
    for o in found:
        beyond = f"{100 * o.share:.1f} % of the {o.medium} samples lie beyond the chi-square cut"
        if o.many:
            text = (
                f"{beyond} of the robust distance: that many are other rock types or "
                "materials, not outliers, and are not called anomalies; map their domains "
                "(geology, regolith)."
            )
        else:
            text = (
                f"{beyond} of the robust distance; they are unusual as a whole, which may be "
                "another material as well as mineralisation, and are not scored for it."
            )
        out.append(Finding("unusual-compositions", "note", text))
    return tuple(out)
