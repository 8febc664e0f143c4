"""Can it be done at all? P(clean) and P(harm) over everything the laser and the hand can do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import InputError
from proofpatch.lasers import Laser
from proofpatch.learn.assumptions import assumption
from proofpatch.learn.belief import Belief, expect_belief
from proofpatch.learn.evidence import HARMS, RESIDUES
from proofpatch.learn.grading import CLEAN_EDGE, as_typical, harm_chance, residue_chance
from proofpatch.learn.kernels import outcomes, window
from proofpatch.learn.limits import Limits
from proofpatch.learn.rows import hand_row, setting_rows
from proofpatch.phrases import many_of
from proofpatch.physics.elementwise import normal_cdf
from proofpatch.physics.outcome import CLOCKS
from proofpatch.physics.rows import GRADER
from proofpatch.physics.setting import Setting
from proofpatch.units import chance as said
from proofpatch.units import percent

Floats = NDArray[np.float64]
WORTH_IT, DECLINE = 0.8, 0.2
SLOWEST_HAND, FASTEST_HAND = 2e-3, 150e-3
FORECAST_DRAWS = 512
# How finely the window spans the envelope.
RATES, SPEEDS = 6, 6
POWER_SHARES = (1.0, 0.55)
PASSES = (1, 3, 12, 40)


@lru_cache(maxsize=16)
def envelope(laser: Laser) -> tuple[Setting, ...]:
    """Settings that span the laser's envelope and a hand from 2 to 150 mm/s."""
    widths = [width for width, _ in laser.energy_limits]
    speeds = np.geomspace(SLOWEST_HAND, FASTEST_HAND, SPEEDS)
    seen: dict[tuple[float, ...], Setting] = {}
    patterns = laser.handpiece.patterns
    pattern = "line" if "line" in patterns else patterns[0]
    for width in widths:
        corner = laser.max_power / laser.max_energy(width)
        low = max(laser.min_rate, 0.3 * corner)
        rates = np.unique(np.append(np.geomspace(low, laser.max_rate, RATES), np.clip(corner, low, laser.max_rate)))
        for rate in rates:
            full = min(laser.max_power, rate * laser.max_energy(width))
            for share in POWER_SHARES:
                for speed in speeds:
                    for passes in PASSES:
                        key = (width, float(rate), full * share, float(speed), passes)
                        seen[key] = Setting(
                            full * share * (1 - 1e-9),
                            float(rate),
                            width,
                            laser.spot_radius,
                            laser.handpiece.sweep_width_default,
                            laser.handpiece.sweep_speed_default,
                            float(speed),
                            passes,
                            pattern,
                        )
    return tuple(seen.values())


def fits(belief: Belief, setting: Setting) -> bool:
    """True if the laser's envelope holds the setting and a hand can move so."""
    try:
        belief.laser.check(setting)
    except InputError:
        return False
    return SLOWEST_HAND <= setting.travel_speed <= FASTEST_HAND


@dataclass(frozen=True, eq=False)
class Window:
    """What every setting would do to the finished surface.

    settings: tuple of Setting. p_clean, p_harm, area_rate [m²/s], light: arrays of the same length;
    light is the share of the light that heats the substrate while the coating is there. chance: share of
    the belief's draws in which at least one of the settings cleans without harm.
    """

    settings: tuple[Setting, ...]
    p_clean: Floats
    p_harm: Floats
    area_rate: Floats
    light: Floats
    clocks: Floats
    chance: float
    limits: Limits
    belief: Belief = field(repr=False)

    def __eq__(self, other: object) -> bool:
        mine = (self.belief, self.limits, self.settings)
        return isinstance(other, Window) and mine == (other.belief, other.limits, other.settings)

    def __hash__(self) -> int:
        return hash((self.belief, self.limits, len(self.settings)))

    @property
    def answer(self) -> str:
        """worth it, test first or decline."""
        if self.chance >= WORTH_IT:
            return "worth it"
        return "decline" if self.chance <= DECLINE else "test first"

    @property
    def admissible(self) -> NDArray[np.bool_]:
        """Which settings meet the limits as they stand."""
        return (self.p_clean >= self.limits.p_clean) & (self.p_harm <= self.limits.p_harm)

    @property
    def best(self) -> int:
        """Index of the fastest admissible setting; without one, of the likeliest to clean without harm."""
        if self.admissible.any():
            return int(np.argmax(np.where(self.admissible, self.area_rate, -1.0)))
        return int(np.argmax(self.p_clean * (1.0 - self.p_harm) + 1e-9 * self.area_rate))

    def governs(self, index: int) -> str:
        """Which clock most of the draws run into first at this setting."""
        return CLOCKS[int(np.argmax(self.clocks[index]))]

    def at(self, setting: Setting) -> tuple[float, float, dict[str, dict[str, float]]]:
        """(p_clean, p_harm, p_grades) at one setting, p_grades {"residue": {grade: p}, "harm": {grade: p}}."""
        return grades_at(self.belief, setting)

    @property
    def because(self) -> str:
        """The sentence that explains the answer, every number from the belief."""
        return reason(self)


def grades_at(belief: Belief, setting: Setting) -> tuple[float, float, dict[str, dict[str, float]]]:
    """P(clean) and P(harm) of the finished surface at one setting, and what a grader would say of it."""
    if not isinstance(setting, Setting):
        raise InputError("setting", "The setting is not described.", "Build it with Setting(...).")
    noise = assumption("setting_noise").value
    wrong = assumption("wrong_grade").value
    need, spread, margin, _, _, _ = (
        a[:, 0]
        for a in outcomes(
            belief.layer,
            belief.substrate,
            setting_rows([setting], belief.laser),
            hand_row(belief.hand),
            len(belief.surface.coats) - 1,
        )
    )
    total = np.sqrt(noise**2 + belief.substrate[:, GRADER] ** 2)
    usual = belief.typical_spread(setting_rows([setting], belief.laser), hand_row(belief.hand))[0]
    short = as_typical(need, spread, usual)
    w = belief.weight
    residue = {g: float(w @ residue_chance(4 - i, short, usual, total, wrong)) for i, g in enumerate(RESIDUES)}
    harm = {g: float(w @ harm_chance(i, margin, total, wrong)) for i, g in enumerate(HARMS)}
    p_clean = float(w @ normal_cdf((CLEAN_EDGE * spread - need) / noise))
    return p_clean, float(w @ normal_cdf(-margin / noise)), {"residue": residue, "harm": harm}


def forecast(
    belief: Belief, limits: Limits | None = None, settings: Sequence[Setting] | None = None, draws: int | None = None
) -> Window:
    """For each setting P(clean), P(harm) and area rate of the finished surface; and the chance.

    Args:
        belief: what is known.
        limits: of the job; None: the ordinary ones.
        settings: speak of just those; None: of a window that spans the laser's envelope.
        draws: how many of the belief's to use; None: all for given settings, 512 for the whole window.

    Raises:
        InputError: an empty list of settings.
    """
    expect_belief(belief, limits)
    chosen = envelope(belief.laser) if settings is None else tuple(settings)
    if not chosen:
        raise InputError(
            "settings", "There is no setting to speak of.", "Give at least one, or leave it out for the whole window."
        )
    for setting in chosen:
        if not isinstance(setting, Setting):
            raise InputError("settings", "An entry of the settings is not a Setting.", "Build it with Setting(...).")
    if settings is None and draws is None:
        # Patches, recipe and stopping all look at the whole window: it is worked out once, and no limit is in it.
        held = vars(belief).get("whole") or _asked(belief, chosen, setting_rows_cached(belief.laser), FORECAST_DRAWS)
        vars(belief)["whole"] = held
        return replace(held, limits=limits or Limits())
    found = _asked(belief, chosen, setting_rows(chosen, belief.laser), draws or belief.draws)
    return replace(found, limits=limits or Limits())


def _asked(belief: Belief, settings: tuple[Setting, ...], rows: Floats, draws: int) -> Window:
    """The window of these settings and their rows, under the ordinary limits."""
    few = thinned(belief, draws)
    hand, noise = hand_row(belief.hand), assumption("setting_noise").value
    p_clean, p_harm, light, clocks, suits = window(few.layer, few.substrate, few.weight, rows, hand, noise)
    rates = np.array([area_rate(s) for s in settings])
    for array in (p_clean, p_harm, light, clocks, rates):
        array.setflags(write=False)
    return Window(
        settings=settings, p_clean=p_clean, p_harm=p_harm, area_rate=rates, light=light,
        clocks=clocks, chance=float(few.weight @ suits), limits=Limits(), belief=belief,
    )  # fmt: skip


@lru_cache(maxsize=16)
def setting_rows_cached(laser: Laser) -> Floats:
    """Rows of the envelope, once per laser."""
    return setting_rows(envelope(laser), laser)


@dataclass(frozen=True)
class Draws:
    """Some draws of a belief, for work that does not need all."""

    layer: Floats
    substrate: Floats
    weight: Floats


def thinned(belief: Belief, most: int) -> Draws:
    """Every k-th draw, weights renewed: draws stand in no order, so this is a fair share of them."""
    step = max(belief.draws // most, 1)
    weight = belief.weight[::step]
    return Draws(belief.layer[::step], belief.substrate[::step], weight / weight.sum())


def share_of_thinned(belief: Belief, most: int) -> float:
    """How much of the belief's whole weight the draws of `thinned` carry [1]."""
    return float(belief.weight[:: max(belief.draws // most, 1)].sum())


def area_rate(setting: Setting) -> float:
    """Area finished per second of beam-on [m²/s]: u W / passes."""
    return setting.travel_speed * setting.sweep_width / setting.passes


def light_taken(belief: Belief) -> tuple[float, float, float]:
    """Share of the light the coating takes: median and 90 % range over the draws."""
    optical = (belief.layer[:, :, 2] * belief.layer[:, :, 0]).sum(axis=1)
    share = (1.0 - belief.layer[:, 0, 3]) * -np.expm1(-optical)
    return quantiles(share, belief.weight)


def quantiles(values: Floats, weight: Floats) -> tuple[float, float, float]:
    """Weighted median, 5 % and 95 % point."""
    order = np.argsort(values)
    steps = np.cumsum(weight[order])
    found = [float(values[order][min(int(np.searchsorted(steps, q)), len(values) - 1)]) for q in (0.5, 0.05, 0.95)]
    return found[0], found[1], found[2]


def reason(window: Window) -> str:
    """Why the answer is what it is."""
    belief, best = window.belief, window.best
    middle, low, high = light_taken(belief)
    patches = len(belief.evidence)
    recalled = sum(datum.status == "memory" for datum in belief.data)
    rests = (
        many_of(patches, "graded patch")
        if patches
        else f"physics and data ({recalled} of {len(belief.data)} values from memory), no patch yet"
    )
    light = f"The coating takes {percent(middle)} of the light ({percent(low)} to {percent(high)})"
    setting = window.settings[best]
    clean, harm = window.p_clean[best], window.p_harm[best]
    safe = window.p_harm <= window.limits.p_harm_patch
    cleaning = float(np.max(np.where(safe, window.p_clean, 0.0))) if safe.any() else 0.0
    if window.answer == "worth it":
        verdict = (
            f"and at {setting.pulse_energy * 1e3:.3g} mJ a pulse it comes off clean with a chance of "
            f"{said(clean)}, harm {said(harm)}"
        )
    elif float(np.max(window.p_clean)) < DECLINE + 0.1:
        verdict = (
            f"and no setting of this laser is likely to take it off (best chance of clean {said(window.p_clean.max())})"
        )
    else:
        verdict = (
            f"and settings that clean come close to harm by the {window.governs(best)} "
            f"(best chance of clean at a harm of at most {percent(window.limits.p_harm_patch)}: {said(cleaning)})"
        )
    thinkable = f"In {said(window.chance)} of what is thinkable here some setting works"
    return f"{light}, {verdict}. {thinkable}. This rests on {rests}."
