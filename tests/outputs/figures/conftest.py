"""Words of a drawn page, and its main axes."""

from __future__ import annotations

import pytest


@pytest.fixture
def words_of():
    """Give every text that stands on the page of some axes."""

    def words(drawn) -> list[str]:
        from matplotlib.text import Text

        page = drawn if hasattr(drawn, "add_axes") else drawn.get_figure(root=True)
        return [t.get_text() for t in page.findobj(Text) if t.get_text()]

    return words


@pytest.fixture
def points_in():
    """Count the points of artists whose gid begins with a word."""

    def count(ax, start: str) -> int:
        return sum(
            len(line.get_xdata()) for line in ax.lines if (line.get_gid() or "").startswith(start)
        )

    return count


@pytest.fixture
def inside_page():
    """Check that nothing written on a page runs off it."""

    def check(drawn) -> None:
        from matplotlib.text import Text

        page = drawn if hasattr(drawn, "add_axes") else drawn.get_figure(root=True)
        page.canvas.draw()
        renderer = page.canvas.get_renderer()
        wide, high = page.canvas.get_width_height()
        for text in page.findobj(Text):
            if text.get_text().strip() and text.get_visible():
                box = text.get_window_extent(renderer)
                off = box.x0 < -0.5 or box.x1 > wide + 0.5 or box.y0 < -0.5 or box.y1 > high + 0.5
                assert not off, text.get_text()

    return check
