"""UTM zones, MGRS references and local grids against published and independent values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geochem.errors import DataRefused
from geochem.read.local_grid import fit_grid, read_local_grid
from geochem.read.zone_crs import find_utm
from geochem.read.zones import BANDS, read_mgrs, read_zone


@pytest.mark.published
@pytest.mark.parametrize(
    ("text", "zone", "south", "easting", "northing"),
    [
        # computed with the independent packages pyproj and mgrs 1.6 (a wrapper of the NGA's own
        # GEOTRANS code): 38.8895 N 77.0353 W, 33.8568 S 151.2153 E, 0 N 0 E, and the exceptions
        # of Norway (60.4 N 5.3 E) and Svalbard (78.2 N 15.6 E)
        ("18SUJ2347806483", 18, False, 323478, 4306483),
        ("56H LH 34900 52288", 56, True, 334900, 6252288),
        ("31NAA6602100000", 31, False, 166021, 0),
        ("32VKN9619101684", 32, False, 296191, 6701684),
        ("33XWG1369680760", 33, False, 513696, 8680760),
    ],
)
def test_grid_references(text, zone, south, easting, northing):
    got = read_mgrs(text)
    assert (got.zone, got.south) == (zone, south)
    assert (got.easting, got.northing) == (easting, northing)


@pytest.mark.published
def test_a_grid_reference_in_degrees():
    # 4QFJ1234567890 is 21.40980 N 157.91608 W (printed as an example in many descriptions of the
    # grid; from memory, and reproduced with mgrs 1.6)
    from pyproj import Transformer

    got = read_mgrs("4QFJ1234567890")
    lon, lat = Transformer.from_crs("EPSG:32604", "EPSG:4326", always_xy=True).transform(
        got.easting, got.northing
    )
    assert (round(lat, 5), round(lon, 5)) == (21.40980, -157.91608)


@settings(max_examples=200, deadline=None)
@given(st.integers(-79_500, 83_500), st.floats(-2.9, 2.9), st.integers(1, 60))
def test_every_place_of_the_world_comes_back(lat, off, zone):
    """Letters made by an independent rule here are read back to the same UTM coordinates."""
    from pyproj import Transformer

    lat = lat / 1000 + 0.0005
    south = lat < 0
    crs = find_utm(zone, south, "WGS 84")
    x, y = Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(
        -183 + 6 * zone + off, lat
    )
    band = BANDS[min(int((lat + 80) // 8), 19)]
    column = "ABCDEFGHJKLMNPQRSTUVWXYZ"[((zone - 1) % 3) * 8 + int(x // 1e5) - 1]
    row = "ABCDEFGHJKLMNPQRSTUV"[(int(y // 1e5) + (0 if zone % 2 else 5)) % 20]
    got = read_mgrs(f"{zone:02d}{band}{column}{row}{int(x % 1e5):05d}{int(y % 1e5):05d}")
    assert got is not None
    assert (got.zone, got.south) == (zone, south)
    assert (got.easting, got.northing) == (np.floor(x), np.floor(y))


@pytest.mark.parametrize(
    "text", ["", "35K", "35KNB", "35KNB123", "61KNB1234", "35INB1234", "35KAB1234", "12.5"]
)
def test_no_grid_reference(text):
    assert read_mgrs(text) is None


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("35", (35, "")),
        ("35s", (35, "S")),
        ("UTM zone 35 north", (35, "N")),
        ("35-K", (35, "K")),
        ("05Q", (5, "Q")),
        ("0", None),
        ("61", None),
        ("35O", None),
        ("oxide", None),
    ],
)
def test_zone(text, expected):
    assert read_zone(text) == expected


def test_grid_of_two_points_is_exact_and_of_four_shows_residuals():
    local = np.array([[0, 0], [1000, 0], [0, 1000], [1000, 1000.0]])
    angle, scale = np.radians(-30.0), 1.001
    turned = local @ np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    mapped = scale * turned + [500000, 8000000]
    two = fit_grid(local[:2], mapped[:2])
    assert two.rotation == pytest.approx(30.0)
    assert two.scale == pytest.approx(scale)
    assert np.column_stack(two.to_map(*local.T)) == pytest.approx(mapped)
    bad = mapped.copy()
    bad[3] += [40, 0]
    four = fit_grid(local, bad)
    # least squares: no other shift, rotation and scale has smaller residuals
    best = float((four.residuals**2).sum())
    rng = np.random.default_rng(1)
    for _ in range(50):
        turn = np.exp(1j * rng.normal(0, 1e-3)) * (1 + rng.normal(0, 1e-3))
        z = np.array(four.to_map(*local.T))
        other = (z[0] + 1j * z[1] - 500000 - 8000000j) * turn + 500000 + 8000000j
        shifted = other + rng.normal(0, 3) + 1j * rng.normal(0, 3)
        assert float((np.abs(shifted - bad[:, 0] - 1j * bad[:, 1]) ** 2).sum()) >= best


def test_an_exchanged_or_single_point_grid_is_refused():
    local = np.array([[0, 0], [1000, 0], [0, 1000], [1000, 500.0]])
    with pytest.raises(DataRefused, match="exchanged"):
        fit_grid(local[:, ::-1], local + np.array([500000, 8000000]))
    with pytest.raises(DataRefused, match="two or more control points"):
        fit_grid(local[:1], local[:1])


def test_residuals_are_shown_and_a_bad_peg_warns(write):
    path = write(
        "local_x,local_y,easting,northing\n0,0,1000,2000\n100,0,1100,2000\n0,100,1000,2100\n"
        "100,100,1160,2100\n,,,\n5,,5,5\n"
    )
    _, findings = read_local_grid(path)
    assert [f.severity for f in findings if f.code == "local-grid"] == ["warning"]
    said = next(f.message for f in findings if f.code == "local-grid")
    assert "row 5" in said
    assert "residual" in said
    assert "control-point-not-read" in {f.code for f in findings}
