"""The invoice of an accepted quote, with payments noted. No books are kept here."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from babel.dates import format_date

from proofpatch.errors import InputError
from proofpatch.offer.money import amount, unit_of
from proofpatch.offer.quote import Line, Party, Quote, text_line
from proofpatch.offer.revision import Accepted, Sent
from proofpatch.offer.tax import Tax, Totals, totals


@dataclass(frozen=True)
class Payment:
    """Money that came in. how: in words (deposit, bank transfer)."""

    day: datetime.date
    amount: Decimal
    how: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "amount", amount(self.amount, "payments.amount", "The payment"))
        object.__setattr__(self, "how", text_line(self.how, "payments.how"))


@dataclass(frozen=True)
class Invoice:
    """number, day, due. of: the quote it comes from, in words. The rest as in the quote.

    lines: of the quote, and extra ones agreed in writing. credit: test-patch fee paid before, with tax.
    """

    number: str
    day: datetime.date
    due: datetime.date
    of: str
    shop: Party
    customer: Party
    title: str
    lines: tuple[Line, ...]
    currency: str
    tax: Tax
    credit: Decimal = Decimal(0)
    payments: tuple[Payment, ...] = ()
    notes: tuple[str, ...] = ()
    locale: str = "en"

    def __post_init__(self) -> None:
        object.__setattr__(self, "number", text_line(self.number, "number", empty=False))
        if self.due < self.day:
            raise InputError("due", "The invoice is due before its day.", "Give a later day.")
        for one in self.payments:
            if one.amount % unit_of(self.currency):
                said = f"The payment {one.amount} is no whole number of {unit_of(self.currency)}."
                raise InputError("payments.amount", said, "Check it.")

    @property
    def totals(self) -> Totals:
        """Net, tax and gross of all lines."""
        return totals([(one.amount, one.taxed) for one in self.lines], self.tax, self.currency)

    @property
    def paid(self) -> Decimal:
        """All that came in, the credit with it."""
        return self.credit + sum((one.amount for one in self.payments), Decimal(0))

    @property
    def owed(self) -> Decimal:
        """What is left to pay; below nought where too much came in."""
        return self.totals.gross - self.paid


def invoice(
    sent: Sent, accepted: Accepted, number: str, day: datetime.date, due: datetime.date,
    payments: Sequence[Payment] = (), extra: Sequence[Line] = (), notes: Sequence[str] = (),
) -> Invoice:  # fmt: skip
    """The invoice of what was accepted.

    Args:
        extra: lines agreed in writing beyond the quote.

    Raises:
        InputError: another quote was accepted than this one, or a part is none.
    """
    if accepted.fingerprint != sent.fingerprint:
        raise InputError("accepted", "Another version of the quote was accepted.", "Take the one that was signed.")
    quote = sent.quote
    # An old quote took the fee off as paid; where it is noted as a payment too, it is the same money.
    noted_before = sum((one.amount for one in payments if _of_patches(one, quote)), Decimal(0))
    credit = max(quote.credit - noted_before, Decimal(0))
    day_words = format_date(accepted.day, "long", locale=quote.locale)
    said = f"Quote {quote.number}, version {quote.version}, accepted {day_words} by {accepted.name}"
    return Invoice(
        number, day, due, said, quote.shop, quote.customer, quote.title, (*_chosen(quote, accepted), *extra),
        quote.currency, quote.tax, credit, tuple(payments), tuple(text_line(one, "notes") for one in notes),
        quote.locale,
    )  # fmt: skip


def _of_patches(payment: Payment, quote: Quote) -> bool:
    """Whether a payment is the test-patch fee that a quote speaks of: it came in before it, is that sum, or says so."""
    same = payment.day == quote.day and payment.amount == quote.credit
    return payment.day < quote.day or same or "patch" in payment.how.casefold()


def _chosen(quote: Quote, accepted: Accepted) -> tuple[Line, ...]:
    """The lines of the quote, or the option that was taken in their place."""
    if not accepted.option:
        return quote.lines
    name, words, value = next(one for one in quote.options if one[0] == accepted.option)
    return (replace(quote.lines[0], words=name, detail=words, amount=value),)


def noted(bill: Invoice, payment: Payment) -> Invoice:
    """The invoice with one more payment."""
    return replace(bill, payments=(*bill.payments, payment))
