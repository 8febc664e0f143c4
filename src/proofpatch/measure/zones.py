"""Zones: parts of a piece that are worked alike, how much of each there is, and how sure that is.

Developed area and effort stay two numbers: the first is geometry, the second time beside an open flat face.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofpatch.errors import InputError, expect
from proofpatch.measure.figure import MOST_PARTS, Area
from proofpatch.measure.tables import NINE_OF_TEN, efforts
from proofpatch.physics.setting import finite_number
from proofpatch.sources import Datum

EFFORT = (0.1, 20.0)  # least and most time beside an open flat face; also what hours reckon with
MOST_AREAS = 200
MOST_ZONES = 100
MOST_DRAWS = 100_000
LONGEST = 200  # characters of a name


def effort_of(kinds: Iterable[str] | str) -> float:
    """The factors of these kinds of work, multiplied: ("carving", "overhead").

    Raises:
        InputError: one is not known, or is named twice.
    """
    names = kinds.split() if isinstance(kinds, str) else list(kinds)
    known = efforts()
    for name in names:
        if name not in known:
            raise InputError("effort", f"The effort {str(name)[:40]!r} is not known.", f"Use: {', '.join(known)}.")
    if not names or len(set(names)) < len(names):
        raise InputError("effort", "An effort is named twice, or none is.", "Name each once.")
    return math.prod(known[name].value for name in names)


@dataclass(frozen=True, kw_only=True)
class Zone:
    """One zone of a piece.

    Args:
        name: what the shop calls it.
        areas: shapes, outlines or regions of a mesh; together one piece's share.
        count: equal pieces.
        effort: time beside an open flat face, a number or kinds of work ("carving overhead"); not part of the area.
        hand_finish: share of the area that is finished by hand, corners and carvings: no beam goes there [1].
        coating, limits: what stands on it and what it may bear, as ids or words; kept as they are.
        untouched: not to be touched at all; it is measured only to be masked.

    Raises:
        InputError: a value that no zone has.
    """

    name: str
    areas: tuple[Area, ...]
    count: int = 1
    effort: float = 1.0
    hand_finish: float = 0.0
    coating: str = ""
    limits: str = ""
    untouched: bool = False

    def __post_init__(self) -> None:
        for field, words in (("name", "The name"), ("coating", "The coating"), ("limits", "The limits")):
            value = getattr(self, field)
            if not isinstance(value, str) or len(value) > LONGEST or not (value.isprintable() or value == ""):
                raise InputError(field, f"{words} of a zone is not a short line of text.", "Shorten it.")
        if not self.name.strip():
            raise InputError("name", "A zone has no name.", "Call it what the shop calls it.")
        areas = (self.areas,) if isinstance(self.areas, Area) else self.areas
        expect("areas", areas, (tuple, list), "Give the shapes of one piece.")
        if not 1 <= len(areas) <= MOST_AREAS:
            raise InputError("areas", f"A zone has {len(areas)} areas.", f"Give 1 to {MOST_AREAS}.")
        for one in areas:
            expect("areas", one, Area, "Give shapes, outlines or regions.")
        set_ = object.__setattr__
        set_(self, "areas", tuple(areas))
        count = finite_number("count", "The count of equal pieces", self.count, 1, MOST_PARTS, "")
        if count != int(count):
            raise InputError("count", f"A count of {count:g} is not a whole number.", "Count whole pieces.")
        set_(self, "count", int(count))
        effort = effort_of(self.effort) if isinstance(self.effort, str) else self.effort
        set_(self, "effort", finite_number("effort", "The effort factor", effort, *EFFORT, ""))
        set_(
            self, "hand_finish", finite_number("hand_finish", "The share finished by hand", self.hand_finish, 0, 1, "")
        )
        expect("untouched", self.untouched, bool, "Give True or False.")

    @property
    def one(self) -> float:
        """Developed area of one piece [m²]."""
        return math.fsum(area.area for area in self.areas)

    @property
    def area(self) -> float:
        """Developed area of all equal pieces [m²]."""
        return self.count * self.one

    @property
    def beam_share(self) -> float:
        """Share of the area that the beam cleans [1]."""
        return 0.0 if self.untouched else 1.0 - self.hand_finish

    @property
    def spread(self) -> float:
        """Standard deviation over area [1]. Equal pieces are measured once, so their error is one error."""
        return _spread([self])

    @property
    def data(self) -> tuple[Datum, ...]:
        """The tables' numbers that the areas rest on, each once."""
        return tuple(dict.fromkeys(datum for area in self.areas for datum in area.data))


@dataclass(frozen=True)
class Totals:
    """What a piece amounts to, all its zones together [m²].

    area: developed, what is untouched not in it; spread: its standard deviation over it [1].
    beam: what the beam cleans. by_hand: what is finished by hand. untouched: what is only masked.
    effective: beam area times effort, for the hours.
    """

    area: float
    spread: float
    beam: float
    by_hand: float
    untouched: float
    effective: float


def totals(zones: Sequence[Zone]) -> Totals:
    """The sums over zones.

    Raises:
        InputError: no zones, or too many.
    """
    zones = _zones(zones)
    worked = [zone for zone in zones if not zone.untouched]
    beam = math.fsum(zone.area * zone.beam_share for zone in worked)
    area = math.fsum(zone.area for zone in worked)
    return Totals(
        area,
        _spread(worked) if worked else 0.0,
        beam,
        area - beam,
        math.fsum(zone.area for zone in zones if zone.untouched),
        math.fsum(zone.area * zone.beam_share * zone.effort for zone in worked),
    )


def pairs(zones: Sequence[Zone]) -> tuple[tuple[float, float], ...]:
    """(area under the beam [m²], effort factor) of each zone that sees any: what `hours` takes."""
    return tuple((zone.area * zone.beam_share, zone.effort) for zone in _zones(zones) if zone.beam_share > 0)


def draw_areas(zones: Sequence[Zone], rng: np.random.Generator, n: int) -> NDArray[np.float64]:
    """Developed areas as they may really be (n, zones) [m²]; the figure measured is the median.

    Lognormal. What an area has for its own is drawn for each; what an instrument does to all it measured is drawn once
    for that instrument, over all zones. Effort, hand finish and "do not touch" are not in it: multiply by them.

    Raises:
        InputError: no zones, or a number of draws that is none.
    """
    zones = _zones(zones)
    n = int(finite_number("n", "The number of draws", n, 1, MOST_DRAWS, ""))
    names = sorted({area.instrument for zone in zones for area in zone.areas})
    common = dict(zip(names, rng.standard_normal((len(names), n)), strict=True))
    drawn = np.zeros((n, len(zones)))
    for column, zone in enumerate(zones):
        for area in zone.areas:
            wide = _log_width(area.own) * rng.standard_normal(n) + _log_width(area.shared) * common[area.instrument]
            drawn[:, column] += zone.count * area.area * np.exp(wide)
    return drawn


def likely(area: float, spread: float) -> tuple[float, float]:
    """(low, high) between which an area of this spread lies nine times in ten [m²]."""
    wide = math.exp(NINE_OF_TEN / 2 * _log_width(spread))
    return area / wide, area * wide


def _log_width(spread: float) -> float:
    """Standard deviation of the logarithm, of a lognormal with this spread over its mean."""
    return math.sqrt(math.log1p(spread**2))


def _spread(zones: Sequence[Zone]) -> float:
    """Own errors in quadrature; shared ones added up instrument by instrument, then the instruments in quadrature."""
    own, shared = [], defaultdict[str, list[float]](list)
    for zone in zones:
        for area in zone.areas:
            own.append(zone.count * area.area * area.own)
            shared[area.instrument].append(zone.count * area.area * area.shared)
    return math.hypot(*own, *(math.fsum(parts) for parts in shared.values())) / math.fsum(z.area for z in zones)


def _zones(zones: Any) -> Sequence[Zone]:
    expect("zones", zones, (tuple, list), "Give a list of zones.")
    if not 1 <= len(zones) <= MOST_ZONES:
        raise InputError("zones", f"There are {len(zones)} zones.", f"Give 1 to {MOST_ZONES}.")
    for zone in zones:
        expect("zones", zone, Zone, "Make each with Zone(name=…, areas=…).")
    found: Sequence[Zone] = zones
    return found
