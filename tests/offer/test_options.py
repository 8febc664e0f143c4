"""Ways side by side, the quote written from them, and zones that come from measuring."""

import dataclasses
import datetime
from decimal import Decimal

import numpy as np
import pytest

import proofpatch as pp
from proofpatch.learn.explain import Alternative
from proofpatch.measure.zones import Zone as MeasuredZone
from proofpatch.offer.hours import Zone
from proofpatch.offer.options import Asked, by_pieces, side_by_side
from proofpatch.offer.price import Prices
from proofpatch.offer.quote import Party
from proofpatch.offer.removed import removed_mass
from proofpatch.offer.written import UNPROVEN, Paper, write_quote
from proofpatch.shop.zones import zone_from

D = Decimal
DAY = datetime.date(2026, 3, 2)
PRICES = Prices(labour=D(40), laser=D(12), filter=D(60), margin=D("0.2"), patch_fee=D(60))
FRONT, BACK = Zone(1.0, name="front"), Zone(0.8, 1.5, "back", hand_share=0.2)


@pytest.fixture(scope="module")
def found(pan_belief):
    """A recipe with a gentler setting and a faster one inside the limits."""
    one = pp.recipe(pan_belief, pp.Limits(p_clean=0.9, p_harm=0.05))
    slow = one.setting.with_(travel_speed=one.setting.travel_speed * 0.6)
    fast = one.setting.with_(travel_speed=one.setting.travel_speed * 1.3)
    quick = Alternative("", fast, 0.9, 0.04, one.area_rate * 1.3, True, "")
    risky = dataclasses.replace(quick, area_rate=one.area_rate * 2, holds=False)
    return dataclasses.replace(one, gentler=slow, alternatives=(quick, risky))


def test_ways_side_by_side(found, pan_belief):
    asked = Asked((FRONT, BACK), PRICES, (True, False))
    ways = {one.name: one for one in side_by_side(found, pan_belief, asked)}
    assert list(ways) == ["As asked", "Front only", "Gentler", "Faster"]
    beam = {name: float(np.median(one.hours.beam_on)) for name, one in ways.items()}
    assert beam["Front only"] < beam["As asked"] < beam["Gentler"]
    assert beam["Faster"] == pytest.approx(beam["As asked"] / 1.3, rel=0.01)
    assert ways["Front only"].words == "Back stays as it is."
    assert ways["Front only"].price.net < ways["As asked"].price.net
    plain = dataclasses.replace(found, gentler=None, alternatives=found.alternatives[1:])
    assert len(side_by_side(plain, pan_belief, Asked((FRONT,), PRICES, (True,)))) == 1


def test_a_batch_gets_cheaper_by_the_piece(found, pan_belief):
    batches = by_pieces(found, pan_belief, Asked((FRONT,), PRICES, pieces=3))
    assert [n for n, _ in batches] == [1, 2, 3, 5, 10]
    each = [one.price.net / n for n, one in batches]
    assert each == sorted(each, reverse=True)


def test_the_quote_adds_up_and_says_what_the_patches_cost(found, pan_belief):
    asked = Asked((FRONT, BACK), PRICES)
    paper = Paper("Q-1", DAY, Party("Heron & Kiln"), Party("A. Fenwick"), "Pan")
    ways = side_by_side(found, pan_belief, asked)
    quote = write_quote(ways, pan_belief, asked, paper)
    assert sum(one.amount for one in quote.lines) == ways[0].price.net
    assert [one.words for one in quote.lines] == ["Front", "Back"]
    assert "20 % of it finished by hand" in quote.scope[1]
    assert [name for name, _, _ in quote.options] == ["Gentler", "Faster"]
    assert dict(quote.terms)["Test patches"].startswith("€60.00")
    assert quote.credit == 0
    assert "you pay the test patches, €60.00, and nothing more" in quote.if_sample_fails


def test_what_no_patch_confirmed_says_so_on_the_paper(found, pan_belief):
    asked, paper = Asked((FRONT, BACK), PRICES, (True, False)), Paper("Q", DAY, Party("Heron"), Party("A"), "Pan")

    def written(confirmed):
        ways = side_by_side(dataclasses.replace(found, confirmed=confirmed), pan_belief, asked)
        return write_quote(ways, pan_belief, asked, paper)

    open_, firm = written(False), written(True)
    assert (open_.basis, firm.basis) == ("estimate", "fixed")
    assert UNPROVEN in open_.assumed
    assert UNPROVEN not in firm.assumed
    assert any("has yet to be proven" in said for said in open_.method)
    assert any("was proven" in said for said in firm.method)
    depends = {name: words.endswith(UNPROVEN) for name, words, _ in firm.options}
    assert depends == {"Front only": False, "Gentler": True, "Faster": True}
    assert "Back stays as it is." in dict((name, words) for name, words, _ in firm.options)["Front only"]
    assert all(words.endswith(UNPROVEN) for _, words, _ in open_.options)


# m = A Σ t ρ: the median is near thickness times density of the data, and it grows with the area and the share caught.
def test_the_mass_of_what_comes_off():
    belief = pp.prior(pp.Surface([pp.Layer("oil-varnish", thickness=100e-6)], "oak"), "pulsed-500", draws=512)
    mass = removed_mass(belief, 2.0)
    assert float(np.median(mass)) == pytest.approx(2.0 * 100e-6 * 1100, rel=0.1)  # 1100 kg/m³: materials, oil film
    assert np.allclose(removed_mass(belief, 4.0, 0.5), mass)


def test_measured_zones_are_zones(found, pan_belief):
    rail = zone_from({"name": "rails", "area": 0.06, "how": "tape", "count": 8, "hand_finish": 0.1, "effort": 1.3}, 1)
    kept = zone_from({"name": "hinge", "area": 0.01, "untouched": True}, 2)
    assert isinstance(rail, MeasuredZone)
    hours = pp.hours(found, pan_belief, [rail, kept])
    alone = pp.hours(found, pan_belief, [Zone(0.06, 1.3, "rails", 0.0, None, 0.1, 8)])
    assert hours.quantile(0.5) == pytest.approx(alone.quantile(0.5), rel=0.02)
    assert "finishing by hand" in hours.parts


def test_what_one_instrument_does_it_does_to_all(found, pan_belief):
    def spread(names):
        zones = [Zone(1.0, name=str(i), shared_spread=0.3, instrument=name) for i, name in enumerate(names)]
        beam = pp.hours(found, pan_belief, zones).beam_on
        return float(np.std(np.log(beam)))

    assert spread(["tape"] * 6) > 1.8 * spread([f"tape {i}" for i in range(6)])


def test_a_zone_all_by_hand_has_its_price(found, pan_belief):
    asked = Asked((FRONT, Zone(0.1, name="carving", hand_share=1.0)), PRICES)
    ways = side_by_side(found, pan_belief, asked)
    quote = write_quote(ways, pan_belief, asked, Paper("Q", DAY, Party("Heron"), Party("A"), "Pan"))
    assert quote.lines[1].amount > 0
