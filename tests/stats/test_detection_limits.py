import numpy as np
import pytest

from geochem.errors import WrongCall
from geochem.stats.detection_limits import blank_detection_limit, counting_limits, three_sigma
from geochem.stats.precision import method_detection_limit

LOW = [2.1, 1.8, 2.4, 2.0, 2.2, 1.9, 2.3]


@pytest.mark.published
@pytest.mark.parametrize(
    ("n", "t"),
    # 40 CFR Part 136, Appendix B, table of t values for replicates.
    [(7, 3.143), (8, 2.998), (9, 2.896), (10, 2.821), (11, 2.764), (16, 2.602), (21, 2.528),
     (26, 2.485), (31, 2.457), (61, 2.390), (101, 2.364)],
)  # fmt: skip
def test_the_published_t_table(n, t):
    x = np.linspace(-1, 1, n)
    x /= x.std(ddof=1)
    assert method_detection_limit(10 + x) == pytest.approx(t, abs=6e-4)


@pytest.mark.published
def test_three_standard_deviations():
    # EPA Method 6200, section 9.6: 3 SD of replicates; arithmetic on the example.
    assert three_sigma(LOW) == pytest.approx(0.6480741, abs=1e-7)
    assert method_detection_limit(LOW) == pytest.approx(3.143 * 0.2160247, rel=2e-4)


def test_blanks_below_detection_take_the_highest_number():
    seen = np.array([True, False, False, True, False, False, False])
    assert blank_detection_limit(LOW, seen) == 2.1
    assert np.isnan(blank_detection_limit(LOW, np.zeros(7, bool)))
    assert blank_detection_limit(np.array(LOW) - 10, np.ones(7, bool)) == pytest.approx(0.678894)
    with pytest.raises(WrongCall, match="at least 7"):
        blank_detection_limit(LOW[:5], [True] * 5)


@pytest.mark.published
def test_counting():
    # Currie 1968, Analytical Chemistry 40:586-593: paired blank, B = 100.
    assert counting_limits(100) == pytest.approx((23.3, 49.21))
