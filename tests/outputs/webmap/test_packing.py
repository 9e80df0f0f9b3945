"""Packed arrays give back what went in."""

import base64
import struct
import zlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geochem.outputs.classes import class_levels
from geochem.outputs.webmap.packing import (
    MISSING,
    pack_flags,
    pack_hundredths,
    pack_values,
)
from geochem.outputs.webmap.surface_image import palette_png


def unpack(packed):
    raw = base64.b64decode(packed["b"])
    if packed["t"] == "f32":
        return np.frombuffer(raw, "<f4").astype(float)
    codes = np.frombuffer(raw, "<u2").astype(int)
    value = (codes % 9000 + 1000) * 10.0 ** (packed["base"] + codes // 9000)
    return np.where(codes == MISSING, np.nan, value)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(1e-3, 9.9e3), min_size=1, max_size=30))
def test_values_keep_four_digits(values):
    given_values = np.array([*values, np.nan])
    got = unpack(pack_values(given_values))
    np.testing.assert_allclose(got[:-1], given_values[:-1], rtol=5.01e-4)
    assert np.isnan(got[-1])


def test_values_of_four_digits_come_back_exactly():
    values = np.array([0.001, 0.002345, 12.34, 99.99, 100.0, 9999.0, 1000.0])
    packed = pack_values(values)
    assert packed["t"] == "d16"
    np.testing.assert_allclose(unpack(packed), values, rtol=1e-12)


@pytest.mark.parametrize("values", [[0.0, 1.0], [-1.0, 3.0], [1e-6, 1e6]])
def test_zero_negative_and_wide_values_become_floats(values):
    packed = pack_values(np.array(values))
    assert packed["t"] == "f32"
    np.testing.assert_allclose(unpack(packed), values, rtol=1e-6)


def test_flags_first_in_lowest_bit_and_none_when_unset():
    assert pack_flags(np.zeros(9, dtype=bool)) is None
    flags = np.zeros(9, dtype=bool)
    flags[[0, 8]] = True
    assert base64.b64decode(pack_flags(flags)["b"]) == bytes([1, 1])


def test_scores_to_hundredths_with_missing():
    packed = pack_hundredths(np.array([1.234, -2.0, np.nan, 1e9]))
    got = np.frombuffer(base64.b64decode(packed["b"]), "<i2")
    assert got.tolist() == [123, -200, -32768, 32000]


def test_levels_rise_and_follow_the_share_of_samples():
    values = np.geomspace(1, 1000, 1000)
    many = class_levels(values, [2.0, 5.0, 20.0, 100.0, 500.0])
    assert many == sorted(set(many))
    assert len(many) == 6
    assert class_levels(values, [500.0]) == [0, 5]  # 90 % below: the darkest step
    assert class_levels(values, []) == [1]


def test_png_holds_every_index_and_transparency():
    index = np.array([[0, 1], [2, 1]], dtype=np.uint8)
    raw = base64.b64decode(palette_png(index, ["#102030", "#ffffff"]).split(",")[1])
    assert raw[:8] == b"\x89PNG\r\n\x1a\n"
    assert struct.unpack(">II", raw[16:24]) == (2, 2)
    assert raw[raw.index(b"PLTE") + 4 :][:9] == b"\0\0\0\x10\x20\x30\xff\xff\xff"
    start = raw.index(b"IDAT")
    (length,) = struct.unpack(">I", raw[start - 4 : start])
    assert zlib.decompress(raw[start + 4 : start + 4 + length]) == bytes([0, 0, 1, 0, 2, 1])
