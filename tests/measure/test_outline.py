"""Outlines in photos against a rendered truth: polygons on a face projected through a pinhole camera of the test's own.

Second routes: cv2.contourArea and cv2.getPerspectiveTransform (OpenCV), and redrawing the taps.
"""

import json
import math

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from proofpatch.errors import InputError
from proofpatch.measure.crossing import crossing, inside
from proofpatch.measure.outline import Outline, outline_from, outline_record, shoelace
from proofpatch.measure.view import LengthView, RectangleView, homography

FOCAL, MIDDLE = 3000.0, (2000.0, 1500.0)  # px, of a phone's 12 Mpx


def camera(points, tilt=0.0, turn=0.0, roll=0.0, away=2.0):
    """Pixels of points (n, 2) [m] on a face about whose origin the camera stands `away` [m], turned by these angles."""
    cx, cy, cz = (math.cos(a) for a in (tilt, turn, roll))
    sx, sy, sz = (math.sin(a) for a in (tilt, turn, roll))
    rotation = (
        np.array([[1, 0, 0], [0, cx, -sx], [0, sx, cx]])
        @ np.array([[cy, 0, sy], [0, 1, 0], [-sy, 0, cy]])
        @ np.array([[cz, -sz, 0], [sz, cz, 0], [0, 0, 1]])
    )
    seen = np.column_stack([points, np.zeros(len(points))]) @ rotation.T + [0, 0, away]
    return seen[:, :2] / seen[:, 2:] * FOCAL + MIDDLE


def star(rng, n, size=0.5):
    """A polygon that does not cross itself."""
    angle = np.sort(rng.uniform(0, 2 * math.pi, n))
    return np.column_stack([np.cos(angle), np.sin(angle)]) * rng.uniform(0.3, 1, (n, 1)) * size


BOARD = np.array([[-0.3, -0.2], [0.3, -0.2], [0.3, 0.2], [-0.3, 0.2]])


# Taps are rounded to whole pixels, as a finger on a screen gives them.
@pytest.mark.parametrize("seed", range(20))
def test_an_area_comes_back_within_one_percent(seed):
    rng = np.random.default_rng(seed)
    tilt, turn, roll = rng.uniform(-0.8, 0.8), rng.uniform(-0.8, 0.8), rng.uniform(-3, 3)
    shape = star(rng, 12)
    place = dict(tilt=tilt, turn=turn, roll=roll)
    found = Outline(
        taps=np.round(camera(shape, **place)), view=RectangleView(np.round(camera(BOARD, **place)), 0.6, 0.4)
    )
    truth = cv2.contourArea(shape.astype(np.float32))
    assert found.area == pytest.approx(truth, rel=0.01)
    closed = np.vstack([shape, shape[:1]])
    assert found.perimeter == pytest.approx(np.hypot(*np.diff(closed, axis=0).T).sum(), rel=0.01)


def test_a_frame_is_as_good_as_its_homography():
    rng = np.random.default_rng(3)
    shape, place = star(rng, 9), dict(tilt=0.6, turn=0.3)
    matrix = cv2.getPerspectiveTransform(camera(BOARD, **place).astype(np.float32), BOARD.astype(np.float32))
    found = outline_from({"points": camera(shape, **place).tolist(), "homography": matrix.tolist()})
    assert found.area == pytest.approx(abs(shoelace(shape)), rel=1e-3)


def test_the_homography_is_opencvs():
    pixels = camera(BOARD, tilt=0.5, turn=-0.4)
    ours = homography(pixels, BOARD)
    theirs = cv2.getPerspectiveTransform(pixels.astype(np.float32), BOARD.astype(np.float32))
    assert ours / ours[2, 2] == pytest.approx(theirs, rel=1e-3, abs=1e-6)


def test_openings_are_taken_out():
    hole = BOARD * 0.3
    place = dict(tilt=0.5, turn=0.5)
    found = Outline(
        taps=camera(BOARD, **place),
        openings=(camera(hole, **place),),
        view=RectangleView(camera(BOARD, **place), 0.6, 0.4),
    )
    assert found.area == pytest.approx(0.24 * (1 - 0.09), rel=1e-6)
    assert found.perimeter == pytest.approx(2.0)
    assert found.words.endswith("1 opening taken out")


# Redrawn 3000 times with every tap off by 3 px: the area scatters as own and shared say (numpy's generator and std).
@pytest.mark.parametrize("kind", ["rectangle", "length"])
def test_taps_scatter_as_said(kind):
    rng = np.random.default_rng(7)
    place = dict(tilt=0.5, turn=0.3) if kind == "rectangle" else {}
    taps, corners = camera(star(rng, 8), **place), camera(BOARD, **place)

    def made(off):
        moved = taps + off * rng.standard_normal(taps.shape)
        given = corners + off * rng.standard_normal(corners.shape)
        view = RectangleView(given, 0.6, 0.4) if kind == "rectangle" else LengthView(given[0], given[1], 0.6)
        return Outline(taps=moved, view=view, tap_error=3.0)

    truth = made(0.0)
    areas = [made(3.0).area for _ in range(1500)]
    # What no redrawing of taps shows is taken out: lens, tilt, and the tape on the rectangle or length.
    tape = 0.002 * (math.hypot(1 / 0.6, 1 / 0.4) if kind == "rectangle" else 2 / 0.6)
    said = math.sqrt(truth.spread**2 - truth.view.extra**2 - tape**2)
    assert np.std(areas) / truth.area == pytest.approx(said, rel=0.08)


# Seen from afar and turned by 15°, a face measured by one length is off by 1/cos 15° − 1 = 3.5 %, up or down.
def test_one_length_is_wide_enough_for_its_tilt():
    place = dict(turn=math.radians(15), away=40.0)
    taps = camera(BOARD, **place)
    across, along = (
        Outline(taps=taps, view=LengthView(taps[i], taps[i + 1], size)) for i, size in ((0, 0.6), (1, 0.4))
    )
    assert across.area / 0.24 == pytest.approx(1 / math.cos(math.radians(15)), rel=0.01)
    assert along.area / 0.24 == pytest.approx(math.cos(math.radians(15)), rel=0.01)
    for found in (across, along):
        assert abs(found.area / 0.24 - 1) < 1.2 * found.shared
        assert "straight-on" in found.note
    assert not Outline(taps=taps, view=RectangleView(taps, 0.6, 0.4)).note


def test_records_go_and_come_back():
    taps = camera(BOARD).tolist()
    hole = camera(BOARD * 0.5).tolist()
    for known in (
        {"corners": taps, "width": "60 cm", "height": 0.4},
        {"start": taps[0], "end": taps[1], "length": "2 ft"},
        {"homography": [[1e-3, 0, 0], [0, 1e-3, 0], [0, 0, 1]]},
    ):
        found = outline_from({"points": taps, "openings": [hole], "photo": "door", **known})
        again = outline_from(json.loads(json.dumps(outline_record(found))))
        assert again == found
        assert again.area == found.area
        assert again.instrument == "photo:door"


SQUARE = [[0, 0], [1000, 0], [1000, 1000], [0, 1000]]
KNOWN = {"start": [0, 0], "end": [1000, 0], "length": 1.0}


@pytest.mark.parametrize(
    ("record", "field"),
    [
        (3, "outline"), ({}, "points"), ({"points": SQUARE}, "outline"), ({"points": SQUARE, "pionts": 1}, "outline"),
        ({"points": SQUARE, **KNOWN, "homography": []}, "outline"),
        ({"points": SQUARE, "start": [0, 0]}, "end"),
        ({"points": SQUARE[:2], **KNOWN}, "points"), ({"points": "abc", **KNOWN}, "points"),
        ({"points": [[0, 0], [1, 1], [2, math.nan]], **KNOWN}, "points"),
        ({"points": [[1e9, 0]] * 3, **KNOWN}, "points"),
        ({"points": [[0, 0], [9, 9], [9, 0], [0, 9]], **KNOWN}, "points"),
        ({"points": [[0, 0], [9, 0], [18, 0]], **KNOWN}, "points"), ({"points": [[5, 5]] * 4, **KNOWN}, "points"),
        ({"points": SQUARE, **KNOWN, "length": "3 kg"}, "length"), ({"points": SQUARE, **KNOWN, "length": 0}, "length"),
        ({"points": SQUARE, **KNOWN, "end": [0, 0]}, "end"), ({"points": SQUARE, **KNOWN, "start": 3}, "start"),
        ({"points": SQUARE, **KNOWN, "tap_error": 0}, "tap_error"), ({"points": SQUARE, **KNOWN, "photo": 3}, "photo"),
        ({"points": SQUARE, **KNOWN, "openings": [[[5, 5], [9, 5], [2000, 9]]]}, "openings"),
        ({"points": SQUARE, **KNOWN, "openings": [[[2000, 5], [2009, 5], [2000, 9]]]}, "openings"),
        ({"points": SQUARE, **KNOWN, "openings": [[[5, 5], [9, 9], [9, 5], [5, 9]]]}, "openings"),
        ({"points": SQUARE, **KNOWN, "openings": [[[5, 5], [99, 5], [50, 99]], [[30, 20], [50, 20], [45, 40]]]},
         "openings"),
        ({"points": SQUARE, **KNOWN, "openings": 5}, "openings"),
        ({"points": SQUARE, **KNOWN, "openings": [5]}, "openings"),
        ({"points": SQUARE, "corners": SQUARE[:3], "width": 1, "height": 1}, "corners"),
        ({"points": SQUARE, "corners": [SQUARE[i] for i in (0, 2, 1, 3)], "width": 1, "height": 1}, "corners"),
        ({"points": SQUARE, "corners": [[0, 0], [500, 0], [1000, 0], [0, 900]], "width": 1, "height": 1}, "corners"),
        ({"points": SQUARE, "corners": SQUARE, "width": -1, "height": 1}, "width"),
        ({"points": SQUARE, "homography": [[1, 0, 0], [0, 1, 0], [0, 0, 0]]}, "homography"),
        ({"points": SQUARE, "homography": "H"}, "homography"),
        ({"points": SQUARE, "homography": [[1, 2], [3]]}, "homography"),
        ({"points": SQUARE, "homography": [[1e-3, 0, 0], [0, 1e-3, 0], [0, 0.002, -1]]}, "points"),
        ({"points": [[0, 0], [4, 0], [0, 4]], **KNOWN}, "points"),
    ],
)  # fmt: skip
def test_bad_taps_are_one_sentence(record, field):
    with pytest.raises(InputError) as error:
        outline_from(record)
    assert error.value.field == field
    assert len(str(error.value)) < 300


# cv2.pointPolygonTest is the second route for inside.
@settings(max_examples=100, deadline=None)
@given(st.integers(0, 10**6))
def test_inside_is_opencvs(seed):
    rng = np.random.default_rng(seed)
    shape, point = star(rng, 10), rng.uniform(-0.5, 0.5, 2)
    side = cv2.pointPolygonTest(shape.astype(np.float32), point.astype(np.float32).tolist(), True)
    assert crossing(shape) == brute(shape)
    if abs(side) > 1e-5 and not crossing(shape):
        assert inside(point, shape) == (side > 0)
    swapped = shape.copy()
    swapped[[2, 3]] = swapped[[3, 2]]
    assert crossing(swapped) == brute(swapped)


def brute(shape):
    """Second route: every pair of edges solved for where they meet."""
    n = len(shape)
    for i in range(n):
        for j in range(i + 2, n):
            if (j + 1) % n == i:
                continue
            a, b, c, d = shape[i], shape[(i + 1) % n], shape[j], shape[(j + 1) % n]
            t, u = np.linalg.solve(np.column_stack([b - a, c - d]), c - a)
            if 0 <= t <= 1 and 0 <= u <= 1:
                return True
    return False
