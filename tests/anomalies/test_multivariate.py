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


def _two_rocks(seed=1, n=600):
    """A fifth of the samples are another rock; 12 of each rock are rich in Cu and As."""
    import pandas as pd

    from geochem.composition.describe import describe_composition

    rng = np.random.default_rng(seed)
    names = ["Cu", "As", "Fe", "Ti", "Rb", "Zr", "Ca", "Sr"]
    log = 0.2 * rng.normal(size=(n, 8)) + np.log([30, 8, 4e4, 4e3, 60, 200, 9e3, 150])
    other = np.arange(n) >= 4 * n // 5
    log[other, 2:] += [0.9, 0.8, -1.0, -0.7, 0.9, 0.6]
    rich = np.r_[np.arange(12), np.arange(n - 12, n)]
    log[rich, :2] += 1.6
    frame = pd.DataFrame(np.exp(log), columns=[f"{e}_ppm" for e in names])
    for e in names:
        frame[f"{e}_ppm_below"] = False
        frame[f"{e}_ppm_above"] = False
        frame[f"{e}_ppm_err"] = np.nan
    frame.insert(0, "sample_id", [f"S{i:04d}" for i in range(n)])
    frame["medium"] = "soil"
    composition, _ = describe_composition(frame, names, medium="soil")
    return (
        composition,
        other,
        rich,
        dict(zip(frame["sample_id"], np.where(other, "mafic", "felsic"), strict=True)),
    )


def test_another_rock_is_told_from_what_it_does_not_explain():
    composition, other, rich, domains = _two_rocks()
    (plain,) = multivariate.outliers([composition])
    assert plain.many  # the chi-square cut flags the whole other rock
    (all_count,) = multivariate.outliers([composition], composition.parts)
    assert all_count.material[other].mean() > 0.9  # told by Ti, Rb, Zr, Ca, Sr
    (unmapped,) = multivariate.outliers([composition], ["Cu", "As"])
    assert unmapped.material[other].mean() > 0.9
    assert unmapped.material[~other].mean() < 0.02
    assert unmapped.unexplained[rich[:12]].mean() > 0.7
    (mapped,) = multivariate.outliers([composition], ["Cu", "As"], domains)
    assert mapped.material.mean() < 0.03
    assert mapped.unexplained[rich].mean() > 0.7
    usual = np.setdiff1d(np.arange(len(other)), rich)
    assert mapped.unexplained[usual].mean() < 0.02
    (said,) = multivariate.outlier_findings([mapped])
    assert "another rock or material" in said.message
