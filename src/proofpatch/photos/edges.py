"""The corners of markers to a small part of a pixel, from the straight sides between them; and how blurred they are.

Places in a photo count in pixels from the upper left corner of its first pixel: that pixel's middle is at (0.5, 0.5).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from proofpatch.photos.frame import MODULES
from proofpatch.photos.light import CODES

Floats = NDArray[np.float64]
ALONG = np.linspace(0.12, 0.88, 24)  # of a side, clear of its corners
ACROSS = np.linspace(-1.0, 1.0, 49)  # of the reach, outward
REACH = 0.8  # of a module to each side: black inside and white outside end after one
FARTHEST = 24.0  # px
PLATEAU = 0.6  # of the reach; farther out is taken as all black or all white
FAINTEST = 0.02  # light between black and white; less is no edge
FARTHEST_MOVE = 0.6  # of a module; a corner that moves more was not this side's
TURNS = 2
GAUSSIAN = 2 / np.sqrt(2 * np.pi)  # ∫ |Φ(s/σ) - step(s)| ds = σ 2/√(2π)


def refined(grey: NDArray[np.uint8], corners: Floats) -> tuple[Floats, Floats]:
    """(corners, blur) of markers.

    Args:
        grey: the photo (H, W). corners: of each marker (N, 4, 2) [px], to about two pixels; clockwise as seen.

    Returns:
        The corners where the fitted sides meet; those of a side too faint stay as they were. The standard deviation of
        a Gaussian that would blur a sharp edge as much (N,) [px], nan where no side was clear.
    """
    found = corners.astype(float)
    for _ in range(TURNS):
        start, way, outward, reach = _sides(found)
        light = _profiles(grey, start, way, outward, reach)
        black = np.median(light[..., ACROSS < -PLATEAU], axis=-1, keepdims=True)
        white = np.median(light[..., ACROSS > PLATEAU], axis=-1, keepdims=True)
        clear = np.all(white - black > FAINTEST, axis=(2, 3))
        share = (light - black) / np.maximum(white - black, FAINTEST)
        # The area under the rise places the edge, however it is blurred.
        offset = (1.0 - np.trapezoid(share, ACROSS, axis=-1)) * reach[..., None]
        foot, slope = _line(offset)
        moved = _crossings(start, way, outward, foot, slope)
        ours = clear & np.roll(clear, 1, axis=1)
        near = np.linalg.norm(moved - found, axis=-1) < FARTHEST_MOVE / REACH * reach
        found = np.where((ours & near)[..., None], moved, found)
    return found, _blur(share, foot, slope, reach, clear)


def _sides(corners: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Of each side: start, way to its end, unit vector outward (N, 4, 2), and reach (N, 4) [px]."""
    way = np.roll(corners, -1, axis=1) - corners
    outward = np.stack([way[..., 1], -way[..., 0]], axis=-1)
    outward /= np.maximum(np.linalg.norm(outward, axis=-1, keepdims=True), 1e-9)
    middle = corners + way / 2
    depth = np.abs(np.sum((np.roll(middle, -2, axis=1) - middle) * outward, axis=-1))
    return corners, way, outward, np.minimum(REACH * depth / MODULES, FARTHEST)


def _profiles(grey: NDArray[np.uint8], start: Floats, way: Floats, outward: Floats, reach: Floats) -> Floats:
    """Light across the sides (N, 4, along, across), between pixels straight-line."""
    along = start[:, :, None] + ALONG[:, None] * way[:, :, None]
    across = (reach[..., None] * ACROSS)[..., None] * outward[:, :, None]
    points = along[:, :, :, None] + across[:, :, None] - 0.5
    rows, columns = grey.shape
    x = np.clip(points[..., 0], 0, columns - 1.001)
    y = np.clip(points[..., 1], 0, rows - 1.001)
    i, j = y.astype(int), x.astype(int)
    v, u = y - i, x - j
    above = CODES[grey[i, j]] * (1 - u) + CODES[grey[i, j + 1]] * u
    below = CODES[grey[i + 1, j]] * (1 - u) + CODES[grey[i + 1, j + 1]] * u
    return np.asarray(above * (1 - v) + below * v)


def _line(offset: Floats) -> tuple[Floats, Floats]:
    """(at the start, slope along the side) of straight lines through the offsets, without those that stand out."""
    weight = np.ones_like(offset)
    for _ in range(2):
        total = weight.sum(axis=-1)
        middle = (weight * ALONG).sum(axis=-1) / total
        mean = (weight * offset).sum(axis=-1) / total
        spread = ALONG - middle[..., None]
        slope = (weight * spread * offset).sum(axis=-1) / (weight * spread**2).sum(axis=-1)
        foot = mean - slope * middle
        off = np.abs(offset - foot[..., None] - slope[..., None] * ALONG)
        weight = (off <= 0.1 + 4 * np.median(off, axis=-1, keepdims=True)).astype(float)
    return foot, slope


def _crossings(start: Floats, way: Floats, outward: Floats, foot: Floats, slope: Floats) -> Floats:
    """Where each side's line meets that of the side before it (N, 4, 2)."""
    p = start + foot[..., None] * outward
    d = way + slope[..., None] * outward
    q, e = np.roll(p, 1, axis=1), np.roll(d, 1, axis=1)
    cross = d[..., 0] * e[..., 1] - d[..., 1] * e[..., 0]
    t = ((q - p)[..., 0] * e[..., 1] - (q - p)[..., 1] * e[..., 0]) / np.where(np.abs(cross) < 1e-9, np.inf, cross)
    return p + t[..., None] * d


def _blur(share: Floats, foot: Floats, slope: Floats, reach: Floats, clear: NDArray[np.bool_]) -> Floats:
    """The median over the clear sides of a marker, of the mean rise across each."""
    # The sides were all but straight across in the last turn, so the mean rise is hardly widened.
    offset = (foot + slope * ALONG.mean()) / np.maximum(reach, 1e-9)
    step = offset[..., None] < ACROSS
    area = np.trapezoid(np.abs(share.mean(axis=2) - step), ACROSS, axis=-1) * reach
    sigma = np.where(clear, area / GAUSSIAN, np.nan)
    out = np.full(len(sigma), np.nan)
    for n, sides in enumerate(sigma):
        if np.any(np.isfinite(sides)):
            out[n] = np.nanmedian(sides)
    return out
