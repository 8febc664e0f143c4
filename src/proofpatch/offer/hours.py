"""Hours of a job as a distribution: strokes under a hand, what is done between them, and what stands around."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

import numpy as np

from proofpatch.errors import InputError, expect
from proofpatch.learn.belief import Belief, expect_belief
from proofpatch.learn.recipe import Recipe
from proofpatch.offer.drivers import Driver, drivers_of
from proofpatch.offer.laying import lay
from proofpatch.offer.learning import batch_factor
from proofpatch.offer.rates import BOUNDS, GIVEN, SAMPLES, Draws, Floats, rates_data
from proofpatch.offer.zones import MOST_PIECES, Preliminaries, Zone, effective_area, zones_of
from proofpatch.physics.setting import finite_number

__all__ = ["BOUNDS", "GIVEN", "SAMPLES", "Correction", "Hours", "Preliminaries", "Zone", "hours", "rates_data"]

UNCORRECTED = "no finished job of this shop corrects these hours yet"
COUNTS = "how far each counts is common practice, no source"
# The parts that the hand learns in a batch; the beam does not learn.
LEARNED = ("turning strokes", "standing anew", "looking", "lens windows", "dusting down", "masking", "clamping",
           "finishing by hand", "around the beam")  # fmt: skip
AT_PIECE = ("beam on", "around the beam", "turning strokes", "standing anew", "dusting down", "looking", "lens windows",
            "going over again", "finishing by hand", "masking", "clamping")  # fmt: skip


@dataclass(frozen=True)
class Correction:
    """What the shop's finished jobs say of these hours: true time over predicted time.

    Args:
        factor: its median as it is believed, > 0 [1]. spread: one standard deviation of its logarithm [1].
        jobs: it rests on.

    The seam for the run log; with no job it is neutral, and said so.
    """

    factor: float = 1.0
    spread: float = 0.0
    jobs: int = 0

    def __post_init__(self) -> None:
        for name, low, high in (("factor", 0.05, 20.0), ("spread", 0.0, 2.0), ("jobs", 0, 1e6)):
            number = finite_number(f"correction.{name}", f"The {name}", getattr(self, name), low, high, "")
            object.__setattr__(self, name, int(number) if name == "jobs" else number)
        if self.jobs == 0 and (self.factor != 1.0 or self.spread != 0.0):
            raise InputError("correction.jobs", "A correction rests on no job.", "Say on how many finished jobs.")

    def drawn(self, draws: Draws) -> Floats:
        """One factor for every sample."""
        noise = draws.rng("correction").standard_normal(draws.samples)
        return draws.keep("correction", self.factor * np.exp(self.spread * noise))

    @property
    def words(self) -> str:
        """What it says, in a line."""
        if not self.jobs:
            return UNCORRECTED
        if self.jobs == 1:
            return f"1 finished job of the shop makes these hours {self.factor:.3g} times as long ({COUNTS})"
        return f"{self.jobs} finished jobs of the shop make these hours {self.factor:.3g} times as long ({COUNTS})"


@dataclass(frozen=True)
class Hours:
    """Seconds of the whole job, sampled.

    drivers: what they rest on, in words. parts: {what is done: seconds}, which add up to `seconds`. pieces: in the
    batch. ranked: what makes the doubt, the largest first. lens_windows: worn. filter_holds: of dust [kg].
    rates: that were drawn, by name; True where it is the shop's own.
    """

    seconds: Floats
    drivers: tuple[str, ...]
    parts: Mapping[str, Floats] = field(default_factory=dict)
    pieces: int = 1
    ranked: tuple[Driver, ...] = ()
    lens_windows: Floats | float = 0.0
    filter_holds: Floats | float = 1.0
    rates: Mapping[str, bool] = field(default_factory=dict)

    def quantile(self, p: float) -> float:
        """Time that is not exceeded with chance p [s]."""
        return float(np.quantile(self.seconds, p))

    @property
    def mean(self) -> float:
        """Expected time [s]."""
        return float(self.seconds.mean())

    @property
    def at_work(self) -> Floats:
        """Seconds without the road and waiting, in which the laser is taken."""
        away = [self.parts[name] for name in ("on the road", "waiting") if name in self.parts]
        return np.asarray(self.seconds - sum(away))

    @property
    def beam_on(self) -> Floats:
        """Seconds with the beam on."""
        return self.parts.get("beam on", self.seconds)


def hours(
    recipe: Recipe, belief: Belief, zones: Iterable[Any], rates: Mapping[str, float] | None = None, *,
    around: Preliminaries | None = None, pieces: int = 1, correction: Correction | None = None,
) -> Hours:  # fmt: skip
    """How long the job takes at this recipe.

    Args:
        recipe: with a setting. belief: gives the hand and the seed.
        zones: of one piece: areas [m²], (area, effort factor) pairs, or `Zone`s.
        rates: the shop's own in place of the remembered ones. With a `hand_factor` the time around the beam is that
            factor, and no strokes are counted.
        around: the work around the cleaning. pieces: equal ones in the batch. correction: of the finished jobs.

    Raises:
        InputError: no recipe, no area, or a number that is none.
    """
    expect("recipe", recipe, Recipe, "Make it with recipe(belief).")
    expect_belief(belief)
    if recipe.setting is None or recipe.area_rate <= 0:
        raise InputError("recipe", "There is no recipe to time.", "Test further until a setting meets the limits.")
    expect("around", around or Preliminaries(), Preliminaries, "Make it with Preliminaries(...).")
    expect("correction", correction or Correction(), Correction, "Make it with Correction(...).")
    pieces = int(finite_number("pieces", "The number of pieces", pieces, 1, MOST_PIECES, ""))
    around, correction = around or Preliminaries(), correction or Correction()
    draws = Draws(rates, belief.seed)
    parts_of_piece = zones_of(zones)
    one = _piece(recipe, belief, parts_of_piece, draws)
    beam_on = float(np.median(one["beam on"])) * pieces
    parts = _batch(one, pieces, draws, around.first_of_kind)
    parts |= _around(around, draws)
    factor = correction.drawn(draws)
    parts = {name: values * factor for name, values in parts.items()}
    if "hand_factor" not in draws.given:
        rest = draws["breaks"] / (1.0 - draws["breaks"])
        parts["rest"] = rest * sum(parts.values())
        parts |= _further_days(sum(parts.values()), around, draws)
    if around.trips and around.travel:
        parts["on the road"] = around.trips * around.travel * draws["travel"]
    if around.waiting:
        parts["waiting"] = np.full(draws.samples, around.waiting)
    seconds = np.sum(list(parts.values()), axis=0)
    area = effective_area(parts_of_piece) * pieces
    said = (f"beam-on {beam_on:.0f} s for {area:.3g} m², effort counted", *draws.said(), correction.words)
    ranked = drivers_of(seconds, draws.drawn)
    windows = parts["beam on"] / draws["lens_life"]
    own = {name: name in draws.given for name in rates_data() if name in draws.drawn}
    return Hours(
        seconds, said, MappingProxyType(parts), pieces, ranked, windows, draws["filter_holds"], MappingProxyType(own)
    )


def zone_seconds(
    recipe: Recipe, belief: Belief, zones: Iterable[Any], rates: Mapping[str, float] | None = None, *,
    around: Preliminaries | None = None, pieces: int = 1, correction: Correction | None = None,
) -> Floats:  # fmt: skip
    """Seconds at each zone of all pieces, its rest in them, (zones, samples): the draws of `hours`, zone by zone.

    Raises:
        InputError: as `hours`.
    """
    expect("recipe", recipe, Recipe, "Make it with recipe(belief).")
    if recipe.setting is None or recipe.area_rate <= 0:
        raise InputError("recipe", "There is no recipe to time.", "Test further until a setting meets the limits.")
    pieces = int(finite_number("pieces", "The number of pieces", pieces, 1, MOST_PIECES, ""))
    draws = Draws(rates, belief.seed)
    first = (around or Preliminaries()).first_of_kind
    factor = (correction or Correction()).drawn(draws)
    if "hand_factor" not in draws.given:
        factor = factor * (1.0 + draws["breaks"] / (1.0 - draws["breaks"]))
    rows = []
    for i, zone in enumerate(zones_of(zones)):
        parts = _batch(_zone(i, zone, recipe, belief, draws), pieces, draws, first)
        rows.append(np.sum(list(parts.values()), axis=0) * factor)
    return np.array(rows)


def _piece(recipe: Recipe, belief: Belief, zones: tuple[Zone, ...], draws: Draws) -> dict[str, Floats]:
    """Seconds of one piece by what is done, before any batch or rest."""
    parts: dict[str, Floats] = {}
    for i, zone in enumerate(zones):
        for name, values in _zone(i, zone, recipe, belief, draws).items():
            parts[name] = parts.get(name, np.zeros(draws.samples)) + values
    return {name: parts[name] for name in AT_PIECE if name in parts}


def _zone(i: int, zone: Zone, recipe: Recipe, belief: Belief, draws: Draws) -> dict[str, Floats]:
    """Seconds of one zone by what is done."""
    assert recipe.setting is not None
    parts: dict[str, Floats] = {}
    if "hand_factor" in draws.given:
        parts["beam on"] = zone.effective / recipe.area_rate * draws["daily_speed"]
        parts["around the beam"] = parts["beam on"] * (draws["hand_factor"] - 1.0)
    else:
        laid = lay(zone, recipe.setting, belief.hand.speed_spread, draws, f"zone {i}")
        parts |= {"beam on": laid.beam, "turning strokes": laid.turns, "standing anew": laid.stances}
        parts["dusting down"] = zone.effective * draws["wiping"]
        parts["looking"] = laid.beam * draws["looking"]
        parts["lens windows"] = laid.beam / draws["lens_every"] * draws["lens_clean"]
        again = _again(recipe.p_clean, draws)
        parts["going over again"] = again * (laid.beam + laid.turns + parts["looking"])
    for name, rate, amount in (
        ("finishing by hand", "hand_finish", zone.area * zone.count * zone.hand_share),
        ("masking", "masking", zone.masking * zone.count),
        ("clamping", "clamping", float(zone.set_ups)),
    ):
        if amount:
            parts[name] = amount * draws[rate]
    return parts


def _again(p_clean: float, draws: Draws) -> Floats:
    """Share of the first laying that is done again: a little touching up, or islands where it did not come clean."""
    clean = draws.keep("clean", (draws.rng("clean").random(draws.samples) < p_clean).astype(float))
    return np.where(clean > 0, draws["touching_up"], draws["islands"])


def _batch(one: Mapping[str, Floats], pieces: int, draws: Draws, first_of_kind: bool) -> dict[str, Floats]:
    """The piece times the batch: the beam does not learn, the hand does."""
    many = batch_factor(pieces, draws["learning"]) if pieces > 1 else 1.0
    new = draws["first_of_kind"] if first_of_kind else 1.0
    return {name: values * (many * new if name in LEARNED else pieces) for name, values in one.items()}


def _around(around: Preliminaries, draws: Draws) -> dict[str, Floats]:
    """What comes once, or once a trip."""
    parts = {"setting up": draws["set_up"] * max(around.trips, 1)}
    if around.strips:
        parts["test strips"] = around.strips * draws["strip"]
    return parts


def _further_days(seconds: Any, around: Preliminaries, draws: Draws) -> dict[str, Floats]:
    """Starting up again on each day beyond the first, or beyond the trips that are already set up for."""
    days = np.ceil(seconds / draws["day"])
    further = np.maximum(days - max(around.trips, 1), 0.0)
    return {"further days": further * draws["day_start"]} if further.any() else {}
