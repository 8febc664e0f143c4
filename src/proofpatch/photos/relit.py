"""One photo in the light of another of the same place, told from what did not change between them."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from proofpatch.photos.places import AROUND, structure

Floats = NDArray[Any]
Truths = NDArray[np.bool_]

# All ours, tried on made photos; none is from a source.
CELLS = 28  # across the picture
TRIES = 600
SAME = 0.05  # in ln light, a channel may lie off and still be the same ground
DRAWN = 0.15  # weight of a cell in which nothing is drawn, of one whose grain is found again
FULL = 0.9  # share of a cell that both show


def relit(before: Floats, after: Floats, both: Truths) -> tuple[Floats, Truths]:
    """`after` in the light of `before`, and the ground that tells it (H, W).

    Args:
        before, after: (H, W, 3), linear sRGB, laid over each other. both: where both show the place.

    A plane in ln light for each channel. The plane is sought that most cells fit (RANSAC), a cell whose grain is found
    again counting most: half of the place may have changed, and all of it in the same way.
    """
    tall, wide = both.shape
    cells = (max(4, round(CELLS * tall / wide)), CELLS)
    held = both.astype(np.float32)
    share = _mean(held, cells)
    ratio = np.log(_light(before, held, cells, share) / _light(after, held, cells, share)).reshape(-1, 3)
    weight = np.where(share > FULL, DRAWN + _alike(before, after, held, cells), 0.0).ravel()
    y, x = (g.ravel() for g in np.mgrid[-1 : 1 : cells[0] * 1j, -1 : 1 : cells[1] * 1j])
    design = np.stack([np.ones_like(x), x, y], axis=1)
    fit, fits = _plane(design, ratio, weight)
    rows, columns = np.mgrid[-1 : 1 : tall * 1j, -1 : 1 : wide * 1j].astype(np.float32)
    gain = np.exp(fit[0] + columns[..., None] * fit[1] + rows[..., None] * fit[2])
    still = cv2.resize(fits.reshape(cells).astype(np.uint8), (wide, tall), interpolation=cv2.INTER_NEAREST) > 0
    return np.asarray(after * gain, np.float32), both & still


def _plane(design: Floats, ratio: Floats, weight: Floats) -> tuple[Floats, Truths]:
    """(coefficients (3, 3), cells that fit)."""
    rng = np.random.default_rng(0)
    usable = np.flatnonzero(weight > 0)
    if len(usable) < 6:
        return np.concatenate([np.median(ratio, axis=0)[None], np.zeros((2, 3))]), weight > 0
    best, fits = -1.0, weight > 0
    for _ in range(TRIES):
        three = rng.choice(usable, 3, replace=False, p=weight[usable] / weight[usable].sum())
        if abs(np.linalg.det(design[three])) < 0.1:
            continue
        near = np.abs(ratio - design @ np.linalg.solve(design[three], ratio[three])).max(axis=1) < SAME
        found = float(weight[near].sum())
        if found > best:
            best, fits = found, near & (weight > 0)
    for _ in range(5):
        root = np.sqrt(weight[fits])[:, None]
        fit = np.linalg.lstsq(design[fits] * root, ratio[fits] * root, rcond=None)[0]
        near = (np.abs(ratio - design @ fit).max(axis=1) < SAME) & (weight > 0)
        if near.sum() < 6:
            break
        fits = near
    return fit, fits


def _mean(field: Floats, cells: tuple[int, int]) -> Floats:
    return np.asarray(cv2.resize(field, cells[::-1], interpolation=cv2.INTER_AREA))


def _light(picture: Floats, held: Floats, cells: tuple[int, int], share: Floats) -> Floats:
    """Mean light of each cell where both show it (h, w, 3)."""
    total = _mean(np.asarray(picture * held[..., None], np.float32), cells)
    return np.maximum(total / np.maximum(share, 1e-3)[..., None], 1e-5)


def _alike(before: Floats, after: Floats, held: Floats, cells: tuple[int, int]) -> Floats:
    """How far the grain of each cell is found again, 0 to 1: the square of the correlation, none where it is turned."""
    one, other = (structure(np.asarray(p, np.float32).mean(axis=2), held) for p in (before, after))
    common, first, second = (cv2.GaussianBlur(v, (0, 0), AROUND) for v in (one * other, one * one, other * other))
    return _mean(np.square(np.clip(common / np.sqrt(first * second + 1e-4), 0, 1)).astype(np.float32), cells)
