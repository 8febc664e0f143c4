"""How a photo sees a flat face: what turns its pixels into metres, and how far that may be off."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import InputError
from proofpatch.measure.figure import LEAST, MOST
from proofpatch.measure.tables import instruments
from proofpatch.physics.setting import finite_number
from proofpatch.sources import Datum

Points = NDArray[np.float64]
MOST_PIXEL = 1e5
LEAST_APART = 4.0  # pixels between corners; nearer ones are one tap twice


def read_points(field: str, words: str, value: Any, least: int, most: int) -> tuple[tuple[float, float], ...]:
    """Taps (x, y) in pixels.

    Raises:
        InputError: too few, too many, or no pixels.
    """
    if not isinstance(value, (list, tuple, np.ndarray)) or not least <= len(value) <= most:
        count = f"{least}" if least == most else f"{least} to {most}"
        raise InputError(field, f"{words}: give {count} points.", "Tap them in order.")
    found = []
    for i, entry in enumerate(value):
        if not isinstance(entry, (list, tuple, np.ndarray)) or len(entry) != 2:
            raise InputError(field, f"{words}, point {i + 1}: not x and y.", "Give pixels from the upper left.")
        x, y = (finite_number(field, f"{words}, point {i + 1}", part, -MOST_PIXEL, MOST_PIXEL, "px") for part in entry)
        found.append((x, y))
    return tuple(found)


@dataclass(frozen=True)
class View(ABC):
    """What turns pixels into metres on the face."""

    @abstractmethod
    def matrix(self) -> Points:
        """Homography (3, 3), pixels to metres."""

    @abstractmethod
    def shifted(self, tap: float) -> list[Points]:
        """Its homographies with one thing it was made from off by one standard deviation each; tap in pixels."""

    @property
    def extra(self) -> float:
        """What else makes the area unsure [1]: here what the lens bends."""
        return 2 * instruments()["photo", "scale"].value

    @property
    def data(self) -> tuple[Datum, ...]:
        return tuple(instruments()["photo", key] for key in ("reading", "scale"))

    note = ""


@dataclass(frozen=True)
class FrameView(View):
    """Found by the printed frame.

    Args:
        homography: (3, 3), pixels to metres.
    """

    homography: tuple[tuple[float, ...], ...]

    def __post_init__(self) -> None:
        try:
            given = np.asarray(self.homography, float)
        except (ValueError, TypeError, OverflowError):
            given = np.zeros(0)
        if given.shape != (3, 3) or not np.all(np.isfinite(given)) or np.linalg.matrix_rank(given) < 3:
            raise InputError("homography", "The homography is not an invertible 3 by 3 matrix.", "Find the frame anew.")
        object.__setattr__(self, "homography", tuple(tuple(float(v) for v in row) for row in given))

    def matrix(self) -> Points:
        return np.asarray(self.homography, float)

    def shifted(self, tap: float) -> list[Points]:
        return []


@dataclass(frozen=True)
class RectangleView(View):
    """Found by the four corners of a rectangle in the face.

    Args:
        corners: taps in pixels, in order round it, from the start of a side `width` long.
        width, height: of it, by tape [m].
    """

    corners: tuple[tuple[float, float], ...]
    width: float
    height: float

    def __post_init__(self) -> None:
        corners = read_points("corners", "The corners of the rectangle", self.corners, 4, 4)
        object.__setattr__(self, "corners", corners)
        for name in ("width", "height"):
            value = finite_number(name, f"The {name} of the rectangle", getattr(self, name), LEAST, MOST, "m")
            object.__setattr__(self, name, value)
        side = np.roll(corners, -1, axis=0) - np.asarray(corners)
        turn = side[:, 0] * np.roll(side[:, 1], -1) - side[:, 1] * np.roll(side[:, 0], -1)
        if np.min(np.hypot(*side.T)) < LEAST_APART or not (np.all(turn > 0) or np.all(turn < 0)):
            raise InputError("corners", "The four corners are not a rectangle seen by a camera.", "Tap them in order.")

    def matrix(self) -> Points:
        return homography(np.asarray(self.corners), self._face(self.width, self.height))

    def _face(self, width: float, height: float) -> Points:
        return np.array([[0, 0], [width, 0], [width, height], [0, height]], float)

    def shifted(self, tap: float) -> list[Points]:
        corners, found = np.asarray(self.corners), []
        for i in range(8):
            off = corners.copy()
            off[i // 2, i % 2] += tap
            found.append(homography(off, self._face(self.width, self.height)))
        tape = instruments()["tape", "reading"].value
        found.append(homography(corners, self._face(self.width + tape, self.height)))
        found.append(homography(corners, self._face(self.width, self.height + tape)))
        return found

    @property
    def data(self) -> tuple[Datum, ...]:
        return (*super().data, instruments()["tape", "reading"])


@dataclass(frozen=True)
class LengthView(View):
    """One known length; only for a photo straight-on, and less sure.

    Args:
        start, end: taps at its ends, in pixels. length: by tape [m].
    """

    start: tuple[float, float]
    end: tuple[float, float]
    length: float

    note = "One known length was given, so the photo is taken to be straight-on; four corners or the frame say more."

    def __post_init__(self) -> None:
        ends = read_points("start", "The ends of the known length", (self.start, self.end), 2, 2)
        object.__setattr__(self, "start", ends[0])
        object.__setattr__(self, "end", ends[1])
        object.__setattr__(self, "length", finite_number("length", "The known length", self.length, LEAST, MOST, "m"))
        if math.dist(self.start, self.end) < LEAST_APART:
            raise InputError("end", "Both ends of the known length are the same point.", "Tap its two ends.")

    def matrix(self) -> Points:
        return self._scaled(self.length / math.dist(self.start, self.end))

    def _scaled(self, metres: float) -> Points:
        return np.diag([metres, metres, 1.0])

    def shifted(self, tap: float) -> list[Points]:
        pixels, tape = math.dist(self.start, self.end), instruments()["tape", "reading"].value
        return [self._scaled(self.length / (pixels + math.sqrt(2) * tap)), self._scaled((self.length + tape) / pixels)]

    @property
    def extra(self) -> float:
        """With the tilt θ of a photo meant to be straight-on: 1/cos θ − 1, either way by how the length lies."""
        tilt = math.radians(instruments()["photo", "tilt"].value)
        return math.hypot(super().extra, 1 / math.cos(tilt) - 1)

    @property
    def data(self) -> tuple[Datum, ...]:
        return (*super().data, instruments()["photo", "tilt"], instruments()["tape", "reading"])


def homography(pixels: Points, metres: Points) -> Points:
    """The homography (3, 3) that takes four points (4, 2) into four others.

    Eight linear equations, the pixels brought to size one first so that they are well conditioned (Hartley & Zisserman,
    Multiple View Geometry, 2nd ed. (2004), §4.4; section from memory).

    Raises:
        InputError: three of them are in line.
    """
    middle, size = pixels.mean(axis=0), max(float(np.ptp(pixels)), 1e-12)
    rows, right = [], []
    for (x, y), (u, v) in zip((pixels - middle) / size, metres, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        right += [u, v]
    try:
        found = np.append(np.linalg.solve(np.array(rows), np.array(right)), 1.0).reshape(3, 3)
    except np.linalg.LinAlgError:
        raise InputError("corners", "Three of the four corners are in line.", "Tap the four corners.") from None
    return np.asarray(found @ np.array([[1 / size, 0, -middle[0] / size], [0, 1 / size, -middle[1] / size], [0, 0, 1]]))


def mapped(matrix: Points, points: Points) -> tuple[Points, Points]:
    """(points in metres (n, 2), their depth factor w (n,)) of pixels (n, 2)."""
    flat = points @ matrix[:, :2].T + matrix[:, 2]
    return flat[:, :2] / flat[:, 2:], flat[:, 2]
