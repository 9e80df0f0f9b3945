"""All records of a campaign: worked out, or taken from stages, and packed for the outputs."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import Any

from geochem.campaign.operations import OPERATIONS, Operation, carry_out
from geochem.campaign.settings import Settings, read_campaign
from geochem.campaign.stages import Kept
from geochem.campaign.week import week_of
from geochem.model.bundle import Bundle, CampaignInfo
from geochem.model.finding import Finding

#: records that the outputs get
RECORDS = (
    "inputs", "layers", "survey", "spacings", "quality", "progress", "compositions", "background",
    "evidence", "surfaces", "catchments", "targets", "previous", "levelling", "dispatch",
    "decisions", "comparisons", "gold",
)  # fmt: skip


class Job:
    """The records of one run, worked out or taken from stages when they are first wanted.

    Parameters
    ----------
    settings : Settings
        The campaign.
    given : dict
        Records that no operation gives.
    clock : datetime
        Of the run.
    until : date, optional
        As in `run`.
    kept : Kept, optional
        Stages of earlier runs.
    """

    def __init__(
        self,
        settings: Settings,
        given: dict[str, Any],
        clock: datetime,
        until: date | None,
        kept: Kept | None,
    ) -> None:
        self.settings, self.clock, self.until, self.kept = settings, clock, until, kept
        self.state = dict(given)
        self.timings: dict[str, float] = {}
        self._bundle: Bundle | None = None

    def bundle(self, report: Callable[[Operation], None] | None = None) -> Bundle:
        """Give all records."""
        if self._bundle is None:
            self.timings, findings = carry_out(
                self.state, self.settings, OPERATIONS, keep=RECORDS, report=report, kept=self.kept
            )
            self._bundle = _bundle(self.settings, self.state, self.clock, self.until, findings)
        return self._bundle


def bundle_of(campaign_path: str | Path) -> Bundle:
    """Work out all records of a campaign and write nothing.

    Parameters
    ----------
    campaign_path : str or Path
        Campaign file, or its folder.

    Returns
    -------
    Bundle
        What the renderers of a run would get.
    """
    settings = read_campaign(campaign_path)
    clock = datetime.now().replace(microsecond=0)
    given = {"until": None, "clock": datetime(clock.year, clock.month, clock.day)}
    return Job(settings, given, clock, None, None).bundle()


def _bundle(
    settings: Settings,
    state: dict[str, Any],
    clock: datetime,
    until: date | None,
    findings: list[Finding],
) -> Bundle:
    survey, background = state["survey"], state["background"]
    previous = state["previous"]
    return Bundle(
        info=campaign_info(settings, survey.samples, clock, until),
        survey=survey,
        layers=state["layers"],
        spacings=state["spacings"],
        quality=state["quality"],
        thresholds=background.thresholds,
        threshold_records=background.threshold_records,
        probability_plots=background.probability_plots,
        backgrounds=background.backgrounds,
        levelling=state["levelling"],
        compositions=state["compositions"],
        evidence=state["evidence"],
        surfaces=state["surfaces"],
        catchments=state["catchments"],
        targets=state["targets"],
        progress={
            **state["progress"],
            "previous": previous.day and previous.day.isoformat(),
            "week": week_of(settings, state, clock),
        },
        settings=settings.plain(),
        findings=tuple(findings),
        domains=background.domains,
        decisions=state["decisions"],
        comparisons=state["comparisons"],
        gold=state["gold"],
        shifts={
            e: dict(zip(background.domains["sample_id"], s.tolist(), strict=True))
            for e, s in background.shifts.items()
        },
    )


def campaign_info(
    settings: Settings, samples: Any, clock: datetime, until: date | None
) -> CampaignInfo:
    """Fill in the title block of every page.

    Parameters
    ----------
    settings : Settings
        The campaign.
    samples : geopandas.GeoDataFrame
        Located samples; true north is told at their centre.
    clock : datetime
        Of the run.
    until : date, optional
        As in `run`.

    Returns
    -------
    CampaignInfo
        For a bundle.
    """
    from pyproj import CRS, Proj, Transformer

    from geochem.version import __version__

    crs = CRS.from_user_input(settings.top["crs"])
    convergence = float("nan")
    if len(samples):
        west, south, east, north = samples.total_bounds
        to_degrees = Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True)
        lon, lat = to_degrees.transform((west + east) / 2, (south + north) / 2)
        convergence = -float(Proj(crs).get_factors(lon, lat).meridian_convergence)
    top = settings.top
    return CampaignInfo(
        title=top["title"],
        crs=top["crs"],
        crs_name=crs.name,
        convergence=convergence,
        clock=clock,
        until=until,
        prepared_by=top["prepared_by"],
        qualified_person=top["qualified_person"],
        report_date=top["report_date"],
        seed=settings.seed,
        version=__version__,
    )
