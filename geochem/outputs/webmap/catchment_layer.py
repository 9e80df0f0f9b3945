"""Catchments of stream sediments as a layer whose units say how far they exceed their rocks."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from geochem.model.layers import Layer, Layers
from geochem.outputs.yield_classes import class_words, times_expected

if TYPE_CHECKING:
    from geochem.model.bundle import Bundle


def layers_with_yield(bundle: Bundle) -> Layers:
    """Put the worked-out catchments in the place of the plain layer.

    Parameters
    ----------
    bundle : Bundle
        Records of a run.

    Returns
    -------
    Layers
        The same when no element could be worked out.
    """
    found = bundle.catchments
    if found is None or not found.elements or not len(found.frame):
        return bundle.layers
    element = found.elements[0]
    words = class_words(element, times_expected(found, element))
    frame = found.frame[["geometry"]].copy()
    frame["words"] = np.array(words, dtype=object)
    # the smaller lie on the larger ones
    frame = frame.iloc[np.argsort(-found.frame["area_km2"].to_numpy(), kind="stable")]
    plain = bundle.layers.vector.get("catchments")
    layer = Layer("catchments", frame, "words", Path() if plain is None else plain.path)
    return Layers(
        {**bundle.layers.vector, "catchments": layer}, bundle.layers.image, bundle.layers.elevation
    )
