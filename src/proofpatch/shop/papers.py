"""What a customer was sent and signed, kept as it was: quotes, acceptances, approved samples, invoices; and payments.

Each is a thing of its own that nothing changes (`tables.FROZEN`); its PDF is kept beside it, byte for byte.
"""

from __future__ import annotations

import base64
import datetime
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from decimal import Decimal
from typing import Any

from proofpatch.errors import InputError
from proofpatch.offer.invoice import Invoice, Payment, invoice
from proofpatch.offer.money import amount, rounded
from proofpatch.offer.quote import Line, Quote, quote_from, text_line
from proofpatch.offer.revision import Accepted, Sent, accept, changes, fingerprint
from proofpatch.shop.log import stamp
from proofpatch.shop.store import Entry, Store

MOST_PAYMENT = Decimal(10) ** 9


@dataclass(frozen=True)
class SentQuote:
    """A quote that was sent. before: the version it revises."""

    entry: Entry
    sent: Sent
    before: Quote | None

    @property
    def quote(self) -> Quote:
        """As it was sent."""
        return self.sent.quote


@dataclass(frozen=True)
class Signed:
    """What was signed. name, day, at: who and when. ticked: sentences. signature: PNG, empty where it is on paper."""

    name: str
    day: datetime.date
    at: str
    ticked: tuple[str, ...] = ()
    signature: bytes = b""
    option: str = ""

    def record(self) -> dict[str, Any]:
        """Plain values; the picture as text."""
        return {**asdict(self), "day": self.day.isoformat(), "ticked": list(self.ticked),
                "signature": base64.b64encode(self.signature).decode("ascii")}  # fmt: skip


def signed_from(record: Mapping[str, Any]) -> Signed:
    """What was signed, of its record."""
    return Signed(
        record["name"], datetime.date.fromisoformat(record["day"]), record["at"], tuple(record["ticked"]),
        base64.b64decode(record["signature"]), record["option"],
    )  # fmt: skip


def quotes_of(store: Store, job: str) -> list[SentQuote]:
    """The versions that were sent of a job, the first first.

    Raises:
        InputError: one of them is no longer what was sent.
    """
    found: list[SentQuote] = []
    for entry in sorted(store.all("quote", job), key=lambda one: int(one.data["quote"]["version"])):
        data = entry.data
        sent = Sent(quote_from(data["quote"]), datetime.date.fromisoformat(data["day"]), data["fingerprint"])
        found.append(SentQuote(entry, sent, found[-1].quote if found else None))
    return found


def next_number(store: Store, job: str, day: datetime.date) -> str:
    """The number of a job's quotes: the one it has, else the year's next."""
    own = quotes_of(store, job)
    if own:
        return own[-1].quote.number
    rows = store.told("quote", "quote.number", "day")
    numbers = {number for _, number, _ in rows}
    count = len({of for of, _, sent in rows if str(sent).startswith(str(day.year))}) + 1
    while f"Q-{day.year}-{count:03d}" in numbers:
        count += 1
    return f"Q-{day.year}-{count:03d}"


def only_dates_differ(old: Quote, new: Quote) -> bool:
    """Whether a new version would say the same with other dates."""
    same = {**new.record(), **{key: old.record()[key] for key in ("day", "valid_until", "version")}}
    return same == old.record()


def send_quote(store: Store, job: str, quote: Quote, paper: str, photo: str, pdf: bytes) -> Entry:
    """A quote as it is sent, frozen on disk with its PDF.

    Args:
        paper: its size. photo: digest of the one on it, or empty.

    Raises:
        InputError: another version was sent meanwhile, nothing changed, or another job has its number.
    """
    with store.together():
        own = quotes_of(store, job)
        if quote.version != len(own) + 1:
            said = f"Version {len(own)} was sent meanwhile."
            raise InputError("quote", said, "Look at it, then write the next one.")
        if own and not changes(own[-1].quote, quote):
            raise InputError("quote", "Nothing changed since the last version.", "Send that one again.")
        if any(of != job and number == quote.number for of, number in store.told("quote", "quote.number")):
            said = f"The number {quote.number} is on a quote of another job."
            raise InputError("offer.number", said, "Give another.")
        kept = keep_pdf(store, job, pdf, f"Quote {quote.number}, version {quote.version}")
        data = {
            "quote": quote.record(), "fingerprint": fingerprint(quote), "day": quote.day.isoformat(), "at": stamp(),
            "paper": paper, "photo": photo, "pdf": kept.id,
        }  # fmt: skip
        return store.add("quote", data, job, f"sent {quote.money(quote.totals.gross)}")


def keep_pdf(store: Store, job: str, pdf: bytes, title: str) -> Entry:
    """The bytes of a paper, as they are."""
    return store.add("paper", {"pdf": base64.b64encode(pdf).decode("ascii")}, job, title)


def pdf_of(store: Store, key: str) -> bytes:
    """A paper as it was handed out."""
    return base64.b64decode(store.get("paper", key).data["pdf"])


def acceptances(store: Store, job: str) -> dict[str, Entry]:
    """{id of a quote: what was signed under it}."""
    return {str(one.data["quote"]): one for one in store.in_order("acceptance", job)}


def take_acceptance(store: Store, found: SentQuote, signed: Signed, pdf: bytes) -> Entry:
    """A signature under a quote, kept with the signed paper.

    Raises:
        InputError: it ended, a later version was sent, it was accepted before, or no such option.
    """
    job = found.entry.job or ""
    accepted = accept(found.sent, signed.name, signed.day, signed.option)
    with store.together():
        last = quotes_of(store, job)[-1]
        if last.entry.id != found.entry.id:
            said = f"Version {last.quote.version} was sent since."
            raise InputError("quote", said, "Accept that one.")
        if found.entry.id in acceptances(store, job):
            raise InputError("quote", "This version was accepted before.", "Look at it.")
        kept = keep_pdf(store, job, pdf, f"Quote {found.quote.number}, version {found.quote.version}, accepted")
        data = {"quote": found.entry.id, "fingerprint": accepted.fingerprint, **signed.record(), "pdf": kept.id}
        entry = store.add("acceptance", data, job, f"Accepted by {accepted.name}")
        return entry


def accepted_of(entry: Entry) -> Accepted:
    """What an acceptance says."""
    signed = signed_from(entry.data)
    return Accepted(signed.name, signed.day, entry.data["fingerprint"], signed.option)


def standing(store: Store, job: str) -> str:
    """How the paper of a job stands, in a few words; empty where nothing was sent."""
    title = store.titles("quote", [job]).get(job, "")
    if not title:
        return ""
    last = store.titles("acceptance", [job]).get(job)
    if last is None:
        return title
    found = quotes_of(store, job)
    return f"accepted {title.removeprefix('sent ')}" if found[-1].entry.id in acceptances(store, job) else title


def write_invoice(
    found: SentQuote, acceptance: Entry, number: str, day: datetime.date, due: datetime.date,
    payments: Sequence[Payment], extra: Sequence[Line], notes: Sequence[str],
) -> Invoice:  # fmt: skip
    """The invoice of what was accepted. Errors as `offer.invoice.invoice`."""
    return invoice(found.sent, accepted_of(acceptance), number, day, due, payments, extra, notes)


def invoice_number(store: Store, quote: Quote, job: str) -> str:
    """The next number of a job's invoices: its quote's with another letter in front, and a count from the second on."""
    count = len(store.all("invoice", job))
    base = quote.number.removeprefix("Q-")
    return f"I-{base}" + (f"-{count + 1}" if count else "")


def keep_invoice(store: Store, job: str, bill: Invoice, form: Mapping[str, Any], quote: str, pdf: bytes) -> Entry:
    """An invoice as it is handed out, frozen on disk with its PDF.

    Args:
        form: what it was made of: number, day, due, extra, notes. quote: id of the sent one.

    Raises:
        InputError: another invoice of the shop has its number.
    """
    with store.together():
        if any(number == bill.number for _, number in store.told("invoice", "number")):
            raise InputError("number", f"The number {bill.number} is on another invoice.", "Give another.")
        kept = keep_pdf(store, job, pdf, f"Invoice {bill.number}")
        data = {**form, "quote": quote, "pdf": kept.id, "at": stamp(), "owed": str(bill.owed)}
        return store.add("invoice", data, job, f"Invoice {bill.number}")


def invoice_of(store: Store, entry: Entry) -> Invoice:
    """A kept invoice with all payments that are noted now."""
    data = entry.data
    found = next(one for one in quotes_of(store, entry.job or "") if one.entry.id == data["quote"])
    extra = [Line(words, amount(value, "extra", low=-(10**9))) for words, value in data["extra"]]
    return write_invoice(
        found, acceptances(store, entry.job or "")[data["quote"]], data["number"],
        datetime.date.fromisoformat(data["day"]), datetime.date.fromisoformat(data["due"]),
        [one for _, one in payments_of(store, entry.job or "")], extra, data["notes"],
    )  # fmt: skip


def note_payment(store: Store, job: str, quote: Quote, day: datetime.date, value: Any, how: str) -> Entry:
    """Money that came in, on disk.

    Raises:
        InputError: no sum, or a line that is none.
    """
    came = amount(value, "amount", "The payment")
    if not 0 < came <= MOST_PAYMENT or came != rounded(came, quote.currency):
        said = f"The payment is no sum of {quote.currency} above nought."
        raise InputError("amount", said, "Write it like 120.00.")
    said = text_line(how, "how")
    return store.add("payment", {"day": day.isoformat(), "amount": str(came), "how": said}, job, quote.money(came))


def payments_of(store: Store, job: str) -> list[tuple[Entry, Payment]]:
    """The payments noted of a job, the first first."""
    return [
        (one, Payment(datetime.date.fromisoformat(one.data["day"]), Decimal(one.data["amount"]), one.data["how"]))
        for one in store.in_order("payment", job)
    ]
