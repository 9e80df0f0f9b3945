"""Background pinned to one stage of sampling, so that infill over rich ground does not move it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.background.groups import text_column
from geochem.model.finding import Finding

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd


def pinned(
    samples: pd.DataFrame, medium: str, stage: str | None, min_n: int
) -> tuple[npt.NDArray[np.bool_], list[Finding]]:
    """Say which samples of one medium make its background.

    Parameters
    ----------
    samples : pandas.DataFrame
        Of that medium, with a column `stage` when it is known.
    medium : str
        For the words.
    stage : str or None
        Name of the stage, in any case of letters; None means all samples.
    min_n : int
        Fewer samples of the stage than this, and all samples are used.

    Returns
    -------
    mask : ndarray of bool, shape (n,)
        True for samples of the stage.
    findings : list of Finding
        Which were used.
    """
    everyone = np.ones(len(samples), dtype=bool)
    if not stage:
        return everyone, []
    names = text_column(samples, "stage", missing="")
    mask = np.array([n.strip().lower() == stage.strip().lower() for n in names], dtype=bool)
    if mask.sum() < min_n:
        return everyone, [
            Finding(
                "background-not-pinned", "warning",
                f"{medium}: {int(mask.sum())} samples are of the stage '{stage}', {min_n} are "
                "needed; the background is made of all samples. Give 'stage' in [[samples]] or as "
                "a column.",
            )
        ]  # fmt: skip
    return mask, [
        Finding(
            "background-pinned", "note",
            f"{medium}: background and thresholds are made of the {int(mask.sum())} samples of the "
            f"stage '{stage}'; {int((~mask).sum())} others are measured against them.",
        )
    ]  # fmt: skip
