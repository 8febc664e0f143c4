"""Two photos of one place: where a pixel of one lies in the other, or an honest no."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from proofpatch.photos.features import guesses
from proofpatch.photos.light import luminance
from proofpatch.photos.outline import outline
from proofpatch.photos.places import Agreed, agree

Floats = NDArray[Any]
Truths = NDArray[np.bool_]

# All ours, tried on made photos; none is from a source.
LARGEST = 1400  # px, longer side of the pictures that are registered
LEVELS = (0.25, 0.5, 1.0)  # of it, at which places are sought
ENOUGH = 10  # places that agree, below which nothing is claimed
CHANCE = -5.0  # log10 of agreements by chance, from which one is believed
PLAIN = -25.0  # and from which no other way is tried
SPREAD = 0.08  # of the ground both show, the least area that agreeing places must span
SKEW = (0.1, 10.0)  # area of the after picture over the before picture
ROUGHLY, CLOSELY = 0.08, 0.015  # of a piece's size, within which its two outlines lie over each other
ASIDE = 6  # px inside an outline in which nothing counts
TOO_FEW = "Too few places match between the two photos. Use the frame, or take both from the same spot and distance."


@dataclass(frozen=True)
class Registered:
    """Where two photos show the same place.

    Args:
        homography: (3, 3), pixels of after to pixels of before.
        places: in before, that agree (N, 2) [px].
        piece: corners of the piece in before (4, 2) [px], where it stands apart from its background in both photos.
        off: root mean square distance of the places [px of before].
        by: what it was started from: "features", "outline" or "hand".
        chance: log10 of agreements as good to expect by chance.
    """

    homography: Floats
    places: Floats
    piece: Floats | None
    off: float
    by: str
    chance: float


def register(before: Floats, after: Floats, start: Floats | None = None) -> Registered | None:
    """Register `after` to `before` by what did not change between them.

    Args:
        before, after: (H, W, 3), linear sRGB.
        start: (3, 3), roughly, pixels of after to pixels of before, as tapped by hand; None: found.

    Returns:
        None: nothing that small places of both photos confirm. Features and the piece's outline only propose; what
        decides is whether places between the outlines are found again where they should be.
    """
    greys, shrunk = zip(*(_grey(picture) for picture in (before, after)), strict=True)
    pieces = [outline(picture) for picture in (before, after)]
    own, other = (_scaled(one) for one in shrunk)
    best: Agreed | None = None
    way = ""
    for by, one in _starts(greys, pieces, shrunk, None if start is None else own @ start @ np.linalg.inv(other)):
        same = _same(pieces, np.linalg.inv(own) @ one @ other, ROUGHLY)
        where = None if same is None else _inside(_moved(own, same), greys[0].shape)
        found = _refined(greys[0], greys[1], one, where)
        if found is not None and (best is None or found.chance < best.chance):
            best, way = found, by
        if best is not None and best.chance < PLAIN:
            break
    if best is None:
        return None
    full = np.linalg.inv(own) @ best.homography @ other
    piece = _same(pieces, full, CLOSELY)
    places = _moved(np.linalg.inv(own), best.places)
    return Registered(full / full[2, 2], places, piece, best.off / shrunk[0], way, best.chance)


def _same(pieces: list[Floats | None], homography: Floats, within: float) -> Floats | None:
    """Outline of the piece in before, if that in after lies over it to within a share of its size."""
    one, other = pieces
    if one is None or other is None:
        return None
    corners = _moved(homography, other)
    apart = min(float(np.abs(np.roll(corners, turn, axis=0) - one).max()) for turn in range(4))
    return one if apart < within * float(np.ptp(one, axis=0).max()) else None


def _starts(
    greys: tuple[Floats, ...], pieces: list[Floats | None], shrunk: tuple[float, ...], tapped: Floats | None
) -> Iterator[tuple[str, Floats]]:
    """(way, rough homography of the greys) to check, the likelier first; each found only when asked for."""
    if tapped is not None:
        yield "hand", tapped
        return
    for found in guesses(greys[0], greys[1]):
        if _sound(found, greys[1].shape):
            yield "features", found
    if pieces[0] is not None and pieces[1] is not None:
        one = _moved(_scaled(shrunk[0]), pieces[0]).astype(np.float32)
        other = _moved(_scaled(shrunk[1]), pieces[1]).astype(np.float32)
        for turn in (0, 1, 3, 2):
            yield "outline", cv2.getPerspectiveTransform(np.roll(other, turn, axis=0), one)


def _refined(before: Floats, after: Floats, start: Floats, where: Truths | None) -> Agreed | None:
    """What places say, from coarse to fine: of the finest level that is believed, else None.

    A ground of large soft blotches is found again in a small picture only, fine grain in a large one only.
    """
    found = None
    for level in LEVELS:
        down = _scaled(level)
        small = [cv2.resize(g, None, fx=level, fy=level, interpolation=cv2.INTER_AREA) for g in (before, after)]
        tall, wide = small[0].shape
        ground = None if where is None else cv2.resize(where.astype(np.uint8), (wide, tall)) > 0
        for _ in range(2):
            now = agree(small[0], small[1], down @ start @ np.linalg.inv(down), ground)
            if now is None or now.chance > 0 or not _sound(now.homography, small[1].shape):
                break
            start = np.linalg.inv(down) @ now.homography @ down
            if _believed(now, small[0].shape, small[1].shape, ground):
                places = _moved(np.linalg.inv(down), now.places)
                found = replace(now, homography=start / start[2, 2], places=places, off=now.off / level)
    return found


def _believed(found: Agreed, before: tuple[int, ...], after: tuple[int, ...], where: Truths | None) -> bool:
    if len(found.places) < ENOUGH or found.chance > CHANCE:
        return False
    both = cv2.warpPerspective(np.ones(after, np.uint8), found.homography, before[::-1]) > 0
    ground = both if where is None else both & where
    return bool(cv2.contourArea(cv2.convexHull(found.places.astype(np.float32))) > SPREAD * ground.sum())


def _grey(picture: Floats) -> tuple[Floats, float]:
    """(light (H, W) at most `LARGEST` long, by how much it is shrunk)."""
    shrunk = min(1.0, LARGEST / max(picture.shape[:2]))
    light = luminance(np.asarray(picture, np.float32))
    return cv2.resize(light, None, fx=shrunk, fy=shrunk, interpolation=cv2.INTER_AREA), shrunk


def _scaled(by: float) -> Floats:
    """Pixels of a picture to pixels of the same one `by` as large, (0, 0) the middle of the first."""
    return np.array([[by, 0, (by - 1) / 2], [0, by, (by - 1) / 2], [0, 0, 1.0]])


def _moved(homography: Floats, points: Floats) -> Floats:
    return np.asarray(cv2.perspectiveTransform(np.asarray(points, np.float64)[:, None], homography)[:, 0])


def _inside(corners: Floats, shape: tuple[int, ...]) -> Truths:
    drawn = cv2.fillConvexPoly(np.zeros(shape, np.uint8), np.round(corners).astype(np.int32), 1)
    return np.asarray(cv2.erode(drawn, np.ones((2 * ASIDE + 1, 2 * ASIDE + 1), np.uint8)) > 0)


def _sound(homography: Floats, shape: tuple[int, ...]) -> bool:
    """Whether the picture's corners stay a convex figure, not turned over, of a likely size."""
    tall, wide = shape[:2]
    corners = np.array([[0, 0], [wide, 0], [wide, tall], [0, tall]], np.float64)
    moved = _moved(homography, corners).astype(np.float32)
    area = cv2.contourArea(moved, oriented=True) / (tall * wide)
    return bool(np.isfinite(moved).all() and cv2.isContourConvex(moved) and SKEW[0] < area < SKEW[1])
