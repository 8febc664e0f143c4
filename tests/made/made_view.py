"""Where a made camera stands, and the exact way from metres of the sheet to pixels of its picture.

A sheet's metres run right and down from its upper left corner, z into it. Pixels are those of the upright picture, the
one seen once the EXIF orientation is obeyed; (0, 0) is the CENTRE of its upper left pixel.
"""

from dataclasses import dataclass, field

import numpy as np


@dataclass(frozen=True)
class Pose:
    """Where the camera is.

    Args:
        distance: from the lens to the point aimed at [m].
        tilt: away from straight above [deg]; `toward` which side it leans, 0 right, 90 down (toward the reader) [deg].
        roll: about its own axis, clockwise [deg].
        aim: point of the sheet in the middle of the picture [m]; none is the sheet's middle.
    """

    distance: float = 0.30
    tilt: float = 0.0
    toward: float = 90.0
    roll: float = 0.0
    aim: tuple[float, float] | None = None


@dataclass(frozen=True)
class View:
    """The exact way from metres of the sheet to pixels of the upright picture, and back."""

    axes: np.ndarray = field(repr=False)  # rows: right, down, forward
    centre: np.ndarray = field(repr=False)
    focal: float
    middle: tuple[float, float]
    barrel: float
    bulge: float = 0.0
    width: float = 1.0

    def height(self, x):
        """Of the sheet over the piece, toward the camera [m]; a parabola across its width."""
        out = np.clip(2 * x / self.width - 1, -1.2, 1.2) ** 2
        return self.bulge * (1 - out) if self.bulge >= 0 else -self.bulge * out

    def pixels(self, points):
        """Pixels (..., 2) of points of the sheet (..., 2) [m]; not a number behind the camera."""
        points = np.asarray(points, dtype=float)
        world = np.concatenate([points, -self.height(points[..., :1])], axis=-1) - self.centre
        seen = world @ self.axes.T
        true = seen[..., :2] / np.where(seen[..., 2:] > 0, seen[..., 2:], np.nan)
        radius = np.hypot(true[..., 0], true[..., 1])
        r = radius.copy()
        for _ in range(8):  # Newton on r (1 + k r²) = r_true
            r = r - (r + self.barrel * r**3 - radius) / (1 + 3 * self.barrel * r**2)
        return true / (1 + self.barrel * r**2)[..., None] * self.focal + self.middle

    def sheet(self, pixels):
        """Points of the sheet (..., 2) [m] seen at pixels (..., 2); not a number at or above the horizon."""
        seen = (np.asarray(pixels, dtype=float) - self.middle) / self.focal
        seen = seen * (1 + self.barrel * (seen**2).sum(axis=-1, keepdims=True))
        ray = np.concatenate([seen, np.ones((*seen.shape[:-1], 1))], axis=-1) @ self.axes
        down = np.where(ray[..., 2] > 1e-3, ray[..., 2], np.nan)
        at = self.centre[:2] - ray[..., :2] * (self.centre[2] / down)[..., None]
        for _ in range(12 if self.bulge else 0):  # closer each time by the slope times the tangent of the view
            reach = -(self.centre[2] + self.height(at[..., 0])) / down
            at = self.centre[:2] + ray[..., :2] * reach[..., None]
        return at


def view(pose, camera, size, bulge=0.0):
    """View of a sheet of `size` [m]."""
    aim = np.array((*(pose.aim or (size[0] / 2, size[1] / 2)), 0.0))
    tilt, lean, roll = np.radians((pose.tilt, pose.toward, pose.roll))
    forward = np.array((-np.sin(tilt) * np.cos(lean), -np.sin(tilt) * np.sin(lean), np.cos(tilt)))
    # Turned about the axis that lies in the sheet, square to the lean (Rodrigues).
    axis = np.array((np.sin(lean), -np.cos(lean), 0.0))
    flat = [
        np.cos(tilt) * e + np.sin(tilt) * np.cross(axis, e) + (1 - np.cos(tilt)) * axis * (axis @ e) for e in np.eye(3)
    ]
    right = np.cos(roll) * flat[0] + np.sin(roll) * flat[1]
    down = np.cos(roll) * flat[1] - np.sin(roll) * flat[0]
    width, height = camera.size
    middle = ((width - 1) / 2, (height - 1) / 2)
    axes = np.stack([right, down, forward])
    return View(
        axes, aim - pose.distance * forward, camera.focal * max(width, height), middle, camera.barrel, bulge, size[0]
    )


def homography(corners, onto):
    """Eight numbers of the projective map that takes four points onto four others, in Pillow's order."""
    rows, right = [], []
    for (u, v), (x, y) in zip(corners, onto, strict=True):
        rows += [(u, v, 1, 0, 0, 0, -x * u, -x * v), (0, 0, 0, u, v, 1, -y * u, -y * v)]
        right += [x, y]
    return np.linalg.solve(np.array(rows), np.array(right))
