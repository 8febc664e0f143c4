"""The offer of a job on screen: what it takes, what to ask, and the quote before it is sent."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse

from proofpatch.documents.quote import quote_page, quote_pdf
from proofpatch.errors import InputError
from proofpatch.offer.quote import PRICINGS
from proofpatch.offer.revision import changes, fingerprint
from proofpatch.shop.changes import last_change
from proofpatch.shop.charges import priced_job, tables_of
from proofpatch.shop.offered import asked_of, paper_of
from proofpatch.shop.papers import acceptances, only_dates_differ, quotes_of, send_quote
from proofpatch.shop.store import Store
from proofpatch.web.desk import Desk
from proofpatch.web.issued import shot_of
from proofpatch.web.priced import draft, offer_view, offered
from proofpatch.web.recorded import paper_size
from proofpatch.web.shell import Form, Pages, Sent, text
from proofpatch.web.survey import change
from proofpatch.web.written import put, told

# Of the job's [offer]: what the hours and the price take, and what the paper says.
WORK = ("pieces", "strips", "waiting", "trips", "travel", "distance", "first_of_kind", "price", "pricing", "basis")
PAPER = ("number", "customer", "site", "sample", "starts", "valid_days", "scope")
ASKED = ("chance", "subcontract")  # of [prices]
OF_ZONE = ("width", "masking", "set_ups", "front")


def routes(page: Pages, store: Store, desk: Desk) -> APIRouter:
    """The page of the offer and of the quote before it is sent."""
    router = APIRouter()

    def offer_page(key: str, error: InputError | None = None, form: Form | None = None) -> Response:
        found = (desk.wait if error else desk.look)(key)
        made, missing = offered(store, desk, found)
        data = found.entry.data
        kept = {**told(data.get("offer", {}), "offer"), **told(_some(data.get("prices", {}), ASKED), "prices")}
        for n, zone in enumerate(data.get("zones", [])):
            kept |= told(_some(zone, OF_ZONE), "", f"zones[{n}]")
        return page(
            "offer.html", 422 if error else 200, road=found, here="offer", missing=missing, error=error,
            form=form or kept, record=made.record if made else None, view=offer_view(made) if made else None,
            zones=[str(zone.get("name", f"zone {n + 1}")) for n, zone in enumerate(data.get("zones", []))],
            quotes=quotes_of(store, key), accepted=acceptances(store, key), pricings=PRICINGS,
            last=last_change(store, found.entry),
        )  # fmt: skip

    @router.get("/jobs/{key}/offer")
    def offer(key: str) -> Response:
        return offer_page(key)

    @router.post("/jobs/{key}/offer")
    def keep(key: str, form: Sent) -> Response:
        def make(data: dict[str, Any]) -> None:
            _put(data, "offer", WORK, form)
            _put(data, "prices", ASKED, form)
            for n, zone in enumerate(data.get("zones", [])):
                put(zone, "zones", OF_ZONE, form, f"zones[{n}]")
            _check_priced(store, key, data)

        return change(desk, key, form, "offer", make, lambda error: offer_page(key, error, form))

    def draft_page(key: str, error: InputError | None = None, form: Form | None = None) -> Response:
        found = (desk.wait if error else desk.look)(key)
        made, missing = offered(store, desk, found)
        if made is None or missing is not None:
            return RedirectResponse(f"/jobs/{key}/offer", 303)
        quote, sent = draft(store, key, made), quotes_of(store, key)
        before = sent[-1].quote if sent else None
        tables = tables_of(store, found.entry)
        kept = told(_some(tables.get("offer", {}), PAPER), "offer") | {"offer.number": quote.number}
        return page(
            "draft.html", 422 if error else 200, road=found, here="offer", quote=quote, paper=quote_page(quote, before),
            known_by=fingerprint(quote), before=before, changed=changes(before, quote) if before else (), error=error,
            dates=before is not None and only_dates_differ(before, quote), form=form or kept,
            photos=store.all("photo", key), last=last_change(store, found.entry),
        )  # fmt: skip

    @router.get("/jobs/{key}/quote")
    def look(key: str) -> Response:
        return draft_page(key)

    @router.post("/jobs/{key}/quote")
    def words(key: str, form: Sent) -> Response:
        def make(data: dict[str, Any]) -> None:
            _put(data, "offer", PAPER, form)
            _check_priced(store, key, data)

        return change(desk, key, form, "quote", make, lambda error: draft_page(key, error, form))

    @router.post("/jobs/{key}/quotes")
    def send(key: str, form: Sent) -> Response:
        found = desk.wait(key)
        try:
            made, missing = offered(store, desk, found)
            if made is None or missing is not None:
                raise InputError("quote", missing.why if missing else "There is no offer.", "Look at the offer.")
            quote, sent = draft(store, key, made), quotes_of(store, key)
            if fingerprint(quote) != text(form, "mark"):
                raise InputError("quote", "It is not what you looked at any more.", "Read it again, then send it.")
            photo, size = text(form, "photo"), paper_size(store, found)
            pdf = quote_pdf(quote, size, shot_of(store, key, photo), sent[-1].quote if sent else None)
            entry = send_quote(store, key, quote, size, photo, pdf)
        except InputError as error:
            return draft_page(key, error)
        desk.begin(found.entry)
        return RedirectResponse(f"/jobs/{key}/quotes/{entry.id}", 303)

    return router


def _put(data: dict[str, Any], name: str, keys: tuple[str, ...], form: Form) -> None:
    table = data.setdefault(name, {})
    put(table, name, keys, form)
    if not table:
        del data[name]


def _check_priced(store: Store, key: str, data: Mapping[str, Any]) -> None:
    """Refuses what the offer could not be made of, with the shop's prices behind it."""
    work = priced_job(store, replace(store.get("job", key), data=data))
    if work.measured:
        asked_of(work)
    paper_of(work)


def _some(table: Mapping[str, Any], keys: tuple[str, ...]) -> dict[str, Any]:
    return {key: table[key] for key in keys if key in table}
