"""The headline of the hazards: what to close, who stands beyond, and what holds until the room is described."""

import dataclasses

import pytest

from proofpatch.hazards.beam import Beam
from proofpatch.hazards.plan import plan
from proofpatch.hazards.room import Opening, Room, Thing
from proofpatch.records_hazards import MOST_NAMED, headline, plan_record

BEAM = Beam(power=300.0, rate=20e3, width=1e-7, wavelength=1064e-9, diameter=10e-3, focal_length=0.16)
DOOR, WINDOW = Opening("south", 5.5, 8.5, "barn door"), Opening("east", 2, 3, "window")
YARD, LANE, INSIDE = Thing("yard", 12, -3), Thing("lane", 14, 3), Thing("helper", 1.5, 4.5)


def first(openings, people=()):
    room = Room(9, 6, (3, 2), tuple(openings), (), tuple(people))
    return headline(plan(BEAM, 1e-4, ["shellac"], "oak", room=room))


def shut(one):
    return dataclasses.replace(one, closed=True)


def test_what_is_open_is_to_be_closed():
    assert first([DOOR, WINDOW], [YARD, INSIDE]) == (
        "Close barn door and window: the beam looks out of them, and yard stands in its way."
    )
    assert first([DOOR, WINDOW], [YARD, LANE]).endswith("and yard and lane stand in its way.")
    assert first([DOOR, shut(WINDOW)], [INSIDE]) == "Close barn door: the beam looks out of it."
    many = [Opening("south", n, n + 0.5, f"door {n}") for n in range(MOST_NAMED + 2)]
    assert first(many).startswith("Close door 0, door 1, door 2 and 2 more: ")


def test_all_shut_it_is_the_eyewear_inside():
    closed = "Everyone inside these walls wears eyewear while the laser is on."
    assert first([shut(DOOR), shut(WINDOW)], [YARD, INSIDE]) == closed


def test_without_a_room_or_any_eyewear():
    found = plan(BEAM, 1e-4, ["shellac"], "oak")
    assert headline(found) == "Describe the room: until then everyone in sight of the beam wears eyewear."
    # No eyewear is made for a number over 10: then it is no answer to put some on.
    none = dataclasses.replace(found, beam=dataclasses.replace(found.beam, number_pulsed=11))
    assert headline(none) == "Enclose the beam: no eyewear is made for it."
    assert not plan_record(none, "job")["covered"]


@pytest.mark.parametrize("open_", [True, False])
def test_the_record_tells_it(open_):
    room = Room(9, 6, (3, 2), (DOOR if open_ else shut(DOOR),))
    record = plan_record(plan(BEAM, 1e-4, ["shellac"], "oak", room=room), "job")
    assert record["headline"].startswith("Close barn door" if open_ else "Everyone inside")
