"""Toy windows for the grader: two Gaussian textures, blobs of one on the other."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from proofpatch.photos.colour import linear_of

SCALE = 8000.0  # pixels of a metre
SHAPE = (120, 160)
WHITE_PAINT = ((88.0, 0.0, 6.0), (1.0, 0.3, 0.5))
VARNISH = ((52.0, 16.0, 38.0), (4.0, 1.0, 2.0))
OAK = ((68.0, 8.0, 28.0), (4.0, 1.0, 2.0))
RUST = ((38.0, 20.0, 24.0), (5.0, 3.0, 4.0))
STEEL = ((58.0, 0.0, 1.0), (2.0, 0.3, 0.6))


def texture(rng, look, shape=SHAPE, along=1.0, grain=0.4e-3):
    """Lab picture of a ground: mean and spread, grain in m, stretched `along` the rows."""
    mean, spread = look
    noise = ndimage.gaussian_filter(rng.standard_normal(shape), (grain * SCALE * along, grain * SCALE))
    return np.asarray(mean) + (noise / noise.std())[..., None] * spread + 0.6 * rng.standard_normal((*shape, 3))


def blobs(rng, share, shape=SHAPE, size=1e-3):
    """Where coating is: `share` of the area in blobs of about `size` [m]."""
    noise = ndimage.gaussian_filter(rng.standard_normal(shape), size * SCALE)
    return noise < np.quantile(noise, share) if share > 0 else np.zeros(shape, bool)


def light(lab):
    """Linear sRGB of a Lab picture, single precision."""
    return np.clip(linear_of(lab), 0, 1).astype(np.float32)


def window(rng, bare, coated, share, tone=(0.0, 0.0, 0.0), along=1.0):
    """(picture, where coating is) of a step: coating on `share`, the rest bare with its tone shifted."""
    on = blobs(rng, share)
    lab = np.where(on[..., None], texture(rng, coated), texture(rng, bare, along=along) + np.asarray(tone))
    return light(lab), on
