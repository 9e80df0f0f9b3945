"""Classes of catchments: how many times the sediment exceeds what its rocks let expect."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from geochem.model.catchments import SedimentCatchments

#: limits of the classes, in times what is expected
LIMITS = (1.0, 1.5, 2.0, 3.0, 5.0)


def times_expected(found: SedimentCatchments, element: str) -> npt.NDArray[np.float64]:
    """Give measured over expected per catchment; NaN where one is not known.

    Parameters
    ----------
    found : SedimentCatchments
        Worked-out catchments.
    element : str
        One of its elements.

    Returns
    -------
    ndarray, shape (n,)
        Measured over expected. [-]
    """
    measured = found.frame[f"{element}_ppm"].to_numpy(dtype=float)
    expected = found.frame[f"{element}_expected"].to_numpy(dtype=float)
    safe = np.where(expected > 0, expected, np.nan)
    return np.asarray(measured / safe)


def class_words(element: str, times: npt.NDArray[np.float64]) -> list[str]:
    """Name the class of each catchment.

    Parameters
    ----------
    element : str
        Symbol.
    times : ndarray, shape (n,)
        From `times_expected`.

    Returns
    -------
    list of str
        In the order of the catchments.

    Examples
    --------
    >>> class_words("Cu", np.array([0.7, 4.0, 9.0, np.nan]))
    ['Cu up to 1 times expected', 'Cu 3 to 5 times expected', 'Cu over 5 times expected', 'Cu not known']
    """
    out = []
    for value in times.tolist():
        if value != value:
            out.append(f"{element} not known")
        elif value <= LIMITS[0]:
            out.append(f"{element} up to {LIMITS[0]:g} times expected")
        elif value > LIMITS[-1]:
            out.append(f"{element} over {LIMITS[-1]:g} times expected")
        else:
            i = int(np.searchsorted(LIMITS, value))
            out.append(f"{element} {LIMITS[i - 1]:g} to {LIMITS[i]:g} times expected")
    return out
