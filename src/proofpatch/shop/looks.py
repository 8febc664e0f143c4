"""What the photos of a strip show, from their files in the shop; the last few stay in memory."""

from __future__ import annotations

import io
import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from proofpatch.errors import InputError
from proofpatch.photos.corrections import Grader
from proofpatch.photos.frame import Frame
from proofpatch.photos.grade import Seen
from proofpatch.photos.light import to_srgb
from proofpatch.photos.shot import Shot, judge, shoot, together
from proofpatch.photos.strip import Together

JPEG_QUALITY = 92
KEPT_SHOTS, KEPT_LOOKS = 4, 4  # held in memory, some 30 MB each


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


def _jpeg(linear: NDArray[np.floating], wide: int) -> bytes:
    picture = Image.fromarray((255 * to_srgb(linear) + 0.5).astype(np.uint8))
    picture.thumbnail((wide, 2 * wide), Image.Resampling.BOX)
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=JPEG_QUALITY)
    return out.getvalue()
