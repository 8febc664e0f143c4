"""Grades that the rest of the evidence did not expect, found and named.

A patch is judged by the belief that all the others leave:

    p(g_i | rest) = Σ w p(g_i | θ) / Σ w,  w = min(1/p, N^⅔ mean(1/p)),  θ from the belief with all of them      (1)

N draws. Without the bound on w this is the conditional predictive ordinate 1 / E[1/p], which a single draw can carry
away; √N steadies most and leans towards the belief with all of them, ⅔ is ours.

Sources: Gelfand, Dey & Chang (1992); truncation: Ionides, J. Comput. Graph. Stat. 17 (2008) 295 (both from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from proofpatch.learn.belief import Belief, expect_belief
from proofpatch.learn.evidence import Graded
from proofpatch.learn.kernels import patch_logs
from proofpatch.learn.update import patch_arguments
from proofpatch.units import chance as said

SURPRISE = 0.05  # a grade the other patches gave less chance than this is named; common practice, no source


@dataclass(frozen=True)
class Surprise:
    """A graded patch and the chance the other patches, and the physics, gave to what was said of it."""

    graded: Graded
    chance: float
    because: str


def surprises(belief: Belief) -> tuple[Surprise, ...]:
    """The graded patches that do not fit the rest, the least expected first.

    Args:
        belief: with its evidence. A measured fraction counts by its grade.
    """
    expect_belief(belief)
    held: tuple[Surprise, ...] | None = vars(belief).get("surprises")
    if held is None:  # worked out once: a choice of strips asks for every one of them
        held = vars(belief)["surprises"] = _found(belief)
    return held


def _found(belief: Belief) -> tuple[Surprise, ...]:
    if not belief.evidence:
        return ()
    by_eye = [replace(g, fraction_left=None, fraction_error=None) for g in belief.evidence]
    logs = patch_logs(belief.layer, belief.substrate, *patch_arguments(belief, by_eye))
    most = belief.draws ** (2 / 3) * (belief.weight @ np.exp(-logs))
    weights = belief.weight[:, None] * np.minimum(np.exp(-logs), most)
    chances = (weights * np.exp(logs)).sum(axis=0) / weights.sum(axis=0)  # (1)
    order = np.argsort(chances, kind="stable")
    return tuple(_named(belief.evidence[i], float(chances[i]), len(chances)) for i in order if chances[i] < SURPRISE)


def expected(belief: Belief, graded: Graded) -> float:
    """Chance this belief gives, before it learns of the patch, to both grades as they were said."""
    expect_belief(belief)
    logs = patch_logs(
        belief.layer,
        belief.substrate,
        *patch_arguments(belief, [replace(graded, fraction_left=None, fraction_error=None)]),
    )
    return float(belief.weight @ np.exp(logs[:, 0]))


def _named(graded: Graded, chance: float, patches: int) -> Surprise:
    s = graded.moved()
    others = f"the other {patches - 1} patches" if patches > 2 else "the other patch" if patches == 2 else "the data"
    words = (
        f"The patch at {s.average_power:.3g} W, {s.repetition_rate / 1e3:.3g} kHz, {s.travel_speed * 1e3:.3g} mm/s, "
        f"{s.passes} pass{'es' if s.passes > 1 else ''} was graded {graded.residue}, harm {graded.harm}; {others} "
        f"gave that a chance of {said(chance)}. Look at it again, or lay it again: wiped, in focus, window clean, same "
        "coating?"
    )
    return Surprise(graded, chance, words)
