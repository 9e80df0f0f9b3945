import geopandas as gpd
import pandas as pd
import pytest


@pytest.fixture(scope="session")
def campaign(tmp_path_factory):
    """The small invented campaign, and all records of a run of it."""
    from geochem.campaign.records import bundle_of
    from geochem.testing import write_example_campaign

    folder = tmp_path_factory.mktemp("campaign")
    write_example_campaign(folder)
    return folder, bundle_of(folder)


@pytest.fixture(scope="session")
def layers(campaign, tmp_path_factory):
    """The same samples as layers: metres in a GeoPackage, degrees in GeoJSON."""
    folder, _ = campaign
    both = pd.read_csv(folder / "field_log.csv").merge(
        pd.read_csv(folder / "readings.csv"), on="sample_id", validate="one_to_one"
    )
    places = gpd.points_from_xy(both["easting"], both["northing"])
    frame = gpd.GeoDataFrame(
        both.drop(columns=["easting", "northing"]), geometry=places, crs="EPSG:32735"
    )
    made = tmp_path_factory.mktemp("layers")
    frame.to_file(made / "soil.gpkg", layer="samples", driver="GPKG")
    frame.to_crs("EPSG:4326").to_file(made / "soil.geojson", driver="GeoJSON")
    frame.buffer(10).to_file(made / "polygons.gpkg", layer="p", driver="GPKG")
    return made
