"""What is to be cleaned, as the hours need it: zones, and the work around the cleaning."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from proofpatch.errors import InputError, expect
from proofpatch.measure import zones as measured
from proofpatch.physics.setting import finite_number

MOST_ZONES = 1000
MOST_PIECES = 10_000
# field: (words, smallest, largest, unit)
BOUNDS: dict[str, tuple[str, float, float, str]] = {
    "area": ("An area", 1e-6, 1e5, "m²"),
    "effort": ("An effort factor", 0.1, 20.0, ""),
    "area_spread": ("The spread of an area", 0.0, 1.0, ""),
    "shared_spread": ("The shared spread of an area", 0.0, 1.0, ""),
    "width": ("A width", 1e-3, 1e3, "m"),
    "hand_share": ("A hand-finish share", 0.0, 1.0, ""),
    "count": ("A count", 1, 10_000, ""),
    "set_ups": ("The number of times it is turned", 0, 1000, ""),
    "masking": ("The edge to mask", 0.0, 1e5, "m"),
}


@dataclass(frozen=True)
class Zone:
    """One part of a piece.

    Args:
        area: developed area of one [m²]. effort: time beside a flat face of that area [1].
        name: as the quote calls it.
        area_spread: one standard deviation of ln(area): how sure it is [1]. shared_spread: the same of what its
            instrument does to every zone it measured. instrument: which.
        width: across the strokes, of a rail or a frame [m]; None: about square. Narrower than the sweep it still
            takes whole strokes, for a narrower sweep at the same hand speed would be another dose.
        hand_share: share of it finished by hand, where no beam goes: corners, carving [1].
        count: equal ones on one piece. set_ups: times the piece is turned or clamped for it.
        masking: length of edge to mask on one [m].

    Raises:
        InputError: a figure that no zone has.
    """

    area: float
    effort: float = 1.0
    name: str = ""
    area_spread: float = 0.0
    width: float | None = None
    hand_share: float = 0.0
    count: int = 1
    set_ups: int = 0
    masking: float = 0.0
    shared_spread: float = 0.0
    instrument: str = ""

    def __post_init__(self) -> None:
        for field, (words, low, high, unit) in BOUNDS.items():
            value = getattr(self, field)
            if field == "width" and value is None:
                continue
            where = "zones" if field in ("area", "effort") else f"zones.{field}"
            number = finite_number(where, words, value, low, high, unit)
            object.__setattr__(self, field, _whole(where, words, number) if field in ("count", "set_ups") else number)

    @property
    def effective(self) -> float:
        """Area under the beam times effort, of all equal ones [m²]."""
        return self.area * (1.0 - self.hand_share) * self.effort * self.count


@dataclass(frozen=True)
class Preliminaries:
    """The work around the cleaning; what is not said is nought, and set-up is always there.

    Args:
        strips: test strips still to lay. waiting: time in which nothing else can be done [s].
        trips: to the place and back; 0: in the shop. travel: time of one, there and back [s].
        distance: of one, there and back [m].
        first_of_kind: the shop has done none like it.

    Raises:
        InputError: a figure that none has.
    """

    strips: int = 0
    waiting: float = 0.0
    trips: int = 0
    travel: float = 0.0
    distance: float = 0.0
    first_of_kind: bool = False

    def __post_init__(self) -> None:
        for field, words, most, unit in (
            ("strips", "The number of strips", 1000, ""), ("waiting", "The waiting", 1e7, "s"),
            ("trips", "The number of trips", 1000, ""), ("travel", "The travel time", 1e6, "s"),
            ("distance", "The distance", 1e7, "m"),
        ):  # fmt: skip
            number = finite_number(field, words, getattr(self, field), 0.0, most, unit)
            object.__setattr__(self, field, _whole(field, words, number) if field in ("strips", "trips") else number)
        expect("first_of_kind", self.first_of_kind, bool, "Say true or false.")


def measured_zone(one: measured.Zone) -> Zone:
    """The zone of the hours for a measured one; a spread over the mean becomes one of the logarithm.

    What one instrument does to all it measured stays shared; of several instruments in a zone all counts as its own.
    """
    names = {area.instrument for area in one.areas}
    own, shared = one.spread, 0.0
    if len(names) == 1:
        own = math.hypot(*(area.area * area.own for area in one.areas)) / one.one
        shared = math.fsum(area.area * area.shared for area in one.areas) / one.one
    own, shared = (math.sqrt(math.log1p(spread**2)) for spread in (own, shared))
    return Zone(
        one.one, one.effort, one.name, own, None, one.hand_finish, one.count, shared_spread=shared,
        instrument=names.pop() if len(names) == 1 else "",
    )  # fmt: skip


def zones_of(given: Iterable[Any]) -> tuple[Zone, ...]:
    """Zones of areas [m²], (area, effort factor) pairs, zones, or measured zones (those not to be touched left out).

    Raises:
        InputError: none is given, or one is no zone.
    """
    found = []
    for one in given:
        if isinstance(one, Zone):
            found.append(one)
        elif isinstance(one, measured.Zone):
            if not one.untouched:
                found.append(measured_zone(one))
        elif isinstance(one, (tuple, list)) and len(one) == 2:
            found.append(Zone(one[0], one[1]))
        else:
            found.append(Zone(one))
    if not found:
        raise InputError("zones", "No area is given.", "Measure at least one.")
    if len(found) > MOST_ZONES:
        raise InputError("zones", f"More than {MOST_ZONES} zones are given.", "Put equal ones together with a count.")
    return tuple(found)


def effective_area(zones: Iterable[Zone]) -> float:
    """Area times effort, summed over one piece [m²]."""
    return math.fsum(zone.effective for zone in zones)


def _whole(field: str, words: str, number: float) -> int:
    if number != int(number):
        raise InputError(field, f"{words} is {number:g}.", "Give a whole number.")
    return int(number)
