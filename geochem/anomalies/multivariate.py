"""Robust distance of compositions: unusual as a whole, which is not the same as anomalous.

On real surveys a chi-square cut of the robust distance flags a quarter to a third of all samples,
because another rock type is as far away as mineralisation. Three things tell them apart. Centres
are those of each domain. The distance is parted in two: that of the elements that do not count,
among themselves (another rock or material shows here), and that of the elements that count, given
the others (what the material does not explain). And each part is cut where its own tail becomes
heavier than chance allows, not at a fixed quantile. Neither is ever a score.

Test to copy: `tests/anomalies/test_multivariate.py`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.model.finding import Finding
from geochem.stats.adaptive_cut import adaptive_cut
from geochem.stats.logratio import pivot_rows

if TYPE_CHECKING:
    import numpy.typing as npt

    from geochem.model.evidence import Composition

    FloatArray = npt.NDArray[np.float64]
    Mask = npt.NDArray[np.bool_]

#: they stand for the material where nearly every element counts: lithophile after Goldschmidt
#: 1937, Journal of the Chemical Society:655-673 (from memory)
LITHOPHILE = frozenset(
    ("Li", "Be", "B", "Na", "Mg", "Al", "Si", "K", "Ca", "Sc", "Ti", "V", "Cr", "Mn", "Rb", "Sr",
     "Y", "Zr", "Nb", "Cs", "Ba", "La", "Ce", "Hf", "Ta", "Th", "U")
)  # fmt: skip
FEWEST_OTHERS = 4
#: a larger share beyond the cut means other material, not outliers
MANY = 0.10
#: fewer samples of a domain have no centre of their own
OWN_CENTRE = 30


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
        Robust distance over its chi-square cut; above 1 is beyond. NaN where not computed.
    share : float
        Share of samples beyond the cut. [-]
    many : bool
        Whether that share is too large for outliers.
    material : ndarray of bool, shape (n,)
        Unusual in the elements that do not count, or where these are fewer than four in the
        lithophile ones: another rock or material.
    unexplained : ndarray of bool, shape (n,)
        Unusual in the other elements, given those, and no other material.
    parted : bool
        Whether the two could be told apart.
    replaced : str
        How many values of the composition stood behind limits, as a sentence.
    """

    medium: str
    sample_id: npt.NDArray[np.object_]
    ratio: FloatArray
    share: float
    many: bool
    material: Mask
    unexplained: Mask
    parted: bool
    replaced: str = ""


def outliers(
    compositions: Sequence[Composition],
    counted: Collection[str] = (),
    domains: Mapping[str, str] | None = None,
) -> tuple[Outliers, ...]:
    """Compare the robust distance of each composition with its cut, and part it in two.

    Parameters
    ----------
    compositions : sequence of Composition
        One per medium.
    counted : collection of str
        Elements that count.
    domains : mapping of str to str, optional
        Domain by sample id.

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
        of = domains or {}
        domain = np.array([of.get(str(s), "") for s in c.sample_id], dtype=object)
        own = np.array([e in counted for e in c.parts])
        if (~own).sum() < FEWEST_OTHERS:
            own = np.array([e not in LITHOPHILE for e in c.parts])
        parts = _parted(c, own, domain)
        nobody = np.zeros(len(ratio), dtype=bool)
        material, unexplained = parts if parts is not None else (nobody, nobody)
        found.append(
            Outliers(
                c.medium, c.sample_id, ratio, share, share > MANY, material, unexplained,
                parts is not None, c.replaced,
            )
        )  # fmt: skip
    return tuple(found)


def _parted(
    c: Composition, own: Mask, domain: npt.NDArray[np.object_]
) -> tuple[Mask, Mask] | None:
    """Say which samples are other material, and which are unusual in what counts beyond it."""
    from scipy.linalg import null_space

    if (~own).sum() < FEWEST_OTHERS or not own.any() or "robust_covariance_ilr" not in c.details:
        return None
    p = len(own)
    others = np.zeros((int((~own).sum()) - 1, p))
    others[:, ~own] = null_space(np.ones((1, int((~own).sum())))).T
    rest = null_space(np.vstack([others, np.ones((1, p))])).T
    basis = pivot_rows(p)
    covariance = basis.T @ c.details["robust_covariance_ilr"] @ basis
    within = others @ covariance @ others.T
    slope = np.linalg.solve(within, others @ covariance @ rest.T)
    left_over = rest @ covariance @ rest.T - (rest @ covariance @ others.T) @ slope
    x = c.clr @ others.T
    y = c.clr @ rest.T - x @ slope
    far_x, far_y = _far(x, within, domain), _far(y, left_over, domain)
    material = far_x > adaptive_cut(far_x, x.shape[1])
    beyond = far_y > adaptive_cut(far_y, y.shape[1])
    return material, beyond & ~material


def _far(x: FloatArray, covariance: FloatArray, domain: npt.NDArray[np.object_]) -> FloatArray:
    """Give squared distances from the centre of each domain; half of them as chi-square has it."""
    from scipy.stats import chi2

    centred = x - np.median(x, axis=0)
    for name in sorted(set(domain.tolist())):
        rows = domain == name
        if rows.sum() >= OWN_CENTRE:
            centred[rows] = x[rows] - np.median(x[rows], axis=0)
    d = np.einsum("ij,ij->i", centred, np.linalg.solve(covariance, centred.T).T)
    middle = float(np.median(d))
    return np.asarray(d * chi2.ppf(0.5, x.shape[1]) / middle) if middle > 0 else d


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
        if o.parted:
            n = len(o.sample_id)
            text += (
                f" Against the tail of their own domain, {int(o.material.sum())} of {n} differ in "
                "the elements of the rock (another rock or material) and "
                f"{int(o.unexplained.sum())} only in the others, more than the rock explains."
            )
        if o.replaced:
            text += f" {o.replaced}"
        out.append(Finding("unusual-compositions", "note", text))
    return tuple(out)
