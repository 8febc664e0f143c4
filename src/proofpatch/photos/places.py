"""Small places of two photos found again near where they should be, and how likely that is by chance."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[Any]
Truths = NDArray[np.bool_]

# All ours, tried on made photos; none is from a source.
AROUND = 9.0  # px over which contrast is evened out
FLOOR = 0.03  # in ln light, contrast below which nothing is made of it: a film's own noise
HALF = 12  # px, half the side of a place
REACH = 12  # px a place is sought around where it should be
NEAR = 1.5  # px a place may lie off and still agree
LIKE, APART = 0.55, 0.08  # correlation of a place found, and how much better than anywhere else near
PLACES = 400  # at most, in one picture
WORTH = 0.02  # corner strength of a place, of the strongest
TAKES = 4  # places that fix a homography


@dataclass(frozen=True)
class Agreed:
    """What places came to.

    Args:
        homography: (3, 3), after to before, fitted anew.
        places: those that agree, in before (N, 2) [px].
        tested: places that were found somewhere near at all.
        chance: log10 of the number of so good agreements to expect by chance.
        off: root mean square distance of those that agree [px].
    """

    homography: Floats
    places: Floats
    tested: int
    chance: float
    off: float


def structure(grey: Floats, within: Floats | None = None) -> Floats:
    """What is drawn on ground, of whatever tone: ln light less its mean nearby, over its spread nearby (H, W).

    Args:
        grey: linear light (H, W) [1]. within: 0 to 1, where the picture shows anything (H, W).
    """
    light = np.log(np.maximum(grey, 0.0) + 0.004).astype(np.float32)
    weight = np.ones_like(light) if within is None else np.asarray(within, np.float32)
    total = np.maximum(cv2.GaussianBlur(weight, (0, 0), AROUND), 1e-3)
    mean = cv2.GaussianBlur(light * weight, (0, 0), AROUND) / total
    away = (light - mean) * weight
    spread = np.sqrt(cv2.GaussianBlur(away**2, (0, 0), AROUND) / total)
    return np.asarray(away / (spread + FLOOR), np.float32)


def agree(before: Floats, after: Floats, start: Floats, where: Truths | None = None) -> Agreed | None:
    """Seek places of `before` in `after` near where `start` puts them, and fit a homography to those that agree.

    Args:
        before, after: linear light (H, W) [1].
        start: (3, 3), pixels of after to pixels of before, right to within `REACH` px or so.
        where: of `before`, where places may lie (H, W): away from the piece's outline, which proves nothing.

    Returns:
        None: there are too few places to say anything.

    The chance is the number of false alarms of Moisan and Stival, Int. J. Comput. Vision 57 (2004) 201–218 (from
    memory): (n - 4) C(n, k) C(k, 4) p^(k - 4), p the chance that a place at random near its own agrees.
    """
    tall, wide = before.shape
    laid = cv2.warpPerspective(np.asarray(after, np.float32), start, (wide, tall), flags=cv2.INTER_LINEAR)
    seen = cv2.warpPerspective(np.ones(after.shape, np.float32), start, (wide, tall))
    ground: Floats = (seen > 0.999).astype(np.uint8) if where is None else ((seen > 0.999) & where).astype(np.uint8)
    edge = HALF + REACH
    ground = cv2.erode(cv2.copyMakeBorder(ground, 1, 1, 1, 1, cv2.BORDER_CONSTANT), _square(HALF))[1:-1, 1:-1]
    ground[:edge], ground[-edge:], ground[:, :edge], ground[:, -edge:] = 0, 0, 0, 0
    one, other = structure(before), structure(laid, seen)
    corners = cv2.goodFeaturesToTrack(one, PLACES, WORTH, 1.5 * HALF, mask=ground, blockSize=9)
    if corners is None or len(corners) <= TAKES:
        return None
    own, found = _found(one, other, corners[:, 0])
    if len(own) <= TAKES:
        return None
    cv2.setRNGSeed(0)
    moved, _ = cv2.findHomography(found, own, cv2.USAC_MAGSAC, NEAR, maxIters=3000, confidence=0.999)
    if moved is None or abs(float(np.linalg.det(moved))) < 1e-6:
        return None
    back = cv2.perspectiveTransform(found[:, None].astype(np.float64), moved)[:, 0]
    off = np.hypot(*(back - own).T)
    near = off < NEAR
    fitted = moved @ start
    rms = float(np.sqrt(np.mean(off[near] ** 2))) if near.any() else math.inf
    return Agreed(fitted / fitted[2, 2], own[near], len(own), _chance(len(own), int(near.sum())), rms)


def _found(one: Floats, other: Floats, corners: Floats) -> tuple[Floats, Floats]:
    """(places of `one`, where they are found in `other`), those that are found plainly (N, 2) [px]."""
    own, found = [], []
    for x, y in np.round(corners).astype(int):
        patch = one[y - HALF : y + HALF + 1, x - HALF : x + HALF + 1]
        edge = HALF + REACH
        near = other[y - edge : y + edge + 1, x - edge : x + edge + 1]
        if near.std() < 1e-3:
            continue
        like = cv2.matchTemplate(near, patch, cv2.TM_CCOEFF_NORMED)
        _, best, _, (u, v) = cv2.minMaxLoc(like)
        if best < LIKE or not (0 < u < 2 * REACH and 0 < v < 2 * REACH):
            continue
        rest = like.copy()
        rest[max(0, v - 4) : v + 5, max(0, u - 4) : u + 5] = -1
        if best - rest.max() < APART:
            continue
        across, down = like[v, u - 1 : u + 2], like[v - 1 : v + 2, u]
        own.append((x, y))
        found.append((x + u - REACH + _peak(across), y + v - REACH + _peak(down)))
    return np.array(own, np.float64).reshape(-1, 2), np.array(found, np.float64).reshape(-1, 2)


def _peak(three: Floats) -> float:
    """Where the parabola through three neighbours is highest, from the middle one."""
    bend = float(three[0] - 2 * three[1] + three[2])
    return 0.0 if bend >= 0 else float(np.clip(0.5 * (three[0] - three[2]) / bend, -0.5, 0.5))


def _chance(tested: int, agreeing: int) -> float:
    if agreeing <= TAKES:
        return 0.0
    by_chance = math.pi * NEAR**2 / (2 * REACH + 1) ** 2
    return (
        math.log10(max(1, tested - TAKES)) + math.log10(math.comb(tested, agreeing))
        + math.log10(math.comb(agreeing, TAKES)) + (agreeing - TAKES) * math.log10(by_chance)
    )  # fmt: skip


def _square(half: int) -> Floats:
    return np.ones((2 * half + 1, 2 * half + 1), np.uint8)
