"""Surfaces and catchments: what the campaign file says, as calls of `geochem.surfaces`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from geochem.campaign.wiring import Given, used_samples

if TYPE_CHECKING:
    from geochem.campaign.settings import Settings
    from geochem.model.background import BackgroundReport
    from geochem.model.evidence import Evidence
    from geochem.model.layers import Layers, Spacing
    from geochem.model.survey import Survey


def interpolate(
    settings: Settings,
    *,
    survey: Survey,
    evidence: Evidence,
    background: BackgroundReport,
    spacings: Sequence[Spacing],
    layers: Layers,
) -> Given:
    """Interpolate what is sampled densely enough."""
    from geochem.surfaces.make import make_surfaces
    from geochem.surfaces.options import surface_options

    table = settings.table("surfaces")
    elements = table["elements"] or settings.table("targets")["seek"] or None
    surfaces, findings = make_surfaces(
        used_samples(survey.samples),
        evidence,
        spacings,
        layers,
        elements=elements,
        method=table["method"],
        max_cells=table["max_cells"],
        seed=settings.seed,
        options=surface_options(table["options"]),
        above=table["above"],
        thresholds={
            (medium, element): record.value
            for (medium, domain, element), record in background.threshold_records.items()
            if domain == "all"
        },
        weights=dict(
            zip(background.domains["sample_id"], background.domains["weight"], strict=True)
        ),
    )
    return {"surfaces": surfaces}, findings


def outline_catchments(
    settings: Settings, *, survey: Survey, evidence: Evidence, layers: Layers
) -> Given:
    """Find the ground upstream of stream sediments, and what it yields beyond its rocks."""
    from geochem.surfaces.catchments import sediment_catchments

    elements = settings.table("surfaces")["elements"] or settings.table("targets")["seek"] or None
    found, findings = sediment_catchments(
        used_samples(survey.samples), evidence, layers, elements=elements
    )
    return {"catchments": found}, findings
