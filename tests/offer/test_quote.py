"""The quote's record: totals, freezing, changes in plain words, acceptance and invoice."""

import dataclasses
import datetime
import json
from decimal import Decimal

import pytest
from made_offer import CUSTOMER, DAY, made_quote

from proofpatch.errors import InputError
from proofpatch.materials import substrate_ids
from proofpatch.offer.invoice import Payment, invoice, noted
from proofpatch.offer.quote import Line, Party, quote_from
from proofpatch.offer.revision import Sent, accept, changes, fingerprint, revise, send
from proofpatch.offer.told import said_of, told

D = Decimal
LATER = DAY + datetime.timedelta(days=14)


# By hand: 180.00 + 187.35 + 194.70 = 562.05; 20 % of it 112.41; less 54.00 paid before; 30 % deposit of 620.46.
def test_what_it_comes_to():
    quote = made_quote()
    assert (quote.totals.net, quote.totals.tax, quote.totals.gross) == (D("562.05"), D("112.41"), D("674.46"))
    assert quote.due == D("620.46")
    assert quote.deposit_due == D("186.14")
    assert quote.money(quote.due) == "£620.46"


@pytest.mark.parametrize("lines", [1, 60])
def test_the_record_goes_through_json_and_back(lines):
    quote = made_quote(lines)
    again = quote_from(json.loads(json.dumps(quote.record())))
    assert again.totals == quote.totals
    assert fingerprint(again) == fingerprint(quote)
    assert changes(quote, again) == ()


@pytest.mark.parametrize("slip", [{"lines": 3}, {"day": "soon"}, {"shop": None}, {"tax": {"rate": "x"}}, {"tea": 1}])
def test_a_record_that_is_no_quote(slip):
    with pytest.raises(InputError):
        quote_from(made_quote().record() | slip)


def test_what_was_sent_stays_as_it_was_sent():
    sent = send(made_quote(), DAY)
    with pytest.raises(dataclasses.FrozenInstanceError):
        sent.quote.title = "Another"
    with pytest.raises(InputError, match="not the one that was sent"):
        Sent(dataclasses.replace(sent.quote, title="Another"), DAY, sent.fingerprint)
    second = revise(sent, title="Another")
    assert (sent.quote.version, second.version) == (1, 2)
    with pytest.raises(InputError, match="changes nothing"):
        revise(sent)


def test_a_revision_says_what_changed():
    old = made_quote()
    lines = (dataclasses.replace(old.lines[0], amount=D("150.00")), old.lines[1], Line("Frame", D("99.00")))
    new = dataclasses.replace(old, version=2, lines=lines, scope=(*old.scope, "The frame."), deposit=D(0))
    said = changes(old, new)
    assert said == (
        "Total: now £523.62, was £674.46.",
        "Deposit: now £0.00, was £186.14.",
        "New line: Frame, £99.00.",
        "Gone: Edges and rebate, £194.70.",
        "Outer face: now £150.00, was £180.00.",
        "Scope, new: The frame.",
    )


# No part may change in silence: each is changed in turn.
@pytest.mark.parametrize("part", [one.name for one in dataclasses.fields(made_quote()) if one.name != "version"])
def test_no_part_changes_in_silence(part):
    old = made_quote()
    value = getattr(old, part)
    other = {
        "shop": Party("Another", ()), "customer": Party("Another", ()), "basis": "estimate", "pricing": "per piece",
        "currency": "EUR", "locale": "en_US", "valid_until": LATER, "day": DAY - datetime.timedelta(days=1),
        "tax": dataclasses.replace(old.tax, rate=D("0.1")), "deposit": D("0.1"), "credit": D("1.00"),
        "lines": old.lines[:1], "options": (), "terms": (),
    }.get(part, ("Another.",) if isinstance(value, tuple) else "Another")  # fmt: skip
    assert changes(old, dataclasses.replace(old, **{part: other}))


def test_an_invoice_of_what_was_accepted():
    sent = send(made_quote(), DAY)
    signed = accept(sent, "A. Fenwick", DAY)
    bill = invoice(sent, signed, "R-1", DAY, LATER, extra=[Line("Hinges", D("40.00"))])
    assert bill.totals.gross == D("722.46")  # (562.05 + 40) · 1.2
    bill = noted(noted(bill, Payment(DAY, D("150.00"))), Payment(LATER, D("518.46")))
    assert bill.owed == 0
    assert noted(bill, Payment(LATER, D("1.00"))).owed == D("-1.00")
    with pytest.raises(InputError, match="Another version"):
        invoice(send(revise(sent, title="Another"), DAY), signed, "R-1", DAY, LATER)
    with pytest.raises(InputError, match="before its day"):
        invoice(sent, signed, "R-1", LATER, DAY)


# By hand: 674.46 with tax; the fee of 54.00 came in once, however often it stands on paper.
@pytest.mark.parametrize(
    ("payments", "paid"),
    [((), "54"), ((Payment(DAY, D(54)),), "54"), ((Payment(LATER, D(54), "Test patches, cash"),), "54"),
     ((Payment(DAY, D(20)),), "54"), ((Payment(LATER, D(100), "deposit"),), "154"),
     ((Payment(DAY, D(60)), Payment(LATER, D(100), "deposit")), "160")],
)  # fmt: skip
def test_a_fee_credited_on_an_old_quote_comes_off_once(payments, paid):
    sent = send(made_quote(), DAY)
    bill = invoice(sent, accept(sent, "A. Fenwick", DAY), "R-1", DAY, LATER, payments)
    assert (bill.paid, bill.owed) == (D(paid), D("674.46") - D(paid))


def test_an_option_is_invoiced_in_place_of_the_lines():
    sent = send(made_quote(), DAY)
    bill = invoice(sent, accept(sent, "A. Fenwick", DAY, "Outer face only"), "R-1", DAY, LATER)
    assert bill.totals.net == D("340.00")
    with pytest.raises(InputError, match="not in the quote"):
        accept(sent, "A. Fenwick", DAY, "Nothing")
    with pytest.raises(InputError, match="ended"):
        accept(sent, "A. Fenwick", DAY + datetime.timedelta(days=31))


def test_whatever_way_was_accepted_can_be_invoiced():
    words = ", ".join(f"panel {n} of the left side" for n in range(12)) + " stay as they are."
    sent = send(made_quote(options=(("Front only", words, D("340.00")),)), DAY)
    bill = invoice(sent, accept(sent, "A. Fenwick", DAY, "Front only"), "R-1", DAY, LATER)
    assert bill.lines[0].detail == words


@pytest.mark.parametrize(
    ("slip", "field"),
    [({"title": ""}, "title"), ({"title": "x" * 201}, "title"), ({"title": "a\nb"}, "title"), ({"lines": ()}, "lines"),
     ({"valid_until": DAY - datetime.timedelta(days=1)}, "valid_until"), ({"basis": "cheap"}, "basis"),
     ({"pricing": "by mood"}, "pricing"), ({"deposit": 2}, "deposit"), ({"currency": "XQQ"}, "currency"),
     ({"locale": "nowhere"}, "locale"), ({"lines": (Line("a", D("0.001")),)}, "lines.amount"),
     ({"title": "a\u202eb"}, "title")],
)  # fmt: skip
def test_parts_that_no_quote_has(slip, field):
    with pytest.raises(InputError) as caught:
        made_quote(**slip)
    assert caught.value.field == field


def test_names_of_any_script_are_kept():
    for name in ("محمد عبد الرحمن", "می‌خواهم", "שלום כהן", "Ĥeřöñ"):
        assert dataclasses.replace(CUSTOMER, name=name).name


def test_every_substrate_is_told_something_with_its_source():
    for ground in substrate_ids():
        assert said_of("unchanged", ground)
        assert said_of("cautions", ground)
    assert "rusts within hours" in " ".join(said_of("cautions", "mild-steel"))
    assert "rusts" not in " ".join(said_of("cautions", "oak"))
    assert all(row["source"] and row["status"] for rows in told().values() for row in rows)
