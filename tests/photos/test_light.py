"""The sRGB curve against the standard's own figures and another's code."""

import numpy as np
import pytest
from skimage.color import rgb2xyz

from proofpatch.photos.light import CODES, LUMINANCE, luminance, to_linear, to_srgb


# IEC 61966-2-1:1999, (5) and (6) (from memory): the straight part ends at 0.04045 and is 1/12.92 steep.
def test_the_printed_points():
    assert to_linear(0.0) == 0
    assert to_linear(1.0) == pytest.approx(1.0, abs=1e-12)
    assert to_linear(0.04045) == pytest.approx(0.0031308, abs=5e-8)
    assert to_linear(0.02) == pytest.approx(0.02 / 12.92)
    # 18 % grey is code 118 of 255 and half of full light 188, as every table of the curve has it (from memory).
    assert np.round(to_srgb([0.18, 0.5]) * 255).tolist() == [118, 188]


def test_every_code_is_anothers():
    # scikit-image's rgb2xyz: a grey's Y is its light.
    grey = np.repeat(np.arange(256)[:, None, None] / 255, 3, axis=2)
    assert np.allclose(rgb2xyz(grey)[:, 0, 1], CODES, atol=1e-6)
    colours = np.random.default_rng(1).random((50, 1, 3))
    assert np.allclose(rgb2xyz(colours)[..., 1], luminance(to_linear(colours)), atol=1e-4)


def test_there_and_back():
    assert np.allclose(to_srgb(CODES) * 255, np.arange(256), atol=1e-4)
    assert sum(LUMINANCE) == pytest.approx(1)
