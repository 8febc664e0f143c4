"""Approved samples, invoices and payments over HTTP: the calls of the pages, said by a program."""

from __future__ import annotations

import datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Response
from pydantic import BaseModel, Field

from proofpatch.documents.quote import invoice_page
from proofpatch.offer.quote import LONGEST_LINE
from proofpatch.shop.papers import invoice_of, payments_of, pdf_of
from proofpatch.shop.store import Entry, Store
from proofpatch.web.api import models as m
from proofpatch.web.api.fields import PRINTABLE, line
from proofpatch.web.api.find import open_job, road_of, thing
from proofpatch.web.api.trouble import Declined, at
from proofpatch.web.desk import Desk
from proofpatch.web.issued import DUE_DAYS, approve, bill, pay, sent_of
from proofpatch.web.written import MOST_LINES, YES

Money = Annotated[str, Field(pattern=r"^-?[0-9]{1,9}(\.[0-9]{1,3})?$", description="a sum, as text")]
Day = Annotated[str, Field(pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$", description="like 2026-03-11")]
Line = Annotated[str, line(LONGEST_LINE)]
LONGEST_PICTURE = 400_000  # characters of a drawn signature, as the page takes it
SHEET: dict[int | str, dict[str, Any]] = {
    200: {"content": {"application/pdf": {"schema": {"type": "string", "format": "binary"}}}, "description": "As sent"}
}


class NewApproval(m.Sent):
    """What a customer decided on a sample. signature: a PNG as a data address; without it it is signed on paper."""

    patch: Annotated[str, Field(pattern=r"^[0-9a-f]{32}$")]
    decision: Literal["approved", "refused"]
    name: Line
    reason: Line = ""
    signature: Annotated[str, Field(max_length=LONGEST_PICTURE, pattern=PRINTABLE)] = ""
    signed_on: Day | None = None
    where: Line = ""
    light: Line = ""
    seen: Annotated[list[Line], Field(max_length=MOST_LINES, default_factory=list)]
    photo: Annotated[str, Field(pattern=r"^([0-9a-f]{64})?$")] = ""


class Approval(BaseModel):
    """A decision on a sample; its sheet is at the same address with .pdf behind it."""

    id: str
    number: str
    patch: str
    approved: bool
    reason: str
    name: str
    day: str
    sample: list[list[str]]
    seen: list[str]


class Approvals(BaseModel):
    """The decisions of a job, the last first."""

    approvals: list[Approval]


class ExtraLine(m.Sent):
    """A line agreed in writing beside the quote; below nought it comes off."""

    words: Annotated[str, line(LONGEST_LINE), Field(min_length=1)]
    amount: Money


class NewInvoice(m.Sent):
    """number: the next, if left out. day: today. due: 14 days on (common practice, no source)."""

    number: Line = ""
    day: Day | None = None
    due: Day | None = None
    extra: Annotated[list[ExtraLine], Field(max_length=MOST_LINES, default_factory=list)]
    notes: Annotated[list[Line], Field(max_length=MOST_LINES, default_factory=list)]


class Invoice(BaseModel):
    """An invoice as it stands now: its sums with all payments that are noted; its sheet has .pdf behind it."""

    id: str
    quote: str
    number: str
    day: str
    due: str
    net: str
    tax: str
    gross: str
    credit: str
    paid: str
    owed: str
    currency: str
    paper: dict[str, Any]


class Invoices(BaseModel):
    """The invoices of a job, the last first."""

    invoices: list[Invoice]


class NewPayment(m.Sent):
    """Money that came in."""

    amount: Money
    paid: Day | None = None
    how: Line = ""


class Payment(BaseModel):
    """It as it is noted."""

    id: str
    version: int
    day: str
    amount: str
    how: str


class Payments(BaseModel):
    """The payments of a job, the first first."""

    payments: list[Payment]


def routes(store: Store, desk: Desk) -> APIRouter:
    """The addresses of these papers."""
    router = APIRouter(responses=m.GONE)

    @router.get("/jobs/{id}/approvals")
    def approvals(id: m.Key) -> Approvals:
        """What the customer decided on samples."""
        thing(store, "job", id)
        return Approvals(approvals=[_approval(one) for one in store.all("approval", id)])

    @router.post("/jobs/{id}/approvals", status_code=201, responses=m.CHANGES)
    def decide(id: m.Key, sent: NewApproval) -> Approval:
        """A decision kept with its sheet. Refused (409) as long as a stop is open."""
        found = road_of(desk, open_job(store, id))
        why = found.stop or found.closed
        if why:
            raise Declined(409, "job", why, "Settle it in the job's tables first.")
        form = sent.model_dump(exclude_none=True)
        form |= {"seen": "\n".join(sent.seen), "on_paper": "" if sent.signature else YES}
        with at(""):
            return _approval(approve(store, found, form))

    @router.get("/jobs/{id}/approvals/{approval}.pdf", response_class=Response, responses=SHEET)
    def approved(id: m.Key, approval: m.Key) -> Response:
        """Its sheet, byte for byte as it was kept."""
        return _pdf(store, thing(store, "approval", approval, id))

    @router.get("/jobs/{id}/invoices")
    def invoices(id: m.Key) -> Invoices:
        """The invoices of a job."""
        thing(store, "job", id)
        return Invoices(invoices=[_invoice(store, one) for one in store.all("invoice", id)])

    @router.post("/jobs/{id}/quotes/{quote}/invoices", status_code=201, responses=m.CHANGES)
    def charge(id: m.Key, quote: m.Key, sent: NewInvoice) -> Invoice:
        """The invoice of a quote that was accepted."""
        open_job(store, id)
        thing(store, "quote", quote, id)
        today = datetime.date.today()
        form = {
            "number": sent.number, "day": sent.day or today.isoformat(),
            "due": sent.due or (today + datetime.timedelta(days=DUE_DAYS)).isoformat(),
            "extra": "\n".join(f"{one.words}; {one.amount}" for one in sent.extra), "notes": "\n".join(sent.notes),
        }  # fmt: skip
        with at(""):
            return _invoice(store, bill(store, id, sent_of(store, id, quote)[0], form))

    @router.get("/jobs/{id}/invoices/{invoice}.pdf", response_class=Response, responses=SHEET)
    def billed(id: m.Key, invoice: m.Key) -> Response:
        """Its sheet, byte for byte as it was handed out."""
        return _pdf(store, thing(store, "invoice", invoice, id))

    @router.get("/jobs/{id}/invoices/{invoice}")
    def invoice(id: m.Key, invoice: m.Key) -> Invoice:
        """One of them."""
        return _invoice(store, thing(store, "invoice", invoice, id))

    @router.get("/jobs/{id}/payments")
    def payments(id: m.Key) -> Payments:
        """The payments noted of a job."""
        thing(store, "job", id)
        return Payments(payments=[_payment(one) for one, _ in payments_of(store, id)])

    @router.post("/jobs/{id}/quotes/{quote}/payments", status_code=201, responses=m.CHANGES)
    def came_in(id: m.Key, quote: m.Key, sent: NewPayment) -> Payment:
        """Money that came in for a quote. No books are kept."""
        open_job(store, id)
        thing(store, "quote", quote, id)
        form = {"amount": sent.amount, "paid": sent.paid or datetime.date.today().isoformat(), "how": sent.how}
        with at(""):
            return _payment(pay(store, id, sent_of(store, id, quote)[0], form))

    return router


def _approval(entry: Entry) -> Approval:
    keys = ("number", "patch", "approved", "reason", "name", "day", "sample", "seen")
    return Approval(id=entry.id, **{key: entry.data[key] for key in keys})


def _invoice(store: Store, entry: Entry) -> Invoice:
    made = invoice_of(store, entry)
    sums = made.totals
    return Invoice(
        id=entry.id, quote=entry.data["quote"], number=made.number, day=made.day.isoformat(), due=made.due.isoformat(),
        net=str(sums.net), tax=str(sums.tax), gross=str(sums.gross), credit=str(made.credit), paid=str(made.paid),
        owed=str(made.owed), currency=made.currency, paper=invoice_page(made),
    )  # fmt: skip


def _payment(entry: Entry) -> Payment:
    return Payment(id=entry.id, version=entry.version, **{key: entry.data[key] for key in ("day", "amount", "how")})


def _pdf(store: Store, entry: Entry) -> Response:
    return Response(pdf_of(store, entry.data["pdf"]), media_type="application/pdf")
