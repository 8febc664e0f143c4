"""The sheet in even light: known colours come back, windows have no say, and a bad photo says what to do."""

import dataclasses

import numpy as np
import pytest
from made_sheet import exact
from made_shot import INK, PATCHES, Pose, shoot
from PIL import Image, ImageDraw
from scipy import ndimage
from skimage.color import deltaE_ciede2000, xyz2lab

from proofpatch.photos.find import by_hand, find
from proofpatch.photos.flat import Box
from proofpatch.photos.flatten import FEWEST_PIXELS, MOST_FLAT, SCALE, flatten
from proofpatch.photos.frame import MM, corners, frame, plain

GOOD = Pose(size=(1050, 1400), share=0.92, level=0.7)
# Linear sRGB to XYZ under D65, IEC 61966-2-1:1999, (7) (from memory).
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])


def seen(pose, count=6):
    wanted, shot = shoot(count, pose=pose)
    found = find(shot.image)
    return wanted, shot, found, flatten(shot.image, found)


def kinds(made):
    return [one.kind for one in made.cautions]


def colours(made, wanted):
    """Mean light of each window, clear of its edges, and what it truly is."""
    mean = [made.flat.part(one.box, 4 * MM).reshape(-1, 3).mean(axis=0) for one in wanted.windows]
    return np.array(mean), np.array([PATCHES[n % len(PATCHES)] for n in range(len(wanted.windows))])


def apart(a, b):
    """CIEDE2000 of linear colours, by scikit-image."""
    return deltaE_ciede2000(xyz2lab(a @ TO_XYZ.T), xyz2lab(b @ TO_XYZ.T))


def test_a_good_photo_has_nothing_against_it():
    wanted, _, _, made = seen(GOOD)
    assert made.cautions == ()
    assert made.evened
    assert made.seen.all()
    assert not made.clipped.any()
    assert made.flat.linear.dtype == np.float32
    assert made.flat.linear.shape == (round(wanted.height * SCALE), round(wanted.width * SCALE), 3)
    assert made.flat.scale == SCALE


# The colours are those the camera of the tests was given; 1 is about what an eye just tells apart. What is left is the
# JPEG's rounding of colour, up to one code and a half over a plain patch.
@pytest.mark.parametrize(
    "more",
    [
        {}, {"gradient": 0.7, "cast": (1.0, 0.85, 0.6)}, {"gradient": 0.5, "tilt": 35.0, "azimuth": 50.0},
        {"noise": 12.0, "blur": 1.5, "quality": 60}, {"pen": 25, "gradient": 0.4},
    ],
)  # fmt: skip
def test_known_colours_come_back(more):
    wanted, _, _, made = seen(GOOD.with_(**more))
    measured, true = colours(made, wanted)
    assert apart(measured, true).max() < 1.6
    assert np.median(apart(measured, true)) < 1.0
    # Without the light taken out the same photo is far off.
    if more.get("gradient", 0) > 0.6:
        raw = np.array([_raw(one.box, more) for one in wanted.windows])
        assert apart(raw, true).max() > 5
    greys = np.array([INK + (1 - INK) * one.reflectance for one in wanted.greys])
    assert np.abs(made.greys.mean(axis=1) - greys).max() < 0.03


def _raw(box, more):
    """Median linear colour of a window in the photo as it is, scaled by the photo's brightest paper."""
    _, shot = shoot(6, pose=GOOD.with_(**more))
    at = corners(box).mean(axis=0)
    x, y, w = shot.homography @ [*at, 1.0]
    i, j = int(y / w), int(x / w)
    part = shot.image[i - 20 : i + 20, j - 20 : j + 20].reshape(-1, 3) / 255
    return np.median(np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4), axis=0) / GOOD.level


def test_paper_is_one_everywhere():
    wanted, _, _, made = seen(GOOD.with_(gradient=0.7, cast=(1.0, 0.85, 0.6)))
    a, b = wanted.windows[0].box, wanted.windows[3].box
    gap = Box(a.left + a.width + 2 * MM, a.top, b.left - a.left - a.width - 4 * MM, 200 * MM)
    assert np.abs(np.median(made.flat.part(gap), axis=(0, 1)) - 1).max() < 0.02
    rows = np.median(made.flat.part(gap), axis=1)
    assert np.abs(rows - 1).max() < 0.06


def test_something_laid_on_the_paper_does_not_draw_the_light_after_it():
    wanted, shot = shoot(6, pose=GOOD.with_(gradient=0.4))
    found = find(shot.image)
    painted = Image.fromarray(shot.image)
    dark = corners(Box(0.0, 85 * MM, 28 * MM, 40 * MM))  # a dark thing on the left side column
    ImageDraw.Draw(painted).polygon([tuple(one) for one in found.seen(dark)], fill=(60, 55, 50))
    made = flatten(np.asarray(painted), found)
    greys = np.array([INK + (1 - INK) * one.reflectance for one in wanted.greys])
    assert np.abs(made.greys.mean(axis=1) / greys - 1)[greys > 0.1].max() < 0.04


def test_what_lies_in_the_windows_has_no_say():
    wanted, shot = shoot(6, pose=GOOD.with_(gradient=0.4))
    found = find(shot.image)
    painted = Image.fromarray(shot.image)
    draw = ImageDraw.Draw(painted)
    paints = ((255, 240, 250), (0, 0, 9), (250, 10, 10))
    for n, box in enumerate(wanted.cut):
        draw.polygon([tuple(one) for one in found.seen(corners(box))], fill=paints[n % 3])
    before, after = flatten(shot.image, found), flatten(np.asarray(painted), found)
    outside = np.ones(before.seen.shape, dtype=bool)
    for box in wanted.cut:
        edge = 1 * MM
        top, bottom = (round(end * SCALE) for end in (box.top - edge, box.top + box.height + edge))
        left, right = (round(end * SCALE) for end in (box.left - edge, box.left + box.width + edge))
        outside[top:bottom, left:right] = False
    assert np.array_equal(before.flat.linear[outside], after.flat.linear[outside])
    assert not np.allclose(before.flat.linear, after.flat.linear)


def test_a_camera_that_bends_its_channels_apart_is_straightened():
    wanted, _, _, made = seen(GOOD.with_(bend=(1.12, 1.0, 0.9)))
    measured, true = colours(made, wanted)
    grey = np.array([n % 4 == 1 for n in range(6)])  # the second of PATCHES is all but grey
    bent = true ** np.array([1.12, 1.0, 0.9])
    assert apart(measured, true)[grey].max() < 0.5 * apart(bent, true)[grey].min()


@pytest.mark.parametrize(
    ("more", "kind"),
    [
        ({"blur": 2.2}, "blur"), ({"glare": 1.5}, "glare"), ({"shadow": 0.5}, "shadow"), ({"level": 1.4}, "bright"),
        ({"level": 0.1}, "dark"), ({"gradient": 0.9}, "uneven"), ({"tilt": 55.0, "share": 0.7}, "tilt"),
        ({"share": 0.5}, "small"), ({"shift": (0.3, 0.0)}, "cut off"), ({"shift": (0.4, 0.25)}, "place"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_a_photo_is_said_with_what_to_do(more, kind):
    _, _, _, made = seen(GOOD.with_(**more))
    assert kind in kinds(made)
    for one in made.cautions:
        assert one.said.endswith(".")
        assert one.remedy.endswith(".")
    # Nothing is said twice, and a caution is no list of every fault there is.
    assert len(set(kinds(made))) == len(made.cautions) <= 4


def test_light_mirrored_in_a_window_alone_is_seen():
    wanted, shot = shoot(6, pose=GOOD)
    found = find(shot.image)
    painted = Image.fromarray(shot.image)
    middle = corners(wanted.windows[2].box).mean(axis=0)
    x, y = found.seen(middle)
    ImageDraw.Draw(painted).ellipse([x - 25, y - 25, x + 25, y + 25], fill=(255, 255, 255))
    assert kinds(flatten(np.asarray(painted), found)) == ["glare"]


def test_a_bent_sheet_is_seen():
    _, shot = shoot(6, pose=GOOD)
    found = find(shot.image)
    assert "bent" in kinds(flatten(shot.image, dataclasses.replace(found, misfit=0.6 * MM)))
    # A sheet on a round thing: photographed rows are drawn together towards the ends.
    columns = shot.image.shape[1]
    x = np.arange(columns)
    bow = (x + 18 * np.sin(np.pi * x / columns)).clip(0, columns - 1).astype(int)
    bent = find(np.ascontiguousarray(shot.image[:, bow]))
    assert bent.misfit > 4 * found.misfit


def test_what_the_photo_does_not_show_is_not_seen():
    wanted, shot, _, made = seen(GOOD.with_(shift=(0.3, 0.0)))
    rows, columns = shot.image.shape[:2]
    for box in wanted.cut:
        at = corners(box).mean(axis=0)
        x, y, w = shot.homography @ [*at, 1.0]
        inside = 5 < x / w < columns - 5 and 5 < y / w < rows - 5
        assert made.seen[int(at[1] * SCALE), int(at[0] * SCALE)] == inside


def test_without_a_sheet_the_light_stays_and_is_said():
    _, shot = shoot(6, pose=GOOD)
    made = flatten(shot.image, by_hand([[300, 200], [900, 200], [900, 600], [300, 600]]))
    assert not made.evened
    assert "paper" in kinds(made)
    large = flatten(shot.image, by_hand([[300, 200], [900, 200], [900, 600], [300, 600]], plain(3.0, 2.0)))
    assert large.flat.linear.size <= 3 * MOST_FLAT * 1.01
    assert large.flat.scale < SCALE


def test_a_photo_with_many_more_pixels_is_averaged():
    # The same sheet at 8 and at 20 pixels a millimetre: the noise of the larger is averaged away.
    wanted = frame(6)
    spread = {}
    for dpi in (210, 500):
        light = np.pad(exact(wanted, dpi=dpi), 30, constant_values=0.1)
        code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055) * 220
        noisy = code + np.random.default_rng(1).normal(0, 8, code.shape)
        image = np.repeat(np.clip(noisy, 0, 255).astype(np.uint8)[..., None], 3, axis=2)
        made = flatten(image, find(image))
        spread[dpi] = float(made.flat.part(wanted.windows[0].box, 4 * MM).std())
    assert spread[500] < 0.6 * spread[210]
    assert FEWEST_PIXELS < SCALE


# Drawn by hand at 15 pixels a millimetre, seen at 8: counting from pixels' middles would move it by 0.23 pixels.
def test_a_box_of_the_sheet_is_that_box_of_the_flat_picture():
    wanted = frame(6)
    light = ndimage.gaussian_filter(0.9 * np.pad(exact(wanted, dpi=15 * 25.4), 30, constant_values=0.1), 1.5)
    code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)
    image = np.repeat(np.round(255 * code).astype(np.uint8)[..., None], 3, axis=2)
    made = flatten(image, find(image))
    for marker in wanted.markers:
        # White up to the marker's edge and its black border beyond: the light of a strip across places the edge.
        left, top = marker.box.left * SCALE, marker.box.top * SCALE
        x, y = round(left) - 10, round(top) - 10
        across = made.flat.linear[y + 16 : y + 22, x : x + 20].mean(axis=(0, 2))
        down = made.flat.linear[y : y + 20, x + 16 : x + 22].mean(axis=(1, 2))
        assert x + across.sum() == pytest.approx(left, abs=0.1)
        assert y + down.sum() == pytest.approx(top, abs=0.1)
