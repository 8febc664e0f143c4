"""The quote as a record: plain values that the paper, the page and the store all show."""

from __future__ import annotations

import datetime
import unicodedata
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from decimal import Decimal
from typing import Any

from proofpatch.errors import InputError, expect
from proofpatch.offer.money import amount, rounded, shown, unit_of
from proofpatch.offer.tax import Tax, Totals, totals

LONGEST_LINE = 200
LONGEST_TEXT = 1200
MOST_LINES = 400
# What shows nothing itself: joiners that Persian and Indian scripts need, and spaces that do not break within a sum.
UNSEEN = "\u200c\u200d\u00a0\u202f"
BASES = {
    "fixed": "Fixed price for the scope above.",
    "not more than": "Time and materials, not more than this sum without your written consent.",
    "estimate": "An estimate, not a fixed price.",
}
PRICINGS = ("lump sum", "per area", "per piece")


def text_line(value: Any, field: str, most: int = LONGEST_LINE, empty: bool = True) -> str:
    """One line that can stand on paper.

    Raises:
        InputError: no text, too long, or with signs that show nothing.
    """
    if not isinstance(value, str) or len(value) > most or (not empty and not value.strip()):
        raise InputError(field, f"{field} is not a line of at most {most} characters.", "Shorten it.")
    if not all(c.isprintable() or c in UNSEEN for c in value):
        raise InputError(field, f"{field} holds characters that cannot be shown.", "Type it anew.")
    return unicodedata.normalize("NFC", value.strip())


@dataclass(frozen=True)
class Party:
    """The shop or the customer: name, lines of address, what else heads the paper (phone, tax number)."""

    name: str
    address: tuple[str, ...] = ()
    more: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", text_line(self.name, "name", empty=False))
        for name in ("address", "more"):
            lines = tuple(text_line(one, name) for one in getattr(self, name))
            if len(lines) > 8:
                raise InputError(name, f"{name} has more than 8 lines.", "Shorten it.")
            object.__setattr__(self, name, lines)

    def record(self) -> dict[str, Any]:
        """As records and letterheads have it."""
        return {"name": self.name, "address": list(self.address), "more": list(self.more)}


@dataclass(frozen=True)
class Line:
    """One line of the price: words, what of it (area, pieces), sum, whether taxed."""

    words: str
    amount: Decimal
    detail: str = ""
    taxed: bool = True

    def __post_init__(self) -> None:
        object.__setattr__(self, "words", text_line(self.words, "lines.words", empty=False))
        object.__setattr__(self, "detail", text_line(self.detail, "lines.detail", LONGEST_TEXT))
        object.__setattr__(self, "amount", amount(self.amount, "lines.amount", "The sum of a line", -(10**9)))


@dataclass(frozen=True)
class Quote:
    """All that the paper shows. Sums are in whole smallest units of the currency.

    Args:
        number, version, day, valid_until. shop, customer. site: where the work is done. title: of the piece.
        basis: one of BASES. pricing: one of PRICINGS. scope, method, finish, unchanged, cautions, excluded, assumed:
        sentences. duration: in words. starts: in words. sample: which test patch the result is matched to.
        lines. currency. tax. deposit: share of the gross. credit: test-patch fee already paid, with tax.
        options: (name, words, sum) beside the quoted one. terms: (head, sentence).
        if_sample_fails: what happens then. locale: how sums are written.

    Raises:
        InputError: a part that no quote has.
    """

    number: str
    day: datetime.date
    valid_until: datetime.date
    shop: Party
    customer: Party
    title: str
    lines: tuple[Line, ...]
    currency: str = "EUR"
    version: int = 1
    site: str = ""
    basis: str = "fixed"
    pricing: str = "lump sum"
    scope: tuple[str, ...] = ()
    method: tuple[str, ...] = ()
    finish: tuple[str, ...] = ()
    unchanged: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    excluded: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    duration: str = ""
    starts: str = ""
    sample: str = ""
    tax: Tax = field(default_factory=Tax)
    deposit: Decimal = Decimal(0)
    credit: Decimal = Decimal(0)
    options: tuple[tuple[str, str, Decimal], ...] = ()
    terms: tuple[tuple[str, str], ...] = ()
    if_sample_fails: str = ""
    locale: str = "en"

    def __post_init__(self) -> None:
        for name in ("number", "title"):
            object.__setattr__(self, name, text_line(getattr(self, name), name, empty=False))
        for name in ("site", "duration", "starts", "sample", "if_sample_fails"):
            object.__setattr__(self, name, text_line(getattr(self, name), name, LONGEST_TEXT))
        for name in ("scope", "method", "finish", "unchanged", "cautions", "excluded", "assumed"):
            found = tuple(text_line(one, name, LONGEST_TEXT, empty=False) for one in getattr(self, name))
            object.__setattr__(self, name, found)
        object.__setattr__(
            self, "terms", tuple((text_line(a, "terms"), text_line(b, "terms", LONGEST_TEXT)) for a, b in self.terms)
        )
        object.__setattr__(
            self, "options",
            tuple((text_line(a, "options", empty=False), text_line(b, "options", LONGEST_TEXT), amount(c, "options"))
                  for a, b, c in self.options),
        )  # fmt: skip
        if self.basis not in BASES or self.pricing not in PRICINGS:
            name, known = ("basis", tuple(BASES)) if self.basis not in BASES else ("pricing", PRICINGS)
            raise InputError(name, f"The {name} {getattr(self, name)!r} is not known.", f"Use: {', '.join(known)}.")
        if self.valid_until < self.day:
            raise InputError("valid_until", "The quote ends before its day.", "Give a later day.")
        if not self.lines or len(self.lines) > MOST_LINES:
            raise InputError("lines", f"A quote has 1 to {MOST_LINES} lines.", "Put small ones together.")
        unit = unit_of(self.currency)
        for one in self.lines:
            if one.amount % unit:
                raise InputError("lines.amount", f"The sum {one.amount} is no whole number of {unit}.", "Round it.")
        for name in ("deposit", "credit"):
            object.__setattr__(self, name, amount(getattr(self, name), name))
        if self.deposit > 1:
            raise InputError("deposit", "The deposit is more than the whole.", "Write 30 % as 0.3.")
        shown(Decimal(1), self.currency, self.locale)

    @property
    def totals(self) -> Totals:
        """Net, tax and gross of all lines."""
        return totals([(one.amount, one.taxed) for one in self.lines], self.tax, self.currency)

    @property
    def due(self) -> Decimal:
        """The gross without the credit; never below nought."""
        return max(self.totals.gross - self.credit, Decimal(0))

    @property
    def deposit_due(self) -> Decimal:
        """The deposit, of what is due."""
        return rounded(self.due * self.deposit, self.currency, self.tax.rounding)

    def money(self, value: Decimal) -> str:
        """A sum as the quote writes it."""
        return shown(value, self.currency, self.locale)

    def record(self) -> dict[str, Any]:
        """Plain values for JSON; sums and shares as text, so that no cent is lost."""
        found: dict[str, Any] = _plain(asdict(self))
        return found


def quote_from(record: Mapping[str, Any]) -> Quote:
    """The quote of its `record`.

    Raises:
        InputError: a part is missing or is none.
    """
    expect("quote", record, Mapping, "Give the record of a quote.")
    known = {one.name for one in fields(Quote)}
    if strange := set(record) - known:
        raise InputError("quote", f"The quote has an unknown part {sorted(strange)[0]!r:.40}.", "Take it out.")
    try:
        given = dict(record)
        for name in ("day", "valid_until"):
            given[name] = datetime.date.fromisoformat(given[name])
        for name in ("shop", "customer"):
            lines = {key: tuple(given[name].get(key, ())) for key in ("address", "more")}
            given[name] = Party(given[name]["name"], **lines)
        given["lines"] = tuple(Line(**one) for one in given["lines"])
        given["tax"] = Tax(**given["tax"]) if "tax" in given else Tax()
        given["options"] = tuple((a, b, Decimal(c)) for a, b, c in given.get("options", ()))
        return Quote(**given)
    except (AttributeError, KeyError, TypeError, ValueError, ArithmeticError) as slip:
        if isinstance(slip, InputError):
            raise
        raise InputError("quote", "The record is no quote.", "It was damaged or made by another program.") from None


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _plain(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(one) for one in value]
    if isinstance(value, Decimal):
        return str(value)
    return value.isoformat() if isinstance(value, datetime.date) else value
