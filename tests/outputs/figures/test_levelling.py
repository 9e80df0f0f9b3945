"""Before and after levelling: what is drawn is what the record says."""

import numpy as np
import pandas as pd
import pytest

from geochem.model.background import LEVELLING_ELEMENTS, LEVELLING_GROUPS, Levelling
from geochem.model.tables import conform
from geochem.outputs.figures.levelling import draw_levelled, draw_levelling, levelled_series


@pytest.fixture
def levelling():
    groups, elements = [], []
    for element, between in (("Cu", 5.0), ("Zn", 12.0)):
        for group, before, factor in (("P1", 40.0, 0.9), ("P2", 34.0, 1.1)):
            groups.append(
                {"column": "instrument", "assay": "xrf", "group": group, "element": element,
                 "median_before": before, "median_after": before * factor, "factor": factor,
                 "factor_low": factor / 1.02, "factor_high": factor * 1.02, "levelled": True}
            )  # fmt: skip
        elements.append(
            {"column": "instrument", "assay": "xrf", "element": element, "groups": 2,
             "between_pct": between, "removed_pct": 3.2, "levelled": True}
        )  # fmt: skip
    return Levelling(
        conform(pd.DataFrame(groups), LEVELLING_GROUPS),
        conform(pd.DataFrame(elements), LEVELLING_ELEMENTS), ("instrument",), ("standards",), "", "",
    )  # fmt: skip


def test_medians_before_and_after(levelling):
    assert levelled_series(levelling)[0] == ("instrument", "xrf", "Zn")
    ax = draw_levelled(levelling, ("instrument", "xrf", "Cu"))
    drawn = {line.get_gid(): line.get_ydata() for line in ax.lines}
    np.testing.assert_allclose(drawn["before"], [40.0, 34.0])
    np.testing.assert_allclose(drawn["after"], [36.0, 37.4])
    assert "-3.2 %" in ax.get_title(loc="left")
    assert len(ax.get_yticks()) >= 3


def test_a_page_of_them(levelling):
    page = draw_levelling(levelling)
    titles = [title for ax in page.axes if (title := ax.get_title(loc="left"))]
    assert [title.split()[0] for title in titles] == ["Zn", "Cu"]
