"""Which medium and domain each row of the anomalies belongs to, as a number."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd


def domain_pairs(anomalies: pd.DataFrame) -> tuple[npt.NDArray[np.intp], list[tuple[str, str]]]:
    """Give the pairs of medium and domain, and which of them each row has.

    Parameters
    ----------
    anomalies : pandas.DataFrame
        Contract `tables.ANOMALIES`.

    Returns
    -------
    number : ndarray of int, shape (n_rows,)
        Of the pair of each row; -1, which takes the last of a list, where one is missing.
    pairs : list of (str, str)
        Medium and domain by number, in alphabetical order.

    Examples
    --------
    >>> import pandas as pd
    >>> frame = pd.DataFrame({"medium": ["till", "soil", None], "domain": ["a", "b", "a"]})
    >>> number, pairs = domain_pairs(frame)
    >>> number.tolist(), pairs
    ([1, 0, -1], [('soil', 'b'), ('till', 'a')])
    """
    import pandas as pd

    medium_of, media = pd.factorize(anomalies["medium"].astype(object))
    domain_of, domains = pd.factorize(anomalies["domain"].astype(object))
    known = (medium_of >= 0) & (domain_of >= 0)
    code = medium_of * len(domains) + domain_of
    used = np.unique(code[known])
    named = [
        (str(media[k // len(domains)]), str(domains[k % len(domains)])) for k in used.tolist()
    ]
    order = sorted(range(len(named)), key=lambda i: named[i])
    place = np.empty(len(named), dtype=np.intp)
    place[order] = np.arange(len(named))
    number = np.full(len(anomalies), -1, dtype=np.intp)
    number[known] = place[np.searchsorted(used, code[known])]
    return number, [named[i] for i in order]
