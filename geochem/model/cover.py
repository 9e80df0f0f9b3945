"""Words for transported cover and residual ground."""

from __future__ import annotations

#: ways to write transported cover, as parts of words
TRANSPORTED = (
    "transport", "alluv", "colluv", "aeolian", "eolian", "sheetwash", "dune", "loess", "lacustrine",
    "fluvial", "glacial", "outwash", "scree", "overburden", "windblown",
)  # fmt: skip
#: ways to write that soil formed where it lies
RESIDUAL = ("residual", "in situ", "in-situ", "eluvial", "saprol", "relict", "lag")


def is_transported(text: object) -> bool:
    """Say whether a name of regolith means that the soil came from elsewhere.

    Parameters
    ----------
    text : object
        Cell of a column or field; None is not known.

    Returns
    -------
    bool
        False when nothing is known.

    Examples
    --------
    >>> is_transported("Alluvial sand"), is_transported("residual"), is_transported(None)
    (True, False, False)
    """
    return isinstance(text, str) and any(word in text.lower() for word in TRANSPORTED)
