"""The printed sheet found in a photo: which one it is, and where each of its places lies in the picture.

Places in a photo count in pixels from the upper left corner of its first pixel: that pixel's middle is at (0.5, 0.5).
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from proofpatch.errors import InputError
from proofpatch.photos.edges import refined
from proofpatch.photos.flat import Box
from proofpatch.photos.frame import MODULES, PLACES, Frame, corners, frame_of, layout_of, plain
from proofpatch.photos.reading import read

__all__ = ["Found", "by_hand", "find", "mapped", "read"]

Floats = NDArray[np.float64]
LONG_SIDES = (2000, 1000, 4000)  # px of the picture markers are looked for in: half of 12 MP first; ours, measured
ENOUGH = 4  # markers after which no other size is tried
FEWEST = 2
SMALLEST_MARKER = 0.02  # its round beside the picture's long side
# No corner is believed to be better known: by the camera [px], and by a sheet that is printed and lies flat as paper
# does [m]; common practice, no source.
BEST_CORNER, BEST_PRINT = 0.1, 0.05e-3
TAP = 0.004  # of the long side of what was tapped: how far a tap is off; common practice, no source
FARTHEST_OFF = 1e-3  # m on the sheet; a marker farther from the others' plane is not of this sheet
SMALLEST_SIDE = 20.0  # px between two tapped corners
UNKNOWN_WIDTH = 0.1  # m, of a rectangle tapped without a frame and without lengths
BY_HAND = "Bring the whole sheet into the picture, or tap its four corners by hand."


@dataclass(frozen=True)
class Found:
    """A sheet in a photo.

    Args:
        frame: which. homography: from the sheet [m] to the photo [px] (3, 3).
        markers: numbers of those it rests on; none if the corners were tapped.
        misfit: root mean square of the markers' corners off the flat sheet [m].
        error: how far a corner of a window may be off, one standard deviation of the worst [m].
        blur: standard deviation of a Gaussian that would blur a sharp edge as much [m], nan if not measured.
    """

    frame: Frame
    homography: Floats
    markers: tuple[int, ...]
    misfit: float
    error: float
    blur: float

    def seen(self, points: ArrayLike) -> Floats:
        """Places of the sheet (..., 2) [m] in the photo [px]."""
        return mapped(self.homography, points)

    def scale(self, box: Box | None = None) -> float:
        """Fewest pixels of a metre on the sheet, in any direction at any corner of the windows or of a box [1/m]."""
        places = corners(box) if box else _window_corners(self.frame)
        return float(min(np.linalg.svd(_local(self.homography, at), compute_uv=False)[-1] for at in places))


def mapped(homography: Floats, points: ArrayLike) -> Floats:
    """Points (..., 2) through a homography (3, 3)."""
    at = np.asarray(points, dtype=float)
    out = at @ homography[:, :2].T + homography[:, 2]
    return np.asarray(out[..., :2] / out[..., 2:])


def find(image: NDArray[np.uint8], frames: Sequence[Frame] | None = None) -> Found:
    """The sheet in a photo, by its markers.

    Args:
        image: (H, W, 3), 0 to 255, sRGB. frames: which may be in it; None: any of ours.

    Raises:
        InputError: fewer than two markers are seen, or two sheets.

    With two markers at one end of the sheet the far end is off by far more than near them: `error` says how much.
    """
    grey = cv2.cvtColor(image, cv2.COLOR_RGB2GRAY).astype(np.uint8, copy=False)
    frame, seen = _looked_for(grey, None if frames is None else {one.layout for one in frames})
    numbers = sorted(seen)
    places = np.array([corners(frame.markers[n % PLACES].box) for n in numbers])
    at, blur = refined(grey, _nearer(grey, np.array([seen[n] for n in numbers])))
    homography, held = _fitted(frame, places, at)
    numbers = [n for n, kept in zip(numbers, held, strict=True) if kept]
    off = at[held] - mapped(homography, places[held])
    scales = np.array([math.sqrt(abs(np.linalg.det(_local(homography, box.mean(axis=0))))) for box in places[held]])
    spread = max(BEST_CORNER, BEST_PRINT * scales.max(), math.sqrt(float(np.sum(off**2)) / (off.size - 8)))
    blurs = (blur[held] / scales)[np.isfinite(blur[held])]
    return Found(
        frame, homography, tuple(numbers),
        misfit=float(np.sqrt(np.mean(np.sum((off / scales[:, None, None]) ** 2, axis=-1)))),
        error=_expected_error(homography, places[held].reshape(-1, 2), spread, _window_corners(frame)),
        blur=float(np.median(blurs)) if len(blurs) else math.nan,
    )  # fmt: skip


def by_hand(tapped: ArrayLike, frame: Frame | None = None) -> Found:
    """A sheet by its four tapped corners; or, without a frame, whatever rectangle was tapped.

    Args:
        tapped: upper left, upper right, lower right and lower left corner of the sheet in the photo (4, 2) [px].
        frame: which sheet; None: a plain rectangle of the shape it seems to have, whose lengths mean nothing. Another
            rectangle: `plain(width, height)`.

    Raises:
        InputError: the four are not the corners of a rectangle in this order.
    """
    at = np.asarray(tapped, dtype=float)
    remedy = "Tap upper left, upper right, lower right and lower left, as the sheet is read."
    if at.shape != (4, 2) or not np.all(np.isfinite(at)):
        raise InputError("corners", "Four corners are needed.", remedy)
    way = np.roll(at, -1, axis=0) - at
    length, after = np.linalg.norm(way, axis=1), np.roll(way, -1, axis=0)
    turns = way[:, 0] * after[:, 1] - way[:, 1] * after[:, 0]
    if length.min() < SMALLEST_SIDE:
        raise InputError("corners", "Two of the corners lie on one another.", remedy)
    if np.any(turns < 1e-3 * length * np.roll(length, -1)):
        raise InputError("corners", "These four are no rectangle seen in this order.", remedy)
    if frame is None:
        frame = plain(UNKNOWN_WIDTH, UNKNOWN_WIDTH * float((length[1] + length[3]) / (length[0] + length[2])))
    homography = _through(frame.outline, at)
    error = _expected_error(homography, frame.outline, TAP * float(length.max()), _window_corners(frame))
    return Found(frame, homography, (), 0.0, error, math.nan)


def _looked_for(grey: NDArray[np.uint8], allowed: set[int] | None) -> tuple[Frame, dict[int, Floats]]:
    """The frame with the most markers in the photo, and their corners by number."""
    votes: dict[int, dict[int, Floats]] = defaultdict(dict)
    for long_side in LONG_SIDES:
        for number, at in _markers(grey, long_side):
            told = layout_of(number)
            if told and (allowed is None or told[0] in allowed):
                twin = votes[told[0]].setdefault(number, at)
                if np.linalg.norm(twin.mean(axis=0) - at.mean(axis=0)) > np.linalg.norm(at[0] - at[2]):
                    raise InputError("photo", "Two sheets of one kind are in the photo.", "Take one photo of each.")
        most = sorted(((len(one), layout) for layout, one in votes.items()), reverse=True)
        if most and most[0][0] >= ENOUGH:
            break
    if not most or most[0][0] < FEWEST:
        said = "Only one marker of the sheet is seen." if most else "No marker of a sheet is seen in the photo."
        raise InputError("photo", said, BY_HAND)
    if len(most) > 1 and most[1][0] >= FEWEST:
        raise InputError("photo", "Two sheets are in the photo.", "Take one photo of each.")
    return frame_of(most[0][1]), votes[most[0][1]]


def _markers(grey: NDArray[np.uint8], long_side: int) -> list[tuple[int, Floats]]:
    """(number, corners [px]) of what looks like markers, in a picture no longer than `long_side`."""
    rows, columns = grey.shape
    shrink = min(1.0, long_side / max(rows, columns))
    size = max(1, round(columns * shrink)), max(1, round(rows * shrink))
    small = cv2.resize(grey, size, interpolation=cv2.INTER_AREA) if shrink < 1 else grey
    settings = cv2.aruco.DetectorParameters()
    settings.minMarkerPerimeterRate = SMALLEST_MARKER
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    found, numbers, _ = cv2.aruco.ArucoDetector(family, settings).detectMarkers(small)
    if numbers is None:
        return []
    # OpenCV counts from the middle of the first pixel.
    back = np.array([columns / size[0], rows / size[1]])
    return [(int(n), (one.reshape(4, 2) + 0.5) * back) for n, one in zip(numbers.ravel(), found, strict=True)]


def _nearer(grey: NDArray[np.uint8], at: Floats) -> Floats:
    """Corners to about a pixel at full size."""
    out = at.copy()
    for n, four in enumerate(at):
        module = min(np.linalg.norm(np.roll(four, -1, axis=0) - four, axis=1)) / MODULES
        reach = int(np.clip(0.6 * module, 2, 20))
        stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 30, 0.02)
        start = np.ascontiguousarray(four - 0.5, dtype=np.float32)
        moved = cv2.cornerSubPix(grey, start, (reach, reach), (-1, -1), stop).astype(float) + 0.5
        near = np.linalg.norm(moved - four, axis=1) < module
        out[n] = np.where(near[:, None], moved, four)
    return out


def _fitted(frame: Frame, places: Floats, at: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """The homography, and which markers it rests on: those that lie in one plane with most."""
    sheet, photo = places.reshape(-1, 2), at.reshape(-1, 2)
    size = float(np.median(np.linalg.norm(at[:, 2] - at[:, 0], axis=1))) / math.hypot(*(places[0, 2] - places[0, 0]))
    first, inside = cv2.findHomography(sheet * 1e3, photo, cv2.RANSAC, FARTHEST_OFF * size)
    held = inside.reshape(-1, 4).all(axis=1) if first is not None else np.zeros(len(places), dtype=bool)
    if np.count_nonzero(held) < FEWEST:
        raise InputError("photo", "The markers do not lie on one flat sheet.", f"Lay it flat. {BY_HAND}")
    last, _ = cv2.findHomography(places[held].reshape(-1, 2) * 1e3, at[held].reshape(-1, 2), 0)
    return np.asarray(last @ np.diag([1e3, 1e3, 1.0])), np.asarray(held)


def _through(sheet: Floats, photo: Floats) -> Floats:
    """The homography that takes four places exactly to four others."""
    made = cv2.getPerspectiveTransform((sheet * 1e3).astype(np.float32), photo.astype(np.float32))
    return np.asarray(made @ np.diag([1e3, 1e3, 1.0]))


def _window_corners(frame: Frame) -> Floats:
    return np.concatenate([corners(one.box) for one in frame.windows])


def _local(homography: Floats, at: Floats) -> Floats:
    """Pixels a metre at a place of the sheet: the derivative (2, 2) of `mapped`."""
    x, y, w = homography @ np.array([at[0], at[1], 1.0])
    return np.asarray((homography[:2, :2] - np.outer((x / w, y / w), homography[2, :2])) / w)


def _expected_error(homography: Floats, known: Floats, spread: float, wanted: Floats) -> float:
    """How far the worst of the wanted places is off [m] if the known ones (N, 2) are off by `spread` [px].

    First order: the spread of the eight numbers of the homography, carried to the wanted places.
    """
    middle = known.mean(axis=0)
    size = max(float(np.abs(known - middle).max()), 1e-6)
    # Lengths near 1, so that the normal equations stay sound.
    scaled = homography @ np.array([[size, 0, middle[0]], [0, size, middle[1]], [0, 0, 1.0]])
    scaled = scaled / scaled[2, 2]
    slopes = _slopes(scaled, (known - middle) / size)
    covariance = np.linalg.pinv(slopes.T @ slopes) * spread**2
    worst = 0.0
    for at in (wanted - middle) / size:
        back = np.linalg.inv(_local(scaled, at))
        on_sheet = back @ _slopes(scaled, at[None]) @ covariance @ _slopes(scaled, at[None]).T @ back.T
        worst = max(worst, float(np.trace(on_sheet)))
    return math.sqrt(worst) * size


def _slopes(homography: Floats, points: Floats) -> Floats:
    """Derivatives (2 N, 8) of the mapped points by the homography's numbers but the last."""
    x, y = points.T
    w = homography[2, 0] * x + homography[2, 1] * y + homography[2, 2]
    u, v = mapped(homography, points).T
    one, none = np.ones_like(x), np.zeros_like(x)
    across = np.stack([x, y, one, none, none, none, -u * x, -u * y]) / w
    down = np.stack([none, none, none, x, y, one, -v * x, -v * y]) / w
    return np.concatenate([across.T, down.T])
