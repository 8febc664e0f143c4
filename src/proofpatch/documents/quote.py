"""The papers a customer gets: the quote, the approval of a sample, the invoice."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from proofpatch.documents.letters import check_letters
from proofpatch.documents.paper import Shot, Signature, day_words, headed, printed
from proofpatch.offer.invoice import Invoice
from proofpatch.offer.money import shown
from proofpatch.offer.quote import BASES, Party, Quote
from proofpatch.offer.revision import changes
from proofpatch.offer.tax import Tax, Totals, totals

PRICING_WORDS = {
    "lump sum": "It is one sum for all of it.",
    "per area": "It is charged by the area that was measured.",
    "per piece": "It is charged by the piece; later pieces go faster, which is in the sum.",
}


@dataclass(frozen=True)
class Approval:
    """A sample to sign. sample: (what, words) rows: which, where, how looked at. seen, unchanged: sentences.

    reason: why it was not approved.
    """

    number: str
    day: datetime.date
    shop: Party
    customer: Party
    title: str
    sample: tuple[tuple[str, str], ...]
    seen: tuple[str, ...]
    unchanged: tuple[str, ...]
    quote: str = ""
    refused: str = ""
    reason: str = ""
    locale: str = "en"


MOST_WITH, LINE_LETTERS = 900, 70  # letters of terms kept with the acceptance; of one line of them
MEANS = (
    "The rest of the piece is worked at the setting of this sample, and the result is matched to it, not to new "
    "material.",
    "The sample stays visible and protected until the whole piece is accepted.",
)


def quote_pdf(
    quote: Quote, paper: str = "a4", photo: Shot | None = None, before: Quote | None = None,
    fonts: Path | None = None, signature: Signature | None = None,
) -> bytes:  # fmt: skip
    """The quote as PDF.

    Args:
        paper: a4 or us-letter. photo: of the sample. before: the version that was sent before; its changes head the
        page. fonts: a folder of the shop's own fonts, for letters that the program's have not. signature: under it.

    Raises:
        InputError: another paper, a photo that is none, or letters without a shape.
    """
    check_letters(_names(quote.shop, quote.customer) | {
        "title": quote.title, "site": quote.site, "scope": quote.scope, "lines": [one.words for one in quote.lines],
        "terms": [text for pair in quote.terms for text in pair], "finish": quote.finish, "method": quote.method,
    }, fonts)  # fmt: skip
    return printed(
        "quote.typ", quote_page(quote, before), paper, quote.day, quote.locale, photo, fonts, signature
    )  # fmt: skip


def invoice_pdf(bill: Invoice, paper: str = "a4", fonts: Path | None = None) -> bytes:
    """The invoice as PDF; arguments and errors as `quote_pdf`."""
    names = _names(bill.shop, bill.customer) | {"title": bill.title, "lines": [one.words for one in bill.lines]}
    check_letters(names, fonts)
    return printed("invoice.typ", invoice_page(bill), paper, bill.day, bill.locale, None, fonts)


def approval_pdf(
    approval: Approval, paper: str = "a4", photo: Shot | None = None, fonts: Path | None = None,
    signature: Signature | None = None,
) -> bytes:  # fmt: skip
    """The sheet on which the customer approves a sample; arguments and errors as `quote_pdf`."""
    check_letters(_names(approval.shop, approval.customer) | {
        "title": approval.title, "sample": [text for pair in approval.sample for text in pair], "seen": approval.seen,
    }, fonts)  # fmt: skip
    facts = [["Date", day_words(approval.day, approval.locale)]]
    data = {
        **headed("Sample approval", approval.number, approval.shop, approval.customer, approval.title),
        "facts": [*facts, *([["Quote", approval.quote]] * bool(approval.quote))],
        "to": "Customer", "sample": [list(pair) for pair in approval.sample], "seen": list(approval.seen),
        "means": list(MEANS), "unchanged": list(approval.unchanged), "refused": approval.refused,
        "reason": approval.reason,
    }  # fmt: skip
    return printed("approval.typ", data, paper, approval.day, approval.locale, photo, fonts, signature)


def quote_page(quote: Quote, before: Quote | None) -> dict[str, Any]:
    """What the paper says, as words."""
    money, end = quote.money, day_words(quote.valid_until, quote.locale)
    facts = [["Date", day_words(quote.day, quote.locale)], ["Valid until", end]]
    if quote.site:
        facts.append(["Place", quote.site])
    options = [[name, words, money(totals([(value, True)], quote.tax, quote.currency).gross)]
               for name, words, value in quote.options]  # fmt: skip
    terms = _terms(quote, end)
    estimate, capped = quote.basis == "estimate", quote.basis == "not more than"
    most = "Not more than " if capped else ""
    whole = most + money(quote.totals.gross) + (f" with {quote.tax.name}" if quote.tax.rate else "")
    return {
        **headed("Estimate" if estimate else "Quote", quote.number, quote.shop, quote.customer, quote.title),
        "versioned": f", version {quote.version}" if quote.version > 1 else "", "facts": facts, "to": "For",
        "lead": f"{whole}. {quote.duration}".strip(),
        "changes": list(changes(before, quote)) if before else [], "before": str(before.version) if before else "",
        "scope": list(quote.scope), "method": list(quote.method), "sample": quote.sample,
        "finish": list(quote.finish), "unchanged": list(quote.unchanged), "cautions": list(quote.cautions),
        "lines": [[one.words, one.detail, money(one.amount)] for one in quote.lines],
        "ends": _ends(quote.totals, quote.tax, money, _after(quote), "Not more than" if capped else "Total"),
        "basis": BASES[quote.basis],
        "pricing": PRICING_WORDS[quote.pricing], "options": options,
        "options_sum": f"{most or 'Sum '}with {quote.tax.name}" if quote.tax.rate else most.strip() or "Sum",
        "excluded": list(quote.excluded), "assumed": list(quote.assumed), "terms": terms,
        "signed_with": _with_signature(terms),
        "acceptance": f"We accept {'estimate' if estimate else 'quote'} {quote.number}, version {quote.version}, with "
        "its scope, finish, cautions and terms as written here.",
        "title_choice": f"As quoted, {most.lower()}{money(quote.totals.gross)}",
    }  # fmt: skip


def _with_signature(terms: Sequence[Sequence[str]]) -> int:
    """How many of the last terms stand on one page with the acceptance; so few that they fit there."""
    kept, letters = 0, 0
    for _, words in reversed(terms):
        letters += max(len(words), LINE_LETTERS)
        if letters > MOST_WITH and kept:
            break
        kept += 1
    return kept


def _after(quote: Quote) -> list[tuple[str, str]]:
    """What comes after the gross: credit and what is due."""
    if not quote.credit:
        return []
    return [("Test patches, already paid", f"−{quote.money(quote.credit)}"), ("To pay", quote.money(quote.due))]


def _terms(quote: Quote, end: str) -> list[list[str]]:
    said = [["Valid", f"Until {end}."]]
    if quote.starts:
        said.append(["Start", quote.starts])
    if quote.deposit:
        said.append(["Deposit", f"{quote.money(quote.deposit_due)} with your signature; the rest when it is done."])
    said += [list(pair) for pair in quote.terms]
    if quote.if_sample_fails:
        said.append(["If the sample says no", quote.if_sample_fails])
    return said


def invoice_page(bill: Invoice) -> dict[str, Any]:
    """What the paper says, as words."""

    def money(value: Decimal) -> str:
        return shown(value, bill.currency, bill.locale)

    after = [("Test patches, already paid", f"−{money(bill.credit)}")] if bill.credit else []
    if bill.payments:
        after.append(("Payments noted", f"−{money(bill.paid - bill.credit)}"))
    if after:
        after.append(("To pay", money(max(bill.owed, Decimal(0)))))
    due = day_words(bill.due, bill.locale)
    if bill.owed > 0:
        owed = f"To pay by {due}: {money(bill.owed)}"
    else:
        owed = (
            "Paid in full. Thank you."
            if bill.owed == 0
            else f"Paid. {money(-bill.owed)} too much came in; it is yours."
        )
    return {
        **headed("Invoice", bill.number, bill.shop, bill.customer, bill.title),
        "facts": [["Date", day_words(bill.day, bill.locale)], ["Due", due]], "to": "To",
        "lead": f"{bill.of}.", "lines": [[one.words, one.detail, money(one.amount)] for one in bill.lines],
        "ends": _ends(bill.totals, bill.tax, money, after), "owed": owed, "notes": list(bill.notes),
        "payments": [[day_words(one.day, bill.locale), one.how, money(one.amount)] for one in bill.payments],
    }  # fmt: skip


def _ends(
    found: Totals, tax: Tax, money: Any, after: Sequence[tuple[str, str]], total: str = "Total"
) -> list[list[Any]]:  # fmt: skip
    """The sums under the lines; the last one is the strong one. total: what their sum is called."""
    percent = f"{(tax.rate * 100).normalize():f} %"
    if not tax.rate:
        rows = [(total, money(found.gross))]
    elif tax.inclusive:
        rows = [(f"In it {tax.name} {percent}", money(found.tax)), (total, money(found.gross))]
    else:
        rows = [("Before tax", money(found.net)), (f"{tax.name} {percent}", money(found.tax)),
                (total, money(found.gross))]  # fmt: skip
    rows += after
    return [[words, value, i == len(rows) - 1] for i, (words, value) in enumerate(rows)]


def _names(shop: Party, customer: Party) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for who, one in (("shop", shop), ("customer", customer)):
        found |= {f"{who}.name": one.name, f"{who}.address": [*one.address, *one.more]}
    return found
