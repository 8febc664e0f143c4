"""Hours of a job as a distribution: area over rate, passes, hand, set-up."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import InputError
from proofpatch.learn.belief import Belief
from proofpatch.learn.recipe import Recipe
from proofpatch.physics.setting import finite_number

# name: (value, 90 % range as a factor each way, words); from memory, unverified, until the shop's own jobs say better.
RATES = {
    "set_up": (1800.0, 1.6, "set-up and clearing away [s]"),
    "hand_factor": (1.8, 1.5, "time at the piece over beam-on time: overlap of lanes, moving, looking, resting"),
}
SAMPLES = 2000


@dataclass(frozen=True)
class Hours:
    """Seconds at the piece, sampled. Ask for `quantile(p)`, `mean`; `drivers` says what was assumed."""

    seconds: NDArray[np.float64]
    drivers: tuple[str, ...]

    def quantile(self, p: float) -> float:
        """Time that is not exceeded with chance p [s]."""
        return float(np.quantile(self.seconds, p))

    @property
    def mean(self) -> float:
        """Expected time [s]."""
        return float(self.seconds.mean())


def hours(recipe: Recipe, belief: Belief, zones: Iterable[Any], rates: Mapping[str, float] | None = None) -> Hours:
    """How long the job takes at this recipe.

    Args:
        recipe: with a setting.
        belief: gives the seed and the hand's spread of speed.
        zones: areas [m²], or (area, effort factor) pairs.
        rates: the shop's own set_up [s] and hand_factor in place of the remembered ones.

    Raises:
        InputError: no recipe, no area, or a number that is none.
    """
    if recipe.setting is None or recipe.area_rate <= 0:
        raise InputError("recipe", "There is no recipe to time.", "Test further until a setting meets the limits.")
    given = dict(rates or {})
    for name in given:
        if name not in RATES:
            raise InputError("rates", f"The rate {name!r} is not known.", f"Use: {', '.join(RATES)}.")
    areas: list[float] = []
    for zone in zones:
        area, effort = zone if isinstance(zone, (tuple, list)) else (zone, 1.0)
        areas.append(
            finite_number("zones", "An area", area, 1e-6, 1e5, "m²")
            * finite_number("zones", "An effort factor", effort, 0.1, 20.0, "")
        )
    if not areas:
        raise InputError("zones", "No area is given.", "Measure at least one.")
    rng = np.random.default_rng([belief.seed, 3])

    def drawn(name: str) -> NDArray[np.float64]:
        value, factor, words = RATES[name]
        value = finite_number("rates", words, given.get(name, value), 0.0, 1e7, "")
        return value * np.exp(rng.standard_normal(SAMPLES) * math.log(factor) / 1.645)

    speed = np.exp(
        rng.standard_normal(SAMPLES) * math.log1p(belief.hand.speed_spread) / 1.96 / 3.0
    )  # the day's mean varies a third as much
    beam_on = math.fsum(areas) / recipe.area_rate * speed
    drivers = (
        f"beam-on {math.fsum(areas) / recipe.area_rate:.0f} s for {math.fsum(areas):.3g} m² (effort counted)",
        *(words for _, _, words in RATES.values()),
    )
    return Hours(beam_on * drawn("hand_factor") + drawn("set_up"), drivers)
