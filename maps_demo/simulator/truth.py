"""What is true of a simulated campaign, as tables that a score can be made from."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from .collection import brass_contents, brass_day
from .contamination import TAILINGS_HALF_WIDTH, tailings_path
from .deposits import ASSOCIATIONS, FALSE_UNITS, HALF, outline
from .measurement import OUT_OF_ORDER

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

    from .campaign import Campaign


def truth_frame(campaign: Campaign) -> gpd.GeoDataFrame:
    """Give everything that was planted.

    Parameters
    ----------
    campaign : Campaign
        Simulated.

    Returns
    -------
    geopandas.GeoDataFrame
        ``name, kind, association, covered``, the geometry at which a halo ends and ``core``, where
        it has half of its strength; kinds are ``mineralisation`` and ``false body``.
    """
    import geopandas as gpd

    settings, ground = campaign.settings, campaign.ground
    rows: list[tuple[object, ...]] = []
    for body in (*settings.bodies, *settings.false_bodies):
        share = ground.cover_share(np.array([body.along]), np.array([body.across]))[0]
        rows.append(
            (
                body.name, ASSOCIATIONS[body.association].kind, body.association, bool(share > 0),
                ground.shape_to_map(outline(body)), ground.shape_to_map(outline(body, HALF)),
            )
        )  # fmt: skip
    for unit in ground.units:
        if unit.rock in FALSE_UNITS and not unit.true.is_empty:
            shape = ground.shape_to_map(unit.true)
            rows.append((unit.name, "false body", FALSE_UNITS[unit.rock][0], False, shape, shape))
    for number, patch in enumerate(settings.tailings):
        width = max(TAILINGS_HALF_WIDTH, patch.half_width)
        shape = ground.shape_to_map(tailings_path(ground, number).buffer(width))
        rows.append((patch.name, "false body", "tailings", False, shape, shape))
    names = ("name", "kind", "association", "covered", "geometry", "core")
    crs = f"EPSG:{settings.epsg}"
    columns = {name: [row[i] for row in rows] for i, name in enumerate(names)}
    core = gpd.GeoSeries(columns.pop("core"), crs=crs)
    return gpd.GeoDataFrame(columns, geometry="geometry", crs=crs).assign(core=core)


def surveyed_area(campaign: Campaign) -> float:
    """Give the area of the soil grid in square metres: half a spacing around its stations."""
    settings = campaign.settings
    return float(
        (settings.length + settings.line_spacing) * (settings.width + settings.station_spacing)
    )


def spoilt_batches(campaign: Campaign) -> pd.DataFrame:
    """Give the batches of XRF readings that a control should have caught.

    Parameters
    ----------
    campaign : Campaign
        Simulated.

    Returns
    -------
    pandas.DataFrame
        ``batch, element, cause, blank_ppm``: ``out of order`` shows in standards, ``contaminated``
        in blanks, by how much above clean quartz. [mg/kg]
    """
    import pandas as pd

    settings, table = campaign.settings, campaign.readings.table
    rows: list[tuple[str, str, str, float]] = []
    for instrument in campaign.readings.instruments:
        mine = (table["instrument"] == instrument.serial) & (table["day"] == instrument.bad_day)
        for batch in sorted(set(table.loc[mine, "batch"])):
            rows += [
                (batch, e, "out of order", 0.0) for e in settings.elements if e in OUT_OF_ORDER
            ]
    day = brass_day(settings)
    first = campaign.readings.instruments[0].serial
    worn = table.loc[(table["day"] == day) & (table["instrument"] == first), "batch"]
    added = dict(zip(settings.elements, brass_contents(settings.elements), strict=True))
    for batch in sorted(set(worn)):
        rows += [(batch, e, "contaminated", much) for e, much in added.items() if much > 10.0]
    return pd.DataFrame(rows, columns=["batch", "element", "cause", "blank_ppm"])


def sample_points(campaign: Campaign) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give rows of the routine soils in the collection, their easting and northing in metres."""
    table = campaign.collection.table
    rows = np.flatnonzero(((table["medium"] == "soil") & (table["role"] == "routine")).to_numpy())
    easting, northing = campaign.ground.to_map(
        table["along"].to_numpy(float)[rows], table["across"].to_numpy(float)[rows]
    )
    return rows, easting, northing


def measured_values(campaign: Campaign) -> tuple[np.ndarray, np.ndarray]:
    """Give what the XRF said of every routine soil, as an average of repeat shots.

    Parameters
    ----------
    campaign : Campaign
        Simulated.

    Returns
    -------
    value : ndarray, shape (n_soils, n_elements)
        A value below detection is its limit, three errors. [mg/kg]
    below : ndarray of bool, shape (n_soils, n_elements)
        Whether it is.
    """
    import pandas as pd

    rows, _, _ = sample_points(campaign)
    readings = campaign.readings
    ids = campaign.collection.table["sample_id"].to_numpy(dtype=object)[rows]
    name = readings.table["sample_id"].to_numpy(dtype=object)
    mean = pd.DataFrame(readings.value).groupby(name).mean().loc[ids].to_numpy()
    error = pd.DataFrame(readings.error).groupby(name).mean().loc[ids].to_numpy()
    below = mean < 3.0 * error
    return np.where(below, 3.0 * error, mean), below


def noise_free_values(campaign: Campaign) -> np.ndarray:
    """Give what the place of every routine soil truly holds of the XRF's elements, in mg/kg."""
    rows, _, _ = sample_points(campaign)
    columns = [campaign.ground.elements.index(e) for e in campaign.settings.elements]
    return campaign.collection.place[np.ix_(rows, columns)]
