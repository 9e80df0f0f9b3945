import numpy as np
import pytest

from geochem.stats import logratio


def test_pivot_rows_are_orthonormal():
    basis = logratio.pivot_rows(7)
    assert basis @ basis.T == pytest.approx(np.eye(6))
    assert basis.sum(axis=1) == pytest.approx(np.zeros(6))


def test_blocks_give_what_one_piece_gives():
    x = np.random.default_rng(0).lognormal(size=(5000, 4))
    basis = logratio.pivot_rows(4)
    assert logratio.ilr_rows(x, basis) == pytest.approx(logratio.clr_rows(x) @ basis.T, abs=1e-12)


def test_inverse_survives_large_numbers():
    z = np.array([[800.0, -800.0, 0.0]])
    back = logratio.clr_inv_rows(z)
    assert np.isfinite(back).all()
    assert back.sum() == pytest.approx(1)
    assert logratio.closure_rows(np.array([1.0, 3.0]), 100.0).tolist() == [25, 75]
