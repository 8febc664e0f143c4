"""A piece seen straight from above, in linear light."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

INSET = 0.5e-3  # m, by which a window is narrowed: the cut edge and its shadow (common practice, no source)


@dataclass(frozen=True)
class Box:
    """An upright rectangle on the sheet, from its upper left corner [m]."""

    left: float
    top: float
    width: float
    height: float


@dataclass(frozen=True)
class Flat:
    """A rectified picture of the sheet with what lies in its windows.

    Args:
        linear: light of each pixel (H, W, 3), float32, sRGB primaries without the sRGB curve; the paper's white is 1.
        scale: pixels of a metre on the sheet [1/m].
    """

    linear: NDArray[np.float32]
    scale: float

    def part(self, box: Box, inset: float = 0.0) -> NDArray[np.float32]:
        """The pixels inside a box, less a border of `inset` [m], cut to the picture."""
        left, top = (box.left + inset) * self.scale, (box.top + inset) * self.scale
        right, bottom = (
            (box.left + box.width - inset) * self.scale,
            (box.top + box.height - inset) * self.scale,
        )
        rows, columns = self.linear.shape[:2]
        y = slice(max(0, round(top)), min(rows, max(0, round(bottom))))
        x = slice(max(0, round(left)), min(columns, max(0, round(right))))
        return self.linear[y, x]
