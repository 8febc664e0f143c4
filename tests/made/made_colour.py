"""Colour as the made photos need it: the sRGB curve and CIELAB, written apart from the code under test.

Sources: IEC 61966-2-1 (curve and primaries), CIE 15 (L*, a*, b*; white D65).
"""

import numpy as np

# XYZ of the sRGB primaries, rows X, Y, Z; white is their sum. IEC 61966-2-1, to four digits as printed.
TO_XYZ = np.array([(0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505)])
WHITE = TO_XYZ.sum(axis=1)
KNEE = 6 / 29  # CIE 15


def encode(linear):
    """sRGB value, 0 to 1, of linear light, 0 to 1."""
    light = np.clip(linear, 0.0, 1.0)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def decode(value):
    """Linear light of an sRGB value, 0 to 1."""
    value = np.asarray(value, dtype=float)
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def colour(red, green, blue):
    """Linear reflectance of an sRGB triple, 0 to 255."""
    return decode(np.array((red, green, blue)) / 255).astype(np.float32)


def lab(linear):
    """L*, a*, b* of linear RGB (..., 3), white 1."""
    ratio = np.asarray(linear, dtype=float) @ TO_XYZ.T / WHITE
    f = np.where(ratio > KNEE**3, np.cbrt(ratio), ratio / (3 * KNEE**2) + 4 / 29)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)


def from_lab(values):
    """Linear RGB (..., 3) of L*, a*, b*; may leave 0 to 1."""
    lightness, a, b = np.moveaxis(np.asarray(values, dtype=float), -1, 0)
    f = (lightness + 16) / 116
    f = np.stack([f + a / 500, f, f - b / 200], axis=-1)
    ratio = np.where(f > KNEE, f**3, 3 * KNEE**2 * (f - 4 / 29))
    return (ratio * WHITE) @ np.linalg.inv(TO_XYZ).T


def toned(linear, darkening, yellowing):
    """What a reflectance is multiplied by to grow darker by L* and yellower by b*; cut where a channel would vanish."""
    after = from_lab(lab(linear) + np.array((-darkening, 0.0, yellowing)))
    return (np.clip(after, 0.004, 1.0) / linear).astype(np.float32)
