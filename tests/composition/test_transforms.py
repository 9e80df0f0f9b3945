import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from geochem import composition as c
from geochem.errors import WrongCall

X = np.array([0.1, 0.3, 0.4, 0.2])
Y = np.array([0.2, 0.4, 0.2, 0.2])

positive = arrays(
    float, st.tuples(st.integers(1, 6), st.integers(2, 7)),
    elements=st.floats(1e-4, 1e6, allow_nan=False),
)  # fmt: skip


@pytest.mark.published
def test_published_numbers():
    # clr: scikit-bio documentation; alr: Aitchison 1986; pivot: Fiserova & Hron 2011
    assert c.clr(X) == pytest.approx([-0.79451346, 0.30409883, 0.59178090, -0.10136628], abs=1e-8)
    assert c.alr(X, 0) == pytest.approx([1.09861229, 1.38629436, 0.69314718], abs=1e-8)
    assert c.alr(X) == pytest.approx([-0.69314718, 0.40546511, 0.69314718], abs=1e-8)
    assert c.ilr(X) == pytest.approx([-0.91742512, 0.04808472, 0.49012907], abs=1e-8)
    assert c.ilr([0.7, 0.2, 0.1]) == pytest.approx([1.30585283, 0.49012907], abs=1e-8)
    assert c.aitchison_distance(X, Y) == pytest.approx(1.01142314, abs=1e-8)
    assert np.linalg.norm(c.ilr(X)) == pytest.approx(1.04125285, abs=1e-8)


@pytest.mark.published
def test_partition_of_egozcue_2003():
    # Egozcue et al. 2003: first parts against the next one
    basis = c.partition_basis([[1, -1, 0, 0], [1, 1, -1, 0], [1, 1, 1, -1]])
    expected = [-0.77683620, -0.68339802, 0.11704769]
    assert c.ilr(X, basis) == pytest.approx(expected, abs=1e-8)


@pytest.mark.published
def test_variation_matrix():
    rows = [(48.29, 48.83, 2.88), (50, 45, 5), (60, 30, 10), (40, 55, 5)]
    t = c.variation_matrix(rows)  # Aitchison 1986, own arithmetic of the check list
    assert [t[0, 1], t[0, 2], t[1, 2]] == pytest.approx(
        [0.17937187, 0.18869453, 0.54360659], abs=1e-8
    )
    assert t.sum() / 6 == pytest.approx(0.30389100, abs=1e-8)
    assert t[0, 1] == pytest.approx(np.var(np.log([r[0] / r[1] for r in rows]), ddof=1))


def test_agrees_with_scikit_bio():
    from skbio.stats import composition as other

    x = np.random.default_rng(0).lognormal(size=(40, 5))
    assert c.clr(x) == pytest.approx(np.asarray(other.clr(x)))
    assert c.closure(x) == pytest.approx(np.asarray(other.closure(x)))
    signs = np.array([[1, 1, 1, -1, -1], [1, -1, -1, 0, 0], [0, 1, -1, 0, 0], [0, 0, 0, 1, -1]])
    basis = c.partition_basis(signs)
    assert basis == pytest.approx(np.asarray(other.sbp_basis(signs)))
    assert c.ilr(x, basis) == pytest.approx(np.asarray(other.ilr(x, basis=basis)))
    assert c.ilr_inv(c.ilr(x, basis), basis) == pytest.approx(
        np.asarray(other.ilr_inv(other.ilr(x, basis=basis), basis=basis))
    )
    for place in (0, 3):
        assert c.alr(x, place) == pytest.approx(np.asarray(other.alr(x, ref_idx=place)))
        assert c.alr_inv(c.alr(x, place), place) == pytest.approx(
            np.asarray(other.alr_inv(other.alr(x, ref_idx=place), ref_idx=place))
        )
    assert c.clr_inv(c.clr(x)) == pytest.approx(np.asarray(other.clr_inv(other.clr(x))))
    # distance: root of the inner product of the difference with itself
    away = other.perturb_inv(x[0], x[1])
    assert c.aitchison_distance(x[0], x[1]) == pytest.approx(np.sqrt(other.inner(away, away)))


@given(positive)
@settings(max_examples=40, deadline=None)
def test_round_trips_and_invariance(x):
    whole = c.closure(x)
    assert c.clr(x).sum(axis=1) == pytest.approx(np.zeros(len(x)), abs=1e-9)
    assert c.clr(x * 100) == pytest.approx(c.clr(x), abs=1e-9)
    assert c.clr_inv(c.clr(x)) == pytest.approx(whole, rel=1e-9)
    assert c.ilr_inv(c.ilr(x)) == pytest.approx(whole, rel=1e-9)
    for place in (0, -1):
        assert c.alr_inv(c.alr(x, place), place) == pytest.approx(whole, rel=1e-9)
    first = x[0]
    assert c.aitchison_distance(x, first) == pytest.approx(
        np.linalg.norm(c.ilr(x) - c.ilr(first), axis=1), abs=1e-9
    )


@given(positive, st.integers(0, 10_000))
@settings(max_examples=40, deadline=None)
def test_units_and_order_of_parts_change_nothing(x, seed):
    rng = np.random.default_rng(seed)
    n, p = x.shape
    # every sample in a unit of its own
    by_sample = x * 10.0 ** rng.integers(-4, 5, (n, 1))
    for transform in (c.clr, c.ilr, c.alr):
        assert transform(by_sample) == pytest.approx(transform(x), abs=1e-8)
    # every part in a unit of its own (mg/kg, %): a shift common to all samples
    by_part = x * 10.0 ** rng.integers(-4, 5, p)
    assert c.aitchison_distance(by_part, by_part[0]) == pytest.approx(
        c.aitchison_distance(x, x[0]), abs=1e-8
    )
    order = rng.permutation(p)
    assert c.clr(x[:, order]) == pytest.approx(c.clr(x)[:, order], abs=1e-9)
    assert c.aitchison_distance(x[:, order], x[0, order]) == pytest.approx(
        c.aitchison_distance(x, x[0]), abs=1e-9
    )
    if n > 2:
        spread = c.variation_matrix(x)
        assert c.variation_matrix(by_part) == pytest.approx(spread, abs=1e-7)
        assert c.variation_matrix(x[:, order]) == pytest.approx(
            spread[np.ix_(order, order)], abs=1e-9
        )


def test_order_of_parts_and_subcomposition():
    x = np.random.default_rng(1).lognormal(size=(10, 5))
    p = [3, 1, 4, 0, 2]
    assert c.clr(x[:, p]) == pytest.approx(c.clr(x)[:, p])
    # log-ratios of two parts do not depend on the others
    assert c.alr(x[:, [0, 4]])[:, 0] == pytest.approx(c.alr(x)[:, 0])
    # first pivot coordinate = clr of the first part, scaled
    assert c.ilr(x)[:, 0] == pytest.approx(np.sqrt(5 / 4) * c.clr(x)[:, 0])


def test_tables_and_single_samples():
    frame = pd.DataFrame({"Cu": [1.0, 2.0], "Zn": [3.0, 4.0]}, index=[7, 9])
    assert c.clr(frame) == pytest.approx(c.clr(frame.to_numpy()))
    assert c.clr(X).shape == (4,)
    assert c.ilr([X]).shape == (1, 3)


def test_refusals_say_what_to_do():
    with pytest.raises(WrongCall, match=r"zero, negative or infinite; .*replace_below"):
        c.clr([1.0, 0.0])
    with pytest.raises(WrongCall, match="1 of 2 samples have a missing part"):
        c.ilr([[1.0, np.nan], [1.0, 2.0]])
    with pytest.raises(WrongCall, match=r"n_samples, n_parts"):
        c.clr(np.ones((2, 2, 2)))
    with pytest.raises(WrongCall, match="needs 2 parts or more, got 1"):
        c.clr([1.0])
    with pytest.raises(WrongCall, match="two or more"):
        c.pivot_basis(1)
    with pytest.raises(WrongCall, match=r"shape \(3, 4\)"):
        c.ilr(X, np.eye(3))
    with pytest.raises(WrongCall, match="orthonormal"):
        c.ilr(X, np.ones((3, 4)))
    with pytest.raises(WrongCall, match="overlap"):
        c.partition_basis([[1, -1, 0], [0, 1, -1]])
    with pytest.raises(WrongCall, match="does not set"):
        c.partition_basis([[1, 1, 1], [1, -1, 0]])
    with pytest.raises(WrongCall, match="denominator"):
        c.alr(X, 4)
    with pytest.raises(WrongCall, match="cannot be compared"):
        c.aitchison_distance(X, X[:3])
    with pytest.raises(WrongCall, match="two samples"):
        c.variation_matrix(X)


def test_principal_balances_find_planted_groups():
    rng = np.random.default_rng(4)
    n = 400
    two, one = rng.standard_normal((2, n))
    log = 0.1 * rng.standard_normal((n, 6))
    log[:, [0, 2, 4]] += 1.0 * two[:, None]
    log[:, [1, 3]] += 0.5 * one[:, None]
    x = np.exp(log)
    signs = c.principal_partition(x)
    assert signs[0].tolist() == [1, -1, 1, -1, 1, -1]
    z = c.ilr(x, c.partition_basis(signs))
    # no balance can hold more than the first principal component, which is not far away here
    top = np.linalg.eigvalsh(np.cov(c.clr(x), rowvar=False))[-1]
    assert 0.97 * top < z[:, 0].var(ddof=1) <= top * (1 + 1e-12)
    turned = [3, 0, 5, 1, 4, 2]
    again = c.ilr(x[:, turned], c.partition_basis(c.principal_partition(x[:, turned])))
    assert np.abs(again).round(8).tolist() == np.abs(z).round(8).tolist()


def test_a_few_wild_samples_do_not_move_the_robust_centre():
    rng = np.random.default_rng(9)
    x = np.exp(rng.normal([0, 1, 2, 3], 0.2, (200, 4)))
    wild = x.copy()
    wild[:20] *= [1000, 1, 1, 1]
    usual, moved = c.centre(x), c.centre(wild)
    assert c.aitchison_distance(usual, moved) > 0.4
    assert c.aitchison_distance(usual, c.centre(wild, robust=True)) < 0.08
    spread = c.variation_matrix(x)
    assert c.variation_matrix(wild)[0, 1] > 10 * spread[0, 1]
    assert c.variation_matrix(wild, robust=True) == pytest.approx(spread, rel=0.35, abs=1e-12)


@given(st.integers(0, 10_000))
@settings(max_examples=20, deadline=None)
def test_a_subcomposition_keeps_its_ratios_and_brings_parts_nearer(seed):
    rng = np.random.default_rng(seed)
    x, y = rng.lognormal(size=(2, 6))
    some = rng.permutation(6)[:3].tolist()
    a, b = c.subcomposition(x, some), c.subcomposition(1e4 * y, some)
    assert a / a[0] == pytest.approx(x[some] / x[some[0]])
    # subcompositional dominance: Aitchison 1992, Math. Geol. 24:365-379
    assert c.aitchison_distance(a, b) <= c.aitchison_distance(x, y) + 1e-12


def test_wrong_subcompositions_are_refused():
    with pytest.raises(WrongCall, match="different parts"):
        c.subcomposition([1, 2, 3], [1, -2])
    with pytest.raises(WrongCall, match="one of them"):
        c.principal_partition()
