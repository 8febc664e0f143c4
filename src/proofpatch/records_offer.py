"""What the faces show of an offer, as plain records. Sums are text in the currency's smallest unit: no cent is lost."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np

from proofpatch.learn.belief import Belief
from proofpatch.learn.recipe import Recipe
from proofpatch.offer.drivers import Driver
from proofpatch.offer.money import shown, unit_of
from proofpatch.offer.options import BATCHES, Asked, Choice, by_pieces, side_by_side
from proofpatch.offer.price import Price, Prices, per_area
from proofpatch.offer.quote import Quote
from proofpatch.offer.rates import Floats, rates_data
from proofpatch.offer.tax import totals
from proofpatch.offer.written import write_quote
from proofpatch.shop.job import Job
from proofpatch.shop.log import setting_to
from proofpatch.shop.offered import asked_of, paper_of
from proofpatch.sources import cite

QUANTILES = (10, 50, 90)
CHANCES = (50, 60, 70, 75, 80, 90, 95)
DOTS = 20
ALWAYS = (
    "Hours and costs are ranges that rest on remembered rates until the shop's own jobs correct them.",
    "Tax, deposit and cancellation follow your local law; what stands here is what you set.",
)


@dataclass(frozen=True)
class Offer:
    """What a job comes to. choices: as asked first. record: all that is shown of it, the quote in it too."""

    asked: Asked
    choices: tuple[Choice, ...]
    quote: Quote
    record: dict[str, Any]


def offer_of(
    work: Job, belief: Belief, found: Recipe, chance: float | None = None, net: Decimal | None = None,
    day: datetime.date | None = None,
) -> Offer:  # fmt: skip
    """Hours, price and quote of a job at its recipe.

    Args:
        chance, net: in place of the job's own. day: of the quote; None: today.

    Raises:
        InputError: no recipe, no zones, nothing has a price, or a part that is none.
    """
    asked, paper = asked_of(work, chance, net), paper_of(work, day)
    choices = side_by_side(found, belief, asked)
    batches = by_pieces(found, belief, asked, BATCHES if asked.pieces > 1 else ())
    quote = write_quote(choices, belief, asked, paper)
    return Offer(asked, choices, quote, offer_record(choices, asked, batches, quote))


def quantiles(values: Floats) -> dict[str, float]:
    """p10, p50 and p90."""
    return {f"p{p}": float(np.quantile(values, p / 100)) for p in QUANTILES}


def choice_record(one: Choice, prices: Prices) -> dict[str, Any]:
    """One way of doing it."""
    assert one.recipe.setting is not None
    sums = totals([(one.price.net, True)], prices.tax, prices.currency)
    return {
        "name": one.name, "words": one.words, "setting": setting_to(one.recipe.setting),
        "p_clean": one.recipe.p_clean, "p_harm": one.recipe.p_harm, "area_rate_m2_s": one.recipe.area_rate,
        "time_s": {**quantiles(one.hours.seconds), "mean": one.hours.mean}, "beam_on_s": quantiles(one.hours.beam_on),
        "net": str(sums.net), "tax": str(sums.tax), "gross": str(sums.gross), "loses": one.price.loses,
        "below_floor": one.price.below_floor, "earned_per_h": quantiles(one.price.earned),
    }  # fmt: skip


def offer_record(
    choices: Sequence[Choice], asked: Asked, batches: Sequence[tuple[int, Choice]] = (), quote: Quote | None = None
) -> dict[str, Any]:
    """All that a page, the command line or the API shows of an offer.

    `outcomes` are twenty equally likely jobs, the cheapest first. `for_chance` is the least net with which the job
    earns the floor (without a floor: costs no more) so many times in a hundred.
    """
    first, prices = choices[0], asked.prices
    unit, area = unit_of(prices.currency), sum(zone.area * zone.count for zone in first.zones) * asked.pieces
    return {
        "answer": answer(first, prices),
        "because": because(first, prices),
        "currency": prices.currency,
        **choice_record(first, prices),
        "parts": [{"what": name, **quantiles(values)} for name, values in first.hours.parts.items()],
        "rates": [_rate(name, own, asked) for name, own in first.hours.rates.items()],
        "doubts": [_doubt(one) for one in first.hours.ranked],
        "area_m2": area,
        "pieces": asked.pieces,
        "price_from": first.price.why,
        "chance": prices.chance,
        "cost": quantiles(first.price.cost),
        "cost_lines": [{"what": name, **quantiles(values)} for name, values in first.cost.items()],
        "price_lines": [{"what": name, "sum": str(value)} for name, value in first.price.costs],
        "margin": float(first.price.margin),
        "mark_up": float(first.price.mark_up),
        "floor_per_h": str(prices.floor) if prices.floor else None,
        "for_chance": {str(p): str(first.price.for_chance(p / 100, unit)) for p in CHANCES},
        "outcomes": _outcomes(first.price, first.hours.seconds),
        "per_m2": str(per_area(first.price.net, area, prices.currency)),
        "per_piece": [_batch(n, one, unit) for n, one in batches],
        "choices": [choice_record(one, prices) for one in choices[1:]],
        "quote": quote.record() if quote else None,
        "assumptions": [*first.hours.drivers, *ALWAYS],
    }


def answer(first: Choice, prices: Prices) -> str:
    """The sum and what it means, in a sentence."""
    said = shown(first.price.net, prices.currency)
    under = counted(1 - first.price.loses)
    return f"Quote {said}. {under} like this cost you less."


def because(first: Choice, prices: Prices) -> str:
    """Why this sum."""
    low, high = (shown(_money(np.quantile(first.price.cost, q), prices), prices.currency) for q in (0.1, 0.9))
    why = {
        "chance": f"It covers the cost {prices.chance * 100:.0f} times in 100, with a margin of "
        f"{float(first.price.margin) * 100:.3g} %, which is a mark-up of {float(first.price.mark_up) * 100:.3g} %.",
        "minimum": "It is the shop's minimum charge.",
        "owner": "It is the price you named.",
    }[first.price.why]
    floor = ""
    if first.price.below_floor is not None:
        told = shown(prices.floor, prices.currency)
        floor = f" {counted(first.price.below_floor)} earn you less than {told} an hour."
    return f"{why} Your cost runs from {low} to {high}, 8 times in 10.{floor}"


def counted(share: float) -> str:
    """A share as jobs out of twenty, never all and never none."""
    number = round(share * DOTS)
    if number == 0:
        return f"Under 1 job in {DOTS}"
    return f"{number} jobs in {DOTS}" if 1 < number < DOTS else f"{number} job in {DOTS}" if number == 1 else (
        f"Over {DOTS - 1} jobs in {DOTS}")  # fmt: skip


def _money(value: float, prices: Prices) -> Decimal:
    return Decimal(repr(round(float(value), 6))).quantize(unit_of(prices.currency))


def _rate(name: str, own: bool, asked: Asked) -> dict[str, Any]:
    """One rate with its 90 % range in SI; of the shop's own the value alone."""
    datum = rates_data()[name]
    return {
        "name": name, "value": asked.rates[name] if own else datum.value, "low": None if own else datum.low,
        "high": None if own else datum.high, "unit": datum.unit, "words": datum.locator,
        "source": "the shop's own" if own else cite(datum),
    }  # fmt: skip


def _doubt(one: Driver) -> dict[str, Any]:
    return {"what": one.words, "share": one.share, "sentence": one.sentence, "source": one.source}


def _outcomes(found: Price, seconds: Floats) -> list[dict[str, float]]:
    """Twenty jobs in the middle of twenty equal parts of the cost, with the hours that go with it."""
    order = np.argsort(found.cost)
    picked = order[((np.arange(DOTS) + 0.5) / DOTS * len(order)).astype(int)]
    return [{"cost": float(found.cost[i]), "time_s": float(seconds[i])} for i in picked]


def _batch(n: int, one: Choice, unit: Decimal) -> dict[str, Any]:
    each = (one.price.net / n).quantize(unit)
    return {"pieces": n, "net": str(one.price.net), "each": str(each), "time_each_s": one.hours.mean / n}
