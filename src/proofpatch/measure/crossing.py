"""Whether an outline crosses itself or another."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

BLOCK = 256  # edges compared with all others at a time


def crossing(points: ArrayLike) -> bool:
    """Whether a closed outline meets itself anywhere but at neighbouring corners.

    Args:
        points: its corners in order (n, 2), n ≥ 3.
    """
    start = np.asarray(points, float)
    n = len(start)
    end = np.roll(start, -1, axis=0)
    if np.any(np.all(start == end, axis=1)):
        return True
    # A spike, where an edge runs back along the one before, is a crossing too.
    along, back = end - start, start - np.roll(start, 1, axis=0)
    cross = back[:, 0] * along[:, 1] - back[:, 1] * along[:, 0]
    if np.any((cross == 0) & (np.sum(along * back, axis=1) < 0)):
        return True
    for low in range(0, n, BLOCK):
        rows = np.arange(low, min(low + BLOCK, n))
        met = _meets(start[rows, None], end[rows, None], start[None], end[None])
        gap = (np.arange(n)[None] - rows[:, None]) % n
        if np.any(met & (gap > 1) & (gap < n - 1)):
            return True
    return False


def crosses(one: ArrayLike, other: ArrayLike) -> bool:
    """Whether two closed outlines meet; their corners in order (n, 2), (m, 2)."""
    a, b = np.asarray(one, float), np.asarray(other, float)
    a_end, b_end = np.roll(a, -1, axis=0), np.roll(b, -1, axis=0)
    return any(
        bool(np.any(_meets(a[low : low + BLOCK, None], a_end[low : low + BLOCK, None], b[None], b_end[None])))
        for low in range(0, len(a), BLOCK)
    )


def inside(point: Sequence[float], outline: ArrayLike) -> bool:
    """Whether a point lies inside a closed outline, by counting edges to its right."""
    x, y = point
    start = np.asarray(outline, float)
    end = np.roll(start, -1, axis=0)
    straddles = (start[:, 1] > y) != (end[:, 1] > y)
    rise = np.where(straddles, end[:, 1] - start[:, 1], 1.0)
    at = start[:, 0] + (y - start[:, 1]) * (end[:, 0] - start[:, 0]) / rise
    return bool(np.count_nonzero(straddles & (at > x)) % 2)


def _meets(
    a: NDArray[np.float64], b: NDArray[np.float64], c: NDArray[np.float64], d: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Whether the stretches ab and cd share a point; broadcasts over all but the last axis."""
    d1, d2, d3, d4 = _side(c, d, a), _side(c, d, b), _side(a, b, c), _side(a, b, d)
    proper = (d1 * d2 < 0) & (d3 * d4 < 0)
    touch = (
        ((d1 == 0) & _between(c, d, a)) | ((d2 == 0) & _between(c, d, b))
        | ((d3 == 0) & _between(a, b, c)) | ((d4 == 0) & _between(a, b, d))
    )  # fmt: skip
    return np.asarray(proper | touch, bool)


def _side(a: NDArray[np.float64], b: NDArray[np.float64], p: NDArray[np.float64]) -> NDArray[np.float64]:
    found = (b[..., 0] - a[..., 0]) * (p[..., 1] - a[..., 1]) - (b[..., 1] - a[..., 1]) * (p[..., 0] - a[..., 0])
    return np.asarray(np.sign(found), float)


def _between(a: NDArray[np.float64], b: NDArray[np.float64], p: NDArray[np.float64]) -> NDArray[np.bool_]:
    low, high = np.minimum(a, b), np.maximum(a, b)
    return np.asarray(np.all((low <= p) & (p <= high), axis=-1), bool)
