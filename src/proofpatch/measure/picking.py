"""Picking parts of a scan: smooth faces grown from a tap or out of a list, and what is turned to one side.

A pick is a word: "all"; "s-top", what is turned to a side and seen from it; "f12", the smooth face about face 12;
"n12", the same taken out again. They are applied in order.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import InputError
from proofpatch.measure.mesh import Floats, Mask, Mesh
from proofpatch.measure.reach import seen_share, steep
from proofpatch.measure.sides import SIDES, stance
from proofpatch.measure.tables import instruments

MOST_PICKS = 60
MOST_LISTED = 12
CREASES = ("15°", "30°", "45°", "60°")
SEEN = 0.5  # share of a face that has to be seen for it to count as seen
FLAT = 0.999  # length of the mean normal from which a face is called flat (2.6° about it)
_PICK = re.compile(r"all|s-[a-z]{3,6}|[fn][0-9]{1,7}")


@dataclass(frozen=True)
class Smooth:
    """A smooth face: its largest triangle, area [m²], mean normal (3,); form: flat, curved or turning round."""

    seed: int
    area: float
    direction: tuple[float, float, float]
    form: str


def picked(mesh: Mesh, picks: Sequence[str], crease: float, up: str) -> Mask:
    """The faces (m,) that picks come to; none where there are no picks.

    Args:
        crease: turn that ends a smooth face [rad]. up: which way is up, as of `sides`.

    Raises:
        InputError: no such pick, or too many.
    """
    found = np.zeros(len(mesh.faces), bool)
    if len(picks) > MOST_PICKS:
        raise InputError("pick", f"There are {len(picks)} picks.", f"Give up to {MOST_PICKS}, or pick a whole side.")
    for pick in picks:
        if not _PICK.fullmatch(pick):
            raise InputError("pick", f"The pick {pick[:20]!r} is not known.", "Pick on the picture or in the list.")
        if pick == "all":
            found[:] = True
        elif pick.startswith("s-"):
            found |= turned_to(mesh, pick[2:], up)
        else:
            faces = _smooth_face(mesh, int(pick[1:]), crease)
            found = found | faces if pick[0] == "f" else found & ~faces
    return found


def tapped(picks: tuple[str, ...], face: int, mesh: Mesh, crease: float, up: str) -> tuple[str, ...]:
    """The picks after a tap on a face: a picked one is taken out again, another one taken in. Errors as `picked`."""
    if not picked(mesh, picks, crease, up)[face]:
        return (*picks, f"f{face}")
    region = _smooth_face(mesh, face, crease)
    kept = tuple(one for one in picks if one[0] not in "fn" or not region[int(one[1:])])
    return (*kept, f"n{face}") if picked(mesh, kept, crease, up)[face] else kept


def turned_to(mesh: Mesh, side: str, up: str) -> Mask:
    """Faces (m,) turned to a side by at most the table's incidence, at least half of each seen from it.

    Raises:
        InputError: as `sides.stance`.
    """
    return _turned_to(mesh, side, up)


@lru_cache(maxsize=len(SIDES))
def _turned_to(mesh: Mesh, side: str, up: str) -> Mask:
    eye, _, _ = stance(side, up)
    limit = math.radians(instruments()["head", "incidence"].value)
    return np.asarray(steep(mesh, eye, limit) & (seen_share(mesh, eye) >= SEEN), bool)


def smooth_faces(mesh: Mesh, crease: float, most: int = MOST_LISTED) -> list[Smooth]:
    """The largest smooth faces of a mesh, largest first. Errors as `Mesh.regions`."""
    count, part = _regions(mesh, crease)
    area = np.bincount(part, mesh.areas, count)
    normals = mesh.normals if mesh.outward is None else mesh.outward
    mean = np.stack([np.bincount(part, mesh.areas * normals[:, i], count) for i in range(3)], axis=1) / area[:, None]
    moment = np.stack([np.bincount(part, mesh.areas * mesh.middles[:, i], count) for i in range(3)], axis=1)
    if mesh.outward is None:
        # Of an open scan no outside is known; a face is taken to look away from the middle of the piece.
        away = np.einsum("ij,ij->i", mean, moment / area[:, None] - mesh.vertices.mean(axis=0))
        mean = mean * np.where(away < 0, -1.0, 1.0)[:, None]
    by_size = np.lexsort((-mesh.areas, part))
    seeds = by_size[np.searchsorted(part[by_size], np.arange(count))]
    found = []
    for number in np.argsort(-area, kind="stable")[:most]:
        x, y, z = (float(one) for one in mean[number])
        found.append(Smooth(int(seeds[number]), float(area[number]), (x, y, z), _form(mean[number])))
    return found


def _form(mean: Floats) -> str:
    long = float(np.linalg.norm(mean))
    return "flat" if long > FLAT else "curved" if long > SEEN else "turning round"


def _smooth_face(mesh: Mesh, face: int, crease: float) -> Mask:
    if not 0 <= face < len(mesh.faces):
        raise InputError("pick", f"The scan has no face {face}.", "Pick on the picture or in the list.")
    _, part = _regions(mesh, crease)
    return np.asarray(part == part[face], bool)


@lru_cache(maxsize=4)
def _regions(mesh: Mesh, crease: float) -> tuple[int, NDArray[np.int32]]:
    return mesh.regions(crease)
