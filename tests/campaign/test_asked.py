import pytest

from geochem.anomalies.clusters import Way
from geochem.campaign.asked import budget, grouping
from geochem.errors import WrongCall


def test_follow_up_is_the_smaller_of_samples_and_days():
    assert budget({"samples": 30}, 40) == 30
    assert budget({"days": 1.5}, 40) == 60
    assert budget({"samples": 100, "days": 2}, 40) == 80
    assert budget({}, 40) is None
    with pytest.raises(WrongCall, match="weeks"):
        budget({"weeks": 1}, 40)
    with pytest.raises(WrongCall, match="samples"):
        budget({"samples": -1}, 40)


def test_grouping_is_checked():
    given = {"grouping": "k_means", "options": {"most": 4, "contiguity": 0.5}}
    assert grouping(given) == Way("k_means", 4, 8, 0.5)
    for options in ({"most": 2.5}, {"many": 3}, {"most": True}):
        with pytest.raises(WrongCall, match="options"):
            grouping({"grouping": "mixtures", "options": options})
    with pytest.raises(WrongCall, match="between 0 and 1"):
        grouping({"grouping": "mixtures", "options": {"contiguity": 3}})
