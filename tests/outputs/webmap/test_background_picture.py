"""A local picture behind the map: MBTiles is read, placed and shrunk; what cannot be is said."""

import base64
import io
import sqlite3

import numpy as np
import pytest
from PIL import Image
from pyproj import Transformer

from geochem.outputs.webmap.surface_image import picture_entry

EXTENT = (600_000.0, 7_400_000.0, 604_000.0, 7_403_000.0)
#: half the width of the square that EPSG:3857 tiles cover: pi times 6378137 m (OGC 17-083r2)
HALF = 20_037_508.342789244


def write_mbtiles(path, zoom=13):
    """Tiles whose colour changes from blue to red at 602,000 E (MBTiles 1.3: TMS row order)."""
    there = Transformer.from_crs("EPSG:32735", "EPSG:3857", always_xy=True)
    west, south, east, north = there.transform_bounds(*EXTENT)
    size = 2 * HALF / 2**zoom
    back = Transformer.from_crs("EPSG:3857", "EPSG:32735", always_xy=True)
    base = sqlite3.connect(path)
    base.execute("create table metadata (name text, value text)")
    base.execute(
        "create table tiles (zoom_level int, tile_column int, tile_row int, tile_data blob)"
    )
    base.executemany(
        "insert into metadata values (?, ?)",
        [("name", "test"), ("format", "png"), ("minzoom", str(zoom)), ("maxzoom", str(zoom)),
         ("type", "baselayer"), ("version", "1"), ("description", "invented")],
    )  # fmt: skip
    for column in range(int((west + HALF) // size), int((east + HALF) // size) + 1):
        for row in range(int((south + HALF) // size), int((north + HALF) // size) + 1):
            x = -HALF + (column + (np.arange(256) + 0.5) / 256) * size
            y = -HALF + (row + 0.5) * size
            e = back.transform(x, np.full(256, y))[0]
            line = np.where(e[:, None] < 602_000, [[0, 0, 255]], [[255, 0, 0]]).astype(np.uint8)
            stream = io.BytesIO()
            Image.fromarray(np.broadcast_to(line, (256, 256, 3))).save(stream, "PNG")
            base.execute(
                "insert into tiles values (?, ?, ?, ?)", (zoom, column, row, stream.getvalue())
            )
    base.commit()
    base.close()
    return path


def pixels(entry):
    raw = base64.b64decode(entry["png"].split(",")[1])
    return np.asarray(Image.open(io.BytesIO(raw)).convert("RGB")).astype(int)


def test_mbtiles_are_read_and_placed(tmp_path):
    entry, note = picture_entry(write_mbtiles(tmp_path / "tiles.mbtiles"), "EPSG:32735", EXTENT)
    assert np.allclose(entry["bounds"], EXTENT, atol=30)
    seen = pixels(entry)
    west, _, east, _ = entry["bounds"]
    at = [round((e - west) / (east - west) * seen.shape[1]) for e in (601_900, 602_100)]
    blue, red = seen[seen.shape[0] // 2, at[0]], seen[seen.shape[0] // 2, at[1]]
    assert blue[2] > 200 > 60 > blue[0]
    assert red[0] > 200 > 60 > red[2]
    assert note.startswith("Picture tiles.mbtiles: pixels of")


def test_a_large_picture_is_shrunk_and_says_so(tmp_path):
    path = write_mbtiles(tmp_path / "fine.mbtiles", zoom=16)
    entry, note = picture_entry(path, "EPSG:32735", EXTENT)
    assert max(pixels(entry).shape[:2]) <= 1600
    assert "shrunk" in note
    assert len(entry["png"]) < 1_000_000


@pytest.mark.parametrize(
    ("extent", "words"),
    [((100_000.0, 7_400_000.0, 104_000.0, 7_403_000.0), "lies outside the samples")],
)
def test_a_picture_elsewhere_is_said(tmp_path, extent, words):
    entry, note = picture_entry(write_mbtiles(tmp_path / "t.mbtiles"), "EPSG:32735", extent)
    assert entry is None
    assert words in note


def test_what_is_no_picture_is_said(tmp_path):
    path = tmp_path / "notes.mbtiles"
    path.write_text("no tiles")
    entry, note = picture_entry(path, "EPSG:32735", EXTENT)
    assert entry is None
    assert note.startswith("The picture notes.mbtiles cannot be shown")
