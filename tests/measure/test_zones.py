"""Zones: sums, how sure they are, and draws that scatter as said."""

import dataclasses
import math

import numpy as np
import pytest

from proofpatch.errors import InputError
from proofpatch.measure.shapes import Box, Cylinder, Panel
from proofpatch.measure.tables import efforts
from proofpatch.measure.zones import Zone, draw_areas, effort_of, pairs, totals

LEG = Cylinder(diameter=0.06, length=0.7)
TOP = Panel(length=1.4, width=0.8)


def test_a_table_adds_up():
    zones = [
        Zone(name="legs", areas=(LEG,), count=4, effort="turnings", hand_finish=0.1, coating="shellac"),
        Zone(name="top", areas=(TOP,)),
        Zone(name="inlay", areas=(Panel(length=0.2, width=0.1),), untouched=True),
    ]
    found = totals(zones)
    legs = 4 * math.pi * 0.06 * 0.7
    assert zones[0].area == pytest.approx(legs)
    assert found.area == pytest.approx(legs + 1.12)
    assert found.by_hand == pytest.approx(0.1 * legs)
    assert found.beam == pytest.approx(0.9 * legs + 1.12)
    assert found.untouched == pytest.approx(0.02)
    assert found.effective == pytest.approx(0.9 * legs * efforts()["turnings"].value + 1.12)
    assert pairs(zones) == (pytest.approx((0.9 * legs, 1.75)), pytest.approx((1.12, 1.0)))
    # Effort stays out of the area.
    assert dataclasses.replace(zones[0], effort=5.0).area == zones[0].area


# Own errors in quadrature, an instrument's error added up, equal pieces one error: the textbook's propagation
# (JCGM 100:2008, 5.1.2 and 5.2.2, correlation 1 within an instrument).
def test_spreads_combine_as_the_guide_has_it():
    a, b = (dataclasses.replace(TOP, how=how) for how in ("pace", "pace"))
    both = totals([Zone(name="a", areas=(a,)), Zone(name="b", areas=(b,))])
    assert both.spread == pytest.approx(math.hypot(a.own / math.sqrt(2), a.shared))
    other = dataclasses.replace(TOP, how="eye")
    apart = totals([Zone(name="a", areas=(a,)), Zone(name="b", areas=(other,))])
    assert apart.spread == pytest.approx(math.hypot(a.own, a.shared, other.own, other.shared) / 2)
    assert Zone(name="a", areas=(a,), count=9).spread == pytest.approx(a.spread)


def test_draws_scatter_as_the_total_says():
    zones = [
        Zone(name="a", areas=(dataclasses.replace(TOP, how="pace"), LEG), count=2),
        Zone(name="b", areas=(Box(length=1, width=0.5, height=0.4, how="pace"),)),
    ]
    drawn = draw_areas(zones, np.random.default_rng(1), 40_000)
    assert drawn.shape == (40_000, 2)
    assert np.median(drawn, axis=0) == pytest.approx([zone.area for zone in zones], rel=5e-3)
    sums = drawn.sum(axis=1)
    found = totals(zones)
    assert np.std(sums) / np.mean(sums) == pytest.approx(found.spread, rel=0.02)
    # Both zones were paced: they err together, by what the pace has in both.
    a, b = zones
    together = a.areas[0].shared * 2 * a.areas[0].area * b.areas[0].shared * b.area
    expected = together / (a.spread * a.area * b.spread * b.area)
    assert np.corrcoef(drawn.T)[0, 1] == pytest.approx(expected, abs=0.03)
    assert np.array_equal(drawn, draw_areas(zones, np.random.default_rng(1), 40_000))


def test_efforts_by_name():
    assert effort_of("carving overhead") == pytest.approx(efforts()["carving"].value * efforts()["overhead"].value)


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"name": " "}, "name"), ({"name": 3}, "name"), ({"name": "x" * 999}, "name"), ({"name": "a\nb"}, "name"),
        ({"areas": ()}, "areas"), ({"areas": (1.0,)}, "areas"), ({"areas": (LEG,) * 300}, "areas"),
        ({"areas": 3}, "areas"),
        ({"count": 0}, "count"), ({"count": 1.5}, "count"), ({"count": math.inf}, "count"), ({"count": 10**9}, "count"),
        ({"effort": 0}, "effort"), ({"effort": "sorcery"}, "effort"), ({"effort": ""}, "effort"),
        ({"effort": "carving carving"}, "effort"), ({"effort": math.nan}, "effort"), ({"effort": 21}, "effort"),
        ({"hand_finish": 1.1}, "hand_finish"), ({"hand_finish": "a"}, "hand_finish"), ({"untouched": 1}, "untouched"),
        ({"coating": 1}, "coating"), ({"limits": "x" * 999}, "limits"),
    ],
)  # fmt: skip
def test_bad_zones_are_one_sentence(changed, field):
    with pytest.raises(InputError) as error:
        Zone(**{"name": "leg", "areas": (LEG,), **changed})
    assert error.value.field == field


@pytest.mark.parametrize("zones", [(), 3, [3], [Zone(name="a", areas=(LEG,))] * 101])
def test_no_zones_are_one_sentence(zones):
    for call in (totals, pairs, lambda given: draw_areas(given, np.random.default_rng(1), 3)):
        with pytest.raises(InputError):
            call(zones)


def test_all_untouched_or_by_hand():
    only = [Zone(name="a", areas=(LEG,), untouched=True)]
    assert (totals(only).area, totals(only).spread, pairs(only)) == (0, 0, ())
    assert pairs([Zone(name="a", areas=(LEG,), hand_finish=1.0)]) == ()
