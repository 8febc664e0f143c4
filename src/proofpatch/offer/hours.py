"""Hours of a job as a distribution: area over rate, passes, hand, set-up."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from proofpatch.errors import InputError, expect
from proofpatch.learn.belief import Belief, expect_belief
from proofpatch.learn.recipe import Recipe
from proofpatch.physics.setting import finite_number
from proofpatch.sources import Datum, cite, read_table

SAMPLES = 2000
GIVEN = ("set_up", "hand_factor")  # what a shop may know better
BOUNDS = {"set_up": (0.0, 1e6, "s"), "hand_factor": (1.0, 20.0, "")}


@lru_cache(maxsize=1)
def rates_data() -> dict[str, Datum]:
    """The remembered rates by name."""
    return {row.keys["property"]: row.datum for row in read_table(Path(__file__).with_name("rates.csv"))}


@dataclass(frozen=True)
class Hours:
    """Seconds at the piece, sampled; `drivers` says what they rest on."""

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
        belief: gives the seed.
        zones: areas [m²], or (area, effort factor) pairs.
        rates: the shop's own set_up [s] and hand_factor in place of the remembered ones.

    Raises:
        InputError: no recipe, no area, or a number that is none.
    """
    expect("recipe", recipe, Recipe, "Make it with recipe(belief).")
    expect_belief(belief)
    if recipe.setting is None or recipe.area_rate <= 0:
        raise InputError("recipe", "There is no recipe to time.", "Test further until a setting meets the limits.")
    expect("rates", rates or {}, Mapping, "Give {name: value}.")
    given = dict(rates or {})
    for name in given:
        if name not in GIVEN:
            raise InputError("rates", f"The rate {name!r} is not known.", f"Use: {', '.join(GIVEN)}.")
    area = _effective_area(zones)
    rng = np.random.default_rng([belief.seed, 3])

    def drawn(name: str) -> NDArray[np.float64]:
        """Lognormal with the datum's 90 % range; the shop's own value keeps the remembered width."""
        datum = rates_data()[name]
        value = datum.value
        if name in given:
            low, high, unit = BOUNDS[name]
            value = finite_number(f"rates.{name}", f"The rate {name}", given[name], low, high, unit)
        width = math.log((datum.high or datum.value) / (datum.low or datum.value)) / (2 * ndtri(0.95))
        return np.asarray(value * np.exp(width * rng.standard_normal(SAMPLES)))

    beam_on = area / recipe.area_rate
    seconds = beam_on * drawn("daily_speed") * drawn("hand_factor") + drawn("set_up")
    known = [f"{name.replace('_', ' ')}: the shop's own" for name in given]
    remembered = [f"{d.locator} ({cite(d)})" for name, d in rates_data().items() if name not in given]
    return Hours(seconds, (f"beam-on {beam_on:.0f} s for {area:.3g} m², effort counted", *known, *remembered))


def _effective_area(zones: Iterable[Any]) -> float:
    """Area times effort, summed [m²]."""
    found = []
    for zone in zones:
        area, effort = zone if isinstance(zone, (tuple, list)) and len(zone) == 2 else (zone, 1.0)
        area = finite_number("zones", "An area", area, 1e-6, 1e5, "m²")
        found.append(area * finite_number("zones", "An effort factor", effort, 0.1, 20.0, ""))
    if not found:
        raise InputError("zones", "No area is given.", "Measure at least one.")
    return math.fsum(found)
