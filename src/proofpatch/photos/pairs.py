"""Before and after: the same place found again, laid over, its light matched on what did not change."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from proofpatch.errors import InputError
from proofpatch.photos.colour import difference, lab_of
from proofpatch.photos.register import TOO_FEW, Registered, register
from proofpatch.photos.relit import relit
from proofpatch.photos.tone import Tone

Floats = NDArray[Any]
Truths = NDArray[np.bool_]

# All ours, tried on toy pictures; none is from a source.
COMMON = 0.2  # of the before picture, or of the piece in it, the least both must show
ROOM = 0.06  # of the longer side, background left around a piece
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
        matches: places that agree; None: laid over by its frame, or by nothing but taps.
        registered: how it was laid over; None: by its frame, or by nothing but taps.
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
    registered: Registered | None = None

    @property
    def piece(self) -> bool:
        """Whether share and all else are of the piece alone, which stands apart from its background."""
        return self.registered is not None and self.registered.piece is not None


def lay_over(
    before: Floats, after: Floats, scale: float | None = None, homography: Floats | None = None,
    start: Floats | None = None,
) -> Pair:  # fmt: skip
    """Register a photo after cleaning to the one before, and say what changed.

    Args:
        before, after: pictures (H, W, 3), linear sRGB; their sizes may differ.
        scale: pixels of a metre in `before`, where it is flattened [1/m]; None: no area in m² is told.
        homography: (3, 3) from pixels of `after` to pixels of `before`, where both show a frame; None: by features.
        start: such a homography, roughly, as tapped by hand. What is refined from it is measured; where nothing
            confirms it the pictures are laid over by it alone, and nothing is measured.

    Raises:
        InputError: a picture is no picture or too small.
    """
    for name, picture in (("before", before), ("after", after)):
        if picture.ndim != 3 or picture.shape[2] != 3 or min(picture.shape[:2]) < 64:
            raise InputError(name, f"The photo {name} is too small.", "Give one of at least 64 by 64 pixels.")
    found, corners, because = None, None, "Laid over by the frame, as if it lay in the same spot both times."
    if homography is None:
        found = register(before, after, start)
        if found is None and start is None:
            return _refused(TOO_FEW)
        if found is not None:
            homography, corners, because = found.homography, found.piece, _because(found)
        else:
            homography, because = start, BY_TAPS
    assert homography is not None
    tall, wide = before.shape[:2]
    before = np.asarray(before, np.float32)
    laid = cv2.warpPerspective(np.asarray(after, np.float32), homography, (wide, tall), flags=cv2.INTER_AREA)
    seen = cv2.warpPerspective(np.ones(after.shape[:2], np.float32), homography, (wide, tall)) > 0.999
    ground = np.ones((tall, wide), bool)
    if corners is not None:
        drawn = cv2.fillConvexPoly(np.zeros((tall, wide), np.uint8), np.round(corners).astype(np.int32), 1) > 0
        ground = np.asarray(ndimage.binary_erosion(drawn))
    both = np.asarray(ndimage.binary_erosion(seen, iterations=2) & ground)
    if both.sum() < COMMON * ground.sum():
        return _refused("The two photos show too little of the same place. Take both from the same spot.")
    if found is None and start is not None:
        return Pair(before, laid, both, None, None, None, None, None, None, because)
    if corners is not None:
        part = _around(corners, before.shape)
        before, laid, both = before[part], laid[part], both[part]
    return _compared(before, laid, both, scale, found, because)


BY_TAPS = "Laid over by the four places tapped. Nothing else in the photos confirms it, so nothing is measured."


def _because(found: Registered) -> str:
    """How two photos were laid over, in words."""
    how = "by what both photos show" if found.by != "hand" else "from the places tapped, then by what both photos show"
    return f"Laid over {how}: {len(found.places)} places agree to {max(found.off, 0.1):.1f} pixels."


def _refused(because: str) -> Pair:
    return Pair(None, None, None, None, None, None, None, None, None, because)


def _around(corners: Floats, shape: tuple[int, ...]) -> tuple[slice, slice]:
    """Rows and columns of a piece with some background."""
    room = ROOM * max(np.ptp(corners, axis=0))
    low = np.maximum(np.floor(corners.min(axis=0) - room), 0).astype(int)
    high = np.minimum(np.ceil(corners.max(axis=0) + room), shape[1::-1]).astype(int)
    return slice(low[1], high[1]), slice(low[0], high[0])


def _compared(
    before: Floats, after: Floats, both: Truths, scale: float | None, found: Registered | None, because: str
) -> Pair:  # fmt: skip
    after, ground = relit(before, after, both)
    smear = SMEAR * max(both.shape)
    labs = [np.asarray(lab_of(cv2.GaussianBlur(p, (0, 0), smear)), np.float32) for p in (before, after)]
    off = difference(labs[0], labs[1])
    usual = float(np.median(off[ground])) if ground.any() else float(np.quantile(off[both], 0.25))
    # Blurred, a border spreads both ways: it lies where half of the change near it is reached.
    near = ndimage.maximum_filter(off * both, 2 * round(2 * smear) + 1)
    changed = both & (off > np.maximum(max(CHANGED, SURE * usual), near / 2))
    changed = ndimage.median_filter(changed.astype(np.uint8), 5) > 0
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
    agreed = None if found is None else len(found.places)
    return Pair(before, after, both, changed, share, area, tone, rest, agreed, because, found)


def _tone(before: Floats, after: Floats, changed: Truths, rest: float) -> Tone:
    one, other = (lab[changed].astype(np.float64).mean(axis=0) for lab in (before, after))
    step = other - one
    return Tone(float(difference(one, other)), rest, float(-step[0]), rest, float(step[2]), rest)
