import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.stats.nested_anova import nested_anova

DESIGN = [
    [[10, 11], [12, 11]], [[20, 22], [19, 21]], [[15, 14], [17, 16]], [[30, 28], [33, 31]],
]  # fmt: skip


@pytest.mark.published
def test_duplicate_split_design():
    # Design: Garrett 1969, Economic Geology 64:568-569; numbers: arithmetic of the balanced table.
    found = nested_anova(DESIGN)
    assert found.sums == pytest.approx((840.75, 15.0, 10.0))
    assert found.freedoms == (3, 4, 8)
    assert found.means == pytest.approx((280.25, 3.75, 1.25))
    assert (found.sites, found.sampling, found.analysis) == pytest.approx((69.125, 1.25, 1.25))
    assert found.shares_pct == pytest.approx((96.50960, 1.74520, 1.74520), abs=1e-5)
    assert found.f_sites == pytest.approx(74.73333, abs=1e-5)
    assert found.p_sites == pytest.approx(5.7271e-4, abs=1e-8)
    assert found.p_sampling == pytest.approx(0.08704, abs=1e-5)


def test_components_are_recovered():
    rng = np.random.default_rng(1)
    shape = (400, 2, 2)
    x = rng.normal(0, 3, (400, 1, 1)) + rng.normal(0, 1, (400, 2, 1)) + rng.normal(0, 0.5, shape)
    found = nested_anova(x)
    assert (found.sites, found.sampling, found.analysis) == pytest.approx((9, 1, 0.25), rel=0.2)


def test_gaps_are_refused():
    with pytest.raises(WrongCall, match="leave out sites"):
        nested_anova(np.full((2, 2, 2), np.nan))
    with pytest.raises(WrongCall, match="at least 2 of each"):
        nested_anova(np.ones((4, 2)))
