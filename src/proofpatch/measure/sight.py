"""A mesh as it is seen from one side: for each pixel the face that is nearest to the eye."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import InputError
from proofpatch.measure.mesh import Floats, Mesh

MOST_TESTS = 40_000_000  # pixels looked at, over all faces
CHUNK = 2_000_000
MARGIN = 0.02  # of the picture's longer side, left free about the mesh
DEEPEST = 2**31 - 2


@dataclass(frozen=True, eq=False)
class Sight:
    """face: the number of the face in each pixel (rows, columns), -1 where there is none. pixel: its size [m].

    depth: towards the eye, of the same shape [m]; nought where there is none.
    """

    face: NDArray[np.int32]
    depth: NDArray[np.float32]
    pixel: float

    @property
    def size(self) -> tuple[int, int]:
        """Width and height [px]."""
        return self.face.shape[1], self.face.shape[0]

    def at(self, across: float, down: float) -> int | None:
        """The face at shares of its width and height, None where there is none."""
        column, row = min(int(across * self.size[0]), self.size[0] - 1), min(int(down * self.size[1]), self.size[1] - 1)
        found = int(self.face[max(row, 0), max(column, 0)])
        return None if found < 0 else found


def seen_from(mesh: Mesh, stance: tuple[Floats, Floats, Floats], width: int, tallest: int) -> Sight:
    """What is seen of a mesh, straight along a direction, without perspective.

    Args:
        stance: (towards the eye, right, up), each (3,), of length one and square to each other.
        width, tallest: of the picture [px]; it is as tall as it must be.

    Raises:
        InputError: so many faces lie before each other that it cannot be drawn.
    """
    eye, right, up = stance
    flat = np.stack([mesh.vertices @ right, -(mesh.vertices @ up)], axis=1)
    low, extent = flat.min(axis=0), np.ptp(flat, axis=0)
    free = 1 - 2 * MARGIN
    pixel = max(float(extent[0]) / (free * width), float(extent[1]) / (free * tallest), 1e-12)
    height = min(max(int(np.ceil(extent[1] / pixel + 2 * MARGIN * width)), 1), tallest)
    placed = (flat - low - extent / 2) / pixel + np.array([width, height]) / 2
    coarser = 1
    while _tests(placed[mesh.faces] / coarser) > MOST_TESTS:
        if coarser > 8:
            raise InputError("mesh", "The scan is too tangled to be drawn.", "Thin it before exporting.")
        coarser *= 2
    size = -(-width // coarser), -(-height // coarser)
    face, depth = _nearest(placed[mesh.faces] / coarser, (mesh.vertices @ eye)[mesh.faces], size)
    return Sight(_finer(face, coarser)[:height, :width], _finer(depth, coarser)[:height, :width], pixel)


def _finer(picture: NDArray[Any], times: int) -> NDArray[Any]:
    """Each pixel made so many by so many."""
    return np.repeat(np.repeat(picture, times, 0), times, 1)


def _boxes(corners: Floats) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """(first pixel (m, 2), how many each way (m, 2)) whose middles may lie in triangles (m, 3, 2)."""
    first = np.ceil(corners.min(axis=1) - 0.5).astype(np.int64)
    last = np.floor(corners.max(axis=1) - 0.5).astype(np.int64)
    return first, np.maximum(last - first + 1, 0)


def _tests(corners: Floats) -> int:
    return int(_boxes(corners)[1].prod(axis=1).sum())


def _nearest(
    corners: Floats, depth: Floats, size: tuple[int, int]
) -> tuple[NDArray[np.int32], NDArray[np.float32]]:  # fmt: skip
    """(the nearest face of each pixel, how near it is); corners (m, 3, 2) [px], depth (m, 3) towards the eye."""
    wide, tall = size
    first, counts = _boxes(corners)
    tests = counts.prod(axis=1)
    low, range_ = float(depth.min()), max(float(np.ptp(depth)), 1e-30)
    buffer = np.full(wide * tall, -1, np.int64)
    ends = np.cumsum(tests)
    begin = 0
    while begin < len(tests):
        done = int(ends[begin - 1]) if begin else 0
        end = max(int(np.searchsorted(ends, done + CHUNK, "right")), begin + 1)
        part = np.arange(begin, end)
        face = np.repeat(part, tests[part])
        local = np.arange(len(face)) - np.repeat(ends[part] - tests[part] - done, tests[part])
        x, y = first[face, 0] + local % counts[face, 0], first[face, 1] + local // counts[face, 0]
        inside, at = _inside(corners[face], np.stack([x, y], axis=1) + 0.5, depth[face])
        kept = inside & (x >= 0) & (x < wide) & (y >= 0) & (y < tall)
        near = ((at[kept] - low) / range_ * DEEPEST).clip(0, DEEPEST).astype(np.int64)
        np.maximum.at(buffer, y[kept] * wide + x[kept], (near << 32) | face[kept])
        begin = end
    found = np.where(buffer < 0, -1, buffer & 0xFFFFFFFF).reshape(tall, wide)
    far = np.where(buffer < 0, 0.0, low + (buffer >> 32) / DEEPEST * range_).reshape(tall, wide)
    return np.asarray(found, np.int32), np.asarray(far, np.float32)


def _inside(corners: Floats, points: Floats, depth: Floats) -> tuple[NDArray[np.bool_], Floats]:
    """(whether each point lies in its triangle, how near the triangle is there)."""
    a, b, c = (corners[:, i] for i in range(3))
    u, v, w = b - a, c - a, points - a
    twice = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    flat = np.abs(twice) < 1e-12
    twice = np.where(flat, 1.0, twice)
    second = (w[:, 0] * v[:, 1] - w[:, 1] * v[:, 0]) / twice
    third = (u[:, 0] * w[:, 1] - u[:, 1] * w[:, 0]) / twice
    one = 1 - second - third
    hit = ~flat & (second >= -1e-9) & (third >= -1e-9) & (one >= -1e-9)
    return hit, np.asarray(one * depth[:, 0] + second * depth[:, 1] + third * depth[:, 2], float)
