"""`Survey`: the suitcase in which tables travel from step to step."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from geochem.model.finding import Finding
from geochem.model.tables import elements_of

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd


@dataclass(frozen=True, slots=True, eq=False)
class Survey:
    """Everything that was read and joined.

    Parameters
    ----------
    samples : geopandas.GeoDataFrame
        Located routine samples, wide, campaign CRS; contract `tables.SAMPLES` + element columns.
    results : pandas.DataFrame
        Every value, long; contract `tables.RESULTS`.
    controls : pandas.DataFrame
        Results of control samples; contract `tables.CONTROLS`.
    unlocated : pandas.DataFrame
        Samples without a usable position, columns as `samples` without geometry.
    analytes : pandas.DataFrame
        Per assay, element and medium; contract `tables.ANALYTES`.
    findings : tuple of Finding
        What was noticed so far.
    """

    samples: gpd.GeoDataFrame
    results: pd.DataFrame
    controls: pd.DataFrame
    unlocated: pd.DataFrame
    analytes: pd.DataFrame
    findings: tuple[Finding, ...] = ()

    @property
    def elements(self) -> list[str]:
        """Elements with accepted values, by atomic number."""
        return elements_of(self.samples)

    def with_findings(self, findings: tuple[Finding, ...] | list[Finding]) -> Survey:
        """Give the same survey with more findings.

        Parameters
        ----------
        findings : sequence of Finding
            They come after those it has.

        Returns
        -------
        Survey
            A new record; tables are shared.
        """
        return replace(self, findings=(*self.findings, *findings))

    def __repr__(self) -> str:
        return (
            f"Survey: {len(self.samples)} located samples, {len(self.unlocated)} without position, "
            f"{len(self.results)} results, {len(self.controls)} of controls, "
            f"{len(self.elements)} elements, {len(self.findings)} findings"
        )
