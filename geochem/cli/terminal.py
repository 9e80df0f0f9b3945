"""What the terminal can show: ASCII where it is not UTF-8, plain lines where it is piped."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, TextIO

if TYPE_CHECKING:
    from collections.abc import Iterator

_PLAIN = str.maketrans(
    {
        "–": "-", "—": "-", "−": "-", "’": "'", "‘": "'", "“": '"', "”": '"', "…": "...",
        "×": "x", "±": "+/-", "µ": "u", "μ": "u", "°": " deg", "≤": "<=", "≥": ">=", "→": "->",
        "²": "2", "³": "3", "\u00a0": " ", "\u202f": " ", "σ": "sigma",
    }
)  # fmt: skip


def is_utf8(stream: TextIO) -> bool:
    """Say whether a stream takes any character."""
    return (getattr(stream, "encoding", None) or "ascii").lower().replace("-", "") in {
        "utf8",
        "utf8sig",
    }


def plain(text: str, stream: TextIO) -> str:
    """Make a text that the stream can show without failing.

    Parameters
    ----------
    text : str
        Any text; control characters other than line breaks and tabs are shown as escapes.
    stream : file
        Where it goes.

    Returns
    -------
    str
        The text, reduced where needed.
    """
    text = "".join(c if c in "\n\t" or c.isprintable() else f"\\x{ord(c):02x}" for c in text)
    if is_utf8(stream):
        return text
    encoding = getattr(stream, "encoding", None) or "ascii"
    return text.translate(_PLAIN).encode(encoding, "replace").decode(encoding)


def say(text: str = "", *, error: bool = False) -> None:
    """Write a line.

    Parameters
    ----------
    text : str
        One or more lines.
    error : bool, default False
        To standard error.
    """
    stream = sys.stderr if error else sys.stdout
    stream.write(plain(text, stream) + "\n")
    stream.flush()


def table(rows: Iterable[Iterable[object]], header: Iterable[str]) -> str:
    """Lay out a small table with blanks.

    Parameters
    ----------
    rows : iterable of iterables
        Cells; None is shown as nothing.
    header : iterable of str
        Column heads.

    Returns
    -------
    str
        Lines.
    """
    cells = [[("" if c is None else str(c)) for c in row] for row in [list(header), *rows]]
    widths = [max(len(row[i]) for row in cells) for i in range(len(cells[0]))]
    lines = [
        "  ".join(c.ljust(w) for c, w in zip(row, widths, strict=True)).rstrip() for row in cells
    ]
    lines.insert(1, "  ".join("-" * w for w in widths))
    return "\n".join(lines)


@contextmanager
def progress_bar() -> Iterator[Any]:
    """Show how far the work is, on standard error; nothing is shown when it is piped.

    Yields
    ------
    callable
        ``tell(title, done, total)``.
    """
    from tqdm import tqdm

    bar: Any = None

    def tell(title: str, done: int, total: int) -> None:
        nonlocal bar
        if bar is None:
            bar = tqdm(
                total=total,
                file=sys.stderr,
                ascii=not is_utf8(sys.stderr),
                disable=not sys.stderr.isatty(),
                bar_format="{l_bar}{bar}| {n_fmt}/{total_fmt} {elapsed}",
                leave=False,
            )
        bar.set_description(plain(title, sys.stderr)[:40].ljust(40))
        bar.n = done
        bar.refresh()

    try:
        yield tell
    finally:
        if bar is not None:
            bar.close()
