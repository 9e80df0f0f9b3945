"""Robust distances are said, never called anomalies."""

from dataclasses import replace

import numpy as np

from geochem.anomalies import multivariate


def test_many_beyond_the_cut_are_other_material(factory):
    ground = factory.ground(1, lines=8, stations=12)
    composition = ground.compositions[0]
    n = len(composition.sample_id)
    distance = np.where(np.arange(n) < n // 4, 5.0, 1.0)
    (found,) = multivariate.outliers([replace(composition, distance=distance, distance_cut=3.0)])
    assert found.share == 0.25
    assert found.many
    (said,) = multivariate.outlier_findings([found])
    assert "not called anomalies" in said.message
    few = replace(composition, distance=np.where(np.arange(n) < 3, 5.0, 1.0), distance_cut=3.0)
    (found,) = multivariate.outliers([few])
    assert not found.many


def test_a_composition_without_distances_says_nothing(factory):
    composition = factory.ground(1, lines=8, stations=12).compositions[0]
    empty = replace(composition, distance=np.full(96, np.nan), distance_cut=float("nan"))
    assert multivariate.outliers([empty]) == ()
