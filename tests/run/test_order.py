"""Zones in order, and how long the bulk cools between passes."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

import proofpatch as pp
from proofpatch.errors import InputError
from proofpatch.measure.registry import shape_from
from proofpatch.measure.zones import Zone
from proofpatch.physics import rows as at
from proofpatch.run.cooling import Cooling, cooling
from proofpatch.run.order import Place, in_order, places_of, seen_by_name


def numbers(turns):
    return [one.number for one in turns]


def test_least_visible_first_and_what_is_not_to_be_touched_left_out():
    places = [
        Place(1, "top"),
        Place(2, "Underside of the seat"),
        Place(3, "gilding", untouched=True),
        Place(4, "left side"),
        Place(5, "back"),
    ]
    turns = in_order(places)
    assert numbers(turns) == [2, 5, 4, 1]
    assert turns[0].because.startswith("It shows least")
    assert turns[-1].because.startswith("It shows most")


def test_what_is_said_of_a_zone_holds_before_its_name():
    assert numbers(in_order([Place(1, "underside", seen=1.0), Place(2, "top", seen=0.0)])) == [2, 1]
    with pytest.raises(InputError, match="from 0 to 1"):
        Place(1, "top", seen=2.0)


@pytest.mark.parametrize(
    ("name", "seen"), [("back of the top", 0.9), ("Tapa", 0.9), ("zone 4", None), ("trasera", 0.2)]
)
def test_how_much_a_name_shows(name, seen):
    assert seen_by_name(name) == seen


def test_a_set_up_is_done_in_one():
    places = [
        Place(1, "top", 0.9, "A"),
        Place(2, "back", 0.2, "B"),
        Place(3, "bottom", 0.0, "A"),
        Place(4, "inside", 0.1),
    ]
    turns = in_order(places)
    assert numbers(turns) == [3, 1, 4, 2]
    assert turns[1].because == "Same set-up as bottom: no new clamping."


def test_zones_that_show_alike_keep_the_order_of_the_job():
    turns = in_order([Place(n, f"zone {n}") for n in (1, 2, 3)])
    assert numbers(turns) == [1, 2, 3]
    assert "own order" in turns[1].because


def test_the_zones_of_a_job():
    area = (shape_from({"shape": "area", "area": "0.5 m2"}),)
    zones = [Zone(name=n, areas=area, untouched=n == "label") for n in ("door", "label", "rail", "knob")]
    plain = places_of(zones)
    assert [(one.number, one.set_up, one.untouched) for one in plain] == [
        (1, None, False),
        (2, None, True),
        (3, None, False),
        (4, None, False),
    ]
    said = places_of(zones, [{"front": True}, {}, {"set_ups": 1}, {"set_ups": 0}])
    assert [(one.seen, one.set_up) for one in said] == [(1.0, "0"), (None, "0"), (None, "1"), (None, "1")]
    assert numbers(in_order(said)) == [3, 4, 1]


def test_the_wait_is_told_in_its_turn():
    places = [Place(1, "panel"), Place(2, "rail")]
    waits = {1: Cooling(5.0, 12.0, 900.0, 300.0, ""), 2: Cooling(20.0, 12.0, 900.0, math.inf, "")}
    turns = {one.number: one for one in in_order(places, waits)}
    assert "Let it cool 5 min between passes, work on another zone meanwhile." in turns[1].because
    assert "too much for its bulk" in turns[2].because


@pytest.fixture(scope="module")
def veneer():
    return pp.prior(pp.Surface(["shellac"], "veneer-on-core"), "pulsed-500", draws=128)


# Incropera & DeWitt, lumped capacitance: ρc h dT/dt = −2 α T between passes, each adding ΔT₁; integrated here by SciPy.
def test_the_pause_keeps_the_part_where_it_is_to_stay(veneer, at_work):
    setting = at_work(passes=8)
    found = cooling(veneer, setting, 60.0)
    assert 0 < found.wait < math.inf
    rise, period = 0.0, found.wait + 60.0
    for _ in range(setting.passes):
        rise += found.rise
        top = rise
        rise = solve_ivp(lambda t, y: -y / found.time, (0, period), [rise], rtol=1e-9, atol=1e-9).y[0, -1]
    assert top == pytest.approx(found.allowed, rel=1e-5)
    # Without the pause it would not have.
    assert found.rise * setting.passes > found.allowed


def test_a_pass_that_is_enough_alone_asks_for_no_wait(veneer, at_work):
    assert cooling(veneer, at_work(passes=1), 1.0).wait == 0.0
    assert cooling(veneer, at_work(passes=8), 1e6).wait == 0.0
    thick = pp.prior(pp.Surface(["alkyd-paint"], "granite"), "pulsed-500", draws=128)
    assert cooling(thick, at_work(passes=8), 1.0).wait == 0.0


def test_a_pass_that_is_too_much_alone_is_said(veneer, at_work):
    found = cooling(veneer, at_work(travel_speed=0.002), 1.0)
    assert math.isinf(found.wait)
    assert "One pass is too much" in found.words


# Incropera & DeWitt, Table A.1 (from memory): plain carbon steel 7854 kg/m³ × 434 J/(kg K) = 3.41 MJ/(m³ K); 1 mm,
# both faces at 10 W/(m² K): 170 s.
def test_a_sheet_cools_as_fast_as_the_textbook_has_it(at_work):
    sheet = pp.prior(pp.Surface(["loose-rust"], "mild-steel", substrate_thickness=1e-3), "pulsed-500", draws=128)
    assert cooling(sheet, at_work(), 1.0).time == pytest.approx(170, rel=0.2)


# The physics' own bulk: dose × absorptance/(ρc h) of a bare thin sheet, with the heat factor of each draw.
def test_one_pass_warms_as_the_physics_has_it(at_work):
    sheet = pp.prior(pp.Surface(["loose-rust"], "mild-steel", substrate_thickness=1e-3), "pulsed-500", draws=128)
    found = cooling(sheet, at_work(), 1.0)
    sub = sheet.substrate
    dose = 250.0 / (0.1 * 0.05)
    least = (
        dose * sub[:, at.ABSORPTANCE] * sub[:, at.HEAT_FACTOR] / (sub[:, at.HEAT_CAPACITY] * sub[:, at.SOLID_THICKNESS])
    )
    assert np.quantile(least, 0.94) <= found.rise
    half = cooling(replace(sheet, laser=replace(sheet.laser, power_factor=0.5)), at_work(), 1.0)
    assert half.rise == pytest.approx(found.rise / 2)
    assert cooling(sheet, at_work(), 1.0, faces=2).rise == pytest.approx(2 * found.rise)
