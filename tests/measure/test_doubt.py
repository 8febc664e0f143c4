"""Which area makes a sum least sure."""

import pytest

from proofpatch.measure.doubt import OF_FORM, ROUGH, least_sure
from proofpatch.measure.registry import shape_from
from proofpatch.measure.tables import INSTRUMENTS, instruments
from proofpatch.measure.zones import Zone, totals


def given(area, how):
    return shape_from({"shape": "area", "area": area, "how": how})


# JCGM 100:2008 (GUM), 5.1.2: independent parts add in quadrature. An area as given errs by twice its instrument's
# scale alone.
def test_the_part_of_one_in_the_variance_is_that_of_the_law_of_propagation():
    zones = [Zone(name="face", areas=(given(2.0, "tape"),)), Zone(name="back", areas=(given(1.0, "eye"),), count=2)]
    tape, eye = (2 * instruments()[how, "scale"].value for how in ("tape", "eye"))
    found = least_sure(zones)
    assert found.zone.name == "back"
    assert found.share == pytest.approx((2 * eye) ** 2 / ((2 * tape) ** 2 + (2 * eye) ** 2), rel=1e-9)
    assert "tape" in found.better


# The same guide, 5.2.2: what one instrument does to all adds up before it is squared.
def test_all_shares_of_one_instrument_make_the_whole():
    areas = [shape_from({"shape": "panel", "length": 1.0 + i, "width": 0.5}) for i in range(3)]
    zones = [Zone(name=str(i), areas=(area,)) for i, area in enumerate(areas)]
    both = sum(area.area * area.shared for area in areas)
    parts = [(area.area * area.own) ** 2 + area.area * area.shared * both for area in areas]
    sums = totals(zones)
    assert sum(parts) == pytest.approx((sums.area * sums.spread) ** 2, rel=1e-9)
    assert least_sure(zones).share == pytest.approx(max(parts) / (sums.area * sums.spread) ** 2, rel=1e-9)


def test_what_is_not_touched_is_in_no_doubt():
    hidden = Zone(name="glass", areas=(given(9.0, "eye"),), untouched=True)
    assert least_sure([hidden]) is None
    assert least_sure([hidden, Zone(name="face", areas=(given(1.0, "tape"),))]).zone.name == "face"


def test_each_rough_instrument_and_each_factor_has_its_advice():
    assert set(ROUGH) < set(INSTRUMENTS)
    leg = shape_from({"shape": "spindle", "length": 0.7, "diameter": 0.06})
    assert least_sure([Zone(name="leg", areas=(leg,))]).better == OF_FORM["spindle"]
