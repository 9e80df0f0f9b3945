"""Width of drawn text, wrapping by it, and numbers on axes."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from geochem.outputs.wording import figure

POINT = 1 / 72.0


def text_width(text: str, size: float, weight: str = "normal") -> float:
    """Measure a line of text.

    Parameters
    ----------
    text : str
        One line.
    size : float
        Font size. [pt]
    weight : {"normal", "bold"}
        Of the font.

    Returns
    -------
    float
        Width. [inch]
    """
    return _outline_width(text, weight) * size * POINT if text else 0.0


@lru_cache(maxsize=8192)
def _outline_width(text: str, weight: str) -> float:
    """Measure a line of text per point of its size: outlines are alike in every size."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    whole = text_to_path.FONT_SCALE
    font = FontProperties(family="DejaVu Sans", size=whole, weight=weight)
    width, _, _ = text_to_path.get_text_width_height_descent(text, font, ismath=False)
    return float(width) / whole


def wrap(text: str, width: float, size: float, weight: str = "normal", most: int = 4) -> list[str]:
    """Break a text into lines that are no wider than they may be.

    Parameters
    ----------
    text : str
        Any length; a word that is too long is broken.
    width : float
        Room. [inch]
    size, weight : float, str
        Font size [pt] and weight.
    most : int, default 4
        Lines; the last one ends with dots when there is more.

    Returns
    -------
    list of str
        At least one line.
    """
    lines: list[str] = []
    line = ""
    gap = text_width("n n", size, weight) - text_width("nn", size, weight)
    filled = 0.0
    for word in text.split():
        # word by word: measuring every growing line anew costs most of the time of a figure
        wide = text_width(word, size, weight)
        joined = f"{line} {word}" if line else word
        if (filled + gap + wide if line else wide) <= width:
            line, filled = joined, (filled + gap + wide if line else wide)
            continue
        if line:
            lines.append(line)
        while text_width(word, size, weight) > width and len(word) > 1:
            cut = len(word)
            while cut > 1 and text_width(word[:cut], size, weight) > width:
                cut -= max(1, cut // 12)
            lines.append(word[:cut])
            word = word[cut:]
        line, filled = word, text_width(word, size, weight)
    lines.append(line)
    if len(lines) > most:
        lines = lines[:most]
        while lines[-1] and text_width(lines[-1] + " ...", size, weight) > width:
            lines[-1] = lines[-1][:-1]
        lines[-1] = lines[-1].rstrip(" ,;") + " ..."
    return lines


def one_line(text: str, width: float, size: float, weight: str = "normal") -> str:
    """Shorten a text to one line."""
    if text_width(text, size, weight) <= width:
        return text
    keep = len(text)
    while keep > 1 and text_width(f"{text[:keep].rstrip()} ...", size, weight) > width:
        keep -= 1
    return f"{text[:keep].rstrip()} ..."


def round_steps(low: float, high: float, aim: int = 5) -> list[float]:
    """List round numbers (1, 2 or 5 times a power of ten apart) between two limits.

    Examples
    --------
    >>> round_steps(3.0, 47.0)
    [10.0, 20.0, 30.0, 40.0]
    """
    span = high - low
    if not (span > 0 and math.isfinite(span)):
        return []
    raw = span / aim
    power = 10.0 ** math.floor(math.log10(raw))
    # nearest on a log scale, so that the number of steps stays near the aim
    step = power * next(
        (m for m, end in ((1, 1.414), (2, 3.162), (5, 7.071)) if raw < end * power), 10
    )
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [float(k * step) for k in range(first, last + 1)]


def log_steps(low: float, high: float, most: int = 8) -> list[float]:
    """List 1-2-5 numbers between two positive limits; only powers of ten when there are too many.

    Examples
    --------
    >>> log_steps(3.0, 120.0)
    [5.0, 10.0, 20.0, 50.0, 100.0]
    """
    if not (0 < low < high):
        return []
    powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    for digits in ((1, 2, 5), (1, 3), (1,)):
        made = [float(f"{d}e{p}") for p in powers for d in digits]
        inside = [v for v in made if low * 0.9999 <= v <= high * 1.0001]
        if len(inside) <= most:
            break
    if len(inside) < 2:
        inside = [v for v in round_steps(low, high, 4) if v > 0]
    return inside[:: max(1, math.ceil(len(inside) / most))]


def fitting_log_steps(low: float, high: float, inches: float, size: float = 7.5) -> list[float]:
    """List 1-2-5 numbers whose labels stand side by side on a log axis of this length.

    Examples
    --------
    >>> fitting_log_steps(1500.0, 150000.0, 1.2)
    [10000.0, 100000.0]
    """
    if not (0 < low < high):
        return []
    per_decade = inches / math.log10(high / low)
    steps: list[float] = []
    for most in range(9, 1, -1):
        steps = log_steps(low, high, most)
        at = [math.log10(v) * per_decade for v in steps]
        wide = [text_width(tick_text(v), size) for v in steps]
        if all(
            at[i + 1] - at[i] > (wide[i] + wide[i + 1]) / 2 + 0.06 for i in range(len(steps) - 1)
        ):
            break
    return steps


def tick_text(value: float) -> str:
    """Write a number on an axis, without an exponent where that is readable."""
    size = abs(value)
    if size and (size >= 1e6 or size < 1e-4):
        return f"{value:.0e}".replace("e+0", "e").replace("e-0", "e-").replace("e+", "e")
    return figure(value, 4)


def share_text(part: int, whole: int) -> str:
    """Write a share in per cent, never 0 for something nor 100 for less than all.

    Examples
    --------
    >>> share_text(1, 1000), share_text(999, 1000), share_text(25, 100)
    ('<1 %', '>99 %', '25 %')
    """
    if not whole:
        return "-"
    percent = 100.0 * part / whole
    if part and percent < 1:
        return "<1 %"
    if part < whole and percent > 99:
        return ">99 %"
    return f"{np.round(percent):.0f} %"
