"""Groups: found, numbered by rule, the same whatever happens around."""

import numpy as np
import pytest

from geochem.anomalies import clusters
from geochem.errors import WrongCall

KINDS = {"Cu": 0, "Mo": 1, "As": 2, "Ni": 3, "Cr": 4}


def ground(seed=1, n=600):
    """30 samples rich in Cu, Mo, As; 30 rich in Ni, Cr; the others background."""
    rng = np.random.default_rng(seed)
    values = rng.normal(size=(n, 5))
    values[:30, :3] += 5.0
    values[30:60, 3:] += 5.0
    score = np.zeros(n)
    score[:30], score[30:60] = 6.0, 4.0
    return values, score


def found(seed=1):
    values, score = ground(seed)
    raised = clusters.raised(score, np.zeros(len(score)))
    standard = clusters.standardise(values, np.full(len(score), "all", dtype=object))
    return clusters.group(standard, raised, score, seed=1), values, score


def test_two_kinds_of_anomaly_are_two_groups_and_the_rest_is_background():
    grouping, values, score = found()
    assert grouping.n_groups == 3
    assert (grouping.label[:30] == 0).mean() > 0.9
    assert (grouping.label[30:60] == 1).mean() > 0.9
    assert (grouping.label[60:] == 2).all()
    assert (grouping.stability > 0.7).all()
    z = {e: values[:, i] for e, i in KINDS.items()}
    table = clusters.describe("soil", grouping, z, score, 1)
    assert table["group"].tolist() == [1, 2, 3]
    assert set(table["driving"][0].split()) == {"Cu+", "Mo+", "As+"}
    assert set(table["driving"][1].split()) == {"Ni+", "Cr+"}
    assert table["driving"][2] == "background"
    assert table["n"].sum() == (grouping.label >= 0).sum()


def test_numbers_follow_the_mean_score():
    grouping, _, score = found()
    mean = [score[grouping.label == i].mean() for i in range(grouping.n_groups)]
    assert mean == sorted(mean, reverse=True)


def test_nothing_raised_is_one_background_group():
    values, score = ground()
    grouping = clusters.group(values, np.zeros(len(score), dtype=bool), score)
    assert grouping.n_groups == 1
    assert (grouping.label == 0).all()


def test_one_kind_is_not_split():
    rng = np.random.default_rng(3)
    values = rng.normal(size=(400, 5))
    values[:60] += [4.0, 4.0, 4.0, 0.0, 0.0]
    score = np.where(np.arange(400) < 60, 5.0, 0.0)
    grouping = clusters.group(values, score > 3, score)
    assert grouping.n_groups == 2


def test_standardising_takes_the_domain_out():
    rng = np.random.default_rng(0)
    domain = np.array(["granite"] * 100 + ["basalt"] * 100, dtype=object)
    values = rng.normal(size=(200, 2)) + np.where(domain == "basalt", 9.0, 0.0)[:, None]
    standard = clusters.standardise(values, domain)
    assert np.median(standard[:100], axis=0) == pytest.approx([0, 0], abs=1e-9)
    assert np.median(standard[100:], axis=0) == pytest.approx([0, 0], abs=1e-9)


@pytest.mark.parametrize("method", clusters.METHODS)
def test_every_way_parts_two_kinds(method):
    values, score = ground()
    raised = clusters.raised(score, np.zeros(len(score)))
    got = clusters.group(values, raised, score, way=clusters.Way(method))
    assert got.n_groups == 3
    kinds = [set(got.label[:30]) - {-1}, set(got.label[30:60]) - {-1}]
    assert kinds == [{0}, {1}]
    assert got.agreement > 0.7
    again = clusters.group(values, raised, score, way=clusters.Way(method))
    assert again.label.tolist() == got.label.tolist()


@pytest.mark.parametrize("method", clusters.METHODS)
def test_no_way_splits_one_cloud(method):
    values = np.random.default_rng(4).normal(size=(300, 5))
    score = np.where(np.arange(300) < 120, 5.0, 0.0)
    got = clusters.group(values, score > 3, score, way=clusters.Way(method))
    assert got.n_groups == 2
    assert np.isnan(got.agreement)


def test_contiguity_holds_groups_together_on_the_ground():
    rng = np.random.default_rng(5)
    n = 160
    xy = np.column_stack([rng.uniform(0, 10, n), rng.uniform(0, 10, n)])
    east = xy[:, 0] > 5
    values = rng.normal(size=(n, 5))
    values[east, :3] += 1.6
    score = np.full(n, 5.0)

    def right(share):
        way = clusters.Way("k_means", most=2, contiguity=share)
        label = clusters.group(values, score > 3, score, way=way, xy=xy).label
        return max((label == east).mean(), (label != east).mean())

    assert right(0.7) > right(0.0) + 0.02
    with pytest.raises(WrongCall, match="positions"):
        clusters.group(values, score > 3, score, way=clusters.Way(contiguity=0.5))
    with pytest.raises(WrongCall, match="between 0 and 1"):
        clusters.Way(contiguity=2.0)
