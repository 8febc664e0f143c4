"""What the photos of a strip show, from their files in the shop; the last few stay in memory."""

from __future__ import annotations

import io
import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from proofpatch.errors import InputError
from proofpatch.photos.colour import to_linear, to_srgb
from proofpatch.photos.corrections import Grader
from proofpatch.photos.find import find
from proofpatch.photos.flatten import flatten
from proofpatch.photos.frame import Frame
from proofpatch.photos.grade import Seen
from proofpatch.photos.pairs import Pair, lay_over
from proofpatch.photos.reading import read
from proofpatch.photos.shot import INSET, Shot, judge, shoot, together
from proofpatch.photos.strip import Together

JPEG_QUALITY = 92
KEPT_SHOTS, KEPT_LOOKS = 4, 4  # held in memory, some 30 MB each
COMPARED = 1600  # px of the longer side at which two whole photos are laid over each other


@dataclass(frozen=True)
class Look:
    """All that the photos of a strip show. troubles: by photo, why it shows nothing."""

    shots: tuple[Shot | None, ...]
    seen: tuple[Mapping[int, Seen], ...]
    steps: Mapping[int, Together]
    troubles: tuple[str, ...]


@lru_cache(maxsize=KEPT_SHOTS)
def _shot(path: str, frame: Frame, corners: str) -> Shot:
    with open(path, "rb") as file:
        return shoot(file.read(), frame, json.loads(corners))


@lru_cache(maxsize=KEPT_LOOKS)
def look_at(photos: tuple[tuple[str, str], ...], frame: Frame, taught: str) -> Look:
    """What photos show. photos: (path, corners as JSON) of each; taught: the grader as JSON."""
    shots: list[Shot | None] = []
    troubles: list[str] = []
    for path, corners in photos:
        try:
            shots.append(_shot(path, frame, corners))
            troubles.append("")
        except (InputError, OSError) as trouble:
            shots.append(None)
            troubles.append(str(trouble) if isinstance(trouble, InputError) else "The photo's file cannot be read.")
    seen = iter(judge([one for one in shots if one], Grader.of_plain(json.loads(taught))))
    each = tuple(next(seen) if one else {} for one in shots)
    return Look(tuple(shots), each, together(each), tuple(troubles))


def window_jpeg(look: Look, number: int) -> bytes | None:
    """The step's window of the first photo that shows it, as a JPEG; None: no photo does."""
    shot = next((one for one in look.shots if one and number in one.windows), None)
    if shot is None:
        return None
    return _jpeg(shot.windows[number], shot.windows[number].shape[1])


def narrow_jpeg(path: Path, wide: int) -> bytes:
    """A photo, upright, so many pixels wide. Errors as `read`."""
    picture = Image.fromarray(read(path.read_bytes()))
    out = io.BytesIO()
    picture.resize((wide, max(1, round(wide * picture.height / picture.width))), Image.Resampling.BOX).save(out, "JPEG")
    return out.getvalue()


@lru_cache(maxsize=KEPT_LOOKS)
def pair_of(before: Path, after: Path) -> Pair:
    """Two photos of one place laid over each other.

    Where both show the same sheet, its first window is compared, whose scale is known; else what both photos show.

    Raises:
        InputError: a file that is no photo.
    """
    images = [read(path.read_bytes()) for path in (before, after)]
    sheets = [_window(image) for image in images]
    if sheets[0] and sheets[1] and sheets[0][1:] == sheets[1][1:]:
        pair = lay_over(sheets[0][0], sheets[1][0], sheets[0][1])
        # Too plain to be found by what it shows: the frame alone says where it lies.
        return pair if pair.before is not None else lay_over(sheets[0][0], sheets[1][0], sheets[0][1], np.eye(3))
    small = [to_linear(_reduced(image).astype(np.float32) / 255).astype(np.float32) for image in images]
    return lay_over(small[0], small[1])


def pair_jpegs(pair: Pair, wide: int) -> tuple[bytes, bytes]:
    """Before and after of a pair that was found, so many pixels wide at most."""
    assert pair.before is not None
    assert pair.after is not None
    return _jpeg(pair.before, wide), _jpeg(pair.after, wide)


def _window(image: NDArray[np.uint8]) -> tuple[NDArray[np.floating], float, int] | None:
    """(picture of the first window, its scale, the sheet) of a photo with a sheet; None without."""
    try:
        found = find(image)
    except InputError:
        return None
    flat = flatten(image, found).flat
    return flat.part(found.frame.windows[0].box, INSET), flat.scale, found.frame.layout


def _reduced(image: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """No larger than it is looked at."""
    picture = Image.fromarray(image)
    picture.thumbnail((COMPARED, COMPARED), Image.Resampling.BOX)
    return np.asarray(picture)


def _jpeg(linear: NDArray[np.floating], wide: int) -> bytes:
    picture = Image.fromarray((255 * to_srgb(linear) + 0.5).clip(0, 255).astype(np.uint8))
    picture.thumbnail((wide, 2 * wide), Image.Resampling.BOX)
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=JPEG_QUALITY)
    return out.getvalue()
