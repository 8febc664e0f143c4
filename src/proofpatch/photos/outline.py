"""The outline of a four-sided piece against a plain background."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from proofpatch.photos.colour import lab_of

Floats = NDArray[Any]

# All ours, tried on made photos; none is from a source.
LONG = 700  # px, longer side of the picture in which an outline is sought
RIM = 0.03  # of the shorter side, taken to show the background
TIMES = (3.0, 5.0, 8.0, 14.0)  # times the rim's own spread, from which a place is no background
LEAST, MOST = 0.04, 0.92  # of the picture that a piece takes
FILLS = 0.94  # share that piece and its four sides have in common, below which it has other sides
SAMPLES, NEAR = 60, 0.012  # points on a side, and how far off it may lie, of the longer side


def outline(picture: Floats) -> Floats | None:
    """Corners of the piece in a picture, clockwise from the upper left, or None where there is no such piece.

    Args:
        picture: (H, W, 3), linear sRGB.

    Returns:
        (4, 2) [px of `picture`]; the piece stands wholly inside, on a background of much the same tone.
    """
    shrunk = min(1.0, LONG / max(picture.shape[:2]))
    small = cv2.resize(np.asarray(picture, np.float32), None, fx=shrunk, fy=shrunk, interpolation=cv2.INTER_AREA)
    off = _unlike_rim(small)
    best, corners = FILLS, None
    for times in TIMES:
        fit, found = _four_sides(off > times)
        if fit > best:
            best, corners = fit, found
    if corners is None:
        return None
    drawn = cv2.fillConvexPoly(np.zeros(off.shape, np.uint8), np.round(corners).astype(np.int32), 1) > 0
    # What is drawn on the piece must not pass for its edge.
    corners = _sharpened(corners, np.minimum(off, np.median(off[drawn])))
    if corners is None:
        return None
    first = int(np.argmin(corners.sum(axis=1)))
    return np.asarray((np.roll(corners, -first, axis=0) + 0.5) / shrunk - 0.5)


def _unlike_rim(small: Floats) -> Floats:
    """How far each place is from the background's tone, in spreads of the rim (H, W)."""
    lab = np.asarray(lab_of(cv2.GaussianBlur(small, (0, 0), 1.0)), np.float32)
    tall, wide = lab.shape[:2]
    rim = np.ones((tall, wide), bool)
    band = max(3, round(RIM * min(tall, wide)))
    rim[band:-band, band:-band] = False
    y, x = np.mgrid[-1 : 1 : tall * 1j, -1 : 1 : wide * 1j].astype(np.float32)
    # Light falls off toward the corners: a background of one tone is a quadric in Lab.
    design = np.stack([np.ones_like(x), x, y, x * y, x * x, y * y], axis=-1)
    fit = np.linalg.lstsq(design[rim], lab[rim], rcond=None)[0]
    away = np.sqrt(((lab - design @ fit) ** 2).sum(axis=-1))
    return np.asarray(away / max(float(np.quantile(away[rim], 0.9)), 0.6))


def _four_sides(unlike: NDArray[np.bool_]) -> tuple[float, Floats | None]:
    """(share in common, corners (4, 2)) of the largest thing that is no background."""
    label, count = ndimage.label(ndimage.binary_opening(unlike, iterations=2))
    if not count:
        return 0.0, None
    thing = ndimage.binary_fill_holes(label == 1 + int(np.argmax(np.bincount(label.ravel())[1:])))
    rims = (thing[0], thing[-1], thing[:, 0], thing[:, -1])
    if not LEAST < thing.mean() < MOST or any(side.any() for side in rims):
        return 0.0, None
    (line, *_), _ = cv2.findContours(thing.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    hull = cv2.convexHull(line)
    around = cv2.arcLength(hull, closed=True)
    for slack in (0.01, 0.02, 0.03, 0.05, 0.07):
        corners = cv2.approxPolyDP(hull, slack * around, closed=True)[:, 0].astype(np.float64)
        if len(corners) == 4:
            break
    else:
        return 0.0, None
    if cv2.contourArea(corners.astype(np.float32), oriented=True) < 0:
        corners = corners[::-1]
    drawn = cv2.fillConvexPoly(np.zeros(thing.shape, np.uint8), np.round(corners).astype(np.int32), 1) > 0
    return float((drawn & thing).sum() / (drawn | thing).sum()), corners


def _sharpened(corners: Floats, off: Floats) -> Floats | None:
    """Corners where straight lines through the steepest places of the four sides meet."""
    reach = max(3, round(NEAR * max(off.shape)))
    steps = np.arange(-reach, reach + 0.25, 0.25)
    lines = []
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        along = (end - start) / np.linalg.norm(end - start)
        out = np.array([along[1], -along[0]])
        on = start + np.linspace(0.06, 0.94, SAMPLES)[:, None] * (end - start)
        at = on[:, None] + steps[None, :, None] * out
        values = ndimage.map_coordinates(off, [at[..., 1], at[..., 0]], order=1, mode="nearest")
        fall = -np.diff(ndimage.gaussian_filter1d(values, 3.0, axis=1), axis=1)
        steepest = at[np.arange(SAMPLES), np.argmax(fall, axis=1)] + 0.125 * out
        lines.append(cv2.fitLine(steepest.astype(np.float32), cv2.DIST_HUBER, 0, 0.01, 0.01).ravel())
    met = []
    for one, other in zip(np.roll(lines, 1, axis=0), lines, strict=True):
        across = np.array([[one[0], -other[0]], [one[1], -other[1]]], dtype=np.float64)
        if abs(np.linalg.det(across)) < 0.1:
            return None
        met.append(one[2:] + np.linalg.solve(across, other[2:] - one[2:])[0] * one[:2])
    found = np.array(met, dtype=np.float64)
    return found if np.abs(found - corners).max() < 4 * reach else None
