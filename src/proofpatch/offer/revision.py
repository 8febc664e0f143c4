"""What was sent stays as it was sent; a revision says what changed; a signature names the version it stands under."""

from __future__ import annotations

import datetime
import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from proofpatch.errors import InputError
from proofpatch.offer.quote import Line, Quote, text_line
from proofpatch.offer.tax import totals


@dataclass(frozen=True)
class Sent:
    """A quote as it was sent, and the mark by which it is known again: SHA-256 of its record."""

    quote: Quote
    day: datetime.date
    fingerprint: str

    def __post_init__(self) -> None:
        if self.fingerprint != fingerprint(self.quote):
            raise InputError("quote", "The quote is not the one that was sent.", "Send a new version instead.")


@dataclass(frozen=True)
class Accepted:
    """name: who signed. day. fingerprint: of what was sent; option: the one chosen, empty for the quoted one."""

    name: str
    day: datetime.date
    fingerprint: str
    option: str = ""


def fingerprint(quote: Quote) -> str:
    """The mark of a quote."""
    text = json.dumps(quote.record(), ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def send(quote: Quote, day: datetime.date) -> Sent:
    """The quote as sent on a day."""
    return Sent(quote, day, fingerprint(quote))


def revise(sent: Sent, **changed: Any) -> Quote:
    """The next version of what was sent, which itself stays as it is.

    Raises:
        InputError: nothing changes, or a part is none.
    """
    found = replace(sent.quote, **changed, version=sent.quote.version + 1)
    if not changes(sent.quote, found):
        raise InputError("quote", "The revision changes nothing.", "Change something, or send the old one again.")
    return found


def accept(sent: Sent, name: str, day: datetime.date, option: str = "") -> Accepted:
    """What the customer signed.

    Raises:
        InputError: no name, past the last day, or no such option.
    """
    if day > sent.quote.valid_until:
        said = f"The quote ended on {sent.quote.valid_until.isoformat()}."
        raise InputError("day", said, "Send a new version with a later last day.")
    if option and option not in [one[0] for one in sent.quote.options]:
        raise InputError("option", f"The option {option[:40]!r} is not in the quote.", "Name one of it.")
    return Accepted(text_line(name, "name", empty=False), day, sent.fingerprint, option)


CHANGE_WORDS = {
    "title": "Title", "site": "Place", "day": "Date", "valid_until": "Valid until", "basis": "Basis of the price",
    "pricing": "Pricing", "duration": "Duration", "starts": "Start", "sample": "Sample",
    "if_sample_fails": "If the sample fails", "currency": "Currency",
}  # fmt: skip
LIST_WORDS = {
    "scope": "Scope", "method": "Method", "finish": "Finish", "unchanged": "What stays", "cautions": "Cautions",
    "excluded": "Not included", "assumed": "Assumed",
}  # fmt: skip


def changes(old: Quote, new: Quote) -> tuple[str, ...]:
    """What a revision changed, each in a plain sentence, the sums first."""
    said: list[str] = []

    def moved(words: str, before: str, after: str) -> None:
        if before != after:
            now, was = after.rstrip(".") or "none", before.rstrip(".") or "none"
            said.append(f"{words}: now {now}, was {was}.")

    moved("Total", old.money(old.totals.gross), new.money(new.totals.gross))
    moved("Tax", f"{old.tax.name} {old.tax.rate.normalize():f}", f"{new.tax.name} {new.tax.rate.normalize():f}")
    moved("Deposit", old.money(old.deposit_due), new.money(new.deposit_due))
    moved("Credit for the test patches", old.money(old.credit), new.money(new.credit))
    said += _line_changes(old, new)
    for name, words in CHANGE_WORDS.items():
        moved(words, str(getattr(old, name)), str(getattr(new, name)))
    moved("Customer", "; ".join((old.customer.name, *old.customer.address)),
          "; ".join((new.customer.name, *new.customer.address)))  # fmt: skip
    moved("Shop", "; ".join((old.shop.name, *old.shop.address)), "; ".join((new.shop.name, *new.shop.address)))
    for name, words in LIST_WORDS.items():
        said += _list_changes(words, getattr(old, name), getattr(new, name))
    said += _list_changes("Terms", [f"{a}: {b}" for a, b in old.terms], [f"{a}: {b}" for a, b in new.terms])
    said += _option_changes(old, new)
    if not said and replace(old, version=new.version) != new:
        said.append("Details of how it is written changed, no sum and no sentence.")
    return tuple(said)


def _option_changes(old: Quote, new: Quote) -> list[str]:
    """What became of the other ways, by their names, with the sums that the paper shows."""
    before, after = _options(old), _options(new)
    said = [f"New way: {name}, {sum_}." for name, (sum_, _) in after.items() if name not in before]
    said += [f"Gone: {name}, {sum_}." for name, (sum_, _) in before.items() if name not in after]
    for name, (sum_, words) in after.items():
        was = before.get(name)
        if was and was[0] != sum_:
            said.append(f"{name}: now {sum_}, was {was[0]}.")
        elif was and was[1] != words:
            said.append(f"{name}: now {words.rstrip('.')}, was {was[1].rstrip('.')}.")
    return said


def _options(quote: Quote) -> dict[str, tuple[str, str]]:
    """{name: (sum with tax, words)}."""
    return {
        name: (quote.money(totals([(value, True)], quote.tax, quote.currency).gross), words)
        for name, words, value in quote.options
    }


def _line_changes(old: Quote, new: Quote) -> list[str]:
    before, after = _counted(old.lines), _counted(new.lines)
    said = [f"New line: {one.words}, {new.money(one.amount)}." for key, one in after.items() if key not in before]
    said += [f"Gone: {one.words}, {old.money(one.amount)}." for key, one in before.items() if key not in after]
    for key, one in after.items():
        was = before.get(key)
        if was and was.amount != one.amount:
            said.append(f"{one.words}: now {new.money(one.amount)}, was {old.money(was.amount)}.")
        elif was and (was.detail, was.taxed) != (one.detail, one.taxed):
            said.append(f"{one.words}: now {one.detail or 'without detail'}, was {was.detail or 'without detail'}.")
    return said


def _counted(lines: Sequence[Line]) -> dict[tuple[str, int], Line]:
    """Lines by their words, and which of the same words it is."""
    found: dict[tuple[str, int], Line] = {}
    for one in lines:
        found[one.words, sum(1 for words, _ in found if words == one.words)] = one
    return found


def _list_changes(words: str, before: Sequence[str], after: Sequence[str]) -> list[str]:
    added = [f"{words}, new: {one}" for one in after if one not in before]
    return added + [f"{words}, gone: {one}" for one in before if one not in after]
