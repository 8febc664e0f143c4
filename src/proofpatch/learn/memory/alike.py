"""What a job taught, in words and numbers, and which jobs were like this one.

Jobs are compared as the physics sees them: by every property of film, substrate and model on its working scale,

    d² = mean_k  E (x_k − x'_k)² / (w_k² + w'_k²)                                                                  (1)

x and x' what is known of the two, w and w' how far published data leave them open. Two untested pieces of one kind
are 1 apart; two that were found to be the same come near 0; other coatings lie farther off.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import InputError
from proofpatch.learn.belief import latents
from proofpatch.learn.memory.sites import Part, Site

Floats = NDArray[np.float64]
FAR = 9.0  # a property three spreads apart says all it can
NAMED = 3  # unknowns named in a sentence


@dataclass(frozen=True)
class Moved:
    """What a job's patches did to its belief.

    nats: information gained over published data. shifts, spreads: {(place, property): mean, sd} after the patches, in
    the units in which published data have mean 0 and sd 1.
    """

    nats: float
    shifts: dict[tuple[str, str], float]
    spreads: dict[tuple[str, str], float]

    @property
    def because(self) -> str:
        """The gain, and what moved most."""
        if not self.shifts:
            return "No patch, so nothing was learned."
        most = sorted(self.spreads, key=lambda name: self.spreads[name])[:NAMED]
        words = ", ".join(
            f"{property_name.replace('_', ' ')} ({place}) {self.shifts[place, property_name]:+.1f} with a spread of "
            f"{self.spreads[place, property_name]:.2f}"
            for place, property_name in most
        )
        return f"Learned {self.nats:.1f} nats beyond published data. Most of: {words}; in spreads of published data."


@dataclass(frozen=True)
class Alike:
    """An earlier job: its place among those given, and how far off it is (1)."""

    index: int
    distance: float


def known(part: Part) -> tuple[Floats, Floats]:
    """Mean (unknowns,) and covariance (unknowns, unknowns) of y: published data times this part."""
    # (1 + FᵀF)⁻¹ by the small side.
    small = np.linalg.inv(np.eye(len(part.read)) + part.reading @ part.reading.T)
    covariance = np.eye(part.reading.shape[1]) - part.reading.T @ small @ part.reading
    return part.reading.T @ small @ part.read, covariance


def moved(site: Site) -> Moved:
    """How far the patches of a job moved its belief: nats from published data, ½(tr C + m·m − n − ln det C)."""
    names, shares = latents(site.surface).names, [part.share for part in site.parts]
    if not site.parts:
        return Moved(0.0, {}, {})
    nats = []
    means, squares = [], []
    for part in site.parts:
        mean, covariance = known(part)
        inverse = np.linalg.slogdet(np.eye(len(part.read)) + part.reading @ part.reading.T)[1]
        nats.append(0.5 * (float(np.trace(covariance)) + float(mean @ mean) - len(mean) + float(inverse)))
        means.append(mean)
        squares.append(np.diag(covariance) + mean**2)
    weight = np.array(shares) / sum(shares)
    shift = weight @ np.array(means)
    spread = np.sqrt(weight @ np.array(squares) - shift**2)
    return Moved(
        float(weight @ nats),
        dict(zip(names, map(float, shift), strict=True)),
        dict(zip(names, map(float, spread), strict=True)),
    )


def distance(one: Site, other: Site) -> float:
    """(1), over both mixtures; infinite where the layers differ in number or nothing can be compared.

    Raises:
        InputError: a job without patches.
    """
    for job in (one, other):
        if not job.parts:
            raise InputError("site", "A job without patches is like no other.", "Grade a patch first.")
    if len(one.surface.coats) != len(other.surface.coats):
        return math.inf
    total = weight = 0.0
    for a in one.parts:
        for b in other.parts:
            share = a.share * b.share
            total += share * _apart(one, a, other, b)
            weight += share
    return math.sqrt(total / weight)


def _apart(one: Site, a: Part, other: Site, b: Part) -> float:
    mine, yours = _physical(one, a), _physical(other, b)
    terms = []
    for name in mine.keys() & yours.keys():
        (x, variance, open_by), (y, other_variance, other_open) = mine[name], yours[name]
        if open_by + other_open > 0:
            terms.append(min(((x - y) ** 2 + variance + other_variance) / (open_by + other_open), FAR))
    return float(np.mean(terms)) if terms else math.inf


def _physical(site: Site, part: Part) -> dict[tuple[str, str], tuple[float, float, float]]:
    """{(place, property): (mean, variance, variance left open by published data)} on the working scale."""
    table = latents(site.surface)
    c = [(stack, state) for _, stack, state in site.surface.components()].index((part.stack, part.state))
    mean, covariance = known(part)
    found = {}
    for k, name in enumerate(table.names):
        if np.isfinite(table.centre[c, k]):
            width = 0.5 * (table.below[c, k] + table.above[c, k])
            half = table.below[c, k] if mean[k] < 0 else table.above[c, k]
            found[name] = (
                float(table.centre[c, k] + half * mean[k]), float(width**2 * covariance[k, k]), float(width**2)
            )  # fmt: skip
    return found


def alike(site: Site, earlier: Sequence[Site], most: int = 5) -> list[Alike]:
    """The earlier jobs most like this one, the nearest first; those without patches are left out."""
    found = [Alike(i, distance(site, job)) for i, job in enumerate(earlier) if job.parts]
    return sorted((a for a in found if math.isfinite(a.distance)), key=lambda a: (a.distance, a.index))[:most]
