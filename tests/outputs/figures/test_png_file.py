"""The PNG that is written, read back by another library."""

import numpy as np
import pytest
from PIL import Image

from geochem.outputs.figures.png_file import write_png


def test_pixels_and_resolution_come_back(tmp_path):
    pixels = np.random.default_rng(3).integers(0, 256, (37, 53, 4), dtype=np.uint8)
    path = write_png(tmp_path / "page.png", pixels, 150)
    with Image.open(path) as image:
        image.verify()  # check sums of every part
    with Image.open(path) as image:
        assert image.mode == "RGB"
        assert np.array_equal(np.asarray(image), pixels[:, :, :3])
        assert image.info["dpi"] == pytest.approx(
            (150.0124, 150.0124)
        )  # 5906 pixels per metre, a whole number
        assert set(image.info) == {"dpi"}
