"""A recipe on another laser: the belief is carried, not the numbers.

What a surface is does not depend on the laser that asked it; the patches keep the laser they were laid with. Only the
offset that each laser has from its papers is its own. Of a factor y between model and world a share λ is the laser's
(`levels`), so what the old one taught of it is loosened by just that:

    y' = (1 − λ) y + √(λ (2 − λ)) ξ,    ξ ~ N(0, 1)                                                                (1)

which leaves a standard normal one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import expect
from proofpatch.lasers import Laser
from proofpatch.lasers import laser as find_laser
from proofpatch.learn.belief import Belief, Recalled, expect_belief, prior
from proofpatch.learn.limits import Limits
from proofpatch.learn.memory.levels import kind, shares
from proofpatch.learn.recipe import Recipe, recipe, slack
from proofpatch.learn.unknowns import latents
from proofpatch.learn.update import update
from proofpatch.units import chance

Floats = NDArray[np.float64]
# A recipe no patch was laid with on that laser asks for this share of the doubt the job allows. Ours: at the job's own
# limits 14 of 17 simulated recipes held (benchmarks/memory.py --carry), and there 19 of 20 are asked.
UNTRIED = 0.25


@dataclass(frozen=True)
class Carried:
    """A recipe of one laser beside what the same belief names for another.

    laser: the other. belief: on it. there, here: the recipes on the other laser and on the first. time: of the same
    area there over here, beam on, None where one has no recipe. room: by how much farther inside both limits the recipe
    lies there, in e-folds of their odds (`recipe.slack`); None as above. patches: graded with that laser.
    """

    laser: Laser
    belief: Belief
    there: Recipe
    here: Recipe
    time: float | None
    room: float | None
    patches: int
    because: str


def carry(belief: Belief, laser: Laser | str) -> Belief:
    """The belief about the same surface with another laser in the hand; its evidence keeps the laser it was laid with.

    An `update` of it starts again from the prior and takes both lasers' patches as one evidence.

    Raises:
        InputError: an unknown laser.
    """
    expect_belief(belief)
    other = find_laser(laser) if isinstance(laser, str) else laser
    expect("laser", other, Laser, "Name a built-in one, or build a Laser.")
    if other == belief.laser:
        return belief
    kept = tuple(g if g.laser is not None else replace(g, laser=belief.laser) for g in belief.evidence)
    start = prior(belief.surface, other, belief.hand, belief.recalled, belief.seed, belief.draws)
    return _loosened(update(start, kept), belief.laser) if kept else start


def _loosened(belief: Belief, former: Laser) -> Belief:
    """(1) for every draw. The name of what it recalls says so, for the draws no longer follow from the evidence."""
    table = latents(belief.surface)
    share = np.array([shares()["factor", "laser"].value if kind(*name) == "factor" else 0.0 for name in table.names])
    noise = np.random.default_rng([belief.seed, 2]).standard_normal(belief.z.shape)
    components, unknowns = len(table.weights), len(table.names)
    recalled = belief.recalled or Recalled(
        np.zeros((components, unknowns)), np.tile(np.eye(unknowns), (components, 1, 1)), "published data"
    )
    y = (1.0 - share) * recalled.normals(belief.component, belief.z) + np.sqrt(share * (2.0 - share)) * noise
    z = np.empty_like(y)
    for c in np.unique(belief.component):
        drawn = belief.component == c
        z[drawn] = np.linalg.solve(recalled.root[c], (y[drawn] - recalled.mean[c]).T).T
    name = f"{recalled.name}; carried from {former.id}"
    return replace(belief, z=z, recalled=Recalled(recalled.mean, recalled.root, name))


def carried(belief: Belief, laser: Laser | str, limits: Limits | None = None, here: Recipe | None = None) -> Carried:
    """What this job would be with another laser.

    Args:
        belief: with its evidence, on the laser it was gained with.
        laser: the other, owned or thought of.
        limits: of the job; None: the ordinary ones. Without a patch laid with the other laser, its recipe must hold
            more than they ask (`untried`).
        here: the recipe on the first laser, where it has been worked out already.

    Raises:
        InputError: an unknown laser.
    """
    limits = limits or Limits()
    moved = carry(belief, laser)
    laid = sum(g.laser == moved.laser or g.laser == moved.laser.id for g in moved.evidence)
    tried = laid > 0 or moved is belief
    found, first = recipe(moved, limits if tried else untried(limits)), here or recipe(belief, limits)
    time = room = None
    if found.setting is not None and first.setting is not None:
        time = first.area_rate / found.area_rate
        room = _slack(found, limits) - _slack(first, limits)
    return Carried(
        moved.laser, moved, found, first, time, room, laid,
        _because(moved, belief.laser, found, first, time, laid),
    )  # fmt: skip


def untried(limits: Limits) -> Limits:
    """What a recipe must hold that no patch was laid with: the same limits with UNTRIED of their doubt."""
    return replace(limits, p_clean=1.0 - UNTRIED * (1.0 - limits.p_clean), p_harm=UNTRIED * limits.p_harm)


def every(belief: Belief, lasers: Sequence[Laser | str], limits: Limits | None = None) -> list[Carried]:
    """The job on each of these lasers, the quickest first, those without a recipe last."""
    limits = limits or Limits()
    here = recipe(belief, limits)
    found = [carried(belief, laser, limits, here) for laser in lasers]
    return sorted(found, key=lambda c: -c.there.area_rate)


def _slack(found: Recipe, limits: Limits) -> float:
    return float(slack(np.array(found.p_clean), np.array(found.p_harm), limits))


def _because(
    moved: Belief, former: Laser, there: Recipe, here: Recipe, time: float | None, laid: int
) -> str:  # fmt: skip
    name = moved.laser.title
    if there.setting is None:
        more = " More is asked than of a recipe that was tried: a patch laid with it settles it." if not laid else ""
        return f"With the {name} there is no recipe yet.{more} {there.because}"
    s = there.setting
    words = (
        f"With the {name}: {s.average_power:.3g} W, {s.repetition_rate / 1e3:.3g} kHz, {s.pulse_width * 1e9:.3g} ns, "
        f"{s.travel_speed * 1e3:.3g} mm/s, {s.passes} pass{'es' if s.passes > 1 else ''}; chance of clean "
        f"{chance(there.p_clean)}, of harm {chance(there.p_harm)}."
    )
    if time is None:
        words += f" With the {former.title} there is none to compare with."
    else:
        words += (
            f" Beam on for {time:.2g} times as long as with the {former.title}, whose recipe has "
            f"{chance(here.p_clean)} and {chance(here.p_harm)}."
        )
    total = len(moved.evidence)
    if laid == 0:
        words += (
            f" None of the {total} graded patch{'es' if total != 1 else ''} was laid with it: lay a confirmation patch "
            "at this very setting before the piece."
        )
    return words
