"""Before and after: a toy piece is cleaned in part, seen from elsewhere in other light; its truth is known."""

import cv2
import numpy as np
import pytest
from scipy import ndimage

from proofpatch.errors import InputError
from proofpatch.photos.colour import difference, lab_of, linear_of
from proofpatch.photos.pairs import lay_over

SIZE = (420, 560)


def piece(seed=1):
    """Lab of a painted board: blotches of several sizes, so that a place is known again."""
    rng = np.random.default_rng(seed)
    lab = np.full((*SIZE, 3), (45.0, 12.0, 18.0))
    for size, height in ((2, 5.0), (5, 6.0), (14, 5.0)):
        noise = ndimage.gaussian_filter(rng.standard_normal(SIZE), size)
        lab[..., 0] += height * noise / noise.std()
    return lab


def cleaned(lab, seed=2):
    """(Lab after, where it was cleaned): a patch of bare wood."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[: SIZE[0], : SIZE[1]]
    where = (np.abs(y - 200) < 70) & (np.abs(x - 300) < 90)
    wood = np.array([68.0, 8.0, 26.0]) + 2.5 * ndimage.gaussian_filter(rng.standard_normal((*SIZE, 1)), (9, 2, 0)) * 10
    return np.where(where[..., None], wood, lab), where


def photo(lab, turn=None, light=1.0, seed=3):
    """Linear sRGB of it, seen through a homography, in uneven light of a warm cast, with noise."""
    linear = np.clip(linear_of(lab), 0, 1).astype(np.float32)
    if turn is not None:
        linear = cv2.warpPerspective(linear, turn, SIZE[::-1], flags=cv2.INTER_AREA)
    slope = 1 + (light - 1) * np.linspace(0, 1, SIZE[1])[None, :, None]
    noise = np.random.default_rng(seed).normal(0, 0.004, linear.shape)
    return np.clip(linear * slope * np.array([1.0, 1 - 0.3 * (1 - light), light]) + noise, 0, 1).astype(np.float32)


TURN = np.array([[0.96, -0.10, 45.0], [0.08, 0.93, 8.0], [1.2e-4, -5e-5, 1.0]])


@pytest.mark.parametrize("framed", [False, True])
def test_the_same_place_is_found_and_told(framed):
    before = piece()
    lab, where = cleaned(before)
    pair = lay_over(
        photo(before), photo(lab, TURN, light=0.8), scale=2000.0, homography=np.linalg.inv(TURN) if framed else None
    )
    assert pair.because.startswith("Laid over")
    assert (pair.matches is None) == framed
    assert pair.both.mean() > 0.7
    true = where & pair.both
    assert pair.share == pytest.approx(true.sum() / pair.both.sum(), abs=0.015)
    assert pair.area == pytest.approx(true.sum() / 2000.0**2, rel=0.06)
    overlap = (pair.changed & true).sum() / (pair.changed | true).sum()
    assert overlap > 0.9
    # The change of the means drawn in Lab, by the published formula.
    tone = float(difference(before[true].mean(axis=0), lab[true].mean(axis=0)))
    assert pair.tone.change == pytest.approx(tone, abs=1.0)
    assert pair.rest < 2.0
    still = pair.both & ~ndimage.binary_dilation(where, iterations=6)
    off = lab_of(ndimage.uniform_filter(pair.after, (9, 9, 0))) - lab_of(ndimage.uniform_filter(pair.before, (9, 9, 0)))
    assert np.abs(off[still].mean(axis=0)).max() < 0.8


def test_nothing_cleaned_is_nothing_changed():
    pair = lay_over(photo(piece()), photo(piece(), TURN, light=0.85), scale=None)
    assert pair.share < 0.005
    assert pair.area is None


@pytest.mark.parametrize("other", ["another piece", "a blank wall"])
def test_what_does_not_match_is_refused(other):
    after = piece(seed=77) if other == "another piece" else np.full((*SIZE, 3), (60.0, 0.0, 5.0))
    pair = lay_over(photo(piece()), photo(after, TURN))
    assert pair.after is None
    assert pair.share is None
    assert pair.because.startswith("Too few places match")


def test_a_speck_is_no_photo():
    with pytest.raises(InputError, match="at least 64"):
        lay_over(photo(piece()), np.zeros((5, 5, 3), np.float32))
