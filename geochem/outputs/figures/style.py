"""The style sheet: colours, shapes, sizes, fonts, and text that is drawn as it stands."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, wraps
from typing import TYPE_CHECKING, Any, ParamSpec, TypeVar

if TYPE_CHECKING:
    from matplotlib.colors import Colormap

#: one hue, light to dark: the order survives a photocopy and colour-blind eyes
RAMP = ("#e7dcef", "#c9a9d8", "#a676bd", "#824a9c", "#5b2674", "#35104a")
INK = "#23211e"
MUTED = "#67635c"
FAINT = "#b9b5ad"
PAPER = "#ffffff"
#: lines that decide: thresholds, limits; always dashed or labelled as well
ACCENT = "#b4480f"
#: outlines of targets; a hue that no class has
OUTLINE = "#00525e"
OUTLINE_WASH = "#00525e14"
WATER = "#5f93b5"
#: samples without a result: hollow grey, unlike every filled class
NO_DATA = "#aaa59b"
#: pale grounds of polygons, told apart by lightness and, in the legend, by name
TINTS = (
    "#f3efe2", "#e3ebdf", "#e4e9ee", "#efe3dd", "#eceae6", "#dfe9e8", "#f1ead0", "#e6e1ea",
)  # fmt: skip
TINT_EDGE = "#a8a397"

#: diameter of each step as a share of the largest
STEPS = (0.36, 0.44, 0.55, 0.68, 0.84, 1.0)
#: shape of a medium; anything else gets an octagon
SHAPES = {"soil": "o", "stream sediment": "v", "rock": "D", "till": "h", "vegetation": "p"}
OTHER_SHAPE = "8"
#: shapes of series in charts, in order
SERIES = ("o", "s", "D", "^", "v", "P", "X", "h")
SERIES_COLOURS = (
    RAMP[4],
    "#8a5a00",
    "#00525e",
    RAMP[2],
    "#4f5b2f",
    "#a23c2c",
    "#3c3c3c",
    "#7a7f2a",
)

BELOW, ABOVE = "x", "^"

RC: dict[str, Any] = {
    "text.parse_math": False,
    "text.usetex": False,
    "text.hinting": "none",  # a fifth of the time of a page, and letters keep their spacing
    "font.family": "DejaVu Sans",
    "font.size": 8.5,
    "text.color": INK,
    "axes.labelcolor": INK,
    "axes.edgecolor": "#8b867d",
    "axes.linewidth": 0.7,
    "axes.labelsize": 8.5,
    "axes.titlesize": 9.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.axisbelow": True,
    "axes.unicode_minus": True,
    "xtick.labelsize": 7.5,
    "ytick.labelsize": 7.5,
    "xtick.color": MUTED,
    "ytick.color": MUTED,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "grid.color": "#dedad2",
    "grid.linewidth": 0.5,
    "hatch.linewidth": 0.5,
    "figure.facecolor": PAPER,
    "axes.facecolor": PAPER,
    "savefig.facecolor": PAPER,
    "pdf.fonttype": 3,  # text stays text; twice as quick to write as 42
    "path.simplify": True,
}

P = ParamSpec("P")
R = TypeVar("R")


def styled(function: Callable[P, R]) -> Callable[P, R]:
    """Run a drawing function under the style sheet, whatever the user's own settings are.

    Parameters
    ----------
    function : callable
        Draws something.

    Returns
    -------
    callable
        The same, with matplotlib's settings put back afterwards.
    """

    @wraps(function)
    def under_style(*args: P.args, **kwargs: P.kwargs) -> R:
        from matplotlib.style import context

        with context(["default", RC]):
            return function(*args, **kwargs)

    return under_style


def shape_of(medium: str) -> str:
    """Give the marker of a medium."""
    return SHAPES.get(medium, OTHER_SHAPE)


def undecided_marker() -> Any:
    """Give a hollow square with a bar: the limit of detection lies beyond the threshold."""
    from matplotlib.path import Path

    square = [(-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1), (-1, 0), (1, 0)]
    codes = [Path.MOVETO, *[Path.LINETO] * 4, Path.MOVETO, Path.LINETO]
    return Path(square, codes)


def colour_map() -> Colormap:
    """Give the ramp as a continuous scale; what is missing stays clear."""
    from matplotlib.colors import LinearSegmentedColormap

    scale = LinearSegmentedColormap.from_list("ramp", list(RAMP), N=256)
    return scale.with_extremes(bad=(1, 1, 1, 0))


@cache
def _known_glyphs() -> frozenset[int]:
    from matplotlib.font_manager import findfont, get_font

    return frozenset(get_font(findfont("DejaVu Sans")).get_charmap())


def literal(text: object, most: int = 160) -> str:
    r"""Make a text from the data drawable: one line, no control characters, not endless.

    Parameters
    ----------
    text : object
        Anything; None becomes empty.
    most : int, default 160
        Longest text kept.

    Returns
    -------
    str
        What the font cannot draw is shown as an empty box.

    Examples
    --------
    >>> literal("a\n<b> $x_1$")
    'a <b> $x_1$'
    """
    if text is None:
        return ""
    line = " ".join(str(text).split())
    if not line.isascii() or not line.isprintable():
        known = _known_glyphs()
        line = "".join(c if ord(c) in known else "\u25a1" for c in line if c.isprintable())
    return line if len(line) <= most else line[: most - 3].rstrip() + "..."
