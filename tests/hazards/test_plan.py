"""The plan of a job: each room gets what the other found."""

import pytest

from proofpatch.hazards.beam import Beam, beam_hazards
from proofpatch.hazards.plan import plan
from proofpatch.hazards.power import Circuit
from proofpatch.hazards.room import WIDE, Opening, Room, Thing

BEAM = Beam(300.0, 20e3, 1e-7, diameter=10e-3, focal_length=0.16, exposure=0.25)


def test_a_room_and_circuits_count_where_they_are_described():
    bare = plan(BEAM, 1e-4, ["shellac"], "oak", loads=[("laser", 2000, None)])
    assert (bare.zone, bare.supply) == (None, None)
    yard = Thing("yard", 3, -3)
    room = Room(6, 4, (3, 3), (Opening("south", 2, 4, "door"),), people=(yard,))
    found = plan(BEAM, 1e-4, ["shellac"], "oak", room=room, loads=[("laser", 2000, None)], circuits=[Circuit(230, 16)])
    assert dict(found.zone.reached) == {"yard": "through door"}
    assert found.supply.placed == (("laser", 0),)
    # The room is reckoned with 100 s, of barriers, windows and the public (section 1.8), not with a short look.
    hundred = beam_hazards(Beam(300.0, 20e3, 1e-7, diameter=10e-3, focal_length=0.16, exposure=100))
    assert found.zone.reach - WIDE == pytest.approx(hundred.distance)
    assert hundred.distance > found.beam.distance


def test_fire_counts_every_coating_it_may_be():
    sure = plan(BEAM, 1e-4, ["shellac"], "oak")
    perhaps = plan(BEAM, 1e-4, ["shellac"], "oak", may_be=["shellac", "nitrocellulose-lacquer"])
    assert "nitrocellulose" not in {one.material for one in sure.fire.fuels}
    assert "nitrocellulose" in {one.material for one in perhaps.fire.fuels}
