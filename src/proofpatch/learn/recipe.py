"""The fastest setting that meets the limits under a human hand, or why there is none."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import InputError
from proofpatch.learn.belief import Belief, expect_belief
from proofpatch.learn.explain import Alternative, alternatives, what_binds
from proofpatch.learn.forecast import (
    DECLINE,
    FORECAST_DRAWS,
    Window,
    area_rate,
    fits,
    forecast,
    share_of_thinned,
)
from proofpatch.learn.limits import Limits
from proofpatch.learn.surprise import surprises
from proofpatch.phrases import many_of
from proofpatch.physics.setting import BOUNDS, Setting
from proofpatch.units import chance, percent

Floats = NDArray[np.float64]
ROUNDS = 3
LAST_LOOK = 64  # settings asked of all draws at the end
AT_A_TIME = 16  # of them in one call, where the fastest that holds is wanted
STEPS = (0.8, 0.9, 1.12, 1.25)
FACTORS = np.geomspace(0.4, 2.5, 23)
KEEP_PROVEN = 0.7  # a proven setting is kept at this share of the fastest one's rate (common practice, no source)
STAND_OFFS = np.arange(0.0, 20.5e-3, 1e-3)


@dataclass(frozen=True)
class Recipe:
    """What to dial in, or None with the reason.

    margins: {knob: (lowest, highest)} within which the limits still hold, others unchanged; stand_off is the
    distance from focus [m]. gentler: a slower alternative with at most half the chance of harm. governs: the clock
    harm would come from first. confirmed: a patch at this very setting was graded clean and harmless. binds: what
    keeps it from being faster. alternatives: its nearest, with what they would cost.
    """

    setting: Setting | None
    because: str
    p_clean: float
    p_harm: float
    area_rate: float
    margins: dict[str, tuple[float, float]]
    gentler: Setting | None
    governs: str
    confirmed: bool = False
    binds: str = ""
    alternatives: tuple[Alternative, ...] = ()


def _neighbours(belief: Belief, setting: Setting) -> list[Setting]:
    found = [setting]
    for factor in STEPS:
        for change in (
            {"travel_speed": setting.travel_speed * factor},
            {"average_power": setting.average_power * factor},
            {"repetition_rate": setting.repetition_rate * factor},
            {"repetition_rate": setting.repetition_rate * factor, "average_power": setting.average_power * factor},
            {"travel_speed": setting.travel_speed * factor, "average_power": setting.average_power * factor},
        ):
            try:
                found.append(setting.with_(**change))
            except InputError:
                continue
    for passes in {setting.passes - 1, setting.passes + 1, round(setting.passes * 1.5)} - {0}:
        if passes > 0:
            found.append(setting.with_(passes=passes))
    return [s for s in found if fits(belief, s)]


def slack(p_clean: Floats, p_harm: Floats, limits: Limits) -> Floats:
    """How far inside both limits (positive) or outside the worse of them, on a log-odds-like scale."""
    clean = np.log((1 - limits.p_clean + 1e-3) / (1 - p_clean + 1e-3))
    harm = np.log((limits.p_harm + 1e-4) / (p_harm + 1e-4))
    return np.asarray(np.minimum(clean, harm))


@dataclass(frozen=True)
class _Look:
    """What a part of the draws says of some settings; arrays of one length."""

    settings: Sequence[Setting]
    p_clean: Floats
    p_harm: Floats
    area_rate: Floats
    limits: Limits

    @property
    def slack(self) -> Floats:
        return slack(self.p_clean, self.p_harm, self.limits)

    @property
    def rate_within(self) -> Floats:
        """Area rate of those that hold the limits, 0 of the others."""
        holds = (self.p_clean >= self.limits.p_clean) & (self.p_harm <= self.limits.p_harm)
        return np.where(holds, self.area_rate, 0.0)

    def ranked(self) -> NDArray[np.int64]:
        """Indices, the fastest admissible first, then the nearest to the limits."""
        rates = self.rate_within
        return np.argsort(np.where(rates > 0.0, 1e3 + rates, self.slack), kind="stable")[::-1]

    def some(self, indices: NDArray[np.int64]) -> _Look:
        """Those of these indices."""
        chosen = [self.settings[i] for i in indices]
        return _Look(chosen, self.p_clean[indices], self.p_harm[indices], self.area_rate[indices], self.limits)


def _looked(window: Window) -> _Look:
    return _Look(window.settings, window.p_clean, window.p_harm, window.area_rate, window.limits)


def _climbed(window: Window) -> _Look:
    """The settings worth a last look: the window's best, and what small steps of each knob lead to from there.

    The climb asks a part of the draws and ends at the very edge of the limits; so its slower settings are kept too,
    spread over the rates, lest all that was found fails the last look.
    """
    belief, limits = window.belief, window.limits
    look = _looked(window)
    look = look.some(look.ranked()[:LAST_LOOK])
    found = dict(zip(look.settings, _merits(look), strict=True))
    asked = dict(zip(look.settings, zip(look.p_clean, look.p_harm, strict=True), strict=True))
    pool = look.settings[:6]
    for _ in range(ROUNDS):
        tried = list(dict.fromkeys(s for setting in pool for s in _neighbours(belief, setting)))
        if not tried:
            break
        new = [s for s in tried if s not in asked]
        if new:
            near = forecast(belief, limits, new, draws=FORECAST_DRAWS)
            asked |= dict(zip(new, zip(near.p_clean, near.p_harm, strict=True), strict=True))
        chances = np.array([asked[s] for s in tried])
        look = _Look(tried, chances[:, 0], chances[:, 1], np.array([area_rate(s) for s in tried]), limits)
        order = look.ranked()
        look = look.some(order)
        found |= dict(zip(look.settings, _merits(look), strict=True))
        pool = look.settings[:4]
    ordered = sorted(found, key=lambda setting: found[setting], reverse=True)
    rest = ordered[LAST_LOOK // 2 :]
    last = [*ordered[: LAST_LOOK // 2], *rest[:: max(len(rest) // (LAST_LOOK // 2), 1)]]
    chances = np.array([asked[s] for s in last])
    return _Look(last, chances[:, 0], chances[:, 1], np.array([area_rate(s) for s in last]), limits)


def _merits(look: _Look) -> list[tuple[float, float]]:
    """(its rate if it holds the limits, how far inside them it is) of each."""
    return list(zip(look.rate_within.tolist(), look.slack.tolist(), strict=True))


def fastest(wide: Window) -> Setting | None:
    """The setting of `recipe_in`, without what it says of it: for a choice that needs no more.

    A setting that a part of the draws speaks against so loudly that the others cannot make up for it is not asked of
    all draws; the others are asked fastest first, until one holds the limits.
    """
    belief, limits = wide.belief, wide.limits
    look = _climbed(wide)
    share = share_of_thinned(belief, FORECAST_DRAWS)
    able = (share * look.p_harm <= limits.p_harm + 1e-9) & (share * (1.0 - look.p_clean) <= 1.0 - limits.p_clean + 1e-9)
    order = np.flatnonzero(able)
    order = order[np.argsort(-look.area_rate[order], kind="stable")]
    best: tuple[float, Setting | None] = (0.0, None)
    for first in range(0, len(order), AT_A_TIME):
        near = forecast(belief, limits, look.some(order[first : first + AT_A_TIME]).settings)
        if near.admissible.any():
            best = float(near.area_rate[near.best]), near.settings[near.best]
            break
    shown = _proven_window(belief, limits)
    if shown is not None and shown.area_rate[shown.best] >= KEEP_PROVEN * best[0]:
        return shown.settings[shown.best]
    return best[1]


def _proven_window(belief: Belief, limits: Limits) -> Window | None:
    """The window of what is proven, if any of it still holds the limits.

    What was laid, graded clean and still fits is worth more than a little speed never seen.
    """
    seen = proven(belief)
    if not seen:
        return None
    shown = forecast(belief, limits, seen)
    return shown if shown.admissible.any() else None


def recipe(belief: Belief, limits: Limits | None = None) -> Recipe:
    """Fastest admissible setting of the belief's laser, with its margins; none is an answer too.

    Args:
        belief: what is known.
        limits: of the job; None: the ordinary ones.
    """
    expect_belief(belief, limits)
    limits = limits or Limits()
    return recipe_in(forecast(belief, limits))


def recipe_in(wide: Window, with_margins: bool = True) -> Recipe:
    """The recipe of a window over the whole envelope; margins only where they are wanted, they cost as much again."""
    belief, limits = wide.belief, wide.limits
    near = forecast(belief, limits, _climbed(wide).settings)
    shown = _proven_window(belief, limits)
    most = near.area_rate[near.best] if near.admissible.any() else 0.0
    confirmed = shown is not None and bool(shown.area_rate[shown.best] >= KEEP_PROVEN * most)
    if shown is not None and confirmed:
        near = shown
    if not near.admissible.any():
        return _none(belief, limits, wide, near)
    best = near.best
    setting = near.settings[best]
    confirmed = confirmed or any(same(setting, laid) for laid in proven(belief))
    p_clean, p_harm, rate = float(near.p_clean[best]), float(near.p_harm[best]), float(near.area_rate[best])
    gentle = near.admissible & (near.p_harm <= 0.5 * p_harm)
    gentler = near.settings[int(np.argmax(np.where(gentle, near.area_rate, -1.0)))] if gentle.any() else None
    governs = near.governs(best)
    because = (
        f"{'Fastest proven' if confirmed else 'Fastest'} setting with a chance of clean of at least "
        f"{percent(limits.p_clean)} and of harm of at most {percent(limits.p_harm)}: {chance(p_clean)} and "
        f"{chance(p_harm)}, "
        f"from {many_of(len(belief.evidence), 'graded patch')}. Harm would first come from the {governs}"
        + ("." if confirmed else "; lay a confirmation patch at this very setting before the piece.")
    )
    odd = surprises(belief) if with_margins else ()
    if odd:
        because += f" {odd[0].because}"
    found = margins(belief, limits, setting) if with_margins else {}
    others = alternatives(belief, limits, setting) if with_margins else ()
    binds = what_binds(belief, limits, setting, confirmed) if with_margins else ""
    return Recipe(setting, because, p_clean, p_harm, rate, found, gentler, governs, confirmed, binds, others)


def proven(belief: Belief) -> list[Setting]:
    """Settings graded clean and harmless, and never otherwise, down to the last layer."""
    last = len(belief.surface.coats) - 1
    good = [g.moved() for g in belief.evidence if g.residue == "clean" and g.harm == "none" and g.layer == last]
    bad = [g.moved() for g in belief.evidence if g.harm != "none" or (g.layer == last and g.residue != "clean")]
    return [s for s in dict.fromkeys(good) if fits(belief, s) and not any(same(s, other) for other in bad)]


def same(a: Setting, b: Setting, tolerance: float = 0.03) -> bool:
    """True if two settings are the same on a panel (within 3 % in each knob; common practice, no source)."""
    if a.passes != b.passes or a.pattern != b.pattern:
        return False
    return all(abs(math.log(getattr(a, knob) / getattr(b, knob))) <= tolerance for knob in BOUNDS)


def _none(belief: Belief, limits: Limits, wide: Window, near: Window) -> Recipe:
    windows = (wide, near)
    p_clean = np.concatenate([w.p_clean for w in windows])
    p_harm = np.concatenate([w.p_harm for w in windows])
    harmless, cleaning = p_harm <= limits.p_harm, p_clean >= limits.p_clean
    best = int(np.argmax(slack(near.p_clean, near.p_harm, limits)))
    governs = near.governs(best)
    if not cleaning.any():
        why = f"no setting reaches a chance of clean of {percent(limits.p_clean)}: the best is {chance(p_clean.max())}"
    elif not harmless.any():
        why = (
            f"no setting keeps harm to {percent(limits.p_harm)}: the least is {chance(p_harm.min())}, by the {governs}"
        )
    else:
        why = (
            f"settings with harm of at most {percent(limits.p_harm)} reach a chance of clean of "
            f"{chance(p_clean[harmless].max())} only, and those that reach {percent(limits.p_clean)} harm with a "
            f"chance of {chance(p_harm[cleaning].min())} by the {governs}"
        )
    if wide.chance <= DECLINE:
        more = f"the chance that any setting works is {chance(wide.chance)}: stop here, another method is advised"
    elif len(belief.evidence) < 12:
        more = "more patches narrow this down"
    else:
        more = "the patches so far leave no room; another method may be advised"
    return Recipe(
        None,
        f"None: {why}. After {many_of(len(belief.evidence), 'graded patch')}; {more}.",
        float(near.p_clean[best]),
        float(near.p_harm[best]),
        0.0,
        {},
        None,
        governs,
    )


def margins(belief: Belief, limits: Limits, setting: Setting) -> dict[str, tuple[float, float]]:
    """{knob: (lowest, highest)} for which the limits hold with the others unchanged; stand_off in metres from focus."""

    def reach(make: Callable[[float], Setting], values: np.ndarray, here: int) -> tuple[float, float]:
        made: list[Setting | None] = []
        for value in values:
            try:
                changed_setting = make(float(value))
            except InputError:
                made.append(None)
                continue
            made.append(changed_setting if fits(belief, changed_setting) else None)
        window = forecast(belief, limits, [s or setting for s in made])
        good = [bool(ok) and s is not None for ok, s in zip(window.admissible, made, strict=True)]
        low = high = here
        while low > 0 and good[low - 1]:
            low -= 1
        while high < len(values) - 1 and good[high + 1]:
            high += 1
        return float(values[low]), float(values[high])

    middle = len(FACTORS) // 2
    found: dict[str, tuple[float, float]] = {}
    for knob in ("average_power", "repetition_rate", "travel_speed", "sweep_width"):
        value = getattr(setting, knob)

        def changed(x: float, knob: str = knob) -> Setting:
            return setting.with_(**{knob: x})

        found[knob] = reach(changed, value * FACTORS, middle)
    rayleigh = math.pi * setting.spot_radius**2 / (belief.laser.m2 * belief.laser.wavelength)
    _, far = reach(
        lambda z: setting.with_(spot_radius=setting.spot_radius * math.sqrt(1 + (z / rayleigh) ** 2)), STAND_OFFS, 0
    )
    found["stand_off"] = (-far, far)
    return found
