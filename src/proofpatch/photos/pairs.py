"""Before and after: the same place found again, laid over, its light matched on what did not change."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from proofpatch.errors import InputError
from proofpatch.photos.colour import difference, lab_of, to_srgb
from proofpatch.photos.tone import Tone

Floats = NDArray[Any]
Truths = NDArray[np.bool_]

# All ours, tried on toy pictures; none is from a source. The ratio test is Lowe's (Int. J. Comput. Vision 60 (2004)
# 91–110, ratio 0.8 there; from memory).
LARGEST = 1400  # px, longer side of the pictures in which features are sought
FEATURES = 4000
RATIO = 0.78
OFF = 3.0  # px, of the small picture, a match may lie off
ENOUGH, ENOUGH_SHARE = 18, 0.15  # matches that agree, and their share of all, below which nothing is claimed
SPREAD = 0.03  # of the picture, the least area the agreeing matches must span
SKEW = (0.2, 5.0)  # area of the after picture over the before picture
COMMON = 0.2  # of the before picture, the least both must show
LIGHT_CELL = 24  # cells across over which light is matched
CHANGED, SURE = 4.0, 4.0  # CIEDE2000, and times the usual difference of unchanged ground, from which a place is changed
SMEAR = 0.004  # of the longer side, over which colour is compared: grain that does not quite coincide must not count
SPECK = 4e-4  # of the picture, a changed area smaller than this is none


@dataclass(frozen=True)
class Pair:
    """Before and after laid over each other; where that failed `because` says why and the rest is None.

    Args:
        before, after: pictures (H, W, 3), linear sRGB, one pixel one place; after in the light of before.
        both: where both show the place (H, W). changed: where the ground changed (H, W).
        share: changed over what both show [1]. area: changed [m²], where the scale is known.
        tone: the changed ground, after against before.
        rest: CIEDE2000 of unchanged ground, the error of all this.
        matches: features that agree; None: laid over by its frame.
    """

    before: Floats | None
    after: Floats | None
    both: Truths | None
    changed: Truths | None
    share: float | None
    area: float | None
    tone: Tone | None
    rest: float | None
    matches: int | None
    because: str


def lay_over(before: Floats, after: Floats, scale: float | None = None, homography: Floats | None = None) -> Pair:
    """Register a photo after cleaning to the one before, and say what changed.

    Args:
        before, after: pictures (H, W, 3), linear sRGB; their sizes may differ.
        scale: pixels of a metre in `before`, where it is flattened [1/m]; None: no area in m² is told.
        homography: (3, 3) from pixels of `after` to pixels of `before`, where both show a frame; None: by features.

    Raises:
        InputError: a picture is no picture or too small.
    """
    for name, picture in (("before", before), ("after", after)):
        if picture.ndim != 3 or picture.shape[2] != 3 or min(picture.shape[:2]) < 64:
            raise InputError(name, f"The photo {name} is too small.", "Give one of at least 64 by 64 pixels.")
    matches: Floats | None = None
    if homography is None:
        found = _found(before, after)
        if isinstance(found, str):
            return _refused(found)
        homography, matches = found
    tall, wide = before.shape[:2]
    laid = cv2.warpPerspective(np.asarray(after, np.float32), homography, (wide, tall), flags=cv2.INTER_AREA)
    seen = cv2.warpPerspective(np.ones(after.shape[:2], np.float32), homography, (wide, tall)) > 0.999
    both = np.asarray(ndimage.binary_erosion(seen, iterations=2))
    if both.mean() < COMMON:
        return _refused("The two photos show too little of the same place. Take both from the same spot.")
    before = np.asarray(before, np.float32)
    laid = _light_matched(before, laid, both, matches)
    return _compared(before, laid, both, scale, None if matches is None else len(matches))


def _refused(because: str) -> Pair:
    return Pair(None, None, None, None, None, None, None, None, None, because)


def _found(before: Floats, after: Floats) -> tuple[Floats, Floats] | str:
    """(homography from after to before, agreeing places in before (N, 2) [px]), or why there is none."""
    words = "Too few places match between the two photos. Use the frame, or take both from the same spot and distance."
    grey, shrunk = zip(*(_grey(picture) for picture in (before, after)), strict=True)
    finder = cv2.SIFT.create(nfeatures=FEATURES)
    (keys_before, says_before), (keys_after, says_after) = (finder.detectAndCompute(g, None) for g in grey)
    if says_before is None or says_after is None or min(len(says_before), len(says_after)) < ENOUGH:
        return words
    pairs = cv2.BFMatcher(cv2.NORM_L2).knnMatch(says_after, says_before, k=2)
    good = [p[0] for p in pairs if len(p) == 2 and p[0].distance < RATIO * p[1].distance]
    if len(good) < ENOUGH:
        return words
    source = np.array([keys_after[m.queryIdx].pt for m in good])
    target = np.array([keys_before[m.trainIdx].pt for m in good])
    cv2.setRNGSeed(0)
    found, inside = cv2.findHomography(source, target, cv2.USAC_MAGSAC, OFF, maxIters=5000, confidence=0.999)
    if found is None:
        return words
    agree = target[inside.ravel() > 0]
    hull = cv2.contourArea(cv2.convexHull(agree.astype(np.float32))) if len(agree) > 2 else 0.0
    sound = _sound(found, grey[1].shape)
    # One place has one match: matches of repeating texture pile up on few places.
    own = len(np.unique(np.round(agree / OFF), axis=0))
    if own < ENOUGH or own < ENOUGH_SHARE * len(good) or hull < SPREAD * grey[0].size or not sound:
        return words
    full = np.diag([1 / shrunk[0], 1 / shrunk[0], 1.0]) @ found @ np.diag([shrunk[1], shrunk[1], 1.0])
    return full / full[2, 2], agree / shrunk[0]


def _grey(picture: Floats) -> tuple[NDArray[np.uint8], float]:
    """(grey bytes at most `LARGEST` long, by how much they are shrunk)."""
    shrunk = min(1.0, LARGEST / max(picture.shape[:2]))
    small = cv2.resize(np.asarray(picture, np.float32), None, fx=shrunk, fy=shrunk, interpolation=cv2.INTER_AREA)
    return (255 * to_srgb(small @ np.array([0.2126, 0.7152, 0.0722]))).astype(np.uint8), shrunk


def _sound(homography: Floats, shape: tuple[int, ...]) -> bool:
    """Whether the picture's corners stay a convex figure, not turned over, of a likely size."""
    tall, wide = shape[:2]
    corners = np.array([[0, 0], [wide, 0], [wide, tall], [0, tall]], np.float32)[:, None]
    moved = cv2.perspectiveTransform(corners, homography).astype(np.float32)
    area = cv2.contourArea(moved, oriented=True) / (tall * wide)
    return bool(cv2.isContourConvex(moved) and SKEW[0] < area < SKEW[1])


def _light_matched(before: Floats, after: Floats, both: Truths, matches: Floats | None) -> Floats:
    """After in the light of before: a plane in ln light a channel, fitted to what did not change.

    Places near agreeing features start it; then whatever departs most counts least (Tukey's biweight).
    """
    tall, wide = both.shape
    cells = (max(4, round(LIGHT_CELL * tall / wide)), LIGHT_CELL)
    held = both.astype(np.float32)
    weight = cv2.resize(held, cells[::-1], interpolation=cv2.INTER_AREA)
    small = [
        np.log(
            np.maximum(cv2.resize(p * held[..., None], cells[::-1], interpolation=cv2.INTER_AREA), 1e-5)
            / np.maximum(weight, 1e-3)[..., None]
        )
        for p in (before, after)
    ]
    ratio = (small[0] - small[1]).reshape(-1, 3)
    y, x = (g.ravel() for g in np.mgrid[-1 : 1 : cells[0] * 1j, -1 : 1 : cells[1] * 1j])
    design = np.stack([np.ones_like(x), x, y], axis=1)
    usable = np.where(weight.ravel() > 0.9, 1.0, 0.0)
    start = usable.copy()
    if matches is not None:
        where = np.zeros(cells)
        index = np.minimum((matches / [wide, tall] * cells[::-1]).astype(int), np.array(cells[::-1]) - 1)
        np.add.at(where, (index[:, 1], index[:, 0]), 1.0)
        start = usable * (0.01 + ndimage.gaussian_filter(np.minimum(where, 3.0), 0.7).ravel())
    now = start
    for _ in range(12):
        fit = np.linalg.lstsq(design * np.sqrt(now)[:, None], ratio * np.sqrt(now)[:, None], rcond=None)[0]
        off = np.abs(ratio - design @ fit).max(axis=1)
        width = max(4.685 * 1.4826 * float(np.median(off[start > 0.3] if (start > 0.3).sum() > 8 else off)), 0.03)
        now = usable * np.clip(1 - (off / width) ** 2, 0, None) ** 2 + 1e-6 * usable
    rows, columns = np.mgrid[-1 : 1 : tall * 1j, -1 : 1 : wide * 1j].astype(np.float32)
    gain = np.exp(fit[0] + columns[..., None] * fit[1] + rows[..., None] * fit[2])
    return np.asarray(after * gain, np.float32)


def _compared(before: Floats, after: Floats, both: Truths, scale: float | None, matches: int | None) -> Pair:
    smear = SMEAR * max(both.shape)
    labs = [np.asarray(lab_of(cv2.GaussianBlur(p, (0, 0), smear)), np.float32) for p in (before, after)]
    off = difference(labs[0], labs[1])
    usual = _usual(off[both])
    changed = ndimage.median_filter((both & (off > max(CHANGED, SURE * usual))).astype(np.uint8), 5) > 0
    label, _ = ndimage.label(changed)
    size = np.bincount(label.ravel())
    large = size >= SPECK * both.sum()
    large[0] = False
    changed = large[label]
    share = float(changed.sum() / both.sum())
    still = both & ~ndimage.binary_dilation(changed, iterations=max(1, round(smear)))
    rest = float(np.median(off[still])) if still.any() else None
    core = ndimage.binary_erosion(changed, iterations=max(1, round(2 * smear)))
    tone = _tone(labs[0], labs[1], core if core.any() else changed, rest or usual) if changed.any() else None
    area = None if scale is None else float(changed.sum() / scale**2)
    because = "Laid over by what both photos show." if matches is not None else "Laid over by the frame."
    return Pair(before, after, both, changed, share, area, tone, rest, matches, because)


def _usual(off: Floats) -> float:
    """The usual difference of unchanged ground: the peak of the lower half, as much may have changed."""
    return float(np.quantile(off, 0.25))


def _tone(before: Floats, after: Floats, changed: Truths, rest: float) -> Tone:
    one, other = (lab[changed].astype(np.float64).mean(axis=0) for lab in (before, after))
    step = other - one
    return Tone(float(difference(one, other)), rest, float(-step[0]), rest, float(step[2]), rest)
