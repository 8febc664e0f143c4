"""Hot edges: where the sweep turns or a stroke starts, a side of the window is darker than all bands within it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from proofpatch.photos.colour import difference

Floats = NDArray[np.floating]
Truths = NDArray[np.bool_]

# All ours, tried on toy fields; none is from a source.
BAND = 1.2e-3  # m, width of an edge and of the bands it is held against
DARKER = 2.0  # CIEDE2000 by which an edge is off the middle, at least
SURE = 3.5  # times as far as bands within the window lie from each other
LEVEL = 0.8  # Lab units, by which bands differ even on an even ground
REACHES = 2.5  # bands the heat of an edge may reach inward
SHOWS = 0.25  # of a band that must be open to be judged
FEWEST = 3  # bands within


@dataclass(frozen=True)
class HotEdge:
    """One side: its name, CIEDE2000 against the middle, and where on it the ground is that dark (H, W)."""

    name: str
    by: float
    where: Truths


def band_spread(lab: Floats, places: Truths, scale: float) -> tuple[float, float]:
    """Standard deviation of L* among bands of a bare picture (H, W, 3), for bands lying across and standing."""
    size, spreads = max(2, round(BAND * scale)), []
    for axis in (0, 1):
        count = lab.shape[axis] // size
        means, shown = _bands(lab, places, axis, size, count)
        spreads.append(float(means[shown > SHOWS, 0].std()) if (shown > SHOWS).sum() > 1 else 0.0)
    return spreads[0], spreads[1]


def hot_edges(lab: Floats, places: Truths, natural: tuple[float, float], scale: float) -> list[HotEdge]:
    """The hot sides of a window's Lab picture (H, W, 3), judged on open places (H, W); `natural` as `band_spread`."""
    found = []
    for axis, names in ((1, ("left", "right")), (0, ("top", "bottom"))):
        size = max(2, round(BAND * scale))
        count = lab.shape[axis] // size
        if count < FEWEST + 2:
            continue
        means, shown = _bands(lab, places, axis, size, count)
        inner = np.flatnonzero(shown[1:-1] > SHOWS) + 1
        if len(inner) < FEWEST:
            continue
        middle = np.median(means[inner], axis=0)
        # Heat that reaches beyond an edge must not hide it: the two farthest bands are left out.
        off = np.sort(np.abs(means[inner] - middle), axis=0)[: max(len(inner) - 2, 2)]
        usual = 1.3 * np.sqrt((off**2).mean(axis=0))
        spread = float(np.hypot(max(usual[0], natural[axis]) * np.sqrt(1 + 2 / len(inner)), LEVEL))
        for name, band in zip(names, (0, count - 1), strict=True):
            change = means[band] - middle
            by = float(difference(middle, means[band]))
            if shown[band] > SHOWS and by > DARKER and -change[0] > SURE * spread:
                found.append(HotEdge(name, by, _dark_there(lab, places, axis, band, size, middle[0] + change[0] / 2)))
    return found


def _bands(lab: Floats, places: Truths, axis: int, size: int, count: int) -> tuple[Floats, Floats]:
    """(mean Lab (count, 3), share open (count,)) of bands side by side; the last one ends at the far side."""
    means, shown = np.zeros((count, 3)), np.zeros(count)
    for band in range(count):
        part = _slice(lab.shape[axis], axis, band, size, count)
        open_there = places[part]
        shown[band] = open_there.mean()
        if open_there.any():
            means[band] = lab[part][open_there].mean(axis=0)
    return means, shown


def _slice(length: int, axis: int, band: int, size: int, count: int) -> tuple[slice, ...]:
    start = length - size if band == count - 1 else band * size
    return (slice(None), slice(start, start + size))[:: 1 if axis else -1]


def _dark_there(lab: Floats, places: Truths, axis: int, band: int, size: int, level: float) -> Truths:
    where = np.zeros(places.shape, bool)
    wide = min(round(REACHES * size), lab.shape[axis])
    side = slice(0, wide) if band == 0 else slice(lab.shape[axis] - wide, None)
    part = (slice(None), side) if axis else (side, slice(None))
    where[part] = places[part] & (lab[part][..., 0] < level)
    return where
