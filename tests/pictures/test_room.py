"""A plan within a page: the page's colours and font, names of its parts that are its own, names that are not cut."""

import re

import pytest

from proofpatch.hazards.room import Opening, Room, Thing, zone
from proofpatch.pictures.look import WASH, themed
from proofpatch.pictures.room import PLANS, room_svg

CROWDED = Room(
    9, 6, (3, 2),
    (Opening("south", 5.5, 8.5, "barn door with a rather long name"), Opening("east", 2, 3, "window", True),
     Opening("north", 0, 1, "door to the house of the owner", True), Opening("west", 4, 5, "hatch")),
    (Thing("milk cans", 8.5, 5),),
    (Thing("helper", 1.5, 4.5), Thing("a neighbour in the yard", 8, -3), Thing("apprentice", 3.6, 2)),
)  # fmt: skip


def test_parts_of_two_plans_on_a_page_have_names_of_their_own():
    plans = [themed(room_svg(zone(CROWDED, reach), *size), f"plan{size[0]:.0f}-")
             for reach in (50, 2) for size in PLANS[:: -1 if reach == 2 else 1]]  # fmt: skip
    wide, narrow = plans[:2]
    ids = [set(re.findall(r' id="([^"]+)"', plan)) for plan in (wide, narrow)]
    assert all(ids)
    assert not ids[0] & ids[1]
    for plan in plans:
        assert set(re.findall(r"url\(#([^)]+)\)", plan)) <= set(re.findall(r' id="([^"]+)"', plan))
        assert "#" not in re.sub(r"url\(#", "", plan)
        assert "font-family" not in plan


def test_the_zone_is_a_wash_and_nothing_is_ruled():
    whole, part = (room_svg(zone(CROWDED, reach)) for reach in (50, 2))
    assert "<pattern" not in whole + part
    assert f'fill="{WASH}"' in whole
    # Where it ends short of the walls its edge is dashed.
    assert re.search(rf'<circle [^>]*fill="{WASH}"[^>]*stroke-dasharray', part)


@pytest.mark.parametrize("size", PLANS)
def test_names_stay_on_the_picture_and_off_each_other(size):
    plan = room_svg(zone(CROWDED, 50), *size)
    across = float(re.search(r'width="(\d+)"', plan)[1])
    assert across <= size[0] + 2 * size[1] + 1
    boxes = []
    found = re.findall(r'<text x="([\d.-]+)" y="([\d.-]+)"[^>]*text-anchor="(\w+)"[^>]*>([^<]*)<', plan)
    for x, y, end, said in (one for one in found if not re.match(r"\d+ m|shaded", one[3])):
        wide = 8.5 * len(said)
        left = float(x) - wide * {"start": 0, "middle": 0.5, "end": 1}[end]
        box = (left, float(y) - 12, left + wide, float(y) + 4)
        assert box[0] >= 0, said
        assert box[2] <= across, said
        for other in boxes:
            assert box[2] <= other[0] or other[2] <= box[0] or box[3] <= other[1] or other[3] <= box[1], said
        boxes.append(box)
    assert len(boxes) >= 9
