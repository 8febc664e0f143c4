"""The sheet found: against a pinhole camera written without OpenCV, and prints drawn by poppler and by hand."""

import numpy as np
import pytest
from made_sheet import exact, printed
from made_shot import Pose, camera, miss, photograph, shoot

from proofpatch import InputError
from proofpatch.photos.find import TAP, by_hand, find, read
from proofpatch.photos.flatten import flatten, tilt
from proofpatch.photos.frame import LAYOUTS, MM, PLACES, RULER, frame, frame_of, plain

SMALL = Pose(size=(900, 1200), share=0.9)


def codes(light):
    """Grey light as sRGB codes (IEC 61966-2-1), three channels."""
    code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)
    return np.repeat(np.round(255 * code).astype(np.uint8)[..., None], 3, axis=2)


def outline(wanted, homography):
    """The sheet's corners in the photo."""
    ends = np.column_stack([wanted.outline, np.ones(4)]) @ homography.T
    return ends[:, :2] / ends[:, 2:]


def on_a_table(face, edge=60):
    return codes(np.pad(face, edge, constant_values=0.1))


def test_every_sheet_tells_which_it_is():
    for layout in range(LAYOUTS):
        wanted = frame_of(layout)
        found = find(on_a_table(exact(wanted, dpi=80)))
        assert found.frame is wanted
        assert len(found.markers) == PLACES


# Drawn with each pixel as black as the ink on it: no camera, no JPEG, only the convention. A slip of half a pixel would
# be 0.11 mm here.
def test_places_count_from_the_corner_of_the_first_pixel():
    wanted = frame(4, "a4")
    found = find(on_a_table(exact(wanted, dpi=120)))
    per_metre = 120 / 0.0254
    assert found.seen([[0, 0], [0.1, 0.2]]) == pytest.approx(
        np.array([[60, 60], [60 + 0.1 * per_metre, 60 + 0.2 * per_metre]]), abs=0.03
    )
    assert found.scale() == pytest.approx(per_metre, rel=1e-3)
    assert found.misfit < 0.03 * MM


# How far a corner of a window is off [mm]. The bounds are ours, about twice what was measured.
@pytest.mark.parametrize(
    ("more", "most"),
    [
        ({}, 0.05), ({"tilt": 45.0, "azimuth": 30.0}, 0.08), ({"tilt": 45.0, "azimuth": 80.0, "turn": 200.0}, 0.08),
        ({"blur": 2.0}, 0.1), ({"noise": 20.0}, 0.15), ({"gradient": 0.85}, 0.05), ({"quality": 30}, 0.1),
        ({"glare": 2.0, "pen": 10}, 0.15), ({"shadow": 0.7}, 0.06), ({"share": 0.4, "blur": 0.6}, 0.2),
    ],
)  # fmt: skip
def test_windows_lie_where_the_camera_put_them(more, most):
    wanted, shot = shoot(6, pose=SMALL.with_(**more))
    found = find(read(shot.content))
    assert found.frame is wanted
    assert miss(found, shot.homography, wanted).max() < most * MM
    assert found.error < 0.5 * MM


def test_with_half_the_sheet_gone_it_says_how_far_it_may_be_off():
    for shift, fewest in (((0.0, 0.3), 3), ((0.35, 0.0), 3), ((0.4, 0.25), 2)):
        wanted, shot = shoot(6, pose=SMALL.with_(shift=shift))
        found = find(shot.image)
        assert fewest <= len(found.markers) < PLACES
        off = miss(found, shot.homography, wanted).max()
        assert off < 3 * found.error
        assert found.error > 2 * find(shoot(6, pose=SMALL)[1].image).error


def test_print_at_300_dpi_gives_its_scale_back():
    # The ruler is printed beside the markers and is not used in finding them; the print is poppler's at 300 dpi.
    wanted, face = printed(6, finer=1)
    shot = photograph(wanted, face, Pose(tilt=25.0, azimuth=40.0, share=0.9, gradient=0.4))
    flat = flatten(shot.image, find(shot.image)).flat
    ruler = wanted.ruler
    # A band through the short ticks, clear of the line above and the figures below.
    top, left = round((ruler.top + 0.8 * MM) * flat.scale), round((ruler.left - 3 * MM) * flat.scale)
    band = flat.linear[top : top + round(0.8 * MM * flat.scale), left : left + round((RULER + 6 * MM) * flat.scale)]
    dark = 1 - band.mean(axis=(0, 2))
    ticks = np.nonzero(dark > 0.4 * dark.max())[0]
    length = (ticks[-1] - ticks[0]) / flat.scale
    assert length == pytest.approx(RULER, rel=0.005)


def test_a_strangers_marker_is_not_believed():
    wanted, other = frame(6), frame(3)
    face = exact(wanted, dpi=80)
    lone = exact(other, dpi=80)
    face[:90, 150:300] = lone[:90, 10:160]  # one of another sheet, in the head
    found = find(on_a_table(face))
    assert found.frame is wanted
    # One of its own that was moved: cut out and laid down elsewhere.
    moved = exact(wanted, dpi=80)
    part = moved[:90, :90].copy()
    moved[:90, :90] = 1
    moved[300:390, 250:340] = part
    found = find(on_a_table(moved))
    assert wanted.markers[0].id not in found.markers
    assert found.misfit < 0.05 * MM


def test_only_the_sheets_asked_for_are_seen():
    image = on_a_table(exact(frame(6), dpi=80))
    assert find(image, [frame(6)]).frame is frame(6)
    with pytest.raises(InputError, match="No marker"):
        find(image, [frame(5)])


def test_what_cannot_be_found_is_one_sentence():
    one = exact(frame(6), dpi=80)
    lone = np.ones_like(one)
    lone[:90, :90] = one[:90, :90]
    with pytest.raises(InputError, match=r"Only one marker .* by hand"):
        find(on_a_table(lone))
    with pytest.raises(InputError, match=r"No marker .* by hand"):
        find(np.full((300, 400, 3), 90, dtype=np.uint8))
    with pytest.raises(InputError, match="Two sheets"):
        find(np.hstack([on_a_table(one), on_a_table(exact(frame(5), dpi=80))]))
    with pytest.raises(InputError, match="Two sheets"):
        find(np.hstack([on_a_table(one), on_a_table(one)]))


def test_corners_by_hand_are_as_good_as_the_hand():
    wanted = frame(6)
    truth = camera(wanted, SMALL.with_(tilt=30.0, azimuth=20.0))
    corners = outline(wanted, truth)
    found = by_hand(corners, wanted)
    assert miss(found, truth, wanted).max() < 1e-6
    assert found.markers == ()
    # Taps that are off as far as is taken for one: the error it tells is the one that comes of them.
    longest = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1).max()
    random = np.random.default_rng(5)
    taps = corners + TAP * longest * random.standard_normal((400, 4, 2))
    misses = np.array([miss(by_hand(one, wanted), truth, wanted) for one in taps])
    assert np.sqrt((misses**2).mean(axis=0)).max() == pytest.approx(found.error, rel=0.15)


def test_a_rectangle_without_a_sheet():
    corners = [[100, 100], [500, 120], [510, 330], [90, 300]]
    found = by_hand(corners)
    assert found.frame.steps == 1
    assert found.frame.width / found.frame.height == pytest.approx(2.0, abs=0.1)
    sized = by_hand(corners, plain(0.3, 0.15))
    assert sized.seen([0.3, 0.15]) == pytest.approx([510, 330], abs=1e-3)


@pytest.mark.parametrize(
    "corners",
    [
        [[0, 0], [10, 0]], [[0, 0], [100, 0], [100, float("nan")], [0, 100]],
        [[0, 0], [0, 100], [100, 100], [100, 0]],  # mirrored
        [[0, 0], [100, 100], [100, 0], [0, 100]],  # crossed
        [[0, 0], [1, 0], [100, 100], [0, 100]], [[0, 0], [50, 0], [100, 0], [0, 100]],
    ],
)  # fmt: skip
def test_corners_that_make_no_rectangle_are_one_sentence(corners):
    with pytest.raises(InputError) as caught:
        by_hand(corners)
    assert caught.value.field == "corners"


def test_the_tilt_is_the_cameras():
    wanted = frame(6)
    for angle in (0.0, 20.0, 40.0):
        pose = SMALL.with_(tilt=angle, azimuth=30.0)
        found = by_hand(outline(wanted, camera(wanted, pose)), wanted)
        assert tilt(found, pose.size) == pytest.approx(angle, abs=1e-3)


def test_the_camera_of_the_tests_is_a_pinhole():
    # Without tilt a pinhole keeps ratios: the sheet's height takes its share of the width.
    wanted, pose = frame(6), Pose(share=0.8)
    at = outline(wanted, camera(wanted, pose))
    assert np.ptp(at[:, 0]) == pytest.approx(0.8 * pose.size[1])
    assert np.ptp(at[:, 1]) == pytest.approx(0.8 * pose.size[1] * wanted.width / wanted.height)
