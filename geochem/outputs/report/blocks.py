"""Blocks of a document, independent of how they are written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading of level 1 (section) or 2."""

    text: str
    level: int = 1


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Running text."""

    text: str


@dataclass(frozen=True, slots=True)
class Bullets:
    """A list."""

    items: Sequence[str]


@dataclass(frozen=True, slots=True)
class Caution:
    """Cautions, set apart."""

    items: Sequence[str]


@dataclass(frozen=True, slots=True)
class Table:
    """A table of texts; `widths` are shares of the page width."""

    header: Sequence[str]
    rows: Sequence[Sequence[str]]
    caption: str = ""
    widths: Sequence[float] = ()


@dataclass(frozen=True, slots=True)
class Picture:
    """A figure that was drawn before."""

    path: Path
    caption: str


Block = Heading | Paragraph | Bullets | Caution | Table | Picture


def rows_of(frame: Any) -> list[Any]:
    """Give the rows of a table, each with its columns as attributes."""
    return list(frame.itertuples())


def picture(figures: Path, name: str, caption: str) -> list[Block]:
    """Show a figure that was drawn before.

    Parameters
    ----------
    figures : Path
        Folder with the figures.
    name : str
        Of the figure, without extension.
    caption : str
        Below it.

    Returns
    -------
    list of Block
        Empty when it was not drawn.
    """
    path = figures / f"{name}.png"
    return [Picture(path, caption)] if path.is_file() else []
