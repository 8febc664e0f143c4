"""Colour as the eye orders it: linear sRGB to CIELAB, and how far two colours lie apart (CIEDE2000).

All Lab here is CIELAB 1976 under D65, 2° observer. From XYZ on the conversions are scikit-image's.
Sources: IEC 61966-2-1:1999 (primaries of sRGB); CIE 15 (CIELAB); Sharma, Wu & Dalal, Color Res. Appl. 30 (2005)
21–30 (CIEDE2000).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from skimage import color

from proofpatch.photos.light import LUMINANCE

Floats = NDArray[np.floating[Any]]

WHITE = np.array([0.95047, 1.0, 1.08883])  # D65, 2°
# Linear sRGB to XYZ, as printed in IEC 61966-2-1; scikit-image's own matrix is off by up to 3e-4 from it.
TRISTIMULUS = np.array([[0.4124, 0.3576, 0.1805], LUMINANCE, [0.0193, 0.1192, 0.9505]])


def xyz_of(linear: ArrayLike) -> Floats:
    """Tristimulus values of linear sRGB (…, 3), Y of white is 1 (D65)."""
    light = np.asarray(linear)
    return np.asarray(light @ TRISTIMULUS.T.astype(light.dtype))


def lab_of(linear: ArrayLike) -> Floats:
    """CIELAB of linear sRGB (…, 3): L* 0 to 100, a* and b*. Light below none reads as none.

    Single precision stays single: a million pixels take a fifth of a second.
    """
    light = np.maximum(np.asarray(linear), 0)
    return np.asarray(color.xyz2lab(xyz_of(light), illuminant="D65", observer="2"))


def linear_of(lab: ArrayLike) -> Floats:
    """Linear sRGB of CIELAB (…, 3), not cut: a colour outside sRGB keeps values outside 0 to 1."""
    light, a, b = np.moveaxis(np.asarray(lab, dtype=np.float64), -1, 0)
    y = (light + 16) / 116
    root = np.stack([y + a / 500, y, y - b / 200], axis=-1)
    # The library's own way back cuts dark blue to none and warns; ours is CIE 15's, uncut.
    xyz = WHITE * np.where(root > 6 / 29, root**3, (root - 4 / 29) * 3 * (6 / 29) ** 2)
    return np.asarray(xyz @ np.linalg.inv(TRISTIMULUS).T)


def difference(one: ArrayLike, other: ArrayLike) -> Floats:
    """CIEDE2000 between Lab colours (…, 3), kL = kC = kH = 1; about 1 is just seen side by side."""
    a, b = np.broadcast_arrays(np.asarray(one, dtype=np.float64), np.asarray(other, dtype=np.float64))
    return np.asarray(color.deltaE_ciede2000(a, b))  # type: ignore[no-untyped-call]  # the library has no types
