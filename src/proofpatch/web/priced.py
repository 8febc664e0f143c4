"""What a job comes to, for the pages and over HTTP: the offer with the shop's prices, or what is missing for one."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from proofpatch.errors import InputError
from proofpatch.offer.money import shown
from proofpatch.offer.quote import Quote
from proofpatch.pictures.drawing import WIDE
from proofpatch.pictures.look import NARROW
from proofpatch.pictures.outcomes import clock, outcomes_svg
from proofpatch.pictures.span import span_svg
from proofpatch.records_offer import Offer, counted, offer_of
from proofpatch.shop.charges import priced_job
from proofpatch.shop.invented import on_paper
from proofpatch.shop.papers import next_number, quotes_of
from proofpatch.shop.store import Store
from proofpatch.web.desk import Desk
from proofpatch.web.road import Road

UNCONFIRMED = (
    "Not to be quoted yet.",
    "The recipe is not confirmed: no patch was laid at this very setting. What stands here is no quote.",
)


@dataclass(frozen=True)
class Missing:
    """Why there is no quote yet, and the next step: its address within the shop and what it is called."""

    head: str
    why: str
    at: str
    go: str


def offered(store: Store, desk: Desk, found: Road) -> tuple[Offer | None, Missing | None]:
    """(what the job comes to, what is missing before a quote); the first also of a recipe that is still to confirm."""
    base, best = f"/jobs/{found.entry.id}", found.best
    if found.stop or found.closed or found.work is None or found.window is None:
        why = found.stop or found.closed or ""
        return None, Missing("No price yet.", why, f"{base}/survey", "Go to the survey")
    if best is None or best.setting is None:
        why = "Hours rest on the recipe, and the recipe on graded test patches. " + (best.because if best else "")
        return None, Missing("No price without a recipe.", why.strip(), f"{base}/patches", "Lay test patches")
    measure = f"{base}/measure" if "measure" in [step.name for step in found.steps] else f"{base}/piece"
    if not found.work.zones:
        why = "Nobody has measured what is to be cleaned."
        return None, Missing("No price without an area.", why, measure, "Measure the piece")
    try:
        made = priced(store, desk, found)
    except InputError as error:
        field = error.field
        at, go = ("/shop/prices", "Say what things cost") if field.startswith(("prices", "letterhead", "rates")) else (
            f"{base}/offer#job", "Change the job")  # fmt: skip
        return None, Missing("No price yet.", str(error), at, go)
    if not best.confirmed:
        return made, Missing(*UNCONFIRMED, f"{base}/patches", "Confirm it on a patch")
    return made, None


def priced(store: Store, desk: Desk, found: Road) -> Offer:
    """What a job with a recipe comes to, with the shop's prices behind its own.

    Raises:
        InputError: no zones, nothing has a price, or a part that is none.
    """
    work = priced_job(store, found.entry, {"number": next_number(store, found.entry.id, datetime.date.today())})
    work = replace(work, title=on_paper(store, found.entry))
    best, window = found.best, found.window
    assert best is not None
    assert window is not None
    return desk.run(lambda: offer_of(work, window.belief, best))


def draft(store: Store, job: str, made: Offer) -> Quote:
    """The quote as the next version would be; its number stays once one was sent."""
    sent = quotes_of(store, job)
    number = sent[-1].quote.number if sent else made.quote.number
    return replace(made.quote, number=number, version=len(sent) + 1)


def offer_view(made: Offer) -> dict[str, Any]:
    """The figures of the record in words and pictures."""
    record = made.record
    code, locale, time = record["currency"], made.quote.locale, record["time_s"]

    def money(value: Any) -> str:
        return shown(Decimal(str(value)), code, locale)

    def span(one: Mapping[str, Any]) -> str:
        if one["p90"] < 60:
            return "under 1\u2009min"
        return f"{clock(one['p10'] / 3600)} to {clock(one['p90'] / 3600)}"

    longest = max(one["p90"] for one in record["parts"])
    below = record["below_floor"]
    ways = [record, *record["choices"]]
    return {
        "money": money, "counted": counted, "clock": clock,
        "wide": outcomes_svg(record["outcomes"], time, float(record["net"]), WIDE),
        "narrow": outcomes_svg(record["outcomes"], time, float(record["net"]), NARROW),
        "parts": [(one["what"], span(one), span_svg(one["p50"], one["p10"], one["p90"], 0.0, longest))
                  for one in record["parts"]],
        "total": span(time), "middle": clock(time["p50"] / 3600),
        "ways": [(one["name"], one["words"], money(one["gross"]), span(one["time_s"]), one) for one in ways],
        "floor": f"{counted(below)} earn you less than {money(record['floor_per_h'])} an hour." if below is not None
        else "",
        "chances": [(int(p), money(value)) for p, value in record["for_chance"].items()],
        "costs": [(one["what"], money(one["sum"])) for one in record["price_lines"]],
    }  # fmt: skip
