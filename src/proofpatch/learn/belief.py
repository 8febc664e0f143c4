"""Belief about one surface: weighted draws of everything unknown (`learn.unknowns`), on which the physics can run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from proofpatch.errors import InputError, expect
from proofpatch.lasers import Laser
from proofpatch.lasers import laser as find_laser
from proofpatch.learn.evidence import Graded
from proofpatch.learn.kernels import outcomes
from proofpatch.learn.limits import Hand, Limits
from proofpatch.learn.surface import Surface
from proofpatch.learn.unknowns import concrete, latents, typical
from proofpatch.sources import Datum

Floats = NDArray[np.float64]
DRAWS = 2048
LEAST_DRAWS, MOST_DRAWS = 16, 2**17


@dataclass(frozen=True)
class Recalled:
    """What earlier jobs say of a surface's unknowns: where published data alone would draw z, it draws m + A z.

    mean: m (components, unknowns). root: A (components, unknowns, unknowns). name: of what it rests on; two of one
    name are the same.
    """

    mean: Floats = field(compare=False, repr=False)
    root: Floats = field(compare=False, repr=False)
    name: str

    def normals(self, component: NDArray[np.int64], z: Floats) -> Floats:
        """m + A z of each draw (draws, unknowns)."""
        found = np.empty_like(z)
        for c in np.unique(component):
            drawn = component == c
            found[drawn] = self.mean[c] + np.einsum("nk,mk->nm", z[drawn], self.root[c])
        return found


@dataclass(frozen=True, eq=False)
class Belief:
    """Weighted draws of one surface, with what they rest on. Nothing in it changes; an update makes another.

    z: (draws, unknowns) standard normals under the prior. component: (draws,) which mixture component. recalled: what
    earlier jobs add to the published data, or None.
    weight: (draws,) adding to 1. evidence: sorted. trace: effective sample size at each tempering step.
    """

    surface: Surface
    laser: Laser
    hand: Hand
    seed: int
    z: Floats
    component: NDArray[np.int64]
    weight: Floats
    evidence: tuple[Graded, ...] = ()
    trace: tuple[float, ...] = ()
    log_evidence: float = 0.0
    recalled: Recalled | None = None
    layer: Floats = field(init=False, repr=False)
    substrate: Floats = field(init=False, repr=False)

    def __post_init__(self) -> None:
        layer, sub = self.concrete(self.component, self.z)
        object.__setattr__(self, "layer", layer)
        object.__setattr__(self, "substrate", sub)
        for array in (self.z, self.component, self.weight, layer, sub):
            array.setflags(write=False)

    def concrete(self, component: NDArray[np.int64], z: Floats) -> tuple[Floats, Floats]:
        """`concrete` of these z (draws, unknowns), which are standard normal under this belief's own prior."""
        normals = z if self.recalled is None else self.recalled.normals(component, z)
        return concrete(latents(self.surface), component, normals, len(self.surface.coats))

    def key(self) -> tuple[Any, ...]:
        """What the draws follow from: two beliefs with the same key are the same."""
        return self.surface, self.laser, self.hand, self.seed, len(self.weight), self.evidence, self.recalled

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Belief) and self.key() == other.key()

    def __hash__(self) -> int:
        return hash(self.key())

    @property
    def draws(self) -> int:
        """How many."""
        return len(self.weight)

    @property
    def effective_draws(self) -> float:
        """Effective sample size 1/Σw² of the weights."""
        return float(1.0 / np.sum(self.weight**2))

    @property
    def data(self) -> tuple[Datum, ...]:
        """Every datum this belief rests on."""
        return latents(self.surface).data

    def typical_spread(self, settings: Floats, hand: Floats, layer: int | None = None) -> Floats:
        """(settings,) spread of ln X where every unknown is as its datum has it: on what edges a grade is read."""
        under, sub, shares = typical(self.surface)
        last = len(self.surface.coats) - 1 if layer is None else layer
        return np.asarray(shares @ outcomes(under, sub, settings, hand, last)[1])

    def component_shares(self) -> dict[tuple[tuple[str, str, str], ...], float]:
        """Posterior probability of each mixture component."""
        table = latents(self.surface)
        shares = np.bincount(self.component, weights=self.weight, minlength=len(table.weights))
        return {stack: float(p) for stack, p in zip(table.stacks, shares, strict=True)}


def expect_belief(belief: object, limits: object = None) -> None:
    """One sentence where a call is not given a Belief, or Limits that are none.

    Raises:
        InputError: it is something else.
    """
    expect("belief", belief, Belief, "Make it with prior(surface, laser).")
    if limits is not None:
        expect("limits", limits, Limits, "Build them with Limits(p_clean, p_harm, p_harm_patch).")


def _latin_square(draws: int, unknowns: int, rng: np.random.Generator) -> Floats:
    """Points (draws, unknowns) in the unit cube, each of `draws` equal slices of every unknown met once.

    Source: McKay, Beckman & Conover, Technometrics 21 (1979) 239 (from memory).
    """
    slices = rng.permuted(np.tile(np.arange(draws), (unknowns, 1)), axis=1).T
    return np.clip((slices + rng.random((draws, unknowns))) / draws, 1e-12, 1 - 1e-12)


def prior(
    surface: Surface,
    laser: Laser | str,
    hand: Hand | None = None,
    memory: Sequence[Any] | Recalled | None = None,
    seed: int = 0,
    draws: int = DRAWS,
) -> Belief:
    """What is believed before any patch, from published data widened for what is unknown.

    Args:
        surface: layers over a substrate.
        laser: a Laser or the id of a built-in one.
        hand: None: the usual hand.
        memory: what earlier jobs say of this surface's unknowns (`Recalled`); or graded patches of earlier jobs, which
            sharpen this prior as patches of its own would.
        seed: same seed, same draws.
        draws: how many, at least 16.

    Raises:
        InputError: an unknown laser, or a surface that is none.
    """
    if not isinstance(surface, Surface):
        raise InputError("surface", "The surface is not described.", "Build a Surface from its layers and substrate.")
    if isinstance(seed, bool) or not isinstance(seed, int) or seed < 0:
        raise InputError("seed", f"The seed {seed!r} is not a whole number from 0.", "Give for example 0.")
    if isinstance(draws, bool) or not isinstance(draws, int) or not LEAST_DRAWS <= draws <= MOST_DRAWS:
        raise InputError("draws", f"The number of draws is {draws!r}.", f"Give {LEAST_DRAWS} to {MOST_DRAWS}.")
    found = find_laser(laser) if isinstance(laser, str) else laser
    expect("laser", found, Laser, "Name a built-in one, or build a Laser.")
    if hand is not None:
        expect("hand", hand, Hand, "Build it with Hand(...).")
    table = latents(surface)
    recalled = memory if isinstance(memory, Recalled) else None
    if recalled is not None:
        expected = (len(table.weights), len(table.names))
        if recalled.mean.shape != expected or recalled.root.shape != (*expected, expected[1]):
            raise InputError("memory", "The memory is of another surface.", "Recall it for this one.")
    elif memory is not None:
        expect("memory", memory, Sequence, "Give a list of graded patches.")
    points = _latin_square(draws, len(table.names) + 1, np.random.default_rng(seed))
    component = np.minimum(np.searchsorted(np.cumsum(table.weights), points[:, -1]), len(table.weights) - 1)
    belief = Belief(
        surface=surface,
        laser=found,
        hand=hand or Hand(),
        seed=seed,
        z=np.asarray(special.ndtri(points[:, :-1])),
        component=component.astype(np.int64),
        weight=np.full(draws, 1.0 / draws),
        recalled=recalled,
    )
    if memory and not isinstance(memory, Recalled):
        from proofpatch.learn.update import update

        return update(belief, memory)
    return belief
