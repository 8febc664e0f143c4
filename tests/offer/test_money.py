"""Money: decimals of ISO 4217, rounding, sharing out, margin and mark-up, tax. Each against a printed source."""

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from proofpatch.errors import InputError
from proofpatch.offer.margin import margin_of, mark_up_of, priced_by_margin, priced_by_mark_up
from proofpatch.offer.money import amount, minor_digits, rounded, rounded_up, shared_out, shown, unit_of
from proofpatch.offer.tax import Tax, totals
from proofpatch.shop.settings import CURRENCIES

D = Decimal
CENT = D("0.01")
# ISO 4217, table A.1, minor units other than 2 (from memory, unverified).
ISO_NONE = "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX VND VUV XAF XOF XPF"
ISO_THREE = "BHD JOD KWD LYD OMR TND"
ISO_TWO = "USD EUR GBP CHF CAD AUD NZD SEK NOK DKK PLN CZK INR CNY BRL ZAR MXN THB TRY ILS AED SAR RON BGN"


@pytest.mark.parametrize(("codes", "digits"), [(ISO_NONE, 0), (ISO_TWO, 2), (ISO_THREE, 3)])
def test_the_decimals_are_those_of_iso_4217(codes, digits):
    assert {minor_digits(code) for code in codes.split()} == {digits}
    assert {minor_digits(code) for code in CURRENCIES} == {0, 2}


@pytest.mark.parametrize("code", ["XQQ", "", "eur", 3, None])
def test_no_such_currency_is_one_sentence(code):
    with pytest.raises(InputError, match="not known"):
        minor_digits(code)


# Electowiki, Hamilton method: the House of 1790, 60 seats, with the remainders printed there.
STATES = [630560, 475327, 432879, 353523, 331589, 278514, 236841, 206236, 179570, 141822, 85533, 70835, 68705, 68446,
          55540]  # fmt: skip
SEATS = [11, 8, 7, 6, 6, 5, 4, 3, 3, 2, 1, 1, 1, 1, 1]


def test_shared_out_as_hamilton_apportioned_the_house_of_1790():
    assert sum(STATES) == 3615920  # as printed
    assert list(shared_out(D(60), STATES, D(1))) == SEATS


@settings(max_examples=200, deadline=None)
@given(
    st.integers(-(10**9), 10**9), st.lists(st.floats(0, 1e6, allow_nan=False), min_size=1, max_size=60),
    st.sampled_from([D(1), D("0.01"), D("0.001")]),
)  # fmt: skip
def test_no_cent_is_lost(count, weights, unit):
    parts = shared_out(count * unit, weights, unit)
    assert sum(parts) == count * unit
    total = sum(weights)
    for part, weight in zip(parts, weights, strict=True):
        share = weight / total if total else 1 / len(weights)
        assert abs(float(part / unit) - count * share) <= 1 + 1e-6 * abs(count)  # the quota rule


# Reference, trade-practice 5.3, exact pairs: 20 % mark-up is 16.7 % margin, 25 → 20, 50 → 33.3, 67 → 40, 100 → 50.
@pytest.mark.parametrize(
    ("mark_up", "margin"), [("0.20", "16.7"), ("0.25", "20.0"), ("0.50", "33.3"), ("0.67", "40.1"), ("1", "50.0")]
)
def test_margin_and_mark_up_are_the_printed_pairs(mark_up, margin):
    assert (100 * margin_of(D(mark_up))).quantize(D("0.1")) == D(margin)
    assert mark_up_of(margin_of(D(mark_up))).quantize(D("1e-20")) == D(mark_up)
    assert priced_by_mark_up(D(100), D(mark_up)).quantize(CENT) == priced_by_margin(
        D(100), margin_of(D(mark_up))
    ).quantize(CENT)


def test_a_margin_is_no_mark_up():
    assert priced_by_margin(D(100), D("0.25")).quantize(CENT) == D("133.33")
    assert priced_by_mark_up(D(100), D("0.25")) == D(125)
    with pytest.raises(InputError, match=r"more than 0\.95"):
        priced_by_margin(D(100), D(1))


# Python's decimal documentation names the two roundings; the half cases by hand.
@pytest.mark.parametrize(
    ("value", "currency", "half_up", "half_even"),
    [("2.345", "EUR", "2.35", "2.34"), ("2.355", "EUR", "2.36", "2.36"), ("0.5", "JPY", "1", "0"),
     ("1.0005", "KWD", "1.001", "1.000"), ("-2.345", "EUR", "-2.35", "-2.34")],
)  # fmt: skip
def test_half_is_rounded_as_the_shop_sets_it(value, currency, half_up, half_even):
    assert rounded(D(value), currency) == D(half_up)
    assert rounded(D(value), currency, "half-even") == D(half_even)
    with pytest.raises(InputError, match="rounding"):
        rounded(D(value), currency, "down")


def test_rounded_up_to_a_step():
    assert rounded_up(D("781.20"), D(5)) == D(785)
    assert rounded_up(D("785.00"), D(5)) == D(785)
    assert rounded_up(D("1.001"), unit_of("EUR")) == D("1.01")


# By hand: three lines of 10.03 at 7.5 %: each 0.752 25 → 0.75, together 2.25; on the total 30.09 → 2.256 75 → 2.26.
def test_tax_on_each_line_or_on_the_total():
    lines = [(D("10.03"), True)] * 3
    on_total = totals(lines, Tax(D("0.075")), "EUR")
    on_lines = totals(lines, Tax(D("0.075"), per="line"), "EUR")
    assert (on_total.tax, on_total.gross) == (D("2.26"), D("32.35"))
    assert (on_lines.tax, on_lines.gross) == (D("2.25"), D("32.34"))


# By hand: 120.00 with 20 % in it holds 20.00; 100.00 with 19 % in it holds 15.97 (100 · 19/119 = 15.966).
@pytest.mark.parametrize(("gross", "rate", "tax"), [("120.00", "0.2", "20.00"), ("100.00", "0.19", "15.97")])
def test_tax_that_is_inside_the_price(gross, rate, tax):
    found = totals([(D(gross), True)], Tax(D(rate), inclusive=True), "EUR")
    assert (found.net + found.tax, found.tax, found.gross) == (D(gross), D(tax), D(gross))


def test_what_is_free_of_tax_bears_none():
    found = totals([(D(100), True), (D(50), False)], Tax(D("0.1")), "EUR")
    assert (found.net, found.tax, found.gross) == (D(150), D(10), D(160))


@pytest.mark.parametrize("slip", [{"rate": D(2)}, {"per": "day"}, {"rounding": "down"}, {"rate": "x"}, {"rate": -1}])
def test_a_tax_that_is_none(slip):
    with pytest.raises(InputError) as caught:
        Tax(**slip)
    assert caught.value.field.startswith("tax.")


def test_an_amount_is_taken_as_it_is_written():
    assert amount(0.1, "labour") == amount("0.1", "labour") == D("0.1")
    for slip in ("", "ten", None, True, float("nan"), "1e400", -1, [1]):
        with pytest.raises(InputError) as caught:
            amount(slip, "prices.labour")
        assert caught.value.field == "prices.labour"


# CLDR through Babel, seen on paper: symbol before in English, after in Danish; none, two or three decimals.
def test_shown_as_people_write_it():
    assert shown(D("1234.5"), "EUR") == "€1,234.50"
    assert shown(D(790), "JPY") == "¥790"
    assert shown(D("1.5"), "KWD").replace("\xa0", " ") == "KWD 1.500"
    assert shown(D("1234.5"), "DKK", "da").replace("\xa0", " ") == "1.234,50 kr."
    with pytest.raises(InputError, match="language"):
        shown(D(1), "EUR", "xx_Nowhere")
