"""Three figures compared with pictures that were looked at; small, so that fonts may differ a little.

To renew them after a wanted change: delete ``pictures/*.png``, run this test once, look at what it
wrote, run it again.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from geochem.outputs.figures.renderer import FiguresRenderer

PICTURES = Path(__file__).parent / "pictures"
NAMES = ("element_Cu", "targets", "boxplots")


@pytest.fixture(scope="module")
def drawn(bundle, tmp_path_factory):
    folder = tmp_path_factory.mktemp("drawn")
    FiguresRenderer().render(bundle, folder)
    return folder / "figures"


def small(path):
    with Image.open(path) as image:
        grey = image.convert("L").resize((240, 150), Image.Resampling.LANCZOS)
    return np.asarray(grey, dtype=float)


@pytest.mark.parametrize("name", NAMES)
def test_a_figure_looks_as_it_did_when_it_was_looked_at(drawn, name):
    kept = PICTURES / f"{name}.png"
    now = small(drawn / f"{name}.png")
    if not kept.exists():
        PICTURES.mkdir(exist_ok=True)
        Image.fromarray(now.astype(np.uint8)).save(kept)
        pytest.fail(f"{kept.name} was written; look at it, then run the test again")
    before = small(kept)
    assert np.abs(now - before).mean() < 4.0  # of 255; another figure differs by 15 and more
    assert np.corrcoef(now.ravel(), before.ravel())[0, 1] > 0.93


def test_another_figure_would_be_noticed(drawn):
    one, other = small(PICTURES / "targets.png"), small(drawn / "boxplots.png")
    assert np.abs(one - other).mean() > 8.0
