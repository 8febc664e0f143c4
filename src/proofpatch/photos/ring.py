"""Where a patch does not fill its window: untouched coating along the window's sides is no residue of the patch."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Truths = NDArray[np.bool_]

# All ours, chosen on made photos of seed 0; none is from a source.
LEAST = 1.2e-3  # m, a narrower band is residue
WHOLE = 0.9  # share of a band that must be covered to be untouched
CLEANED = 0.9  # of the middle covered, from which no ring is told from it
OVER = 0.5e-3  # m, over which the end of a band is felt
RAGGED = 0.4e-3  # m, by which the border of a patch is ragged
DEEPEST = 0.4  # of the window
SIDES = ("top", "bottom", "left", "right")


def swept(coating: Truths, scale: float) -> tuple[slice, slice, tuple[str, ...]]:
    """(rows, columns, sides): the part of a window that was swept, and the sides along which it was not.

    Args:
        coating: where the window looks like coating (H, W).
        scale: pixels of a metre [1/m].
    """
    tall, wide = coating.shape
    middle = coating[tall // 4 : tall - tall // 4, wide // 4 : wide - wide // 4]
    inside = float(middle.mean()) if middle.size else 1.0
    ends = [0, tall, 0, wide]
    sides = []
    for n, name in enumerate(SIDES if inside < CLEANED else ()):
        turned = coating if n < 2 else coating.T
        across = turned.shape[1]
        profile = turned[:: -1 if n % 2 else 1, across // 4 : across - across // 4].mean(axis=1)
        depth = _depth(profile, inside, scale)
        if depth:
            sides.append(name)
            ends[n] += -depth if n % 2 else depth
    return slice(ends[0], ends[1]), slice(ends[2], ends[3]), tuple(sides)


def _depth(profile: NDArray[np.floating], inside: float, scale: float) -> int:
    """Pixels from a side to where the patch begins, 0 if at once; `profile` is the share covered, from the side on."""
    over = max(1, round(OVER * scale))
    smooth = np.convolve(profile, np.ones(over) / over, mode="valid")[: int(DEEPEST * len(profile))]
    low = np.flatnonzero(smooth < (WHOLE + inside) / 2)
    if not len(low):
        return 0
    end = int(low[0]) + over // 2
    if end < LEAST * scale or profile[: max(1, end - over)].mean() < WHOLE:
        return 0
    return end + round(RAGGED * scale)
