"""Ground for layouts, all invented."""

from __future__ import annotations

import pytest

CRS = "EPSG:32735"


def frame_of(*shapes, crs=CRS):
    import geopandas as gpd

    return gpd.GeoDataFrame(geometry=list(shapes), crs=crs)


@pytest.fixture(scope="session")
def frame():
    """Make a layer of shapes."""
    return frame_of


@pytest.fixture(scope="session")
def ground():
    """A licence with a notch, and a round piece kept out."""
    import shapely

    from geochem.planning.ground import sampling_ground

    licence = shapely.Polygon(
        [(500000, 7000000), (504000, 7000300), (503600, 7003000), (502000, 7001500),
         (500300, 7003400)]
    )  # fmt: skip
    return sampling_ground(frame_of(licence), frame_of(shapely.Point(502000, 7000800).buffer(300)))
