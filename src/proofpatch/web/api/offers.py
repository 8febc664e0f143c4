"""The offer of a job and the quotes that were sent, over HTTP: read only, as they are."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Response
from fastapi.responses import JSONResponse

from proofpatch.offer.revision import changes
from proofpatch.records import refusal_record
from proofpatch.shop.papers import SentQuote, acceptances, quotes_of
from proofpatch.shop.store import Store
from proofpatch.web.api import models as m
from proofpatch.web.api import records as r
from proofpatch.web.api.find import road_of, thing
from proofpatch.web.api.trouble import at
from proofpatch.web.desk import Desk
from proofpatch.web.priced import UNCONFIRMED, priced


def routes(store: Store, desk: Desk) -> APIRouter:
    """The addresses of offer and quotes."""
    router = APIRouter(responses=m.GONE)

    @router.get("/jobs/{id}/offer", response_model=r.OfferRecord | r.NoOffer)
    def offer(id: m.Key) -> Response:
        """What it takes and what to ask, with the shop's prices: `proofpatch offer`."""
        found = road_of(desk, thing(store, "job", id))
        why = found.stop or found.closed
        if why:
            return JSONResponse(refusal_record("offer", why))
        if found.best is None or found.best.setting is None:
            because = found.best.because if found.best else "No patch is graded yet."
            return JSONResponse({"answer": "no recipe", "because": because})
        with at("tables", {}):
            made = priced(store, desk, found)
        if found.best.confirmed:
            return JSONResponse(made.record)
        head, why = UNCONFIRMED
        return JSONResponse({**made.record, "answer": head, "because": f"{why} {made.record['because']}"})

    @router.get("/jobs/{id}/quotes")
    def quotes(id: m.Key) -> r.Quotes:
        """Every version that was sent, the first first, with what it changed and who accepted it."""
        thing(store, "job", id)
        signed = acceptances(store, id)
        return r.Quotes(quotes=[r.SentQuote(**_sent(one, signed.get(one.entry.id))) for one in quotes_of(store, id)])

    @router.get("/jobs/{id}/quotes/{quote}")
    def quote(id: m.Key, quote: m.Key) -> r.SentQuote:
        """One of them."""
        thing(store, "quote", quote, id)
        one = next(one for one in quotes_of(store, id) if one.entry.id == quote)
        return r.SentQuote(**_sent(one, acceptances(store, id).get(quote)))

    return router


def _sent(one: SentQuote, signed: Any) -> dict[str, Any]:
    accepted = None
    if signed is not None:
        accepted = {key: signed.data[key] for key in ("name", "day", "at", "option", "ticked")}
    return {
        "id": one.entry.id, "sent": one.sent.day.isoformat(), "fingerprint": one.sent.fingerprint,
        "quote": one.quote.record(), "accepted": accepted,
        "changes": list(changes(one.before, one.quote)) if one.before else [],
    }  # fmt: skip
