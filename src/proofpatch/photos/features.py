"""Rough guesses of where one photo lies in another, from features that vote for the same turn, size and place."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from proofpatch.photos.places import structure

Floats = NDArray[Any]

# All ours, tried on made photos; none is from a source. The ratio test and votes for a similarity are Lowe's (Int. J.
# Comput. Vision 60 (2004) 91–110, ratio 0.8 there; from memory): looser here, as guesses are checked elsewhere.
SIZES = (0.5, 1.0)  # of the picture, at which features are sought: at full size noise crowds out what is drawn
FEATURES = 4000
CONTRAST = 0.02  # below which a feature is none
RATIO = 0.88
MOST = 1500  # matches that vote, the plainest first
TURN, SIZE, PLACE = 20.0, 1.5, 0.04  # degrees, times, of the longer side: within which two matches vote alike
OFF = 4.0  # px a match of features may lie off
FEWEST = 5  # matches that agree, from which a guess is worth a check
GUESSES = 4


def guesses(before: Floats, after: Floats) -> Iterator[Floats]:
    """Homographies (3, 3) from pixels of `after` to pixels of `before`, the likeliest first; none may be right.

    Args:
        before, after: linear light (H, W) [1].
    """
    found = _matches(before, after)
    source, target, turn, size = found[:, :2], found[:, 2:4], found[:, 4], found[:, 5]
    if len(found) < FEWEST:
        return
    # What every match by itself would make of all others, as complex numbers: place, and size with turn.
    own, other = (p[:, 0] + 1j * p[:, 1] for p in (source, target))
    by = size * np.exp(1j * np.radians(turn))
    moved = other[:, None] + by[:, None] * (own[None] - own[:, None])
    alike = np.abs(moved - other[None]) < PLACE * max(before.shape)
    alike &= np.abs(np.log(size[:, None] / size[None])) < np.log(SIZE)
    alike &= np.abs((turn[:, None] - turn[None] + 180) % 360 - 180) < TURN
    for _ in range(GUESSES):
        best = int(np.argmax(alike.sum(axis=1)))
        chosen = alike[best].copy()
        # One place has one match: matches of repeating texture pile up on few places.
        if len(np.unique(np.round(target[chosen] / (2 * OFF)), axis=0)) < FEWEST:
            return
        cv2.setRNGSeed(0)
        fit, inside = cv2.findHomography(source[chosen], target[chosen], cv2.USAC_MAGSAC, OFF, maxIters=5000)
        if fit is not None and inside.sum() >= 2 * FEWEST:
            yield fit
        else:
            turned, _ = cv2.estimateAffinePartial2D(source[chosen], target[chosen], ransacReprojThreshold=3 * OFF)
            if turned is not None:
                yield np.vstack([turned, [0, 0, 1.0]])
        alike[:, chosen] = False
        alike[chosen] = False


def _matches(before: Floats, after: Floats) -> Floats:
    """Place in after, place in before [px], turn [deg] and size from after to before of each match (N, 6)."""
    finder, found = cv2.SIFT.create(nfeatures=FEATURES, contrastThreshold=CONTRAST), []
    for seen in (_drawn, _evened):
        pictures = [seen(g) for g in (before, after)]
        for by in SIZES:
            small = [cv2.resize(p, None, fx=by, fy=by, interpolation=cv2.INTER_AREA) for p in pictures]
            (keys_before, says_before), (keys_after, says_after) = (finder.detectAndCompute(p, None) for p in small)
            if says_before is None or says_after is None:
                continue
            for pair in cv2.BFMatcher(cv2.NORM_L2).knnMatch(says_after, says_before, k=2):
                if len(pair) < 2 or pair[0].distance > RATIO * pair[1].distance:
                    continue
                one, other = keys_after[pair[0].queryIdx], keys_before[pair[0].trainIdx]
                places = ((v + 0.5) / by - 0.5 for v in (*one.pt, *other.pt))
                plain = pair[0].distance / pair[1].distance
                found.append((plain, *places, other.angle - one.angle, other.size / one.size))
    plainest = sorted(found)[:MOST]
    return np.array(plainest, np.float64).reshape(-1, 7)[:, 1:]


def _drawn(grey: Floats) -> NDArray[np.uint8]:
    """What is drawn on the ground, as a picture."""
    return np.asarray(np.clip(128 + 50 * structure(grey), 0, 255), np.uint8)


def _evened(grey: Floats) -> NDArray[np.uint8]:
    """Tone with its contrast evened out, larger things than `_drawn` keeps."""
    light = (255 * np.sqrt(np.clip(grey, 0, 1))).astype(np.uint8)
    return np.asarray(cv2.createCLAHE(4.0, (8, 8)).apply(light))
