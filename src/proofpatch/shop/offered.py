"""What a job file says for the offer, made into what the offer takes."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any

from proofpatch.errors import InputError
from proofpatch.offer.options import Asked
from proofpatch.offer.price import MONEY, Prices
from proofpatch.offer.quote import BASES, LONGEST_TEXT, PRICINGS, Party, text_line
from proofpatch.offer.tax import Tax
from proofpatch.offer.written import VALID_DAYS, Paper
from proofpatch.offer.zones import Preliminaries, measured_zone
from proofpatch.shop.job import Job
from proofpatch.shop.job_tables import inside

TAX_KEYS = {
    "tax": "rate",
    "tax_name": "name",
    "tax_inclusive": "inclusive",
    "tax_per": "per",
    "tax_rounding": "rounding",
}
EVERYBODY = "To whom it concerns"


def asked_of(work: Job, chance: float | None = None, net: Decimal | None = None) -> Asked:
    """What the job asks of an offer.

    Args:
        chance: with which the price is to hold, in place of the file's. net: the owner's own price.

    Raises:
        InputError: no zones, or a part that is none; the field is the key of the file.
    """
    said = work.offer
    found, front = [], []
    for i, (seen, entry) in enumerate(zip(work.measured, said.get("zones", ()), strict=True)):
        if seen.untouched:
            continue
        with inside(f"zones[{i}]"):
            more = {key: entry[key] for key in ("width", "set_ups", "masking") if key in entry}
            found.append(replace(measured_zone(seen), **more))
        front.append(bool(entry.get("front")))
    if not found:
        raise InputError("zones", "The job has no zones to price.", "Add [[zones]] with an area, shapes or outlines.")
    about = said["offer"]
    names = ("strips", "waiting", "trips", "travel", "first_of_kind")
    around = Preliminaries(
        distance=1000.0 * about.get("distance", 0.0), **{key: about[key] for key in names if key in about}
    )
    return Asked(
        tuple(found), prices_of(said["prices"], chance), tuple(front),
        work.rates, around, about.get("pieces", 1), captured=work.capture or 1.0, correction=work.correction,
        net=about.get("price") if net is None else net,
    )  # fmt: skip


def prices_of(said: dict[str, Any], chance: float | None = None) -> Prices:
    """The shop's prices of [prices].

    Raises:
        InputError: a price that is none.
    """
    given = {key: said[key] for key in (*MONEY, "currency", "drawn", "chance") if key in said}
    given |= {key: _exact(said[key]) for key in ("margin", "mark_up", "deposit") if said.get(key)}
    if chance is not None:
        given["chance"] = chance
    names = {f"prices.{key}": key for key in (*given, "subcontract", "mark_up")} | {
        f"tax.{name}": key for key, name in TAX_KEYS.items()
    }
    with inside("prices", names):
        given["tax"] = Tax(
            _exact(said.get("tax", 0.0)), said.get("tax_name", "Tax"), said.get("tax_inclusive", False),
            said.get("tax_per", "total"), said.get("tax_rounding", "half-up"),
        )  # fmt: skip
        given["subcontract"] = tuple(_subcontract(text) for text in said.get("subcontract", ()))
        return Prices(**given)


def paper_of(work: Job, day: datetime.date | None = None) -> Paper:
    """What the quote's paper needs beside the figures.

    Raises:
        InputError: a line that cannot stand on paper.
    """
    return paper_from(work.offer, work.title, day)


def paper_from(said: Mapping[str, Any], title: str, day: datetime.date | None = None) -> Paper:
    """The paper of a job's tables; errors as `paper_of`."""
    about, head = said["offer"], said["letterhead"]
    customer = about.get("customer") or [EVERYBODY]
    if about.get("pricing", PRICINGS[0]) not in PRICINGS:
        why = f"offer.pricing {about['pricing'][:20]!r} is not known."
        raise InputError("offer.pricing", why, f"Use: {', '.join(PRICINGS)}.")
    if about.get("basis", "fixed") not in BASES:
        why = f"offer.basis {about['basis'][:20]!r} is not known."
        raise InputError("offer.basis", why, f"Use: {', '.join(BASES)}.")
    with inside("letterhead"):
        own = tuple(_term(line) for line in head.get("terms", ()))
        shop = Party(head.get("name", "The workshop"), tuple(head.get("address", ())), tuple(head.get("more", ())))
    with inside("offer", {"name": "customer", "address": "customer"}):
        to = Party(customer[0], tuple(customer[1:]))
        return Paper(
            text_line(about.get("number", "1"), "number"), day or datetime.date.today(), shop, to, title,
            about.get("site", ""), about.get("sample", ""), about.get("starts", ""),
            about.get("valid_days", VALID_DAYS), tuple(about.get("scope", ())),
            locale=head.get("locale", "en"), terms=own, pricing=about.get("pricing", ""), basis=about.get("basis", ""),
        )  # fmt: skip


def _exact(share: float) -> Decimal:
    """A share as it was written: 0.2, not its nearest binary fraction."""
    return Decimal(repr(float(share)))


def _term(text: str) -> tuple[str, str]:
    words, mark, sentence = text.partition(";")
    if not mark or not words.strip() or not sentence.strip():
        raise InputError("terms", f"The term {text[:40]!r} has no head.", "Write it like 'Parking; You keep a place.'")
    return text_line(words.strip(), "terms"), text_line(sentence.strip(), "terms", LONGEST_TEXT)


def _subcontract(text: str) -> tuple[str, str]:
    words, mark, sum_ = text.rpartition(";")
    if not mark or not words.strip():
        raise InputError(
            "subcontract", f"The subcontract {text[:40]!r} has no sum.", "Write it like 'Refinishing; 200'."
        )
    return words.strip(), sum_.strip()
