"""Records of anomaly search: `Association`, `Composition`, `Evidence`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from geochem.model.finding import Finding

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy as np
    import numpy.typing as npt
    import pandas as pd


@dataclass(frozen=True, slots=True)
class Association:
    """Elements that belong to one kind of mineralisation.

    Parameters
    ----------
    name, title : str
        Short name for files and columns; words for people.
    weights : mapping of str to float
        Signed weight per element; negative where depletion counts.
    used, missing : tuple of str
        Elements that went into the score; those not measured, gated or mostly below detection.
    source : str
        Publication, and whether it is from memory.
    rim : tuple of str
        Elements that stand around the middle of such a halo rather than in it.
    size_km2 : (float, float), optional
        Usual size of such a halo, least and most. [km2]
    """

    name: str
    title: str
    weights: Mapping[str, float]
    used: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    source: str = ""
    rim: tuple[str, ...] = ()
    size_km2: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class FoundAssociation:
    """Elements that go together in the data of a campaign.

    Parameters
    ----------
    association : Association
        Name, title, signed weights.
    medium : str
        In whose samples.
    n : int
        Samples.
    share : float
        Of the variance of all standardised log-ratios. [-]
    stability : float
        Median congruence with its like in resampled data, 0-1.
    eigenvalue, by_chance : float
        Of the component of that rank, before rotation, and of shuffled data.
    resembles : str
        Name of the nearest preset; empty where none is near.
    beyond : int
        Samples whose calibrated score reaches 3.
    clumped : float
        How many times more often high samples have high neighbours than by chance.
    """

    association: Association
    medium: str
    n: int
    share: float
    stability: float
    eigenvalue: float
    by_chance: float
    resembles: str = ""
    beyond: int = 0
    clumped: float = float("nan")


@dataclass(frozen=True, slots=True, eq=False)
class Proxy:
    """An element that only the laboratory measured, predicted from dense elements.

    Parameters
    ----------
    medium, element : str
        What is predicted.
    predictors : tuple of str
        Dense elements.
    n : int
        Samples with both.
    skill, skill_low : float
        Share of the variance of log10 predicted in blocks left out, and its lower 90 % bound. [-]
    bar : float
        What both must reach. [-]
    used : bool
        Whether they do.
    error : float
        Standard deviation of the errors in blocks left out. [log10]
    sample_id : ndarray of str, shape (m,)
        Samples without a laboratory value of the element that are predicted; empty when not used.
    value, low, high : ndarray, shape (m,)
        Prediction and its 80 % interval. [mg/kg]
    reason : str
        Why it is used or not.
    details : mapping
        Blocks, penalty, range of validity.
    """

    medium: str
    element: str
    predictors: tuple[str, ...]
    n: int
    skill: float
    skill_low: float
    bar: float
    used: bool
    error: float
    sample_id: npt.NDArray[np.object_]
    value: npt.NDArray[np.float64]
    low: npt.NDArray[np.float64]
    high: npt.NDArray[np.float64]
    reason: str
    details: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class Composition:
    """Log-ratio view of the samples of one medium.

    Parameters
    ----------
    medium : str
        Which samples.
    sample_id : ndarray of str, shape (n_samples,)
        Rows of `clr`.
    parts : tuple of str
        Elements that are in the composition.
    dropped : mapping of str to str
        Elements left out, with the reason.
    replaced_share : float
        Share of all values that stood below detection and were replaced. [-]
    clr : ndarray, shape (n_samples, n_parts)
        Centred log-ratios, natural logarithm.
    loadings : ndarray, shape (n_parts, n_components)
        Robust principal components in clr; each column sums to zero.
    scores : ndarray, shape (n_samples, n_components)
        Of the samples.
    explained : ndarray, shape (n_components,)
        Share of robust total variance. [-]
    distance : ndarray, shape (n_samples,)
        Robust Mahalanobis distance on ilr; NaN where not computed.
    distance_cut : float
        Cut-off of `distance`.
    details : mapping
        Methods, parameters, references.
    replaced_row, replaced_part : ndarray of int, shape (n_replaced,)
        Places in `clr` of the values that stood behind a limit; None when not recorded.
    draws : ndarray, shape (n_draws, n_replaced)
        Natural logarithm of other values that may stand there over the one used; each draw is as
        likely. `stats.logratio.drawn_clr` gives the clr of a draw.
    behind_mean, behind_sd : ndarray, shape (n_draws, n_replaced)
        Mean and standard deviation of the natural logarithm of the value [mg/kg] that each draw was
        taken from, given the other parts of the sample, not yet cut at the limit.
    """

    medium: str
    sample_id: npt.NDArray[np.object_]
    parts: tuple[str, ...]
    dropped: Mapping[str, str]
    replaced_share: float
    clr: npt.NDArray[np.float64]
    loadings: npt.NDArray[np.float64]
    scores: npt.NDArray[np.float64]
    explained: npt.NDArray[np.float64]
    distance: npt.NDArray[np.float64]
    distance_cut: float
    details: Mapping[str, Any] = field(default_factory=dict)
    replaced_row: npt.NDArray[np.intp] | None = None
    replaced_part: npt.NDArray[np.intp] | None = None
    draws: npt.NDArray[np.float64] | None = None
    behind_mean: npt.NDArray[np.float64] | None = None
    behind_sd: npt.NDArray[np.float64] | None = None

    @property
    def replaced(self) -> str:
        """How many values stood behind limits, as a sentence for every result that rests on them.

        Examples
        --------
        >>> import numpy as np
        >>> nothing = np.empty((0, 2))
        >>> Composition("soil", np.empty(0, object), ("Cu", "Mo"), {}, 0.13, nothing, nothing,
        ...             nothing, nothing, np.empty(0), 3.0,
        ...             {"replaced_of": {"Cu": 0.0, "Mo": 0.26}}).replaced
        '13 % of the values stood behind limits and were replaced (most: Mo 26 %).'
        """
        told = f"{100 * self.replaced_share:.2g} % of the values stood behind limits and were replaced"
        shares = self.details.get("replaced_of", {})
        most = max(shares, key=lambda e: (shares[e], e), default=None)
        if most is None or not shares[most] > 0:
            return f"{told}."
        return f"{told} (most: {most} {100 * shares[most]:.2g} %)."


@dataclass(frozen=True, slots=True, eq=False)
class Detectors:
    """What the dense scores of one medium are made of, so that their doubts can be drawn.

    Parameters
    ----------
    medium : str
        In whose samples.
    elements : tuple of str
        Dense elements.
    sample_id : ndarray of str, shape (n,)
        Samples.
    departures : ndarray, shape (n, n_elements)
        From what is usual at the place, in robust spreads.
    vectors : mapping of str to ndarray, shape (1 + n_draws, n_elements)
        By name of the association: ``departures @ vector`` is the score up to a constant; first
        with the weights as given, then with weights drawn around them.
    batch : ndarray of int, shape (n,)
        Number of the batch of each sample; -1 where not known.
    batch_error : ndarray, shape (n_elements,)
        Standard error of the level of a batch, in spreads.
    """

    medium: str
    elements: tuple[str, ...]
    sample_id: npt.NDArray[np.object_]
    departures: npt.NDArray[np.float32]
    vectors: Mapping[str, npt.NDArray[np.float64]]
    batch: npt.NDArray[np.intp]
    batch_error: npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """What is anomalous, per sample.

    Parameters
    ----------
    anomalies : geopandas.GeoDataFrame
        Contract `tables.ANOMALIES`; one row per located sample of a medium that has a background,
        sorted by `sample_id`; `<El>_z` and `<El>_p` for each counted element.
    z_all : pandas.DataFrame
        As the `<El>_z` columns but against the whole survey of that medium; same rows.
    elements : tuple of str
        Counted elements: sought ones and pathfinders that may be used.
    excluded : mapping of str to str
        Elements that do not count, with the reason (gate, below detection, constant ...).
    associations : tuple of Association
        Those that could be scored.
    scores : pandas.DataFrame
        One column per association name: calibrated score, about N(0, 1) in background; same rows.
    coherence : pandas.DataFrame
        One column per association name: local (Gi*-like) score of the neighbourhood; NaN for
        media that have no spatial statistics.
    clusters : pandas.DataFrame
        ``group, n, driving, profile``: what each `group` number means.
    findings : tuple of Finding
        What was noticed.
    explained : pandas.DataFrame, optional
        ``association_gain, rival_gain, rival``: how well the best association and the best rival
        explanation (oxides, another rock, organic soil) fit the ground around each sample, as
        logarithms of likelihood ratios to background, and the rival in words; same rows. NaN and
        None where nothing can be said of neighbours.
    found : tuple of FoundAssociation
        Elements that go together in these data; no target comes from them.
    proxies : tuple of Proxy
        Predicted laboratory elements; they enter no score.
    dense, sparse, ratio : pandas.DataFrame, optional
        One column per association name, same rows: the score of the densely measured elements
        alone; what sparsely measured ones (a laboratory's gold) say beyond them, NaN where there
        is none; and how much more the sparse ones of a sample tell than the dense ones.
    noise : pandas.DataFrame, optional
        One column per association name, same rows: standard deviation of the dense score from
        measurement and from what may stand behind limits.
    detectors : tuple of Detectors
        Per medium, what the dense scores are made of.
    """

    anomalies: gpd.GeoDataFrame
    z_all: pd.DataFrame
    elements: tuple[str, ...]
    excluded: Mapping[str, str]
    associations: tuple[Association, ...]
    scores: pd.DataFrame
    coherence: pd.DataFrame
    clusters: pd.DataFrame
    findings: tuple[Finding, ...] = ()
    explained: pd.DataFrame | None = None
    found: tuple[FoundAssociation, ...] = ()
    proxies: tuple[Proxy, ...] = ()
    dense: pd.DataFrame | None = None
    sparse: pd.DataFrame | None = None
    ratio: pd.DataFrame | None = None
    noise: pd.DataFrame | None = None
    detectors: tuple[Detectors, ...] = ()

    def strongest(self, rows: npt.NDArray[np.bool_] | None = None) -> str | None:
        """Name the association whose neighbourhood score is highest where no rival wins.

        Parameters
        ----------
        rows : ndarray of bool, shape (n_samples,), optional
            Only these samples.

        Returns
        -------
        str or None
            None when nothing is scored. Samples that a rival explains better than any association
            (another rock, oxides) do not count, unless nothing else is scored.
        """
        import numpy as np

        every = np.ones(len(self.anomalies), dtype=bool) if rows is None else rows
        own = every
        if self.explained is not None:
            told = self.explained
            own = every & ~(told["rival_gain"] > told["association_gain"]).to_numpy()
        for chosen in (own, every):
            best, top = None, -np.inf
            for name in self.scores.columns:
                for table, share in ((self.coherence, 1.0), (self.scores, 0.99)):
                    if name not in table.columns:
                        continue
                    column = table[name].to_numpy(dtype=float)[chosen]
                    column = column[np.isfinite(column)]
                    if len(column):
                        # a single score may be a spike, a neighbourhood is none
                        strength = float(np.quantile(column, share))
                        if strength > top:
                            best, top = str(name), strength
                        break
            if best is not None:
                return best
        return None
