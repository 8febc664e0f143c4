"""CIEDE2000 against the pairs its authors published, the conversions against the standard and a second library."""

import cv2
import numpy as np
import pytest

from proofpatch.photos.colour import difference, lab_of, linear_of, xyz_of
from proofpatch.photos.light import to_linear, to_srgb

# Sharma, Wu & Dalal, Color Res. Appl. 30 (2005) 21–30, Table 1, all 34 pairs: L a b, L a b, ΔE00. Copied from the
# authors' data as kept in skimage/color/tests/ciede2000_test_data.txt of the public repository scikit-image.
PAIRS = """
50.0000 2.6772 -79.7751 50.0000 0.0000 -82.7485 2.0425
50.0000 3.1571 -77.2803 50.0000 0.0000 -82.7485 2.8615
50.0000 2.8361 -74.0200 50.0000 0.0000 -82.7485 3.4412
50.0000 -1.3802 -84.2814 50.0000 0.0000 -82.7485 1.0000
50.0000 -1.1848 -84.8006 50.0000 0.0000 -82.7485 1.0000
50.0000 -0.9009 -85.5211 50.0000 0.0000 -82.7485 1.0000
50.0000 0.0000 0.0000 50.0000 -1.0000 2.0000 2.3669
50.0000 -1.0000 2.0000 50.0000 0.0000 0.0000 2.3669
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0009 7.1792
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0010 7.1792
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0011 7.2195
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0012 7.2195
50.0000 -0.0010 2.4900 50.0000 0.0009 -2.4900 4.8045
50.0000 -0.0010 2.4900 50.0000 0.0010 -2.4900 4.8045
50.0000 -0.0010 2.4900 50.0000 0.0011 -2.4900 4.7461
50.0000 2.5000 0.0000 50.0000 0.0000 -2.5000 4.3065
50.0000 2.5000 0.0000 73.0000 25.0000 -18.0000 27.1492
50.0000 2.5000 0.0000 61.0000 -5.0000 29.0000 22.8977
50.0000 2.5000 0.0000 56.0000 -27.0000 -3.0000 31.9030
50.0000 2.5000 0.0000 58.0000 24.0000 15.0000 19.4535
50.0000 2.5000 0.0000 50.0000 3.1736 0.5854 1.0000
50.0000 2.5000 0.0000 50.0000 3.2972 0.0000 1.0000
50.0000 2.5000 0.0000 50.0000 1.8634 0.5757 1.0000
50.0000 2.5000 0.0000 50.0000 3.2592 0.3350 1.0000
60.2574 -34.0099 36.2677 60.4626 -34.1751 39.4387 1.2644
63.0109 -31.0961 -5.8663 62.8187 -29.7946 -4.0864 1.2630
61.2901 3.7196 -5.3901 61.4292 2.2480 -4.9620 1.8731
35.0831 -44.1164 3.7933 35.0232 -40.0716 1.5901 1.8645
22.7233 20.0904 -46.6940 23.0331 14.9730 -42.5619 2.0373
36.4612 47.8580 18.3852 36.2715 50.5065 21.2231 1.4146
90.8027 -2.0831 1.4410 91.1528 -1.6435 0.0447 1.4441
90.9257 -0.5406 -0.9208 88.6381 -0.8985 -0.7239 1.5381
6.7747 -0.2908 -2.4247 5.8714 -0.0985 -2.2286 0.6377
2.0776 0.0795 -1.1350 0.9033 -0.0636 -0.5514 0.9082
"""


def test_all_published_pairs():
    rows = np.array([[float(v) for v in line.split()] for line in PAIRS.split("\n") if line])
    assert rows.shape == (34, 7)
    ours = difference(rows[:, :3], rows[:, 3:6])
    np.testing.assert_allclose(ours, rows[:, 6], atol=0.5e-4 + 1e-9)
    np.testing.assert_allclose(difference(rows[:, 3:6], rows[:, :3]), ours, atol=1e-9)


# IEC 61966-2-1: both branches meet at 0.04045 encoded, 0.0031308 linear; the linear part has slope 12.92.
def test_the_curve_of_the_standard():
    assert to_linear(0.04045) == pytest.approx(0.0031308, abs=5e-8)
    assert to_linear(0.02) == pytest.approx(0.02 / 12.92)
    # Encoded 0.5 is 0.214041 linear (IEC formula, worked by hand: (0.555/1.055)^2.4).
    assert to_linear(0.5) == pytest.approx(0.214041, abs=1e-6)
    codes = np.arange(256) / 255
    np.testing.assert_allclose(to_srgb(to_linear(codes)), codes, atol=1e-6)


# IEC 61966-2-1: the matrix of the standard, four digits, times the primaries.
def test_primaries_have_the_tristimulus_values_of_the_standard():
    printed = [[0.4124, 0.2126, 0.0193], [0.3576, 0.7152, 0.1192], [0.1805, 0.0722, 0.9505]]
    np.testing.assert_allclose(xyz_of(np.eye(3)), printed, atol=1e-9)


# CIE 15: L* = 116 Y^(1/3) − 16 above 216/24389 and 24389/27 Y below.
def test_lightness_of_greys():
    luminance = np.array([0.001, 0.01, 0.05, 0.1, 0.184187, 0.5, 0.9, 1.0])
    exact = np.where(luminance > 216 / 24389, 116 * np.cbrt(luminance) - 16, 24389 / 27 * luminance)
    np.testing.assert_allclose(lab_of(luminance[:, None] * np.ones(3))[:, 0], exact, atol=2e-3)


# OpenCV's own conversion from linear sRGB, another implementation with another rounding of the matrix; it works from
# tables and so agrees to a few hundredths.
def test_a_second_library_agrees():
    light = np.random.default_rng(5).uniform(0.01, 1.0, (40, 50, 3)).astype(np.float32)
    theirs = cv2.cvtColor(light[..., ::-1].copy(), cv2.COLOR_LBGR2Lab)
    assert np.abs(lab_of(light) - theirs).max() < 0.1
    assert np.median(np.abs(lab_of(light) - theirs)) < 0.02


def test_there_and_back():
    light = np.random.default_rng(6).uniform(0.0, 1.0, (200, 3))
    np.testing.assert_allclose(linear_of(lab_of(light)), light, atol=1e-9)
    assert lab_of(light.astype(np.float32)).dtype == np.float32
