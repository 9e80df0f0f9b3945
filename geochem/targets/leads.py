"""Leads: too few samples or lines for a target, but too high to forget.

A lead is a group of samples that stand out one by one (false-discovery rate 10 % over all samples
and scores), or a group that stands out together without three samples on two lines. It is drawn
no wider than half a line spacing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from geochem.stats.false_discovery import adjusted_p
from geochem.targets.false_discovery import FALSE_DISCOVERY
from geochem.targets.ground import JOIN, Sites

if TYPE_CHECKING:
    import numpy.typing as npt
    from shapely.geometry.base import BaseGeometry

    FloatArray = npt.NDArray[np.float64]
    IntArray = npt.NDArray[np.intp]

#: columns before the geometry
LEADS: dict[str, str] = {
    "lead": "text", "medium": "text", "association": "text", "elements": "text",
    "samples": "count", "reason": "text",
}  # fmt: skip
#: more leads than this help nobody
MOST = 25


@dataclass(frozen=True, slots=True, eq=False)
class Lead:
    """A few samples that stand out.

    Parameters
    ----------
    medium : str
        Which samples.
    association : int
        Score that is highest.
    sites : ndarray of int
        Samples, as rows of `Sites`.
    height : float
        Highest score. [-]
    reason : str
        Why it is no target.
    shape : shapely geometry
        Where to draw it.
    """

    medium: str
    association: int
    sites: IntArray
    height: float
    reason: str
    shape: BaseGeometry


def standing_out(sites: Sites, rows: IntArray) -> npt.NDArray[np.bool_]:
    """Say which samples stand out one by one.

    Parameters
    ----------
    sites : Sites
        All samples.
    rows : ndarray of int
        Those of one medium.

    Returns
    -------
    ndarray of bool, shape (len(rows),)
        Highest score beyond what as many background samples and scores give.
    """
    from scipy.special import ndtr

    scores = sites.scores[rows]
    if not scores.size:
        return np.zeros(len(rows), dtype=bool)
    p = ndtr(-np.where(np.isfinite(scores), scores, -np.inf))
    return np.asarray(adjusted_p(p) <= FALSE_DISCOVERY).any(axis=1).reshape(len(rows))


def find_leads(
    sites: Sites,
    rows: IntArray,
    scaled: FloatArray,
    taken: npt.NDArray[np.bool_],
    width: float,
    boundary: BaseGeometry | None,
    regular: bool,  # noqa: FBT001 - one call
) -> list[Lead]:
    """Find leads among the samples of one ground.

    Parameters
    ----------
    sites : Sites
        All samples.
    rows : ndarray of int
        Samples of the ground.
    scaled : ndarray, shape (len(rows), 2)
        Their positions in spacings (metres over spacing for streams). [-]
    taken : ndarray of bool, shape (n_sites,)
        Samples inside targets.
    width : float
        Widest allowed drawing. [m]
    boundary : shapely geometry, optional
        Leads outside it are left out.
    regular : bool
        Whether the ground has lines.

    Returns
    -------
    list of Lead
        Highest first.
    """
    import shapely
    from scipy.sparse.csgraph import connected_components

    from geochem.stats.neighbours import within
    from geochem.targets.ground import rows_of
    from geochem.targets.polygons import around_few

    out = np.flatnonzero(standing_out(sites, rows) & ~taken[rows])
    if not len(out):
        return []
    _, label = connected_components(within(scaled[out], JOIN), directed=False)
    found = []
    xy = sites.frame[["easting", "northing"]].to_numpy(dtype=float)
    for k in np.unique(label):
        local = out[label == k]
        members = rows[local]
        scores = np.nan_to_num(sites.scores[members], nan=-np.inf)
        a = int(scores.max(axis=0).argmax())
        lines = rows_of(scaled[local], regular=regular)
        if len(members) < 3:
            reason = (
                f"{len(members)} {'sample stands' if len(members) == 1 else 'samples stand'} out "
                "alone; an outline needs three on two lines"
            )
        elif lines < 2:
            reason = f"{len(members)} samples stand out on one line; an outline needs two lines"
        else:
            reason = "the samples stand out one by one, but not together as a halo would"
        # a long chain of single highs is drawn at its highest sample only
        drawn = members if len(members) <= 12 else members[[int(scores[:, a].argmax())]]
        shape = around_few(xy[drawn], width)
        if boundary is not None:
            if not boundary.intersects(shape):
                continue
            shape = shapely.normalize(shape.intersection(boundary))
        found.append(
            Lead(
                str(sites.frame["medium"].iloc[members[0]]), a, members,
                float(scores.max()), reason, shape,
            )
        )  # fmt: skip
    return sorted(found, key=lambda x: (-round(x.height, 9), int(x.sites[0])))
