"""What the head reaches of a mesh: from which directions the beam falls steeply enough with nothing in its way.

A set-up is one direction the beam comes from. It is taken as parallel and its whole line to the open air must be free,
so hollows count as out of reach rather than as reached. What no set-up reaches is finished by hand.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from proofpatch.errors import InputError
from proofpatch.measure.mesh import Floats, Mask, Mesh, Region
from proofpatch.measure.tables import instruments
from proofpatch.physics.setting import finite_number

PIXELS = 150  # across the mesh
FINER = 1.5  # samples a pixel, so that no pixel of a face stays empty
MOST_SAMPLES = 3_000_000
LEAST_GAIN = 0.01  # of the region, for which one more set-up is made (common practice, no source)
MOST_SETUPS = 26
MOST_DIRECTIONS = 200
SLICES = 8  # of the focus depth, for where it is best laid
DIRECTIONS = tuple(
    tuple(c / math.hypot(*way) for c in way) for way in product((-1, 0, 1), repeat=3) if any(way)
)  # faces, edges and corners of a cube


@dataclass(frozen=True)
class SetUp:
    """One direction the beam comes from.

    direction: from the piece to the head (3,), of length one, in the axes of the file.
    gained: area it reaches that no set-up before it did [m²].
    depth: (nearest, farthest) along the direction that is in focus [m]; None where the hand follows the face.
    """

    direction: tuple[float, float, float]
    gained: float
    depth: tuple[float, float] | None = None

    @property
    def words(self) -> str:
        """The direction by the axes of the file: "from +x +z"."""
        named = [
            f"{'+' if c > 0 else '-'}{axis}" for axis, c in zip("xyz", self.direction, strict=True) if abs(c) > 0.3
        ]
        return f"from {' '.join(named)}"


@dataclass(frozen=True, eq=False)
class Reach:
    """What the set-ups reach of a region, largest gain first.

    area: of the region [m²]. reached: what they reach of it [m²]. share: of each face of the mesh (m,) [1].
    incidence: limit used [rad].
    """

    setups: tuple[SetUp, ...]
    area: float
    reached: float
    share: Floats
    incidence: float

    @property
    def by_hand(self) -> float:
        """Share that no set-up reaches [1]."""
        return max(0.0, 1.0 - self.reached / self.area)


def incidence_limit(focus_depth: float, sweep_width: float) -> float:
    """Steepest face whose whole swept line is in focus: atan(focus depth / sweep width) [rad]; both in metres.

    Raises:
        InputError: a length that is none.
    """
    depth = finite_number("focus_depth", "The focus depth", focus_depth, 1e-5, 10, "m")
    return math.atan(depth / finite_number("sweep_width", "The sweep width", sweep_width, 1e-4, 10, "m"))


def reach(
    region: Region,
    directions: Sequence[ArrayLike] | None = None,
    incidence: float | None = None,
    focus_depth: float | None = None,
    sweep_width: float | None = None,
    follows: bool = True,
    least_gain: float = LEAST_GAIN,
) -> Reach:
    """Which set-ups reach how much of a region; each next one is the one that adds most.

    Args:
        region: of a mesh; the rest of the mesh stands in the way.
        directions: from the piece to the head (3,); None: the 26 of a cube's faces, edges and corners.
        incidence: largest angle between beam and normal [rad]; None: as the table has it.
        focus_depth: along the beam within which the spot works [m].
        sweep_width: of the line [m]; with `focus_depth` a face so steep that its line leaves the focus is out.
        follows: the hand keeps the stand-off along the face; else one set-up reaches `focus_depth` and no more.
        least_gain: share of the region for which one more set-up is made [1].

    Raises:
        InputError: a value that is none.
    """
    limit = math.radians(instruments()["head", "incidence"].value) if incidence is None else incidence
    limit = finite_number("incidence", "The incidence angle", limit, 0.01, math.radians(85), "rad")
    if focus_depth is not None and sweep_width is not None:
        limit = min(limit, incidence_limit(focus_depth, sweep_width))
    if not follows:
        focus_depth = finite_number("focus_depth", "The focus depth", focus_depth, 1e-5, 10, "m")
    least_gain = finite_number("least_gain", "The least gain", least_gain, 1e-6, 1, "")
    ways = _unit(DIRECTIONS if directions is None else directions)
    mesh = region.mesh
    points, face, weight = samples(mesh)
    first, like = thinned(mesh, points, face)
    pixel = pixel_of(mesh)
    inside = region.faces[face]
    seen = [
        _open(mesh, points[first], face[first], way, pixel)[like] & steep(mesh, way, limit)[face] & inside
        for way in ways
    ]
    left, total = inside.copy(), float(weight[inside].sum())
    found: list[SetUp] = []
    while len(found) < MOST_SETUPS:
        best = max((_gain(points, weight, left & mask, way, None if follows else focus_depth)
                    for mask, way in zip(seen, ways, strict=True)), key=lambda one: one[0].gained)  # fmt: skip
        setup, taken = best
        if setup.gained < least_gain * total:
            break
        found.append(setup)
        left &= ~taken
    covered = np.bincount(face, weight * (inside & ~left), len(mesh.faces))
    share = np.minimum(1.0, covered / mesh.areas)
    return Reach(tuple(found), region.area, float(np.sum(share * mesh.areas)), np.asarray(share, float), limit)


def _gain(
    points: Floats, weight: Floats, mask: Mask, way: Floats, focus_depth: float | None
) -> tuple[SetUp, Mask]:  # fmt: skip
    """(the set-up, what it takes) of one direction; with a focus depth, where that is best laid."""
    direction = (float(way[0]), float(way[1]), float(way[2]))
    if focus_depth is None or not mask.any():
        return SetUp(direction, float(weight[mask].sum())), mask
    depth = points @ way
    low, step = float(depth[mask].min()), focus_depth / SLICES
    slice_ = ((depth - low) / step).astype(np.int64)
    slices = np.bincount(slice_[mask], weight[mask])
    sums = np.convolve(slices, np.ones(SLICES))[SLICES - 1 :]
    first = int(np.argmax(sums))
    taken = mask & (slice_ >= first) & (slice_ < first + SLICES)
    ends = (low + first * step, low + first * step + focus_depth)
    return SetUp(direction, float(weight[taken].sum()), ends), taken


def samples(mesh: Mesh) -> tuple[Floats, NDArray[np.int64], Floats]:
    """(points (s, 3) [m], the face of each (s,), the area it stands for (s,) [m²]), closer than a pixel of the view.

    Each face is cut into n² like triangles; a point is the middle of one.
    """
    a, b, c = (mesh.vertices[mesh.faces[:, i]] for i in range(3))
    cuts = np.ceil(_longest(mesh) / (pixel_of(mesh) / FINER)).astype(np.int64)
    points, faces, weights = [], [], []
    for n in np.unique(cuts):
        which = np.flatnonzero(cuts == n)
        u, v = _middles(int(n))
        corner = a[which][:, None]
        points.append(corner + u[:, None] * (b[which][:, None] - corner) + v[:, None] * (c[which][:, None] - corner))
        faces.append(np.repeat(which, n * n))
        weights.append(np.repeat(mesh.areas[which] / (n * n), n * n))
    return np.concatenate([p.reshape(-1, 3) for p in points]), np.concatenate(faces), np.concatenate(weights)


def pixel_of(mesh: Mesh) -> float:
    """Size of a pixel of the view [m]: coarser where long slivers would ask for more samples than can be held.

    So that no pixel of a face stays empty: what is in the way must not let the beam through a hole of its own samples.
    """
    longest, pixel = _longest(mesh), mesh.size / PIXELS
    while np.sum(np.ceil(longest / pixel * FINER) ** 2) > MOST_SAMPLES + len(longest):
        pixel *= 1.3
    return pixel


def _longest(mesh: Mesh) -> Floats:
    """Longest edge of each face (m,) [m]."""
    corners = mesh.vertices[mesh.faces]
    return np.asarray(np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1), float)


def _middles(n: int) -> tuple[Floats, Floats]:
    """Barycentric places of the middles of the n² triangles one is cut into."""
    i, j = np.divmod(np.arange(n * n), n)
    # The lower left of each cell is a triangle of its own; beyond the diagonal the cell's other half is folded back.
    up = i + j < n
    u = np.where(up, i + 1 / 3, n - i - 1 / 3)
    v = np.where(up, j + 1 / 3, n - j - 1 / 3)
    return np.asarray(u / n, float), np.asarray(v / n, float)


def _axes(way: Floats) -> tuple[Floats, Floats]:
    """Two directions across the view."""
    helper = np.eye(3)[int(np.argmin(np.abs(way)))]
    across = np.cross(way, helper)
    across /= np.linalg.norm(across)
    return across, np.cross(way, across)


def thinned(mesh: Mesh, points: Floats, face: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """(samples that stand for the others, for each sample which of them): one a half pixel and octant of normals.

    A scan has a million faces smaller than a pixel; what is in the way of one is in the way of its neighbours.
    """
    cell = ((points - points.min(axis=0)) / (pixel_of(mesh) / 2)).astype(np.int64)
    wide = 2 * PIXELS + 2
    octant = (mesh.normals > 0) @ np.array([1, 2, 4])
    key = ((cell[:, 0] * wide + cell[:, 1]) * wide + cell[:, 2]) * 8 + octant[face]
    _, first, like = np.unique(key, return_index=True, return_inverse=True)
    return first, like


def steep(mesh: Mesh, way: Floats, limit: float) -> Mask:
    """Whether the beam falls steeply enough on each face (m,); where no outside is known, on either side of it."""
    cos = np.abs(mesh.normals @ way) if mesh.outward is None else mesh.outward @ way
    return np.asarray(cos >= math.cos(limit) - 1e-9, bool)


def seen_share(mesh: Mesh, way: Floats) -> Floats:
    """Share of each face (m,) that is seen along a direction of length one (3,), with nothing before it [1]."""
    points, face, weight = samples(mesh)
    first, like = thinned(mesh, points, face)
    free = _open(mesh, points[first], face[first], way, pixel_of(mesh))[like]
    return np.asarray(np.bincount(face, weight * free, len(mesh.faces)) / mesh.areas, float)


def _open(mesh: Mesh, points: Floats, face: NDArray[np.int64], way: Floats, pixel: float) -> Mask:
    """Whether nothing is nearer to the head than each sample, in its pixel.

    A buffer of the nearest depth per pixel; a sample may lie behind it by what its own slope makes of a pixel.
    """
    right, up = _axes(way)
    u, v, depth = points @ right, points @ up, points @ way
    column, row = (((x - x.min()) / pixel).astype(np.int64) for x in (u, v))
    width = int(column.max()) + 1
    at = row * width + column
    nearest = np.full(width * (int(row.max()) + 1), -np.inf)
    np.maximum.at(nearest, at, depth)
    normal = mesh.normals[face]
    slope = (np.abs(normal @ right) + np.abs(normal @ up)) / np.maximum(np.abs(normal @ way), 1e-6)
    return np.asarray(nearest[at] - depth <= pixel * (slope + 0.05), bool)


def silhouette(mesh: Mesh, direction: ArrayLike, tolerance: float | None = None) -> list[Floats]:
    """The outline of a mesh seen along a direction, thinned for drawing: closed lines (k, 2) [m], largest first.

    Args:
        direction: from the piece to the eye (3,).
        tolerance: how far the thinned line may stray [m]; None: a pixel of the view.
    """
    import cv2

    (way,) = _unit([direction])
    right, up = _axes(way)
    pixel = pixel_of(mesh)
    points, _, _ = samples(mesh)
    flat = np.stack([points @ right, points @ up], axis=1)
    corner = flat.min(axis=0) - 2 * pixel
    column, row = ((flat - corner) / pixel).astype(np.int64).T
    filled = np.zeros((int(row.max()) + 3, int(column.max()) + 3), np.uint8)
    filled[row, column] = 255
    lines, _ = cv2.findContours(filled, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    stray = 1.0 if tolerance is None else finite_number("tolerance", "The tolerance", tolerance, 1e-6, 10, "m") / pixel
    thin = [np.asarray(cv2.approxPolyDP(line, stray, True), float).reshape(-1, 2) for line in lines]
    kept = sorted((one for one in thin if len(one) > 2), key=lambda one: -np.ptp(one[:, 0]) * np.ptp(one[:, 1]))
    return [(one + 0.5) * pixel + corner for one in kept]


def _unit(ways: Any) -> list[Floats]:
    """Directions of length one.

    Raises:
        InputError: none, too many, or one that points nowhere.
    """
    try:
        found = np.asarray(ways, float)
    except (TypeError, ValueError, OverflowError):
        found = np.zeros(0)
    if found.ndim != 2 or found.shape[1:] != (3,) or not 1 <= len(found) <= MOST_DIRECTIONS:
        raise InputError("directions", "The directions are not a list of x, y and z.", "Give where the head stands.")
    length = np.linalg.norm(found, axis=1)
    if not np.all(np.isfinite(found)) or not np.all((length > 1e-9) & (length < 1e9)):
        raise InputError("directions", "A direction points nowhere.", "Give x, y and z, not all nought.")
    return list(found / length[:, None])
