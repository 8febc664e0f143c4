"""Simulated shops of known truth: pieces, lasers and graders drawn as the memory takes them to be.

Effects of coatings, substrates, pairs, lasers and graders, and the spreads from piece to piece, are drawn once a shop;
a piece then draws what it has for itself. A patch is graded through the grader's lean; what a recipe truly does is
judged without it. The truth shares the form of the model and of the memory, so this shows what memory is worth if
pieces of a kind are as alike as shares.csv says, not whether they are.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from loop import Truth
from numpy.typing import NDArray
from posterior_cases import CANDIDATES, DOUBT
from scipy import stats

import proofpatch as pp
from proofpatch.learn.assumptions import assumption
from proofpatch.learn.forecast import envelope
from proofpatch.learn.kernels import window
from proofpatch.learn.memory.levels import Concrete, layout, scale_shape
from proofpatch.learn.rows import hand_row, setting_rows
from proofpatch.learn.unknowns import concrete, latents

Floats = NDArray[np.float64]
LASERS, GRADERS = ("pulsed-300", "pulsed-500"), ("Ida", "Jonas")
SURFACES = (
    pp.Surface([pp.Layer("oil-varnish", condition="aged")], "oak", condition="aged"),
    pp.Surface([pp.Layer("oil-varnish", condition="aged")], "walnut", condition="aged"),
    pp.Surface([pp.Layer("loose-rust", colour="red-brown", condition="aged")], "mild-steel"),
    pp.Surface([pp.Layer("alkyd-paint", colour="white", condition="aged")], "mild-steel"),
    pp.Surface([pp.Layer("alkyd-paint", colour="white", condition="aged")], "oak", condition="aged"),
    pp.Surface([pp.Layer("masonry-paint", colour="white", condition="aged")], "fired-brick"),
    pp.Surface([pp.Layer("baked-grease")], "aluminium"),
)
# Where a recipe on 300 W is usual, so that there is something to carry.
CARRIED = (
    pp.Surface([pp.Layer("baked-grease")], "aluminium"),
    pp.Surface([pp.Layer("fresh-grease")], "tool-steel"),
    pp.Surface([pp.Layer("soot-crust")], "limestone"),
    pp.Surface([pp.Layer("spray-graffiti")], "granite"),
    pp.Surface([pp.Layer("baked-grease")], "cast-iron"),
    pp.Surface([pp.Layer("soot-crust")], "fired-brick"),
)


@dataclass
class Shop:
    """What all pieces of a shop have in common, drawn when first asked for."""

    seed: int
    effects: dict[tuple, float] = field(default_factory=dict)
    spreads: dict[tuple, float] = field(default_factory=dict)

    def _luck(self, key: tuple) -> np.random.Generator:
        # Of the key alone, so that what a shop is does not hang on which piece comes first.
        return np.random.default_rng([self.seed, 3, *"/".join(map(str, key)).encode()])

    def effect(self, key: tuple) -> float:
        """A standard normal of its own for each key."""
        return self.effects.setdefault(key, float(self._luck(key).standard_normal()))

    def spread(self, key: tuple) -> float:
        """From the inverse gamma of shares.csv."""
        alpha = scale_shape()
        drawn = stats.invgamma.rvs(alpha, scale=alpha - 1, random_state=self._luck(("spread", *key)))
        return self.spreads.setdefault(key, float(drawn))

    def common(self, found: Concrete) -> Floats:
        """(unknowns,) what all such surfaces are off published data by."""
        own = layout(found)
        return np.asarray(own.loading @ [self.effect(key) for key in own.effects])

    def normals(self, surface: pp.Surface, laser: str, grader: str, number: int) -> tuple[int, Floats, Floats]:
        """(component, y as it truly is, y as the grader sees it) of the number-th piece."""
        rng = np.random.default_rng([self.seed, 4, number])
        table, components = latents(surface), surface.components()
        c = int(rng.choice(len(table.weights), p=table.weights))
        _, stack, state = components[c]
        seen = Concrete(surface, stack, state, laser, grader)
        true = replace(seen, leans=False)
        own = layout(seen)
        variance = own.rest + sum(self.spread(key) * piece for key, piece in zip(own.scales, own.piece, strict=True))
        piece = np.sqrt(variance) * rng.standard_normal(len(variance))
        return c, self.common(true) + piece, self.common(seen) + piece

    def piece(self, surface: pp.Surface, laser: str, grader: str, number: int) -> tuple[Truth, Truth]:
        """(as the grader sees it, as it truly is)."""
        c, true, seen = self.normals(surface, laser, grader, number)
        component, layers, table = np.array([c]), len(surface.coats), latents(surface)
        rng = np.random.default_rng([self.seed, 5, number])
        one, two = (Truth(surface, laser, *concrete(table, component, y[None], layers), rng) for y in (seen, true))
        return one, two


def doubtful(belief: pp.Belief, count: int, rng: np.random.Generator) -> list[pp.Setting]:
    """Settings of which the belief does not know whether they clean or whether they harm."""
    every = envelope(belief.laser)
    some = [every[i] for i in rng.choice(len(every), CANDIDATES, replace=False)]
    rows, noise = setting_rows(some, belief.laser), assumption("setting_noise").value
    clean, harm, *_ = window(belief.layer, belief.substrate, belief.weight, rows, hand_row(belief.hand), noise)
    low, high = DOUBT
    keep = ((clean > low) & (clean < high) & (harm < high)) | ((harm > low / 2) & (harm < high))
    chosen = [setting for setting, kept in zip(some, keep, strict=True) if kept] or some
    return [chosen[int(rng.integers(len(chosen)))] for _ in range(count)]
