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
from proofpatch.learn.memory.sites import Part, Site
from proofpatch.learn.unknowns import latents

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
    mine, yours = _described(one), _described(other)
    return _between(mine, yours) if _comparable(one, other) else math.inf


def _comparable(one: Site, other: Site) -> bool:
    return len(one.surface.coats) == len(other.surface.coats)


@dataclass(frozen=True)
class _Described:
    """What is known of each part of a piece on the working scale; NaN where its stack has no such property.

    shares: (parts,). names: of the n properties. mean, variance, open_by: (parts, n), the last left by published data.
    """

    shares: Floats
    names: tuple[tuple[str, str], ...]
    mean: Floats
    variance: Floats
    open_by: Floats


def _described(site: Site) -> _Described:
    if not site.parts:
        raise InputError("site", "A job without patches is like no other.", "Grade a patch first.")
    table = latents(site.surface)
    components = [(stack, state) for _, stack, state in site.surface.components()]
    rows = [components.index((part.stack, part.state)) for part in site.parts]
    taught = [known(part) for part in site.parts]
    y = np.array([mean for mean, _ in taught])
    width = 0.5 * (table.below + table.above)[rows]
    half = np.where(y < 0, table.below[rows], table.above[rows])
    open_by = np.where(np.isfinite(table.centre[rows]), width**2, np.nan)
    return _Described(
        np.array([part.share for part in site.parts]), table.names, table.centre[rows] + half * y,
        open_by * np.array([np.diag(covariance) for _, covariance in taught]), open_by,
    )  # fmt: skip


def _between(mine: _Described, yours: _Described) -> float:
    """(1) of each part of the one with each of the other, by their shares."""
    both = [name for name in mine.names if name in yours.names]
    i, j = [mine.names.index(name) for name in both], [yours.names.index(name) for name in both]
    x, mine_open, mine_variance = (one[:, None, i] for one in (mine.mean, mine.open_by, mine.variance))
    y, yours_open, yours_variance = (one[None, :, j] for one in (yours.mean, yours.open_by, yours.variance))
    open_by = mine_open + yours_open
    told = open_by > 0  # not where either has no such property
    apart = np.minimum(((x - y) ** 2 + mine_variance + yours_variance) / np.where(told, open_by, 1.0), FAR)
    many = told.sum(axis=2)
    mean = np.where(many > 0, np.where(told, apart, 0.0).sum(axis=2) / np.maximum(many, 1), math.inf)
    share = mine.shares[:, None] * yours.shares
    return math.sqrt(math.fsum((share * mean).ravel()) / math.fsum(share.ravel()))


def alike(site: Site, earlier: Sequence[Site], most: int = 5) -> list[Alike]:
    """The earlier jobs most like this one, the nearest first; those without patches are left out."""
    jobs = [(i, job) for i, job in enumerate(earlier) if job.parts and _comparable(site, job)]
    if not jobs:
        return []
    mine = _described(site)
    found = [Alike(i, _between(mine, _described(job))) for i, job in jobs]
    return sorted((a for a in found if math.isfinite(a.distance)), key=lambda a: (a.distance, a.index))[:most]
