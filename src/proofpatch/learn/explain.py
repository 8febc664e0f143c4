"""Why this recipe: what keeps it from being faster, and what its nearest neighbours would cost.

Everything is asked of the belief at settings one step away; two beliefs give two answers.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from proofpatch.errors import InputError
from proofpatch.learn.belief import Belief
from proofpatch.learn.forecast import FASTEST_HAND, Window, fits, forecast
from proofpatch.learn.limits import Limits
from proofpatch.physics.setting import Setting
from proofpatch.units import chance, percent

STEP = 1.25  # of a knob: what a hand or a panel can tell apart (common practice, no source)
# Words of a step, and which knobs it turns by how much.
TURNS: tuple[tuple[str, dict[str, float]], ...] = (
    ("a hand a quarter faster", {"travel_speed": STEP}),
    ("a hand a quarter slower", {"travel_speed": 1 / STEP}),
    ("a quarter more power", {"average_power": STEP}),
    ("a fifth less power", {"average_power": 1 / STEP}),
    ("a rate a quarter higher at the same power", {"repetition_rate": STEP}),
    ("a rate a fifth lower at the same power", {"repetition_rate": 1 / STEP}),
)
SAME_TIME = 0.02  # rates closer than this are called the same


@dataclass(frozen=True)
class Alternative:
    """A setting one step from the recipe, and what it would cost. holds: it is inside the limits too."""

    words: str
    setting: Setting
    p_clean: float
    p_harm: float
    area_rate: float
    holds: bool
    because: str


def turned(belief: Belief, setting: Setting) -> list[tuple[str, Setting]]:
    """The steps from a setting that the laser and a hand can make: knobs by a quarter, a pass more or less."""
    found: list[tuple[str, dict[str, Any]]] = [
        (words, {knob: getattr(setting, knob) * factor for knob, factor in turn.items()}) for words, turn in TURNS
    ]
    found.append(("one pass more", {"passes": setting.passes + 1}))
    if setting.passes > 1:
        found.append(("one pass less", {"passes": setting.passes - 1}))
    steps = []
    for words, change in found:
        try:
            step = setting.with_(**change)
        except InputError:
            continue
        if fits(belief, step):
            steps.append((words, step))
    return steps


def alternatives(belief: Belief, limits: Limits, setting: Setting, count: int = 3) -> tuple[Alternative, ...]:
    """The nearest alternatives worth a word: the fastest first that is faster, then the gentlest, then the cleanest.

    Args:
        belief: what is known.
        limits: of the job.
        setting: the recipe.
        count: how many.
    """
    steps = turned(belief, setting)
    window = forecast(belief, limits, [setting, *(step for _, step in steps)])
    all_of = [_told(words, window, i) for i, (words, _) in enumerate(steps, 1)]
    by = (
        lambda a: (-a.area_rate, a.p_harm - a.p_clean),
        lambda a: (a.p_harm, -a.area_rate),
        lambda a: (-a.p_clean, a.p_harm),
    )
    chosen: list[Alternative] = []
    for n in range(count):
        rest = sorted((a for a in all_of if a not in chosen), key=by[n % len(by)])
        chosen += rest[:1]
    return tuple(chosen)


def _told(words: str, window: Window, i: int) -> Alternative:
    """What step i costs beside the recipe, which is entry 0 of the window."""
    p_clean, p_harm, rate = (float(v[i]) for v in (window.p_clean, window.p_harm, window.area_rate))
    time = window.area_rate[0] / rate
    if abs(time - 1) < SAME_TIME:
        pace = "the same time"
    else:
        pace = f"{percent(abs(time - 1))} {'more' if time > 1 else 'less'} time"
    holds = bool(window.admissible[i])
    verdict = "inside the limits too" if holds else "outside the limits"
    because = (
        f"{words[:1].upper()}{words[1:]}: {pace}, clean {chance(p_clean)} instead of {chance(window.p_clean[0])}, "
        f"harm {chance(p_harm)} instead of {chance(window.p_harm[0])}; {verdict}."
    )
    return Alternative(words, window.settings[i], p_clean, p_harm, rate, holds, because)


def what_binds(belief: Belief, limits: Limits, setting: Setting, shown: bool = False) -> str:
    """One sentence: what keeps this setting from being faster. shown: a patch at it was graded clean and harmless.

    A quarter faster is tried. Where it leaves coating, it is looked whether more light would do (threshold and dose
    bind, and the laser if it has no more) or only more overlap; where it harms, the clock is named.
    """
    faster = [
        ("travel_speed", setting.travel_speed * STEP) if setting.travel_speed * STEP <= FASTEST_HAND else None,
        ("passes", setting.passes - 1) if setting.passes > 1 else None,
    ]
    steps = [setting.with_(**dict([change])) for change in faster if change]
    if not steps:
        return f"The hand is at {setting.travel_speed * 1e3:.3g} mm/s, the fastest asked of one, in one pass."
    window = forecast(belief, limits, steps)
    i = int(np.argmax(window.p_clean - window.p_harm))
    step, p_clean, p_harm = steps[i], float(window.p_clean[i]), float(window.p_harm[i])
    how = "A hand a quarter faster" if step.passes == setting.passes else "One pass less"
    if p_clean >= limits.p_clean and p_harm <= limits.p_harm:
        reason = "this one is proven" if shown else "the search had not come to it"
        return f"{how} would hold the limits too (clean {chance(p_clean)}, harm {chance(p_harm)}); {reason}."
    if p_clean >= limits.p_clean:
        return f"{how} would harm by the {window.governs(i)} with a chance of {chance(p_harm)}."
    lost = f"{how} would be clean with a chance of {chance(p_clean)} only"
    more = step.with_(average_power=step.average_power * STEP)
    if not fits(belief, more):
        return f"{lost}, and the laser has no more power at this rate and width (the laser binds)."
    asked = forecast(belief, limits, [more])
    if asked.p_clean[0] >= limits.p_clean:
        return (
            f"{lost}; a quarter more power would mend that (clean {chance(asked.p_clean[0])}), harm "
            f"{chance(asked.p_harm[0])} by the {asked.governs(0)}."
        )
    return (
        f"{lost}, and a quarter more power makes that {chance(asked.p_clean[0])}: places between the pulses bind, not "
        "the dose."
    )
