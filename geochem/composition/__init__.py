"""Compositions: parts of a whole, looked at through log-ratios.

What lives here: log-ratio transforms and their bases, replacement of values below detection for
log-ratios, robust description of a whole survey (`describe`). What does not: thresholds
(`background`), clusters and associations (`anomalies`), bare formulas (`stats.logratio`).
To add a transform: a function in `transforms`, its formula in `stats.logratio`, its name below.
Tests to copy: `tests/composition/test_transforms.py`.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from geochem.composition.bases import partition_basis, pivot_basis, principal_partition
    from geochem.composition.describe import describe_composition
    from geochem.composition.replacement import Replaced, replace_below
    from geochem.composition.transformers import (
        AdditiveLogRatio,
        CentredLogRatio,
        IsometricLogRatio,
        PivotLogRatio,
    )
    from geochem.composition.transforms import (
        aitchison_distance,
        alr,
        alr_inv,
        centre,
        closure,
        clr,
        clr_inv,
        ilr,
        ilr_inv,
        subcomposition,
        variation_matrix,
    )

__all__ = [
    "AdditiveLogRatio",
    "CentredLogRatio",
    "IsometricLogRatio",
    "PivotLogRatio",
    "Replaced",
    "aitchison_distance",
    "alr",
    "alr_inv",
    "centre",
    "closure",
    "clr",
    "clr_inv",
    "describe_composition",
    "ilr",
    "ilr_inv",
    "partition_basis",
    "pivot_basis",
    "principal_partition",
    "replace_below",
    "subcomposition",
    "variation_matrix",
]

_HOME = {
    "AdditiveLogRatio": "transformers",
    "CentredLogRatio": "transformers",
    "IsometricLogRatio": "transformers",
    "PivotLogRatio": "transformers",
    "principal_partition": "bases",
    "partition_basis": "bases",
    "pivot_basis": "bases",
    "describe_composition": "describe",
    "Replaced": "replacement",
    "replace_below": "replacement",
}


def __getattr__(name: str) -> Any:
    if name in __all__:
        home = _HOME.get(name, "transforms")
        return getattr(importlib.import_module(f"geochem.composition.{home}"), name)
    raise AttributeError(f"module 'geochem.composition' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted(__all__)
