"""Elements planted together are found together, and nothing is found in noise."""

import numpy as np

from geochem.anomalies.learned_associations import clumping, learn
from geochem.model.evidence import Association

NAMES = ["Ti", "V", "Cr", "Mn", "Fe", "Ni", "Cu", "Zn", "As", "Mo", "Ba", "Pb"]
PRESETS = (Association("copper", "Copper", {"Cu": 1.0, "Mo": 0.8, "As": 0.5}),)


def ground(seed=1, n=600, share=0.12):
    """Ni, Cr, V follow one rock; Cu, Mo, As rise in a share of the samples and Mn falls."""
    rng = np.random.default_rng(seed)
    x = rng.normal(size=(n, len(NAMES)))
    rock = rng.normal(size=n)
    for e in ("V", "Cr", "Ni"):
        x[:, NAMES.index(e)] += 1.5 * rock
    high = rng.random(n) < share
    for e, rise in (("Cu", 3.5), ("Mo", 3.5), ("As", 3.0), ("Mn", -3.0)):
        x[high, NAMES.index(e)] += rise
    return x, high


def test_planted_elements_are_found_with_their_signs():
    x, _ = ground()
    found = learn("soil", NAMES, x, PRESETS)
    elements = {frozenset(f.association.weights): f for f in found}
    assert frozenset({"V", "Cr", "Ni"}) in elements
    ore = elements[frozenset({"Cu", "Mo", "As", "Mn"})]
    assert ore.association.weights["Cu"] > 0
    assert ore.association.weights["Mn"] < 0
    assert ore.resembles == "copper"
    assert ore.stability > 0.9
    assert ore.association.name.startswith("found_")
    assert max(abs(w) for w in ore.association.weights.values()) == 1.0


def test_nothing_is_found_in_noise():
    some = [len(learn("soil", NAMES, np.random.default_rng(s).normal(size=(400, 12)), ()))
            for s in range(10)]  # fmt: skip
    assert sum(some) <= 1


def test_order_of_columns_changes_nothing():
    x, _ = ground(3)
    turned = list(range(len(NAMES)))[::-1]
    one = learn("soil", NAMES, x, PRESETS)
    other = learn("soil", [NAMES[j] for j in turned], x[:, turned], PRESETS)
    assert [f.association for f in one] == [f.association for f in other]


def test_what_stands_together_is_told_from_what_is_scattered():
    x, y = (v.ravel().astype(float) for v in np.meshgrid(np.arange(20), np.arange(20)))
    together = np.where(np.hypot(x - 5, y - 5) < 4, 4.0, 0.0)
    beyond, clumped = clumping(together, x, y)
    assert beyond == (together > 0).sum()
    scattered = np.random.default_rng(1).permutation(together)
    assert clumped > 4
    assert clumping(scattered, x, y)[1] < 2
