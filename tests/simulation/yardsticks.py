"""Two yardsticks that a method is set beside.

The *baseline* is what one gets by gluing general functions together without thought for the data:
raw contents, one threshold per element for the whole survey, two or more exceedances, clustering
of points, hulls ordered by count. The *informed filter* knows what no geologist knows: which
bodies were planted, their shape and contrast, and every rock unit; only the places are hidden. It
shows how much could be found at all, in measured and in noise-free values.
"""

from __future__ import annotations

import numpy as np
import shapely

#: nothing is told better than this: standard deviation of the natural logarithm [-]
LEAST_ERROR = 0.10

#: metals and their companions that one would look at first
PATHFINDERS = ("Co", "Ni", "Cu", "Zn", "As", "Mo", "Ag", "Sb", "Ba", "W", "Pb")


def baseline(
    easting, northing, value, elements, *, k=2.0, exceedances=2, reach=230.0, fewest=9, wanted=10
):
    """Outline clusters of samples in which several raw contents exceed median + k MAD.

    Parameters
    ----------
    easting, northing : ndarray, shape (n,)
        Places. [m]
    value : ndarray, shape (n, n_elements)
        Contents, those below detection at their limit. [mg/kg]
    elements : tuple of str
        Columns of `value`; `PATHFINDERS` among them count.
    k : float, default 2
        Of the scaled MAD. [-]
    exceedances : int, default 2
        Elements that must exceed at a sample.
    reach : float, default 230
        Of the clustering: a little more than the line spacing. [m]
    fewest : int, default 9
        Samples within reach that make a dense place (eleven are within reach at 200 m x 100 m:
        with fewer the exceedances of the whole survey grow together).
    wanted : int, default 10
        Outlines given back at most.

    Returns
    -------
    list of Polygon
        The hull with most samples first.
    """
    from sklearn.cluster import DBSCAN

    value = value[:, [i for i, e in enumerate(elements) if e in PATHFINDERS]]
    middle = np.median(value, axis=0)
    spread = 1.4826 * np.median(np.abs(value - middle), axis=0)
    high = (value > middle + k * spread).sum(axis=1) >= exceedances
    places = np.column_stack([easting, northing])[high]
    if len(places) < fewest:
        return []
    label = DBSCAN(eps=reach, min_samples=fewest).fit(places).labels_
    found = []
    for number in range(label.max() + 1):
        mine = places[label == number]
        hull = shapely.MultiPoint(mine).convex_hull
        if hull.area > 0:
            found.append((-len(mine), number, hull))
    return [hull for _, _, hull in sorted(found)[:wanted]]


def informed_filter(simulator, campaign, value, *, wanted=10, apart=900.0):
    """Look for the planted signatures and shapes with everything known but their places.

    Parameters
    ----------
    simulator : module
        The simulator, for shapes and signatures.
    campaign : Campaign
        What was planted.
    value : ndarray, shape (n_soils, n_elements)
        Of the routine soils: measured or noise-free, those below detection at their limit. [mg/kg]
    wanted : int, default 10
        Outlines given back at most.
    apart : float, default 900
        Smallest distance of two outlines' centres. [m]

    Returns
    -------
    list of Polygon
        In the campaign's CRS, highest score first; each is the core of the body that fits best.

    Notes
    -----
    Contents are log residuals from the median of the true unit (cover apart) and from a regional
    mean; a sample's score for a signature ``s`` is ``s' C^-1 z`` with the covariance ``C`` of the
    residuals, summed over the halo as the halo weights it: the matched filter for noise that is
    independent from place to place (Turin 1960, IRE Trans. Inf. Theory 6:311-329; from memory).
    """
    from dataclasses import replace

    from scipy.spatial import cKDTree

    settings, ground = campaign.settings, campaign.ground
    rows = simulator.sample_points(campaign)[0]
    table = campaign.collection.table
    along = table["along"].to_numpy(float)[rows]
    across = table["across"].to_numpy(float)[rows]
    kept = [i for i in range(value.shape[1]) if np.ptp(value[:, i]) > 0]
    names = [settings.elements[i] for i in kept]
    z = np.log(value[:, kept])
    cover = ground.cover_share(along, across)
    unit = 1000 * ground.unit_at(along, across) + np.round(100 * cover).astype(int)
    # transported material shows only its remaining share of a halo
    shown = 1.0 - cover
    for number in np.unique(unit):
        z[unit == number] -= np.median(z[unit == number], axis=0)
    tree = cKDTree(np.column_stack([along, across]))
    z -= _regional(tree, z, 2000.0)
    # what is nearly all below detection hardly varies: it must not look precise
    spread = 1.4826 * np.median(np.abs(z), axis=0)
    z = np.clip(z, -4 * np.maximum(spread, 0.1), 4 * np.maximum(spread, 0.1))
    inverse = np.linalg.inv(np.cov(z, rowvar=False) + LEAST_ERROR**2 * np.eye(len(names)))
    y = z @ inverse
    scores = []
    for body in settings.bodies:
        here = replace(body, along=0.0, across=0.0)
        pairs = _pairs(tree, 1.15 * max(body.half_length, body.half_width))
        i, j = pairs
        r = simulator.radius(here, along[j] - along[i], across[j] - across[i])
        zones = simulator.ASSOCIATIONS[body.association].zones
        part = [c for c, element in enumerate(names) if element in zones]
        signal = np.empty((len(i), len(part)))
        for column, c in enumerate(part):
            rise = (zones[names[c]].contrast - 1) * body.strength
            signal[:, column] = np.log1p(rise * shown[j] * simulator.shape(r, zones[names[c]]))
        n = len(along)
        total = np.bincount(i, (signal * y[j][:, part]).sum(axis=1), n)
        energy = np.bincount(i, ((signal @ inverse[np.ix_(part, part)]) * signal).sum(axis=1), n)
        score = total / np.sqrt(np.maximum(energy, 0.3 * np.median(energy)))
        spread = 1.4826 * np.median(np.abs(score - np.median(score)))
        scores.append((score - np.median(score)) / spread)
    if not scores:
        return []
    stack = np.array(scores)
    best, which = stack.max(axis=0), stack.argmax(axis=0)
    found, centres = [], []
    for row in np.argsort(-best, kind="stable"):
        place = np.array([along[row], across[row]])
        if all(np.hypot(*(place - c)) >= apart for c in centres):
            centres.append(place)
            body = replace(settings.bodies[which[row]], along=place[0], across=place[1])
            found.append(ground.shape_to_map(simulator.outline(body, simulator.HALF)))
            if len(found) == wanted:
                break
    return found


def _pairs(tree, reach):
    pairs = tree.query_pairs(reach, output_type="ndarray")
    own = np.arange(tree.n)
    i = np.concatenate([pairs[:, 0], pairs[:, 1], own])
    j = np.concatenate([pairs[:, 1], pairs[:, 0], own])
    return i, j


def _regional(tree, z, reach):
    """Mean of what lies around each place, weights falling to nothing at `reach`; thinned."""
    from scipy import sparse
    from scipy.spatial import cKDTree

    thin = np.arange(0, tree.n, 7)
    near = tree.sparse_distance_matrix(cKDTree(tree.data[thin]), reach, output_type="coo_matrix")
    weight = sparse.csr_array(
        ((1 - (near.data / reach) ** 2) ** 2, (near.row, near.col)), shape=near.shape
    )
    return (weight @ z[thin]) / np.maximum(weight.sum(axis=1), 1e-9)[:, None]
