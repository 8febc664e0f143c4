"""The quote written from what was found: its scope, method, finish, lines and terms."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from proofpatch.learn.belief import Belief
from proofpatch.learn.recipe import Recipe
from proofpatch.offer.money import shown
from proofpatch.offer.options import Asked, Choice
from proofpatch.offer.price import for_zones
from proofpatch.offer.quote import Line, Party, Quote
from proofpatch.offer.rates import rates_data
from proofpatch.offer.told import FINISH, if_sample_fails, method_words, said_of, terms
from proofpatch.offer.zones import Zone
from proofpatch.phrases import raised
from proofpatch.units import show

SPOKEN_FROM = 2 * 3600.0  # s; below it a time is said in minutes
# Said on the paper of every setting that no patch was laid at.
UNPROVEN = "It depends on a test patch at this very setting that comes out as described."
VALID_DAYS = 30  # 14 to 30 days are usual (trade practice of this project)


@dataclass(frozen=True)
class Paper:
    """What the paper needs beside the figures. terms: of the shop. pricing: of PRICINGS; empty: as the pieces are.

    basis: of BASES; empty: fixed. Where no patch confirmed the recipe it is an estimate all the same.
    """

    number: str
    day: datetime.date
    shop: Party
    customer: Party
    title: str
    site: str = ""
    sample: str = ""
    starts: str = ""
    valid_days: int = VALID_DAYS
    scope: tuple[str, ...] = ()
    locale: str = "en"
    terms: tuple[tuple[str, str], ...] = field(default=())
    pricing: str = ""
    basis: str = ""


def write_quote(choices: Sequence[Choice], belief: Belief, asked: Asked, paper: Paper) -> Quote:
    """The quote of the first choice, the others beside it; an estimate where no patch confirmed the recipe.

    Raises:
        InputError: a part that no quote has.
    """
    first, prices = choices[0], asked.prices
    net, code = first.price.net, prices.currency
    shares = for_zones(net, [work_of(zone, first.recipe, asked.rates) for zone in first.zones], code)
    lines = tuple(_line(zone, share, asked.pieces) for zone, share in zip(first.zones, shares, strict=True))
    surface = belief.surface
    coats = [max(coat.shares, key=lambda key: coat.shares[key]) for coat in surface.coats]
    assert first.recipe.setting is not None
    proven = first.recipe.confirmed
    fee = prices.patch_fee  # no credit: what came in is noted as a payment, and taken off the invoice
    return Quote(
        paper.number, paper.day, paper.day + datetime.timedelta(days=paper.valid_days), paper.shop, paper.customer,
        paper.title, lines, code, site=paper.site, basis=(paper.basis or "fixed") if proven else "estimate",
        pricing=paper.pricing or ("per piece" if asked.pieces > 1 else "lump sum"),
        scope=paper.scope or tuple(_scope(zone, asked.pieces) for zone in first.zones),
        method=method_words(coats, surface.substrate, first.recipe.setting.passes, proven=proven), finish=FINISH,
        unchanged=said_of("unchanged", surface.substrate), cautions=said_of("cautions", surface.substrate),
        excluded=said_of("excluded", surface.substrate),
        assumed=(*(() if proven else (UNPROVEN,)), *said_of("assumed", surface.substrate)),
        duration=duration_words(first), starts=paper.starts, sample=paper.sample, tax=prices.tax,
        deposit=prices.deposit,
        options=tuple((one.name, _option_words(one), one.price.net) for one in choices[1:]),
        terms=terms((*_fee_terms(fee, paper, code), *paper.terms)),
        if_sample_fails=if_sample_fails(fee, shown(fee, code, paper.locale)),
        locale=paper.locale,
    )  # fmt: skip


def work_of(zone: Zone, recipe: Recipe, rates: Mapping[str, float]) -> float:
    """Middle time of a zone, beam with what goes around it and hand finish, by which the price is shared out [s]."""
    rate = {name: rates.get(name, rates_data()[name].value) for name in ("hand_factor", "hand_finish")}
    by_hand = zone.area * zone.count * zone.hand_share
    return zone.effective / recipe.area_rate * rate["hand_factor"] + by_hand * rate["hand_finish"]


def duration_words(choice: Choice) -> str:
    """How long it takes, as a customer wants to know it: the range of 8 in 10."""
    low, high = (choice.hours.quantile(p) for p in (0.1, 0.9))
    return f"The work takes about {spoken(low)} to {spoken(high)}."


def _option_words(one: Choice) -> str:
    """What another way means, and what it depends on."""
    return one.words if one.recipe.confirmed else f"{one.words} {UNPROVEN}"


def _fee_terms(fee: Decimal, paper: Paper, code: str) -> tuple[tuple[str, str], ...]:
    """What the test patches cost, and that the price counts it in."""
    if not fee:
        return ()
    said = shown(fee, code, paper.locale)
    return (("Test patches", f"{said}, due when they are laid, taken off the price when the job goes ahead."),)


def spoken(seconds: float) -> str:
    """A time in whole hours, or in tens of minutes."""
    if seconds < SPOKEN_FROM:
        return f"{max(round(seconds / 600), 1) * 10} minutes"
    return f"{round(seconds / 3600)} hours"


def _line(zone: Zone, share: Decimal, pieces: int) -> Line:
    return Line(raised(zone.name or "cleaning"), share, _amount(zone, pieces))


def _amount(zone: Zone, pieces: int) -> str:
    number = zone.count * pieces
    return f"{number} × {show(zone.area, 'area')}" if number > 1 else show(zone.area, "area")


def _scope(zone: Zone, pieces: int) -> str:
    name = raised(zone.name or "the surface agreed")
    by_hand = f", {show(zone.hand_share, 'share')} of it finished by hand" if zone.hand_share else ""
    return f"{name}, {_amount(zone, pieces)}{by_hand}."
