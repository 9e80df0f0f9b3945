"""Make a simulated campaign folder: by default the demonstration beside this script.

Examples
--------
    python maps_demo/make_campaign.py
    python maps_demo/make_campaign.py --settings eight-deposits --seed 3 some/folder
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

from simulator import NAMED, make_campaign_folder

HERE = Path(__file__).resolve().parent


def main() -> None:
    """Read the command line and write the folder."""
    parser = argparse.ArgumentParser(description="make a simulated campaign folder")
    parser.add_argument("folder", nargs="?", type=Path, default=HERE / "campaign")
    parser.add_argument("--settings", choices=sorted(NAMED), default="demonstration")
    parser.add_argument("--seed", type=int, help="another ground of the same kind")
    given = parser.parse_args()
    settings = NAMED[given.settings]
    if given.seed is not None:
        settings = replace(settings, seed=given.seed)
    # the truth lies beside the folder, never in it
    truth = given.folder.resolve().parent / "truth.geojson"
    campaign = make_campaign_folder(settings, given.folder, truth=truth)
    size = sum(path.stat().st_size for path in given.folder.iterdir() if path.is_file())
    print(
        f"{given.folder}: {len(campaign.collection.table)} samples and duplicates, "
        f"{len(campaign.readings.table)} readings, {size / 1e6:.2f} MB; truth in {truth.name}"
    )


if __name__ == "__main__":
    main()
