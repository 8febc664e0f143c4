"""A scan as it is seen from one side, in pencil: what is picked is ruled, what the beam does not get to is ruled twice.

The drawing is a mask over the ink colour, so one file serves light, dark and print.
"""

from __future__ import annotations

import html
import io

import cv2
import numpy as np
from PIL import Image

from proofpatch.measure.mesh import Floats, Mask, Mesh
from proofpatch.measure.sight import Sight

PITCH, STROKE = 9.0, 2.6  # px as shown, of the ruling
EDGE = 1.6  # px as shown, of a line of the piece; twice as wide about what is picked
FOLD = 0.94  # cosine between the faces of two pixels, below which a line is drawn between them (20°)
STEP = 8.0  # pixels one thing stands before another, from which a line is drawn between them
PALE, DARK, RULED = 0.06, 0.34, 0.62  # ink of what faces the light, of what is turned from it, and of a ruling


def pencil(mesh: Mesh, sight: Sight, stance: tuple[Floats, Floats, Floats], picked: Mask, left: Mask,
           sharper: float) -> bytes:  # fmt: skip
    """A grey PNG whose light is how much ink lies there.

    Args:
        stance: as `sight` was seen from. picked: faces (m,) that are picked. left: those of them the beam does not
        get to. sharper: pixels of the picture for each that is shown.
    """
    eye, right, up = stance
    there = sight.face >= 0
    face = np.where(there, sight.face, 0)
    # Which way faces are wound is not known of every scan: what is seen is turned to the eye.
    normal = mesh.normals * np.where(mesh.normals @ eye < 0, -1.0, 1.0)[:, None]
    light = eye + 0.5 * up - 0.5 * right
    dim = 1 - np.clip(normal @ light / np.linalg.norm(light), 0, 1)
    ink = np.where(there, PALE + (DARK - PALE) * dim[face], 0.0)
    chosen, missed = picked[face] & there, left[face] & there
    row, column = np.indices(there.shape)
    pitch, wide = PITCH * sharper, STROKE * sharper
    # 45° lines: the distance between them is the pitch along a diagonal.
    along, across = (row + column) % (pitch * np.sqrt(2)), (row - column) % (pitch * np.sqrt(2))
    ink = np.where(chosen, np.minimum(ink, 0.1), ink)
    ink = np.where(chosen & (along < wide * np.sqrt(2)), RULED, ink)
    ink = np.where(missed & (across < wide * np.sqrt(2)), RULED, ink)
    ink = np.maximum(ink, 0.85 * _thick(_folds(there, sight, normal), EDGE * sharper))
    ink = np.maximum(ink, _thick(_borders(chosen), 2 * EDGE * sharper))
    file = io.BytesIO()
    Image.fromarray((ink.clip(0, 1) * 255).astype(np.uint8)).save(file, "PNG")
    return file.getvalue()


def _folds(there: Mask, sight: Sight, normal: Floats) -> Mask:
    """Pixels at the rim of the piece, where two of its faces meet at an angle, and where one stands before another."""
    found = _borders(there)
    kind = normal.astype(np.float32)[np.where(there, sight.face, 0)]
    for axis in (0, 1):
        turn = np.sum(kind * np.roll(kind, 1, axis), axis=2)
        step = np.abs(sight.depth - np.roll(sight.depth, 1, axis))
        found |= ((turn < FOLD) | (step > STEP * sight.pixel)) & there & np.roll(there, 1, axis)
    return found


def _borders(mask: Mask) -> Mask:
    """The pixels of a mask beside one that is not in it."""
    inner = cv2.erode(mask.astype(np.uint8), np.ones((3, 3), np.uint8), borderType=cv2.BORDER_CONSTANT, borderValue=0)
    return np.asarray(mask & (inner == 0), bool)


def _thick(mask: Mask, wide: float) -> Floats:
    size = max(round(wide), 1)
    brush = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    return np.asarray(cv2.dilate(mask.astype(np.uint8), brush), float)


def over(size: tuple[int, int], address: str, name: str) -> str:
    """The drawing at an address for within a page, in the page's ink; name: of this one on the page."""
    wide, tall = size
    box = f'x="0" y="0" width="{wide}" height="{tall}"'
    return (
        f'<svg class="over" width="{wide}" height="{tall}" viewBox="0 0 {wide} {tall}" aria-hidden="true">'
        f'<mask id="scan-{name}" maskUnits="userSpaceOnUse" {box}><image {box} preserveAspectRatio="none" '
        f'href="{html.escape(address)}"/></mask><rect {box} fill="var(--ink)" mask="url(#scan-{name})"/></svg>'
    )  # fmt: skip
