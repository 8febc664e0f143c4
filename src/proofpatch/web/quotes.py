"""Papers of a job on screen: the quote as it was sent, its acceptance, the approved sample, invoice and payments."""

from __future__ import annotations

import base64
import datetime
from typing import Any

from babel.dates import format_date
from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse

from proofpatch.documents.quote import (
    MEANS,
    invoice_page,
    invoice_pdf,
    quote_page,
    quote_pdf,
)
from proofpatch.errors import InputError
from proofpatch.offer.money import shown
from proofpatch.offer.told import if_sample_fails, said_of
from proofpatch.shop.charges import priced_job
from proofpatch.shop.offered import prices_of
from proofpatch.shop.papers import (
    SentQuote,
    acceptances,
    invoice_number,
    invoice_of,
    payments_of,
    quotes_of,
    signed_from,
    take_acceptance,
)
from proofpatch.shop.store import Store, of_job
from proofpatch.web.desk import Desk
from proofpatch.web.issued import DUE_DAYS, approve, bill, pay, sent_of, shot_of
from proofpatch.web.shell import Form, Pages, Sent, text, version
from proofpatch.web.signing import kept_pdf, signature_of, signed_of
from proofpatch.web.written import YES

TICKS = (
    "I have read what is done, what will not change and what to mind.",
    "I take the price and the terms, and what happens if the sample says no.",
)


def routes(page: Pages, store: Store, desk: Desk) -> APIRouter:
    """The pages of what a customer was sent and signed."""
    router = APIRouter()

    def quote_shown(key: str, quote: str, error: InputError | None = None, form: Form | None = None) -> Response:
        found = (desk.wait if error else desk.look)(key)
        one, newest = sent_of(store, key, quote)
        entry = acceptances(store, key).get(quote)
        signed = signed_from(entry.data) if entry else None
        today = datetime.date.today()
        chosen = next((sum_ for name, _, sum_ in quote_page(one.quote, None)["options"]
                       if signed and name == signed.option), None)  # fmt: skip
        told = {"number": invoice_number(store, one.quote, key), "day": today.isoformat(), "paid": today.isoformat(),
                "due": (today + datetime.timedelta(days=DUE_DAYS)).isoformat()}  # fmt: skip
        return page(
            "quote.html", 422 if error else 200, road=found, here="offer", one=one, quote=one.quote, newest=newest,
            last=newest.entry.id == quote, paper=quote_page(one.quote, one.before), error=error,
            form={**told, **(form or {})}, ticks=TICKS, signed=signed, ended=today > one.quote.valid_until,
            valid=str(format_date(one.quote.valid_until, "long", locale=one.quote.locale)),
            picture=base64.b64encode(signed.signature).decode("ascii") if signed else "",
            signed_at=datetime.datetime.fromisoformat(signed.at).astimezone().strftime("%d %b %Y, %H:%M")
            if signed else "",
            agreed=chosen or one.quote.totals.gross, bills=store.all("invoice", key),
            money=lambda value: value if isinstance(value, str) else one.quote.money(value),
            payments=payments_of(store, key), struck=store.all("payment", key, deleted=True, most=5),
        )  # fmt: skip

    @router.get("/jobs/{key}/quotes/{quote}.pdf")
    def sent_pdf(key: str, quote: str) -> Response:
        return kept_pdf(store, of_job(store, "quote", quote, key).data["pdf"])

    @router.get("/jobs/{key}/quotes/{quote}/signed.pdf")
    def signed_pdf(key: str, quote: str) -> Response:
        entry = acceptances(store, key).get(quote)
        if entry is None:
            raise InputError("quote", "This version was not accepted.", "Look at it again.")
        return kept_pdf(store, entry.data["pdf"])

    @router.get("/jobs/{key}/quotes/{quote}")
    def look(key: str, quote: str) -> Response:
        return quote_shown(key, quote)

    @router.post("/jobs/{key}/quotes/{quote}/accept")
    def accept(key: str, quote: str, form: Sent) -> Response:
        one, _ = sent_of(store, key, quote)
        stopped = desk.wait(key).closed
        try:
            if stopped:
                raise InputError("quote", stopped, "Nobody can accept it until that is settled.")
            for n, line in enumerate(TICKS):
                if text(form, f"tick-{n}") != YES:
                    said = f"Not ticked: {line}"
                    raise InputError(f"tick-{n}", said, "Tick it, or change the quote in a new version.")
            signed = signed_of(form, one.quote.day, TICKS, text(form, "option"))
            pdf = quote_pdf(one.quote, one.entry.data["paper"], shot_of(store, key, one.entry.data["photo"]),
                            one.before, signature=signature_of(signed))  # fmt: skip
            take_acceptance(store, one, signed, pdf)
        except InputError as error:
            return quote_shown(key, quote, error, form)
        desk.begin(store.get("job", key))
        return RedirectResponse(f"/jobs/{key}/quotes/{quote}", 303)

    @router.post("/jobs/{key}/quotes/{quote}/payments")
    def take(key: str, quote: str, form: Sent) -> Response:
        one, _ = sent_of(store, key, quote)
        try:
            pay(store, key, one, form)
        except InputError as error:
            return quote_shown(key, quote, error, form)
        return RedirectResponse(f"/jobs/{key}/quotes/{quote}", 303)

    @router.post("/jobs/{key}/payments/{payment}/delete")
    def strike(key: str, payment: str, form: Sent) -> Response:
        store.delete("payment", of_job(store, "payment", payment, key).id, version(form))
        return RedirectResponse(f"/jobs/{key}/quotes/{_accepted(store, key).entry.id}", 303)

    @router.post("/jobs/{key}/payments/{payment}/restore")
    def unstrike(key: str, payment: str, form: Sent) -> Response:
        store.restore("payment", of_job(store, "payment", payment, key).id, version(form))
        return RedirectResponse(f"/jobs/{key}/quotes/{_accepted(store, key).entry.id}", 303)

    @router.post("/jobs/{key}/quotes/{quote}/invoice")
    def send_bill(key: str, quote: str, form: Sent) -> Response:
        one, _ = sent_of(store, key, quote)
        try:
            kept = bill(store, key, one, form)
        except InputError as error:
            return quote_shown(key, quote, error, form)
        return RedirectResponse(f"/jobs/{key}/invoices/{kept.id}", 303)

    @router.get("/jobs/{key}/invoices/{bill}.pdf")
    def billed(key: str, bill: str) -> Response:
        return kept_pdf(store, of_job(store, "invoice", bill, key).data["pdf"])

    @router.get("/jobs/{key}/invoices/{bill}/now.pdf")
    def billed_now(key: str, bill: str) -> Response:
        entry = of_job(store, "invoice", bill, key)
        size = store.get("quote", entry.data["quote"]).data["paper"]
        return Response(invoice_pdf(invoice_of(store, entry), size), media_type="application/pdf")

    @router.get("/jobs/{key}/invoices/{bill}")
    def bill_shown(key: str, bill: str) -> Response:
        found, entry = desk.look(key), of_job(store, "invoice", bill, key)
        return page("invoice.html", road=found, here="offer", entry=entry, paper=invoice_page(invoice_of(store, entry)))

    def approval_shown(key: str, error: InputError | None = None, form: Form | None = None) -> Response:
        found = (desk.wait if error else desk.look)(key)
        if found.work is None or found.closed or found.stop:
            return RedirectResponse(f"/jobs/{key}/offer", 303)
        patches = [(one.id, one.title.capitalize() if ":" not in one.title else one.title) for one in found.patches]
        patches.reverse()
        told: dict[str, Any] = {"seen": _first_seen(found.patches[-1].data) if found.patches else ""}
        fee = prices_of(priced_job(store, found.entry).offer["prices"])
        return page(
            "approval.html", 422 if error else 200, road=found, here="offer", error=error, form=form or told,
            patches=patches, photos=store.all("photo", key), kept=store.all("approval", key), means=MEANS,
            unchanged=said_of("unchanged", found.work.surface.substrate),
            refused=if_sample_fails(fee.patch_fee, shown(fee.patch_fee, fee.currency)),
        )  # fmt: skip

    @router.get("/jobs/{key}/approval")
    def approval(key: str) -> Response:
        return approval_shown(key)

    @router.post("/jobs/{key}/approval")
    def decide(key: str, form: Sent) -> Response:
        try:
            approve(store, desk.wait(key), form)
        except InputError as error:
            return approval_shown(key, error, form)
        return RedirectResponse(f"/jobs/{key}/approval", 303)

    @router.get("/jobs/{key}/approvals/{one}.pdf")
    def approved(key: str, one: str) -> Response:
        return kept_pdf(store, of_job(store, "approval", one, key).data["pdf"])

    return router


def _first_seen(grade: Any) -> str:
    """What a grade says, for the sheet to begin with."""
    return f"Coating left: {grade['residue']}.\nChange of the surface: {grade['harm']}."


def _accepted(store: Store, key: str) -> SentQuote:
    """The newest version that was accepted, or the newest of all."""
    found, signed = quotes_of(store, key), acceptances(store, key)
    if not found:
        raise InputError("quote", "No quote was sent.", "Look at the offer.")
    return next((one for one in reversed(found) if one.entry.id in signed), found[-1])
