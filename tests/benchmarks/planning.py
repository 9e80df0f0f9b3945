"""A layout of more than 10,000 points, with the chance of a hit and every file.

Run: ``python tests/benchmarks/planning.py``. There is nothing to compare with; the goal is 10 s.
"""

from __future__ import annotations

import resource
import tempfile
import time
from pathlib import Path

CAMPAIGN = """
title = "Large layout"
crs = "EPSG:32735"

[samples]
path = "log.csv"

[[assays]]
path = "readings.csv"
source = "pxrf"

[layers]
boundary = "boundary.geojson"

[planning]
layout = "staggered"
line_spacing = 100
station_spacing = 50
azimuth = 30
north = "grid"
body = { length = 200, width = 80, azimuth = 120 }
"""


def main() -> None:
    """Make the campaign, plan it, print seconds and memory."""
    import geopandas as gpd
    from shapely import box

    from geochem.campaign.planner import plan

    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        (folder / "campaign.toml").write_text(CAMPAIGN)
        (folder / "log.csv").write_text("sample_id,easting,northing\nA1,500100,7000100\n")
        (folder / "readings.csv").write_text("sample_id,Cu_ppm\nA1,20\n")
        ground = gpd.GeoSeries([box(500000, 7000000, 508000, 7007000)], crs="EPSG:32735")
        ground.to_file(folder / "boundary.geojson", driver="GeoJSON")
        start, busy = time.perf_counter(), time.process_time()
        result = plan(folder)
        seconds, busy = time.perf_counter() - start, time.process_time() - busy
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    print(
        f"{len(result.content.layout)} points: {seconds:.1f} s ({busy:.1f} s of one core), "
        f"{peak:.2f} GiB (goal: 10 s)"
    )


if __name__ == "__main__":
    main()
