"""Two photos of one place laid over each other, from their files in the shop; the last few stay in memory."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from proofpatch.errors import InputError
from proofpatch.photos.find import find
from proofpatch.photos.flat import INSET
from proofpatch.photos.flatten import flatten
from proofpatch.photos.light import to_linear, to_srgb
from proofpatch.photos.pairs import Pair, lay_over
from proofpatch.photos.reading import read
from proofpatch.pictures.look import INK, PAPER

Point = tuple[float, float]  # of a picture, as shares of its width and height

JPEG_QUALITY = 92
KEPT = 4  # held in memory, some 30 MB each
COMPARED = 1600  # px of the longer side at which two whole photos are laid over each other
PLACES = 4  # tapped in each photo
FLAT = 0.01  # of the picture, the least area of a triangle of tapped places
FINGER = 1.5  # px of the page's narrow picture a tap is off, standard deviation; ours, from memory, unverified
MARK = 11  # px, radius of a mark on that picture


@lru_cache(maxsize=KEPT)
def pair_of(before: Path, after: Path, places: tuple[Point, ...] = ()) -> Pair:
    """Two photos of one place laid over each other.

    Args:
        before, after: their files.
        places: four places in before, then the same in after, as tapped; () finds them.

    Where both show the same sheet, its first window is compared, whose scale is known; else what both photos show.

    Raises:
        InputError: a file that is no photo; places of which three lie on one line.
    """
    if places:
        start = _start(places, [_reduced(path).shape[1::-1] for path in (before, after)])
        return lay_over(_light(before), _light(after), start=start)
    sheets = [_window(path) for path in (before, after)]
    if sheets[0] and sheets[1] and sheets[0][1:] == sheets[1][1:]:
        pair = lay_over(sheets[0][0], sheets[1][0], sheets[0][1])
        # Too plain to be found by what it shows: the frame alone says where it lies.
        return pair if pair.before is not None else lay_over(sheets[0][0], sheets[1][0], sheets[0][1], np.eye(3))
    return lay_over(_light(before), _light(after))


def by_length(pair: Pair, before: Path, ends: Sequence[Point], length: float, wide: int) -> tuple[Pair, float]:
    """A pair with its area, and the area's relative standard error from the taps.

    Args:
        pair: whose share is known. before: the file of the photo before.
        ends: two places tapped in it. length: between them [m]. wide: of the picture that was tapped [px].

    The photo before is taken to look straight at the place: a tilt by t spoils the area by up to 1 - cos(t).

    Raises:
        InputError: the two places are the same, or no distance is given.
    """
    assert pair.changed is not None
    size = np.array(_reduced(before).shape[1::-1])
    apart = float(np.hypot(*((np.array(ends[0]) - ends[1]) * size)))
    error = 2 * np.sqrt(2) * FINGER * size[0] / wide / max(apart, 1e-9)
    if error > 0.5:
        raise InputError("ends", "The two places lie too close together.", "Tap two that are further apart.")
    return replace(pair, area=float(pair.changed.sum() * (length / apart) ** 2)), float(error)


def pair_jpegs(pair: Pair, wide: int) -> tuple[bytes, bytes]:
    """Before and after of a pair that was found, so many pixels wide at most."""
    assert pair.before is not None
    assert pair.after is not None
    made = []
    for linear in (pair.before, pair.after):
        picture = Image.fromarray((255 * to_srgb(linear) + 0.5).astype(np.uint8))
        picture.thumbnail((wide, 2 * wide), Image.Resampling.BOX)
        made.append(_jpeg(picture))
    return made[0], made[1]


def narrowed(photo: Path, wide: int) -> tuple[int, int]:
    """Width and height of a photo drawn so many pixels wide [px]."""
    tall, whole = _reduced(photo).shape[:2]
    return wide, max(1, round(wide * tall / whole))


def marked_jpeg(photo: Path, marks: Sequence[Point], wide: int) -> bytes:
    """A photo so many pixels wide, with numbered marks where it was tapped."""
    picture = Image.fromarray(_reduced(photo)).resize(narrowed(photo, wide), Image.Resampling.BOX)
    pen, font = ImageDraw.Draw(picture), ImageFont.load_default(15)
    for number, place in enumerate(marks, 1):
        x, y = (share * side for share, side in zip(place, picture.size, strict=True))
        # The tapped place itself stays in sight, the number beside it.
        pen.ellipse((x - 4, y - 4, x + 4, y + 4), outline=PAPER, width=3)
        pen.ellipse((x - 3, y - 3, x + 3, y + 3), outline=INK, width=1)
        aside = [x + (1.4 * MARK if x < wide - 2.5 * MARK else -1.4 * MARK), y]
        aside[1] = min(max(y, MARK + 1), picture.height - MARK - 1)
        pen.ellipse((aside[0] - MARK, aside[1] - MARK, aside[0] + MARK, aside[1] + MARK), fill=PAPER, outline=INK)
        pen.text((aside[0], aside[1]), str(number), fill=INK, font=font, anchor="mm")
    return _jpeg(picture)


def _start(places: Sequence[Point], sizes: Sequence[Any]) -> NDArray[Any]:
    """(3, 3) from pixels of after to pixels of before."""
    if len(places) != 2 * PLACES:
        raise InputError("places", "Four places in each photo are needed.", "Tap them anew.")
    own, other = (np.array(part) for part in (places[:PLACES], places[PLACES:]))
    for four, which in ((own, "before"), (other, "after")):
        for left_out in range(PLACES):
            a, b, c = np.delete(four, left_out, axis=0)
            if abs((b - a)[0] * (c - a)[1] - (b - a)[1] * (c - a)[0]) / 2 < FLAT:
                problem = f"Three of the places tapped in the photo {which} lie nearly on one line."
                raise InputError("places", problem, "Tap four that span an area, such as near four corners.")
    # Shares are of the picture from edge to edge; pixels count from the middle of the first.
    shares = [(part * size - 0.5).astype(np.float32) for part, size in zip((own, other), sizes, strict=True)]
    return np.asarray(cv2.getPerspectiveTransform(shares[1], shares[0]))


def _window(path: Path) -> tuple[NDArray[np.floating], float, int] | None:
    """(picture of the first window, its scale, the sheet) of a photo with a sheet; None without."""
    image = read(path.read_bytes())
    try:
        found = find(image)
    except InputError:
        return None
    flat = flatten(image, found).flat
    return flat.part(found.frame.windows[0].box, INSET), flat.scale, found.frame.layout


@lru_cache(maxsize=2 * KEPT)
def _reduced(path: Path) -> NDArray[np.uint8]:
    """A photo, upright, no larger than it is looked at. Errors as `read`."""
    picture = Image.fromarray(read(path.read_bytes()))
    picture.thumbnail((COMPARED, COMPARED), Image.Resampling.BOX)
    return np.asarray(picture)


def _light(path: Path) -> NDArray[np.float32]:
    return to_linear(_reduced(path).astype(np.float32) / 255).astype(np.float32)


def _jpeg(picture: Image.Image) -> bytes:
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=JPEG_QUALITY)
    return out.getvalue()
