"""Shots become one value by stated rules, whatever their order."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize_scalar
from scipy.stats import norm

from geochem.errors import WrongCall
from geochem.samples.combine import combine_assays


def one(make_results, no_roles, shots, **options):
    """Combine the shots of one element of one sample."""
    columns = options.pop("columns", {})
    results = make_results([("A", "Cu", *s) for s in shots], **columns)
    out = combine_assays(["A"], results, no_roles, **options).columns
    return tuple(out[f"Cu_ppm__xrf{s}"][0] for s in ("", "_below", "_above", "_err"))


def test_single_shot_is_left_alone(make_results, no_roles):
    assert one(make_results, no_roles, [(12.0, 1.5)]) == (12.0, False, False, 1.5)
    value, below, _, err = one(make_results, no_roles, [("<5",)])
    assert (value, below) == (5.0, True)
    assert np.isnan(err)


def test_mean_of_few_median_of_many(make_results, no_roles):
    assert one(make_results, no_roles, [(10.0,), (14.0,)])[0] == 12.0
    shots = [(v,) for v in (10.0, 11.0, 12.0, 13.0, 90.0)]
    assert one(make_results, no_roles, shots)[0] == 12.0
    assert one(make_results, no_roles, shots[:2] + shots[4:], prefer_repeat="median")[0] == 11.0
    assert one(make_results, no_roles, shots, prefer_repeat="newest")[0] == 90.0


def test_error_is_the_larger_of_propagated_and_observed(make_results, no_roles):
    # propagated sqrt(3^2 + 4^2) / 2 = 2.5 against observed (1 / sqrt 2) ...
    assert one(make_results, no_roles, [(10.0, 3.0), (11.0, 4.0)])[3] == pytest.approx(2.5)
    # ... and against a scatter of sd 7.07 / sqrt 2 = 5
    assert one(make_results, no_roles, [(10.0, 3.0), (20.0, 4.0)])[3] == pytest.approx(5.0)


def test_all_below_is_below_the_smallest_limit(make_results, no_roles):
    value, below, above, _ = one(make_results, no_roles, [("<8",), ("<5",), ("<6",)])
    assert (value, below, above) == (5.0, True, False)


@pytest.mark.parametrize(
    "shots", [[(20.0, 3.0), ("<10",), (14.0, 4.0)], [(12.0, 3.0), (13.0, 3.0), ("<10",)]]
)
def test_some_below_is_the_maximum_likelihood_mean(make_results, no_roles, shots):
    # slow twin: maximise the likelihood directly
    detected = [s[0] for s in shots if not isinstance(s[0], str)]
    limits = [float(s[0][1:]) for s in shots if isinstance(s[0], str)]
    sigma = np.sqrt(np.mean([s[1] ** 2 for s in shots if len(s) > 1]))

    def minus_log_likelihood(mean):
        return -(norm.logpdf(detected, mean, sigma).sum() + norm.logcdf(limits, mean, sigma).sum())

    best = minimize_scalar(minus_log_likelihood, bounds=(1, 40), method="bounded").x
    value, below, above, err = one(make_results, no_roles, shots)
    assert value == pytest.approx(best, abs=1e-3)
    assert (below, above) == (False, False)
    assert err > 0


def test_a_mean_under_the_limit_is_below(make_results, no_roles):
    value, below, _, _ = one(make_results, no_roles, [(10.5, 3.0), ("<10",), ("<10",)])
    assert (value, below) == (10.0, True)


def test_a_useless_limit_changes_nothing(make_results, no_roles):
    value, below, _, _ = one(make_results, no_roles, [(6.0, 1.0), ("<30",)])
    assert value == pytest.approx(6.0, abs=1e-6)
    assert not below


def test_above_is_settled_by_a_higher_value(make_results, no_roles):
    assert one(make_results, no_roles, [(">1000",), (">1200",)])[:3] == (1200.0, False, True)
    assert one(make_results, no_roles, [(">1000",), (990.0,)])[:3] == (1000.0, False, True)
    columns = {"method": ["ICP", "over-range"]}
    settled = one(make_results, no_roles, [(">1000",), (15_000.0,)], columns=columns)
    assert settled[:3] == (15_000.0, False, False)


def test_methods_are_not_averaged(make_results, no_roles):
    results = make_results(
        [("A", "Cu", 10), ("A", "Cu", 30), ("B", "Cu", 11), ("C", "Cu", 40)],
        mode=["soil", "mining", "soil", "mining"],
    )
    results = pd.concat([results, make_results([("D", "Cu", 9)], mode="soil")], ignore_index=True)
    out = combine_assays(["A", "B", "C", "D"], results, no_roles)
    # soil mode covers most samples; C has only the other
    assert out.columns["Cu_ppm__xrf"].tolist() == [10.0, 11.0, 40.0, 9.0]
    assert [f.code for f in out.findings] == ["methods-mixed"]


def test_repeat_counts_for_the_parent_and_reread_replaces(make_results, no_roles):
    roles = pd.DataFrame(
        {
            "sample_id": ["A-2", "B-2"], "role": ["repeat", "reread"], "parent": ["A", "B"],
        }
    )  # fmt: skip
    results = make_results(
        [("A", "Cu", 10), ("A-2", "Cu", 14), ("B", "Cu", 10), ("B-2", "Cu", 50)]
    )
    out = combine_assays(["A", "B"], results, roles)
    assert out.columns["Cu_ppm__xrf"].tolist() == [12.0, 50.0]
    assert "reread-used" in [f.code for f in out.findings]


def test_assays_stand_beside_and_quantities_are_no_elements(make_results, no_roles):
    results = pd.concat(
        [
            make_results([("B", "LOI", 4.5), ("A", "Cu", 10), ("A", "C_inorganic", 3)]),
            make_results([("A", "Cu", 12)], assay="lab", source="laboratory"),
        ],
        ignore_index=True,
    )
    out = combine_assays(["A", "B", "C"], results, no_roles).columns
    assert out["LOI__xrf"][1] == 4.5
    assert [c for c in out if not c.endswith(("_below", "_above", "_err"))] == [
        "Cu_ppm__lab", "Cu_ppm__xrf", "C_inorganic_ppm__xrf", "LOI__xrf",
    ]  # fmt: skip
    assert np.isnan(out["Cu_ppm__lab"][1:]).all()


def test_row_order_does_not_matter(make_results, no_roles):
    rng = np.random.default_rng(4)
    rows = [
        (f"S{rng.integers(6)}", ["Cu", "Zn"][rng.integers(2)],
         f"<{rng.integers(5, 9)}" if rng.random() < 0.3 else float(rng.integers(4, 30)), 2.0)
        for _ in range(80)
    ]  # fmt: skip
    results = make_results(rows)
    ids = [f"S{i}" for i in range(6)]
    first = combine_assays(ids, results, no_roles).columns
    shuffled = results.sample(frac=1, random_state=1).reset_index(drop=True)
    again = combine_assays(ids, shuffled, no_roles).columns
    assert list(first) == list(again)
    for name in first:
        np.testing.assert_array_equal(first[name], again[name])


def test_unknown_way(make_results, no_roles):
    with pytest.raises(WrongCall, match="possible: mean, median, newest"):
        combine_assays(["A"], make_results([("A", "Cu", 1)]), no_roles, prefer_repeat="average")


def test_reread_under_the_own_id_takes_the_last_reading(make_results, no_roles):
    results = make_results(
        [("A", "Cu", 10), ("A", "Zn", 5), ("A", "Cu", 50), ("B", "Cu", 1), ("B", "Cu", 3)],
        reading=["9", "9", "10", "1", "2"],
    )
    out = combine_assays(["A", "B"], results, no_roles, reread_own=["A"]).columns
    assert out["Cu_ppm__xrf"].tolist() == [50.0, 2.0]
    # what was not read again stays
    assert out["Zn_ppm__xrf"][0] == 5.0


def test_unlike_repeats_are_named(make_results, no_roles):
    rows = [("S0", e, v) for e in ("Cu", "Zn", "Pb") for v in (10, 31)]
    rows += [("S1", e, v) for e in ("Cu", "Zn", "Pb") for v in (10, 12)]
    got = combine_assays(["S0", "S1"], make_results(rows), no_roles)
    said = {f.code: f for f in got.findings}
    assert "S0" in said["repeats-disagree"].message
    assert "S1" not in said["repeats-disagree"].message
