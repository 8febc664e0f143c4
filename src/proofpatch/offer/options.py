"""Ways to do the job side by side: all of it or the front, the recipe or a gentler or faster one, one piece or many."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any

from proofpatch.errors import InputError
from proofpatch.learn.belief import Belief
from proofpatch.learn.forecast import area_rate, grades_at
from proofpatch.learn.recipe import Recipe
from proofpatch.offer.hours import Correction, Hours, hours
from proofpatch.offer.price import Price, Prices, cost_of, price
from proofpatch.offer.rates import Floats
from proofpatch.offer.removed import removed_mass
from proofpatch.offer.zones import Preliminaries, Zone
from proofpatch.phrases import raised
from proofpatch.physics.setting import Setting

WORTH_FASTER = 1.05  # times the recipe's rate; less is no choice (common practice, no source)
BATCHES = (1, 2, 5, 10)


@dataclass(frozen=True)
class Asked:
    """What is asked of an offer. zones: of one piece. front: which of them are the front. captured: of the fume [1].

    net: the owner's own price of the first choice, None to have one made.
    """

    zones: tuple[Zone, ...]
    prices: Prices
    front: tuple[bool, ...] = ()
    rates: Mapping[str, float] = field(default_factory=dict)
    around: Preliminaries = field(default_factory=Preliminaries)
    pieces: int = 1
    correction: Correction = field(default_factory=Correction)
    captured: float = 1.0
    net: Decimal | None = None


@dataclass(frozen=True)
class Choice:
    """One way: its zones, hours, costs by line and price. words: what it means for the customer."""

    name: str
    words: str
    recipe: Recipe
    zones: tuple[Zone, ...]
    hours: Hours
    cost: Mapping[str, Floats]
    price: Price


def choose(name: str, words: str, recipe: Recipe, belief: Belief, asked: Asked, net: Any = None) -> Choice:
    """One way of doing it, timed and priced.

    Raises:
        InputError: no recipe, no zone, or nothing has a price.
    """
    found = hours(recipe, belief, asked.zones, asked.rates, around=asked.around, pieces=asked.pieces,
                  correction=asked.correction)  # fmt: skip
    area = sum(zone.area * zone.count * (1.0 - zone.hand_share) for zone in asked.zones) * asked.pieces
    mass = removed_mass(belief, area, asked.captured)
    cost = cost_of(found, asked.prices, mass, asked.around.trips * asked.around.distance)
    return Choice(name, words, recipe, asked.zones, found, cost, price(found, cost, asked.prices, net))


def side_by_side(recipe: Recipe, belief: Belief, asked: Asked) -> tuple[Choice, ...]:
    """The job as asked first, then what else could be offered.

    Raises:
        InputError: as `choose`.
    """
    found = [choose("As asked", "All zones, at the recipe.", recipe, belief, asked, asked.net)]
    if any(asked.front) and not all(asked.front):
        fronts = tuple(zone for zone, seen in zip(asked.zones, asked.front, strict=True) if seen)
        rest = [zone.name for zone, seen in zip(asked.zones, asked.front, strict=True) if not seen]
        found.append(choose("Front only", _stays(rest), recipe, belief, replace(asked, zones=fronts)))
    if recipe.gentler is not None:
        slower = _at(recipe, belief, recipe.gentler)
        found.append(choose("Gentler", "Slower, with at most half the chance of a mark.", slower, belief, asked))
    fast = max((one for one in recipe.alternatives if one.holds), key=lambda one: one.area_rate, default=None)
    if fast is not None and fast.area_rate > WORTH_FASTER * recipe.area_rate:
        quick = _at(recipe, belief, fast.setting)
        found.append(choose("Faster", "Inside the same limits, not yet proven on the piece.", quick, belief, asked))
    return tuple(found)


def by_pieces(
    recipe: Recipe, belief: Belief, asked: Asked, batches: Sequence[int] = BATCHES
) -> tuple[tuple[int, Choice], ...]:
    """The job in batches of so many pieces, the hand learning."""
    sizes = sorted({*batches, asked.pieces})
    return tuple((n, choose(f"{n} pieces", "", recipe, belief, replace(asked, pieces=n, net=None))) for n in sizes)


def _stays(names: Sequence[str]) -> str:
    """What is left as it is, in a sentence."""
    if len(names) == 1 or not all(names):
        said = f"{names[0] if all(names) else 'the rest'} stays as it is"
    else:
        said = f"{', '.join(names[:-1])} and {names[-1]} stay as they are"
    return f"{raised(said)}."


def _at(recipe: Recipe, belief: Belief, setting: Setting) -> Recipe:
    """The recipe at another setting."""
    p_clean, p_harm, _ = grades_at(belief, setting)
    rate = float(area_rate(setting))
    if rate <= 0:
        raise InputError("recipe", "That setting cleans nothing.", "Choose another.")
    return replace(recipe, setting=setting, p_clean=p_clean, p_harm=p_harm, area_rate=rate, alternatives=(),
                   gentler=None, confirmed=False)  # fmt: skip
