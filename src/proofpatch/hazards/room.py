"""The room: which of it lies in the zone, and where the beam looks out.

A rectangle from (0, 0) to (length, width) [m]. The zone is everything the beam can reach in a straight line from the
work within the hazard distance: inside the walls all that is near enough, and through every opening a wedge. A shiny
thing throws the beam on: from it a second wedge through every opening, for what is left of the way. Walls are taken to
stop the beam; whether they do is for the laser safety officer.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from proofpatch.errors import InputError
from proofpatch.physics.setting import finite_number

WALLS = ("south", "east", "north", "west")  # of length, width, length, width
MOST_SIDE, MOST_THINGS = 200.0, 40
LONGEST_NAME = 40
INSIDE = "inside the room, in line with the work"  # how somebody within the walls is reached
WIDE = 0.5  # m about the work from which the beam may start: the head moves; common practice, no source
Point = tuple[float, float]


@dataclass(frozen=True)
class Opening:
    """A door or window in a wall, from `start` to `end` [m], counted from the south or west corner. closed: opaque and
    shut while the beam is on."""

    wall: str
    start: float
    end: float
    name: str = "opening"
    closed: bool = False


@dataclass(frozen=True)
class Thing:
    """A shiny thing or a person at (x, y) [m]."""

    name: str
    x: float
    y: float


@dataclass(frozen=True)
class Room:
    """Raises:
    InputError: no rectangle, something outside it, or an opening that is none.
    """

    length: float
    width: float
    work: Point
    openings: tuple[Opening, ...] = ()
    shiny: tuple[Thing, ...] = ()
    people: tuple[Thing, ...] = ()

    def __post_init__(self) -> None:
        for field, words in (("length", "Room length"), ("width", "Room width")):
            object.__setattr__(self, field, finite_number(field, words, getattr(self, field), 0.5, MOST_SIDE, "m"))
        self._inside("work", "The work", self.work)
        if len(self.openings) + len(self.shiny) + len(self.people) > MOST_THINGS:
            raise InputError("room", f"More than {MOST_THINGS} things are in the room.", "Leave out what is far off.")
        for one in self.openings:
            if one.wall not in WALLS:
                raise InputError(
                    "openings", f"The wall {one.wall[:20]!r} is not known.", f"Use one of: {', '.join(WALLS)}."
                )
            limit = self.length if one.wall in ("south", "north") else self.width
            if not 0.0 <= one.start < one.end <= limit + 1e-9:
                raise InputError(
                    "openings", f"{one.name[:LONGEST_NAME]} does not fit its wall.", f"It is {limit:g} m long."
                )
        for kind, things in (("shiny", self.shiny), ("people", self.people)):
            for thing in things:
                self._inside(kind, thing.name[:LONGEST_NAME], (thing.x, thing.y), outside_too=kind == "people")

    def _inside(self, field: str, words: str, point: Point, outside_too: bool = False) -> None:
        if not all(math.isfinite(part) and abs(part) <= 1e4 for part in point):
            raise InputError(field, f"{words} has no place in the room.", "Give two distances in metres.")
        if not outside_too and not (0.0 <= point[0] <= self.length and 0.0 <= point[1] <= self.width):
            raise InputError(field, f"{words} lies outside the room.", "Measure from its south-west corner.")

    def ends(self, opening: Opening) -> tuple[Point, Point]:
        """Both jambs of an opening."""
        a, b = opening.start, opening.end
        return {
            "south": ((a, 0.0), (b, 0.0)), "north": ((a, self.width), (b, self.width)),
            "west": ((0.0, a), (0.0, b)), "east": ((self.length, a), (self.length, b)),
        }[opening.wall]  # fmt: skip

    def holds(self, point: Point) -> bool:
        """True within the walls."""
        return 0.0 <= point[0] <= self.length and 0.0 <= point[1] <= self.width


@dataclass(frozen=True)
class Wedge:
    """Where the beam looks out: from `origin` through both jambs, to `reach` [m] from it."""

    origin: Point
    jambs: tuple[Point, Point]
    reach: float
    through: str
    off: str = ""
    outside: str = ""  # a wall, where the work stands in the opening: everything beyond it

    def holds(self, point: Point) -> bool:
        """True if the point lies in the wedge."""
        (ox, oy), (a, b) = self.origin, self.jambs
        px, py = point[0] - ox, point[1] - oy
        if math.hypot(px, py) > self.reach:
            return False
        if self.outside:
            level = {"south": -point[1], "north": point[1], "west": -point[0], "east": point[0]}[self.outside]
            edge = {"south": 0.0, "north": self.jambs[0][1], "west": 0.0, "east": self.jambs[0][0]}[self.outside]
            return level >= edge - 1e-12
        ax, ay, bx, by = a[0] - ox, a[1] - oy, b[0] - ox, b[1] - oy
        turn = ax * by - ay * bx
        if abs(turn) < 1e-12:
            return False
        # The point as a mixture of both jambs: inside the angle if neither part is negative.
        s, t = (px * by - py * bx) / turn, (ax * py - ay * px) / turn
        return s >= -1e-12 and t >= -1e-12


@dataclass(frozen=True)
class Zone:
    """What of a room and its surroundings the beam can reach. reach: [m] from the work, the head's own way with it.

    inside: True where the whole room lies in the zone. wedges: out of it. reached: people in it, and how.
    """

    room: Room
    reach: float
    inside: bool
    wedges: tuple[Wedge, ...]
    reached: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]


def zone(room: Room, reach: float) -> Zone:
    """The zone of a beam that starts at the work.

    Args:
        room: its rectangle and what is in it. reach: hazard distance [m], off a shiny thing along the whole way.
    """
    far = reach + WIDE  # of the work: the head may be so much nearer
    corners = [(x, y) for x in (0.0, room.length) for y in (0.0, room.width)]
    inside = all(math.dist(room.work, corner) <= far for corner in corners)
    wedges = []
    for one in room.openings:
        if one.closed:
            continue
        if _from_segment(room.work, room.ends(one)) <= WIDE:
            wedges.append(Wedge(room.work, room.ends(one), far, one.name, outside=one.wall))
        else:
            wedges += [Wedge(start, room.ends(one), reach, one.name) for start in _starts(room)]
    for thing in room.shiny:
        left = far - math.dist(room.work, (thing.x, thing.y))
        if left <= 0.0:
            continue
        for one in room.openings:
            if not one.closed:
                beside = _from_segment((thing.x, thing.y), room.ends(one)) <= WIDE
                wedges.append(
                    Wedge((thing.x, thing.y), room.ends(one), left, one.name, thing.name, one.wall if beside else "")
                )
    reached = [(person.name, how) for person in room.people if (how := _how(room, wedges, person, far))]
    return Zone(room, far, inside, tuple(wedges), tuple(reached), _notes(room, wedges))


def _starts(room: Room) -> list[Point]:
    """Where the beam may start: the work, and half a metre about it within the walls."""
    x, y = room.work
    about = ((x, y), (x - WIDE, y), (x + WIDE, y), (x, y - WIDE), (x, y + WIDE))
    return [(min(max(px, 0.02), room.length - 0.02), min(max(py, 0.02), room.width - 0.02)) for px, py in about]


def _from_segment(point: Point, ends: tuple[Point, Point]) -> float:
    """Distance of a point from the line between two others [m]."""
    (ax, ay), (bx, by) = ends
    along = ((point[0] - ax) * (bx - ax) + (point[1] - ay) * (by - ay)) / ((bx - ax) ** 2 + (by - ay) ** 2)
    along = min(max(along, 0.0), 1.0)
    return math.hypot(point[0] - ax - along * (bx - ax), point[1] - ay - along * (by - ay))


def _how(room: Room, wedges: Sequence[Wedge], person: Thing, reach: float) -> str:
    at = (person.x, person.y)
    if room.holds(at):
        near = math.dist(room.work, at) <= reach
        return INSIDE if near else ""
    for wedge in wedges:
        if wedge.holds(at):
            return f"through {wedge.through}" + (f", off {wedge.off}" if wedge.off else "")
    return ""


def _notes(room: Room, wedges: Sequence[Wedge]) -> tuple[str, ...]:
    found = ["Walls are taken to stop the beam; whether these do is for the laser safety officer."]
    found.append(f"The beam may start {WIDE:g} m about the work (common practice, no source).")
    if wedges:
        names = list(dict.fromkeys(wedge.through for wedge in wedges))
        found.append(f"Close with something that stops the beam, or guard from outside: {', '.join(names)}.")
    if room.shiny:
        found.append("Light thrown from one shiny thing to another is not followed.")
        found.append(f"Cover or take out what shines: {', '.join(thing.name for thing in room.shiny)}.")
    found.append("Floors and ceilings have gaps too: look above and below.")
    return tuple(found)
