"""Which patch next: gentlest first, then most telling, never past what the gentler ones have shown."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import InputError, expect
from proofpatch.learn.assumptions import assumption
from proofpatch.learn.belief import Belief, expect_belief
from proofpatch.learn.evidence import Graded
from proofpatch.learn.forecast import Draws, Window, fits, forecast, setting_rows_cached, thinned
from proofpatch.learn.grading import CLEAN_EDGE
from proofpatch.learn.kernels import grades as told
from proofpatch.learn.kernels import outcomes
from proofpatch.learn.limits import Limits
from proofpatch.learn.recipe import fastest, proven, same, slack
from proofpatch.learn.rows import hand_row, setting_rows
from proofpatch.learn.surprise import surprises
from proofpatch.physics.beam import peak_fluence
from proofpatch.physics.elementwise import normal_cdf
from proofpatch.physics.rows import PASSES, POWER, RATE, SPOT, SWEEP, TRAVEL
from proofpatch.physics.setting import Setting
from proofpatch.units import chance

Floats = NDArray[np.float64]
PATCH_DRAWS = 256
CANDIDATES = 300
# A patch may be this much harder than the hardest harmless one: per pulse and in dose (common practice, no source).
JUMPS = (1.6, 2.5, 2.5)  # peak fluence, dose of a pass, dose of all
# Before anything was seen, and once there is a recipe and only speed to gain, a strip stays at this share of the harm
# a patch may do (common practice, no source).
CAREFUL = 0.5
PANEL_SECONDS = 20.0  # each step set at the panel costs this; a stair of passes costs none (memory, unverified)
# Knob, factor towards the gentler step, seconds a step, words (factors and seconds from memory, unverified).
KNOB_STEPS = (
    ("travel_speed", 1.35, 5.0, "the hand slower by the metronome from step to step"),
    ("average_power", 1 / 1.35, PANEL_SECONDS, "power stepped up at the panel"),
    ("repetition_rate", 1.35, PANEL_SECONDS, "repetition rate stepped down at the panel"),
)
CONFIRMS = " It is the recipe as it stands: this patch confirms it, or a surprise reopens the question."
GIVEN = " if the gentler steps did none"
PLACEMENT_SECONDS = 60.0  # masking and laying one strip (memory, unverified)
WAYS_UP = 3  # hardest harmless settings from which a further step is always thought of
TOPS = 16  # hardest steps tried for a strip
ASKED = 40  # recipes a patch is to tell about
BEST = 0.3  # what a gain in ln rate counts beside a nat of what is open; ours
SHORT = 0.7  # how much of what a recipe is short of the limits counts against its ln rate; ours
TELLING = 0.02  # gain in ln rate below which the choice of recipe stays as it was; ours
DRAWN = 96  # outcomes drawn of a strip
MOST_STEPS = 12


@dataclass(frozen=True)
class Patch:
    """One patch to lay.

    p_clean and p_harm speak of the patch itself; in a strip p_harm given that no gentler step of it did harm.
    """

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
    """What a grader would say of small timed patches at these setting rows."""
    noise, wrong = assumption("setting_noise").value, assumption("wrong_grade").value
    hand = hand_row(belief.hand, patch=True)
    joint, clean, harm = told(few.layer, few.substrate, rows, hand, belief.typical_spread(rows, hand), noise, wrong)
    return GradeChances(np.moveaxis(joint, -1, 0), clean.T, harm.T)


def _entropy(p: Floats) -> Floats:
    """Of yes or no with chance p [nats]."""
    p = np.clip(p, 1e-9, 1 - 1e-9)
    return np.asarray(-p * np.log(p) - (1 - p) * np.log1p(-p))


@dataclass(frozen=True)
class _Prospects:
    """The likeliest recipes, and what a state of belief is worth by them.

    told: (draws, 2 × recipes) chance of clean, then of harm, of the finished surface in each draw. rates: (recipes,).
    promise: (recipes,) how much each counts among what is asked, adding to 1.
    """

    told: Floats
    rates: Floats
    promise: Floats
    limits: Limits

    def worth(self, belief: Floats) -> Floats:
        """Best rate in sight under weights of the draws (…, draws): ln, less for what is short of the limits.

        And less for what is still open: whether the likeliest recipes clean, whether they harm [nats].
        """
        return self._of(belief @ self.told)

    def _of(self, asked: Floats) -> Floats:
        clean, harm = np.split(asked, 2, axis=-1)
        best = np.max(np.log(self.rates) + SHORT * np.minimum(slack(clean, harm, self.limits), 0.0), axis=-1)
        return np.asarray(BEST * best - (_entropy(clean) + _entropy(harm)) @ self.promise)

    def expected(self, joint: Floats, weight: Floats) -> Floats:
        """Expected gain in worth by the grades of each setting; joint (draws, settings, kinds of grade)."""
        draws, settings, kinds = joint.shape
        like = np.moveaxis(joint, 0, -1).reshape(-1, draws)  # as it lies in memory
        asked = like @ np.column_stack([self.told * weight[:, None], weight])
        said = asked[:, -1]
        after = self._of(asked[:, :-1] / np.maximum(said, 1e-300)[:, None])
        return np.asarray((after * said).reshape(settings, kinds).sum(axis=1) - self.worth(weight))


def _hardness(belief: Belief, settings: Sequence[Setting]) -> Floats:
    """(settings, 3): peak fluence [J/m²], dose of one pass and of all passes [J/m²]."""
    return _hardness_of(belief, setting_rows(settings, belief.laser))


def _hardness_of(belief: Belief, rows: Floats) -> Floats:
    """The same of setting rows."""
    fluence = peak_fluence(rows[:, POWER] / rows[:, RATE], rows[:, SPOT], belief.laser.top_hat_share)
    dose = rows[:, POWER] / (rows[:, SWEEP] * rows[:, TRAVEL])
    return np.stack([fluence, dose, dose * rows[:, PASSES]], axis=1)


def _allowed(belief: Belief, hard: Floats, done: Sequence[Setting], reach: int = 1) -> NDArray[np.bool_]:
    """Not past what has been shown: at most `reach` steps harder than harmless patches, gentler than any that harmed.

    A harmless patch at least as hard lifts the ban of one that harmed. One whose harm does not fit the rest of the
    evidence may be laid again, to tell a slip of the pen.

    hard: of the settings asked about, as `_hardness` has it.
    """
    allowed = np.ones(len(hard), dtype=bool)
    harmless = _harmless(belief, done)
    shown = _hardness(belief, harmless) if harmless else np.zeros((0, 3))
    if harmless:
        allowed &= (hard <= shown.max(axis=0) * np.array(JUMPS) ** reach).all(axis=1)
    odd = {found.graded for found in surprises(belief)}
    for harmed in (g for g in belief.evidence if g.harm != "none"):
        limit = _hardness(belief, [harmed.moved()])[0]
        if not (shown >= limit * 0.999).all(axis=1).any():
            banned = (hard >= limit * 0.999).all(axis=1)
            allowed &= ~(banned & (hard > limit * 1.001).any(axis=1) if harmed in odd else banned)
    return allowed


def _harmless(belief: Belief, done: Sequence[Setting]) -> list[Setting]:
    """Settings laid so far without harm, as far as is known."""
    return [g.moved() for g in belief.evidence if g.harm == "none"] + list(done)


def _steps_on(belief: Belief, done: Sequence[Setting]) -> list[Setting]:
    """A step of one knob beyond each of the latest harmless settings, so that there is always a way up."""
    found: list[Setting] = []
    laid = _harmless(belief, done)
    hardest = sorted(laid, key=lambda s: float(_hardness(belief, [s])[0, 2]))[-WAYS_UP:]
    for setting in hardest:
        changes: list[dict[str, Any]] = [{"passes": setting.passes * 2}]
        changes += [{knob: getattr(setting, knob) / factor} for knob, factor, _, _ in KNOB_STEPS]
        for change in changes:
            with contextlib.suppress(InputError):
                step = setting.with_(**change)
                found += [step] if fits(belief, step) else []
    return found


def _climbs(belief: Belief, steps: Sequence[Setting], done: Sequence[Setting]) -> bool:
    """True if every step of a strip is at most a step harder than what lies before it."""
    hard = _hardness(belief, steps)
    if not _allowed(belief, hard, done, len(steps)).all() or not _allowed(belief, hard[:1], done)[0]:
        return False
    harmless = _harmless(belief, done)
    before = _hardness(belief, harmless).max(axis=0) if harmless else hard[0]
    for step in hard:
        if (step > np.maximum(before, hard[0]) * JUMPS).any():
            return False
        before = np.maximum(before, step)
    return True


def _prospects(wide: Window, few: Draws) -> _Prospects:
    """Of the settings likeliest to be the recipe, and of those nearest to being it as things stand."""
    belief, limits = wide.belief, wide.limits
    promise = wide.p_clean * (1.0 - wide.p_harm) * np.sqrt(wide.area_rate / wide.area_rate.max())
    sight = np.log(wide.area_rate) + SHORT * np.minimum(slack(wide.p_clean, wide.p_harm, limits), 0.0)
    chosen = np.unique(np.concatenate([np.argsort(-promise)[: ASKED // 2], np.argsort(-sight)[: ASKED // 2]]))
    need, spread, margin, _, _, _ = outcomes(
        few.layer, few.substrate, setting_rows_cached(belief.laser)[chosen], hand_row(belief.hand),
        len(belief.surface.coats) - 1,
    )  # fmt: skip
    noise = assumption("setting_noise").value
    told = np.concatenate([normal_cdf((CLEAN_EDGE * spread - need) / noise), normal_cdf(-margin / noise)], axis=1)
    weight = promise[chosen] + 1e-9
    return _Prospects(told, wide.area_rate[chosen], weight / weight.sum(), limits)


def _strips(belief: Belief, top: Setting, count: int) -> list[tuple[list[Setting], float, str]]:
    """(steps gentlest first, seconds of turning knobs, words) of the strips whose hardest step is `top`."""
    halves = sorted({max(1, round(top.passes / 2**i)) for i in range(count)})
    found = [([top.with_(passes=n) for n in halves], 0.0, "a stair of passes on shortening lengths")]
    for knob, factor, seconds, words in KNOB_STEPS:
        steps: list[Setting] = []
        for i in reversed(range(count)):
            try:
                step = top.with_(**{knob: getattr(top, knob) * factor**i})
            except InputError:
                continue
            if fits(belief, step):
                steps.append(step)
        found.append((steps, seconds * max(len(steps) - 1, 0), words))
    return [strip for strip in found if len(strip[0]) == count] or found[:1]


def _conditional_harm(grades: GradeChances, weight: Floats, index: Sequence[int]) -> Floats:
    """P(harm) of each step of a strip, given that no gentler step of it was said to have done any."""
    left, found = weight.copy(), []
    for j in index:
        found.append(float(left @ grades.harm[:, j] / max(left.sum(), 1e-300)))
        left = left * grades.joint[:, j, ::4].sum(axis=1)  # every residue, harm none
    return np.array(found)


def _strip_gain(joint: Floats, weight: Floats, asked: _Prospects, luck: Floats) -> float:
    """Expected gain in worth by several steps together, by drawing what is said of them; joint (draws, steps, 20).

    luck: (drawn, 1 + steps) numbers below 1, the same for every strip, so that strips differ by what they are.
    """
    drawn = np.minimum(np.searchsorted(np.cumsum(weight), luck[:, 0]), len(weight) - 1)
    like = np.ones((len(luck), len(weight)))
    going = np.ones(len(luck), dtype=bool)
    for step in range(joint.shape[1]):
        p = np.cumsum(joint[drawn, step], axis=1)
        said = np.minimum((p < luck[:, 1 + step, None] * p[:, -1:]).sum(axis=1), 19)
        like = np.where(going[:, None], like * joint[:, step, :][:, said].T, like)
        going &= said % 4 == 0  # laying stops at the first harm
    after = like * weight
    after /= np.maximum(after.sum(axis=1, keepdims=True), 1e-300)
    return float(asked.worth(after).mean() - asked.worth(weight))


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
    recipe = fastest(wide)
    confirming = _confirmation(recipe, wide, few, laid, count) if recipe is not None else []
    if confirming:
        return confirming
    lean = wide.p_harm <= max(2.0 * limits.p_harm_patch, 0.2)
    near = wide.p_clean * (1.0 - wide.p_harm) * np.sqrt(wide.area_rate / wide.area_rate.max())
    pool = np.flatnonzero(
        lean & _allowed(belief, _hardness_of(belief, setting_rows_cached(belief.laser)), laid, reach=count)
    )
    pool = pool[np.argsort(-near[pool] - 1e-3 * (1.0 - wide.p_harm[pool]))][:CANDIDATES]
    beyond = _steps_on(belief, laid)
    if beyond:
        beyond = [s for s, ok in zip(beyond, _allowed(belief, _hardness(belief, beyond), laid), strict=True) if ok]
    settings = [*(wide.settings[i] for i in pool), *beyond]
    if not settings:
        return []
    rows = np.concatenate([setting_rows_cached(belief.laser)[pool], setting_rows(beyond, belief.laser)])
    grades, asked = graded_chances(belief, few, rows), _prospects(wide, few)
    p_harm = few.weight @ grades.harm
    careful = recipe is not None or not (belief.evidence or laid)
    bound = limits.p_harm_patch * (CAREFUL if careful else 1.0)
    gain, within = np.full(len(settings), -np.inf), p_harm <= bound
    gain[within] = asked.expected(grades.joint[:, within], few.weight)
    gain *= np.array([0.3 if any(same(setting, s) for s in laid) else 1.0 for setting in settings])
    ranked = [int(r) for r in np.argsort(-gain)[:TOPS] if np.isfinite(gain[r])]
    if not ranked:
        return []
    if count == 1:
        best = ranked[0]
        p_clean, harm = few.weight @ grades.clean[:, best], p_harm[best]
        return [_patch(settings[best], float(p_clean), float(harm), float(gain[best]), "")]
    return _best_strip(belief, bound, few, asked, [settings[r] for r in ranked], laid, count)


def _best_strip(
    belief: Belief,
    bound: float,
    few: Draws,
    asked: _Prospects,
    tops: Sequence[Setting],
    laid: Sequence[Setting],
    count: int,
    through: Setting | None = None,
) -> list[Patch]:
    """Of the strips below these hardest steps, the one that teaches most for its time, cut where harm would pass.

    through: a step it has to hold.
    """
    strips = [strip for top in tops for strip in _strips(belief, top, count)]
    strips = [strip for strip in strips if through is None or through in strip[0]]
    strips = [strip for strip in strips if _climbs(belief, strip[0], laid)]
    if not strips:
        return []
    grades = graded_chances(belief, few, setting_rows([step for steps, _, _ in strips for step in steps], belief.laser))
    p_clean = few.weight @ grades.clean
    luck = np.random.default_rng([belief.seed, 2]).random((DRAWN, 1 + count))
    best: tuple[float, list[Patch]] = (-np.inf, [])
    first = 0
    for steps, seconds, words in strips:
        index = list(range(first, first + len(steps)))
        first += len(steps)
        p_harm = _conditional_harm(grades, few.weight, index)
        if through is not None and not (p_harm[: _place(steps, through) + 1] <= bound).all():
            continue
        index = index[: int(np.argmax(np.append(p_harm, np.inf) > bound))]
        if not index:
            continue
        gain = _strip_gain(grades.joint[:, index], few.weight, asked, luck)
        worth = gain / (PLACEMENT_SECONDS + seconds)
        if worth > best[0]:
            patches = [
                _patch(
                    step, float(p_clean[j]), float(harm), gain,
                    CONFIRMS if through == step else f" Step {i + 1} of {len(index)}, {words}.", GIVEN if i else "",
                )
                for i, (step, j, harm) in enumerate(zip(steps, index, p_harm, strict=False))
            ]  # fmt: skip
            best = (worth, patches)
    return best[1]


def _confirmation(found: Setting, wide: Window, few: Draws, laid: Sequence[Setting], count: int) -> list[Patch]:
    """The strip through the recipe as it stands, if it is still to be confirmed; it may go on past it."""
    belief, limits = wide.belief, wide.limits
    if any(same(found, s) for s in (*laid, *proven(belief))):
        return []
    tops = [found]
    for i in range(1, count):
        for change in (
            {"passes": found.passes * 2**i}, *({knob: getattr(found, knob) * f**-i} for knob, f, _, _ in KNOB_STEPS)
        ):  # fmt: skip
            with contextlib.suppress(InputError):
                top = found.with_(**change)
                tops += [top] if fits(belief, top) else []
    return _best_strip(belief, limits.p_harm_patch, few, _prospects(wide, few), tops, laid, count, through=found)


def _place(steps: Sequence[Setting], step: Setting) -> int:
    return list(steps).index(step)


def _patch(setting: Setting, p_clean: float, p_harm: float, gain: float, words: str, given: str = "") -> Patch:
    if p_clean > 0.5:
        hope = f"likely to clean ({chance(p_clean)})"
    elif p_clean > 0.1:
        hope = f"may clean ({chance(p_clean)})"
    else:
        hope = f"unlikely to clean ({chance(p_clean)}), but shows how the coating begins to answer"
    telling = (
        "Most telling of those that risk little"
        if gain >= TELLING
        else "Teaches little, as anything here that risks little"
    )
    return Patch(
        setting,
        p_clean,
        p_harm,
        f"{telling}: {hope}, harm {chance(p_harm)}{given}.{words}",
    )
