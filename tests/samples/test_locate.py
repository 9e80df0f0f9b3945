"""Positions: published conversions, honest datum shifts, and what is not believed."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import pytest
from shapely.geometry import box

from geochem.coordinates import transform_positions, working_crs
from geochem.errors import DataRefused, WrongCall
from geochem.samples.locate import locate_samples

UTM = "EPSG:32735"


def dms(d, m, s=0.0):
    return d + m / 60 + s / 3600


# IOGP Publication 373-7-2 (EPSG Guidance Note 7-2), worked examples; within a centimetre
# (Transverse Mercator: PROJ differs from the printed value by 6 and 8 mm).
@pytest.mark.published
@pytest.mark.parametrize(
    ("source", "target", "lon", "lat", "easting", "northing"),
    [
        # method 9807, OSGB36 / British National Grid
        (4277, 27700, dms(0, 30), dms(50, 30), 577274.99, 69740.50),
        # method 9801, JAD69 / Jamaica National Grid
        (4242, 24200, -dms(76, 56, 37.26), dms(17, 55, 55.80), 255966.58, 142493.51),
        # method 9820, ETRS89-extended / LAEA Europe
        (4258, 3035, 5.0, 50.0, 3962799.45, 2999718.85),
        # method 9809, Amersfoort / RD New
        (4289, 28992, 6.0, 53.0, 196105.283, 557057.739),
    ],
)
def test_published_conversions(source, target, lon, lat, easting, northing):
    moved = transform_positions(
        [lon], [lat], pyproj.CRS.from_epsg(source), pyproj.CRS.from_epsg(target)
    )
    assert moved.x[0] == pytest.approx(easting, abs=0.011)
    assert moved.y[0] == pytest.approx(northing, abs=0.011)
    assert moved.accuracy_m == 0.0
    assert "no change of datum" in moved.findings[0].message


@pytest.mark.published
def test_published_utm():
    # NIMA TM 8358.2 example, International 1924, zone 38: the number from memory of that manual
    crs = pyproj.CRS.from_proj4("+proj=utm +zone=38 +ellps=intl +units=m +type=crs")
    source = pyproj.CRS.from_proj4("+proj=longlat +ellps=intl +type=crs")
    moved = transform_positions([45.0], [73.0], source, crs)
    assert (moved.x[0], moved.y[0]) == pytest.approx((500000.00, 8100702.90), abs=0.01)


def test_a_ballpark_shift_is_refused(make_log):
    # the only installed shift from this datum is published for another part of the country;
    # asked carelessly the library moves the point by nothing and is 206 m wrong
    log = make_log(["A1"], x=[500_000.0], y=[6_000_000.0], crs="EPSG:20255")
    with pytest.raises(DataRefused, match=r"ballpark .* hundreds of metres wrong"):
        locate_samples(log, "EPSG:7855")


def test_a_published_shift_is_used_where_it_is_published(make_log):
    log = make_log(["A1"], x=[690_000.0], y=[6_090_000.0], crs="EPSG:20255")
    placed = locate_samples(log, "EPSG:7855")
    shift = np.hypot(placed.x[0] - 690_000, placed.y[0] - 6_090_000)
    assert 150 < shift < 250
    [said] = placed.findings
    assert said.code == "crs-operation"
    assert "AGD66 to GDA2020 (1)" in said.message
    assert "within 0.05 m" in said.message


def test_a_rough_shift_is_a_warning(make_log):
    log = make_log(["A1"], x=[500_000.0], y=[8_200_000.0], crs="EPSG:20935")
    [said] = locate_samples(log, UTM).findings
    assert (said.severity, said.code) == ("warning", "crs-operation")
    assert "within 17 m" in said.message


def test_degrees_and_metres_side_by_side(make_log):
    log = make_log(
        ["A1", "A2"], x=[27.0, 500_000.0], y=[-16.0, 8_200_000.0], crs=["EPSG:4326", None]
    )
    placed = locate_samples(log, UTM)
    assert placed.x == pytest.approx([500_000.0, 500_000.0])
    assert all(r is None for r in placed.reason)


def field(n=20, seed=0):
    rng = np.random.default_rng(seed)
    return 500_000 + rng.uniform(0, 5000, n), 8_200_000 + rng.uniform(0, 5000, n)


@pytest.mark.parametrize(
    ("x", "y", "reason"),
    [
        (np.nan, 8_200_000.0, "position-missing"),
        (27.0, -16.2, "degrees-in-metres"),
        (0.0, 0.0, "position-zero"),
        (8_201_000.0, 501_000.0, "axes-swapped"),
        (501_000.0, 2_201_000.0, "position-far"),
        (601_000.0, 8_201_000.0, "position-far"),
        (501_000.0, 8_206_000.0, None),
    ],
)
def test_a_bad_position_is_named_and_left_off(make_log, x, y, reason):
    xs, ys = field()
    xs[3], ys[3] = x, y
    placed = locate_samples(make_log([f"S{i:02}" for i in range(20)], x=xs, y=ys), UTM)
    assert placed.reason[3] == reason
    assert [r for i, r in enumerate(placed.reason) if i != 3] == [None] * 19
    if reason is None:
        assert placed.findings == ()
    else:
        assert np.isnan(placed.x[3])
        [finding] = placed.findings
        assert (finding.code, finding.severity, finding.row) == (reason, "warning", 5)
        assert "S03" in finding.message


def test_whole_table_in_degrees(make_log):
    log = make_log(list("abcd"), x=[27.01, 27.02, 27.03, 27.04], y=[-16.0, -16.1, -16.0, -16.1])
    assert set(locate_samples(log, UTM).reason) == {"degrees-in-metres"}


def test_swapped_degrees(make_log):
    log = make_log(list("abc"), x=[-16.0, -16.1, -16.2], y=[27.0] * 3, crs="EPSG:4326")
    assert set(locate_samples(log, UTM).reason) == {"axes-swapped"}


def test_legitimate_oddities_stay(make_log):
    # negative eastings (a zone used past its edge), repeated positions, a local grid from 0, 0
    x = np.array([-20_000.0, -20_100.0, -20_100.0, -20_200.0, -20_300.0])
    log = make_log(list("abcde"), x=x, y=np.full(5, 8_200_000.0))
    assert all(r is None for r in locate_samples(log, UTM).reason)
    zero = make_log(list("abcde"), x=[0, 100, 200, 0, 100.0], y=[0, 0, 0, 50, 50.0])
    assert all(r is None for r in locate_samples(zero, UTM).reason)


def test_a_second_area_is_no_typing_error(make_log):
    x, y = field(23)
    x[:3] += 90_000
    log = make_log([f"S{i:02}" for i in range(23)], x=x, y=y)
    assert all(r is None for r in locate_samples(log, UTM).reason)


def test_outside_the_boundary(make_log):
    x, y = field()
    x[0] = 506_000.0
    edge = gpd.GeoDataFrame(geometry=[box(499_000, 8_199_000, 505_100, 8_206_000)], crs=UTM)
    placed = locate_samples(
        make_log([f"S{i:02}" for i in range(20)], x=x, y=y), UTM, boundary=edge
    )
    assert np.isfinite(placed.x[0])
    [finding] = placed.findings
    assert (finding.code, finding.sample_id) == ("position-outside-boundary", "S00")


def test_unknown_crs_of_some_rows(make_log):
    x, y = field(3)
    placed = locate_samples(make_log(list("abc"), x=x, y=y, crs=["EPSG:0", None, None]), UTM)
    assert placed.reason.tolist() == ["crs-unknown", None, None]


@pytest.mark.parametrize(
    ("crs", "said"),
    [
        ("EPSG:4326", "not projected"),
        ("EPSG:2278", "foot"),
        ("nowhere", "no coordinate reference system"),
    ],
)
def test_working_crs_must_be_projected_in_metres(crs, said):
    with pytest.raises(WrongCall, match=said):
        working_crs(crs)


def _log(x, y, crs):
    n = len(x)
    return pd.DataFrame(
        {"sample_id": [f"S{i}" for i in range(n)], "x": np.asarray(x, float),
         "y": np.asarray(y, float), "crs": crs, "file": "f", "row": range(2, n + 2)}
    )  # fmt: skip


def test_a_wrong_sign_is_named_for_one_sample_and_for_all():
    lon, lat = np.linspace(26.5, 26.6, 10), np.linspace(-12.5, -12.6, 10)
    one = lat.copy()
    one[3] *= -1
    got = locate_samples(_log(lon, one, "EPSG:4326"), "EPSG:32735")
    assert [r for r in got.reason if r] == ["sign-wrong"]
    assert np.isnan(got.x[3])
    assert "S3" in next(f.message for f in got.findings if f.code == "sign-wrong")
    for x, y in ((lon, -lat), (-lon, lat)):
        assert set(locate_samples(_log(x, y, "EPSG:4326"), "EPSG:32735").reason) == {"sign-wrong"}


def test_a_second_zone_without_a_zone_column_is_named_and_a_second_area_stays():
    x, y = np.linspace(800000, 801000, 10), np.linspace(8e6, 8.001e6, 10)
    x[7:] = [164000, 164010, 164020]  # the same ground in zone 36
    got = locate_samples(_log(x, y, None), "EPSG:32735")
    assert list(got.reason) == [None] * 7 + ["zone-wrong"] * 3
    lon, lat = np.linspace(26.5, 26.6, 10), np.linspace(-12.5, -12.6, 10)
    far = locate_samples(
        _log(np.r_[lon, lon[:4] + 2], np.r_[lat, lat[:4] - 1], "EPSG:4326"), "EPSG:32735"
    )
    assert not any(far.reason)


def test_kilometres_and_degrees_with_a_wrong_sign_are_no_metres(make_log):
    got = locate_samples(make_log(["A1", "A2"], x=[500.1, 500.2], y=[7200.1, 7200.2]), UTM)
    assert set(got.reason) == {"kilometres-in-metres"}
    log = make_log(["A1", "A2", "A3"], x=[28.2, 28.21, 28.22], y=[-25.5, 25.51, -25.52])
    assert set(locate_samples(log, UTM).reason) == {"degrees-in-metres"}


def test_a_whole_survey_outside_its_zone_is_used_and_asked_about(make_log):
    log = make_log(["A1", "A2"], x=[-12000.0, -11900.0], y=[-2.8e6, -2.81e6])
    got = locate_samples(log, UTM)
    assert np.isfinite(got.x).all()
    assert [f.code for f in got.findings] == ["survey-outside-crs-area"]
