"""What all jobs say together, and what that is worth for a surface not yet touched.

The belief about a new surface is what published data leave open (standard normals), shifted and narrowed by every job
that shares its coating, its substrate, its laser: little at first, and only in what patches could tell.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import expect
from proofpatch.lasers import Laser
from proofpatch.learn.belief import Recalled
from proofpatch.learn.memory.fit import Fit, fit
from proofpatch.learn.memory.jobs import lay_out
from proofpatch.learn.memory.levels import Concrete, Key, concretes, layout, pair
from proofpatch.learn.memory.sites import Site
from proofpatch.learn.surface import Surface
from proofpatch.learn.unknowns import latents
from proofpatch.materials import coating, substrate

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Known:
    """How much of a surface earlier jobs have met: jobs of the pair, of its coatings, of its substrate, of all."""

    pair: int
    patches: int
    coating: int
    substrate: int
    all: int


@dataclass(frozen=True, eq=False)
class Population:
    """What was learned from `sites`. effects, scales: where each stands in `fit`."""

    sites: tuple[Site, ...]
    fit: Fit = field(repr=False)
    effects: dict[Key, int] = field(repr=False)
    scales: dict[Key, int] = field(repr=False)

    def predicted(self, concrete: Concrete) -> tuple[Floats, Floats]:
        """Mean (unknowns,) and covariance (unknowns, unknowns) of y of the next such surface.

        Pieces may be found to differ more than is taken without jobs, never less: sites read far-off pieces as nearer,
        since a likelihood is flat where a normal one falls.
        """
        found = layout(concrete)
        met = [(column, self.effects[key]) for column, key in enumerate(found.effects) if key in self.effects]
        covariance = np.eye(len(found.rest))
        mean = np.zeros(len(found.rest))
        if met:
            columns, places = (list(side) for side in zip(*met, strict=True))
            through = found.loading[:, columns]
            mean = through @ self.fit.mean[places]
            less = self.fit.covariance[np.ix_(places, places)] - np.eye(len(places))
            covariance = covariance + through @ less @ through.T
        for group, variance in zip(found.scales, found.piece, strict=True):
            if group in self.scales:
                more = max(float(self.fit.spreads[self.scales[group]]) - 1.0, 0.0)
                covariance[np.diag_indices_from(covariance)] += more * variance
        return mean, 0.5 * (covariance + covariance.T)

    def recalled(self, surface: Surface, laser: Laser | str | None = None, grader: str | None = None) -> Recalled:
        """What a belief about this surface starts from: `prior(surface, laser, memory=…)`.

        laser, grader: of the job to come; None: nobody in particular. What a grader leans is left out: it lies in what
        is said, not in what is true.
        """
        expect("surface", surface, Surface, "Build it from its layers and substrate.")
        own = laser.id if isinstance(laser, Laser) else laser
        each = [self.predicted(concrete) for concrete in concretes(surface, own, grader, leans=False)]
        return recalling(each, f"{len(self.sites)} jobs")

    def known(self, surface: Surface) -> Known:
        """What of this surface earlier jobs have met."""
        mine = {pair(stack, surface.substrate) for _, stack, _ in surface.components()}
        coats = {name for coat in surface.coats for name in coat.shares}
        found = [s for s in self.sites if s.parts and s.weight > 0]
        same = [s for s in found if mine & {pair(p.stack, s.surface.substrate) for p in s.parts}]
        return Known(
            len(same),
            sum(s.patches for s in same),
            sum(bool(coats & {name for p in s.parts for name, _, _ in p.stack}) for s in found),
            sum(s.surface.substrate == surface.substrate for s in found),
            len(found),
        )

    def narrowed(self, surface: Surface) -> float:
        """Nats known of this surface beyond published data: ½ ln of how many times smaller its normals' volume is."""
        weights = [p for p, _, _ in surface.components()]
        each = [-0.5 * np.linalg.slogdet(self.predicted(c)[1])[1] for c in concretes(surface)]
        return float(np.dot(weights, each))

    def moved(self, surface: Surface) -> tuple[float, dict[tuple[str, str], float]]:
        """How far a start on this surface lies from published data: nats, ½(tr C + m·m − n − ln det C), and the mean
        shift {(place, property): m} in spreads of published data."""
        weights = np.array([p for p, _, _ in surface.components()])
        each = [self.predicted(c) for c in concretes(surface, leans=False)]
        nats = [0.5 * (np.trace(c) + m @ m - len(m) - np.linalg.slogdet(c)[1]) for m, c in each]
        shift = weights @ np.array([m for m, _ in each])
        return float(weights @ nats), dict(zip(latents(surface).names, map(float, shift), strict=True))

    def because(self, surface: Surface) -> str:
        """What the start of a job on this surface rests on, in words."""
        known, name = self.known(surface), named(surface)
        if not known.all:
            return f"No earlier job: {name} starts from published data alone."
        if known.pair:
            return (
                f"Starts from published data and {counted(known.pair, 'earlier job')} of {name} "
                f"({counted(known.patches, 'graded patch', 'es')}), of {known.all} in all."
            )
        first = f"First job of {name} here"
        met = [
            f"{counted(n, 'job')} with {what}"
            for n, what in ((known.coating, "this coating"), (known.substrate, "this substrate"))
            if n
        ]
        if met:
            return f"{first}: it starts from published data and what {' and '.join(met)} taught."
        return f"{first}, and nothing like it yet: it starts from published data, but for what all jobs share."


def recalling(each: Sequence[tuple[Floats, Floats]], name: str) -> Recalled:
    """What starts from these (mean, covariance) of each component; its name is of what they are."""
    mean = np.stack([m for m, _ in each])
    root = np.stack([np.linalg.cholesky(c) for _, c in each])
    seal = hashlib.sha256(np.ascontiguousarray(mean).tobytes() + np.ascontiguousarray(root).tobytes())
    return Recalled(mean, root, f"{name}, {seal.hexdigest()[:16]}")


def population(sites: Sequence[Site], seed: int = 0, **sweeps: int) -> Population:
    """What these jobs say together.

    Args:
        sites: of finished jobs (`site`).
        seed: same seed and sites in the same order, same answer.
        sweeps: warm and kept, as `fit` takes them.

    Raises:
        InputError: an entry that is no site.
    """
    for each in sites:
        expect("sites", each, Site, "Make each with site(belief).")
    readings = lay_out(sites)
    found = fit(readings, seed, **sweeps)
    return Population(
        tuple(sites),
        found,
        {key: i for i, key in enumerate(readings.effects)},
        {key: i for i, key in enumerate(readings.scales)},
    )


def named(surface: Surface) -> str:
    """A surface in words: "oil varnish on oak"."""
    coats = " over ".join(" or ".join(coating(key).title.lower() for key in coat.shares) for coat in surface.coats)
    return f"{coats} on {substrate(surface.substrate).title.lower()}"


def counted(n: int, noun: str, plural: str = "s") -> str:
    """A number of things in words."""
    return f"{n} {noun}{plural if n != 1 else ''}"
