"""Sites of many jobs laid side by side, as the fit reads them.

With y = Z e + b (`levels`, b ~ N(0, rest + Σ_g s_g piece_g)) a site reads u = F y as g with error 1, so

    g ~ N(F Z e, S),    S = 1 + F rest Fᵀ + Σ_g s_g V_g,    V_g = F piece_g Fᵀ                                      (1)

in which b is integrated out: a job is `rank` numbers, however many patches it had. Z is that of `levels.heard`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from proofpatch.learn.memory.levels import Concrete, Key, Layout, heard
from proofpatch.learn.memory.sites import Part, Site

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Cell:
    """Jobs of one layout. which: rows of the readings. effects: (columns,) places of its effects among all.
    reads: F Z (jobs, rank, columns)."""

    which: Whole
    effects: Whole
    reads: Floats


@dataclass(frozen=True, eq=False)
class Readings:
    """Equation (1) of every job.

    effects, scales: what the places are of. cells: F Z. read: g (jobs, rank). base: 1 + F rest Fᵀ (jobs, rank, rank).
    slots: V (jobs, groups, rank, rank). groups: (jobs, groups) the scale of each slot, −1 where there is none.
    of: (jobs,) which site each is a part of.
    """

    effects: tuple[Key, ...]
    scales: tuple[Key, ...]
    cells: tuple[Cell, ...]
    read: Floats
    base: Floats
    slots: Floats
    groups: Whole
    of: Whole

    def spread(self, scales: Floats, jobs: Whole | slice = slice(None)) -> Floats:
        """S (jobs, rank, rank) at these spreads (scales,)."""
        padded = np.append(scales, 0.0)  # a slot of −1 takes the last
        return np.asarray(
            self.base[jobs] + np.einsum("jg,jgab->jab", padded[self.groups[jobs]], self.slots[jobs], optimize=True)
        )


def lay_out(sites: Sequence[Site]) -> Readings:
    """The readings of these sites; parts of one mixture count by their chance, jobs by their owner's weight."""
    found: dict[Concrete, list[tuple[Part, float]]] = {}
    of: dict[Concrete, list[int]] = {}
    for i, each in enumerate(sites):
        for part in each.parts:
            if part.reading.size and each.weight > 0:
                concrete = Concrete(each.surface, part.stack, part.state, each.laser, each.grader)
                of.setdefault(concrete, []).append(i)
                found.setdefault(concrete, []).append((part, np.sqrt(part.share * each.weight)))
    laid = arranged([
        (
            heard(concrete),
            [w * part.reading for part, w in parts],
            [w * part.read for part, w in parts],
        )
        for concrete, parts in found.items()
    ])  # fmt: skip
    return replace(laid, of=np.array([i for each in of.values() for i in each], dtype=np.int64))


def arranged(groups: Sequence[tuple[Layout, Sequence[Floats], Sequence[Floats]]]) -> Readings:
    """The readings of jobs given as (layout, F of each, g of each)."""
    jobs = sum(len(readings) for _, readings, _ in groups)
    rank = max((len(g) for _, _, reads in groups for g in reads), default=1)
    most = max((len(found.scales) for found, _, _ in groups), default=1)
    effects: dict[Key, int] = {}
    scales: dict[Key, int] = {}
    read, base = np.zeros((jobs, rank)), np.zeros((jobs, rank, rank))
    slots, scale_of = np.zeros((jobs, most, rank, rank)), np.full((jobs, most), -1)
    cells, first = [], 0
    for found, readings, reads in groups:
        which = np.arange(first, first + len(reads))
        first += len(reads)
        padded = np.zeros((len(reads), rank, found.loading.shape[0]))
        for n, (f, g) in enumerate(zip(readings, reads, strict=True)):
            padded[n, : len(g)], read[which[n], : len(g)] = f, g
        base[which] = np.eye(rank) + _through(padded, found.rest)
        for slot, (key, variance) in enumerate(zip(found.scales, found.piece, strict=True)):
            slots[which, slot] = _through(padded, variance)
            scale_of[which, slot] = scales.setdefault(key, len(scales))
        places = np.array([effects.setdefault(key, len(effects)) for key in found.effects], dtype=np.int64)
        cells.append(Cell(which, places, padded @ found.loading))
    return Readings(tuple(effects), tuple(scales), tuple(cells), read, base, slots, scale_of, np.arange(jobs))


def _through(readings: Floats, variance: Floats) -> Floats:
    """F diag(variance) Fᵀ of each job."""
    return (readings * variance) @ readings.transpose(0, 2, 1)
