"""When to stop testing: what one more strip is expected to save, against what it costs in time and marks.

The strip is the one `next_patch` would lay. Its grades are drawn from the belief; each draw of grades reweighs the
belief and gives the recipe that would then hold:

    saved = A/r₀ − E[A/r₁],   r₀ the recipe as it stands, r₁ the one after the strip        (1)

Without a recipe there is nothing to save yet: then the chance that the strip leads to one decides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import InputError
from proofpatch.learn.assumptions import assumption
from proofpatch.learn.belief import Belief, expect_belief
from proofpatch.learn.evidence import Graded
from proofpatch.learn.forecast import DECLINE, Window, area_rate, forecast, thinned
from proofpatch.learn.grading import CLEAN_EDGE
from proofpatch.learn.kernels import outcomes
from proofpatch.learn.limits import Limits
from proofpatch.learn.patches import PANEL_SECONDS, PLACEMENT_SECONDS, Patch, graded_chances, next_patch
from proofpatch.learn.recipe import recipe_in
from proofpatch.learn.rows import hand_row, setting_rows
from proofpatch.physics.elementwise import normal_cdf
from proofpatch.physics.setting import Setting, finite_number
from proofpatch.units import chance as said

Floats = NDArray[np.float64]
DRAWS, OUTCOMES, SETTINGS = 512, 96, 240
LENGTH = 0.04  # m, of the longest step of a strip (common practice, no source)
GRADING_SECONDS = 30.0  # wiping, looking and writing down, a step (memory, unverified)
# Without a recipe: so many patches are laid anyway; after them, while a strip has this chance to find one (our
# judgement, common practice, no source).
FEW, LEAST_CHANCE = 12, 0.05
# Where the strip lies: what a patch may risk there, as a rule on the job's own limits, and what a mark costs to put
# right [s]. Our judgement (common practice, no source).
PLACES = ("scrap", "hidden", "face")
MARK_SECONDS = {"scrap": 0.0, "hidden": 600.0, "face": 7200.0}
SCRAP_HARM = 0.5
ANY_AREA = 1.0  # m², where nobody said how much there is to clean


def limits_at(limits: Limits, place: str) -> Limits:
    """The limits for a strip at this place: scrap bears marks, the face bears no more than the finished surface.

    Raises:
        InputError: an unknown place.
    """
    if not isinstance(place, str) or place not in PLACES:
        raise InputError("place", f"The place {str(place)[:40]!r} is not known.", f"Use one of: {', '.join(PLACES)}.")
    if place == "scrap":
        return replace(limits, p_harm_patch=max(limits.p_harm_patch, SCRAP_HARM))
    if place == "face":
        return replace(limits, p_harm_patch=min(limits.p_harm_patch, limits.p_harm))
    return limits


@dataclass(frozen=True)
class Worth:
    """Whether one more strip pays.

    seconds_saved: expected, of beam-on time for the area; 0 without a recipe. seconds_spent: laying, grading, and
    marks to put right. chance_of_recipe: that some setting holds the limits after it. strip: what would be laid.
    risk: what a patch may risk at its place [1].
    """

    pays: bool
    seconds_saved: float
    seconds_spent: float
    chance_of_recipe: float
    because: str
    strip: tuple[Patch, ...]
    risk: float


def another_strip(
    belief: Belief,
    limits: Limits | None = None,
    area: float = ANY_AREA,
    place: str = "hidden",
    done: Sequence[Setting | Patch | Graded] = (),
    count: int = 3,
) -> Worth:
    """Whether one more strip is worth its time and marks on a job of this area.

    Args:
        belief: what is known.
        limits: of the job.
        area: still to be cleaned [m²].
        place: where the strip would lie: scrap, hidden or face.
        done: settings already laid and not yet graded.
        count: steps of the strip.

    Raises:
        InputError: an area that is none, an unknown place, a count out of range.
    """
    expect_belief(belief, limits)
    limits = limits_at(limits or Limits(), place)
    area = finite_number("area", "The area", area, 1e-6, 1e6, "m²")
    strip = tuple(next_patch(belief, limits, done, count))
    wide = forecast(belief, limits)
    now = recipe_in(wide, with_margins=False)
    if not strip:
        because = "No strip stays inside the limit for patches: stop testing."
        return Worth(False, 0.0, 0.0, float(now.setting is not None), because, (), limits.p_harm_patch)
    spent = _spent(strip, place)
    rates, kept = _after(belief, limits, wide, now.setting, strip)
    chance = float(np.mean(rates > 0))
    if now.setting is None:
        pays = wide.chance > DECLINE and (chance >= LEAST_CHANCE or len(belief.evidence) < FEW)
        because = (
            f"There is no recipe yet. Some setting works with a chance of {said(wide.chance)}; one more strip of about "
            f"{spent / 60:.0f} min leads to a recipe with a chance of {said(chance)}"
            + ("." if pays else ": stop testing.")
        )
        return Worth(pays, 0.0, spent, chance, because, strip, limits.p_harm_patch)
    found = rates > 0
    before, after = area / now.area_rate, area / np.where(found, rates, np.inf)
    saved = float(np.mean(np.where(found & kept, before - after, 0.0)))
    if not now.confirmed:
        because = f"The recipe is not confirmed: the strip of about {spent / 60:.0f} min ends at it, and comes first."
        return Worth(True, saved, spent, chance, because, strip, limits.p_harm_patch)
    pays = saved > spent
    because = (
        f"One more strip is expected to save {saved / 60:.1f} of {before / 60:.0f} min on {area:.3g} m² and costs "
        f"about {spent / 60:.1f} min: {'lay it' if pays else 'stop testing'}."
    )
    return Worth(pays, saved, spent, chance, because, strip, limits.p_harm_patch)


def _spent(strip: Sequence[Patch], place: str) -> float:
    """Seconds of laying and grading the strip, and of putting right the mark it may leave."""
    settings = [p.setting for p in strip]
    turned = sum(
        a.average_power != b.average_power or a.repetition_rate != b.repetition_rate for a, b in pairwise(settings)
    )
    beam = sum(s.passes * LENGTH / s.travel_speed for s in settings)
    marks = MARK_SECONDS[place] * max(p.p_harm for p in strip)
    return PLACEMENT_SECONDS + PANEL_SECONDS * turned + beam + GRADING_SECONDS * len(settings) + marks


def _after(
    belief: Belief, limits: Limits, wide: Window, now: Setting | None, strip: Sequence[Patch]
) -> tuple[Floats, NDArray[np.bool_]]:
    """For each drawn outcome of the strip: area rate of the best setting then (0: none), whether `now` still holds."""
    few = thinned(belief, DRAWS)
    worth = wide.p_clean * (1.0 - wide.p_harm) * np.sqrt(wide.area_rate)
    settings = [wide.settings[i] for i in np.argsort(-worth)[:SETTINGS]] + ([now] if now is not None else [])
    need, spread, margin, _, _, _ = outcomes(
        few.layer, few.substrate, setting_rows(settings, belief.laser), hand_row(belief.hand),
        len(belief.surface.coats) - 1,
    )  # fmt: skip
    noise = assumption("setting_noise").value
    clean, harm = normal_cdf((CLEAN_EDGE * spread - need) / noise), normal_cdf(-margin / noise)
    joint = graded_chances(belief, few, setting_rows([p.setting for p in strip], belief.laser)).joint
    rng = np.random.default_rng([belief.seed, 3])
    drawn = rng.choice(len(few.weight), size=OUTCOMES, p=few.weight)
    like = np.ones((OUTCOMES, len(few.weight)))
    going = np.ones(OUTCOMES, dtype=bool)
    for step in range(len(strip)):
        p = joint[drawn, step]
        seen = np.minimum((np.cumsum(p, axis=1) < rng.random((OUTCOMES, 1)) * p.sum(axis=1, keepdims=True)).sum(1), 19)
        like = np.where(going[:, None], like * joint[:, step, :][:, seen].T, like)
        going &= seen % 4 == 0  # laying stops at the first harm
    like[np.arange(OUTCOMES), drawn] = 0.0  # a draw must not judge its own outcome
    weight = like * few.weight
    weight /= np.maximum(weight.sum(axis=1, keepdims=True), 1e-300)
    holds = (weight @ clean >= limits.p_clean) & (weight @ harm <= limits.p_harm)
    rates = np.array([area_rate(s) for s in settings])
    best = np.max(np.where(holds, rates, 0.0), axis=1)
    return best, holds[:, -1] if now is not None else np.zeros(OUTCOMES, dtype=bool)
