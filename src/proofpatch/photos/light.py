"""Between the code of a pixel and the light it stands for."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

# Luminance of linear sRGB, the middle row of the matrix to XYZ. Source: IEC 61966-2-1:1999, the inverse of its (7).
LUMINANCE = (0.2126, 0.7152, 0.0722)


def to_linear(code: ArrayLike) -> NDArray[np.float64]:
    """Light of an sRGB code, both 0 to 1; any shape.

        L = C / 12.92                    C ≤ 0.04045                            (1)
        L = ((C + 0.055) / 1.055)^2.4    else                                   (2)

    Source: IEC 61966-2-1:1999, (5) and (6) (section from memory).
    """
    c = np.asarray(code, dtype=float)
    return np.where(c <= 0.04045, c / 12.92, ((np.maximum(c, 0.0) + 0.055) / 1.055) ** 2.4)


def to_srgb(light: ArrayLike) -> NDArray[np.float64]:
    """The sRGB code of a light cut to 0 to 1, any shape: `to_linear` the other way.

    Source: IEC 61966-2-1:1999, (9) and (10) (section from memory).
    """
    v: NDArray[np.float64] = np.clip(np.asarray(light, dtype=float), 0.0, 1.0)
    return np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)


CODES: NDArray[np.float64] = to_linear(np.arange(256) / 255)  # light of each 8-bit code


def luminance(linear: NDArray[Any]) -> NDArray[Any]:
    """Of linear sRGB (..., 3)."""
    return np.asarray(linear @ np.asarray(LUMINANCE, dtype=linear.dtype))
