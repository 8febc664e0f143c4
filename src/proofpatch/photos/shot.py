"""One photo of a strip, from its file to what each window shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import InputError
from proofpatch.photos.corrections import Grader
from proofpatch.photos.find import Found, by_hand, find
from proofpatch.photos.flat import INSET, Box
from proofpatch.photos.flatten import Caution, flatten
from proofpatch.photos.frame import Frame
from proofpatch.photos.frame import corners as corners_of
from proofpatch.photos.grade import Seen, grade_steps
from proofpatch.photos.looks import Samples
from proofpatch.photos.reading import read
from proofpatch.photos.strip import Together, combine

Floats = NDArray[np.floating]


@dataclass(frozen=True)
class Shot:
    """A photo of a strip, flattened. windows: pictures of the steps by number, first 1; scale: pixels of a metre."""

    found: Found
    cautions: tuple[Caution, ...]
    windows: dict[int, Floats]
    samples: Samples
    scale: float


def shoot(content: bytes, expected: Frame, corners: Sequence[Sequence[float]] | None = None) -> Shot:
    """The windows of a photographed sheet.

    Args:
        content: of a JPEG or PNG file. expected: the sheet of this strip; another one in the photo is taken if it has
            as many windows.
        corners: of the sheet in the photo, tapped by hand, as shares of its width and height (4, 2); None: by markers.

    Raises:
        InputError: no photo, no sheet in it, or the sheet of another strip.
    """
    image = read(content)
    if corners is None:
        found = find(image)
        if found.frame.steps != expected.steps:
            said = f"This sheet has {found.frame.steps} windows, the strip has {expected.steps} steps."
            raise InputError("photo", said, "Print the sheet of this strip, or choose its photo.")
    else:
        found = by_hand(np.asarray(corners, dtype=float) * [image.shape[1], image.shape[0]], expected)
    flattened = flatten(image, found)
    flat, frame = flattened.flat, found.frame
    windows = {one.step: flat.part(one.box, INSET) for one in frame.windows if _inside(found, image, one.box)}
    samples = Samples(*(
        (flat.part(box, INSET),) if box and _inside(found, image, box) else () for box in (frame.untouched, frame.bare)
    ))  # fmt: skip
    return Shot(found, flattened.cautions, windows, samples, flat.scale)


def judge(shots: Sequence[Shot], grader: Grader | None = None) -> list[dict[int, Seen]]:
    """What each photo shows of each step it holds."""
    out = []
    for shot in shots:
        steps = sorted(shot.windows)
        seen = grade_steps([shot.windows[step] for step in steps], shot.samples, shot.scale, grader)
        out.append(dict(zip(steps, seen, strict=True)))
    return out


def together(photos: Sequence[dict[int, Seen]]) -> dict[int, Together]:
    """What all photos say of each step."""
    return {
        step: combine([photo[step] for photo in photos if step in photo])
        for step in sorted({step for photo in photos for step in photo})
    }


def _inside(found: Found, image: NDArray[np.uint8], box: Box) -> bool:
    """Whether the photo holds all of a box."""
    at = found.seen(corners_of(box))
    return bool(np.all((at >= 0) & (at <= [image.shape[1], image.shape[0]])))
