"""Blocks of a document, independent of how they are written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path


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
