"""The room: who is in line with the work, by geometry done by hand and by a second way."""

import dataclasses
import math
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from proofpatch import InputError
from proofpatch.hazards.room import Opening, Room, Thing, Wedge, _from_segment, zone
from proofpatch.pictures.room import room_svg, words

DOOR = Opening("south", 4, 5, "door")


def room(**more):
    return Room(**{"length": 6, "width": 4, "work": (2, 2), "openings": (DOOR,), **more})


def test_who_is_in_line_with_the_work():
    # From (2, 2) through the door at y = 0 between x = 4 and 5: at y = −2 between x = 6 and 8; half a metre about the
    # work, from (2.5, 2) at the left and (2, 1.5) at the right: between 5.5 and 9.
    people = (Thing("in", 6.5, -2), Thing("edge", 8.9, -2), Thing("left", 5.4, -2), Thing("right", 9.1, -2),
              Thing("inside", 1, 1))  # fmt: skip
    found = dict(zone(room(people=people), 50).reached)
    assert set(found) == {"in", "edge", "inside"}
    assert found["in"] == "through door"
    assert dict(zone(room(people=people), 5).reached).keys() == {"inside"}  # too far off for a short reach


def test_a_shiny_thing_throws_it_on():
    mirror = Thing("mirror", 4.5, 3.5)
    person = Thing("yard", 4.5, -3)
    found = zone(room(shiny=(mirror,), people=(person,)), 50)
    assert dict(found.reached)["yard"] == "through door, off mirror"
    # What is left of the way, the head half a metre nearer than the work; nothing where it is spent before.
    way = math.dist((2, 2), (4.5, 3.5)) - 0.5
    for reach, left in ((way + 7.0, 7.0), (way + 0.5, 0.5), (way - 0.5, None)):
        thrown = [wedge.reach for wedge in zone(room(shiny=(mirror,)), reach).wedges if wedge.off]
        assert thrown == ([] if left is None else [pytest.approx(left)])


# The head moves half a metre about the work: so much nearer is everybody. One who stands at the very end is reached.
@pytest.mark.parametrize(("reach", "reached"), [(5.0, True), (4.5, True), (4.49, False)])
def test_the_end_of_the_way(reach, reached):
    hall = {"length": 13, "width": 10, "work": (1, 1)}  # the corner is 12, 9, 15 away
    inside = zone(room(**hall, openings=(), people=(Thing("helper", 4, 5),)), reach)  # 3, 4, 5
    assert bool(inside.reached) == reached
    assert zone(room(**hall, openings=()), reach + 10.0).inside == reached
    # Work in the door: through it everything outside, as far.
    door = zone(room(work=(4.5, 0), people=(Thing("yard", 7.5, -4),)), reach)
    assert bool(door.reached) == reached


def test_the_end_of_a_wedge():
    wedge = Wedge((2, 2), ((1, 0), (6, 0)), 5.0, "door")
    assert wedge.holds((5, -2))  # 3, 4, 5
    assert not wedge.holds((5, -2.01))


# A frame or a wall is worked on where it stands: the head looks out of the opening, so all of the outside is reached.
@pytest.mark.parametrize("work", [(4.5, 0.0), (4.5, 0.4), (5.3, 0.0), (4.0, 0.1)])
def test_work_in_an_opening_reaches_everything_outside(work):
    people = (Thing("far left", -20, -0.5), Thing("far right", 30, -0.5), Thing("behind", 3, 9))
    found = zone(room(work=work, people=people), 50)
    assert set(dict(found.reached)) == {"far left", "far right"}
    ET.fromstring(room_svg(found))


def test_the_distance_from_an_opening():
    ends = (2, 1), (10, 7)  # 8, 6, 10
    assert _from_segment((3, 8), ends) == pytest.approx(5)  # 3, 4, 5 off its middle
    for beyond in ((-2, -2), (14, 10)):  # 3, 4, 5 past either end
        assert _from_segment(beyond, ends) == pytest.approx(5)
    # Upright as level: four tenths before a door in the east wall.
    door = room(work=(5.6, 2.9), openings=(Opening("east", 1, 3),), people=(Thing("yard", 6.1, -20),))
    assert dict(zone(door, 50).reached)


def test_a_shiny_thing_at_a_jamb_is_drawn_and_reaches_out():
    found = zone(room(shiny=(Thing("can", 4, 0),), people=(Thing("yard", 4.5, -3),)), 50)
    assert "yard" in dict(found.reached)
    ET.fromstring(room_svg(found))


def test_a_closed_door_lets_nothing_out():
    shut = zone(room(openings=(Opening("south", 4, 5, "door", closed=True),)), 50)
    assert shut.wedges == ()
    assert shut.inside
    assert not zone(room(), 2.0).inside


def test_what_stands_open_is_to_be_closed():
    assert any("guard from outside: door." in line for line in zone(room(), 50).notes)
    assert not any("guard from outside" in line for line in zone(room(openings=()), 50).notes)


# What was worked out of a room holds for that room: nothing of either is changed afterwards.
def test_a_room_and_its_zone_stay_as_they_are():
    found = zone(room(people=(Thing("in", 6.5, -2),)), 50)
    for one in (found, found.room, DOOR, found.room.people[0], found.wedges[0]):
        with pytest.raises(dataclasses.FrozenInstanceError):
            setattr(one, dataclasses.fields(one)[0].name, None)


def test_an_opening_may_be_the_whole_wall():
    assert room(openings=(Opening("south", 0, 6), Opening("west", 0, 4))).openings


# A second way: a point is reached if the straight line to it crosses the wall within the opening.
@settings(max_examples=300, deadline=None)
@given(st.floats(-30, 30), st.floats(-30, -0.01), st.floats(0.1, 5.9), st.floats(0.1, 3.9))
def test_wedges_against_straight_lines(px, py, wx, wy):
    along = wx + (px - wx) * wy / (wy - py)  # where the line meets y = 0
    crosses = 4 <= along <= 5
    wedge = Wedge((wx, wy), ((4, 0), (5, 0)), 1e9, "door")
    if min(abs(along - 4), abs(along - 5)) > 1e-6:
        assert wedge.holds((px, py)) == crosses


def test_the_picture_is_to_scale_and_names_everything():
    nasty = room(people=(Thing("<b> & co", 1, 1),), shiny=(Thing("can", 5, 3),))
    text = room_svg(zone(nasty, 50))
    root = ET.fromstring(text)
    rects = [one for one in root.iter() if one.tag.endswith("rect") and one.get("stroke-width") == "7"]
    assert float(rects[0].get("width")) / float(rects[0].get("height")) == pytest.approx(6 / 4, rel=1e-3)
    said = "".join(root.itertext())
    assert all(name in said for name in ("<b> & co", "can", "door", "work"))
    assert "door" in words(zone(nasty, 50))
    assert "nothing" in words(zone(room(openings=()), 50))


@pytest.mark.parametrize(
    ("more", "field"),
    [({"length": 0}, "length"), ({"width": 1e9}, "width"), ({"work": (7, 1)}, "work"),
     ({"work": (math.nan, 1)}, "work"),
     ({"openings": (Opening("up", 0, 1),)}, "openings"), ({"openings": (Opening("west", 3, 5),)}, "openings"),
     ({"openings": (Opening("west", 3, 2),)}, "openings"), ({"openings": (Opening("west", -0.5, 2),)}, "openings"),
     ({"openings": (Opening("west", 3, 4.5),)}, "openings"), ({"shiny": (Thing("x", -1, 1),)}, "shiny"),
     ({"people": tuple(Thing("x", 1, 1) for _ in range(99))}, "room")],
)  # fmt: skip
def test_rooms_that_are_none(more, field):
    with pytest.raises(InputError) as error:
        room(**more)
    assert error.value.field == field
