"""Papers made of what was said and kept: approved samples, invoices, payments; for the pages and the interface.

What is said comes as the fields of a form, so that a page and a program are told the same sentence at the same field.
"""

from __future__ import annotations

import datetime
from decimal import Decimal

from proofpatch.documents.paper import Shot
from proofpatch.documents.quote import Approval, approval_pdf, invoice_pdf
from proofpatch.errors import InputError
from proofpatch.offer.money import amount, shown
from proofpatch.offer.quote import Line, text_line
from proofpatch.offer.told import if_sample_fails, said_of
from proofpatch.shop.charges import priced_job, tables_of
from proofpatch.shop.invented import on_paper
from proofpatch.shop.offered import paper_of, prices_of
from proofpatch.shop.papers import (
    SentQuote,
    acceptances,
    invoice_number,
    keep_invoice,
    keep_pdf,
    note_payment,
    payments_of,
    quotes_of,
    write_invoice,
)
from proofpatch.shop.photos import exported
from proofpatch.shop.store import Entry, Store
from proofpatch.web.road import Road
from proofpatch.web.shell import Form, text
from proofpatch.web.signing import day_of, signature_of, signed_of
from proofpatch.web.written import lines, money, summed

DUE_DAYS = 14  # common practice, no source


def approve(store: Store, found: Road, form: Form) -> Entry:
    """The customer's decision on a sample, kept with its sheet.

    Args:
        form: patch (its id), decision, reason, name, signature or on_paper with signed_on, where, light, seen, photo.

    Raises:
        InputError: a stop stands, or a field that is none.
    """
    key = found.entry.id
    if found.work is None or found.closed or found.stop:
        raise InputError("patch", "A stop stands before any beam.", "Settle it first.")
    patch = next((one for one in found.patches if one.id == text(form, "patch")), None)
    if patch is None:
        raise InputError("patch", "This patch is not graded in the job.", "Choose one of the list.")
    decision, reason = text(form, "decision"), text_line(text(form, "reason"), "reason")
    if decision not in ("approved", "refused"):
        raise InputError("decision", "Nothing was decided.", "Choose one of the two.")
    if decision == "refused" and not reason:
        raise InputError("reason", "There is no reason.", "Write what is not as it should be.")
    signed, work = signed_of(form, datetime.date.min, ()), priced_job(store, found.entry)
    paper, prices, sent = paper_of(work), prices_of(work.offer["prices"]), quotes_of(store, key)
    name = patch.title.partition(":")[0]
    rows = [("Test patch", name), ("Grade", f"{patch.data['residue']}, {patch.data['harm']}")]
    for words, field in (("Where", "where"), ("Looked at", "light")):
        if text(form, field):
            rows.append((words, text_line(text(form, field), field)))
    size = tables_of(store, found.entry)["letterhead"].get("paper", "a4")
    base, photo = sent[-1].quote.number if sent else paper.number, text(form, "photo")
    shot, seen = shot_of(store, key, photo), tuple(lines(form, "seen"))
    # The sheet is printed outside the transaction; another device may have taken its number meanwhile.
    while True:
        taken = len(store.all("approval", key))
        number = f"{base}-S{taken + 1}"
        sheet = Approval(
            number, signed.day, paper.shop, paper.customer, on_paper(store, found.entry), tuple(rows), seen,
            said_of("unchanged", work.surface.substrate), sent[-1].quote.number if sent else "",
            if_sample_fails(prices.patch_fee, shown(prices.patch_fee, prices.currency, paper.locale)), reason,
            paper.locale,
        )  # fmt: skip
        pdf = approval_pdf(sheet, size, shot, signature=signature_of(signed, decision == "approved"))
        with store.together():
            if len(store.all("approval", key)) != taken:
                continue
            kept = keep_pdf(store, key, pdf, f"Sample approval {number}")
            data = {
                **signed.record(), "patch": name, "patch_id": patch.id, "approved": decision == "approved",
                "reason": reason, "sample": [list(row) for row in rows], "seen": list(seen), "number": number,
                "photo": photo, "pdf": kept.id,
            }  # fmt: skip
            return store.add("approval", data, key, f"Sample {name}, {number}")


def bill(store: Store, key: str, one: SentQuote, form: Form) -> Entry:
    """The invoice of a quote that was accepted, kept with its sheet.

    Args:
        form: number (empty: the next), day, due, extra (lines like "Hinges; 40.00"), notes.

    Raises:
        InputError: it was not accepted, or a field that is none.
    """
    accepted = acceptances(store, key).get(one.entry.id)
    if accepted is None:
        raise InputError("quote", "This version was not accepted.", "Have it signed first.")
    day, due, extra = day_of(form, "day"), day_of(form, "due", ahead=True), _extra(form)
    number, notes = text(form, "number") or invoice_number(store, one.quote, key), lines(form, "notes")
    paid = [payment for _, payment in payments_of(store, key)]
    made = write_invoice(one, accepted, number, day, due, paid, [Line(*pair) for pair in extra], notes)
    told = {"number": made.number, "day": day.isoformat(), "due": due.isoformat(), "notes": notes,
            "extra": [[words, str(sum_)] for words, sum_ in extra]}  # fmt: skip
    return keep_invoice(store, key, made, told, one.entry.id, invoice_pdf(made, one.entry.data["paper"]))


def pay(store: Store, key: str, one: SentQuote, form: Form) -> Entry:
    """Money that came in, on disk; form: amount, paid (its day), how.

    Raises:
        InputError: a field that is none.
    """
    value = money("amount", text(form, "amount"))
    return note_payment(store, key, one.quote, day_of(form, "paid"), value, text(form, "how"))


def sent_of(store: Store, key: str, quote: str) -> tuple[SentQuote, SentQuote]:
    """(that version, the newest) of a job.

    Raises:
        InputError: it is none of this job.
    """
    found = quotes_of(store, key)
    one = next((one for one in found if one.entry.id == quote), None)
    if one is None:
        raise InputError("quote", "There is no such quote in this job.", "Look it up in the offer.")
    return one, found[-1]


def _extra(form: Form) -> list[tuple[str, Decimal]]:
    """Lines beside the quote: words and sum."""
    found = []
    for line in lines(form, "extra"):
        words, value = summed("extra", line)
        found.append((text_line(words, "extra"), amount(value, "extra", low=-(10**9))))
    return found


def shot_of(store: Store, job: str, digest: str) -> Shot | None:
    """A photo of the job for the page.

    Raises:
        InputError: it is none of this job.
    """
    if not digest:
        return None
    one = next((one for one in store.all("photo", job) if one.data["digest"] == digest), None)
    if one is None:
        raise InputError("photo", "The photo is not in this job.", "Choose another.")
    about = str(one.data.get("about") or "the sample")
    return Shot(exported(store, digest), f"Photo: {about}", about)
