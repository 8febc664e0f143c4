"""A triangle mesh: its areas, its regions, what is odd about it. An area is that of one side, however faces turn."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse
from scipy.sparse import csgraph

from proofpatch.errors import InputError, expect
from proofpatch.measure.figure import LEAST_AREA, MOST_AREA, Area
from proofpatch.measure.tables import instruments
from proofpatch.physics.setting import finite_number
from proofpatch.sources import Datum
from proofpatch.units import show

Floats: TypeAlias = NDArray[np.float64]
Ints: TypeAlias = NDArray[np.int64]
Mask: TypeAlias = NDArray[np.bool_]
CREASE = math.radians(30)  # a turn from face to face that ends a smooth region (common practice, no source)
FLATTEST = 1e-12  # area of a face over the square of the mesh's size, below which it is none


@dataclass(frozen=True, eq=False)
class Mesh:
    """Corners (n, 3) [m] and faces (m, 3), each of three corners, all with an area, none twice.

    shared: standard deviation of the scale's effect on an area [1]; by_tape: scaled by a length. dropped: faces without
    area; doubled: faces that lay on another.
    """

    vertices: Floats
    faces: Ints
    shared: float
    dropped: int = 0
    doubled: int = 0
    name: str = "scan"
    by_tape: bool = False

    @cached_property
    def crosses(self) -> Floats:
        """Normals as long as twice the area of their face (m, 3) [m²]."""
        a, b, c = (self.vertices[self.faces[:, i]] for i in range(3))
        return np.asarray(np.cross(b - a, c - a), float)

    @cached_property
    def areas(self) -> Floats:
        """Of each face (m,) [m²]."""
        return np.asarray(np.linalg.norm(self.crosses, axis=1) / 2, float)

    @cached_property
    def normals(self) -> Floats:
        """Of length one (m, 3), as the faces are wound."""
        return np.asarray(self.crosses / (2 * self.areas[:, None]), float)

    @cached_property
    def middles(self) -> Floats:
        """Of each face (m, 3) [m]."""
        return np.asarray(self.vertices[self.faces].mean(axis=1), float)

    @cached_property
    def size(self) -> float:
        """Diagonal of the box about it [m]."""
        return float(np.linalg.norm(np.ptp(self.vertices, axis=0)))

    @cached_property
    def neighbours(self) -> tuple[Ints, Mask, Ints]:
        """(pairs of faces that share an edge (k, 2), whether wound alike (k,), faces at each edge (e,))."""
        start = self.faces.ravel()
        end = np.roll(self.faces, -1, axis=1).ravel()
        low, high = np.minimum(start, end), np.maximum(start, end)
        order = np.lexsort((high, low))
        face = order // 3
        same = (np.diff(low[order]) == 0) & (np.diff(high[order]) == 0)
        at = np.flatnonzero(same)
        forward = (start < end)[order]
        counts = np.diff(np.flatnonzero(np.concatenate([[True], ~same, [True]])))
        return np.stack([face[at], face[at + 1]], axis=1), forward[at] != forward[at + 1], counts

    @property
    def closed(self) -> bool:
        """Whether every edge has two faces, wound alike: only then inside and outside are known."""
        _, alike, counts = self.neighbours
        return bool(np.all(counts == 2) and np.all(alike))

    @property
    def oddities(self) -> tuple[int, int, int, int, int]:
        """Edges with one face, with more than two, between faces wound unlike; faces doubled, faces dropped."""
        _, alike, counts = self.neighbours
        open_, many, flipped = (int(np.count_nonzero(x)) for x in (counts == 1, counts > 2, ~alike))
        return open_, many, flipped, self.doubled, self.dropped

    @property
    def notes(self) -> tuple[str, ...]:
        """What is odd about it, in plain words."""
        return oddity_words(self.oddities)

    @cached_property
    def outward(self) -> Floats | None:
        """Normals that point out (m, 3), or None where no inside is known. By the sign of each part's volume."""
        if not self.closed:
            return None
        count, part = self._parts(np.ones(len(self.neighbours[0]), bool))
        a, b, c = (self.vertices[self.faces[:, i]] - self.vertices[0] for i in range(3))
        volume = np.bincount(part, np.einsum("ij,ij->i", a, np.cross(b, c)), count)
        return np.asarray(self.normals * np.where(volume < 0, -1.0, 1.0)[part][:, None], float)

    def _parts(self, joined: Mask) -> tuple[int, NDArray[np.int32]]:
        """(how many, the part of each face) if neighbours hang together where `joined` says so."""
        pairs = self.neighbours[0][joined]
        graph = sparse.coo_array((np.ones(len(pairs), bool), (pairs[:, 0], pairs[:, 1])), shape=(len(self.faces),) * 2)
        count, part = csgraph.connected_components(graph, directed=False)
        return int(count), part

    def regions(self, crease: float = CREASE) -> tuple[int, NDArray[np.int32]]:
        """(how many, the region of each face (m,)): faces joined by edges that turn by at most `crease` [rad].

        Raises:
            InputError: no such angle.
        """
        crease = finite_number("crease", "The crease", crease, 0, math.pi, "rad")
        pairs, alike, _ = self.neighbours
        turn = np.einsum("ij,ij->i", self.normals[pairs[:, 0]], self.normals[pairs[:, 1]]) * np.where(alike, 1.0, -1.0)
        return self._parts(turn >= math.cos(crease) - 1e-9)

    def grown(self, seed: int, crease: float = CREASE) -> Mask:
        """Faces (m,) one reaches from a face without crossing an edge that turns by more than `crease` [rad].

        Raises:
            InputError: no such face, or no such angle.
        """
        seed = int(finite_number("seed", "The number of the face", seed, 0, len(self.faces) - 1, ""))
        _, part = self.regions(crease)
        return np.asarray(part == part[seed], bool)

    def nearest(self, point: ArrayLike) -> int:
        """The face whose middle is nearest to a point (3,) [m].

        Raises:
            InputError: it is no point.
        """
        return int(np.argmin(np.sum((self.middles - _point("point", point)) ** 2, axis=1)))

    def boxed(self, low: ArrayLike, high: ArrayLike) -> Mask:
        """Faces (m,) whose middle lies in the box between two corners (3,) [m].

        Raises:
            InputError: they are no corners, or nothing lies between them.
        """
        a, b = _point("low", low), _point("high", high)
        found = np.all((self.middles >= np.minimum(a, b)) & (self.middles <= np.maximum(a, b)), axis=1)
        if not found.any():
            raise InputError("low", "Nothing of the mesh lies in that box.", "Draw it over the piece.")
        return np.asarray(found, bool)


@dataclass(frozen=True, kw_only=True, eq=False)
class Region(Area):
    """Some faces of a mesh.

    Args:
        mesh: whose.
        picked: which (m,); None: all.
        title: what it is called.

    Raises:
        InputError: none is picked, or its area is none.
    """

    mesh: Mesh
    picked: Mask | None = None
    title: str = "whole mesh"

    def __post_init__(self) -> None:
        expect("mesh", self.mesh, Mesh, "Read it with read_mesh.")
        picked = np.ones(len(self.mesh.faces), bool) if self.picked is None else np.asarray(self.picked)
        if picked.shape != (len(self.mesh.faces),) or picked.dtype != bool:
            raise InputError("picked", "The pick is not a yes or no for each face.", "Pick by seed or by box.")
        if not picked.any():
            raise InputError("picked", "No face is picked.", "Pick at least one.")
        object.__setattr__(self, "picked", picked)
        if not LEAST_AREA <= self.area <= MOST_AREA:
            raise InputError("picked", f"The region has an area of {self.area:.3g} m².", "Check the unit and the pick.")

    @cached_property
    def area(self) -> float:
        """Developed area, one side of each face [m²]."""
        return float(np.sum(self.mesh.areas[self.faces]))

    @property
    def faces(self) -> Mask:
        """Which faces (m,)."""
        assert self.picked is not None
        return self.picked

    @property
    def own(self) -> float:
        return instruments()["scan", "roughness"].value

    @property
    def shared(self) -> float:
        return self.mesh.shared

    @property
    def instrument(self) -> str:
        return f"scan:{self.mesh.name}"

    @property
    def words(self) -> str:
        return f"{self.title} of a scan: {int(self.faces.sum())} faces, {show(self.area, 'area')}"

    @property
    def data(self) -> tuple[Datum, ...]:
        return scan_data(self.mesh.by_tape)


def oddity_words(counts: Sequence[int]) -> tuple[str, ...]:
    """What is odd about a mesh, in plain words; counts as of `Mesh.oddities`."""
    open_, many, flipped, doubled, dropped = counts
    said = [
        (open_, f"It is open: {open_} edges have one face. Holes of the scan are not in the area."),
        (many, f"{many} edges have more than two faces; every face counts once."),
        (flipped, f"At {flipped} edges faces turn opposite ways; one side of each is counted."),
        (doubled, f"{doubled} faces lay on another and are counted once."),
        (dropped, f"{dropped} faces without area were dropped."),
    ]
    return tuple(words for count, words in said if count)


def scale_spread(longest: float | None) -> float:
    """What a scan's scale makes an area unsure by [1]; longest: the side that was taped [m], None where none was."""
    if longest is None:
        return 2 * instruments()["scan", "scale"].value
    return 2 * instruments()["tape", "reading"].value / longest


def scan_data(by_tape: bool) -> tuple[Datum, ...]:
    """The table's numbers that a scan's area rests on."""
    scale = instruments()["tape", "reading"] if by_tape else instruments()["scan", "scale"]
    return (instruments()["scan", "roughness"], scale)


def clean_mesh(vertices: ArrayLike, faces: ArrayLike, shared: float = 0.0, name: str = "scan") -> Mesh:
    """A mesh of corners that lie together made one, without faces that have no area or lie on another.

    Args:
        vertices: (n, 3) [m]. faces: (m, 3), numbers of corners.

    Raises:
        InputError: nothing is left.
    """
    corners, triples = np.asarray(vertices, float), np.asarray(faces, np.int64)
    order = np.lexsort(corners.T)
    new = np.any(np.diff(corners[order], axis=0) != 0, axis=1)
    place = np.empty(len(corners), np.int64)
    place[order] = np.concatenate([[0], np.cumsum(new)])
    merged = np.empty((int(place.max()) + 1, 3))
    merged[place] = corners
    triples = place[triples]
    mesh = Mesh(merged, triples, shared)
    solid = mesh.areas > FLATTEST * mesh.size**2
    triples, dropped = triples[solid], int(np.count_nonzero(~solid))
    if not len(triples):
        raise InputError("mesh", "No face of the mesh has an area.", "Export it again as a plain triangle mesh.")
    by_corner = np.sort(triples, axis=1)
    order = np.lexsort(by_corner.T)
    again = np.concatenate([[False], np.all(np.diff(by_corner[order], axis=0) == 0, axis=1)])
    first = np.sort(order[~again])
    used, renamed = np.unique(triples[first], return_inverse=True)
    return Mesh(merged[used], renamed.reshape(-1, 3), shared, dropped, len(triples) - len(first), name)


def _point(field: str, value: Any) -> Floats:
    try:
        found = np.asarray(value, float)
    except (TypeError, ValueError, OverflowError):
        found = np.zeros(0)
    if found.shape != (3,) or not np.all(np.isfinite(found)):
        raise InputError(field, f"{field} is not a point.", "Give x, y and z in metres.")
    return found
