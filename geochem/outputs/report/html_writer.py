"""Blocks as one HTML page that asks for nothing from outside."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from geochem.outputs.report.blocks import Block, Picture

if TYPE_CHECKING:
    from geochem.model.bundle import CampaignInfo


def write_html(blocks: Sequence[Block], info: CampaignInfo, short: str, path: Path) -> Path:
    """Write blocks as an HTML page with its pictures inside.

    Parameters
    ----------
    blocks : sequence of Block
        The content.
    info : CampaignInfo
        Title block.
    short : str
        One-line caution under the title.
    path : Path
        File.

    Returns
    -------
    Path
        The file.
    """
    from jinja2 import Environment

    pictures = {
        i: "data:image/png;base64," + base64.b64encode(b.path.read_bytes()).decode("ascii")
        for i, b in enumerate(blocks)
        if isinstance(b, Picture)
    }
    template = Environment(autoescape=True, trim_blocks=True).from_string(
        (Path(__file__).parent / "report.html.jinja").read_text(encoding="utf-8")
    )
    page = template.render(
        blocks=blocks, info=info, short=short, pictures=pictures,
        verdicts=("pass", "warn", "fail"),
    )  # fmt: skip
    path.write_text(page, encoding="utf-8")
    return path
