import numpy as np

from geochem.model.evidence import Proxy
from geochem.targets.proxy_words import proxy_sentence


def _proxy(*, used=True):
    value = np.array([0.01] * 8 + [0.05, 0.06])
    ids = np.array([f"S{i}" for i in range(10)], dtype=object)
    return Proxy(
        "soil", "Au", ("As", "Cu"), 100, 0.55, 0.4, 0.4, used, 0.2, ids, value, value / 2,
        value * 2, "why",
    )  # fmt: skip


def test_the_sentence_says_proxy_and_how_sure():
    said = proxy_sentence([_proxy()], "soil", {"S8", "S9"}, {"Au", "Cu"})
    assert said.startswith("proxy, not measured: Au")
    assert "5.5 times" in said
    assert "(2.8 to 11.0)" in said
    assert "skill 0.55" in said


def test_nothing_is_said_where_there_is_nothing_to_say():
    inside, sought = {"S8", "S9"}, {"Au"}
    assert proxy_sentence([_proxy(used=False)], "soil", inside, sought) == ""
    assert proxy_sentence([_proxy()], "till", inside, sought) == ""
    assert proxy_sentence([_proxy()], "soil", {"S1", "S2"}, sought) == ""
    assert proxy_sentence([_proxy()], "soil", inside, {"Cu"}) == ""
    assert proxy_sentence([_proxy()], "soil", {"X"}, sought) == ""
