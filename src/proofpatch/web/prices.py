"""What the shop asks and pays, on a page of its own: prices, tax, hours, letterhead, terms."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse

from proofpatch.errors import InputError
from proofpatch.offer.money import ROUNDINGS, shown
from proofpatch.offer.price import CHANCE
from proofpatch.offer.rates import rates_data
from proofpatch.offer.tax import PER
from proofpatch.offer.told import told as sentences
from proofpatch.shop.changes import differences
from proofpatch.shop.charges import KIND, TABLES, charges_of, keep_charges
from proofpatch.shop.job_tables import KEYS
from proofpatch.shop.settings import CURRENCIES, Settings, settings_of
from proofpatch.shop.store import Store
from proofpatch.sources import Datum, cite
from proofpatch.units import percent, show
from proofpatch.web.shell import Form, Pages, Sent, version
from proofpatch.web.written import put, told

# Group -> key -> (label, hint); the keys are those of a job file.
COST = {
    "labour": ("Labour, an hour", "what an hour of work costs you"),
    "laser": ("Laser, an hour", "owning and keeping it, per hour at work"),
    "lens_window": ("A lens window", "each"),
    "filter": ("A filter", "each; worn by what is caught"),
    "energy": ("Power, a kWh", "as on your bill"),
    "drawn": ("Drawn at work", "by laser, chiller and extractor, like 4 kW"),
    "distance": ("Road, a km", "added to the time on it"),
    "disposal": ("Waste, a kg", "of what comes off"),
    "waste_fee": ("Waste, a job", "a fee that comes once"),
    "insurance": ("Insurance, a job", "what one more job costs"),
}
ASK = {
    "minimum": ("Minimum charge", "of any job, before tax"),
    "margin": ("Margin", "profit over price, like 25 %"),
    "mark_up": ("Mark-up", "profit over cost, like 0.33, in place of a margin; never both"),
    "floor": ("Floor, an hour", "what you want to earn at least"),
    "chance": ("Chance", f"with which the price is to hold; left out {percent(CHANCE)}: common practice, no source"),
    "step": ("Rounded up to", "like 5"),
    "deposit": ("Deposit", "of what is due, like 30 %; your law may bound it"),
    "patch_fee": ("Fee for test patches", "taken off the price when the job goes ahead"),
}
TAX = {
    "tax": ("Tax", "its rate, like 20 %; left out: none"),
    "tax_name": ("Its name", "as the paper calls it, like VAT"),
}
HEAD = {
    "name": ("Name", "at the head of the paper; left out: as on the shop's page"),
    "address": ("Address", "one line each"),
    "more": ("What else heads the paper", "phone, tax number, bank; one line each"),
    "locale": ("Sums and dates", "written as in, like en_GB; left out: en"),
    "terms": ("Terms of your own", "one a line: head; sentence. They stand behind the usual ones"),
}


def routes(page: Pages, store: Store) -> APIRouter:
    """The page of the shop's prices."""
    router = APIRouter()

    def prices_page(error: InputError | None = None, form: Form | None = None) -> Response:
        (tables, entry), (ours, _) = charges_of(store), settings_of(store)
        kept = {field: said for name in TABLES for field, said in told(tables.get(name, {}), name).items()}
        return page(
            "prices.html", 422 if error else 200, form=form or kept, error=error, hour=_hour(tables, ours),
            version=entry.version if entry else 0, saved=entry.changed if entry else None,
            last=_last(store, entry.id) if entry else "", ours=ours,
            currencies=[("", f"as the shop: {ours.currency}"), *CURRENCIES],
            groups=(("What it costs you", COST), ("What you ask", ASK)), tax=TAX, head=HEAD, per=PER,
            roundings=tuple(ROUNDINGS), rates=remembered(), usual=sentences()["terms"],
        )  # fmt: skip

    @router.get("/shop/prices")
    def prices() -> Response:
        return prices_page()

    @router.post("/shop/prices")
    def keep(form: Sent) -> Response:
        tables: dict[str, Any] = copy.deepcopy(dict(charges_of(store)[0]))
        try:
            for name in TABLES:
                known = [key for key in KEYS[name] if key not in ("subcontract", "paper")]
                table = tables.setdefault(name, {})
                put(table, name, known, form)
                if not table:
                    del tables[name]
            keep_charges(store, tables, version(form))
        except InputError as error:
            return prices_page(error, form)
        return RedirectResponse("/shop/prices", 303)

    @router.post("/shop/prices/undo")
    def undo(form: Sent) -> Response:
        _, entry = charges_of(store)
        if entry is None:
            raise InputError("prices", "Nothing was kept yet.", "Keep something first.")
        store.undo(KIND, entry.id, version(form))
        return RedirectResponse("/shop/prices", 303)

    return router


def remembered() -> list[tuple[str, str, str]]:
    """(key, its words, what is taken where it is left out and where that comes from) of each rate."""
    found = []
    for key in KEYS["rates"]:
        datum = rates_data()[key]
        words, _, why = datum.locator.partition(";")
        said = f"left out: {_figure(datum, datum.value)}"
        if datum.low is not None and datum.high is not None:
            said += f", {_figure(datum, datum.low)} to {_figure(datum, datum.high)}"
        found.append((key, words, f"{said}; {cite(datum)}{',' + why if why else ''}"))
    return found


def _figure(datum: Datum, value: float) -> str:
    kind, more = {
        "s": ("duration", ""), "m": ("length", ""), "s/m": ("duration", " a metre"),
        "s/m²": ("duration", " a square metre"),
    }.get(datum.unit, ("", ""))  # fmt: skip
    return f"{show(value, kind)}{more}" if kind else f"{value:g}"


def _hour(tables: Mapping[str, Any], ours: Settings) -> str:
    """What an hour costs, as the paper writes a sum; empty where nobody said."""
    prices, locale = tables.get("prices", {}), tables.get("letterhead", {}).get("locale", "en")
    labour = prices.get("labour")
    return shown(Decimal(str(labour)), prices.get("currency", ours.currency), locale) if labour else ""


def _last(store: Store, key: str) -> str:
    """What an undo would take back, in a few words."""
    said = [one for one in store.history(KIND, key) if one.what != "aside"]
    return ", ".join(differences(said[-2].data, said[-1].data)[:2]) if len(said) > 1 else ""
