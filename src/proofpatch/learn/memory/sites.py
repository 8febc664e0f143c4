"""What a job's graded patches added to its prior: one Gaussian factor a component of its mixture, small enough to keep.

In the normals y of a surface's unknowns (`learn.belief`) a site is

    exp(−½ |F y|² + g·F y),    F (rank, unknowns), g (rank,)                                                        (1)

as if r numbers u = F y had been read as g, each with error 1. Under a standard normal prior the draws of an update
have covariance C and mean m; from the directions v in which C is smaller than 1,

    F = √(1/ℓ − 1) vᵀ,    g = (v·m)/(ℓ √(1/ℓ − 1)),    ℓ the variance along v                                       (2)

so that prior times site has the moments of the draws. Few draws of many unknowns show small variances where there are
none: with γ = unknowns/draws the variances of pure noise lie within (1 ± √γ)². Directions that do not stand out are
dropped, and the variance λ seen along the others is brought back to the ℓ that looks so,

    λ = ℓ (1 + γ/(ℓ − 1))                                                                                           (3)

and kept only where patches said more than published data (LEAST_SAID): little is lost a job, and nothing is made up,
however many jobs are added.

Source: Donoho, Gavish & Johnstone, Ann. Statist. 46 (2018) 1742 (spiked covariances); sites: Minka, expectation
propagation (2001) (both from memory).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import InputError
from proofpatch.lasers import Laser
from proofpatch.learn.belief import Belief, expect_belief
from proofpatch.learn.memory.levels import Stack
from proofpatch.learn.surface import Surface
from proofpatch.learn.unknowns import latents
from proofpatch.physics.setting import finite_number

Floats = NDArray[np.float64]
MOST_RANK = 10  # directions kept of a job
LEAST_SHARE = 0.05  # of a component that is kept
SLACK = 1.15  # γ is taken this much larger, as draws of an update are not quite independent; ours (no source)
LEAST_VARIANCE = 1e-4
# |F|² of a direction kept: patches said twice as much of it as published data. Weaker ones read 0 whatever the truth is
# (on a simulated shop g² was a quarter of what it had to be where |F|² < ½), and hundreds of jobs would add that up.
LEAST_SAID = 2.0


@dataclass(frozen=True)
class Part:
    """Equation (1) of one component of a job's mixture, and the chance of that component after the patches."""

    stack: Stack
    state: str
    share: float
    reading: Floats = field(compare=False, repr=False)  # F
    read: Floats = field(compare=False, repr=False)  # g


@dataclass(frozen=True)
class Site:
    """What one job taught. laser, grader: None where there were several. weight: how much its owner lets it count."""

    surface: Surface
    parts: tuple[Part, ...]
    patches: int
    laser: str | None = None
    grader: str | None = None
    weight: float = 1.0

    def __post_init__(self) -> None:
        finite_number("weight", "The weight", self.weight, 0.0, 1.0, "")
        unknowns = len(latents(self.surface).names)
        for part in self.parts:
            if part.reading.ndim != 2 or part.reading.shape[1] != unknowns or part.read.shape != part.reading.shape[:1]:
                raise InputError("site", "What a job taught does not fit its surface.", "Work it out again.")
            if not (np.isfinite(part.reading).all() and np.isfinite(part.read).all()):
                raise InputError("site", "What a job taught holds a number that is none.", "Work it out again.")

    def weighed(self, weight: float) -> Site:
        """The same, counting by this much: 0 not at all, 1 in full."""
        return replace(self, weight=weight)


def site(belief: Belief) -> Site:
    """What the graded patches of this belief added to the prior it started from.

    Raises:
        InputError: it is no belief.
    """
    expect_belief(belief)
    table, parts = latents(belief.surface), []
    if belief.evidence:
        for c, share in enumerate(np.bincount(belief.component, belief.weight, len(table.weights))):
            if share >= LEAST_SHARE:
                drawn = belief.component == c
                reading, read = taught(belief.z[drawn], belief.weight[drawn])
                if belief.recalled is not None:
                    reading, read = _undone(reading, read, belief.recalled.mean[c], belief.recalled.root[c])
                _, stack, state = belief.surface.components()[c]
                parts.append(Part(stack, state, float(share), reading, read))
    return Site(
        belief.surface,
        tuple(parts),
        len(belief.evidence),
        _the_one(_laser(g.laser, belief) for g in belief.evidence),
        _the_one(g.grader for g in belief.evidence),
    )


def taught(z: Floats, weight: Floats) -> tuple[Floats, Floats]:
    """F (rank, unknowns) and g (rank,) of weighted draws z (draws, unknowns), standard normal before: (2) and (3)."""
    w = weight / weight.sum()
    mean = w @ z
    off = (z - mean) * np.sqrt(w)[:, None]
    # Not a matrix product: its threads and the kernels' would stall each other (`learn.update`).
    covariance = np.einsum("nk,nm->km", off, off)
    gamma = SLACK * z.shape[1] * float((w**2).sum())
    seen, along = np.linalg.eigh(covariance)
    kept = np.flatnonzero(seen < (1.0 - np.sqrt(gamma)) ** 2)[:MOST_RANK] if gamma < 1.0 else np.arange(0)
    half = 1.0 + seen[kept] - gamma
    variance = np.maximum(0.5 * (half - np.sqrt(np.maximum(half**2 - 4.0 * seen[kept], 0.0))), LEAST_VARIANCE)  # (3)
    kept, variance = kept[variance <= 1.0 / (1.0 + LEAST_SAID)], variance[variance <= 1.0 / (1.0 + LEAST_SAID)]
    stretch = np.sqrt(1.0 / variance - 1.0)
    directions = along[:, kept].T
    return np.asarray(stretch[:, None] * directions), np.asarray((directions @ mean) / (variance * stretch))


def _undone(reading: Floats, read: Floats, mean: Floats, root: Floats) -> tuple[Floats, Floats]:
    """The site on z, where y = m + A z, as a site on y: F A⁻¹ and g + F A⁻¹ m."""
    on_y: Floats = np.asarray(np.linalg.solve(root.T, reading.T).T, dtype=np.float64)
    return on_y, read + on_y @ mean


def _laser(given: Any, belief: Belief) -> str:
    if given is None:
        return belief.laser.id
    return given.id if isinstance(given, Laser) else str(given)


def _the_one(found: Iterable[str | None]) -> str | None:
    several = set(found)
    return several.pop() if len(several) == 1 else None
