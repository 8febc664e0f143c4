"""Price: what the job costs as a distribution, and the sum that holds with a chosen chance."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from types import MappingProxyType
from typing import Any

import numpy as np

from proofpatch.errors import InputError, expect
from proofpatch.offer.hours import Hours
from proofpatch.offer.margin import margin_of, mark_up_of, priced_by_margin, priced_by_mark_up
from proofpatch.offer.money import amount, minor_digits, rounded_up, shared_out, unit_of
from proofpatch.offer.rates import Floats
from proofpatch.offer.tax import Tax, totals
from proofpatch.physics.setting import finite_number

HOUR = 3600.0
KWH = 3.6e6  # J
# A fixed price covers the job 7 to 8 times in 10 (trade practice of this project, no source beyond it).
CHANCE = 0.75
MONEY = ("labour", "laser", "lens_window", "filter", "energy", "distance", "disposal", "waste_fee", "insurance",
         "minimum", "patch_fee", "floor", "step")  # fmt: skip


@dataclass(frozen=True)
class Prices:
    """What things cost the shop, in its currency; a price not given is nought and its line is left out.

    Args:
        currency: ISO 4217. labour, laser: per hour at work. lens_window, filter: each. energy: per kWh.
        drawn: power of laser, chiller and extractor at work [W]. distance: per km. disposal: per kg of waste.
        waste_fee, insurance: per job. subcontract: (words, sum) each.
        minimum: charge of any job, before tax. margin or mark_up: one of them, of the price or of the cost [1].
        tax. deposit: share of the gross [1]. patch_fee: for the test patches, credited when the job goes ahead.
        floor: what the owner wants to earn per hour at least. chance: with which the price is to hold.
        step: the price is rounded up to.

    Raises:
        InputError: a price that is none, or margin and mark-up together.
    """

    currency: str = "EUR"
    labour: Decimal = Decimal(0)
    laser: Decimal = Decimal(0)
    lens_window: Decimal = Decimal(0)
    filter: Decimal = Decimal(0)
    energy: Decimal = Decimal(0)
    drawn: float = 0.0
    distance: Decimal = Decimal(0)
    disposal: Decimal = Decimal(0)
    waste_fee: Decimal = Decimal(0)
    insurance: Decimal = Decimal(0)
    subcontract: tuple[tuple[str, Decimal], ...] = ()
    minimum: Decimal = Decimal(0)
    margin: Decimal | None = None
    mark_up: Decimal | None = None
    tax: Tax = field(default_factory=Tax)
    deposit: Decimal = Decimal(0)
    patch_fee: Decimal = Decimal(0)
    floor: Decimal = Decimal(0)
    chance: float = CHANCE
    step: Decimal = Decimal(0)

    def __post_init__(self) -> None:
        minor_digits(self.currency)
        for name in MONEY:
            object.__setattr__(self, name, amount(getattr(self, name), f"prices.{name}"))
        if self.margin is not None and self.mark_up is not None:
            raise InputError(
                "prices.mark_up", "A margin and a mark-up are given.", "Give one: they say the same twice."
            )
        priced_by_margin(Decimal(1), self.margin or Decimal(0))
        priced_by_mark_up(Decimal(1), self.mark_up or Decimal(0))
        object.__setattr__(self, "drawn", finite_number("prices.drawn", "The power drawn", self.drawn, 0, 1e6, "W"))
        object.__setattr__(self, "chance", finite_number("prices.chance", "The chance", self.chance, 0.05, 0.99, ""))
        if amount(self.deposit, "prices.deposit") > 1:
            raise InputError("prices.deposit", "The deposit is more than the whole.", "Write 30 % as 0.3.")
        said = tuple((str(words), amount(sum_, "prices.subcontract")) for words, sum_ in self.subcontract)
        object.__setattr__(self, "subcontract", said)
        expect("prices.tax", self.tax, Tax, "Make it with Tax(rate).")

    @property
    def margins(self) -> tuple[Decimal, Decimal]:
        """(margin, mark-up), whichever was given."""
        if self.mark_up is not None:
            return margin_of(self.mark_up), self.mark_up
        margin = self.margin or Decimal(0)
        return margin, mark_up_of(margin)


def cost_of(hours: Hours, prices: Prices, removed: Floats | float = 0.0, distance: float = 0.0) -> Mapping[str, Floats]:
    """What the job costs the shop by line, sampled like the hours, in money as plain numbers.

    Args:
        removed: coating taken off and caught [kg]. distance: driven in all [m].
    """
    at_work = hours.at_work / HOUR
    whole = hours.seconds / HOUR
    mass = np.broadcast_to(np.asarray(removed, dtype=float), whole.shape)
    lines = {
        "labour": float(prices.labour) * whole,
        "laser": float(prices.laser) * at_work,
        "lens windows": float(prices.lens_window) * np.broadcast_to(hours.lens_windows, whole.shape),
        "filters": float(prices.filter) * mass / hours.filter_holds,
        "power": float(prices.energy) * prices.drawn * (at_work * HOUR) / KWH,
        "travel": np.full(whole.shape, float(prices.distance) * distance / 1000),
        "disposal": float(prices.disposal) * mass + float(prices.waste_fee),
        "insurance": np.full(whole.shape, float(prices.insurance)),
    }
    for words, sum_ in prices.subcontract:
        lines[words] = lines.get(words, np.zeros(whole.shape)) + float(sum_)
    return MappingProxyType({name: values for name, values in lines.items() if np.any(values > 0)})


@dataclass(frozen=True)
class Price:
    """net: the sum before tax (with it, where prices are inclusive). why: what set it, of "chance", "minimum", "owner".

    costs: (line, part of the net) and what is left for the shop, which add up to the net exactly.
    loses: chance that the job costs more. below_floor: chance of less than the floor per hour; None without a floor.
    earned: per hour of the owner's, sampled. needed: the net that each sample would have needed for the floor.
    """

    net: Decimal
    why: str
    costs: tuple[tuple[str, Decimal], ...]
    loses: float
    below_floor: float | None
    earned: Floats
    needed: Floats
    cost: Floats
    margin: Decimal
    mark_up: Decimal

    def for_chance(self, chance: float, unit: Decimal) -> Decimal:
        """The least net with which the job earns the floor with this chance (no floor: costs no more than that)."""
        number = finite_number("chance", "The chance", chance, 0.0, 1.0, "")
        return rounded_up(Decimal(repr(float(np.quantile(self.needed, number)))), unit)


def price(hours: Hours, cost: Mapping[str, Floats], prices: Prices, net: Any = None) -> Price:
    """The price that holds with the shop's chance, or the owner's own looked at.

        net = q_p(cost) priced by margin or mark-up, at least the minimum charge, rounded up to the step   (1)

    Args:
        cost: of `cost_of`. net: the owner's own price.

    Raises:
        InputError: nothing costs anything and no price is given; a price that is none.
    """
    unit = unit_of(prices.currency)
    total = np.sum(list(cost.values()), axis=0) if cost else np.zeros_like(hours.seconds)
    inclusive = 1 + prices.tax.rate if prices.tax.inclusive else Decimal(1)
    if net is not None:
        asked, why = rounded_up(amount(net, "price"), unit), "owner"
    else:
        asked, why = _asked(total, prices), "chance"
        if asked <= 0 and prices.minimum <= 0:
            raise InputError("prices", "Nothing of the job has a price.", "Give at least what an hour costs.")
        if asked < prices.minimum:
            asked, why = prices.minimum, "minimum"
        asked = rounded_up(rounded_up(asked * inclusive, unit), prices.step)
    ours = float(asked / inclusive)  # what is left of an inclusive price
    labour = cost.get("labour", np.zeros_like(total))
    worked = hours.seconds / HOUR
    earned = (ours - (total - labour)) / worked
    needed = (total - labour + float(prices.floor) * worked) if prices.floor else total
    below = float(np.mean(earned < float(prices.floor))) if prices.floor else None
    return Price(
        asked, why, _parts(asked, prices, cost, total), float(np.mean(total > ours)), below, earned,
        needed * float(inclusive), total, *prices.margins,
    )  # fmt: skip


def _asked(total: Floats, prices: Prices) -> Decimal:
    cost = Decimal(repr(float(np.quantile(total, prices.chance))))
    if prices.mark_up is not None:
        return priced_by_mark_up(cost, prices.mark_up)
    return priced_by_margin(cost, prices.margin or Decimal(0))


def _parts(net: Decimal, prices: Prices, cost: Mapping[str, Floats], total: Floats) -> tuple[tuple[str, Decimal], ...]:
    """The net in the mean cost of each line, the tax inside it, and what is left, which may be less than nought."""
    unit = unit_of(prices.currency)
    means = {name: float(np.mean(values)) for name, values in cost.items()}
    spent = rounded_up(Decimal(repr(float(np.mean(total)))), unit)
    lines = tuple(zip(means, shared_out(spent, list(means.values()), unit), strict=True)) if means else ()
    within = totals([(net, True)], prices.tax, prices.currency).tax if prices.tax.inclusive else Decimal(0)
    tax = (("tax inside the price", within),) if within else ()
    return (*lines, *tax, ("left for risk and profit", net - spent - within))


def for_zones(net: Decimal, weights: Sequence[float], currency: str) -> tuple[Decimal, ...]:
    """The price shared out over zones by their work, to the smallest unit, adding up to it exactly."""
    return shared_out(net, weights, unit_of(currency))


def per_area(net: Decimal, area: float, currency: str) -> Decimal:
    """Price of one square metre, rounded up so that the areas cover the sum."""
    return rounded_up(net / Decimal(repr(finite_number("area", "An area", area, 1e-6, 1e9, "m²"))), unit_of(currency))
