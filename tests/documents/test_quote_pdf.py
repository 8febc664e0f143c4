"""The papers for a customer: every figure of the record on the page, tagged, text to extract, no name lost."""

import dataclasses
import datetime
import io
from decimal import Decimal

import pytest
from made_offer import CUSTOMER, DAY, SHOP, made_photo, made_quote
from pypdf import PdfReader

from proofpatch.documents.letters import without_shape
from proofpatch.documents.quote import Approval, Shot, approval_pdf, invoice_pdf, quote_pdf
from proofpatch.errors import InputError
from proofpatch.offer.invoice import Payment, invoice
from proofpatch.offer.quote import Line, Party
from proofpatch.offer.revision import accept, revise, send
from proofpatch.offer.tax import Tax

SIZES = {"a4": (595.28, 841.89), "us-letter": (612.0, 792.0)}  # pt; ISO 216 and 8.5 by 11 in
SHOT = Shot(made_photo(), "Bare oak in green paint", "Sample C1")


def read(pdf):
    return PdfReader(io.BytesIO(pdf))


def words(pdf):
    return " ".join(" ".join(page.extract_text() for page in read(pdf).pages).split())


@pytest.mark.parametrize("lines", [1, 60])
@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_every_line_and_sum_is_on_it(lines, paper):
    quote = made_quote(lines, title="Door <b>#set page() $x$")
    pdf = quote_pdf(quote, paper)
    said = words(pdf)
    assert "Door <b>#set page() $x$" in said
    for one in quote.lines:
        assert one.words in said
        assert quote.money(one.amount) in said
    for value in (quote.totals.net, quote.totals.tax, quote.totals.gross, quote.due, quote.deposit_due):
        assert quote.money(value) in said
    for sentence in (*quote.scope, *quote.unchanged, *quote.cautions, quote.if_sample_fails, quote.sample):
        assert sentence in said
    for page in read(pdf).pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(SIZES[paper], abs=0.5)


# PDF 1.7 (ISO 32000-1), 14.8: a tagged document is marked, has a structure tree and a language.
@pytest.mark.parametrize("make", [lambda q: quote_pdf(q, photo=SHOT), lambda q: invoice_pdf(made_bill(q))])
def test_it_is_tagged_and_its_picture_speaks(make):
    root = read(make(made_quote())).trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert "/StructTreeRoot" in root
    assert root["/Lang"].startswith("en")


def made_bill(quote):
    sent = send(quote, DAY)
    paid = [Payment(DAY, Decimal("150.00"), "Bank transfer")]
    return invoice(sent, accept(sent, "A. Fenwick", DAY), "R-9", DAY, DAY + datetime.timedelta(days=14), paid)


# Whoever signs has what is signed before the eyes: the acceptance never heads a page alone.
@pytest.mark.parametrize("lines", [1, 3, 12, 30])
@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_the_acceptance_stands_under_its_terms(lines, paper):
    for quote in (made_quote(lines), made_quote(lines, terms=(("A", "b " * 590), ("C", "d " * 590), ("E", "f " * 90)))):
        last = read(quote_pdf(quote, paper, SHOT)).pages[-1].extract_text()
        before, _, after = last.partition("Acceptance")
        assert "If the sample says no" in before
        assert "Customer: name, signature, date" in after


def test_a_ceiling_is_said_wherever_its_sum_stands():
    said = words(quote_pdf(made_quote(basis="not more than")))
    for one in ("Not more than £674.46 with VAT.", "not more than this sum without your written",
                "As quoted, not more than £674.46", "Not more than with VAT"):  # fmt: skip
        assert one in said
    assert "ot more than" not in words(quote_pdf(made_quote()))


def test_the_same_quote_gives_the_same_bytes():
    assert quote_pdf(made_quote(), photo=SHOT) == quote_pdf(made_quote(), photo=SHOT)


def test_a_revision_heads_with_what_changed():
    old = made_quote()
    new = revise(send(old, DAY), lines=old.lines[:2])
    said = words(quote_pdf(new, before=old))
    assert "Changed since version 1" in said
    assert "Gone: Edges and rebate, £194.70." in said
    assert "Changed since" not in words(quote_pdf(old))


def test_names_from_right_to_left_and_long_ones_stand_whole():
    long = "Wilhelmina-Charlotte " * 9
    customer = Party("שלום כהן", (long.strip(), "محمد عبد الرحمن بن عبد العزيز الحسيني"))
    said = words(quote_pdf(made_quote(customer=customer)))
    assert "שלום" in said
    assert "כהן" in said
    assert said.count("Wilhelmina-Charlotte") == 9
    assert sum("\u0600" <= c <= "\u06ff" or "\ufb50" <= c <= "\ufeff" for c in said) >= 20


def test_a_name_without_a_shape_is_refused_at_its_field():
    assert without_shape("Ünal Łącki שלום عبد Ω €₹") == ""
    assert without_shape("A 王 and 田") == "王田"
    for field, changed in (
        ("customer.name", {"customer": Party("王田", ())}),
        ("shop.name", {"shop": dataclasses.replace(SHOP, name="王")}),
        ("lines", {"lines": (Line("王", Decimal(1)),)}), ("title", {"title": "王"}),
        ("customer.address", {"customer": dataclasses.replace(CUSTOMER, address=("王",))}),
    ):  # fmt: skip
        with pytest.raises(InputError, match="no shape for 王") as caught:
            quote_pdf(made_quote(**changed))
        assert caught.value.field == field


def test_the_invoice_says_what_is_left_to_pay():
    bill = made_bill(made_quote())
    said = words(invoice_pdf(bill))
    assert "Invoice R-9" in said
    assert "To pay by 16 March 2026: £470.46" in said  # 674.46 − 54.00 − 150.00
    assert "Bank transfer" in said
    paid = dataclasses.replace(bill, payments=(*bill.payments, Payment(DAY, bill.owed)))
    assert "Paid in full." in words(invoice_pdf(paid))


def test_no_tax_and_tax_inside():
    assert "Before tax" not in words(quote_pdf(made_quote(tax=Tax())))
    inside = words(quote_pdf(made_quote(tax=Tax(Decimal("0.2"), "VAT", inclusive=True))))
    assert "In it VAT 20 %" in inside
    assert "Before tax" not in inside


# Decimals of ISO 4217 on the page: none, two, three; with the spaces that a language writes within its sums.
@pytest.mark.parametrize(
    ("currency", "locale", "total"),
    [("JPY", "en", "¥790"), ("KWD", "en", "KWD 790.000"), ("EUR", "fr_FR", "1 790,00 €"), ("EUR", "de_DE", "790,00 €")],
)
def test_sums_of_any_currency_stand_on_the_page(currency, locale, total):
    value = Decimal(1790) if total.startswith("1") else Decimal(790)
    quote = made_quote((Line("Door", value),), currency=currency, locale=locale, tax=Tax(), credit=0, options=())
    fee = quote.money(Decimal(60))
    quote = dataclasses.replace(quote, if_sample_fails=f"You pay {fee}.")
    said = words(quote_pdf(quote)).replace("\xa0", " ").replace("\u202f", " ")
    assert total in said
    assert fee.replace("\xa0", " ").replace("\u202f", " ") in said


def test_the_approval_of_a_sample():
    where = (("Sample", "C1"), ("Where", "Low left"))
    seen, stays = ("No paint on the open surface.",), ("Pores keep traces.",)
    approval = Approval("S-1", DAY, SHOP, CUSTOMER, "Sample C1", where, seen, stays, "Q-1", "You owe nothing.")
    pdf = approval_pdf(approval, photo=SHOT)
    said = words(pdf)
    assert len(read(pdf).pages) == 1
    for sentence in ("Low left", "No paint on the open surface.", "Pores keep traces.", "I approve this sample.",
                     "I do not approve it", "You owe nothing.", "Sample C1"):  # fmt: skip
        assert sentence in said


@pytest.mark.parametrize("content", [b"", b"no picture", b"GIF89a" + b"\0" * 30, made_photo()[:900]])
def test_a_photo_that_is_none(content):
    with pytest.raises(InputError) as caught:
        quote_pdf(made_quote(), photo=Shot(content, "x"))
    assert caught.value.field == "photo"


def test_another_paper():
    with pytest.raises(InputError, match="a5"):
        quote_pdf(made_quote(), "a5")
