"""Pores and pits: small dark things the bare substrate has too. They are no residue; coating left in them is apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Floats = NDArray[np.floating]
Truths = NDArray[np.bool_]

# Ours, tried on toy fields; a vessel of oak is about 0.2 to 0.4 mm wide (from memory, unverified).
WIDEST = 4.0e-4  # m, of a pore across
DEEP = 4.0  # spreads of L* a pore lies below its rim, at least
LEAST_DEEP = 5.0  # Lab units of L*


@dataclass(frozen=True)
class Pores:
    """How deep a dark dent in L* must be to count as a pore, and the share of the bare sample that is one."""

    depth: float
    share: float


def dents(light: Floats, scale: float) -> Floats:
    """How far L* (H, W) lies below its surround at everything narrower than a pore; closing is grey morphology."""
    size = _across(scale)
    return np.asarray(ndimage.grey_closing(light, size=(size, size)) - light)


def _across(scale: float) -> int:
    """Pixels that no pore fills, an odd number."""
    return max(3, 2 * round(WIDEST * scale / 2) + 1)


def learn_pores(lights: Sequence[Floats], scale: float) -> Pores:
    """The pores of the bare samples' L* pictures."""
    all_dents = np.concatenate([dents(light, scale).ravel() for light in lights])
    middle = float(np.median(all_dents))
    spread = 1.4826 * float(np.median(np.abs(all_dents - middle)))
    depth = max(middle + DEEP * spread, LEAST_DEEP)
    return Pores(depth, float((all_dents > depth).mean()))


def find_pores(light: Floats, pores: Pores, scale: float) -> Truths:
    """Where a window's L* (H, W) dents like a pore, and is no part of something dark that is wider."""
    dark = light < np.median(light) - pores.depth
    core = ndimage.binary_opening(dark, structure=np.ones((_across(scale),) * 2, bool))
    wider = ndimage.binary_propagation(core, mask=dark) if core.any() else core
    return np.asarray((dents(light, scale) > pores.depth) & ~ndimage.binary_dilation(wider))
