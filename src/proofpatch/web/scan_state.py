"""A scan being picked from: its whole state is in the address, so going back loses nothing, nor a phone put away."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any
from urllib.parse import urlencode

from proofpatch.errors import InputError
from proofpatch.measure.mesh_file import LARGEST, SMALLEST, UNITS
from proofpatch.measure.picking import CREASES
from proofpatch.measure.registry import read_number
from proofpatch.measure.sides import SIDES, UP_OF, UPS
from proofpatch.physics.setting import finite_number
from proofpatch.units import parse

CREASE = "30°"  # as the core's, `measure.mesh.CREASE`


@dataclass(frozen=True)
class Scanning:
    """What was said and picked so far, as text.

    zone: the number of the zone it goes into, empty for a new one; at: of the scan it replaces, empty for none.
    unit: of its numbers, or longest: its longest side by tape. up, side: as of `measure.sides`. crease: turn that ends
    a smooth face. picks: as of `measure.picking`, between dots. reach: "yes" once it is asked what the beam gets to;
    incidence, focus_depth, sweep_width, held: how.
    """

    zone: str = ""
    at: str = ""
    unit: str = ""
    longest: str = ""
    up: str = ""
    side: str = "front"
    crease: str = CREASE
    picks: str = ""
    reach: str = ""
    incidence: str = ""
    focus_depth: str = ""
    sweep_width: str = ""
    held: str = ""

    @property
    def picked(self) -> tuple[str, ...]:
        """The picks, in order."""
        return tuple(filter(None, self.picks.split(".")))

    @property
    def sized(self) -> bool:
        """Whether its scale is told."""
        return bool(self.unit) != bool(self.longest)

    @property
    def by_tape(self) -> float | None:
        """Its longest side [m], None where the unit says its scale.

        Raises:
            InputError: it is no length, or none a piece has.
        """
        if self.unit:
            return None
        longest = read_number("longest", self.longest, "length", "The longest side")
        return finite_number("longest", "The longest side", longest, SMALLEST, LARGEST, "m")

    @property
    def turn(self) -> float:
        """Turn that ends a smooth face [rad]."""
        return parse(self.crease, "angle", "crease")

    @property
    def query(self) -> str:
        """The state as an address has it."""
        return urlencode({key: value for key, value in self.said().items() if value})

    def said(self) -> dict[str, str]:
        """The state as a form has it."""
        return {one.name: getattr(self, one.name) for one in fields(self)}

    def with_picks(self, picks: tuple[str, ...]) -> Scanning:
        """With these picks; what the beam gets to is then asked anew."""
        return replace(self, picks=".".join(picks), reach="")

    @property
    def kept(self) -> str:
        """The part of the state that is kept with the area."""
        return " ".join((self.up, self.side, self.crease, self.picks))


def scanning_of(said: Mapping[str, Any], kind: str) -> Scanning:
    """The state of an address or a form; kind: of the file.

    Raises:
        InputError: a unit, side, way up or crease that is none.
    """
    given = {one.name: " ".join(str(said.get(one.name, "")).split())[:800] for one in fields(Scanning)}
    found = Scanning(**{key: value for key, value in given.items() if value})
    found = replace(found, up=found.up or UP_OF[kind])
    for name, known in (("up", UPS), ("side", SIDES), ("crease", CREASES), ("unit", ("", *UNITS))):
        if getattr(found, name) not in known:
            raise InputError(name, f"The {name} {getattr(found, name)[:20]!r} is not known.", "Choose one of the list.")
    return found


def scanning_kept(record: Mapping[str, Any], zone: int, at: int, kind: str) -> Scanning:
    """The state a measured scan was kept in, to go on from."""
    up, side, crease, picks = (*str(record.get("picks", "")).split(" "), "", "", "", "")[:4]
    scale = {key: str(record[key]) for key in ("unit", "longest") if key in record}
    return scanning_of(
        {"zone": zone, "at": at, **scale, "up": up, "side": side, "crease": crease, "picks": picks}, kind
    )
