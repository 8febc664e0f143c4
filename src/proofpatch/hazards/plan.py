"""Everything that can hurt at one job, put together: beam, room, air, fire, power."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from proofpatch.hazards.beam import Beam, BeamHazards, beam_hazards
from proofpatch.hazards.fire import Fire, fire
from proofpatch.hazards.fume import Fume, fume
from proofpatch.hazards.power import Circuit, Supply, supply
from proofpatch.hazards.room import Room, Zone, zone

CIRCUITS_UNKNOWN = "The circuits at hand were not named."


@dataclass(frozen=True)
class Plan:
    """The hazards of a job. zone: None where no room was described; supply: None without circuits."""

    beam: BeamHazards
    fume: Fume
    fire: Fire
    zone: Zone | None
    supply: Supply | None
    area_rate: float


def plan(
    beam: Beam,
    area_rate: float,
    coatings: Sequence[str] | None,
    ground: str | None,
    dose: float | None = None,
    thickness: float | None = None,
    sheet: float | None = None,
    capture: float = 0.0,
    air: float = 0.0,
    volume: float = 30.0,
    absent: frozenset[str] = frozenset(),
    room: Room | None = None,
    nearby: Sequence[str] = (),
    below: Sequence[tuple[Sequence[str] | None, float | None]] = (),
    may_be: Sequence[str] = (),
    loads: Sequence[tuple[str, float, float | None]] = (),
    circuits: Sequence[Circuit] = (),
) -> Plan:
    """The plan of a job; arguments as of `beam_hazards`, `fume`, `fire`, `zone` and `supply`.

    may_be: every coating it may be, for the fire. The room's shiny things throw everything on, as far as a beam is to
    be feared at a window.
    """
    found = beam_hazards(beam)
    return Plan(
        found,
        fume(area_rate, coatings, ground, thickness, capture, volume, air, absent=absent, below=below),
        fire(beam, ground, may_be or coatings or (), nearby, dose, sheet),
        zone(room, found.at_window) if room is not None else None,
        supply(loads, circuits) if circuits else None,
        area_rate,
    )
