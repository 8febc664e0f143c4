"""The sides of a scan by name: which way is up in its file, and how one stands to look at each side."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from proofpatch.errors import InputError
from proofpatch.measure.mesh import Floats

UPS = ("y", "z")
# Which way is up, by kind: of GLB by its standard (glTF 2.0, §3.4); of the others common practice, no source.
UP_OF = {"glb": "y", "obj": "y", "stl": "z", "ply": "z"}
SIDES = ("front", "right", "back", "left", "top", "bottom")
# Rows right, up and front, in the axes of the file; the front is turned to whoever looks at it.
FRAMES = {
    "y": np.array([[1.0, 0, 0], [0, 1, 0], [0, 0, 1]]),
    "z": np.array([[1.0, 0, 0], [0, 0, 1], [0, -1, 0]]),
}
ALONG = 0.3  # share of a direction from which a side is named


def stance(side: str, up: str) -> tuple[Floats, Floats, Floats]:
    """(towards the eye, to the right of the picture, up in the picture), each (3,), of who looks at a side.

    Raises:
        InputError: no such side, or no such way up.
    """
    if side not in SIDES:
        raise InputError("side", f"The side {side[:20]!r} is not known.", f"Use: {', '.join(SIDES)}.")
    right, upward, front = _frame(up)
    eye, above = {
        "front": (front, upward), "back": (-front, upward), "right": (right, upward), "left": (-right, upward),
        "top": (upward, -front), "bottom": (-upward, front),
    }[side]  # fmt: skip
    return eye, np.cross(above, eye), above


def side_words(direction: ArrayLike, up: str) -> str:
    """Where somebody stands to whom a direction points from the piece: "the front, the right and above"."""
    return _named(direction, up, ("above", "below"))


def facing_words(direction: ArrayLike, up: str) -> str:
    """Where something faces that is turned that way: "the front, the right and up"."""
    return _named(direction, up, ("up", "down"))


def _named(direction: ArrayLike, up: str, upright: tuple[str, str]) -> str:
    right, upward, front = _frame(up) @ np.asarray(direction, float)
    named = [
        words[0] if share > 0 else words[1]
        for share, words in (
            (front, ("the front", "the back")), (right, ("the right", "the left")), (upward, upright),
        ) if abs(share) > ALONG
    ]  # fmt: skip
    return " and ".join(filter(None, (", ".join(named[:-1]), named[-1])))


def _frame(up: str) -> Floats:
    if up not in FRAMES:
        raise InputError("up", f"The way up {up[:20]!r} is not known.", f"Use: {', '.join(UPS)}.")
    return FRAMES[up]
