"""What the data offer beside presets and measurements: found associations and proxies."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from geochem.outputs.report.blocks import Block, Heading, Paragraph, Table, picture
from geochem.outputs.wording import figure

if TYPE_CHECKING:
    from geochem.model.bundle import Bundle
    from geochem.model.evidence import Association


def learned_blocks(bundle: Bundle, figures: Path) -> list[Block]:
    """Tell what was found in these data and what was predicted.

    Parameters
    ----------
    bundle : Bundle
        Records.
    figures : Path
        Folder of the figures.

    Returns
    -------
    list of Block
        Empty when there is neither.
    """
    blocks: list[Block] = []
    evidence = bundle.evidence
    if evidence.found:
        rows = [
            (
                f.medium, _weights(f.association), f"{100 * f.share:.0f} %",
                f"{min(f.stability, 0.995):.2f}", f"{f.beyond} ({f.n / 740:.0f})",
                figure(f.clumped, 2) if np.isfinite(f.clumped) else "-",
                f.resembles.replace("_", " ") or "-",
            )
            for f in evidence.found
        ]  # fmt: skip
        blocks += [
            Heading("Associations found in these data", 2),
            Paragraph(
                "Elements that go together here, whatever the reason: rock types, cover and grain "
                "size do that as well as mineralisation. They make no target; one that makes sense "
                "can be given as association in [targets], weights as shown. "
                + " ".join(
                    f"{c.medium[:1].upper()}{c.medium[1:]}: {c.replaced}"
                    for c in bundle.compositions
                    if c.medium in {f.medium for f in evidence.found}
                )
            ),
            Table(
                ("medium", "weights", "share", "found again", "at 3 or more", "clumped", "like"),
                rows,
                "Share of the variance of log-ratios; found again: congruence in resampled data; "
                "samples scoring 3 or more (in background); clumped: how many times more often "
                "high samples stand together than by chance; like: nearest preset. Components "
                "above those of shuffled data, rotated.",
                (0.1, 0.36, 0.08, 0.1, 0.12, 0.1, 0.14),
            ),
            *picture(figures, "found_associations", "Weights of the associations found."),
        ]
    if evidence.proxies:
        rows = [
            (
                p.medium, p.element, "used" if p.used else "not used", str(p.n),
                figure(p.skill, 2) if np.isfinite(p.skill) else "-",
                f"x/ {10**p.error:.1f}" if np.isfinite(p.error) else "-", p.reason,
            )
            for p in evidence.proxies
        ]  # fmt: skip
        blocks += [
            Heading("Proxies of laboratory elements", 2),
            Paragraph(
                "Predicted from the densely read elements, never measured: evidence only, no part "
                "of scores, ranks or thresholds."
            ),
            Table(
                ("medium", "proxy of", "", "shared", "skill", "error", "why"), rows, "",
                (0.1, 0.09, 0.1, 0.08, 0.07, 0.09, 0.47),
            ),
        ]  # fmt: skip
    return blocks


def _weights(association: Association) -> str:
    order = sorted(association.weights.items(), key=lambda w: -abs(w[1]))
    return ", ".join(f"{e} = {w:g}" for e, w in order)
