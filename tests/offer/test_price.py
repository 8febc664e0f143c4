"""Price: costs by line, the chance it holds, the floor, and what it is made of; by hand and by counting."""

from decimal import Decimal

import numpy as np
import pytest

from proofpatch.errors import InputError
from proofpatch.offer.hours import Hours
from proofpatch.offer.price import Prices, cost_of, for_zones, per_area, price
from proofpatch.offer.tax import Tax

D = Decimal
RNG = np.random.default_rng(3)
# 10 h in the middle, beam on for a fifth of it; one lens window lasts ten beam hours.
SECONDS = 36000.0 * np.exp(0.2 * RNG.standard_normal(20_000))
HOURS = Hours(
    SECONDS, (), {"beam on": 0.2 * SECONDS, "on the road": np.full(20_000, 3600.0), "rest": 0.8 * SECONDS - 3600.0},
    lens_windows=0.2 * SECONDS / 36000.0, filter_holds=np.full(20_000, 0.5),
)  # fmt: skip
PRICES = Prices(labour=D(40), laser=D(12), margin=D("0.3"), floor=D(35), chance=0.75)


def test_each_line_by_hand():
    prices = Prices(
        labour=D(40), laser=D(12), lens_window=D(90), filter=D(60), energy=D("0.25"), drawn=4000.0, distance=D("0.5"),
        disposal=D(3), waste_fee=D(20), insurance=D(15), subcontract=(("Refinishing", D(200)),),
    )  # fmt: skip
    cost = cost_of(HOURS, prices, removed=0.2, distance=30_000.0)
    whole = SECONDS / 3600
    assert np.allclose(cost["labour"], 40 * whole)
    assert np.allclose(cost["laser"], 12 * (whole - 1.0))  # the road needs no laser
    assert np.allclose(cost["lens windows"], 90 * 0.2 * whole / 10)
    assert np.allclose(cost["filters"], 60 * 0.2 / 0.5)
    assert np.allclose(cost["power"], 0.25 * 4.0 * (whole - 1.0))  # kW times hours
    assert np.allclose(cost["travel"], 15.0)
    assert np.allclose(cost["disposal"], 3 * 0.2 + 20)
    assert np.allclose(cost["insurance"], 15)
    assert np.allclose(cost["Refinishing"], 200)
    assert set(cost_of(HOURS, Prices(labour=D(40)))) == {"labour"}  # what has no price has no line


def test_the_price_holds_as_often_as_it_says():
    cost = cost_of(HOURS, Prices(labour=D(40), chance=0.75))
    found = price(HOURS, cost, Prices(labour=D(40), chance=0.75))
    assert found.why == "chance"
    assert found.loses == pytest.approx(0.25, abs=0.002)
    with_margin = price(HOURS, cost, Prices(labour=D(40), chance=0.75, margin=D("0.2")))
    assert with_margin.net == pytest.approx(found.net / D("0.8"), abs=D("0.02"))
    assert (with_margin.margin, with_margin.mark_up) == (D("0.2"), D("0.25"))
    marked_up = price(HOURS, cost, Prices(labour=D(40), chance=0.75, mark_up=D("0.25")))
    assert marked_up.net == pytest.approx(with_margin.net, abs=D("0.02"))


def test_below_the_floor_by_counting():
    cost = cost_of(HOURS, PRICES)
    found = price(HOURS, cost, PRICES, net=600)
    earned = (600 - cost["laser"]) / (SECONDS / 3600)
    assert found.why == "owner"
    assert found.below_floor == pytest.approx(float(np.mean(earned < 35)))
    at_nine = price(HOURS, cost, PRICES, net=found.for_chance(0.9, D("0.01")))
    assert at_nine.below_floor == pytest.approx(0.1, abs=0.002)
    assert price(HOURS, cost, Prices(labour=D(40), laser=D(12))).below_floor is None


def test_the_parts_add_up_to_the_price():
    tax = Tax(D("0.2"), inclusive=True)
    for prices in (PRICES, Prices(labour=D(40), laser=D(12), tax=tax), Prices("JPY", labour=D(4000), laser=D(900))):
        found = price(HOURS, cost_of(HOURS, prices), prices)
        assert sum(value for _, value in found.costs) == found.net
    low = price(HOURS, cost_of(HOURS, PRICES), PRICES, net=100)
    assert dict(low.costs)["left for risk and profit"] < 0
    assert low.loses > 0.99


def test_a_price_with_tax_in_it_keeps_its_chance():
    plain = Prices(labour=D(40))
    taxed = Prices(labour=D(40), tax=Tax(D("0.2"), inclusive=True))
    one, other = (price(HOURS, cost_of(HOURS, p), p) for p in (plain, taxed))
    assert other.net == pytest.approx(one.net * D("1.2"), abs=D("0.02"))
    assert other.loses == pytest.approx(one.loses, abs=1e-3)


def test_minimum_and_step():
    prices = Prices(labour=D("0.5"), minimum=D("180"), step=D(25))
    found = price(HOURS, cost_of(HOURS, prices), prices)
    assert (found.why, found.net) == ("minimum", D(200))
    with pytest.raises(InputError, match="Nothing of the job has a price"):
        price(HOURS, {}, Prices())


def test_shared_over_zones_and_by_area():
    assert sum(for_zones(D("790.00"), [1, 1, 1], "EUR")) == D("790.00")
    assert for_zones(D("100.00"), [1, 1, 1], "EUR") == (D("33.34"), D("33.33"), D("33.33"))
    rate = per_area(D("790.00"), 3.4, "EUR")
    assert rate == D("232.36")  # 790/3.4 = 232.352 94
    assert rate * D("3.4") >= D("790.00")


@pytest.mark.parametrize(
    ("slip", "field"),
    [({"labour": -1}, "prices.labour"), ({"margin": D(1)}, "margin"), ({"deposit": 2}, "prices.deposit"),
     ({"margin": D("0.2"), "mark_up": D("0.2")}, "prices.mark_up"), ({"currency": "XQQ"}, "currency"),
     ({"chance": 1.5}, "prices.chance"), ({"drawn": float("nan")}, "prices.drawn"), ({"tax": 3}, "prices.tax"),
     ({"subcontract": (("a", "x"),)}, "prices.subcontract")],
)  # fmt: skip
def test_prices_that_are_none(slip, field):
    with pytest.raises(InputError) as caught:
        Prices(**slip)
    assert caught.value.field == field
