"""Which patch next: gentlest first, then most telling, never past what the gentler ones have shown."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import InputError, expect
from proofpatch.learn.assumptions import assumption
from proofpatch.learn.belief import Belief, expect_belief
from proofpatch.learn.evidence import Graded
from proofpatch.learn.forecast import Draws, Window, envelope, fits, forecast, setting_rows_cached, thinned
from proofpatch.learn.grading import CLEAN_EDGE, harm_chance, residue_chance
from proofpatch.learn.kernels import outcomes
from proofpatch.learn.limits import Limits
from proofpatch.learn.recipe import recipe_in, same
from proofpatch.learn.rows import hand_row, setting_rows
from proofpatch.physics.beam import peak_fluence
from proofpatch.physics.elementwise import normal_cdf
from proofpatch.physics.rows import GRADER, PASSES, POWER, RATE, SPOT, SWEEP, TRAVEL
from proofpatch.physics.setting import Setting

Floats = NDArray[np.float64]
PATCH_DRAWS = 256
CANDIDATES = 500
# A patch may be this much harder than the hardest harmless one: per pulse and in dose (common practice, no source).
FLUENCE_JUMP, DOSE_JUMP = 1.6, 2.5
FIRST_SHARE = 0.5  # the first strip stays at half the harm a patch may have
PANEL_STEP = 1.35
PANEL_SECONDS = 20.0  # each step set at the panel costs this; a stair of passes costs none (memory, unverified)
PLACEMENT_SECONDS = 60.0  # masking and laying one strip (memory, unverified)
TOPS = 12  # hardest steps tried for a strip
MOST_STEPS = 12


@dataclass(frozen=True)
class Patch:
    """One patch to lay. p_clean and p_harm speak of the patch itself."""

    setting: Setting
    p_clean: float
    p_harm: float
    because: str


@dataclass(frozen=True)
class GradeChances:
    """Chances of each of the 20 joint grades (draws, settings, 20), and P(clean), P(harm) of the patch per draw."""

    joint: Floats
    clean: Floats
    harm: Floats


def graded_chances(belief: Belief, few: Draws, rows: Floats) -> GradeChances:
    noise, wrong = assumption("setting_noise").value, assumption("wrong_grade").value
    need, spread, margin, _, _, _ = outcomes(
        few.layer, few.substrate, rows, hand_row(belief.hand, patch=True), len(belief.surface.coats) - 1
    )
    total = np.sqrt(noise**2 + few.substrate[:, GRADER] ** 2)[:, None]
    residue = np.stack([residue_chance(i, need, spread, total, wrong) for i in range(5)], axis=-1)
    harm = np.stack([harm_chance(i, margin, total, wrong) for i in range(4)], axis=-1)
    joint = (residue[..., :, None] * harm[..., None, :]).reshape(*need.shape, 20)
    return GradeChances(joint, normal_cdf((CLEAN_EDGE * spread - need) / noise), normal_cdf(-margin / noise))


def _entropy(p: Floats) -> Floats:
    """−Σ p ln p over the last axis."""
    return np.asarray(-np.sum(p * np.log(np.maximum(p, 1e-12)), axis=-1))


def _hardness(belief: Belief, settings: Sequence[Setting]) -> Floats:
    """(settings, 3): peak fluence [J/m²], dose of one pass and of all passes [J/m²]."""
    rows = setting_rows(settings, belief.laser)
    fluence = peak_fluence(rows[:, POWER] / rows[:, RATE], rows[:, SPOT], belief.laser.top_hat_share)
    dose = rows[:, POWER] / (rows[:, SWEEP] * rows[:, TRAVEL])
    return np.stack([fluence, dose, dose * rows[:, PASSES]], axis=1)


def _allowed(belief: Belief, settings: Sequence[Setting], done: Sequence[Setting]) -> NDArray[np.bool_]:
    """Not past what has been shown: at most a step harder than harmless patches, gentler than any that harmed."""
    hard = _hardness(belief, settings)
    allowed = np.ones(len(settings), dtype=bool)
    harmless = [g.moved() for g in belief.evidence if g.harm == "none"] + list(done)
    harmed = [g.moved() for g in belief.evidence if g.harm != "none"]
    if harmless:
        shown = _hardness(belief, harmless).max(axis=0)
        allowed &= (hard <= shown * [FLUENCE_JUMP, DOSE_JUMP, DOSE_JUMP]).all(axis=1)
    for limit in _hardness(belief, harmed) if harmed else ():
        allowed &= ~(hard >= limit * 0.999).all(axis=1)
    return allowed


def _targets(wide: Window, few: Draws) -> NDArray[np.int64]:
    """For each draw the index of its own fastest setting that would clean without harm; −1 for none.

    What a patch should teach is this: which recipe this surface wants.
    """
    belief = wide.belief
    worth = wide.p_clean * (1.0 - wide.p_harm)
    chosen = np.argsort(-worth * np.sqrt(wide.area_rate))[:40]
    rows = setting_rows_cached(belief.laser)
    need, spread, margin, _, _, _ = outcomes(
        few.layer, few.substrate, rows[chosen], hand_row(belief.hand), len(belief.surface.coats) - 1
    )
    suits = (CLEAN_EDGE * spread - need >= 0) & (margin >= 0)
    best = np.argmax(np.where(suits, wide.area_rate[chosen], -1.0), axis=1)
    return np.where(suits.any(axis=1), best, -1)


def _information(joint: Floats, weight: Floats, groups: Floats) -> Floats:
    """Expected information [nats] of each grade about which recipe suits, plus a tenth of that about everything."""
    p = np.einsum("d,dsk->sk", weight, joint)
    each = np.einsum("d,ds->s", weight, _entropy(joint))
    whole = _entropy(p) - each
    mass = groups.sum(axis=1)
    by_group = np.einsum("gd,dsk->gsk", groups, joint) / np.maximum(mass, 1e-12)[:, None, None]
    about = _entropy(p) - np.einsum("g,gs->s", mass, _entropy(by_group))
    return np.asarray(about + 0.1 * whole)


def _strips(belief: Belief, top: Setting, count: int) -> list[tuple[list[Setting], float, str]]:
    """(steps gentlest first, panel seconds, words) of the strips whose hardest step is `top`."""
    halves = sorted({max(1, round(top.passes / 2**i)) for i in range(count)})
    found = [([top.with_(passes=n) for n in halves], 0.0, "a stair of passes on shortening lengths")]
    for knob, words in (
        ("average_power", "power stepped up at the panel"),
        ("repetition_rate", "repetition rate stepped down at the panel"),
    ):
        steps: list[Setting] = []
        for i in reversed(range(count)):
            factor = PANEL_STEP**-i if knob == "average_power" else PANEL_STEP**i
            try:
                step = top.with_(**{knob: getattr(top, knob) * factor})
            except InputError:
                continue
            if fits(belief, step):
                steps.append(step)
        found.append((steps, PANEL_SECONDS * max(len(steps) - 1, 0), words))
    return [strip for strip in found if len(strip[0]) == count] or found[:1]


def _strip_information(
    grades: GradeChances, index: list[int], weight: Floats, groups: Floats, rng: np.random.Generator
) -> float:
    """Expected information [nats] of several steps together about which recipe suits, by sampling outcomes."""
    logs = np.log(np.maximum(grades.joint[:, index, :], 1e-12))
    draws = rng.choice(len(weight), size=96, p=weight)
    total = np.zeros((96, len(weight)))
    for j in range(len(index)):
        p = np.exp(logs[draws, j])
        picked = np.minimum((np.cumsum(p, axis=1) < rng.random((96, 1))).sum(axis=1), 19)
        total += logs[:, j, :][:, picked].T
    like = np.exp(total)
    whole = like @ weight
    mass = groups.sum(axis=1)
    by_group = like @ groups.T / np.maximum(mass, 1e-12)
    mine = np.argmax(groups[:, draws] > 0, axis=0)
    return float(np.mean(np.log(np.maximum(by_group[np.arange(96), mine], 1e-300) / np.maximum(whole, 1e-300))))


def next_patch(
    belief: Belief, limits: Limits | None = None, done: Sequence[Setting | Patch | Graded] = (), count: int = 1
) -> list[Patch]:
    """The next patch, or a strip of `count` steps for one placement, in the order to lay them.

    Args:
        belief: what is known, graded patches included.
        limits: of the job; p_harm_patch is what a patch may risk.
        done: settings already laid and not yet graded.
        count: steps of the strip, at most 12.

    Returns:
        Patches gentlest first; stop laying at the first harm. Empty when no setting stays inside the limit.

    Raises:
        InputError: a count that is no whole number from 1 to 12.
    """
    expect_belief(belief, limits)
    limits = limits or Limits()
    for laid_one in done:
        expect("done", laid_one, (Setting, Patch, Graded), "Give settings, patches or graded patches.")
    if isinstance(count, bool) or not isinstance(count, int) or not 1 <= count <= MOST_STEPS:
        raise InputError("count", f"The number of steps is {count!r}.", f"Give a whole number from 1 to {MOST_STEPS}.")
    laid = [d if isinstance(d, Setting) else d.setting for d in done]
    few = thinned(belief, PATCH_DRAWS)
    wide = forecast(belief, limits)
    confirming = _confirmation(wide, laid, count)
    if confirming:
        return confirming
    settings, rows = envelope(belief.laser), setting_rows_cached(belief.laser)
    lean = wide.p_harm <= max(2.0 * limits.p_harm_patch, 0.2)
    score = wide.p_clean * (1 - wide.p_harm) * np.sqrt(wide.area_rate / wide.area_rate.max()) + 1e-3 * (1 - wide.p_harm)
    pool = np.flatnonzero(lean & _allowed(belief, settings, laid))
    pool = pool[np.argsort(-score[pool])][:CANDIDATES]
    if not len(pool):
        return []
    grades = graded_chances(belief, few, rows[pool])
    p_harm = few.weight @ grades.harm
    bound = limits.p_harm_patch * (FIRST_SHARE if not belief.evidence and not laid else 1.0)
    target = _targets(wide, few)
    groups = np.stack([few.weight * (target == g) for g in np.unique(target)])
    information = np.where(p_harm <= bound, _information(grades.joint, few.weight, groups), -1.0)
    information *= np.array([0.3 if any(same(settings[i], s) for s in laid) else 1.0 for i in pool])
    ranked = np.argsort(-information)
    if information[ranked[0]] < 0:
        return []
    rng = np.random.default_rng([belief.seed, 2])
    if count == 1:
        best = int(ranked[0])
        return [
            _patch(
                settings[int(pool[best])],
                float(few.weight @ grades.clean[:, best]),
                float(p_harm[best]),
                information[best],
                "",
            )
        ]
    tops = [settings[int(pool[r])] for r in ranked[:TOPS] if information[r] >= 0]
    return _best_strip(belief, limits, few, groups, tops, count, rng)


def _best_strip(
    belief: Belief,
    limits: Limits,
    few: Draws,
    groups: Floats,
    tops: Sequence[Setting],
    count: int,
    rng: np.random.Generator,
) -> list[Patch]:
    """Of the strips below these hardest steps, the one that teaches most for its time, cut where harm would pass."""
    strips = [strip for top in tops for strip in _strips(belief, top, count)]
    grades = graded_chances(belief, few, setting_rows([step for steps, _, _ in strips for step in steps], belief.laser))
    p_clean, p_harm = few.weight @ grades.clean, few.weight @ grades.harm
    best: tuple[float, list[Patch]] = (-1.0, [])
    first = 0
    for steps, seconds, words in strips:
        index = list(range(first, first + len(steps)))
        first += len(steps)
        while index and p_harm[index[-1]] > limits.p_harm_patch:
            index.pop()
        if not index:
            continue
        gain = _strip_information(grades, index, few.weight, groups, rng)
        worth = gain / (PLACEMENT_SECONDS + seconds)
        if worth > best[0]:
            patches = [
                _patch(step, float(p_clean[j]), float(p_harm[j]), gain, f" Step {i + 1} of {len(index)}, {words}.")
                for i, (step, j) in enumerate(zip(steps, index, strict=False))
            ]
            best = (worth, patches)
    return best[1]


def _confirmation(wide: Window, laid: Sequence[Setting], count: int) -> list[Patch]:
    """The stair of passes that ends at the recipe as it stands, if there is one still to be confirmed."""
    belief, limits = wide.belief, wide.limits
    found = recipe_in(wide, with_margins=False)
    if found.setting is None or found.confirmed or any(same(found.setting, s) for s in laid):
        return []
    steps, _, _ = _strips(belief, found.setting, count)[0]
    grades = graded_chances(belief, thinned(belief, belief.draws), setting_rows(steps, belief.laser))
    p_harm, p_clean = belief.weight @ grades.harm, belief.weight @ grades.clean
    if not _allowed(belief, [found.setting], laid)[0] or p_harm.max() > limits.p_harm_patch:
        return []
    last = "It is the recipe as it stands: this patch confirms it, or a surprise reopens the question."
    words = [*["Half the passes of the step after it, on the way to the recipe."] * (len(steps) - 1), last]
    return [Patch(s, float(c), float(h), w) for s, c, h, w in zip(steps, p_clean, p_harm, words, strict=True)]


def _patch(setting: Setting, p_clean: float, p_harm: float, information: float, words: str) -> Patch:
    if p_clean > 0.5:
        hope = f"likely to clean ({p_clean:.0%})"
    elif p_clean > 0.1:
        hope = f"may clean ({p_clean:.0%})"
    else:
        hope = f"unlikely to clean ({p_clean:.0%}), but shows how the coating begins to answer"
    # Under a hundredth of a nat a grade leaves the choice of recipe as it was.
    telling = (
        "Most telling of those that risk little" if information >= 0.01 else "Teaches little, as anything safe here"
    )
    return Patch(
        setting,
        p_clean,
        p_harm,
        f"{telling}: {hope}, harm {p_harm:.1%}.{words}",
    )
